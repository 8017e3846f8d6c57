/* A point of a drawing opens what stands behind it: a click goes to the page its trace names. A finger
   first sees the words of a point; a second tap on the same point goes there. */
(function () {
  const heard = new WeakSet();
  let tapped = null;

  function address(drawn, point) {
    const trace = drawn.data[point.curveNumber];
    const opens = trace && trace.meta && trace.meta.opens;
    const what = trace && trace.ids ? point.id : point.customdata;
    if (!opens || typeof what !== "string" || !what) return null;
    return what.startsWith("/") ? what : opens + encodeURIComponent(what);
  }
  function clicked(drawn, event) {
    const point = (event.points || []).find((one) => address(drawn, one));
    if (!point) return;
    const to = address(drawn, point);
    if (window.matchMedia("(hover: none)").matches && tapped !== to) {
      tapped = to;
      return;
    }
    tapped = null;
    const [pathname, search] = to.split("?");
    window.dash_clientside.set_props("url", { pathname, search: "?" + search });
    window.scrollTo(0, 0);
  }
  function listen() {
    document.querySelectorAll(".js-plotly-plot").forEach((drawn) => {
      if (!drawn._ev || heard.has(drawn._ev)) return;
      heard.add(drawn._ev); // plotly makes a new one when a drawing is made anew
      drawn.on("plotly_click", (event) => clicked(drawn, event));
    });
  }
  let asked = false;
  new MutationObserver(() => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; listen(); });
  }).observe(document.documentElement, { subtree: true, childList: true });
})();
