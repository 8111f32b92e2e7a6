// queue.js: entries wait on the phone, in order, until the server has written each of them once.
//
// An entry is on the disk before anything is sent. Its number is its Idempotency-Key, so that the
// server writes it once however often it comes. One tab sends at a time (Web Locks).
"use strict";

const queue = (() => {
  const BASE = "swardline-phone";
  const LOCK = "swardline-send";
  const PATIENCE = 20000;
  const SENT_SHOWN = 20;
  const told = new BroadcastChannel("swardline-queue");
  let opened;

  function base() {
    opened ??= new Promise((done, fail) => {
      const asked = indexedDB.open(BASE, 1);
      asked.onupgradeneeded = () => {
        asked.result.createObjectStore("entries", { keyPath: "seq", autoIncrement: true });
        asked.result.createObjectStore("sent", { keyPath: "seq", autoIncrement: true });
        asked.result.createObjectStore("notes");
      };
      asked.onsuccess = () => done(asked.result);
      asked.onerror = () => fail(asked.error);
    });
    return opened;
  }

  // One turn in one store; done when it is on the disk.
  async function turn(store, mode, act) {
    const db = await base();
    return new Promise((done, fail) => {
      const running = db.transaction(store, mode, { durability: "strict" });
      const asked = act(running.objectStore(store));
      running.oncomplete = () => done(asked?.result);
      running.onabort = running.onerror = () => fail(running.error);
    });
  }

  const all = () => turn("entries", "readonly", (store) => store.getAll());
  const sent = () => turn("sent", "readonly", (store) => store.getAll());
  const note = (name) => turn("notes", "readonly", (store) => store.get(name));
  const setNote = (name, value) => turn("notes", "readwrite", (store) => store.put(value, name));
  const find = async (number) => (await all()).find((one) => one.number === number);

  function tell() {
    told.postMessage("changed");
    dispatchEvent(new Event("queue"));
  }
  told.onmessage = () => dispatchEvent(new Event("queue"));

  async function device() {
    const known = await note("device");
    if (known) return known;
    const made = crypto.randomUUID().slice(0, 8);
    await setNote("device", made);
    return made;
  }

  // Puts an entry at the end, or a mended one back in its place.
  async function add(entry) {
    const waiting = await all();
    const numbers = new Set(waiting.map((one) => one.number));
    numbers.delete(entry.number);
    entry.hangs = [...new Set(entry.fields.map(([, value]) => value))].filter((value) =>
      numbers.has(value),
    );
    entry.known = (await note("known")) || null;
    const before = waiting.find((one) => one.number === entry.number);
    if (before) entry.seq = before.seq;
    await turn("entries", "readwrite", (store) => store.put(entry));
    navigator.storage?.persist?.();
    tell();
    return entry;
  }

  // Takes an entry back; false when it was sent meanwhile.
  function remove(number) {
    return navigator.locks.request(LOCK, async () => {
      const entry = await find(number);
      if (!entry) return false;
      await turn("entries", "readwrite", (store) => store.delete(entry.seq));
      tell();
      return true;
    });
  }

  // Who is signed in, a fresh token, and how this clock stands. Throws without a network.
  async function ask() {
    const began = Date.now();
    const answer = await fetch("/phone/", { cache: "no-store", signal: AbortSignal.timeout(8000) });
    if (!answer.ok) throw new Error(`phone: ${answer.status}`);
    const here = await answer.json();
    const middle = (began + Date.now()) / 2;
    const shift = (Date.parse(here.now) - middle) / 1000;
    await setNote("known", { shift, contact: here.now });
    await setNote("who", { user: here.user, name: here.name || "" });
    return here;
  }

  async function post(entry, here, waits) {
    const body = new FormData();
    for (const [name, value] of entry.fields) body.append(name, value);
    body.append("once", entry.number);
    const headers = {
      "X-CSRFToken": here.token,
      "Phone-Entry": entry.number,
      "Phone-User": String(entry.user),
      "Phone-Device": await device(),
      "Phone-Now": new Date().toISOString(),
      "Phone-Written": new Date(entry.written).toISOString(),
      "Phone-Times": entry.times.join(","),
      "Phone-Waits": waits ? "yes" : "no",
    };
    if (entry.known) {
      headers["Phone-Before"] = String(entry.known.shift);
      headers["Phone-Contact"] = entry.known.contact;
    }
    const signal = AbortSignal.timeout(PATIENCE);
    return fetch(entry.action, { method: "POST", body, headers, redirect: "error", signal });
  }

  function wordsOf(html) {
    const page = new DOMParser().parseFromString(html, "text/html");
    const found = page.querySelectorAll("#errors li, .error p, .error li");
    const words = [...found].map((one) => one.textContent.trim().replace(/\s+/g, " "));
    return [...new Set(words.filter(Boolean))];
  }

  // What one answer means: written, refused (with the page that says why), later, or stop.
  async function settle(entry, answer) {
    const json = (answer.headers.get("Content-Type") || "").includes("json");
    if (answer.ok && json) {
      const { location, words } = await answer.json();
      await turn("entries", "readwrite", (store) => store.delete(entry.seq));
      const done = { number: entry.number, user: entry.user, title: entry.title, words, location };
      await turn("sent", "readwrite", (store) => store.add({ ...done, at: Date.now() }));
      const old = (await sent()).slice(0, -SENT_SHOWN);
      for (const { seq } of old) await turn("sent", "readwrite", (store) => store.delete(seq));
      return { state: "written", location };
    }
    const body = await answer.text();
    const told = json ? JSON.parse(body) : {};
    if (answer.status === 401 || told.why === "another") return { state: "stop" };
    if ([429, 502, 503, 504].includes(answer.status)) return { state: "stop" };
    if (answer.status >= 500) {
      entry.tries = (entry.tries || 0) + 1;
      await turn("entries", "readwrite", (store) => store.put(entry));
      return { state: "later" };
    }
    const words = told.words || (told.detail && [told.detail]) || wordsOf(body);
    entry.state = "refused";
    entry.refusal = { status: answer.status, words: words || [], at: Date.now() };
    await turn("entries", "readwrite", (store) => store.put(entry));
    return { state: "refused", page: json ? "" : body };
  }

  // An entry that its writer waits for may have gone with another page's round meanwhile.
  async function whatBecame(number) {
    const done = number && (await sent()).find((one) => one.number === number);
    return done ? { state: "written", location: done.location, words: done.words } : { state: "kept" };
  }

  async function round(waits) {
    let outcome = await whatBecame(waits);
    if (outcome.state === "written") return outcome;
    const here = await ask();
    if (!here.user) return outcome;
    for (const { seq } of await all()) {
      const present = await all();
      const entry = present.find((one) => one.seq === seq);
      if (!entry || entry.user !== here.user || entry.state === "refused") continue;
      if (present.some((one) => one.seq !== seq && entry.hangs.includes(one.number))) continue;
      const settled = await settle(entry, await post(entry, here, entry.number === waits));
      if (entry.number === waits) outcome = settled;
      tell();
      if (settled.state === "stop") break;
    }
    return outcome;
  }

  // Sends what waits. ``waits``: the number of the entry whose writer stands before the form.
  async function send(waits = "") {
    const turnOf = waits ? {} : { ifAvailable: true };
    return navigator.locks.request(LOCK, turnOf, async (lock) => {
      if (!lock) return { state: "kept" };
      try {
        return await round(waits);
      } catch {
        return { state: "kept" };
      } finally {
        tell();
      }
    });
  }

  const works = Boolean(navigator.serviceWorker && navigator.locks && globalThis.indexedDB);
  return { works, add, all, ask, find, note, remove, send, sent };
})();
