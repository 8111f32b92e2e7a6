// cut.js: answers on choice of a field whether it is free, from what the page carries, also
// without the network. The server is asked all the same when the cut is sent; what a phone without
// a network must refuse stands in the page's list of refusals.
"use strict";

const NAMED = 3;
const byId = (name) => document.getElementById(name);

function known() {
  return byId("known-fields");
}

function form() {
  return document.querySelector("form.entry-form");
}

function rows() {
  return [...known().querySelectorAll("[data-field]")];
}

function chosen() {
  return rows().find((row) => row.dataset.field === form().elements.field.value);
}

// The day of the cut on the estate's clock: what is typed, as it is typed.
function day() {
  return form().elements.happened_at.value.slice(0, 10);
}

function isFree(row) {
  return !row.dataset.freeOn || row.dataset.freeOn <= day();
}

function instead(row) {
  const every = rows();
  const near = row.dataset.near ? row.dataset.near.split(" ").map((place) => every[place]) : [];
  const free = near.filter(isFree).slice(0, NAMED);
  if (free.length) {
    const names = free.map((one) => one.dataset.words).join(", ");
    return known().dataset.instead.replace("{fields}", names);
  }
  const next = near
    .filter((one) => one.dataset.freeOn)
    .sort((one, other) => one.dataset.freeOn.localeCompare(other.dataset.freeOn))
    .slice(0, NAMED);
  const names = next.map((one) => `${one.dataset.name} (${one.dataset.freeWords})`).join(", ");
  return names ? known().dataset.none.replace("{fields}", names) : "";
}

// "" when the page cannot know: no field, or a day before the page was made.
function answer() {
  const row = chosen();
  if (!row || !day() || day() < known().dataset.day) return "";
  if (isFree(row)) return known().dataset.free.replace("{field}", row.dataset.words);
  return `${known().dataset.notFree.replace("{field}", row.dataset.name)
    .replace("{day}", row.dataset.freeWords)} ${instead(row)} ${known().dataset.only}`;
}

function tell() {
  const said = byId("field-answer");
  const words = answer();
  const row = chosen();
  said.hidden = !words;
  said.textContent = words ? `${words} ${known().dataset.asAt}` : "";
  said.classList.toggle("error", Boolean(words && row && !isFree(row)));
}

// The page may be put anew by another script: what is on it is looked up each time.
document.addEventListener("change", (event) => {
  if (event.target.form !== form() || !["field", "happened_at"].includes(event.target.name)) return;
  // What was refused was of another field or day.
  document.querySelector("#said.error")?.remove();
  tell();
});
// A refusal says the same and more; one of them is enough.
document.addEventListener(
  "submit",
  (event) => {
    if (event.target === form()) byId("field-answer").hidden = true;
  },
  true,
);
tell();
