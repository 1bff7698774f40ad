// The bench with the shop out of reach: what is entered is written down on this phone first, then sent; what the shop cannot be
// told yet stays here in plain sight. The queue itself is queue.js; the pages kept are the work of sw.js.

const queue = self.benchQueue;
const body = document.body;
const job = (location.pathname.match(/^\/jobs\/([0-9a-f-]{36})/) || [])[1];
const PATIENT = 6000; // how long a touch waits for the shop before the page goes on without it
const make = (tag, words, name) => {
  const made = document.createElement(tag);
  if (words) made.textContent = words;
  if (name) made.className = name;
  return made;
};
const clock = (ms) => {
  const at = new Date(ms), two = (n) => String(n).padStart(2, "0");
  const day = at.toDateString() === new Date().toDateString() ? "" : `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} `;
  return `${day}${two(at.getHours())}:${two(at.getMinutes())}`;
};
const top_ = document.querySelector(".top");

// Without a safe connection a browser keeps no pages; then it is said, on every page, for as long as it is so.
if (!self.isSecureContext) {
  const line = make("p", "", "notkept nowifi");
  line.setAttribute("role", "status");
  line.append(make("b", "This phone cannot work without Wi-Fi. "),
    "It reached the shop over a line that is not sealed, and then a browser keeps no pages. Stay in reach of the shop, or open the bench by its https address.");
  top_?.after(line);
}

// ---- The form becomes an entry on this phone ----

const field = (form, name) => form.querySelector(`[name="${name}"]`)?.value || "";
const plain = (text) => (text || "").replace(/\s+/g, " ").trim();

