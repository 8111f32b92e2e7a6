// tap.js — take the undo away when its half minute is over; the server refuses it later anyway
for (const form of document.querySelectorAll("[data-undo]")) {
  const left = new Date(form.dataset.undo).getTime() + 30000 - Date.now();
  setTimeout(() => { const button = form.querySelector("button"); if (button) button.remove(); }, Math.max(left, 0));
}
