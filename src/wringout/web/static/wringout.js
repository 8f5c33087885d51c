// Small things that pages do when scripts run: keep pages for later, count down, go to what has to be mended.
"use strict";
(() => {
  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/sw.js").catch(() => {});

  const problems = document.querySelector(".problems");
  if (problems) problems.focus();

  function opened(id) {
    const at = id && document.getElementById(id);
    for (let e = at; e; e = e.parentElement) if (e.tagName === "DETAILS") e.open = true;
    if (at) {
      at.scrollIntoView({ block: "center" });
      const field = at.matches("input,select,textarea") ? at : at.querySelector("input:not([type=hidden]),button");
      if (field) field.focus({ preventScroll: true });
    }
  }
  addEventListener("hashchange", () => opened(decodeURIComponent(location.hash.slice(1))));
  if (location.hash) opened(decodeURIComponent(location.hash.slice(1)));
  document.addEventListener("htmx:after:swap", () => { if (location.hash.startsWith("#f-v-")) opened(decodeURIComponent(location.hash.slice(1))); count(); });

  function count() {
    for (const e of document.querySelectorAll("[data-due]")) {
      const left = Math.round((new Date(e.dataset.due) - Date.now()) / 1000);
      if (left <= 0) e.textContent = "ready";
      else if (left < 5400) e.textContent = `in ${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`;
    }
  }
  count();
  setInterval(count, 1000);

  // how long something is worked on, by the second for eyes, now and then for ears; asked anew where no answer comes
  const begun = new WeakMap();
  function working() {
    for (const e of document.querySelectorAll(".working")) {
      if (!begun.has(e)) begun.set(e, Date.now());
      const here = (Date.now() - begun.get(e)) / 1000, seen = e.querySelector(".so-far"), heard = e.querySelector(".unseen");
      const words = `${Math.round(Number(seen.dataset.soFar) + here)} s so far`;
      seen.textContent = words;
      if (Math.round(here) % 5 === 4) heard.textContent = words;
      if (here > 20) {
        begun.set(e, Date.now());
        fetch(e.getAttribute("hx-get"), { headers: { "hx-request": "true" } }).then((r) => r.text()).then((text) => {
          const work = document.getElementById("work");
          work.innerHTML = text;
          window.htmx.process(work);
        }, () => {});
      }
    }
  }
  working();
  setInterval(working, 1000);

  const kept = document.getElementById("kept-pages");
  if (kept && "caches" in window) {
    caches.open("pages").then((c) => c.keys()).then((keys) => {
      for (const k of keys) {
        const path = new URL(k.url).pathname + new URL(k.url).search;
        const li = document.createElement("li"), a = document.createElement("a");
        a.className = "card"; a.href = path; a.textContent = path;
        caches.match(k).then((r) => r.text()).then((t) => { const m = /<title>([^<]*)/.exec(t); if (m) a.textContent = m[1].replace(/&[^;]*;/g, " "); });
        li.append(a); kept.append(li);
      }
    });
  }
})();
