/* What a person wrote is taken out of a form once it is kept: only what still stands as it was sent, and
   nothing from a field in which somebody writes. */
window.dash_clientside = window.dash_clientside || {};
window.dash_clientside.cellmon = Object.assign({}, window.dash_clientside.cellmon, {
  takenOut: function (kept, ...now) {
    const none = window.dash_clientside.no_update;
    const told = (what) => JSON.stringify(what ?? "");
    const writes = (id) => document.activeElement && document.activeElement.id === id;
    return now.map((value, i) => {
      if (!kept) return none;
      const [id, sent, empty] = kept[i];
      return told(value) === told(sent) && !writes(id) ? empty : none;
    });
  },
});
