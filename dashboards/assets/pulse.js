/* Asks once a second whether something was committed, and says in words when no answer comes.
   One question at a time, fewer when nobody looks or nobody answers: there is never a queue of them. It tells
   whether somebody touched the page or a key since, so that a sign-in does not end under a hand that writes.
   What the page asked and was not answered (`unheard.js`) is asked again, ever more seldom while it stays so. */
(function () {
  const EVERY = 1000, UNSEEN = 15000, LONGEST = 5000, PATIENCE = 12000, WARNED_S = 120, AGAIN = 2000, SELDOM = 60000, SKEWED = 5000;
  let last = null, since = null, trouble = null, wait = EVERY, timer = null, asking = null, who, here = false, enter = false;
  let missed = false, calm = 0, again = AGAIN;

  async function answer(stop) {
    const late = setTimeout(() => stop.abort(), PATIENCE), address = here ? "/pulse?here" : "/pulse";
    here = false;
    try {
      const got = await fetch(address, { cache: "no-store", redirect: "manual", signal: stop.signal });
      if (got.type === "opaqueredirect" || got.status === 401 || got.status === 403) return { trouble: "signed-out" };
      if (!got.ok && got.status !== 503) return { trouble: "network" };
      const off = Date.parse(got.headers.get("Date")) - Date.now();
      ahead = Math.abs(off) > SKEWED ? off : 0;
      const said = await got.json(); // who is signed in stands in the store too: without it the door refuses
      if (said.error) return { trouble: "store", why: said.error };
      if (!got.ok) return { trouble: "network" };
      return said.gone ? { trouble: "store", why: said.gone } : said;
    } catch {
      return { trouble: "network" };
    } finally {
      clearTimeout(late);
    }
  }

  /* Moments are said by the clock and in the zone of the cell, as everywhere on a page: a tablet's may be wrong. */
  let ahead = 0;
  const HOURS = { hourCycle: "h23", hour: "2-digit", minute: "2-digit" };
  const spoken = document.documentElement.lang || undefined;
  function clock(moment, more) {
    const at = new Date(moment.getTime() + ahead), how = { ...HOURS, ...more };
    try {
      return at.toLocaleTimeString(spoken, { ...how, timeZone: saying("zone") || undefined });
    } catch { // a zone that the browser does not know
      return at.toLocaleTimeString(spoken, how);
    }
  }
  const exact = (moment) => clock(moment, { second: "2-digit" });

  function show(words) {
    const bar = document.getElementById("bar"), said = document.getElementById("bar-said");
    if (!said) return;
    if (said.textContent !== words) said.textContent = words;
    bar.hidden = !words;
  }
  const saying = (name) => (document.getElementById("bar") || { dataset: {} }).dataset[name] || "";
  async function tell(got) {
    show(saying({ network: "network", store: "store", "signed-out": "signedOut" }[got.trouble])
      .replace("{since}", clock(since)).replace("{why}", got.why || ""));
    const wayIn = window.cellmonWayIn;
    if (!wayIn || got.trouble !== "signed-out") return;
    await wayIn.open(who);
    if (enter && wayIn.enter()) enter = false;
  }
  function ends(got) {
    const left = got.who ? Math.min(got.idle, got.longest) : Infinity;
    if (left > WARNED_S) return "";
    const at = clock(new Date(Date.now() + left * 1000));
    return saying(got.longest < got.idle ? "endsAnyway" : "ends").replace("{who}", got.who).replace("{at}", at);
  }
  /* A page that another program made is loaded anew by itself, where nobody would lose what they wrote. */
  const WRITTEN = "main textarea, main input:not([type=radio], [type=checkbox], [readonly])";
  function renewed(got) {
    const page = document.getElementById("page");
    if (!page || got.made === page.dataset.made) return false;
    if (![...document.querySelectorAll(WRITTEN)].some((one) => one.value)) location.reload();
    return true;
  }
  function settle(got) {
    const named = document.querySelector("a.signed-in"); // the head of the page, as it was drawn
    who = got.who;
    const other = named && named.dataset.who !== who;
    if (window.cellmonWayIn) window.cellmonWayIn.close();
    show(renewed(got) ? saying("renewed") : other ? saying("other").replace("{who}", who) : ends(got));
    if (other) document.querySelectorAll(".who input[readonly]").forEach((by) => {
      if (by.value !== who) window.dash_clientside.set_props(by.id, { value: who });
    });
    const refreshed = document.getElementById("refreshed");
    if (refreshed) refreshed.textContent = refreshed.dataset.words.replace("{time}", exact(new Date()));
  }

  function heard(got) {
    if (got.trouble) {
      since = since || new Date();
      trouble = got.trouble;
      wait = Math.min(wait * 1.5, LONGEST);
      tell(got);
      if (trouble === "network") document.dispatchEvent(new Event("cellmon-away"));
      return;
    }
    const back = trouble !== null;
    trouble = since = null;
    enter = false;
    wait = EVERY;
    settle(got);
    const set = window.dash_clientside && window.dash_clientside.set_props, page = document.getElementById("page");
    if (!set || !page) return;
    const anew = askAgain(back), here = document.querySelector("#nav a.here");
    if (anew && !(here && new URL(here.href).pathname === location.pathname)) set("again", { data: Date.now() });
    if (anew) document.dispatchEvent(new Event("cellmon-again"));
    if (last === null) last = Number(page.dataset.change); // what the page was drawn of, and not what this heard
    if (anew || got.change !== last) set("change", { data: got.change });
    last = got.change;
  }
  function askAgain(back) {
    const now = performance.now();
    if (!back && (!missed || now < calm)) {
      if (now > calm + again) again = AGAIN; // what was asked again was answered
      return back;
    }
    calm = now + again;
    again = Math.min(again * 2, SELDOM);
    missed = false;
    return true;
  }

  async function ask() {
    if (asking) return;
    const mine = asking = new AbortController();
    clearTimeout(timer);
    try {
      const got = await answer(mine);
      if (mine === asking) heard(got);
    } finally {
      if (mine === asking) {
        asking = null;
        timer = setTimeout(ask, document.hidden ? UNSEEN : wait);
      }
    }
  }
  /* What was asked before a sleep may never be answered. */
  function awake() {
    if (document.hidden) return;
    const before = asking;
    asking = null;
    if (before) before.abort();
    ask();
  }
  ["keydown", "pointerdown", "wheel", "touchmove"].forEach((kind) => {
    document.addEventListener(kind, () => { here = true; }, { capture: true, passive: true });
  });
  document.addEventListener("cellmon-ask", (event) => { enter = enter || event.detail === "enter"; ask(); });
  document.addEventListener("cellmon-unheard", () => { missed = true; });
  document.addEventListener("visibilitychange", awake);
  window.addEventListener("pageshow", ({ persisted }) => { if (persisted) awake(); });
  window.addEventListener("online", awake);
  ask();
})();