// What is written down, in words for the list of what waits.
function saidBy(form, submitter, fields) {
  const of = Object.fromEntries(fields.filter(([, value]) => typeof value === "string"));
  const round = roundOf(form);
  if (round && of.check) {
    const place = round.places.find((p) => p.at === of.position)?.label || of.position;
    const reading = round.readings.find((r) => r.id === of.reading);
    const value = of.value || plain(fields.filter(([name, v]) => /^(along|enters|refused)-/.test(name) && v).map(([, v]) => v).join(" "));
    const unit = /[a-zµ°"%]/i.test(value) ? "" : of.unit || reading?.unit || "";
    const name = round.readings.length > 1 && reading ? `${round.name}, ${reading.title.toLowerCase()}` : round.name;
    return `${name}, ${place}: ${value.replaceAll("-", reading?.unit ? "-" : " ")}${unit ? ` ${unit}` : ""}`;
  }
  if (of.caution && form.action.endsWith("/caution-ticked")) return `Caution read and ticked: ${of.caution.replaceAll("-", " ")}`;
  const file = fields.find(([, value]) => typeof value !== "string");
  if (file) return `${form.action.endsWith("/photos") ? "Photo" : "Engine sheet"}: ${of.caption || file[1].name || "a file"}`;
  const head = plain(form.closest("details")?.querySelector("summary")?.textContent) || plain(form.closest("li, section, article")?.querySelector("h2, h3, b")?.textContent);
  const shown = [...form.querySelectorAll("input:not([type=hidden]), select, textarea")].filter((f) => f.name && of[f.name] && (!/^(checkbox|radio)$/.test(f.type) || f.checked));
  const words = shown.map((f) => plain(f.tagName === "SELECT" ? f.selectedOptions[0]?.textContent : f.value)).filter(Boolean);
  const act = plain(submitter?.textContent);
  const whole = [head, ...(words.length ? words : [act])].filter(Boolean).join(" · ");
  return whole.length > 160 ? `${whole.slice(0, 160)}…` : whole;
}

function gathered(form, submitter) {
  const data = new FormData(form);
  if (submitter?.name) data.append(submitter.name, submitter.value);
  const id = queue.freshId();
  const action = new URL(form.action, location.href);
  const fields = [];
  for (const [name, value] of data) {
    if (name === "entry" || (typeof value !== "string" && !value.size)) continue;
    // The wall is kept with the id of one job; each job opened from it gets one of its own.
    fields.push([name, name === "back" && action.pathname === "/jobs" ? queue.freshId() : value]);
  }
  fields.unshift(["entry", id]);
  const of = Object.fromEntries(fields.filter(([, value]) => typeof value === "string"));
  return {
    id, action: action.pathname, enctype: form.enctype, fields, by: body.dataset.by || "", at: Date.now(), state: "waiting",
    what: saidBy(form, submitter, fields), of: plain(document.querySelector("header.job h1")?.textContent) || (action.pathname === "/jobs" ? "a new job" : ""),
    job: job || null, page: location.pathname + location.search,
    reading: of.check && of.position ? { check: of.check, reading: of.reading || "", position: of.position, phase: of.phase || "", value: of.value || "", unit: of.unit || "", gauge: of["gauge-used"] || "" } : null,
    caution: action.pathname.endsWith("/caution-ticked") ? of.caution : null,
  };
}

// The same form sent by the browser itself, so that the shop's own page comes back with what was wrong beside its field.
function sentPlainly(record) {
  const form = make("form");
  form.method = "post";
  form.action = record.action;
  form.enctype = record.enctype;
  form.hidden = true;
  for (const [name, value] of record.fields) {
    const input = make("input");
    input.name = name;
    if (typeof value === "string") {
      input.type = "hidden";
      input.value = value;
    } else {
      input.type = "file";
      const held = new DataTransfer();
      held.items.add(value instanceof File ? value : new File([value], "photo"));
      input.files = held.files;
    }
    form.append(input);
  }
  body.append(form);
  sessionStorage.setItem("mending", JSON.stringify({ id: record.id, action: record.action }));
  form.submit();
}

// The page that came back holds everything that was typed; only then does the entry leave the list.
async function takenBack() {
  const mending = JSON.parse(sessionStorage.getItem("mending") || "null");
  if (!mending) return;
  const came = performance.getEntriesByType("navigation")[0];
  const status_ = came?.responseStatus;
  const here = location.pathname === mending.action && (status_ ? status_ === 422 || status_ === 409 : !!document.querySelector(".wrong, .question, .wrongline"));
  const elsewhere = status_ === 200 && location.search.includes(mending.id) || location.pathname.endsWith(`/kept/${mending.id}`);
  if (here || elsewhere) await queue.drop(mending.id);
  if (here || elsewhere || location.pathname !== mending.action) sessionStorage.removeItem("mending");
}

const resting = (form) => {
  delete form.dataset.sent;
  form.classList.remove("sending");
};

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("[data-once]")) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  form.classList.add("sending");
  const id = form.querySelector("input[name=entry]");
  if (id && queue) id.value = queue.freshId();
  if (!self.indexedDB || !queue) return;
  event.preventDefault();
  const submitter = event.submitter;
  const record = gathered(form, submitter);
  keepAndSend(form, submitter, record).catch(() => {
    resting(form);
    flash("Not kept: this phone could not write it down and the shop did not answer. What you typed is still here; try again.", true);
  });
});
// A page that comes back out of the browser's memory may send again.
addEventListener("pageshow", () => document.querySelectorAll("[data-sent]").forEach(resting));

async function keepAndSend(form, submitter, record) {
  try {
    await queue.put(record);
  } catch {
    // A phone that is full, or a private window: then the shop has to take it at once.
    const became = await queue.send(record).catch(() => ({ out: "away" }));
    if (became.out === "kept") return location.assign(became.next);
    if (became.out === "refused") return sentPlainly(record);
    throw new Error("neither kept nor sent");
  }
  const patience = new Promise((yes) => setTimeout(yes, queue.hasFile(record) ? 5 * PATIENT : PATIENT, null));
  const done = await Promise.race([queue.sendAll().catch(() => null), patience]);
  let became = done?.get(record.id);
  if (!became && done) {
    // Another page of this phone, or the beginning of this one, met it first. The shop knows an entry again and says the same
    // of it, and with that where to go on.
    const now = await queue.one(record.id);
    if (!now) became = await queue.send(record);
    else if (now.state === "refused") became = { out: "refused" };
    // It is in the shop and no longer here, so the page must not say that it waits on this phone.
    if (!now && (became.out === "away" || became.out === "held")) return location.reload();
  }
  became ??= done?.stopped;
  if (became?.out === "kept" && became.next) return location.assign(became.next);
  if (became?.out === "refused") return sentPlainly(record);
  resting(form);
  stays(form, submitter, record);
}

