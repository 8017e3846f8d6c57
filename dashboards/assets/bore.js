/* At the bore: one figure after another, box by box, by keyboard, by a gauge that types, or by finger.
   Stepping from box to box is done here, so a key answers at once; what a figure means and what is odd about it
   the server says a moment later (`bore_asks.look_at`), and nothing is kept before that. What is typed
   lies in this browser until its round is kept, so it outlives a reload and a power cut. */
(function () {
  const LASTS = 14 * 24 * 3600e3, BOUNCE = 120, CALM = 700;
  let asks = null, typed = {}, at = null, sent = 0, finishing = null, unanswered = null, questions = null, last = 0, doubted = 0, failed = "";

  const $ = (id) => document.getElementById(id);
  const stored = (key) => `cellmon-bore|${key}`;
  /* What happened, by name or by its number, says which boxes are asked. */
  const happened = () => {
    const text = ((typed.event || {}).text || "").trim();
    return (asks.names.event || [])[Number(text) - 1] || text;
  };
  const wanted = (one) => !(one.only || []).length || !typed.event || one.only.includes(happened());
  const boxes = () => asks.boxes.filter(wanted);
  const box = (name) => asks.boxes.find((one) => one.name === name);
  const open = (one) => {
    const said = typed[one.name];
    return !said || !!said.refused || (!said.sure && (said.asked || []).length > 0);
  };
  const whole = () => boxes().length > 0 && boxes().every((one) => !open(one) && !typed[one.name].pending);
  const set = (id, data) => window.dash_clientside.set_props(id, { data });

  function made(tag, attributes, ...children) {
    const found = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes || {})) {
      if (name === "on") found.addEventListener("click", value);
      else found.setAttribute(name, value);
    }
    found.append(...children);
    return found;
  }

  /* --- what outlives a reload */
  function save() {
    const figures = {};
    for (const [name, said] of Object.entries(typed)) figures[name] = { text: said.text, sure: !!said.sure };
    try { localStorage.setItem(stored(asks.key), JSON.stringify({ figures, when: Date.now() })); } catch { /* full */ }
  }
  function load() {
    typed = {};
    for (const [name, text] of Object.entries(asks.filled || {})) typed[name] = { text, pending: true };
    try {
      const kept = JSON.parse(localStorage.getItem(stored(asks.key)) || "null");
      for (const [name, said] of Object.entries((kept || {}).figures || {})) {
        if (box(name)) typed[name] = { ...said, pending: true };
      }
    } catch { /* nothing that can be read */ }
  }
  function forget(key) {
    localStorage.removeItem(stored(key));
    for (const name of Object.keys(localStorage)) {
      if (!name.startsWith("cellmon-bore|")) continue;
      let when = 0;
      try { when = JSON.parse(localStorage.getItem(name)).when; } catch { /* not ours any more */ }
      if (Date.now() - when > LASTS) localStorage.removeItem(name);
    }
  }

  /* --- what is seen */
  function field() { return $("bore-figure"); }
  function say(words) { $("bore-understood").textContent = words; }

  function show() {
    const current = at && box(at), said = current && typed[at];
    $("bore-place").textContent = current ? current.label : questions ? asks.words.asked : whole() ? asks.words.whole : asks.words.waits;
    const asked = said && !said.pending && !said.sure ? said.asked || [] : [];
    const wrong = failed || (said && said.refused) || "";
    $("bore-hint").textContent = current && !wrong && !asked.length ? current.hint : "";
    $("bore-doubts").textContent = [wrong, ...asked].filter(Boolean).join(" ");
    $("bore-doubt").hidden = !wrong && !asked.length;
    $("bore-certain").hidden = !asked.length;
    for (const button of document.querySelectorAll("#bore-boxes button")) {
      const one = box(button.dataset.box), has = typed[one.name];
      button.hidden = !wanted(one);
      const odd = has && !has.pending && open(one);
      button.querySelector("b").textContent = has ? (has.text.trim() || "–") : "";
      button.querySelector("small").textContent = has ? (odd ? "?" : has.shown || "") : "";
      button.classList.toggle("here", one.name === at);
      button.classList.toggle("odd", !!odd);
      const meant = has ? `${has.text || "–"} ${has.shown || ""} ${odd ? "?" : ""}` : asks.words.empty;
      button.setAttribute("aria-label", `${one.label}: ${meant}`);
      if (one.name === at) button.setAttribute("aria-current", "step"); else button.removeAttribute("aria-current");
    }
    $("bore-keep").disabled = !whole() || !!finishing;
  }

  const PAD = ["7", "8", "9", "⌫", "4", "5", "6", "+", "1", "2", "3", "−", ".", "0", "/"];
  function pad() {
    const named = { "⌫": asks.words.delete, "+": asks.words.plus, "−": asks.words.minus, "/": asks.words.stroke };
    const keys = PAD.map((sign) => {
      const shown = sign === "." ? asks.point : sign;
      const label = named[sign] ? { "aria-label": named[sign] } : {};
      return made("button", { type: "button", class: "key", ...label, on: () => press(shown) }, shown);
    });
    const enter = made("button", { type: "button", class: "key enter", "aria-label": asks.words.accept, on: () => accept() }, "↵");
    return made("div", { class: "pad", id: "bore-pad", role: "group", "aria-label": asks.words.keys }, ...keys, enter);
  }
  /* Keys on the screen: there where a finger is the pointer, and by choice; then no keyboard covers the page. */
  const finger = () => (localStorage.getItem("cellmon-keys") ?? String(matchMedia("(any-pointer: coarse)").matches)) === "true";
  function showPad() {
    $("bore-pad").hidden = !finger();
    $("bore-pads").setAttribute("aria-expanded", String(finger()));
    field().setAttribute("inputmode", finger() ? "none" : "decimal");
  }
  function turnPad() {
    localStorage.setItem("cellmon-keys", String(!finger()));
    showPad();
    field().focus();
  }
  function press(sign) {
    const here = field();
    if (sign === "⌫") here.value = here.value.slice(0, -1);
    else here.value += sign === "−" ? "-" : sign;
    here.focus();
  }

  function button(one) {
    const named = made("span", {}, one.plane ? one.direction : one.label);
    return made("button", { type: "button", class: "box", "data-box": one.name, on: () => go(one.name) },
      named, made("b"), made("small"));
  }
  function grid() {
    const planes = new Map(), besides = [];
    for (const one of asks.boxes) {
      if (!one.plane) besides.push(button(one));
      else planes.set(one.plane, [...(planes.get(one.plane) || []), button(one)]);
    }
    const rows = [...planes].map(([plane, ones]) =>
      made("div", { class: ones.length > 4 ? "plane many" : "plane", role: "group", "aria-label": plane }, made("span", { class: "name" }, plane), ...ones));
    const first = besides.length ? [made("div", { class: "besides" }, ...besides)] : [];
    return made("div", { id: "bore-boxes", role: "group", "aria-label": asks.words.boxes }, ...first, ...rows);
  }

  function build() {
    const here = $("bore-machine"), words = asks.words;
    const figure = made("input", {
      id: "bore-figure", type: "text", autocomplete: "off", spellcheck: "false", enterkeyhint: "done",
      "aria-describedby": "bore-hint bore-doubts",
    });
    figure.addEventListener("keydown", key);
    const accepts = made("button", { type: "button", class: "step", id: "bore-accept", on: () => accept() }, words.accept);
    const backs = made("button", { type: "button", class: "step", id: "bore-back", on: back }, words.back);
    here.replaceChildren(
      made("label", { id: "bore-place", for: "bore-figure" }),
      made("div", { class: "typing" }, figure, accepts, backs),
      made("div", { class: "hints" }, made("p", { id: "bore-understood", role: "status" }), made("p", { id: "bore-hint" })),
      made("div", { id: "bore-doubt", class: "questions", role: "alert", hidden: "" },
        made("p", { id: "bore-doubts" }),
        made("button", { type: "button", class: "step", id: "bore-certain", on: () => { last = doubted = 0; accept(""); } }, words.sure)),
      made("div", { class: "hands" }, grid(), pad()),
      made("div", { class: "ends" },
        made("button", { type: "button", class: "step", id: "bore-keep", on: () => finish(false) }, words.keep),
        made("button", { type: "button", class: "step", id: "bore-pads", "aria-controls": "bore-pad", on: turnPad }, words.keys)),
    );
  }

  /* --- what is done */
  function following(name) {
    const all = boxes(), from = all.findIndex((one) => one.name === name) + 1;
    return ([...all.slice(from), ...all.slice(0, from)].find(open) || {}).name || null;
  }
  function go(name) {
    at = name;
    failed = "";
    field().value = name && typed[name] && !asks.boxes.find((one) => one.name === name).default ? typed[name].text : "";
    show();
    field().focus();
    field().select();
  }
  function back() {
    const all = boxes(), here = at ? all.findIndex((one) => one.name === at) : all.length;
    if (here > 0) go(all[here - 1].name);
  }
  function key(event) {
    const empty = field().value === "";
    if (event.key === "Enter") { event.preventDefault(); accept(); }
    else if ((event.key === "Backspace" && empty) || event.key === "ArrowUp") { event.preventDefault(); back(); }
    else if (event.key === "ArrowDown") { event.preventDefault(); if (at) go(following(at) || at); }
  }

  function accept(given) {
    const text = (given === undefined ? field().value : given).trim(), now = performance.now();
    const bounced = now - last < BOUNCE;
    last = now;
    if (!asks || finishing) return;
    if (text.toLowerCase() === "b") { field().value = ""; back(); return; }
    if (!text && bounced) return;  /* a gauge that ends its figure with two signs, a key that chatters */
    if (!at) { if (!text && whole()) finish(false); return; }
    const one = box(at), said = typed[at];
    if (!text && said && said.pending) return;
    if (!text && performance.now() - doubted < CALM) return;  /* nobody has read the question yet */
    if (!text && said && said.asked && said.asked.length && !said.refused) said.sure = true;
    else if (text || one.default !== null) typed[at] = { text: text || one.default, pending: true };
    else { failed = asks.words.needed; show(); return; }
    failed = "";
    step(one.name);
  }
  function step(from) {
    field().value = "";
    if (questions) unask();
    at = following(from);
    say("");
    show();
    save();
    ask();
    ended();
  }
  /* Every figure that was not looked at yet is sent along, so no answer that is overtaken is missed. */
  function ask() {
    if (!Object.values(typed).some((said) => said.pending)) return;
    const figures = {};
    for (const [name, said] of Object.entries(typed)) figures[name] = said.text;
    set("bore-typed", { key: asks.key, sent: ++sent, figures });
  }
  function heard(answer) {
    if (!asks || !answer || answer.key !== asks.key) return;
    let odd = null, understood = "";
    for (const one of boxes()) {
      const found = answer.figures[one.name], said = typed[one.name];
      if (!found || !said || said.text !== found.text) continue;
      if (said.pending) understood = found.shown && found.shown !== "–" ? `${one.label}: ${found.shown}` : understood;
      Object.assign(said, found, { pending: false });
      if (open(one) && !odd) odd = one.name;
    }
    if (understood) say(understood);
    if (odd && field().value === "") {
      at = odd;
      if (typed[odd].refused) { field().value = typed[odd].text; field().select(); }
      doubted = performance.now();
    }
    show();
    ended();
  }
  /* A round whose last figure was accepted is kept without one more key; one that is typed again is not. */
  function ended() {
    if (at === null && whole() && !asks.again && !questions && !finishing && !asks.held) finish(false);
  }
  function finish(sure) {
    if (!whole() || finishing) return;
    if (questions && !sure) {
      if (performance.now() - questions < CALM) return;
      sure = true;
    }
    finishing = unanswered = unanswered || `${asks.key}|${Date.now()}`; // pressed again it is the same press
    asks.held = true;
    const figures = {};
    const certain = {};
    for (const [name, said] of Object.entries(typed)) {
      figures[name] = said.text;
      if (said.sure) certain[name] = said.asked || [];
    }
    say(asks.words.keeping);
    set("bore-done", { key: asks.key, of: finishing, figures, certain, sure });
    const mine = finishing;
    setTimeout(() => { if (finishing === mine) { finishing = null; show(); } }, 8000);
    show();
  }
  function settled(became) {
    if (!became || !asks || became.key !== asks.key) return;
    finishing = unanswered = null;
    say("");
    questions = became.asked.length ? performance.now() : null;
    if (became.kept) {
      forget(became.key);
      asks.done = true;
      window.scrollTo(0, 0);  /* first what to do next */
    }
    show();
    if (field()) field().focus({ preventScroll: true });
    if (became.asked.length) $("bore-questions").scrollIntoView({ block: "nearest" });
  }
  /* A round that was asked about stays held: one figure put right does not say that the others are. */
  function unask() {
    questions = null;
    set("bore-unasked", Date.now());
  }

  function begin(data) {
    const before = asks;
    if (!data || !$("bore-machine")) { asks = null; return; }
    if (before && before.key === data.key && !before.done && field()) {
      asks = { ...data, held: before.held };
      if (asks.boxes.length) { show(); ask(); } // a figure whose answer did not come is asked about again
      return;
    }
    asks = { ...data };
    finishing = unanswered = questions = null;
    doubted = performance.now() - CALM + 300;  /* one more Enter for the round that was just kept is none for the next */
    failed = "";
    $("bore-machine").replaceChildren();
    if (!boxes().length) return;
    load();
    build();
    showPad();
    at = (boxes().find(open) || {}).name || null;
    asks.held = at === null;  /* all was typed before a reload: a person says that it is to be kept */
    show();
    ask();
    const active = document.activeElement;
    const busy = active && active.closest(".who, #bore-beside, #bore-stones-box, header");
    if (!busy) field().focus({ preventScroll: true });
  }

  document.addEventListener("click", (event) => {
    if (event.target.id === "bore-sure") finish(true);
  });
  document.addEventListener("cellmon-unheard", ({ detail }) => {
    if (!unanswered || !detail.changed.includes("bore-done.data")) return;
    finishing = unanswered = null;
    say(detail.why);
    show();
  });
  const none = () => window.dash_clientside.no_update;
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    atTheBore: {
      begin: (data) => { begin(data); return none(); },
      heard: (data) => { heard(data); return none(); },
      settled: (data) => { settled(data); return none(); },
    },
  });
})();
