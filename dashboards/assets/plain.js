/* What a page only shows comes as one element (`dashboards/plain.py`): a tree of tags, properties and words, put
   up as it is. */
(function () {
  const kind = (tag) => (tag === "Link" ? window.dash_core_components.Link : tag);
  function put(one) {
    if (!Array.isArray(one)) return one;
    const [tag, given, ...inside] = one;
    return window.React.createElement(kind(tag), given, ...inside.map(put));
  }
  const Plain = ({ tree }) => window.React.createElement(window.React.Fragment, null, ...tree.map(put));
  window.cellmon = { Plain };
})();