// ---- It stays on this phone: say so, and go on ----

function flash(words, wrong) {
  const status = document.querySelector(".status") || document.querySelector("main");
  // What was said of an entry before this one no longer leads anywhere.
  status.querySelectorAll(":scope > .kept:not(.staying)").forEach((e) => e.remove());
  let line = status.querySelector(":scope > .staying");
  if (!line) {
    line = make("div", "", "kept staying");
    line.setAttribute("role", "status");
    status.prepend(line);
  }
  line.classList.toggle("wrong", !!wrong);
  line.replaceChildren(...[].concat(words));
  return line;
}

async function stays(form, submitter, record) {
  const line = flash([make("span", `On this phone: ${record.what}.`)]);
  wake();
  const round = roundOf(form);
  if (round && record.reading) {
    line.append(...(await judged(round, record)), takeBack(record));
    await walkOn(round, record);
  } else if (record.caution) {
    form.replaceWith(make("b", " Ticked, on this phone."));
    await openTicked();
  } else {
    const bolts = form.dataset.bolts !== undefined;
    if (bolts) nextBolt(form, record);
    else {
      form.reset();
      if (record.action.endsWith("/tell/part-bagged")) await nextBag();
      const fold = form.closest("details.fold");
      if (fold && !fold.classList.contains("sheet")) fold.open = false;
      if (submitter && !form.matches(".ask")) {
        submitter.after(make("b", " On this phone."));
        submitter.disabled = true;
      }
    }
  }
  line.scrollIntoView({ block: "nearest" });
  await render();
}

// The verdict, by the limits that the shop sent along; what only the shop can read is judged there.
async function judged(round, record) {
  const others = (await heldHere()).filter((r) => r.reading && r.id !== record.id && r.reading.check === round.check && r.reading.reading === round.reading && (r.reading.phase || "as-found") === (round.phase || "as-found"));
  const plainly = record.fields.every(([name, value]) => !(/^(mean_of|along-|enters-|refused-)/.test(name) && value));
  const verdict = plainly ? self.benchJudge?.verdict(round.judge, record.reading, others.map((r) => r.reading)) : null;
  if (verdict === "question") {
    const asks = make("p", "This can be read in two ways; the shop will ask which one is meant. Take it back and type it so that one is left.", "wrongline");
    return [asks];
  }
  if (!verdict) return [make("p", "The shop judges it when it is in reach.", "quiet")];
  const look = { "by-judgement": "judge", "cannot-tell": "cannot" }[verdict] || verdict;
  const word = make("b", `${self.benchJudge.words(verdict)[0].toUpperCase()}${self.benchJudge.words(verdict).slice(1)}`, `state ${look}`);
  word.dataset.verdict = verdict;
  const mark = document.querySelector("template[data-marks]")?.content.querySelector(`[data-mark="${verdict}"] svg`);
  if (mark) word.prepend(mark.cloneNode(true));
  const limit = self.benchJudge.limit(round.judge, record.reading.position);
  return [word, make("p", `Judged on this phone${limit ? `: ${limit[0].toLowerCase()}${limit.slice(1)}` : ""}.`, "quiet")];
}

// One touch takes back what is not in the shop yet.
function takeBack(record) {
  const key = make("button", "Undo", "plain");
  key.type = "button";
  key.addEventListener("click", async () => {
    if (!(await queue.one(record.id))) return location.assign(`/jobs/${job}/entries/${record.id}`);
    await queue.drop(record.id);
    flash([make("span", `Taken back: ${record.what}. It was on this phone only.`)]);
    const round = roundOf();
    if (round && record.reading && record.reading.reading === round.reading) setPlace(round, record.reading.position);
  });
  return key;
}

