// wall.js: asks for the list again, and says NOT SURE when it has not come for too long.
//
// The age is counted from when the list was asked for, by two clocks: the one that cannot be set,
// and the one that runs on while the machine sleeps. The longer age counts.
"use strict";

const ANSWER_WITHIN = 10000;
let asked = clocks();

function clocks() {
  return { steady: performance.now(), wall: Date.now() };
}

function seconds() {
  const now = clocks();
  return Math.max(now.steady - asked.steady, now.wall - asked.wall) / 1000;
}

function sheet() {
  return document.getElementById("wall");
}

function tooOld() {
  const found = sheet();
  if (seconds() <= Number(found.dataset.oldAfter)) return;
  document.body.classList.add("unsure");
  document.getElementById("unsure").hidden = false;
  for (const word of found.querySelectorAll(".word")) word.textContent = words.say("NOT SURE");
  for (const row of found.querySelectorAll(".back")) row.classList.remove("back");
  for (const told of found.querySelectorAll(".sure")) told.textContent = "";
}

function tellAge() {
  const minutes = Math.floor(seconds() / 60);
  document.getElementById("age").textContent = minutes ? `, ${words.say("{minutes} min old", { minutes })}` : "";
}

async function renew() {
  const asking = clocks();
  try {
    const answer = await fetch(location.href, {
      cache: "no-store",
      redirect: "error",
      signal: AbortSignal.timeout(ANSWER_WITHIN),
    });
    if (!answer.ok) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.getElementById("wall");
    if (!fresh || fresh.dataset.group !== sheet().dataset.group) return;
    sheet().replaceWith(document.importNode(fresh, true));
    asked = asking;
    document.body.classList.remove("unsure");
    document.getElementById("unsure").hidden = true;
  } catch {
    // No answer: the list on the wall grows older, and says so when it is too old.
  }
}

async function ask() {
  await renew();
  setTimeout(ask, Number(sheet().dataset.asksEvery) * 1000);
}

// A page out of the browser's memory is as old as it looks; load it anew.
addEventListener("pageshow", (event) => event.persisted && location.reload());
setInterval(() => {
  tellAge();
  tooOld();
}, 1000);
setTimeout(ask, Number(sheet().dataset.asksEvery) * 1000);
