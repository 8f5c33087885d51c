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
      const large = entry.fields.some(([, v]) => v instanceof File);
      const clock = setTimeout(() => stop.abort(), large ? 120000 : 15000);
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
    const a = words.querySelector(".problems a");
    return { fate: "refused", why: said || `The server answered ${answer.status}.`, field: a ? a.getAttribute("href") : "" };
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
      sending = { words: entry.words, since: Date.now() };
      const { fate, to, why, field } = await send(entry).finally(() => { sending = null; });
      fates.set(entry.id, { fate, to, why, field });
      if (fate === "sent") await drop(entry.id);
      else if (fate === "refused") await put({ ...entry, refused: why, field });
      else { fates.set("", { fate, why }); break; } // nothing overtakes it
      show();
    }
    return fates;
  }

  // What is being sent says so where it takes longer than a moment.
  let sending = null;
  setInterval(() => {
    const line = document.getElementById("sending"), s = sending ? Math.round((Date.now() - sending.since) / 1000) : 0;
    if (line) line.textContent = s > 1 ? `Sending ${sending.words}, ${s} s so far` : "";
  }, 1000);

  // Something to mend, told at the top of the page and linked to its field; the form keeps what was written.
  function tell(why, field) {
    document.querySelector(".problems")?.remove();
    const box = document.createElement("div"), head = document.createElement("h2"), p = document.createElement(field ? "a" : "p");
    box.className = "problems";
    box.tabIndex = -1;
    box.setAttribute("role", "alert");
    head.textContent = "To mend";
    p.textContent = why;
    if (field) p.href = field;
    box.append(head, p);
    document.getElementById("main").prepend(box);
    box.focus();
  }

  // Bring back an entry that the server did not take into its form.
  async function mend(id) {
    const entry = (await all()).find((e) => e.id === id);
    if (!entry) return;
    const given = new Map(entry.fields.filter(([, v]) => typeof v === "string"));
    const own = ["csrf", "id", "at", "base"];
    const form = [...document.forms].find((f) => f.getAttribute("action") === entry.to &&
      [...f.querySelectorAll("input[type=hidden]")].every((h) => own.includes(h.name) || given.get(h.name) === h.value));
    if (!form) return;
    for (const e of form.elements) if (e.matches("input:not([type=hidden],[type=radio],[type=checkbox],[type=file]), select, textarea") && given.has(e.name)) e.value = given.get(e.name);
    for (let e = form; e; e = e.parentElement) if (e.tagName === "DETAILS") e.open = true;
    form.dataset.mends = id;
    tell(entry.refused, entry.field);
  }
  const asked = () => { if (location.hash.startsWith("#mend-")) mend(location.hash.slice(6)); };
  addEventListener("hashchange", asked);

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
      say("p", "").id = "sending";
      const again = say("button", "Send now");
      again.type = "button";
      again.onclick = () => flush();
    }
    for (const e of entries.filter((x) => x.refused)) {
      const p = say("p", `Not taken: ${e.words}. ${e.refused} `);
      if (e.from) {
        const again = say("button", "Mend it", p);
        again.type = "button";
        again.onclick = () => { location.assign(`${e.from}#mend-${e.id}`); };
      }
      const gone = say("button", "Discard it", p);
      gone.type = "button";
      gone.onclick = async () => { await drop(e.id); show(); };
    }
  }

  function wordsOf(form, kind, fields) {
    const v = (name) => { const f = fields.find(([n, x]) => n === name && typeof x === "string" && x); return f ? f[1] : ""; };
    const picked = fields.filter(([n, x]) => /^[ruh]\d+$/.test(n) && x).map(([, x]) => x.replace("|", " "));
    const whole = form.dataset.whole !== undefined && [...form.elements].filter((e) => e.type !== "hidden" && e.name && (e.type === "file" ? e.files.length : e.tagName === "SELECT" ? ![...e.options].every((o) => o.selected === o.defaultSelected) && e.value : e.value !== e.defaultValue));
    if (whole) return `${kind}: ${whole.map((e) => (e.type === "file" ? e.files[0].name : `${e.name} ${e.value}`)).join(", ") || "as it is"}`.slice(0, 120);
    const words = [v("line") && !picked.length ? v("line") : "", picked.join(", "), v("point"), v("unreadable") ? "not readable" : v("value"), v("value") && v("unit"), v("item"), v("hold"), v("cause"), v("text")];
    return `${kind}: ${words.filter(Boolean).join(" ")}`.slice(0, 120);
  }

  async function keep(form, submitter, to, kind) {
    const data = new FormData(form, submitter);
    const id = uuid7(), at = data.get("at") || localTime();
    data.set("id", id);
    data.set("at", at);
    data.delete("csrf"); // the token of the day it is sent goes with it
    const fields = [...data.entries()].filter(([, v]) => !(v instanceof File) || v.name);
    const entry = { id, to, kind, at, fields, words: wordsOf(form, kind, fields), from: location.pathname };
    await put(entry); // on the phone before anything else
    if (form.dataset.mends) { await drop(form.dataset.mends); delete form.dataset.mends; }
    const fates = await flush();
    let mine = fates.get(id);
    if (!mine && !fates.has("")) mine = (await flush()).get(id);
    if (mine && mine.fate === "sent") {
      await form.dispatchEvent(new CustomEvent("wringout:sent", { bubbles: true }));
      const here = location.pathname + location.search;
      if (mine.to && mine.to !== here) location.assign(mine.to); else { history.replaceState(null, "", here); location.reload(); }
      return;
    }
    const whole = form.dataset.whole !== undefined; // a form of many fields keeps what was written in it
    if (whole && mine && mine.fate === "refused") { await drop(id); tell(mine.why, mine.field); return; }
    told = (mine && mine.why) || (fates.get("") || {}).why || "";
    if (!whole) form.reset();
    if (mine && mine.fate === "refused") told = "";
    await show();
    document.getElementById("queue").scrollIntoView({ block: "nearest" });
  }

  const answers = () => fetch("/manifest.webmanifest", { cache: "no-store", signal: AbortSignal.timeout(3000) })
    .then((r) => r.ok, () => false);

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
        answers().then((yes) => { if (yes) form.submit(); else keep(form, null, form.dataset.line, "said"); });
        return;
      }
      event.preventDefault();
      keep(form, null, form.dataset.line, "said");
    } else if (form.method === "post") {
      // not for the queue: it is sent only where there is a connection, and keeps what was written
      event.preventDefault();
      if (form.elements.at && !form.elements.at.value) form.elements.at.value = localTime();
      answers().then((yes) => { if (yes) form.submit(); else tell("Not sent: no connection to the server. What you wrote stays here."); });
    }
  });

  addEventListener("online", () => flush());
  document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
  setInterval(async () => { if ((await all()).some((e) => !e.refused)) flush(); }, 15000);
  asked();
  show().then(async () => { if ((await all()).length) flush(); });
  window.wringoutQueue = { all, flush };
})();