// The next bag gets the next number also while the shop does not know of the one before.
async function nextBag() {
  const waiting = (await heldHere()).filter((r) => r.action.endsWith("/tell/part-bagged")).map((r) => Number(new Map(r.fields).get("bag")));
  for (const input of document.querySelectorAll("input[data-next]")) {
    const untouched = input.value === input.defaultValue && input.defaultValue === input.dataset.next;
    const next = String(Math.max(Number(input.dataset.next), ...waiting.filter(Number.isInteger).map((n) => n + 1)));
    input.dataset.next = input.defaultValue = next;
    if (untouched) input.value = next;
  }
}

function nextBolt(form, record) {
  const left = form.dataset.bolts.split(" ").filter(Boolean);
  const now = Number(field(form, "bolt"));
  const next = left.shift() || (form.dataset.counting !== undefined ? String(now + 1) : "");
  form.dataset.bolts = left.join(" ");
  const key = form.querySelector("button");
  if (!next) {
    form.replaceWith(make("p", `Bolt ${now} was the last. All of them are through, the last ones on this phone.`, "strong"));
    return;
  }
  form.querySelector("[name=bolt]").value = next;
  key.dataset.bolt = next;
  key.textContent = key.textContent.replace(`Bolt ${now}`, `Bolt ${next}`);
}

// ---- The field walks on by itself ----

function roundOf(form) {
  const article = form ? form.closest("[data-round]") : document.querySelector("[data-round]");
  return article ? JSON.parse(article.dataset.round) : null;
}
const same = (r, round, reading, at) => r.check === round.check && r.reading === reading && r.position === at && (r.phase || "as-found") === (round.phase || "as-found");
const heldHere = async () => (await queue.all()).filter((r) => r.job === job);

// The next reading of the round that nobody took, in the shop or on this phone.
function nextOf(round, from, waiting) {
  const start = Math.max(0, round.places.findIndex((p) => p.at === from));
  const places = [...round.places.slice(start), ...round.places.slice(0, start)];
  for (const place of places) {
    for (const reading of round.readings) {
      const taken = round.taken.some(([at, id]) => at === place.at && id === reading.id);
      if (!taken && !waiting.some((r) => r.reading && same(r.reading, round, reading.id, place.at))) return { at: place.at, reading: reading.id };
    }
  }
  return null;
}

const addressOf = (round, at, reading) => `/jobs/${job}/enter?${new URLSearchParams({ check: round.check, reading, position: at, phase: round.phase || "" })}`;

async function walkOn(round, record) {
  const next = nextOf(round, record.reading.position, await heldHere());
  if (!next) {
    flash([...flash.now(), make("p", "Every place of this check is read; it goes to the shop by itself.")]);
    return;
  }
  if (next.reading === round.reading) {
    history.pushState(null, "", addressOf(round, next.at, next.reading));
    setPlace(round, next.at);
  } else if (navigator.serviceWorker?.controller) {
    sessionStorage.setItem("staying", `On this phone: ${record.what}.`);
    location.assign(addressOf(round, next.at, next.reading));
  }
}
flash.now = () => [...(document.querySelector(".staying")?.childNodes || [])];

// Turns the page of a field to another place of the same reading.
function setPlace(round, at) {
  const place = round.places.find((p) => p.at === at);
  const article = document.querySelector("[data-round]");
  if (!place || !article) return;
  for (const input of article.querySelectorAll("input[name=position]")) input.value = at;
  for (const name of article.querySelectorAll("[data-place]")) name.textContent = place.label;
  for (const name of ["value", "note", "spot", "mean_of"]) for (const input of article.querySelectorAll(`form input[name=${name}]:not([type=hidden])`)) input.value = "";
  for (const form of article.querySelectorAll("form.stations-form")) form.reset();
  article.querySelectorAll(":scope > .question, .wrong:not(.shut)").forEach((e) => e.remove());
  for (const chip of article.querySelectorAll("nav[aria-label=Places] a")) {
    if (chip.dataset.at === at) chip.setAttribute("aria-current", "true");
    else chip.removeAttribute("aria-current");
  }
  article.dataset.at = at;
  document.getElementById("value")?.focus({ preventScroll: true });
  showHere(round);
}

