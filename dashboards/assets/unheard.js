/* What a page asks and does not hear, whole, is asked again by the pulse; a press that was not heard is told beside
   what was pressed: nobody is signed in any more, the store or the server is away, or what was sent was refused
   before a page saw it. And what is pressed again while it is under way, as it stood, is one press with one answer.
   Each press goes out under a name of its own, and so it does again, as it stood, until it is heard that it was kept:
   what was kept before is not done twice (`pressed.py`). */
(function () {
  const UPDATE = "/_dash-update-component", BEGINS = /\/_dash-(layout|dependencies)\b/, PRESSED = /\.(n_clicks|n_submit|contents)$|^bore-done\.data$/;
  const NAMED = "Cellmon-Press", KEPT = "Cellmon-Kept", NAMES = 100;
  const STILL = 2000, SLOW = 3000, LONG = 10000; // a slow page shows an answer later than it comes
  const LONGEST = 360000; // the server answers before: a writer waits 300 s for those before it
  const plain = window.fetch, under = new Map(), lost = new Map(), names = new Map();
  const words = (name) => (document.getElementById("bar") || { dataset: {} }).dataset[name] || "";
  const set = (id, props) => window.dash_clientside.set_props(id, props);
  const pressesOf = (sent) => (sent.changedPropIds || []).filter((one) => PRESSED.test(one));

  function tell(sent, said) {
    for (const { id } of [sent.outputs].flat()) {
      const one = typeof id === "string" && document.getElementById(id);
      if (one && one.getAttribute("role") === "status") set(id, { children: said });
    }
  }
  const waits = (sent) => [sent.outputs].flat().some(({ id }) => typeof id === "string"
    && (document.getElementById(id) || {}).textContent === words("waits"));
  function unheard(sent, why) {
    const presses = pressesOf(sent);
    if (!presses.length) lost.set(sent.output, sent);
    document.dispatchEvent(new CustomEvent("cellmon-unheard", { detail: { changed: sent.changedPropIds, why } }));
    if (!presses.length) return;
    const dropped = presses.filter((one) => one.endsWith(".contents")).map((one) => one.split(".")[0]);
    dropped.forEach((id) => set(id, { contents: null })); // so that the same file can be handed over again
    tell(sent, dropped.length && why === words("notKept") ? words("notTaken") : why);
    if (why === words("notKept")) document.dispatchEvent(new CustomEvent("cellmon-ask", { detail: "enter" }));
  }
  async function why(got) {
    if (got.status === 401) return words("notKept");
    const said = await got.json().catch(() => ({}));
    return words("refused").replace("{why}", said.error || got.statusText);
  }

  /* To Dash an answer that came whole; else that nothing changes. */
  async function asked(page, where, how, sent) {
    lost.delete(sent.output);
    const got = await plain.call(page, where, how).catch(() => null);
    const whole = got && got.ok ? await got.arrayBuffer().catch(() => null) : null;
    if (whole && got.headers.get(KEPT)) names.delete(deedOf(sent));
    if (whole) return { status: got.status, headers: got.headers, whole };
    unheard(sent, got && !got.ok ? await why(got) : words("noAnswer"));
    return { status: 204, whole: null };
  }
  /* What follows every commit the pulse asks for; what follows something else is asked for by that, as it stood. */
  document.addEventListener("cellmon-again", () => {
    for (const [output, { inputs, changedPropIds }] of lost) {
      lost.delete(output);
      if (inputs.some(({ id }) => id === "change" || id === "url")) continue;
      const moved = inputs.filter(({ id, property }) => (changedPropIds || []).includes(`${id}.${property}`));
      for (const { id, property, value } of moved) if (value !== undefined) set(id, { [property]: value });
    }
  });
  /* What is done by a press: who presses twice sends the same, but for how often and for what was committed since. */
  const SINCE = /^change$|-looked$/;
  function deedOf(sent) {
    const pressed = (property, value) => (property === "n_clicks" ? null : value && value.of ? { ...value, of: null } : value);
    const inputs = (sent.inputs || []).map(({ id, property, value }) => [id, property, pressed(property, value)]);
    const state = (sent.state || []).map((one) => (SINCE.test(one.id) ? null : one));
    return JSON.stringify([sent.output, sent.changedPropIds, inputs, state]);
  }
  function once(sent, ask) {
    const deed = deedOf(sent), known = under.get(deed);
    if (known && performance.now() - known.since < LONGEST) return known.answer;
    const one = { sent, since: performance.now(), answer: ask() }, over = () => {
      if (under.get(deed) === one) under.delete(deed);
      if (waits(sent)) tell(sent, ""); // the answer said nothing of it
    };
    under.set(deed, one);
    const slow = setTimeout(() => { if (under.get(deed) === one) tell(sent, words("waits")); }, SLOW);
    one.answer.then(({ whole }) => { one.heard = true; clearTimeout(slow); setTimeout(over, whole ? STILL : 0); });
    return one.answer;
  }
  function named(sent, how) {
    if (!pressesOf(sent).some((one) => !one.endsWith(".contents"))) return how; // a file taken twice is known
    const deed = deedOf(sent), name = names.get(deed) || newName();
    names.delete(deed);
    names.set(deed, name);
    if (names.size > NAMES) names.delete(names.keys().next().value);
    return { ...how, headers: { ...how.headers, [NAMED]: name } };
  }
  function newName() { // where a page may not ask for a random UUID: over plain HTTP
    return [...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("");
  }
  /* A network that went away may have taken a press with it: then the next is another. */
  document.addEventListener("cellmon-away", () => {
    for (const [deed, { sent, since, heard }] of under) {
      if (heard || performance.now() - since < LONG) continue;
      under.delete(deed);
      tell(sent, words("noAnswer"));
    }
  });

  /* Without it there is no page: it is asked for until there is an answer. */
  async function begun(page, where, how) {
    for (;;) {
      const got = await plain.call(page, where, how).catch(() => null);
      if (got && got.status < 500) return got;
      await new Promise((done) => setTimeout(done, STILL));
    }
  }

  window.fetch = async function (where, how) {
    const address = String(where.url || where);
    if (BEGINS.test(address)) return begun(this, where, how);
    if (!address.includes(UPDATE) || !how || typeof how.body !== "string") return plain.call(this, where, how);
    const sent = JSON.parse(how.body), ask = () => asked(this, where, named(sent, how), sent);
    const { status, headers, whole } = await (pressesOf(sent).length ? once(sent, ask) : ask());
    return new Response(whole, { status, headers });
  };
})();
