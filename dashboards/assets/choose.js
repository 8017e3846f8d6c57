/* A choice out of a list hears quick keys: letters typed on it, open or closed, go into its search, and arrows and
   Enter that come before the list is made wait for it. What was held there is not heard again when it is let go. */
(function () {
  const FRAMES = 3; // after so many the list stands as it was asked for, and holds the focus
  const TENS = 40; // leaps of ten up to the search, so that an arrow down from it goes to the first found, not on from where it was
  const PATIENCE = 60; // frames that a slow machine may take to leave in the list only what was searched for
  const OPENS = new Set(["Enter", "ArrowDown"]);
  const GOES = new Set(["ArrowDown", "ArrowUp", "PageDown", "PageUp", "Home", "End", "Tab", "Enter"]);
  const setValue = Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set;
  const held = new Set();
  let waiting = [], frames = 0;
  let searched = false; // keys after letters go from the search, wherever the list has moved the focus since
  let patience = 0;

  const list = () => document.querySelector(".dash-dropdown-content");
  const search = () => document.querySelector(".dash-dropdown-content .dash-dropdown-search");
  const isLetter = (key) => key.length === 1;

  function settle() {
    const idle = !frames;
    frames = FRAMES;
    if (idle) requestAnimationFrame(step);
  }
  function step() {
    frames -= 1;
    if (frames) { requestAnimationFrame(step); return; }
    if (!list()) waiting = [];
    if (!waiting.length) return;
    hear();
    settle();
  }
  function isFound() {
    const words = search().value.toLowerCase().split(/\s+/);
    const shown = [...list().querySelectorAll(".dash-options-list-option")].map((option) => option.textContent.toLowerCase());
    return shown.every((text) => words.every((word) => text.includes(word)));
  }
  function hear() {
    const field = search();
    let text = "";
    while (waiting.length && isLetter(waiting[0])) text += waiting.shift();
    if (text) {
      if (!field) return;
      field.focus();
      setValue.call(field, field.value + text);
      field.dispatchEvent(new Event("input", { bubbles: true }));
      searched = true;
      patience = PATIENCE / FRAMES;
      return;
    }
    if (searched && field) {
      patience -= 1;
      if (patience > 0 && !isFound()) return;
      if (document.activeElement !== field) { field.focus(); return; }
    }
    searched = false;
    const key = waiting.shift();
    if (key === "ArrowDown" && document.activeElement === field) for (let i = 0; i < TENS; i += 1) press("PageUp");
    press(key);
  }
  function press(key) {
    const at = document.activeElement;
    if (!list() || !list().contains(at)) return;
    ["keydown", "keyup"].forEach((kind) => at.dispatchEvent(new KeyboardEvent(kind, { key, bubbles: true, cancelable: true })));
  }

  function takes(event, at) {
    const { key } = event, field = search();
    if (at.tagName === "BUTTON") return OPENS.has(key) || (isLetter(key) && (key !== " " || frames > 0)) || (frames > 0 && GOES.has(key));
    if (isLetter(key)) return field && (event.target === field ? waiting.length > 0 : key !== " " || frames > 0 || field.value !== "");
    return GOES.has(key) && (frames > 0 || (key === "ArrowDown" && event.target === field));
  }
  document.addEventListener("keydown", (event) => {
    const at = event.isTrusted && event.target.closest && event.target.closest("button.dash-dropdown, .dash-dropdown-content");
    if (!at || event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    if (event.key === "Escape") waiting = [];
    if (event.target === search()) { searched = true; settle(); }
    if (!takes(event, at)) return;
    event.preventDefault();
    event.stopPropagation();
    held.add(event.key);
    const closed = at.tagName === "BUTTON" && at.getAttribute("aria-expanded") !== "true";
    if (closed) searched = false;
    if (closed && !frames) at.click();
    if (!closed || frames || !OPENS.has(event.key)) waiting.push(event.key);
    settle();
  }, true);
  document.addEventListener("keyup", (event) => {
    if (!event.isTrusted || !event.target.closest) return;
    const late = event.target.closest("button.dash-dropdown") && (OPENS.has(event.key) || isLetter(event.key));
    if (held.delete(event.key) || (late && event.key !== " ")) event.stopPropagation();
  }, true);
})();