// What was read at this place: of the shop as the page knew it, then on this phone.
async function showHere(round) {
  const article = document.querySelector("[data-round]");
  const at = article.dataset.at;
  const taken = article.querySelector("section.taken:not(.waiting)");
  if (taken) taken.hidden = taken.dataset.at !== at;
  const waiting = (await heldHere()).filter((r) => r.reading && r.state === "waiting" && r.reading.check === round.check && (r.reading.phase || "as-found") === (round.phase || "as-found"));
  for (const chip of article.querySelectorAll("nav[aria-label=Places] a")) {
    chip.querySelector(".phone")?.remove();
    if (waiting.some((r) => same(r.reading, round, round.reading, chip.dataset.at))) chip.append(make("span", "on this phone", "phone"));
  }
  article.querySelector("section.waiting")?.remove();
  const here = waiting.filter((r) => r.reading.position === at);
  if (here.length) {
    const section = make("section", "", "taken waiting");
    const list = make("ul");
    for (const r of here) list.append(make("li", `${r.what} · ${clock(r.at)} · on this phone`));
    section.append(make("h3", "Read here, on this phone"), list);
    article.append(section);
  }
}

// A gauge does not change its scale between two cylinders: unit and gauge stay those of the last reading on this phone.
function asLastTime(round, records) {
  const last = records.filter((r) => r.reading && r.reading.check === round.check && r.reading.reading === round.reading).pop();
  if (!last) return;
  const of = Object.fromEntries(last.fields);
  for (const name of ["unit", "gauge-used"]) {
    const select = document.querySelector(`.number-form select[name="${name}"]`);
    if (select && [...select.options].some((o) => o.value === of[name])) select.value = of[name];
    if (name === "unit" && select) shownUnit(select);
  }
}

// The unit beside the name of what is read is the one chosen.
function shownUnit(select) {
  const label = select.closest("form")?.querySelector("label[for=value]");
  if (label?.lastChild?.nodeType === Node.TEXT_NODE) label.lastChild.textContent = ` in ${select.value}`;
}

// A caution that was ticked on this phone opens the field it held up.
async function openTicked() {
  const shut = document.querySelector("[data-held-by]");
  if (!shut) return;
  const records = await heldHere();
  const ticked = records.map((r) => r.caution);
  if (!shut.dataset.heldBy.split(" ").every((id) => ticked.includes(id))) return;
  const open = make("div");
  open.innerHTML = shut.dataset.field;
  shut.replaceWith(...open.childNodes);
  // What is read and ticked makes room for the keys, as it does on the shop's own page.
  const list = document.querySelector("[data-round] > ul.cautions");
  const read = [...(list?.querySelectorAll(":scope > [data-caution]") || [])].filter((c) => ticked.includes(c.dataset.caution));
  if (read.length) {
    const fold = make("details", "", "fold read"), inside = make("ul", "", "cautions");
    fold.append(make("summary", `Read and ticked, on this phone: ${read.map((c) => c.dataset.caution.replaceAll("-", " ")).join(", ")}`), inside);
    for (const caution of read) {
      caution.querySelector("form")?.replaceWith(make("b", " Ticked, on this phone."));
      inside.append(caution);
    }
    list.after(fold);
    if (!list.children.length) list.remove();
  }
  const round = roundOf();
  if (round) {
    asLastTime(round, records);
    setPlace(round, document.querySelector("[data-round]").dataset.at);
  }
  dispatchEvent(new Event("bench-field"));
}

// ---- What waits, on every page ----

