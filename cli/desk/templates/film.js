// Boxes are drawn on a moment of the film, and what is read in each is asked for at once. Without this, they are typed.
"use strict";
(() => {
  const form = document.querySelector("[data-film]");
  if (!form) return;
  const picture = form.querySelector("[data-picture]"), image = picture.querySelector("img"), svg = picture.querySelector("svg");
  const wide = Number(picture.dataset.wide), high = Number(picture.dataset.high), least = 8;
  const corners = ["top left", "top right", "bottom right", "bottom left"];
  const sets = [...form.querySelectorAll("[data-box]")], hint = form.querySelector("[data-hint]");
  let drawn = null, asked = null, waits = null;
  const field = (set) => set.querySelector("[name=corners]"), says = (set) => form.querySelector(`#says-${set.dataset.box}`);
  function box(set) {
    const numbers = (field(set).value.match(/-?\d+(\.\d+)?/g) ?? []).map(Number);
    return numbers.length === 8 ? corners.map((_, k) => [numbers[2 * k], numbers[2 * k + 1]]) : null;
  }
  function put(set, points) {
    const within = (value, most) => Math.round(10 * Math.min(Math.max(value, 0), most)) / 10;
    field(set).value = points.map(([x, y]) => `${within(x, wide)},${within(y, high)}`).join(" ");
    paint();
  }
  function place(event) {
    const at = picture.getBoundingClientRect();
    return [(event.clientX - at.left) / at.width * wide, (event.clientY - at.top) / at.height * high];
  }
  function handle(set, k) {
    const name = `corner-${set.dataset.box}-${k}`;
    let button = picture.querySelector(`#${name}`);
    if (button) return button;
    button = Object.assign(document.createElement("button"), { type: "button", id: name, className: "corner" });
    button.addEventListener("pointerdown", (event) => { event.stopPropagation(); button.setPointerCapture(event.pointerId); });
    button.addEventListener("pointermove", (event) => {
      if (button.hasPointerCapture(event.pointerId)) moveCorner(set, k, place(event));
    });
    button.addEventListener("pointerup", ask);
    button.addEventListener("keydown", (event) => {
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!way) return;
      event.preventDefault();
      const step = event.shiftKey ? 10 : 1, [x, y] = box(set)[k];
      moveCorner(set, k, [x + step * way[0], y + step * way[1]]);
      askSoon();
    });
    picture.append(button);
    return button;
  }
  function moveCorner(set, k, point) {
    const points = box(set);
    points[k] = point;
    put(set, points);
  }
  // What is shown over the picture: each box, its number and what is read in it, and its corners to be moved.
  function paint() {
    svg.replaceChildren();
    const add = (name, kind, attributes) => {
      const element = document.createElementNS("http://www.w3.org/2000/svg", name);
      element.setAttribute("class", kind);
      for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
      return svg.appendChild(element);
    };
    const scale = wide / (picture.clientWidth || wide);
    for (const set of sets) {
      const points = box(set), state = says(set).dataset.state;
      corners.forEach((name, k) => {
        if (!points) { picture.querySelector(`#corner-${set.dataset.box}-${k}`)?.remove(); return; }
        const button = handle(set, k), [x, y] = points[k];
        button.style.left = `${100 * x / wide}%`;
        button.style.top = `${100 * y / high}%`;
        button.setAttribute("aria-label", `Display ${set.dataset.box}, ${name} corner at ${x}, ${y}; arrow keys move it`);
      });
      if (!points) continue;
      add("polygon", state === "read" ? "is-read" : "not-read", { points: points.join(" ") });
      const top = Math.min(...points.map((point) => point[1])), left = Math.min(...points.map((point) => point[0]));
      const text = add("text", "label", { x: left, y: Math.max(top - 8 * scale, 16 * scale), "font-size": 15 * scale });
      text.textContent = `${set.dataset.box}: ${state === "read" ? says(set).dataset.read : "not read"}`;
    }
  }
  function draw(set) {
    drawn = set;
    picture.classList.toggle("draws", Boolean(set));
    hint.hidden = !set;
    for (const each of sets) each.querySelector("[data-draw]").textContent = each === set ? "Now draw it in the picture" : box(each) ? "Draw its box anew" : "Draw its box";
  }
  let from = null;
  picture.addEventListener("pointerdown", (event) => {
    if (!drawn || event.button) return;
    event.preventDefault();
    picture.setPointerCapture(event.pointerId);
    from = place(event);
  });
  picture.addEventListener("pointermove", (event) => {
    if (!from) return;
    const [x, y] = place(event), [left, right] = [from[0], x].sort((a, b) => a - b), [top, foot] = [from[1], y].sort((a, b) => a - b);
    if (right - left > least && foot - top > least) put(drawn, [[left, top], [right, top], [right, foot], [left, foot]]);
  });
  picture.addEventListener("pointerup", () => {
    if (!from) return;
    from = null;
    if (box(drawn)) { draw(null); ask(); }
  });
  picture.addEventListener("pointercancel", () => { from = null; });
  // What is read now is asked for, and only that is renewed: the picture and the fields stay as they are under the hand.
  async function ask() {
    clearTimeout(waits);
    asked?.abort();
    asked = new AbortController();
    const body = new URLSearchParams(new FormData(form));
    body.set("do", "show");
    for (const set of sets) if (box(set)) says(set).classList.add("waits");
    const answer = await fetch("/film", { method: "POST", body, signal: asked.signal }).catch(() => null);
    if (!answer || !answer.ok) return;
    const page = (await answer.text()).replace(/^[^]*?(?=<main)/, "");
    const seen = new DOMParser().parseFromString(page, "text/html");
    for (const part of seen.querySelectorAll("[data-says]")) {
      const old = document.getElementById(part.id);
      if (!old) continue;
      old.replaceChildren(...part.childNodes);
      old.classList.remove("waits");
      for (const name of ["read", "state"]) if (part.dataset[name] !== undefined) old.dataset[name] = part.dataset[name];
    }
    paint();
  }
  function askSoon() { clearTimeout(waits); waits = setTimeout(ask, 400); }
  const at = form.querySelector("#at"), range = form.querySelector("[data-moment]");
  const seconds = (text) => text.split(":").reduce((sum, part) => 60 * sum + Number(part), 0);
  function show() {
    const every = form.querySelector("#every");
    image.src = `/film/picture?${new URLSearchParams({ file: form.elements.file.value, at: at.value, every: every ? every.value : "" })}`;
    image.alt = `The film at ${at.value}`;
    ask();
  }
  range.addEventListener("input", () => {
    const s = Number(range.value), rest = (s % 60).toFixed(1).padStart(4, "0");
    at.value = `${Math.floor(s / 60)}:${rest}`;
  });
  range.addEventListener("change", show);
  form.addEventListener("change", (event) => {
    if (event.target === range) return;
    if (event.target === at || event.target.name === "every") { range.value = seconds(at.value) || 0; show(); return; }
    paint();
    ask();
  });
  for (const set of sets) {
    set.querySelector("[data-drawing]").hidden = false;
    set.querySelector("[data-draw]").addEventListener("click", () => { draw(set); picture.scrollIntoView({ block: "nearest" }); });
    set.querySelector("[data-place]").addEventListener("click", () => {
      draw(null);
      put(set, [[0.3, 0.4], [0.7, 0.4], [0.7, 0.6], [0.3, 0.6]].map(([x, y]) => [wide * x, high * y]));
      ask();
      picture.querySelector(`#corner-${set.dataset.box}-0`).focus();
    });
  }
  const larger = form.querySelector("[data-larger]");
  larger.addEventListener("click", () => {
    const is = picture.classList.toggle("larger");
    larger.setAttribute("aria-pressed", is);
    paint();
  });
  form.addEventListener("submit", (event) => {
    if (event.submitter?.value === "show") { event.preventDefault(); show(); }
  });
  for (const fold of form.querySelectorAll("[data-numbers]")) fold.open = Boolean(fold.querySelector("[aria-invalid]"));
  for (const plain of form.querySelectorAll("[data-plain]")) plain.hidden = true;
  range.hidden = larger.hidden = false;
  range.value = seconds(at.value) || 0;
  addEventListener("resize", paint);
  draw(sets.find((set) => !box(set)) ?? null);
  paint();
})();
