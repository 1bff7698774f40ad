// The part of the bench that stays on the phone when the page is shut. VERSION and FILES are put before it by the shop.
importScripts(FILES.find((file) => file.startsWith("/queue.js")));

const FIXED = `files-${VERSION}`;
const PAGES = "pages";
const MOST = 900; // pages and pictures kept; the oldest go first
const FRESH = 10 * 60000; // a page younger than this is not fetched ahead again
let puts = 0; // pages put since this woke; the bound is looked at now and then
const PATIENCE = 8000; // how long a shop may think before the kept copy is shown

addEventListener("install", (event) => {
  event.waitUntil((async () => {
    // What is named by its version has just been fetched by the page; the rest is fetched anew.
    const anew = (file) => new Request(file, { cache: file.includes("?v=") ? "default" : "reload" });
    await (await caches.open(FIXED)).addAll(FILES.map(anew));
    await skipWaiting();
  })());
});

addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== FIXED && name !== PAGES) await caches.delete(name);
    await clients.claim();
  })());
});

const isFile = (path) => FILES.some((file) => file.split("?")[0] === path);
// What is made anew at every asking, or writes something down when it is given, never comes from here.
const isOwn = (path) => !/^\/(api|health|where\.json|attachments|pair|pin|sign-out|devices)\b|\/(papers|page|live)(\/|$)|\.(toml|pdf|json)$|\/look\.html$/.test(path);

