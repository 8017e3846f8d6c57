/* A press that was not heard is told beside what was pressed: nobody is signed in any more, the store or the
   server is away, or what was sent was refused before a page saw it. */
(function () {
  const UPDATE = "/_dash-update-component", PRESSED = /\.(n_clicks|n_submit|contents)$|^bore-done\.data$/;
  const plain = window.fetch;
  const words = (name) => (document.getElementById("bar") || { dataset: {} }).dataset[name] || "";
  const set = (id, props) => window.dash_clientside.set_props(id, props);

  function tell(sent, said) {
    for (const { id } of [sent.outputs].flat()) {
      const one = typeof id === "string" && document.getElementById(id);
      if (one && one.getAttribute("role") === "status") set(id, { children: said });
    }
  }
  function unheard(body, why) {
    const sent = JSON.parse(body), presses = (sent.changedPropIds || []).filter((one) => PRESSED.test(one));
    document.dispatchEvent(new CustomEvent("cellmon-unheard", { detail: { changed: sent.changedPropIds, why } }));
    if (!presses.length) return;
    const dropped = presses.filter((one) => one.endsWith(".contents")).map((one) => one.split(".")[0]);
    dropped.forEach((id) => set(id, { contents: null })); // so that the same file can be handed over again
    tell(sent, dropped.length && why === words("notKept") ? words("notTaken") : why);
    if (why === words("notKept")) document.dispatchEvent(new CustomEvent("cellmon-ask", { detail: "enter" }));
  }
  async function why(got) {
    if (got.status === 401) return words("notKept");
    const said = await got.clone().json().catch(() => ({}));
    return words("refused").replace("{why}", said.error || got.statusText);
  }

  window.fetch = async function (where, how) {
    const asks = String(where.url || where).includes(UPDATE) && how && typeof how.body === "string";
    if (!asks) return plain.call(this, where, how);
    const got = await plain.call(this, where, how).catch(() => null);
    if (got && got.ok) return got;
    unheard(how.body, got ? await why(got) : words("noAnswer"));
    return new Response(null, { status: 204 }); // to Dash: nothing changes
  };
})();
