/* A link to a place (#...) leads there, also while the page is still being made: what is folded is opened, and
   the place is kept in sight until the page has come to rest or somebody moves it. And what a press was
   answered with comes into sight, where it stands below the edge of the window. */
(function () {
  const PATIENCE = 5000, HEARD = 15000, SETTLES = 6000;
  let until = 0, pressed = null, pressedAt = 0, asked = false;
  let told = null, toldAt = 0; // what was answered stays in sight while the page closes up about it

  const place = () => {
    const id = decodeURIComponent(location.hash.slice(1));
    return id && id !== "page" ? document.getElementById(id) : null;
  };
  function keep() {
    if (performance.now() > until) return;
    const one = place();
    if (one) {
      if (one.tagName === "DETAILS" && !one.open) one.open = true;
      one.scrollIntoView({ block: "start" });
    }
    requestAnimationFrame(keep);
  }
  function go() {
    const running = performance.now() <= until;
    until = performance.now() + PATIENCE;
    if (!running) keep();
  }
  function answered() {
    asked = false;
    if (!pressed || performance.now() - pressedAt > HEARD) return;
    const around = pressed.closest("details, section, article, main");
    if (!around) return;
    for (const one of around.querySelectorAll(".said[role=status], .questions[role=alert]")) {
      const box = one.getBoundingClientRect();
      const settles = one === told && performance.now() - toldAt < SETTLES;
      if (!one.textContent || !box.height || (one.dataset.seen === one.textContent && !settles)) continue;
      if (one.dataset.seen !== one.textContent) {
        one.dataset.seen = one.textContent;
        told = one;
        toldAt = performance.now();
      }
      if (box.top < 0 || box.bottom > window.innerHeight) one.scrollIntoView({ block: "nearest" });
    }
  }
  document.addEventListener("click", (event) => {
    const node = event.target.closest ? event.target : document.body;
    const link = node.closest("a[href*='#']");
    until = 0;
    if (link) setTimeout(go, 0);
    const button = node.closest("button");
    if (!button) return;
    pressed = button;
    pressedAt = performance.now();
    document.querySelectorAll(".said[data-seen]").forEach((one) => { delete one.dataset.seen; });
  }, true);
  ["wheel", "touchmove", "keydown"].forEach((kind) => {
    document.addEventListener(kind, () => { until = 0; told = null; }, { capture: true, passive: true });
  });
  window.addEventListener("hashchange", go);
  new MutationObserver(() => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(answered);
  }).observe(document.documentElement, { subtree: true, childList: true, characterData: true });
  if (location.hash) go();
})();
