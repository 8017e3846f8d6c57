/* Light and dark. The style sheet's variables hold both sets of colours; figures come in those of day, and
   here each colour's partner takes its place before plotly draws it. Printed and saved pictures are light. */
(function () {
  const KEPT = "cellmon-dress";
  const NAMES = [
    "paper", "ink", "soft", "line", "quiet", "hair", "inside", "allowed", "metal", "shade",
    "attention", "note", "bar", "dense-bar", "veil",
  ];
  const DATA = new Set(["x", "y", "z", "text", "customdata", "ids", "hovertext", "tickvals", "ticktext"]);
  const root = document.documentElement;
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  let tables = null;

  const device = () => (dark.matches ? "dark" : "light");
  const worn = () => root.dataset.dress;
  function chosen() {
    try { return localStorage.getItem(KEPT); } catch { return null; }
  }
  /* What the device would do anyway is not kept, so that a person can go back to following it. */
  function keep(dress) {
    try {
      if (dress === device()) localStorage.removeItem(KEPT);
      else localStorage.setItem(KEPT, dress);
    } catch { /* a browser that keeps nothing still changes this page */ }
  }

  function palette(dress) {
    const before = worn();
    root.dataset.dress = dress;
    const style = getComputedStyle(root);
    const found = NAMES.map((name) => style.getPropertyValue("--" + name).trim());
    if (before) root.dataset.dress = before;
    return found;
  }
  function table(to) {
    if (!tables) {
      const light = palette("light"), night = palette("dark");
      tables = { dark: {}, light: {} };
      light.forEach((colour, i) => { tables.dark[colour] = night[i]; tables.light[night[i]] = colour; });
    }
    return tables[to];
  }
  /* A copy in other colours; data stay the same arrays. */
  function dyed(value, partners) {
    if (typeof value === "string") {
      if (value[0] === "#" || value.startsWith("rgba(")) return partners[value] || value;
      if (value.includes("color:#")) return value.replace(/#[0-9a-f]{6}/g, (one) => partners[one] || one);
      return value;
    }
    if (Array.isArray(value)) return typeof value[0] === "number" ? value : value.map((one) => dyed(one, partners));
    if (value === null || typeof value !== "object" || ArrayBuffer.isView(value)) return value;
    const copy = {};
    for (const key of Object.keys(value)) copy[key] = DATA.has(key) && key !== "text" ? value[key] : dyed(value[key], partners);
    return copy;
  }
  const dressed = (part, to) => (part ? dyed(part, table(to)) : part);

  /* Zoom: plotly gives it up when the range of an axis moves, as it does with every new bore. What a person
     chose is kept for as long as the same thing is asked (uirevision); a reset goes to what is new. */
  const axes = (layout) => Object.keys(layout || {}).filter((key) => /^[xy]axis\d*$/.test(key));
  const rangeOf = (axis) => (Array.isArray(axis.range) ? axis.range.slice() : null);
  const same = (axis, one, other) => {
    const span = Math.abs(axis.r2l(one[1]) - axis.r2l(one[0])) || 1;
    return [0, 1].every((i) => Math.abs(axis.r2l(one[i]) - axis.r2l(other[i])) < 1e-6 * span);
  };
  /* What range the server gave each axis, null where plotly finds it, and where a person zoomed away from what
     it gave before. Dash draws a figure again after every zoom with the zoom written into it: that is no news,
     so the older gift stands. */
  function weighed(drawn, layout) {
    const before = drawn && drawn.cellmonGiven, full = drawn && drawn._fullLayout;
    const ranges = Object.fromEntries(axes(layout).map((key) => [key, rangeOf(layout[key])])), zooms = {};
    if (before && full && layout.uirevision !== undefined && before.asked === layout.uirevision) {
      for (const key of axes(layout)) {
        const axis = full[key], given = before.ranges[key];
        if (!axis || given === undefined) continue;
        if (given ? same(axis, axis.range, given) : axis.autorange) continue;
        zooms[key] = axis.range.slice();
        if (ranges[key] && same(axis, axis.range, ranges[key])) ranges[key] = given;
      }
    }
    return { asked: layout.uirevision, ranges, zooms };
  }
  function zoomed(layout, zooms) {
    const copy = { ...layout }; // plotly writes into the axes it is given
    for (const key of axes(layout)) {
      const range = rangeOf(layout[key]);
      copy[key] = range ? { ...layout[key], range } : { ...layout[key] };
    }
    for (const key of Object.keys(zooms)) Object.assign(copy[key], { range: zooms[key], autorange: false });
    return copy;
  }
  function remember(drawn, given) {
    drawn.cellmonGiven = given;
    for (const key of Object.keys(given.zooms)) {
      const axis = drawn._fullLayout[key];
      const range = given.ranges[key];
      if (!axis) continue;
      [axis._rangeInitial0, axis._rangeInitial1] = range || [];
      if (!range) axis._autorangeInitial = true;
    }
  }
  const moment = () => new Promise((done) => setTimeout(done, 100));

  /* Plotly comes late; whoever draws with it draws in what the page wears, and waits while a person drags. */
  let plotly;
  /* Numbers and days on axes and the names of a drawing's buttons, as the server handed them over. */
  function told(given) {
    const drawnAs = document.getElementById("drawn-as");
    if (!drawnAs) return;
    given.register({ moduleType: "locale", name: "site", ...JSON.parse(drawnAs.textContent) });
    given.setPlotConfig({ locale: "site" });
  }
  function wrapped(given) {
    const draw = (name) => async (where, what, layout, config) => {
      const figure = Array.isArray(what) ? { data: what, layout: layout || {}, config } : { ...what, layout: what.layout || {} };
      const drawn = typeof where === "string" ? document.getElementById(where) : where;
      while (drawn && drawn._dragging) await moment();
      const gift = weighed(name === "react" ? drawn : null, figure.layout);
      const shown = { ...figure, layout: zoomed(figure.layout, gift.zooms) };
      const night = worn() === "dark";
      const done = await given[name](
        where, night ? { ...shown, data: dressed(shown.data, "dark"), layout: dressed(shown.layout, "dark") } : shown,
      );
      if (drawn && drawn._fullLayout) remember(drawn, gift);
      return done;
    };
    return Object.assign(Object.create(given), { newPlot: draw("newPlot"), react: draw("react"), plain: given });
  }
  Object.defineProperty(window, "Plotly", {
    configurable: true,
    get: () => plotly,
    set: (given) => {
      if (given && given.register) told(given);
      plotly = given && given.react ? wrapped(given) : given;
    },
  });

  function wear(dress) {
    const before = worn();
    root.dataset.dress = dress;
    root.style.colorScheme = dress;
    document.querySelectorAll("#dress").forEach(label);
    if (!before || before === dress || !plotly) return;
    document.querySelectorAll(".js-plotly-plot").forEach((drawn) => {
      plotly.plain.react(drawn, dressed(drawn.data, dress), dressed(drawn.layout, dress));
    });
  }
  function label(button) {
    button.textContent = worn() === "dark" ? button.dataset.light : button.dataset.dark;
  }

  /* A figure as it is saved: light, zoomed as it stands. */
  window.cellmonDress = {
    label: () => document.querySelectorAll("#dress").forEach(label),
    light: (drawn) => ({ data: dressed(drawn.data, "light"), layout: dressed(drawn.layout, "light") }),
  };

  wear(chosen() || device());
  dark.addEventListener("change", () => wear(chosen() || device()));
  let shown = null;
  window.addEventListener("beforeprint", () => { shown = worn(); wear("light"); });
  window.addEventListener("afterprint", () => { if (shown) wear(shown); });
  document.addEventListener("click", (event) => {
    if (!event.target.closest || !event.target.closest("#dress")) return;
    const other = worn() === "dark" ? "light" : "dark";
    keep(other);
    wear(other);
  });
})();
