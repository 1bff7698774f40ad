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
const status = document.querySelector(".status");
function sayNews(text) {
  let line = status.querySelector(".news");
  if (!line) {
    line = document.createElement("p");
    line.className = "news";
    status.append(line);
  }
  line.textContent = text;
}
if (status?.dataset.live) {
  const panel = document.getElementById("panel");
  const news = new EventSource(status.dataset.live);
  const say = sayNews;
  // What somebody else set going or read stands here too; the page is asked for it, so that it is worded in one place.
  const strip = document.querySelector("header.job [data-standing]");
  const standing = /^(wait-started|build-step-done|reading-taken|entry-withdrawn|entry-corrected|job-closed)$/;
  const fresh = async () => {
    const answer = await fetch(location.pathname + location.search, { headers: { Accept: "text/html" } });
    const there = answer.ok && new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("header.job [data-standing]");
    if (there) strip.replaceChildren(...there.childNodes);
  };
  news.addEventListener("kept", (event) => {
    const kept = JSON.parse(event.data);
    if (strip && standing.test(kept.kind)) fresh().catch(() => {});
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

// What stands until it can be read: how much is left, told without reading the page again.
const span = (m) => (m < 60 ? `${m} ${m === 1 ? "minute" : "minutes"}` : m % 60 ? `${Math.floor(m / 60)} h ${m % 60} min` : `${m / 60} h`);
function tellLeft() {
  for (const line of document.querySelectorAll("[data-ready-at]")) {
    const left = Math.ceil((Number(line.dataset.readyAt) - Date.now()) / 60000);
    const late = line.dataset.latest && Number(line.dataset.latest) <= Date.now();
    // Past its end the shop's own words stand there once the page is read again.
    if (late) continue;
    const words = line.querySelector("[data-left]");
    const now = left > 0 ? `${span(left)} left` : (line.dataset.over ?? "ready: read it now");
    if (words.textContent === now) continue;
    words.textContent = now;
    line.classList.toggle("ready", left <= 0);
    if (left <= 0 && status) sayNews(`${line.querySelector("a").textContent}: ${now}.`);
  }
}
setInterval(tellLeft, 5000);
tellLeft();

// A link to a folded form opens it.
const wanted = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
if (wanted && wanted.matches("details")) wanted.open = true;
