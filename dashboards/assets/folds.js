/* What a person folded or unfolded stays so where it is drawn anew: it is known by its name (`data-fold`). And
   what is asked for only while it is open tells that it is, in the store it names (`data-tells`). */
(function () {
  const left = new Map();

  document.addEventListener("click", (event) => {
    const summary = event.target.closest && event.target.closest("summary");
    const fold = summary && summary.parentElement;
    if (fold && fold.dataset.fold) left.set(fold.dataset.fold, !fold.open); // it opens or closes after the click
  });
  document.addEventListener("toggle", (event) => {
    const { dataset, open } = event.target;
    if (dataset && dataset.tells) window.dash_clientside.set_props(dataset.tells, { data: open });
  }, true);
  new MutationObserver(() => {
    document.querySelectorAll("details[data-fold]").forEach((fold) => {
      const open = left.get(fold.dataset.fold);
      if (open !== undefined && fold.open !== open) fold.open = open;
    });
  }).observe(document.documentElement, { subtree: true, childList: true });
})();
