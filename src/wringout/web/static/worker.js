// Keeps every page that was seen, so that it opens without a connection. Entries are sent by the pages themselves.
"use strict";
const FILES = "files-VERSION", PAGES = "pages", SHELL_LIST = "SHELL", PATIENCE = 4000, MOST = 400;

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

async function seen(request) {
  const key = keyOf(request);
  const fresh = fetch(request).then(async (answer) => {
    if (answer.ok && !answer.redirected && answer.type === "basic") await keep(key, answer.clone());
    return answer;
  });
  try {
    const kept = await (await caches.open(PAGES)).match(key);
    if (!kept) return await fresh;
    const late = new Promise((done) => setTimeout(done, PATIENCE));
    return (await Promise.race([fresh, late])) || kept;
  } catch {
    const pages = await caches.open(PAGES);
    const url = new URL(key.url);
    const plain = new URL(url.pathname, url);
    return (await pages.match(key)) || (await pages.match(plain.href)) ||
      (request.mode === "navigate" ? caches.match("/offline") : Response.error());
  }
}

addEventListener("fetch", (event) => {
  const request = event.request, url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(file(request));
  else if (url.pathname === "/sw.js" || url.pathname === "/manifest.webmanifest" || url.pathname.startsWith("/api/")) return;
  else event.respondWith(seen(request));
});
