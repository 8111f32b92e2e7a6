// look.js: what a test asks of every page besides axe; each answers with what is wrong, a few only.
"use strict";

const PRESSED =
  "button, select, textarea, summary, a.button, nav a, a.next-act, " +
  "input:not([type=hidden]):not([type=checkbox]):not([type=radio])";
const REACHED = "a[href], button, input:not([type=hidden]), select, textarea, summary";
const FEW = 4;
const MOST_REACHED = 60;

const tag = (one) => one.outerHTML.slice(0, 100);
const high = (one) => one?.getBoundingClientRect().height || 0;
const isShown = (one) => one.getClientRects().length > 0 && !one.closest(".unseen, .skip");

globalThis.look = {
  // What is pressed or filled in and is no link within a sentence, lower than a gloved finger
  // wants. Of a box to tick its label or its row counts.
  tooSmall(least) {
    const told = [...document.querySelectorAll(PRESSED)]
      .filter((one) => isShown(one) && high(one) && high(one) < least - 0.5)
      .map((one) => `${tag(one)} is ${Math.round(high(one))} px high`);
    for (const box of document.querySelectorAll("input[type=checkbox], input[type=radio]")) {
      const label = box.closest("label") || document.querySelector(`label[for="${box.id}"]`);
      const height = Math.max(high(label || box), high(box.closest("li, div, td, th")));
      if (isShown(box) && height < least - 0.5) told.push(`${tag(box)} is ${Math.round(height)} px high`);
    }
    return told.slice(0, FEW);
  },

  // What moves although the reader asked that nothing moves.
  restless() {
    const told = [...document.querySelectorAll("body *")].filter((one) => {
      const { transitionDuration, animationName } = getComputedStyle(one);
      return parseFloat(transitionDuration) > 0.01 || animationName !== "none";
    });
    return told.slice(0, FEW).map((one) => `${tag(one)} moves`);
  },

  // What is reached by the keyboard and does not show it.
  unfocused() {
    const told = [];
    for (const one of [...document.querySelectorAll(REACHED)].slice(0, MOST_REACHED)) {
      if (!one.getClientRects().length) continue;
      one.focus({ focusVisible: true, preventScroll: true });
      if (document.activeElement !== one) continue;
      const { outlineStyle, outlineWidth, boxShadow } = getComputedStyle(one);
      const isOutlined = outlineStyle !== "none" && parseFloat(outlineWidth) >= 2;
      if (!isOutlined && boxShadow === "none") told.push(`${tag(one)} shows no focus`);
    }
    document.activeElement?.blur();
    return told.slice(0, FEW);
  },

  // How bright the ground is, 0 to 1 (relative luminance as WCAG 2.2 defines it).
  ground() {
    const [r, g, b] = getComputedStyle(document.body)
      .backgroundColor.match(/[0-9.]+/g)
      .map((part) => part / 255)
      .map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  },
};
