/* Saves a figure as it stands, in the browser; nothing is sent anywhere. */
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  cellmon: {
    save: function (svg, png, id) {
      const asked = window.dash_clientside.callback_context.triggered[0].prop_id;
      const format = asked.includes("-svg.") ? "svg" : "png";
      const drawn = document.getElementById(id).querySelector(".js-plotly-plot");
      const size = { width: drawn.clientWidth, height: drawn.clientHeight, scale: format === "png" ? 2 : 1 };
      window.Plotly.downloadImage(drawn, Object.assign({ format: format, filename: id }, size));
      return format;
    },
  },
});
