/* Asks once a second whether something was committed, and says in words when no answer comes.
   One question at a time, fewer when nobody looks or nobody answers: there is never a queue of them. */
(function () {
  const EVERY = 1000, UNSEEN = 15000, LONGEST = 5000, PATIENCE = 12000;
  let last = null, since = null, trouble = null, wait = EVERY, timer = null, asking = false, who;

  async function answer() {
    const stop = new AbortController();
    const late = setTimeout(() => stop.abort(), PATIENCE);
    try {
      const got = await fetch("/pulse", { cache: "no-store", redirect: "manual", signal: stop.signal });
      if (got.type === "opaqueredirect" || got.status === 401 || got.status === 403) return { trouble: "signed-out" };
      if (!got.ok && got.status !== 503) return { trouble: "network" };
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

  const HOURS = { hourCycle: "h23", hour: "2-digit", minute: "2-digit" };
  const spoken = document.documentElement.lang || undefined;
  const clock = (moment) => moment.toLocaleTimeString(spoken, HOURS);
  const exact = (moment) => moment.toLocaleTimeString(spoken, { ...HOURS, second: "2-digit" });

  function tell(got) {
    const bar = document.getElementById("bar");
    if (!bar) return;
    const words = (bar.dataset[{ network: "network", store: "store", "signed-out": "signedOut" }[got.trouble]] || "")
      .replace("{since}", clock(since)).replace("{why}", got.why || "");
    if (bar.textContent !== words) bar.textContent = words;
    bar.hidden = false;
  }
  function settle(now) {
    const bar = document.getElementById("bar");
    who = who === undefined ? now : who;
    const words = who === now || !bar ? "" : bar.dataset.other.replace("{who}", now);
    if (bar && bar.textContent !== words) bar.textContent = words;
    if (bar) bar.hidden = !words;
    if (words) document.querySelectorAll(".who input[readonly]").forEach((by) => {
      window.dash_clientside.set_props(by.id, { value: now });
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
      return;
    }
    const back = trouble !== null;
    trouble = since = null;
    wait = EVERY;
    settle(got.who);
    const set = window.dash_clientside && window.dash_clientside.set_props;
    if (!set || !document.getElementById("page")) return;
    const here = document.querySelector("#nav a.here");
    if (back && here && new URL(here.href).pathname !== location.pathname) set("again", { data: Date.now() });
    if (last === null && !back) last = got.change;
    if (back || got.change !== last) set("change", { data: got.change });
    last = got.change;
  }

  async function ask() {
    if (asking) return;
    asking = true;
    clearTimeout(timer);
    heard(await answer());
    asking = false;
    timer = setTimeout(ask, document.hidden ? UNSEEN : wait);
  }
  document.addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });
  window.addEventListener("online", ask);
  ask();
})();
