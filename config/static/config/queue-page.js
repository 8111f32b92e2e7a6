// queue-page.js: the page of what waits on this phone, and of what is kept on it.
"use strict";

(() => {
  const user = Number(document.body.dataset.user) || 0;

  function made(name, text = "", className = "") {
    const one = document.createElement(name);
    if (text) one.textContent = text;
    if (className) one.className = className;
    return one;
  }

  function button(text, act, plain = true) {
    const one = made("button", text, plain ? "button plain" : "button");
    one.type = "button";
    one.addEventListener("click", act);
    return one;
  }

  function stateWords(entry, entries, me) {
    if (entry.user !== me) return words.say("waits for its writer to sign in");
    if (entry.state === "refused") return words.say("refused");
    const first = entries.find((one) => entry.hangs.includes(one.number));
    if (first) return words.say("waits for “{title}”", { title: first.title });
    if (entry.tries) return words.say("tried {count} times; the server had a fault", { count: entry.tries });
    return words.say("waits for a network");
  }

  function throwAway(entry, acts) {
    acts.replaceChildren(
      made("span", `${words.say("Throw it away for good? It is written nowhere else.")} `),
      button(words.say("Yes, throw it away"), () => queue.remove(entry.number)),
      button(words.say("No, keep it"), show),
    );
    acts.querySelector("button").focus();
  }

  function entryRow(entry, entries, me) {
    const row = made("li", "", "waiting-entry");
    const mine = entry.user === me;
    row.append(made("h3", mine ? entry.title : words.say("An entry of somebody else")));
    row.append(made("p", words.say("{state}; written {moment}", { state: stateWords(entry, entries, me), moment: offline.clock(entry.written) }), "quiet"));
    if (!mine) return row;
    if (entry.words.length) row.append(made("p", entry.words.join(" · ")));
    const acts = made("p", "", "acts");
    if (entry.state === "refused") {
      for (const why of entry.refusal.words) row.append(made("p", why, "wrong-words"));
      const mend = made("a", words.say("Mend it"), "button");
      mend.href = `${entry.page}#mend=${entry.number}`;
      acts.append(mend);
    }
    acts.append(button(words.say(entry.state === "refused" ? "Throw away" : "Take it back"), () => throwAway(entry, acts)));
    row.append(acts);
    return row;
  }

  function sentRow(one) {
    const row = made("li");
    const name = made("span", "", "name");
    const link = made("a", one.title);
    link.href = one.location;
    name.append(link);
    row.append(name, made("span", `${(one.words || []).join(" ")} ${words.say("Sent {moment}.", { moment: offline.clock(one.at) })}`, "why"));
    return row;
  }

  function answerWords(entries, me) {
    if (!entries.length) return words.say("Nothing waits on this phone.");
    const refused = entries.filter((one) => one.user === me && one.state === "refused").length;
    const count = entries.length;
    const wait = count === 1 ? "{count} entry waits on this phone" : "{count} entries wait on this phone";
    const more = refused ? `, ${words.say("{count} of them refused", { count: refused })}` : "";
    return `${words.say(wait, { count })}${more}.`;
  }

  async function show() {
    const entries = await queue.all();
    const who = (await queue.note("who")) || {};
    const me = user || who.user || 0;
    document.getElementById("queue-answer").textContent = answerWords(entries, me);
    const list = document.getElementById("queue-list");
    list.replaceChildren(...entries.map((entry) => entryRow(entry, entries, me)));
    const signIn = document.getElementById("queue-sign-in");
    signIn.hidden = !entries.length || Boolean(who.user);
    document.getElementById("queue-send").hidden = !entries.length || !who.user;
    const sent = (await queue.sent()).filter((one) => one.user === me).reverse();
    document.getElementById("queue-sent").hidden = !sent.length;
    document.getElementById("queue-sent-list").replaceChildren(...sent.map(sentRow));
    await showClock();
    await showKept();
  }

  async function showClock() {
    const known = await queue.note("known");
    const minutes = known ? Math.round(known.shift / 60) : 0;
    const told = document.getElementById("queue-clock");
    told.hidden = Math.abs(minutes) < 2;
    const wrong = minutes < 0
      ? "The clock of this phone is {minutes} min ahead. Set it right; the times of entries are corrected when they are sent."
      : "The clock of this phone is {minutes} min behind. Set it right; the times of entries are corrected when they are sent.";
    told.textContent = words.say(wrong, { minutes: Math.abs(minutes) });
  }

  async function copies() {
    const names = (await caches.keys()).filter((name) => name.startsWith("pages-"));
    const found = [];
    for (const name of names) {
      const cache = await caches.open(name);
      for (const request of await cache.keys()) {
        const copy = await cache.match(request);
        found.push({ url: new URL(request.url), at: Number(copy.headers.get("Kept-At")) });
      }
    }
    return found;
  }

  function keptRow(title, url, copy) {
    const row = made("li");
    const name = made("span", "", "name");
    const link = made("a", title);
    link.href = url;
    name.append(link);
    const age = copy
      ? words.say("as at {moment}, {age}", { moment: offline.clock(copy.at), age: offline.ageWords(Date.now() - copy.at) })
      : words.say("not on this phone yet");
    row.append(name, made("span", age, "why"));
    row.append(button(words.say(copy ? "Fetch anew" : "Keep it here"), async (event) => {
      event.target.disabled = true;
      await phone.askWorker({ take: [url], anew: true });
      await showKept();
    }));
    return row;
  }

  let papers = [];
  async function showKept() {
    const found = await copies();
    const copyOf = (url) => found.find((one) => one.url.pathname + one.url.search === url);
    const section = document.getElementById("kept");
    section.hidden = !papers.length;
    document.getElementById("kept-list").replaceChildren(
      ...papers.map(({ title, url }) => keptRow(title, url, copyOf(url))),
    );
    const others = found.filter((one) => !papers.some((paper) => paper.url === one.url.pathname + one.url.search));
    document.getElementById("kept-others").replaceChildren(...others.map(otherRow));
    document.getElementById("kept-more").hidden = !others.length;
  }

  function otherRow({ url, at }) {
    const row = made("li");
    const name = made("span", "", "name");
    const link = made("a", url.pathname + url.search);
    link.href = url.href;
    name.append(link);
    row.append(name, made("span", words.say("as at {moment}", { moment: offline.clock(at) }), "why"));
    return row;
  }

  async function learnPapers() {
    try {
      papers = (await queue.ask()).papers || [];
      localStorage.setItem("papers", JSON.stringify(papers));
    } catch {
      papers = JSON.parse(localStorage.getItem("papers") || "[]");
    }
    await showKept();
  }

  if (!queue.works) {
    document.getElementById("queue-answer").textContent = words.say(
      "This browser keeps nothing: forms are sent at once, and need a network.",
    );
    return;
  }
  document.getElementById("queue-send").addEventListener("click", () => queue.send());
  addEventListener("queue", show);
  show().then(learnPapers);
})();
