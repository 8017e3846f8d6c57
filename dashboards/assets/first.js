/* What the server said with the document stands until the page says it itself. */
(function () {
  function gone() {
    const first = document.getElementById("first-said");
    if (first && document.querySelector("#page .spindle .sentence, #page .lead, #page .notice")) first.remove();
    return !document.getElementById("first-said");
  }
  if (gone()) return;
  const watch = new MutationObserver(() => { if (gone()) watch.disconnect(); });
  watch.observe(document.body, { childList: true, subtree: true });
})();
