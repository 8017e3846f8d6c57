/* Signing in where one stands: the form of the page /sign-in comes into the bar at the foot, so that what is
   written on this page stays; whoever has signed in is led back to where they were. */
(function () {
  let coming = null, before = null;
  const place = () => document.getElementById("bar-way-in");

  function hold(page, who) {
    const form = page.querySelector("form.sign-in");
    if (!form || !place()) return;
    const { name, password } = form.elements;
    name.removeAttribute("autofocus"); // nobody is taken out of what they write
    password.removeAttribute("autofocus");
    name.value = name.value || who || "";
    form.addEventListener("submit", (event) => { event.preventDefault(); send(form); });
    form.addEventListener("focusin", (event) => {
      if (event.relatedTarget && !form.contains(event.relatedTarget)) before = event.relatedTarget;
    });
    place().replaceChildren(...page.querySelectorAll("[role=alert]"), form);
  }
  const read = async (got) => new DOMParser().parseFromString(await got.text(), "text/html");

  async function send(form) {
    const body = new URLSearchParams(new FormData(form)), button = form.querySelector("button");
    button.disabled = true;
    try {
      const got = await fetch(form.action, { method: "POST", body, redirect: "manual" });
      if (got.type !== "opaqueredirect") {
        hold(await read(got));
        enter();
      } else document.dispatchEvent(new Event("cellmon-ask"));
    } catch { /* the bar says that no answer came */ } finally { button.disabled = false; }
  }
  function enter() {
    const form = place() && place().querySelector("form");
    if (form) (form.elements.name.value ? form.elements.password : form.elements.name).focus();
    return !!form;
  }

  window.cellmonWayIn = {
    async open(who) { // once, whoever asks; whoever asks meanwhile waits for the same
      if (!place() || place().firstChild) return;
      coming = coming || fetch("/sign-in", { cache: "no-store" }).then(read).then((page) => hold(page, who)).catch(() => {});
      await coming;
      coming = null;
    },
    enter,
    close() { // somebody is signed in
      if (!place() || !place().firstChild) return;
      const back = place().contains(document.activeElement) ? before : null;
      place().replaceChildren();
      before = null;
      if (back && back.isConnected) back.focus();
    },
  };
})();