async function render() {
  const records = await queue.all().catch(() => []);
  const mine = job ? records.filter((r) => r.job === job) : records;
  const refused = records.filter((r) => r.state === "refused");
  for (const line of document.querySelectorAll("[data-phone]")) {
    line.hidden = !mine.length;
    line.textContent = mine.length ? `${mine.length} on this phone` : "";
  }
  const held = records.find((r) => r.held);
  let word = document.querySelector(".refusedline");
  if ((refused.length || held) && !document.querySelector("[data-queue]")) {
    if (!word) {
      word = make("p", "", "notkept refusedline");
      word.setAttribute("role", "status");
      top_?.after(word);
    }
    const link = make("a", refused.length === 1 && !held ? "Look at it" : "Look at them");
    link.href = "/queue";
    const said = held ? heldWords(held) : refused.length === 1 ? "The shop did not take one entry of this phone." : `The shop did not take ${refused.length} entries of this phone.`;
    word.replaceChildren(make("b", `${said} `), link);
  } else word?.remove();
  if (document.querySelector("[data-queue]")) listed(records);
  const round = roundOf();
  if (round) await showHere(round);
}

const heldWords = (record) => record.held === 423 ? "The shop asks for your PIN first. Everything stays on this phone until it is given." :
  "The shop does not know this phone, or no longer. Nothing is sent until it is paired again; everything stays on this phone.";

function listed(records) {
  const page = document.querySelector("[data-queue]");
  const held = records.find((r) => r.held);
  const heldLine = page.querySelector("[data-queue-held]");
  heldLine.hidden = !held;
  heldLine.textContent = held ? heldWords(held) : "";
  page.querySelector("[data-queue-empty]").hidden = records.length > 0;
  for (const [part, state] of [["refused", "refused"], ["waiting", "waiting"]]) {
    const section = page.querySelector(`[data-queue-${part}]`);
    const rows = records.filter((r) => r.state === state);
    section.hidden = !rows.length;
    section.querySelector("[data-rows]").replaceChildren(...rows.map((r) => rowOf(r)));
  }
}

function rowOf(record) {
  const row = make("li");
  row.dataset.entry = record.id;
  row.append(make("span", `${clock(record.at)} · ${record.by}${record.of ? ` · ${record.of}` : ""}`, "when"), make("b", record.what));
  const button = (words, name, act) => {
    const key = make("button", words, name);
    key.type = "button";
    key.addEventListener("click", () => act(key));
    keys.append(key);
  };
  const keys = make("p");
  if (record.state === "refused") {
    for (const words of record.words || []) row.append(make("p", words, "wrongline"));
    button("Put it right", "", () => sentPlainly(record));
    button("Send it again", "plain", async () => { await queue.put({ ...record, state: "waiting", words: undefined }); send(); });
  }
  button("Throw away", "plain", async (key) => {
    if (key.dataset.sure) return queue.drop(record.id);
    key.dataset.sure = "yes";
    key.textContent = "It is kept nowhere else: throw it away";
  });
  row.append(keys);
  return row;
}

// ---- Sending again: at once, on the net's return, by the clock ----

let pause = 2000, timer = 0;

async function send() {
  clearTimeout(timer);
  const done = await queue.sendAll().catch(() => null);
  const stopped = done?.stopped;
  if (done && [...done.values()].some((became) => became.out === "kept")) {
    pause = 2000;
    await counted();
  }
  if (done && !stopped) theShopAnswers();
  await render();
  const waits = (await queue.all().catch(() => [])).some((r) => r.state === "waiting");
  if (waits && stopped?.out !== "held") {
    wake();
    timer = setTimeout(send, pause);
    pause = Math.min(60000, pause * 2);
  }
}

// Asks the browser to send once there is a network, also with the page shut; where it cannot, the clock above does.
async function wake() {
  clearTimeout(timer);
  timer = setTimeout(send, pause);
  const worker = await navigator.serviceWorker?.getRegistration?.();
  await worker?.sync?.register("queue").catch(() => {});
}

