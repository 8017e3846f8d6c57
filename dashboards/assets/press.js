/* No press is lost while what is pressed is drawn anew. An entry of a list (`data-pick`) is heard by its list
   (`data-picks` names the store that holds the choice), which stays; and a press that began on what was
   replaced under the finger goes to what stands in its place and says the same. */
(function () {
  const PRESSED = "a[href], button, summary, label";
  const NEAR_PX = 12, PATIENCE = 60;
  let down = null;

  const pressed = (node) => (node && node.closest ? node.closest(PRESSED) : null);
  const says = (one) => [one.tagName, one.id, one.getAttribute("href"), one.dataset.pick, one.textContent].join("\n");

  function pick(node) {
    const entry = node.closest("[data-pick]"), list = entry && entry.closest("[data-picks]");
    if (list) window.dash_clientside.set_props(list.dataset.picks, { data: entry.dataset.pick });
  }
  document.addEventListener("pointerdown", (event) => {
    const one = event.isPrimary && event.button === 0 ? pressed(event.target) : null;
    down = one && { one, said: says(one), x: event.clientX, y: event.clientY };
  }, true);
  document.addEventListener("pointercancel", () => { down = null; }, true);
  document.addEventListener("click", (event) => {
    if (down && pressed(event.target)) down = null;
    if (event.target.closest) pick(event.target);
  }, true);
  document.addEventListener("pointerup", (event) => {
    const began = down;
    if (!began || Math.hypot(event.clientX - began.x, event.clientY - began.y) > NEAR_PX) return;
    setTimeout(() => {
      if (down !== began) return; // it was heard
      down = null;
      const now = pressed(document.elementFromPoint(event.clientX, event.clientY));
      if (!began.one.isConnected && now && says(now) === began.said) now.click();
    }, PATIENCE);
  }, true);
})();
