/* A drop that is too large is refused in words before it is read; one that misses its box opens nothing. */
(function () {
  function box() { return document.getElementById("files-drop"); }
  function refuse(event, files) {
    const here = box();
    let size = 0;
    for (const file of files) size += file.size;
    if (!here || !here.contains(event.target) || size <= Number(here.dataset.most)) return false;
    event.preventDefault();
    event.stopImmediatePropagation();
    window.dash_clientside.set_props(here.dataset.said, { children: here.dataset.tooLarge });
    return true;
  }
  document.addEventListener("change", (event) => {
    if (event.target.type === "file" && refuse(event, event.target.files || [])) event.target.value = "";
  }, true);
  document.addEventListener("drop", (event) => {
    if (!box()) return;
    if (refuse(event, event.dataTransfer ? event.dataTransfer.files : [])) return;
    if (!box().contains(event.target)) event.preventDefault();
  }, true);
  document.addEventListener("dragover", (event) => {
    if (box() && !box().contains(event.target)) event.preventDefault();
  }, true);
})();
