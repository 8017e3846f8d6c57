/* A drawing to one scale grows its axes to fill its box and never shrinks them again: when the window changes,
   the drawings that say what is whole (`layout.meta.whole`) are shown whole again. */
(function () {
  let soon = null;
  function again() {
    for (const drawn of document.querySelectorAll(".js-plotly-plot")) {
      const whole = drawn.layout && drawn.layout.meta && drawn.layout.meta.whole;
      if (whole) window.Plotly.relayout(drawn, { "xaxis.range": [...whole.x], "yaxis.range": [...whole.y] });
    }
  }
  window.addEventListener("resize", () => {
    clearTimeout(soon);
    soon = setTimeout(again, 200);
  });
})();
