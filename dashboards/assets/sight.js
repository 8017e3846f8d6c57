/* What is chosen in a list that scrolls in its own box comes into sight there; and what an entry opens does on the
   page, where it stands below the list or the page was scrolled past it. A link that names an entry is a press. */
(function () {
  const PATIENCE = 8000;
  let wanted = null, since = 0, asked = false;

  function inside(box, one) {
    const room = box.getBoundingClientRect(), place = one.getBoundingClientRect();
    if (place.top < room.top || place.bottom > room.bottom) box.scrollTop += place.top - room.top - (room.height - place.height) / 2;
  }
  function boxOf(one) {
    for (let at = one.parentElement; at && at.tagName !== "MAIN"; at = at.parentElement) {
      if (at.scrollHeight > at.clientHeight && /auto|scroll/.test(getComputedStyle(at).overflowY)) return at;
    }
    return null;
  }
  const namedBy = (search) => ["signal", "row", "doubt"].map((key) => new URLSearchParams(search).get(key)).find(Boolean);
  function named(entry) {
    const one = entry && entry.querySelector("a[href], [data-pick]");
    return one ? one.dataset.pick || namedBy(new URL(one.href).search) : null;
  }
  function want(name) {
    if (!name) return;
    wanted = name;
    since = performance.now();
    soon();
  }
  function show(list) {
    const around = list.closest(".signals, .picked"), one = around && around.querySelector(":scope > article");
    if (!one || !one.offsetParent) return;
    const { top } = one.getBoundingClientRect(), beside = one.previousElementSibling;
    if (top < 0 || (beside && top >= beside.getBoundingClientRect().bottom)) one.scrollIntoView({ block: "start" });
    wanted = null;
  }
  function look() {
    asked = false;
    document.querySelectorAll("[data-roves]").forEach((list) => {
      const entry = list.querySelector("li.here"), name = named(entry);
      if (!name) return;
      const box = list.dataset.inSight === name ? null : boxOf(entry);
      if (box) inside(box, entry);
      list.dataset.inSight = name;
      if (name === wanted && performance.now() - since < PATIENCE) show(list);
    });
  }
  function soon() {
    if (asked) return;
    asked = true;
    requestAnimationFrame(look);
  }
  document.addEventListener("click", (event) => {
    const one = event.target.closest && event.target.closest("a[href], [data-pick]");
    if (!one) return;
    if (one.closest("[data-roves]")) want(named(one.closest("li")));
    else if (one.href) want(namedBy(new URL(one.href).search));
  }, true);
  ["wheel", "touchmove"].forEach((kind) => document.addEventListener(kind, () => { wanted = null; }, { capture: true, passive: true }));
  new MutationObserver(soon).observe(document.documentElement, { subtree: true, childList: true });
  want(namedBy(location.search));
})();
