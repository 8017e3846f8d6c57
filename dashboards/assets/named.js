/* What Dash and plotly leave unsaid to a screen reader or out of reach of the keyboard, put right as it comes:
   choices are plain radio buttons and boxes in a named group, a dropdown is one button with its own name, and
   the strokes of a drawing are silent, because the words beside it say what it shows. */
(function () {
  const silent = (drawing) => {
    drawing.setAttribute("aria-hidden", "true");
    drawing.setAttribute("focusable", "false");
  };
  const without = (part, ...names) => names.forEach((name) => part.hasAttribute(name) && part.removeAttribute(name));

  function mend(root) {
    root.querySelectorAll(".dash-radioitems, .dash-checklist").forEach((list) => {
      without(list, "role");
      list.querySelectorAll("[role=option]").forEach((choice) => without(choice, "role", "aria-selected"));
      list.querySelectorAll("label[aria-selected]").forEach((choice) => without(choice, "aria-selected"));
    });
    root.querySelectorAll(".dash-dropdown-wrapper").forEach((wrapper) => {
      const stop = wrapper.querySelector(".dash-dropdown-focus-target");
      const button = wrapper.querySelector("button.dash-dropdown");
      if (stop && stop.tabIndex !== -1) stop.tabIndex = -1;
      if (!button) return;
      if (button.tabIndex !== 0) button.tabIndex = 0;
      const named = `${button.id}-name ${button.id}-value`;
      if (document.getElementById(`${button.id}-name`) && button.getAttribute("aria-labelledby") !== named) {
        button.setAttribute("aria-labelledby", named);
      }
    });
    root.querySelectorAll("input[type=file]:not([aria-label])").forEach((input) => {
      const words = (input.closest("[id]") || input.parentElement).textContent.trim();
      if (words) input.setAttribute("aria-label", words);
    });
    root.querySelectorAll(".dash-slider-thumb:not([aria-label])").forEach((thumb) => {
      const field = thumb.closest("label, fieldset, .field, [role=group]");
      const words = field && (field.querySelector("legend, span") || field).textContent.trim();
      if (words) thumb.setAttribute("aria-label", words);
    });
    root.querySelectorAll("svg.main-svg:not([aria-hidden]), .gl-container:not([aria-hidden])").forEach(silent);
  }

  let asked = false;
  const soon = () => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(() => { asked = false; mend(document); });
  };
  new MutationObserver(soon).observe(document.documentElement, {
    subtree: true, childList: true, attributes: true,
    attributeFilter: ["role", "aria-selected", "tabindex", "aria-labelledby"],
  });
})();
