/* The screen above the cell: Now without the frame, larger, awake, and never quite in the same place. */
(function () {
  const root = document.documentElement;
  const STEPS = [[0, 0], [6, 2], [10, 8], [4, 10], [-4, 8], [-10, 4], [-8, -4], [-2, -8], [6, -6]];
  let awake = null, step = 0;

  const wanted = () => location.pathname === "/" && new URLSearchParams(location.search).has("screen");
  async function stayAwake() {
    try { awake = await navigator.wakeLock.request("screen"); } catch { awake = null; }
  }
  function follow() {
    const on = wanted();
    if (on === root.hasAttribute("data-screen")) return;
    root.toggleAttribute("data-screen", on);
    if (on) stayAwake();
    else { root.style.removeProperty("--aside"); root.style.removeProperty("--down"); if (awake) awake.release(); }
    window.dispatchEvent(new Event("resize"));
  }
  /* What stands still for weeks burns in: once a minute everything moves by a few pixels. */
  setInterval(() => {
    if (!root.hasAttribute("data-screen")) return;
    step = (step + 1) % STEPS.length;
    root.style.setProperty("--aside", STEPS[step][0] + "px");
    root.style.setProperty("--down", STEPS[step][1] + "px");
  }, 60000);

  function leave() {
    if (document.fullscreenElement) document.exitFullscreen();
    history.replaceState(null, "", location.pathname);
    follow();
  }
  document.addEventListener("click", (event) => {
    if (!event.target.closest) return;
    if (event.target.closest("#screen-on")) {
      history.pushState(null, "", "/?screen");
      if (root.requestFullscreen) root.requestFullscreen().catch(() => {});
      follow();
    } else if (event.target.closest("#screen-off")) leave();
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && root.hasAttribute("data-screen")) leave();
  });
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && root.hasAttribute("data-screen")) stayAwake();
  });
  window.addEventListener("popstate", follow);
  follow();
})();
