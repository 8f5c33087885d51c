// Keeps every page that was seen, so that it opens without a connection. Entries are sent by the pages themselves.
"use strict";
const FILES = "files-VERSION", PAGES = "pages", SHELL_LIST = "SHELL", PATIENCE = 8000, MOST = 400;

addEventListener("install", (event) => {
  event.waitUntil(caches.open(FILES).then((c) => c.addAll(SHELL_LIST)).then(() => skipWaiting()));
});
addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== FILES && name !== PAGES) await caches.delete(name);
    await clients.claim();
    // the page that brought this worker was seen before the worker could keep it
    for (const c of await clients.matchAll({ type: "window" })) {
      const answer = await fetch(c.url, { credentials: "same-origin" }).catch(() => null);
      if (answer && answer.ok && !answer.redirected) await keep(new Request(c.url.split("#")[0]), answer);
    }
  })());
});

async function keep(request, answer) {
  const pages = await caches.open(PAGES);
  await pages.put(request, answer);
  const keys = await pages.keys();
  for (const old of keys.slice(0, Math.max(keys.length - MOST, 0))) await pages.delete(old);
}

async function file(request) {
  const kept = await caches.match(request);
  if (kept) return kept;
  const answer = await fetch(request);
  if (answer.ok) (await caches.open(FILES)).put(request, answer.clone());
  return answer;
}

// htmx asks a page's address for its part: kept beside the page, under an address of its own
const keyOf = (request) => {
  const url = new URL(request.url);
  url.hash = "";
  if (request.headers.get("hx-request")) url.searchParams.set("hx", "1");
  return new Request(url, { credentials: "same-origin" });
};

// A kept page says that it is one, and of when.
async function dated(kept) {
  if (!(kept.headers.get("content-type") || "").startsWith("text/html")) return kept;
  const at = new Date(kept.headers.get("date") || Date.now());
  const words = `As kept on this phone at ${at.toTimeString().slice(0, 5)}: the server does not answer now.`;
  const text = (await kept.text()).replace('<main id="main">', `<main id="main"><p class="ask" id="kept-at">${words}</p>`);
  const headers = new Headers(kept.headers);
  headers.delete("content-encoding");
  headers.delete("content-length");
  return new Response(text, { status: 200, headers });
}

async function seen(request) {
  const key = keyOf(request);
  const fresh = fetch(request).then(async (answer) => {
    if (answer.ok && !answer.redirected && answer.type === "basic") await keep(key, answer.clone());
    return answer;
  });
  try {
    const kept = await (await caches.open(PAGES)).match(key);
    // a part is worked on for as long as it takes; only a page that does not come is shown as it was kept
    if (!kept || request.mode !== "navigate") return await fresh;
    const late = new Promise((done) => setTimeout(done, PATIENCE));
    return (await Promise.race([fresh, late])) || (await dated(kept));
  } catch {
    const pages = await caches.open(PAGES);
    const url = new URL(key.url);
    const plain = new URL(url.pathname, url);
    const kept = (await pages.match(key)) || (await pages.match(plain.href));
    if (kept) return dated(kept);
    return request.mode === "navigate" ? caches.match("/offline") : Response.error();
  }
}

addEventListener("fetch", (event) => {
  const request = event.request, url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(file(request));
  else if (url.pathname === "/sw.js" || url.pathname === "/manifest.webmanifest" || url.pathname.startsWith("/api/")) return;
  else event.respondWith(seen(request));
});
