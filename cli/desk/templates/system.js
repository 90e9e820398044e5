// What check-site says comes beside the fields as one types; what changes the form itself is done without leaving it.
"use strict";
(() => {
  const PAUSE_MS = 400;
  let form = document.querySelector("[data-system]"), timer = null, asked = 0, changed = false, sent = new Map();
  const status = () => form.querySelector("[role=status]");
  const controls = (within) => [...within.querySelectorAll("input:not([type=hidden]):not([type=checkbox]), select")];
  const stands = () => new Map(controls(form).map((each) => [each.name, each.value]));
  // What there is to fill in and to choose from, wherever it stands.
  const shape = (within) => controls(within).map((each) => [each.name, ...[...(each.options || [])].map((option) => option.value)].join("\n")).sort().join("\n\n");
  async function ask(what) {
    const fields = new URLSearchParams(new FormData(form)), turn = ++asked;
    sent = stands();
    fields.set("do", what);
    const answer = await fetch("/system", { method: "POST", body: fields }).catch(() => null);
    if (turn !== asked) return null;
    if (!answer || answer.status >= 500 || answer.status === 403) {
      status().textContent = "The desk does not answer; is it still open in its terminal? What you typed is still here.";
      return null;
    }
    if (answer.redirected) { changed = false; location.href = answer.url; return null; }
    // Only what is the page's own: its style and script stand here already.
    const text = await answer.text(), own = text.slice(text.indexOf("<main"), text.lastIndexOf("</main>"));
    return new DOMParser().parseFromString(own, "text/html");
  }
  // While somebody types only what is said changes; what they type in stays as it is.
  function say(page) {
    for (const place of form.querySelectorAll("[data-remarks]")) {
      const now = page.querySelector(`[data-remarks="${CSS.escape(place.dataset.remarks)}"]`);
      if (now && now.innerHTML !== place.innerHTML) place.innerHTML = now.innerHTML;
    }
    for (const field of form.querySelectorAll("[aria-describedby]")) {
      const now = field.id && page.getElementById(field.id);
      if (!now) continue;
      for (const name of ["aria-invalid", "aria-describedby", "data-odd"]) {
        if (now.hasAttribute(name)) field.setAttribute(name, now.getAttribute(name)); else field.removeAttribute(name);
      }
    }
    for (const fold of form.querySelectorAll("details")) if (fold.querySelector(".mistake, .look-again")) fold.open = true;
  }
  function take(page, focus) {
    const next = page.querySelector("[data-system]");
    if (!next) return;
    // An item that stood open stays so, also where it has become one of many.
    const open = [...form.querySelectorAll("details[open], fieldset.item")].map((fold) => fold.id), at = scrollY;
    const alert = page.querySelector("main > [role=alert]"), old = document.querySelector("main > [role=alert]");
    if (old) old.remove();
    const was = document.activeElement, caret = was && was.selectionStart, now = stands();
    form.replaceWith(document.adoptNode(next));
    form = next;
    // What was typed since it was sent is the newer.
    for (const each of controls(form)) if (now.has(each.name) && now.get(each.name) !== sent.get(each.name)) each.value = now.get(each.name);
    if (alert) form.before(document.adoptNode(alert));
    for (const id of open) if (document.getElementById(id)) document.getElementById(id).open = true;
    ready();
    scrollTo(scrollX, at);
    const place = focus && document.getElementById(focus);
    if (place) place.focus({ preventScroll: true });
    if (place && was && place.id === was.id && typeof caret === "number") place.setSelectionRange(caret, caret);
    if (alert) { alert.tabIndex = -1; alert.focus(); alert.scrollIntoView({ block: "center" }); }
  }
  async function live(reshape) {
    clearTimeout(timer);
    const page = await ask("live");
    if (!page) return;
    const next = reshape && page.querySelector("[data-system]");
    if (next && shape(next) !== shape(form)) take(page, document.activeElement && document.activeElement.id); else say(page);
  }
  async function whole(what, focus) {
    clearTimeout(timer);
    const page = await ask(what);
    if (!page) return;
    take(page, focus);
    if (what.startsWith("add:")) {
      const items = form.querySelectorAll(`[id^="item-${what.slice(4)}-"]`), last = items[items.length - 1];
      if (last) { last.scrollIntoView({ block: "nearest" }); last.querySelector("input:not([type=hidden])").focus(); }
    }
  }
  function ready() {
    form.querySelector("[data-check]").hidden = true;
    form.addEventListener("input", () => { changed = true; clearTimeout(timer); timer = setTimeout(() => live(false), PAUSE_MS); });
    form.addEventListener("change", (event) => {
      if (!event.target.matches("[data-whole]")) return;
      // By the next turn the focus has moved on, if it does.
      setTimeout(() => live(true));
    });
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const what = event.submitter ? event.submitter.value : "check";
      if (what.startsWith("add:") || what.startsWith("remove:") || what.startsWith("write:")) changed = true;
      whole(what, document.activeElement && document.activeElement.id);
    });
  }
  // Units of one kind are chosen once: what is still open follows.
  document.addEventListener("change", (event) => {
    const chosen = event.target;
    if (!chosen.name || !chosen.name.endsWith(":unit") || !chosen.value) return;
    const kind = (each) => [...each.options].map((option) => option.value).filter(Boolean).join();
    for (const each of form.querySelectorAll("select[name$=':unit']")) if (!each.value && kind(each) === kind(chosen)) each.value = chosen.value;
  });
  addEventListener("beforeunload", (event) => { if (changed) event.preventDefault(); });
  ready();
  const saved = document.querySelector("[data-saved]");
  if (saved) saved.focus();
})();
