// tap-list.js: of the wheels of an aisle one is up; one touch, and the next one is, also without a
// network. What waits on the phone is tapped already; what is taken back is up again.
"use strict";

const form = document.getElementById("in-row");

function rows() {
  return [...form.querySelectorAll("[data-plate]")];
}

function show() {
  const left = rows().filter((row) => !("done" in row.dataset));
  for (const row of rows()) row.hidden = row !== left[0];
  document.getElementById("left").textContent = left.length;
  document.getElementById("all-done").hidden = left.length > 0;
}

function plateOf(entry) {
  return entry.fields.find(([name]) => name === "wheel")?.[1];
}

function rowOf(entry) {
  return rows().find((row) => row.dataset.plate === plateOf(entry));
}

async function takeWaiting() {
  for (const entry of await queue.all()) {
    if (entry.action.startsWith(form.getAttribute("action").split("?")[0])) rowOf(entry)?.setAttribute("data-done", "");
  }
  show();
}

if (form) {
  form.addEventListener("kept", ({ detail }) => {
    rowOf(detail.entry)?.setAttribute("data-done", "");
    show();
  });
  form.addEventListener("taken-back", ({ detail }) => {
    rowOf(detail.entry)?.removeAttribute("data-done");
    show();
  });
  takeWaiting();
}
