// What is entered goes into a queue on this phone first, and from there to the server: in order, exactly once.
// Each entry has an identifier made here (UUID version 7), by which the server knows one that is sent again.
"use strict";
(() => {
  const NAME = "wringout-queue";
  let last = 0n;

  function uuid7() {
    const chance = crypto.getRandomValues(new Uint8Array(10));
    let ms = BigInt(Date.now());
    if (ms <= last) ms = last + 1n; // entries of one moment stay in their order
    last = ms;
    const b = new Uint8Array(16);
    for (let i = 0; i < 6; i++) b[i] = Number((ms >> BigInt(8 * (5 - i))) & 255n);
    b.set(chance, 6);
    b[6] = (b[6] & 15) | 112;
    b[8] = (b[8] & 63) | 128;
    const x = [...b].map((n) => n.toString(16).padStart(2, "0")).join("");
    return `${x.slice(0, 8)}-${x.slice(8, 12)}-${x.slice(12, 16)}-${x.slice(16, 20)}-${x.slice(20)}`;
  }

  function localTime() {
    const d = new Date();
    return new Date(d - d.getTimezoneOffset() * 60000).toISOString().slice(0, 19);
  }

  let opened;
  function base() {
    opened ??= new Promise((done, fail) => {
      const asked = indexedDB.open(NAME, 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("entries", { keyPath: "id" });
      asked.onsuccess = () => done(asked.result);
      asked.onerror = () => fail(asked.error);
    });
    return opened;
  }

  async function within(mode, work) {
    const db = await base();
    return new Promise((done, fail) => {
      const t = db.transaction("entries", mode, { durability: "strict" });
      const asked = work(t.objectStore("entries"));
      t.oncomplete = () => done(asked && asked.result);
      t.onerror = t.onabort = () => fail(t.error);
    });
  }
  const put = (entry) => within("readwrite", (s) => s.put(entry));
  const drop = (id) => within("readwrite", (s) => s.delete(id));
  const all = () => within("readonly", (s) => s.getAll()); // by id, and so by time

  const token = () => document.querySelector('meta[name="csrf"]').content;

  // Send one entry. Gives "sent" with where to go, "later", or "refused" with the words of the server.
  async function send(entry) {
    const body = new FormData();
    for (const [name, value] of entry.fields) body.append(name, value);
    let answer;
    try {
      const stop = new AbortController();
      const clock = setTimeout(() => stop.abort(), entry.kind === "photo" ? 120000 : 15000);
      answer = await fetch(entry.to, { method: "POST", body, signal: stop.signal, redirect: "manual",
        headers: { "x-csrf": token(), "x-queued": "1" }, credentials: "same-origin" });
      clearTimeout(clock);
    } catch { return { fate: "later" }; }
    if (answer.status === 204) return { fate: "sent", to: answer.headers.get("x-location") };
    if (answer.type === "opaqueredirect") return { fate: "later", why: "This device is not paired any more." };
    if (answer.status === 403) return { fate: "later", why: "Open a page of this server anew, then it is sent." };
    if (answer.status >= 500 || answer.status === 429) return { fate: "later", why: "The server has a fault." };
    const words = new DOMParser().parseFromString(await answer.text(), "text/html");
    const said = [...words.querySelectorAll(".problems li")].map((li) => li.textContent).join(" ");
    return { fate: "refused", why: said || `The server answered ${answer.status}.` };
  }

  let busy = null;
  function flush() {
    // one tab at a time, so that the order holds
    busy ??= (navigator.locks ? navigator.locks.request(NAME, run) : run()).finally(() => { busy = null; show(); });
    return busy;
  }

  async function run() {
    const fates = new Map();
    for (const entry of await all()) {
      if (entry.refused) continue;
      const { fate, to, why } = await send(entry);
      fates.set(entry.id, { fate, to, why });
      if (fate === "sent") await drop(entry.id);
      else if (fate === "refused") await put({ ...entry, refused: why });
      else { fates.set("", { fate, why }); break; } // nothing overtakes it
      show();
    }
    return fates;
  }

  let told = "";
  async function show() {
    const bar = document.getElementById("queue");
    if (!bar) return;
    const entries = await all().catch(() => []);
    bar.hidden = !entries.length;
    bar.replaceChildren();
    if (!entries.length) return;
    const waiting = entries.filter((e) => !e.refused);
    const say = (tag, words, under = bar) => { const e = document.createElement(tag); e.textContent = words; under.append(e); return e; };
    if (waiting.length) {
      say("b", `${waiting.length} not yet sent, safe on this phone`);
      const list = say("ul", "");
      for (const e of waiting.slice(0, 5)) say("li", `${e.at.slice(11, 16)} ${e.words}`, list);
      if (waiting.length > 5) say("li", `and ${waiting.length - 5} more`, list);
      if (told) say("p", told);
      const again = say("button", "Send now");
      again.type = "button";
      again.onclick = () => flush();
    }
    for (const e of entries.filter((x) => x.refused)) {
      const p = say("p", `Not taken: ${e.words}. ${e.refused} `);
      const gone = say("button", "Discard it", p);
      gone.type = "button";
      gone.onclick = async () => { await drop(e.id); show(); };
    }
  }

  function wordsOf(form, kind, fields) {
    const v = (name) => { const f = fields.find(([n, x]) => n === name && typeof x === "string" && x); return f ? f[1] : ""; };
    const picked = fields.filter(([n, x]) => /^[ruh]\d+$/.test(n) && x).map(([, x]) => x.replace("|", " "));
    const words = [v("line") && !picked.length ? v("line") : "", picked.join(", "), v("point"), v("value"), v("value") && v("unit"), v("item"), v("hold"), v("cause"), v("text")];
    return `${kind}: ${words.filter(Boolean).join(" ")}`.slice(0, 120);
  }

  async function keep(form, submitter, to, kind) {
    const data = new FormData(form, submitter);
    const id = uuid7(), at = data.get("at") || localTime();
    data.set("id", id);
    data.set("at", at);
    data.delete("csrf"); // the token of the day it is sent goes with it
    const fields = [...data.entries()].filter(([, v]) => !(v instanceof File) || v.name);
    const entry = { id, to, kind, at, fields, words: wordsOf(form, kind, fields) };
    await put(entry); // on the phone before anything else
    const fates = await flush();
    let mine = fates.get(id);
    if (!mine && !fates.has("")) mine = (await flush()).get(id);
    if (mine && mine.fate === "sent") {
      await form.dispatchEvent(new CustomEvent("wringout:sent", { bubbles: true }));
      const here = location.pathname + location.search;
      if (mine.to && mine.to !== here) location.assign(mine.to); else location.reload();
      return;
    }
    told = (mine && mine.why) || (fates.get("") || {}).why || "";
    form.reset();
    if (mine && mine.fate === "refused") told = "";
    await show();
    document.getElementById("queue").scrollIntoView({ block: "nearest" });
  }

  addEventListener("submit", (event) => {
    const form = event.target;
    if (form.dataset.queue) {
      event.preventDefault();
      const b = event.submitter;
      if (b) b.disabled = true;
      keep(form, b, form.getAttribute("action"), form.dataset.queue).finally(() => { if (b) b.disabled = false; });
    } else if (form.dataset.line) {
      // the line of readings is understood by the server; without it, the words themselves are kept
      if (navigator.onLine !== false && !form.dataset.away) {
        event.preventDefault();
        const at = form.elements.at;
        if (at) at.value = localTime();
        fetch("/manifest.webmanifest", { cache: "no-store", signal: AbortSignal.timeout(3000) })
          .then((r) => { if (!r.ok) throw 0; form.submit(); })
          .catch(() => keep(form, null, form.dataset.line, "said"));
        return;
      }
      event.preventDefault();
      keep(form, null, form.dataset.line, "said");
    } else if (form.method === "post" && form.elements.at && !form.elements.at.value) {
      form.elements.at.value = localTime();
    }
  });

  addEventListener("online", () => flush());
  document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
  setInterval(async () => { if ((await all()).some((e) => !e.refused)) flush(); }, 15000);
  show().then(async () => { if ((await all()).length) flush(); });
  window.wringoutQueue = { all, flush };
})();
