/* What a hand does with a mouse, by keys: a drawing that can be zoomed is one stop of Tab and is moved, zoomed and
   shown whole by keys; a list of entries is one stop too, and arrows go from entry to entry. */
(function () {
  const STEP = 0.1, CLOSER = 0.8;
  const drawnIn = (picture) => picture.querySelector(".js-plotly-plot");
  const axisOf = (drawn) => drawn && drawn._fullLayout && drawn._fullLayout.xaxis;
  const zooms = (drawn) => {
    const axis = axisOf(drawn);
    return !!axis && !axis.fixedrange && drawn._fullLayout.dragmode !== false && (drawn.data || []).length > 0;
  };

  function ranged(axis, key) {
    const [low, high] = axis.range.map(axis.r2l), wide = high - low, middle = (low + high) / 2;
    const moved = { ArrowLeft: -STEP, ArrowRight: STEP }[key], grown = { "+": CLOSER, "=": CLOSER, "-": 1 / CLOSER, "−": 1 / CLOSER }[key];
    if (moved) return [low + moved * wide, high + moved * wide];
    return grown ? [middle - (grown * wide) / 2, middle + (grown * wide) / 2] : null;
  }
  function zoom(picture, key) {
    const drawn = drawnIn(picture), axis = axisOf(drawn);
    if (!zooms(drawn)) return false;
    if (key === "0") {
      const begun = [axis._rangeInitial0, axis._rangeInitial1];
      const whole = begun[0] === undefined ? { "xaxis.autorange": true } : { "xaxis.range": begun };
      window.Plotly.relayout(drawn, whole);
      return true;
    }
    const range = ranged(axis, key);
    if (range) window.Plotly.relayout(drawn, { "xaxis.range": range.map(axis.l2r) });
    return !!range;
  }

  const entries = (list) => [...list.querySelectorAll("li a, li button")].filter((one) => one.offsetParent);
  function step(list, from, key) {
    const all = entries(list), at = all.indexOf(from);
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: all.length - 1 }[key];
    if (at < 0 || to === undefined || !all[to]) return false;
    all[to].focus();
    return true;
  }

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || !event.target.closest) return;
    const list = event.target.closest("[data-roves]");
    const picture = event.target.classList.contains("picture") ? event.target : null;
    if ((list && step(list, event.target, event.key)) || (picture && zoom(picture, event.key))) event.preventDefault();
  });

  const stop = (one, index) => { if (one.tabIndex !== index || !one.hasAttribute("tabindex")) one.tabIndex = index; };
  function mend() {
    document.querySelectorAll("[data-roves]").forEach((list) => {
      const all = entries(list), chosen = all.find((one) => one.closest("li").classList.contains("here"));
      const here = all.includes(document.activeElement) ? document.activeElement : chosen || all[0];
      all.forEach((one) => stop(one, one === here ? 0 : -1));
    });
    document.querySelectorAll(".picture[data-keys]").forEach((picture) => {
      const reached = zooms(drawnIn(picture));
      if (reached === picture.hasAttribute("tabindex")) return;
      if (reached) Object.entries({ tabindex: 0, role: "group", "aria-label": picture.dataset.keys }).forEach(([name, to]) => picture.setAttribute(name, to));
      else ["tabindex", "role", "aria-label"].forEach((name) => picture.removeAttribute(name));
    });
    document.querySelectorAll(".modebar-btn").forEach((button) => stop(button, -1)); // by mouse alone: keys do the same
  }
  let asked = false;
  const soon = () => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; mend(); });
  };
  document.addEventListener("focusin", soon);
  new MutationObserver(soon).observe(document.documentElement, { subtree: true, childList: true, attributes: true, attributeFilter: ["class"] });
})();
