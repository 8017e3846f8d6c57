/* A drawing in a narrow box is drawn as its layout says for there (`layout.meta.narrow`: what to relay), and again
   as it was made when the box grows wide. */
(function () {
  const heard = new WeakSet();

  const value = (of, path) => path.replace(/\[(\d+)\]/g, ".$1").split(".").reduce((at, name) => (at ? at[name] : undefined), of);

  const told = (what) => JSON.stringify(what ?? null); // what was not said at first is null, and a list is never the same

  function fit(drawn) {
    const narrow = drawn.layout && drawn.layout.meta && drawn.layout.meta.narrow;
    if (!narrow || !drawn.clientWidth) return;
    const wanted = drawn.clientWidth < narrow.below ? narrow.is : narrow.was;
    const other = Object.entries(wanted).filter(([path, to]) => told(value(drawn.layout, path)) !== told(to));
    if (other.length) window.Plotly.relayout(drawn, Object.fromEntries(other));
  }
  function listen() {
    document.querySelectorAll(".js-plotly-plot").forEach((drawn) => {
      if (!drawn._ev || heard.has(drawn._ev)) return;
      heard.add(drawn._ev); // plotly makes a new one when a drawing is made anew
      drawn.on("plotly_afterplot", () => setTimeout(() => fit(drawn)));
      fit(drawn);
    });
  }
  let asked = false;
  new MutationObserver(() => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; listen(); });
  }).observe(document.documentElement, { subtree: true, childList: true });
})();