async function counted() {
  const line = document.querySelector("[data-where]");
  if (!line) return;
  try {
    const answer = await fetch(`/where.json${job ? `?job=${job}` : ""}`, { headers: { Accept: "application/json" } });
    const { words } = await answer.json();
    line.querySelector("[data-in-shop]").textContent = words.shop;
    const backup = line.querySelector("[data-in-backup]");
    if (backup && words.backup) backup.textContent = words.backup;
  } catch { /* the shop is away again; the line keeps its last word */ }
}

// A page that was shown from this phone offers the present one once the shop answers.
const asOf = document.querySelector("[data-asof]");
async function theShopAnswers() {
  if (!asOf || asOf.dataset.back) return;
  const well = await fetch("/health", { cache: "no-store" }).then((a) => a.status < 600, () => false);
  if (!well) return;
  asOf.dataset.back = "yes";
  const link = make("a", "Read this page anew");
  link.href = location.href;
  asOf.replaceChildren(make("b", "The shop answers again. "), link);
}
if (asOf) setInterval(() => { if (!document.hidden) theShopAnswers(); }, 5000);

document.addEventListener("change", (event) => { if (event.target.matches(".number-form select[name=unit]")) shownUnit(event.target); });
addEventListener("online", () => { pause = 2000; send(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) { pause = 2000; send(); } });
document.querySelector("[data-send-now]")?.addEventListener("click", () => { pause = 2000; send(); });
let drawn = 0;
queue?.hear((what) => {
  clearTimeout(drawn);
  drawn = setTimeout(render, 80);
  if (what === "sent") counted();
});

// ---- The pages of the job stay on this phone ----

async function readyForTheRoad() {
  if (!("serviceWorker" in navigator)) return;
  await navigator.serviceWorker.register("/sw.js", { updateViaCache: "none" });
  const { active } = await navigator.serviceWorker.ready;
  const asked = `ahead-${job}`, there = `ready-${job}`;
  const ready = (pages) => {
    const line = document.querySelector("[data-where]");
    if (!line || line.querySelector("[data-ready]")) return;
    const word = make("span", " · goes on without Wi-Fi");
    word.dataset.ready = pages;
    line.append(word);
  };
  if (job && sessionStorage.getItem(there)) ready(sessionStorage.getItem(there));
  navigator.serviceWorker.addEventListener("message", (event) => {
    if (event.data?.ahead !== job) return;
    sessionStorage.setItem(there, event.data.pages);
    ready(event.data.pages);
  });
  if (asOf) return;
  // The list is asked for at most once a minute: a page is read more often than a job opens up.
  if (!job) active.postMessage({ visit: location.pathname + location.search });
  else if (Date.now() - Number(sessionStorage.getItem(asked) || 0) > 60000) {
    sessionStorage.setItem(asked, Date.now());
    active.postMessage({ ahead: job });
  }
  await navigator.storage?.persist?.();
}

async function begin() {
  if (!queue || !self.indexedDB) return;
  await takenBack();
  const staying = sessionStorage.getItem("staying");
  if (staying) {
    sessionStorage.removeItem("staying");
    flash([make("span", staying)]);
  }
  const round = roundOf();
  if (round) {
    const asked = new URLSearchParams(location.search).get("position");
    // A field kept on this phone is one page for all places.
    if (asOf) {
      const records = await heldHere();
      asLastTime(round, records);
      const next = asked && round.places.some((p) => p.at === asked) ? asked : nextOf(round, round.at, records)?.at;
      if (next && next !== round.at) setPlace(round, next);
    }
    delete document.body.dataset.turning;
    addEventListener("popstate", () => {
      const back = new URLSearchParams(location.search).get("position");
      if (back) setPlace(round, back);
    });
    await openTicked();
  }
  await nextBag();
  await render();
  await send();
}
queue?.release();
begin().catch(() => {}).finally(() => delete document.body.dataset.turning);
readyForTheRoad().catch(() => {});