// A field is one page for all its places: the page itself changes the place.
function keyOf(url) {
  const asked = url.searchParams;
  if (/^\/jobs\/[^/]+\/enter$/.test(url.pathname)) {
    const phase = asked.get("phase") || "";
    const parts = [["check", asked.get("check") || ""], ["reading", asked.get("reading") || ""]];
    if (phase && phase !== "as-found") parts.push(["phase", phase]);
    return `${url.pathname}?${new URLSearchParams(parts)}`;
  }
  if (/^\/jobs\//.test(url.pathname) && !url.pathname.endsWith("/bolts")) return url.pathname;
  return url.pathname + url.search;
}

async function keptPage(url) {
  const cache = await caches.open(PAGES);
  const key = keyOf(url);
  const found = await cache.match(key);
  if (found) return found;
  if (url.pathname.endsWith("/enter")) {
    const check = url.searchParams.get("check");
    for (const request of await cache.keys()) {
      const there = new URL(request.url);
      if (there.pathname === url.pathname && there.searchParams.get("check") === check && !url.searchParams.get("reading")) return cache.match(request);
    }
  }
  if (/^\/jobs\/[^/]+$/.test(url.pathname)) return cache.match(`${url.pathname}/test`);
  return undefined;
}

const isPage = (answer) => answer.status === 200 && !answer.redirected && /^text\/html/.test(answer.headers.get("content-type") || "");

async function keep(key, answer) {
  const headers = new Headers({ "content-type": answer.headers.get("content-type"), "x-kept-at": String(Date.now()) });
  const policy = answer.headers.get("content-security-policy");
  if (policy) headers.set("content-security-policy", policy);
  const cache = await caches.open(PAGES);
  await cache.put(key, new Response(await answer.blob(), { headers }));
  if (++puts % 40 !== 1) return;
  const keys = await cache.keys();
  for (const old of keys.slice(0, Math.max(0, keys.length - MOST))) await cache.delete(old);
}

const told = (text) => text.replace(/[&<>"]/g, (c) => `&#${c.charCodeAt(0)};`);

function clock(ms) {
  const at = new Date(ms), two = (n) => String(n).padStart(2, "0");
  const day = at.toDateString() === new Date().toDateString() ? "" : `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} `;
  return `${day}${two(at.getHours())}:${two(at.getMinutes())}`;
}

// A kept page says from when it is, before anything else.
// A field that was kept at another place is not touched before the page has turned to the place asked for.
async function shown(kept, url) {
  const at = Number(kept.headers.get("x-kept-at"));
  const line = `<p class="asof" data-asof="${at}" role="status">As of ${told(clock(at))}, from this phone. ` +
    "The shop does not answer; what you enter stays on this phone until it does.</p>";
  const turns = url.searchParams.has("position") && url.pathname.endsWith("/enter");
  const text = (await kept.text()).replace(/<body([^>]*)>/, (_, more) => `<body${more}${turns ? ' data-turning=""' : ""}>${line}`);
  return new Response(text, { headers: kept.headers });
}

function notHere(url) {
  const text = "<!DOCTYPE html><html lang='en'><head><meta charset='utf-8'><meta name='viewport' content='width=device-width, initial-scale=1'>" +
    "<title>Not on this phone · witnessmark</title><link rel='stylesheet' href='/bench.css'></head><body><main id='main'><section class='sheet'>" +
    "<h1>This page is not on this phone</h1><p>The shop does not answer, and this page was never opened here. Jobs that were opened on this phone go on.</p>" +
    `<p class='code'>${told(url.pathname)}</p><p><a class='button' href='/'>All jobs</a> <a class='button' href='/queue'>On this phone</a></p>` +
    "</section></main></body></html>";
  return new Response(text, { status: 503, headers: { "content-type": "text/html; charset=utf-8" } });
}

async function page(event, url) {
  const kept = await keptPage(url);
  const fresh = fetch(event.request).then(async (answer) => {
    if (isPage(answer)) await keep(keyOf(url), answer.clone()).catch(() => {});
    return answer;
  });
  try {
    if (!kept) return await fresh;
    const late = new Promise((_, no) => setTimeout(no, PATIENCE));
    return await Promise.race([fresh, late]);
  } catch {
    fresh.catch(() => {});
    return kept ? shown(kept, url) : notHere(url);
  }
}

async function file(request) {
  const cache = await caches.open(FIXED);
  const here = await cache.match(request);
  if (here) return here;
  try {
    return await fetch(request);
  } catch (why) {
    // A page kept by an earlier version asks for its own files.
    const other = await cache.match(request, { ignoreSearch: true });
    if (other) return other;
    throw why;
  }
}

async function picture(request) {
  const cache = await caches.open(PAGES);
  const here = await cache.match(request);
  if (here) return here;
  const answer = await fetch(request);
  if (answer.status === 200) await keep(request.url, answer.clone()).catch(() => {});
  return answer;
}

addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (isFile(url.pathname)) event.respondWith(file(event.request));
  else if (url.pathname.startsWith("/attachments/") && event.request.destination === "image") event.respondWith(picture(event.request));
  else if (event.request.mode === "navigate" && isOwn(url.pathname)) event.respondWith(page(event, url));
});

async function fetchAhead(path) {
  const answer = await fetch(path, { credentials: "same-origin", headers: { Accept: "text/html" } });
  if (isPage(answer)) await keep(keyOf(new URL(path, location.href)), answer);
}

// Fetches the pages of a job that was opened, two at a time, so that it goes on without the shop.
async function ahead(job) {
  const answer = await fetch(`/jobs/${job}/offline.json`, { credentials: "same-origin" });
  if (!answer.ok) return;
  const { pages } = await answer.json();
  const cache = await caches.open(PAGES);
  const wanted = [];
  for (const path of pages) {
    const there = await cache.match(keyOf(new URL(path, location.href)));
    if (!there || Date.now() - Number(there.headers.get("x-kept-at")) > FRESH) wanted.push(path);
  }
  const hand = async () => {
    while (wanted.length) await fetchAhead(wanted.shift());
  };
  await Promise.all([hand(), hand()]);
  for (const client of await clients.matchAll()) client.postMessage({ ahead: job, pages: pages.length });
}

addEventListener("message", (event) => {
  const said = event.data || {};
  if (said.ahead) event.waitUntil(ahead(said.ahead).catch(() => {}));
  if (said.visit) event.waitUntil(fetchAhead(said.visit).catch(() => {}));
});

// The browser wakes this when there is a network again, also with the page shut.
addEventListener("sync", (event) => {
  if (event.tag !== "queue") return;
  event.waitUntil((async () => {
    const done = await benchQueue.sendAll();
    if (done.stopped?.out === "away") throw new Error("the shop does not answer yet");
  })());
});
