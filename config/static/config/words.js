// words.js: what scripts say, in the language of the page. A page in another language than the
// source's carries the words (config/phone_words.py); without them they are said as they stand.
"use strict";

const words = (() => {
  const carried = document.getElementById("words");
  const known = carried ? JSON.parse(carried.textContent) : {};
  const language = document.documentElement.lang || "en-GB";

  // "… {name} …" with what is named filled in.
  function say(text, values = {}) {
    return (known[text] || text).replace(/\{(\w+)\}/g, (place, name) => values[name] ?? place);
  }

  return { say, language };
})();
