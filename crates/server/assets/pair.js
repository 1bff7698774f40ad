// The secret of the picture stands behind # in the address: it is put into the form, and out of the address.
const form = document.querySelector("[data-pair]");
const secret = location.hash.slice(1);
if (form && /^[0-9a-f]{32}$/.test(secret)) {
  form.querySelector("input[name=secret]").value = secret;
  form.querySelector("[data-code]").hidden = true;
  form.querySelector("[data-read]").hidden = false;
  history.replaceState(null, "", location.pathname);
  form.querySelector("#pin").focus();
}
