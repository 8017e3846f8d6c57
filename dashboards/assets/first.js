/* What the server said with the document stands where the page will say it, until the page says it itself. */
(function () {
  const STANDS = "#page .spindle .sentence, #page .lead, #page .notice", came = location.pathname;
  const said = () => [...document.querySelectorAll(STANDS)].some((one) => one.textContent);

  function gone() {
    const first = document.getElementById("first-said"), page = document.getElementById("page");
    if (first && (said() || location.pathname !== came)) first.remove();
    else if (first && page && page.previousElementSibling !== first) page.before(first);
    return !first || !first.isConnected;
  }
  if (gone()) return;
  const watch = new MutationObserver(() => { if (gone()) watch.disconnect(); });
  watch.observe(document.body, { childList: true, subtree: true, characterData: true });
})();
