// Shows the page in steps on a wall: arrows, space, Home and End lead through them, Esc leads back.
(() => {
  "use strict";
  const COUNTS = ["no", "one", "two", "three", "four", "five"];
  const figureOf = (step) => step.dataset.figure && document.querySelector(`[data-step="${step.dataset.figure}"] svg`);
  // A step that would hold nothing but a figure which this page has not is left out.
  const steps = [...document.getElementById("steps").content.children]
    .filter((step) => step.children.length > 1 || figureOf(step));
  const button = document.createElement("button");
  button.type = "button";
  button.className = "show-steps";
  button.textContent = `Show in ${COUNTS[steps.length]} steps`;
  button.addEventListener("click", () => begin());
  document.querySelector("body > header").append(button);

  function made(name, text, parent) {
    const node = document.createElement(name);
    node.textContent = text;
    parent.append(node);
    return node;
  }

  // A drawing refers to parts of itself by their ids, which a clone must have for itself.
  function cloned(svg) {
    const copy = svg.cloneNode(true);
    for (const node of [copy, ...copy.querySelectorAll("*")]) {
      for (const attribute of node.attributes) {
        if (attribute.name === "id") attribute.value = `step-${attribute.value}`;
        else attribute.value = attribute.value.replace(/url\(#/g, "url(#step-").replace(/^#(?=[A-Za-z])/, "#step-");
      }
    }
    return copy;
  }

  function filled(step) {
    const section = step.cloneNode(true);
    const svg = figureOf(step);
    if (svg) {
      const figure = document.createElement("figure");
      figure.append(cloned(svg));
      const caption = svg.closest("figure").querySelector("figcaption");
      // A figure of one log among several says of which.
      const log = svg.closest(".log")?.querySelector(".log-title");
      if (caption) made("figcaption", (log ? `${log.textContent}: ` : "") + caption.textContent, figure);
      section.querySelector("h2").after(figure);
    }
    return section;
  }

  async function begin() {
    // Where a browser does not allow the whole screen, its window is filled.
    try { await document.documentElement.requestFullscreen(); } catch { /* the window, then */ }
    const whole = Boolean(document.fullscreenElement);
    const dialog = document.createElement("dialog");
    dialog.className = "steps";
    dialog.setAttribute("aria-label", button.textContent.replace("Show in", "In"));
    const body = dialog.appendChild(document.createElement("div"));
    body.className = "step";
    const hold = dialog.appendChild(document.createElement("div"));
    hold.className = "hold";
    const where = made("p", "", hold);
    where.setAttribute("aria-live", "polite");
    const back = made("button", "Back", hold), next = made("button", "Next", hold), leave = made("button", "Leave", hold);
    let at = 0;

    function show(wanted) {
      at = Math.max(0, Math.min(steps.length - 1, wanted));
      const section = filled(steps[at]);
      body.replaceChildren(section);
      const heading = section.querySelector("h2");
      heading.tabIndex = -1;
      where.textContent = `Step ${at + 1} of ${steps.length}: ${heading.textContent}`;
      back.disabled = at === 0;
      next.disabled = at === steps.length - 1;
      heading.focus();
      dialog.scrollTop = 0;
    }

    const keys = {
      ArrowRight: () => at + 1, PageDown: () => at + 1, " ": () => at + 1,
      ArrowLeft: () => at - 1, PageUp: () => at - 1, Home: () => 0, End: () => steps.length - 1,
    };
    dialog.addEventListener("keydown", (event) => {
      const pressed = event.key === " " && event.target.closest("button");
      if (pressed || event.ctrlKey || event.altKey || event.metaKey || !(event.key in keys)) return;
      event.preventDefault();
      show(keys[event.key]());
    });
    back.addEventListener("click", () => show(at - 1));
    next.addEventListener("click", () => show(at + 1));
    leave.addEventListener("click", () => dialog.close());
    // Esc takes the whole screen away first, and says so by this alone.
    const left = () => { if (whole && !document.fullscreenElement) dialog.close(); };
    document.addEventListener("fullscreenchange", left);
    dialog.addEventListener("close", () => {
      document.removeEventListener("fullscreenchange", left);
      if (document.fullscreenElement) document.exitFullscreen();
      dialog.remove();
      button.focus();
    });
    document.body.append(dialog);
    dialog.showModal();
    show(0);
  }
})();
