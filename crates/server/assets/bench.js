// The bench without this file reads and posts; with it, pages bring themselves up to date, a second touch is harmless,
// and numbers have their own keypad.

const root = document.documentElement;

// Light or dark, as chosen on this device.
const chosen = localStorage.getItem("theme");
if (chosen) root.dataset.theme = chosen;
for (const key of document.querySelectorAll("[data-theme-switch]")) {
  key.hidden = false;
  key.addEventListener("click", () => {
    const dark = root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    root.dataset.theme = dark ? "light" : "dark";
    localStorage.setItem("theme", root.dataset.theme);
  });
}

// The keypad: acts on release inside the same key, and takes a second touch within 80 ms for a drop of oil.
function keypads() {
  for (const pad of document.querySelectorAll("[data-keypad][hidden]")) {
    const field = document.getElementById(pad.dataset.keypad);
    pad.hidden = false;
    root.classList.add("has-keypad");
    if (matchMedia("(pointer: coarse)").matches) field.inputMode = "none";
    let last = 0;
    pad.addEventListener("click", (event) => {
      const key = event.target.closest("[data-key]");
      if (!key) return;
      if (event.timeStamp - last < 80) return;
      last = event.timeStamp;
      const what = key.dataset.key;
      if (what === "back") field.value = field.value.slice(0, -1);
      else if (what === "±") field.value = field.value.startsWith("-") ? field.value.slice(1) : "-" + field.value;
      else field.value += what;
      field.dispatchEvent(new Event("input", { bubbles: true }));
    });
  }
}
keypads();
addEventListener("bench-field", keypads);

// News of the job: entries kept, and the work-up when it is there.
const status = document.querySelector("[data-live]");
if (status) {
  const panel = document.getElementById("panel");
  const news = new EventSource(status.dataset.live);
  const say = (text) => {
    let line = status.querySelector(".news");
    if (!line) {
      line = document.createElement("p");
      line.className = "news";
      status.append(line);
    }
    line.textContent = text;
  };
  news.addEventListener("kept", (event) => {
    const kept = JSON.parse(event.data);
    for (const tail of document.querySelectorAll("[data-tail-shown]")) tail.textContent = kept.tail;
    if (kept.tail !== status.dataset.tail) say("Kept in the shop: " + kept.kind.replaceAll("-", " ") + ". The work-up follows.");
    status.dataset.tail = kept.tail;
  });
  news.addEventListener("case", (event) => {
    if (!panel) return;
    // Nobody's half-filled form is taken away.
    const filled = [...panel.querySelectorAll("input[type=text], input[type=date], textarea")].some((f) => f.value !== f.defaultValue);
    const busy = filled || (panel.contains(document.activeElement) && document.activeElement.matches("input, textarea, select"));
    if (busy) {
      say("The work-up has changed; it is shown when you read the page again.");
      return;
    }
    const open = [...panel.querySelectorAll("details[open] > summary")].map((s) => s.textContent);
    // Who goes by keys stays where he stood.
    const stood = panel.contains(document.activeElement) ? document.activeElement : null;
    panel.innerHTML = event.data;
    for (const summary of panel.querySelectorAll("details > summary")) {
      if (open.includes(summary.textContent)) summary.parentElement.open = true;
    }
    const same = (e) => e.textContent === stood.textContent && e.getAttribute("href") === stood.getAttribute("href");
    if (stood) [...panel.querySelectorAll(stood.tagName)].find(same)?.focus({ preventScroll: true });
    const line = status.querySelector(".news");
    if (line) line.textContent = "Up to date.";
    dispatchEvent(new Event("bench-case"));
  });
  addEventListener("pagehide", () => news.close());
}

// A link to a folded form opens it.
const wanted = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
if (wanted && wanted.matches("details")) wanted.open = true;
