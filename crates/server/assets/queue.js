// What this phone holds until the shop has kept it. Used by the pages and by the service worker; it knows no page.
//
// An entry gets its id when it is sent for the first time, and is written down here before it goes anywhere. The shop knows
// an id again, so an entry may be sent as often as it takes and is kept once.
self.benchQueue = (() => {
  let opened;
  const open = () => (opened ??= new Promise((yes, no) => {
    const ask = indexedDB.open("bench", 1);
    ask.onupgradeneeded = () => ask.result.createObjectStore("queue", { keyPath: "id" });
    ask.onsuccess = () => {
      ask.result.onversionchange = ask.result.onclose = () => { ask.result.close(); opened = undefined; };
      yes(ask.result);
    };
    ask.onerror = () => { opened = undefined; no(ask.error); };
  }));
  // It is on the disk when this comes back.
  const within = async (mode, act) => {
    const base = await open();
    return new Promise((yes, no) => {
      const transaction = base.transaction("queue", mode, { durability: "strict" });
      const asked = act(transaction.objectStore("queue"));
      transaction.oncomplete = () => yes(asked.result);
      transaction.onabort = () => no(transaction.error);
    });
  };

  const news = typeof BroadcastChannel === "function" ? new BroadcastChannel("bench-queue") : null;
  const hearers = [];
  const tell = (what) => {
    news?.postMessage(what);
    for (const hear of hearers) hear(what);
  };
  if (news) news.onmessage = (event) => { for (const hear of hearers) hear(event.data); };

  // A version 7 UUID: time first, then chance.
  function freshId(at = Date.now()) {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    let ms = at;
    for (let i = 5; i >= 0; i--) {
      bytes[i] = ms % 256;
      ms = Math.floor(ms / 256);
    }
    bytes[6] = 0x70 | (bytes[6] & 0x0f);
    bytes[8] = 0x80 | (bytes[8] & 0x3f);
    const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  // Everything here, in the sequence it was written down.
  const all = () => within("readonly", (store) => store.getAll());
  const one = (id) => within("readonly", (store) => store.get(id));
  const put = (record) => within("readwrite", (store) => store.put(record)).then(() => tell("changed"));
  // What was thrown away meanwhile does not come back.
  const patch = (id, more) => within("readwrite", (store) => {
    const asked = store.get(id);
    asked.onsuccess = () => asked.result && store.put({ ...asked.result, ...more });
    return asked;
  }).then(() => tell("changed"));
  const drop = (id) => within("readwrite", (store) => store.delete(id)).then(() => tell("changed"));
  const hasFile = (record) => record.fields.some(([, value]) => typeof value !== "string");

  function bodyOf(record) {
    const body = record.enctype === "multipart/form-data" ? new FormData() : new URLSearchParams();
    for (const [name, value] of record.fields) body.append(name, value);
    return body;
  }

  // What the shop says in words, from a problem document.
  function wordsOf(problem) {
    const errors = (problem.errors || []).map((error) => error.message).filter(Boolean);
    return errors.length ? errors : [problem.detail || problem.title || "no reason was given"];
  }

  // Sends one: kept, refused by the shop, held (this phone may not send now), or away (no shop in reach).
  async function send(record) {
    let answer, said;
    try {
      answer = await fetch(record.action, {
        method: "POST", body: bodyOf(record), credentials: "same-origin", redirect: "error", cache: "no-store",
        headers: { Accept: "application/json", "Bench-By": encodeURIComponent(record.by || "") },
        signal: AbortSignal.timeout?.(hasFile(record) ? 180000 : 20000),
      });
      said = /json/.test(answer.headers.get("content-type") || "") ? await answer.json() : {};
    } catch {
      return { out: "away" };
    }
    if (answer.ok && said.kept === true) {
      await drop(record.id);
      return { out: "kept", next: said.next, entry: said.entry, tail: said.tail };
    }
    if (answer.status === 401 || answer.status === 423) {
      await patch(record.id, { held: answer.status });
      return { out: "held", status: answer.status };
    }
    // Only the shop's own words refuse; what something in between says means that the shop was not reached.
    const refused = answer.status >= 400 && answer.status < 500 && ![408, 425, 429].includes(answer.status);
    if (refused && said.title) {
      const words = wordsOf(said);
      await patch(record.id, { state: "refused", held: undefined, status: answer.status, words });
      return { out: "refused", status: answer.status, words };
    }
    return { out: "away", words: said.title ? [said.title, ...wordsOf(said)] : undefined };
  }

  // Sends what waits, one after the other, never from two places at once; answers what became of each.
  async function sendAll() {
    const run = async () => {
      const done = new Map();
      for (const record of await all()) {
        if (record.state !== "waiting") continue;
        const became = await send(record);
        done.set(record.id, became);
        if (became.out === "away" || became.out === "held") {
          done.stopped = became;
          break;
        }
      }
      if (done.size) tell("sent");
      return done;
    };
    return self.navigator?.locks ? navigator.locks.request("bench-queue", run) : run();
  }

  // A form that is sent before the rest of the page's script is there waits for it; where that never comes, the browser sends it.
  const early = [];
  const release = () => {
    self.benchPhone = true;
    for (const [form, submitter] of early.splice(0)) form.requestSubmit(submitter);
  };
  self.document?.addEventListener("submit", (event) => {
    if (self.benchPhone || !event.target.matches("[data-once]")) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (early.length) return;
    early.push([event.target, event.submitter]);
    setTimeout(release, 8000);
  }, true);

  return { release, freshId, all, one, put, drop, send, sendAll, hasFile, hear: (hearer) => hearers.push(hearer) };
})();
