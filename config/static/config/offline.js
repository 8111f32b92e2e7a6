// offline.js: says how old a page is, and takes TANK and NOT back when it is too old to go by.
//
// The age is counted by the clock that cannot be set while the page is open, by the one that runs
// on while the phone sleeps, and against the server's; the longest counts.
"use strict";

const offline = (() => {
  const MINUTE = 60000;
  const loaded = { steady: performance.now(), wall: Date.now() };
  const { keptAt, missing } = document.documentElement.dataset;
  const { at, zone } = document.body.dataset;
  let known = null;

  function age() {
    const open = Math.max(performance.now() - loaded.steady, Date.now() - loaded.wall);
    const kept = keptAt ? loaded.wall - Number(keptAt) : 0;
    const server = known && at ? Date.now() + known.shift * 1000 - Date.parse(at) : 0;
    // A clock that was set back says nothing any more.
    if (kept < -2 * MINUTE || server < -2 * MINUTE) return Infinity;
    return Math.max(open + Math.max(kept, 0), keptAt ? server : 0);
  }

  function ageWords(milliseconds) {
    if (!Number.isFinite(milliseconds)) return words.say("nobody knows how old: the clock of this phone was set");
    const minutes = Math.floor(milliseconds / MINUTE);
    if (minutes < 1) return words.say("less than a minute old");
    if (minutes < 60) return words.say("{minutes} min old", { minutes });
    const hours = Math.floor(minutes / 60);
    if (hours < 48) return words.say("{hours} h {minutes} min old", { hours, minutes: minutes % 60 });
    return words.say("{days} days old", { days: Math.floor(hours / 24) });
  }

  function clock(moment) {
    const options = { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" };
    return new Intl.DateTimeFormat(words.language, { ...options, timeZone: zone }).format(moment);
  }

  // No cow reads TANK or NOT on a list that is too old.
  function takeBack(list) {
    if (list.classList.contains("unsure")) return;
    list.classList.add("unsure");
    const told = document.createElement("p");
    told.className = "caution unsure-list";
    told.setAttribute("role", "alert");
    told.textContent = words.say(
      "NOT SURE: this list is too old to go by. Look at the wall, or ask the vet. What you write is kept all the same.",
    );
    list.prepend(told);
    const unsure = words.say("NOT SURE");
    const either = [unsure, words.say("TANK"), words.say("NOT")].join("|");
    const word = new RegExp(`(?<!\\p{L})(${either})(?!\\p{L})`, "gu");
    for (const state of list.querySelectorAll(".state-tank, .state-not")) {
      state.className = "state state-unsure";
      state.textContent = unsure;
    }
    const texts = document.createTreeWalker(list, NodeFilter.SHOW_TEXT);
    while (texts.nextNode()) {
      const text = texts.currentNode;
      if (told.contains(text)) continue;
      text.data = text.data.replace(word, unsure);
    }
  }

  function look() {
    const old = age();
    for (const list of document.querySelectorAll("[data-old-after]")) {
      if (old > Number(list.dataset.oldAfter) * MINUTE) takeBack(list);
    }
    const told = document.getElementById("kept-words");
    if (told) told.textContent = keptWords(old);
  }

  function keptWords(old) {
    if (missing) return words.say("No network, and this page is not kept on this phone. What is kept stands below.");
    return words.say("No network. This page is as at {moment}, {age}.", { moment: clock(Date.parse(at)), age: ageWords(old) });
  }

  function begin() {
    if (keptAt || missing) {
      const bar = document.createElement("p");
      bar.id = "kept-words";
      bar.className = "kept";
      bar.setAttribute("role", "status");
      document.getElementById("main").before(bar);
    }
    look();
    setInterval(look, 5000);
    if (queue.works) queue.note("known").then((found) => { known = found || null; look(); }, () => null);
  }

  begin();
  return { age, ageWords, clock, isKept: Boolean(keptAt) };
})();
