/* In which unit lengths are said: kept in a cookie, since the server writes them; what the sheet says is not kept. */
(function () {
  const KEPT = "cellmon-lengths";
  const choice = () => document.getElementById("lengths");
  const kept = () => (document.cookie.match(/(?:^|; )cellmon-lengths=(\w+)/) || [])[1];

  function label() {
    const here = choice();
    if (here && !here.dataset.labelled) {
      here.value = kept() || here.dataset.sheet;
      here.dataset.labelled = "yes";
    }
  }
  document.addEventListener("change", (event) => {
    const here = choice();
    if (!here || event.target !== here) return;
    const age = here.value === here.dataset.sheet ? 0 : 31536000;
    document.cookie = `${KEPT}=${here.value}; path=/; max-age=${age}; SameSite=Lax`;
    window.dash_clientside.set_props("again", { data: Date.now() });
  });
  new MutationObserver(label).observe(document.documentElement, { childList: true, subtree: true });
  label();
})();
