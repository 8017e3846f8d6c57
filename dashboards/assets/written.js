/* What a person wrote is taken out of a form once it is kept: only what still stands as it was sent, and
   nothing from a field in which somebody writes. And all of it at once when the form is about another thing. */
(function () {
  const about = new Map(), laid = new Map(); // of each form its thing, and its words: others where the page came anew
  const told = (what) => JSON.stringify(what ?? "");
  const writes = (id) => document.activeElement && document.activeElement.id === id;
  const none = () => window.dash_clientside.no_update;

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.cellmon = Object.assign({}, window.dash_clientside.cellmon, {
    takenOut: function (kept, ...now) {
      return now.map((value, i) => {
        if (!kept) return none();
        const [id, sent, empty] = kept[i];
        return told(value) === told(sent) && !writes(id) ? empty : none();
      });
    },
    emptied: function (other, ...now) {
      const form = window.dash_clientside.callback_context.outputs_list.at(-1).id;
      const words = document.getElementById(form);
      const same = about.get(form) === other && laid.get(form) === words; // asked again, not chosen anew
      about.set(form, other);
      laid.set(form, words);
      return [...now.map((value) => (Array.isArray(value) ? [] : "")), ""].map((empty) => (same ? none() : empty));
    },
  });
})();
