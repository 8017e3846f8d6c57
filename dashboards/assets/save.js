/* What the browser does itself: saves a figure, names the page. Nothing is sent anywhere. */
/* The name of a picture: which drawing, what was asked of it, and the time it shows, or up to when all holds. */
function cellmonNamed(id, drawn) {
  const moment = (at) => String(at).replace(" ", "T").slice(0, 16).replace(":", "");
  const { meta, xaxis } = drawn._fullLayout, asked = (drawn.layout.meta || meta || {}).named;
  const dated = xaxis && xaxis.visible !== false && /^\d{4}-\d\d-\d\d/.test(xaxis.range[0]);
  const head = document.getElementById("as-of");
  const time = dated ? xaxis.range.map(moment).join("-to-") : moment(head ? head.dateTime : "");
  return ["cellmon", id, asked, time].filter(Boolean).join("-");
}
/* As it is zoomed now, in the colours of day: a saved picture goes onto paper. */
function cellmonSave(id, format) {
  const drawn = document.getElementById(id).querySelector(".js-plotly-plot");
  const size = { width: drawn.clientWidth, height: drawn.clientHeight, scale: format === "png" ? 2 : 1 };
  const picture = window.cellmonDress.light(drawn);
  window.Plotly.downloadImage(picture, Object.assign({ format: format, filename: cellmonNamed(id, drawn) }, size));
}
/* Buttons of drawings that come with an answer name the drawing themselves. */
document.addEventListener("click", (event) => {
  const button = event.target.closest && event.target.closest("[data-saves]");
  if (button) cellmonSave(button.dataset.saves, button.dataset.format);
});
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  cellmon: {
    save: function (svg, png, id) {
      const asked = window.dash_clientside.callback_context.triggered[0].prop_id;
      const format = asked.includes("-svg.") ? "svg" : "png";
      cellmonSave(id, format);
      return format;
    },
    /* A figure typed and its slider say the same; a comma may stand before decimals. */
    together: function (typed, slid) {
      const asked = window.dash_clientside.callback_context.triggered.map((t) => t.prop_id).join();
      const none = window.dash_clientside.no_update;
      if (asked.includes("-slider")) return [String(slid), none];
      const number = Number(String(typed ?? "").replace(",", "."));
      return [typed, String(typed ?? "").trim() !== "" && Number.isFinite(number) ? number : none];
    },
    /* Moves where a fold is open (true, or its button pressed an odd number of times) and where a press closed it. */
    wanted: function (opens) {
      const shuts = window.dash_clientside.callback_context.triggered.some((t) => t.prop_id.endsWith(".n_clicks"));
      return Number(opens) % 2 || shuts ? Date.now() : window.dash_clientside.no_update;
    },
    /* The title of the window, and which link of the frame is the page itself. */
    name: function (title) {
      document.title = title;
      document.querySelectorAll("#nav a").forEach((link) => {
        if (link.classList.contains("here")) link.setAttribute("aria-current", "page");
        else link.removeAttribute("aria-current");
      });
      window.cellmonDress.label();
      return title;
    },
  },
});
