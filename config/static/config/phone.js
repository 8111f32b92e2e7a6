// phone.js: a form of a kept page is saved on the phone first, and sent from there.
"use strict";

(() => {
  const EVERY = 20000;
  const SAID = "said of what was sent";
  const { dataset } = document.body;
  const user = Number(dataset.user) || 0;
  let mended = null;

  // ---- the bar: what waits on this phone, on every page

  function bar() {
    let found = document.getElementById("phone");
    if (!found) {
      found = document.createElement("p");
      found.id = "phone";
      found.className = "waits";
      found.setAttribute("role", "status");
      document.getElementById("main").before(found);
    }
    return found;
  }

  const several = (count, one, many) => words.say(count === 1 ? one : many, { count });

  async function showBar() {
    const [entries, who] = [await queue.all(), (await queue.note("who")) || {}];
    const me = user || who.user;
    const refused = entries.filter((one) => one.state === "refused" && one.user === me).length;
    const waiting = entries.length - refused;
    const said = [];
    if (waiting) said.push(several(waiting, "{count} entry waits on this phone", "{count} entries wait on this phone"));
    if (refused) said.push(several(refused, "{count} entry was refused: look at it", "{count} entries were refused: look at it"));
    if (entries.length && !who.user) said.push(words.say("sign in to send"));
    const found = bar();
    found.hidden = !said.length || location.pathname === "/queue/";
    found.classList.toggle("refused", refused > 0);
    const link = document.createElement("a");
    link.href = "/queue/";
    link.textContent = said.join("; ");
    if (found.textContent !== link.textContent) found.replaceChildren(link);
  }

  // ---- boxes with a moment: those that say “now” keep saying it until somebody types

  function localText(moment) {
    const options = { year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
    const parts = new Intl.DateTimeFormat("en-GB", { ...options, timeZone: dataset.zone }).formatToParts(moment);
    const part = Object.fromEntries(parts.map(({ type, value }) => [type, value]));
    return `${part.year}-${part.month}-${part.day}T${part.hour}:${part.minute}`;
  }

  function saysNow(input) {
    if (input.dataset.touched || !["datetime-local", "hidden"].includes(input.type)) return false;
    const given = input.defaultValue;
    if (input.type === "hidden") {
      return input.name === "happened_at" && Math.abs(Date.parse(given) - Date.parse(dataset.at)) < 60000;
    }
    const minute = Date.parse(dataset.at);
    return [minute, minute - 60000].some((moment) => localText(moment) === given);
  }

  // A day, and morning or evening, that the page filled in when it was made.
  function keepToday() {
    const today = localText(Date.now());
    for (const input of document.querySelectorAll("form input[type=date]")) {
      const given = dataset.at.slice(0, 10);
      if (!input.dataset.touched && input.defaultValue === given) input.value = today.slice(0, 10);
    }
    for (const select of document.querySelectorAll("form select[data-by-noon]")) {
      const [before, after] = select.dataset.byNoon.split(" ");
      if (!select.dataset.touched) select.value = Number(today.slice(11, 13)) < 12 ? before : after;
    }
  }

  function keepNow() {
    if (offline.isKept) keepToday();
    for (const input of document.querySelectorAll("form input[type=datetime-local]")) {
      if (input.dataset.now === "yes" && !input.dataset.touched) input.value = localText(Date.now());
    }
  }

  function prepare(root) {
    for (const input of root.querySelectorAll("form input")) {
      if (saysNow(input)) input.dataset.now = "yes";
    }
    offerWaiting(root);
  }

  document.addEventListener("input", ({ target }) => {
    target.dataset.touched = "yes";
    delete target.dataset.sends;
  });

  // What waits on this phone may be named by a form as well (a load that was just cut).
  async function offerWaiting(root) {
    const entries = await queue.all();
    for (const select of root.querySelectorAll("select[data-offers]")) {
      const from = select.dataset.offers.split(" ");
      for (const entry of entries) {
        const offered = from.includes(new URL(entry.action, location.origin).pathname);
        if (!offered || entry.user !== user || select.querySelector(`option[value="${entry.number}"]`)) continue;
        select.add(new Option(words.say("{title}, {moment} (waits on this phone)", { title: entry.title, moment: offline.clock(entry.written) }), entry.number));
      }
    }
  }

  // A form out of the cache is filled in with what the address asks for.
  function fillIn() {
    if (!offline.isKept) return;
    // Buttons that write at once have their values already; the form to fill in is another.
    const forms = [...document.querySelectorAll("main form[method=post]")].filter((one) => one.elements.once);
    const form = forms.find((one) => one.classList.contains("entry-form")) || forms[0];
    for (const [name, value] of new URLSearchParams(location.search)) {
      const field = form?.elements[name];
      if (field && "value" in field && value && !["once", "csrfmiddlewaretoken"].includes(name)) field.value = value;
    }
  }

  // ---- saving

  function labelOf(input) {
    return (input.labels?.[0]?.firstChild?.textContent || input.labels?.[0]?.textContent || input.name).trim();
  }

  function shownAs(input) {
    if (input.type === "hidden" || !input.name || !input.value || input.disabled) return "";
    if (["checkbox", "radio"].includes(input.type)) return input.checked ? labelOf(input) : "";
    if (["submit", "button"].includes(input.type)) return "";
    if (input.type === "datetime-local") return `${labelOf(input)}: ${input.value.replace("T", " ")}`;
    const value = input.type === "select-one" ? input.selectedOptions[0]?.textContent : input.value;
    return `${labelOf(input)}: ${value}`;
  }

  // What an entry is about: the first thing that was chosen or named in its form.
  function nameIn(input) {
    if (input.type === "select-one") return input.value && input.selectedOptions[0]?.textContent.split(":")[0];
    return input.type === "text" && !input.inputMode && input.value;
  }

  function titleOf(form, button) {
    const heading = document.querySelector("main h1")?.textContent.trim() || document.title;
    const word = button?.textContent.trim().replace(/\s+/g, " ");
    const named = [...form.elements].map(nameIn).find(Boolean);
    const more = form.classList.contains("entry-form") ? named : word || named;
    return more ? `${heading}: ${more}` : heading;
  }

  function entryOf(form, button) {
    const data = new FormData(form, button?.name ? button : null);
    const written = Date.now();
    const times = [];
    for (const input of form.elements) {
      if (input.dataset.now === "yes" && !input.dataset.touched) {
        data.set(input.name, new Date(written).toISOString());
        times.push(input.name);
      } else if (input.dataset.sends) {
        data.set(input.name, input.dataset.sends);
        times.push(input.name);
      } else if (input.type === "datetime-local" && input.value && input.dataset.touched) {
        times.push(input.name);
      }
    }
    data.delete("csrfmiddlewaretoken");
    data.delete("once");
    return {
      number: mended?.number || crypto.randomUUID(),
      user,
      name: dataset.name || "",
      page: location.pathname + location.search,
      action: form.getAttribute("action") || location.pathname + location.search,
      title: titleOf(form, button),
      words: [...form.elements].map(shownAs).filter(Boolean).slice(0, 8),
      fields: [...data],
      times,
      written: mended?.written || written,
      state: "waiting",
    };
  }

  // Rules that must hold without a network too: a choice that is not free before a day.
  function refusalOf(form) {
    for (const rules of document.querySelectorAll("[data-refuses]")) {
      const chosen = form.elements[rules.dataset.refuses]?.value;
      const unless = form.elements[rules.dataset.unless]?.value?.trim();
      const rule = [...rules.children].find((one) => one.dataset.value === chosen);
      if (rule && !unless && localText(Date.now()).slice(0, 10) < rule.dataset.until) return rule.textContent.trim();
    }
    return "";
  }

  function say(form, told, wrong, more = null) {
    document.getElementById("said")?.remove();
    const said = document.createElement("div");
    said.id = "said";
    said.className = wrong ? "error" : "message kept-message";
    said.setAttribute("role", wrong ? "alert" : "status");
    said.tabIndex = -1;
    const text = document.createElement("p");
    text.textContent = told;
    said.append(text);
    if (more) said.append(more);
    form.before(said);
    said.focus();
  }

  // For scripts of a page: what was kept of a form, and what was taken back.
  function tell(form, what, entry, button = null) {
    form.dispatchEvent(new CustomEvent(what, { bubbles: true, detail: { entry, button } }));
  }

  function undoButton(entry, form) {
    const acts = document.createElement("p");
    const button = document.createElement("button");
    acts.className = "acts";
    button.className = "button plain";
    button.type = "button";
    button.textContent = words.say("Take it back");
    button.addEventListener("click", async () => {
      const gone = await queue.remove(entry.number);
      if (gone) tell(form, "taken-back", entry);
      say(form, words.say(gone ? "Taken back. Nothing is written." : "It is sent already. Strike it where it stands."), !gone);
    });
    acts.append(button);
    return acts;
  }

  // The server's page with what is wrong, in place of the form; what was typed stands in it.
  function showRefusal(form, html) {
    const fresh = new DOMParser().parseFromString(html, "text/html").querySelector("main");
    if (!fresh) return false;
    const main = document.getElementById("main");
    main.replaceChildren(...document.importNode(fresh, true).childNodes);
    document.body.dataset.at = new Date().toISOString();
    globalThis.htmx?.process(main);
    prepare(main);
    (main.querySelector("#errors, .error") || main).focus();
    return true;
  }

  // What was said of an entry that another page's round sent, on the page that it leads to.
  function sayOnce() {
    const said = JSON.parse(sessionStorage.getItem(SAID) || "[]");
    sessionStorage.removeItem(SAID);
    if (!said.length) return;
    const box = document.createElement("div");
    const list = document.createElement("ul");
    box.setAttribute("role", "status");
    list.className = "messages";
    for (const words of said) {
      const line = document.createElement("li");
      line.className = "message";
      line.textContent = words;
      list.append(line);
    }
    box.append(list);
    document.getElementById("main").prepend(box);
  }

  async function save(form, button) {
    const entry = await queue.add(entryOf(form, button));
    mended = null;
    say(form, words.say("Kept on this phone. Sending …"), false);
    const outcome = await queue.send(entry.number);
    if (outcome.state === "written") {
      // Another page's round sent it: what the server said of it went there.
      if (outcome.words?.length) sessionStorage.setItem(SAID, JSON.stringify(outcome.words));
      location.assign(outcome.location);
      return;
    }
    if (outcome.state === "refused") {
      // It is mended here and now; on the queue's page it would wait for nobody.
      if (outcome.page && showRefusal(form, outcome.page)) await queue.remove(entry.number);
      else say(form, (await queue.find(entry.number))?.refusal.words.join(" ") || words.say("Refused."), true);
      return;
    }
    tell(form, "kept", entry, button);
    form.reset();
    for (const input of form.elements) delete input.dataset.touched;
    keepNow();
    const undo = undoButton(entry, form);
    say(form, words.say("Kept on this phone: {title}. It is sent when there is a network.", { title: entry.title }), false, undo);
  }

  async function onSubmit(event) {
    const { target: form, submitter } = event;
    if (event.defaultPrevented || form.method !== "post" || !form.elements.once || !user) return;
    if (!("keeps" in dataset) || "online" in form.dataset || "online" in (submitter?.dataset || {})) return;
    event.preventDefault();
    const refused = refusalOf(form);
    if (refused) {
      say(form, refused, true);
      return;
    }
    if (form.dataset.busy) return;
    form.dataset.busy = "yes";
    try {
      await save(form, submitter);
    } catch (error) {
      say(form, words.say("This phone could not keep the entry ({error}). Nothing is saved. Try again, or write it down.", { error: error.name }), true);
    } finally {
      delete form.dataset.busy;
    }
  }

  // ---- mending a refused entry: its form again, with what was typed

  async function beginMending() {
    const number = location.hash.startsWith("#mend=") ? location.hash.slice(6) : "";
    const entry = number && (await queue.find(number));
    if (!entry || entry.user !== user) return;
    const same = (one) => (one.getAttribute("action") || location.pathname + location.search) === entry.action;
    const forms = [...document.querySelectorAll("main form[method=post]")].filter((one) => one.elements.once);
    const form = forms.find((one) => same(one) && one.classList.contains("entry-form")) || forms.find(same) || forms[0];
    if (!form) return;
    mended = entry;
    for (const field of form.elements) fillField(field, entry);
    say(form, words.say("Mend this, and send it again: {why}", { why: (entry.refusal?.words || []).join(" ") }), true);
  }

  function fillField(field, entry) {
    if (!field.name || ["once", "csrfmiddlewaretoken"].includes(field.name) || field.type === "file") return;
    const values = entry.fields.filter(([name]) => name === field.name).map(([, value]) => value);
    if (["checkbox", "radio"].includes(field.type)) {
      field.checked = values.includes(field.value);
    } else if (values.length && field.tagName !== "BUTTON") {
      const isMoment = field.type === "datetime-local" && values[0].endsWith("Z");
      field.value = isMoment ? localText(Date.parse(values[0])) : values[0];
      field.dataset.touched = "yes";
      if (isMoment) field.dataset.sends = values[0];
    }
  }

  // ---- signing out, another person, what to take along

  function askWorker(message) {
    const worker = navigator.serviceWorker.controller;
    if (!worker) return Promise.resolve();
    return new Promise((done) => {
      const { port1, port2 } = new MessageChannel();
      port1.onmessage = done;
      worker.postMessage(message, [port2]);
    });
  }

  async function meet() {
    try {
      const here = await queue.ask();
      // The page of a first visit came before its worker.
      const own = "keeps" in dataset && !offline.isKept ? [location.pathname + location.search] : [];
      if (here.user) await askWorker({ take: [...own, ...here.ahead] });
    } catch {
      // No network: there is nothing to take along.
    }
    await queue.send();
  }

  // Half a minute to take back what was just written; the server refuses it later anyway.
  function endUndo() {
    for (const form of document.querySelectorAll("form[data-undo-for]")) {
      setTimeout(() => form.remove(), 1000 * Number(form.dataset.undoFor));
    }
  }

  function begin() {
    endUndo();
    sayOnce();
    if (!queue.works) return;
    navigator.serviceWorker.register("/sw.js").catch(() => null);
    prepare(document);
    fillIn();
    keepNow();
    beginMending();
    document.addEventListener("submit", onSubmit);
    addEventListener("queue", showBar);
    addEventListener("online", () => queue.send());
    addEventListener("pageshow", (event) => event.persisted && queue.send());
    document.addEventListener("visibilitychange", () => document.hidden || queue.send());
    setInterval(keepNow, EVERY);
    setInterval(async () => (await queue.all()).some((one) => one.state !== "refused") && queue.send(), EVERY);
    showBar();
    navigator.serviceWorker.ready.then(meet);
    navigator.serviceWorker.addEventListener("controllerchange", meet);
  }

  globalThis.phone = { askWorker };
  begin();
})();
