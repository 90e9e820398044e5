// What a choice changes is shown at once: the form is sent, and what was seen is replaced. Without this, a button does.
"use strict";
(() => {
  const form = document.querySelector("[data-export]");
  if (!form) return;
  let asked = null, reads = false;
  function settle() {
    for (const plain of form.querySelectorAll("[data-plain]")) plain.hidden = true;
  }
  async function show(submitter, leads) {
    asked?.abort();
    asked = new AbortController();
    const body = new URLSearchParams(new FormData(form, submitter));
    const answer = await fetch("/export", { method: "POST", body, signal: asked.signal }).catch(() => null);
    if (!answer) return;
    if (answer.redirected) { location.href = answer.url; return; }
    // Its style is another page's, which this one would refuse aloud.
    const main = (await answer.text()).replace(/^[^]*?(?=<main)/, "");
    const seen = new DOMParser().parseFromString(main, "text/html").querySelector("[data-seen]");
    if (!seen) { HTMLFormElement.prototype.submit.call(form); return; }
    const old = form.querySelector("[data-seen]"), focused = document.activeElement?.id;
    for (const fold of old.querySelectorAll("details[open]")) {
      const same = fold.id && seen.querySelector(`#${fold.id}`);
      if (same) same.open = true;
    }
    old.replaceWith(document.adoptNode(seen));
    settle();
    // Whoever hears the page hears what a choice changed: what is wrong with it, or the first reading.
    const effect = seen.querySelector("[role=alert]") ?? seen.querySelector("[data-first]");
    form.querySelector("[data-effect]").textContent = leads ? "" : (effect?.textContent ?? "");
    const next = leads ? form.querySelector("[data-next]") : focused && document.getElementById(focused);
    next?.focus({ preventScroll: !leads });
    if (leads) next?.scrollIntoView({ block: "nearest" });
  }
  form.addEventListener("change", (event) => {
    // Names of files change nothing of what is seen.
    if (!["out", "profile_name"].includes(event.target.name)) show(null, false);
  });
  form.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (reads) { event.preventDefault(); return; }
    if (button?.hasAttribute("data-reads")) {
      reads = true;
      form.querySelector("[data-reading]").textContent = "Reading it ... this page may be closed meanwhile.";
      return;
    }
    if (button?.hasAttribute("formaction")) return;
    event.preventDefault();
    show(button, true);
  });
  addEventListener("pageshow", () => { reads = false; });
  settle();
})();
