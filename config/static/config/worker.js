// worker.js: opens kept pages when there is no network. KNOWN stands in front of it (views/offline.py).
//
// The network is always asked first. A page is kept only when its answer says so (KNOWN.keep: whose
// it is, in which language), in a cache of its own; when somebody else signs in, another language is
// chosen, or anybody signs out, it is gone.
"use strict";

const SHELL = `shell-${KNOWN.version}`;
const PAGES = "pages-";
const OWNER = "owner";
// So long somebody with a kept copy waits for a slow network.
const PATIENCE = 5000;
const FRESH_ENOUGH = 10 * 60000;

addEventListener("install", (event) => {
  skipWaiting();
  event.waitUntil(install());
});
addEventListener("activate", (event) => event.waitUntil(takeOver()));
addEventListener("message", (event) => event.waitUntil(obey(event)));
addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== location.origin) return;
  if (request.method === "POST" && pathname === KNOWN.logout) event.waitUntil(forget());
  if (request.method !== "GET") return;
  if (pathname.startsWith(KNOWN.statics)) event.respondWith(asset(request));
  else if (request.mode === "navigate") event.respondWith(page(event));
});

async function install() {
  const shell = await caches.open(SHELL);
  await shell.addAll(KNOWN.shell.map((url) => new Request(url, { cache: "reload" })));
  // Without cookies, so that it shows nobody's name.
  const headers = { "Accept-Language": KNOWN.language };
  const queue = new Request(KNOWN.queue, { credentials: "omit", cache: "reload", headers });
  await shell.put(KNOWN.queue, await fetch(queue));
}

async function takeOver() {
  const names = await caches.keys();
  const old = names.filter((name) => name.startsWith("shell-") && name !== SHELL);
  await Promise.all(old.map((name) => caches.delete(name)));
  await clients.claim();
}

async function obey(event) {
  const { take, forget: asked } = event.data;
  if (asked) await forget();
  for (const url of take || []) await takeAlong(url, Boolean(event.data.anew));
  event.ports[0]?.postMessage("done");
}

async function asset(request) {
  const shell = await caches.open(SHELL);
  try {
    const answer = await within(fetch(request), (await shell.match(request)) ? PATIENCE : 0);
    if (answer.ok) await shell.put(request, answer.clone());
    return answer;
  } catch (error) {
    const kept = await shell.match(request);
    if (kept) return kept;
    throw error;
  }
}

async function page(event) {
  const { request } = event;
  const begun = forgotten;
  const kept = await copyOf(request.url);
  const asked = fetch(request, { cache: "no-store" }).then(async (answer) => {
    await keep(request.url, answer.clone(), begun);
    return answer;
  });
  try {
    event.waitUntil(asked.catch(() => null));
    const answer = await within(asked, kept ? PATIENCE : 0);
    if (!kept || answer.status < 502 || answer.status > 504) return answer;
  } catch {
    // No network, or none worth the name: what is kept is shown, and says how old it is.
  }
  if (kept) return marked(kept, "keptAt", kept.headers.get("Kept-At"));
  const shell = await caches.open(SHELL);
  return marked(await shell.match(KNOWN.queue), "missing", "yes");
}

function within(asked, patience) {
  if (!patience) return asked;
  const late = new Promise((_, fail) => setTimeout(fail, patience, new Error("too slow")));
  return Promise.race([asked, late]);
}

// The page with a word in its first tag, which tells its scripts where it came from.
async function marked(copy, name, value) {
  if (!(copy.headers.get("Content-Type") || "").startsWith("text/html")) return copy;
  const attribute = `data-${name.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)}`;
  const text = (await copy.text()).replace("<html ", `<html ${attribute}="${value}" `);
  const headers = new Headers(copy.headers);
  headers.delete("Content-Length");
  headers.delete("Content-Encoding");
  return new Response(text, { status: 200, headers });
}

async function owner() {
  const found = await (await caches.open(OWNER)).match("/");
  return found ? found.text() : "";
}

// What was asked for before somebody signed out is not kept after it: ``begun`` is the number of
// times this worker had forgotten everything by then.
async function keep(url, answer, begun) {
  const [whose, any] = (answer.headers.get(KNOWN.keep) || "").split(" ");
  if (!answer.ok || answer.type !== "basic" || !whose) return;
  if ((await owner()) !== whose) {
    if (begun !== forgotten) return;
    await forget();
    begun = forgotten;
    await (await caches.open(OWNER)).put("/", new Response(whose));
  }
  const headers = new Headers(answer.headers);
  headers.set("Kept-At", String(Date.now()));
  if (any) headers.set("Kept-Any", "yes");
  const copy = new Response(await answer.blob(), { headers });
  if (begun !== forgotten) return;
  await (await caches.open(PAGES + whose)).put(url, copy);
}

async function copyOf(url) {
  const whose = await owner();
  if (!whose) return null;
  const pages = await caches.open(PAGES + whose);
  const exact = await pages.match(url);
  if (exact) return exact;
  // The same form whatever was asked for: first the one without an answer, then the plain one.
  const blank = new URL(url);
  for (const name of [...blank.searchParams.keys()]) blank.searchParams.set(name, "");
  const plain = new URL(url);
  plain.search = "";
  for (const other of [blank.href, plain.href]) {
    const found = await pages.match(other);
    if (found?.headers.get("Kept-Any")) return found;
  }
  return null;
}

async function takeAlong(url, anew) {
  const begun = forgotten;
  const whose = await owner();
  const kept = whose && (await (await caches.open(PAGES + whose)).match(url));
  if (kept && !anew && Date.now() - Number(kept.headers.get("Kept-At")) < FRESH_ENOUGH) return;
  try {
    // Said so, that words meant for the page that is opened next do not go to one nobody sees.
    const headers = { "Take-Along": "yes" };
    const answer = await fetch(url, { credentials: "same-origin", cache: "no-store", headers });
    if (!answer.redirected) await keep(new URL(url, location.origin).href, answer, begun);
  } catch {
    // It is asked for again with the next page.
  }
}

let forgotten = 0;

async function forget() {
  forgotten += 1;
  const names = await caches.keys();
  const theirs = names.filter((name) => name.startsWith(PAGES) || name === OWNER);
  await Promise.all(theirs.map((name) => caches.delete(name)));
}
