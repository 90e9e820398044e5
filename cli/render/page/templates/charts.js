"use strict";
// Lets people move, zoom and read the page's drawings. Without this script, and in print, they stand as they are;
// with it they change only when somebody zooms. It asks nothing of a network, and what people have written reaches the
// page as text alone.
const charts = (() => {
  const { ticks, label, instant, length, number } = inTime;
  // Half a finger's width, and the room that a tick's text needs. [px on the screen]
  const FINGER = 22, TICK = 80;

  // ---- What was read, and what stands under the finger --------------------------------------------------------------
  const array = (Kind, text) => new Kind(Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer);
  const opened = (before, line) => {
    if (line.values) return [...before, { ...line, low: line.values, high: line.values, width: 0 }];
    // Volts are read when amps are: their times are held once.
    const t = line.times === "" ? before.at(-1).t : Float64Array.from(array(Int32Array, line.times), (n) => line.first + n * line.each);
    const low = array(Float32Array, line.low);
    return [...before, { ...line, t, low, high: line.high ? array(Float32Array, line.high) : low }];
  };
  const firstAfter = (times, x) => {
    let low = 0, high = times.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (times[middle] <= x) low = middle + 1; else high = middle;
    }
    return low;
  };
  const nearest = (times, x) => {
    const after = Math.min(firstAfter(times, x), times.length - 1), before = Math.max(after - 1, 0);
    return Math.abs(times[after] - x) < Math.abs(times[before] - x) ? after : before;
  };
  // What stands out within a finger's width: of all that the finger covers, what is farthest from the usual there.
  const extreme = ({ t, low, high }, x, finger) => {
    const first = Math.max(firstAfter(t, x - finger) - 1, 0), last = firstAfter(t, x + finger);
    const covered = Array.from({ length: last - first }, (_, i) => first + i).filter((i) => Math.abs(t[i] - x) <= finger);
    if (!covered.length) return nearest(t, x);
    const usual = covered.map((i) => (low[i] + high[i]) / 2).sort((a, b) => a - b)[covered.length >> 1];
    const off = (i) => Math.max(high[i] - usual, usual - low[i]);
    return covered.reduce((best, i) => (off(i) > off(best) ? i : best), covered[covered.length >> 1]);
  };
  const readValue = (line, x, at) => {
    const i = at ?? nearest(line.t, x - line.width / 2), low = line.low[i], high = line.high[i];
    if (!(Math.abs(line.t[i] + line.width / 2 - x) <= line.reach + line.width)) return null;
    const value = low === high ? number(low) : `${number(low)} to ${number(high)}`;
    return { at: line.t[i], text: `${line.says} ${value} ${line.unit}`, width: line.width };
  };
  const readSpan = (span, x, finger) => {
    // What has a length is told where the finger is on it, or as good as; a point, where the finger is near.
    let best = null, least = finger;
    for (let i = 0; i < span.says.length; i++) {
      const away = Math.max(span.from[i] - x, x - span.to[i], 0);
      if (away < least && (span.from[i] === span.to[i] || away < finger / 8)) [best, least] = [i, away];
    }
    return best === null ? null : { at: span.from[best], text: span.says[best], only: span.from[best] === span.to[best] };
  };
  const told = ({ lines, spans, clock }, x, finger, leading, tapped) => {
    const at = tapped && leading ? extreme(leading, x, finger) : null;
    if (at !== null && Math.abs(leading.t[at] - x) <= finger) x = leading.t[at] + leading.width / 2;
    const read = lines.map((line) => readValue(line, x, line === leading ? at : null)).filter(Boolean);
    const texts = spans.map((span) => readSpan(span, x, finger)).filter(Boolean);
    const first = read[0] ?? texts.find((each) => each.only);
    const when = first?.width ? `${length(first.width)} from ${instant(first.at, clock)}` : instant(first?.at ?? x, clock);
    return { at: first ? first.at + (first.width ?? 0) / 2 : x, text: [when, ...[...read, ...texts].map((f) => f.text)].join(" · ") };
  };

  // ---- A drawing and the stretch of it that is shown ----------------------------------------------------------------
  const made = (parent, name, attributes) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    parent.append(node);
    return node;
  };
  const part = (node, name) => [...node.querySelectorAll(`[data-is="${name}"]`)];
  const PAIR = /(-?[\d.]+(?:e-?\d+)?) (-?[\d.]+(?:e-?\d+)?)/g;

  class Drawing {
    constructor(svg, readout) {
      Object.assign(this, { svg, readout, whole: JSON.parse(svg.dataset.x), boxes: JSON.parse(svg.dataset.panels) });
      [this.left, , this.right] = this.boxes[0];
      this.panels = part(svg, "panel");
    }

    // Where on the axis an event is, how far half a finger reaches there, and over which panel.
    under({ clientX, clientY }, [start, end]) {
      const box = this.svg.getBoundingClientRect(), scale = this.svg.viewBox.baseVal.width / box.width;
      const each = (end - start) / (this.right - this.left), y = (clientY - box.top) * scale;
      const x = start + ((clientX - box.left) * scale - this.left) * each;
      return { x, finger: FINGER * scale * each, panel: this.boxes.findIndex((b) => y >= b[1] && y <= b[3]) };
    }

    mark(x, [start, end]) {
      const at = this.left + ((x - start) / (end - start)) * (this.right - this.left);
      this.cursor ??= made(this.svg, "line", { class: "cursor", y1: this.boxes[0][1], y2: this.boxes.at(-1)[3] });
      for (const key of ["x1", "x2"]) this.cursor.setAttribute(key, at);
      this.cursor.style.display = at >= this.left && at <= this.right ? "" : "none";
    }

    // All that lies along the axis: what is cut off at a panel's edge, and its texts; each with what it was drawn with.
    get moved() {
      const inside = "[clip-path], [clip-path] *, text", keys = ["d", "x", "transform"];
      this.all ??= this.panels.flatMap((panel) => [...panel.querySelectorAll(inside)])
        .filter((node) => !node.closest('[data-is$="axis"], defs'))
        .map((node) => ({ node, drawn: keys.map((key) => [key, node.getAttribute(key)]).filter(([, value]) => value) }));
      return this.all;
    }

    show(start, end) {
      this.own?.remove();
      const isWhole = start === this.whole[0] && end === this.whole[1];
      // Where runs were too dense for bars, shares of time were drawn: closer, each run has its bar and no scale.
      const shares = part(this.svg, "shares"), scale = shares.length ? part(this.panels.at(-1), "y-axis") : [];
      for (const each of [...part(this.svg, "tick"), ...shares, ...scale]) each.style.display = isWhole ? "" : "none";
      const closer = (this.whole[1] - this.whole[0]) / (end - start), width = this.right - this.left;
      const from = ((start - this.whole[0]) / (this.whole[1] - this.whole[0])) * width;
      const x = (px) => (isWhole ? px : this.left + (px - this.left - from) * closer);
      for (const { node, drawn } of this.moved) {
        for (const [key, value] of drawn) {
          if (isWhole) node.setAttribute(key, value);
          else if (key === "d") node.setAttribute(key, value.replace(PAIR, (_, a, b) => `${x(+a).toFixed(1)} ${b}`));
          else if (key === "x") node.setAttribute(key, x(+value));
          else node.removeAttribute(key); // matplotlib turns texts by nothing about where they were
        }
        if (node.localName === "text") {
          const at = x(+drawn.find(([key]) => key === "x")[1]);
          node.style.display = at < this.left || at > this.right ? "none" : "";
        }
      }
      if (isWhole) return;
      const place = (t) => this.left + ((t - start) / (end - start)) * width;
      this.own = made(this.svg, "g", { class: "own" });
      this.redraw(start, end, place);
      this.tick(start, end, place);
    }

    redraw(start, end, place) {
      this.readout.lines.forEach((line, i) => {
        if (line.values) return;
        const [, top, , bottom, low, high] = this.boxes[line.panel];
        const y = (value) => bottom - ((value - low) / (high - low)) * (bottom - top);
        const d = outline(line, Math.max(firstAfter(line.t, start) - 2, 0), firstAfter(line.t, end) + 2, place, y);
        part(this.svg, `line-${i}`).forEach((group) => group.querySelector("path").setAttribute("d", d));
      });
      for (const span of this.readout.spans.filter((each) => each.drawn)) {
        const shares = span.drawn === "runs" ? part(this.svg, "shares") : [];
        for (const group of shares.slice(0, 1).concat(part(this.svg, span.drawn))) {
          const path = group.querySelector("path"), [, drawn] = this.moved.find(({ node }) => node === path).drawn[0];
          const heights = [...drawn.matchAll(PAIR)].map((pair) => +pair[2]), bottom = Math.max(...heights);
          const top = shares.length ? this.boxes.at(-1)[1] + 2 : Math.min(...heights);
          const into = shares.length ? made(this.own, "path", { style: "fill: var(--draw)" }) : path;
          into.setAttribute("d", bars(span, start, end, place, top, bottom));
        }
      }
    }

    tick(start, end, place) {
      const axis = part(this.panels.at(-1), "x-axis")[0], like = axis.querySelector('[data-is="tick"] text');
      if (!like) return;
      const most = Math.max(2, Math.min(9, Math.floor(this.svg.getBoundingClientRect().width / TICK)));
      const clock = this.readout.clock, all = ticks(start, end, clock, most);
      for (const t of all) {
        const text = made(this.own, "text", { x: place(t), y: like.getAttribute("y"), style: like.getAttribute("style") });
        text.textContent = label(t, all, clock);
      }
    }
  }

  // Along the highest and back along the lowest, piece by piece between gaps; a reading alone is a dot.
  const outline = (line, first, last, place, y) => {
    const { t, low, high, step, width, cuts } = line, end = Math.min(last, t.length);
    const edges = [first, ...cuts.filter((cut) => cut > first && cut < end), end];
    return edges.slice(0, -1).map((from, k) => {
      const there = [], back = [], to = edges[k + 1];
      for (let i = from; i < to; i++) {
        let left = place(step === "pre" && i > from ? t[i - 1] : t[i]);
        let right = place(step === "post" ? (i + 1 < to ? t[i + 1] : t[i] + width) : t[i]);
        if (to - from === 1 && right - left < 1.4) [left, right] = [left - 0.7, right + 0.7];
        for (const x of left === right ? [left] : [left, right]) {
          there.push(`${x.toFixed(1)} ${y(high[i]).toFixed(1)}`);
          back.push(`${x.toFixed(1)} ${y(low[i]).toFixed(1)}`);
        }
      }
      return to > from ? `M ${[...there, ...back.reverse()].join(" L ")} z` : "";
    }).join(" ");
  };
  const bars = ({ from, to }, start, end, place, top, bottom) => from.map((left, i) => {
    if (to[i] < start || left > end) return "";
    // What is outside is not drawn, and a bar of less than a pixel would not be seen.
    const a = place(Math.max(left, start)), b = Math.max(place(Math.min(to[i], end)), a + 1);
    return `M ${a.toFixed(1)} ${top} L ${b.toFixed(1)} ${top} L ${b.toFixed(1)} ${bottom} L ${a.toFixed(1)} ${bottom} z`;
  }).join(" ");

  // ---- A chart: its drawings for a wide and a narrow screen, the line below them, its buttons ------------------------
  class Chart {
    constructor(figure) {
      this.figure = figure;
      this.reading = figure.querySelector("output");
      for (const button of figure.querySelectorAll("[data-act]")) button.addEventListener("click", () => this.act(button.dataset.act));
      const readout = JSON.parse(figure.querySelector(":scope > script").textContent);
      // The arrays are opened when somebody first asks for them.
      Object.defineProperty(this, "readout", { get: () => (readout.open ??= { ...readout, lines: readout.lines.reduce(opened, []) }) });
      this.drawings = [...figure.querySelectorAll("svg[data-x]")].map((svg) => new Drawing(svg, readout));
      this.whole = this.drawings[0].whole;
      this.closest = Math.min(readout.closest, this.whole[1] - this.whole[0]);
      this.range = this.whole;
      this.drawings.forEach((drawing) => this.listen(drawing));
    }

    listen(drawing) {
      const { svg } = drawing, fingers = new Map();
      let held = null; // what the fingers took hold of: the stretch shown then, and where they were
      const hold = () => { held = { range: this.range, at: [...fingers.values()].map((each) => drawing.under(each, this.range).x) }; };
      svg.tabIndex = 0;
      svg.addEventListener("pointerdown", (event) => {
        fingers.set(event.pointerId, event);
        svg.setPointerCapture?.(event.pointerId);
        hold();
        this.read(drawing, event, true);
      });
      svg.addEventListener("pointermove", (event) => {
        if (!fingers.has(event.pointerId)) return void this.read(drawing, event, false);
        fingers.set(event.pointerId, event);
        const now = [...fingers.values()].map((each) => drawing.under(each, held.range).x);
        if (now.length > 1) this.pinch(held, now);
        else if (Math.abs(now[0] - held.at[0]) > drawing.under(event, held.range).finger / 8) {
          this.show(held.range[0] + held.at[0] - now[0], held.range[1] + held.at[0] - now[0]);
        }
      });
      for (const kind of ["pointerup", "pointercancel"]) {
        svg.addEventListener(kind, (event) => { if (fingers.delete(event.pointerId) && fingers.size) hold(); });
      }
      // The wheel is the page's, unless Ctrl is held; so a browser also tells of two fingers on a pad.
      svg.addEventListener("wheel", (event) => {
        if (!event.ctrlKey && !event.metaKey) return;
        event.preventDefault();
        this.zoom(Math.exp(Math.max(-1, Math.min(1, event.deltaY / 200))), drawing.under(event, this.range).x);
      }, { passive: false });
      svg.addEventListener("keydown", (event) => {
        const act = { "+": "closer", "=": "closer", "-": "wider", 0: "whole", ArrowLeft: "earlier", ArrowRight: "later" }[event.key];
        if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
        event.preventDefault();
        this.act(act);
      });
    }

    read(drawing, event, tapped) {
      const { x, finger, panel } = drawing.under(event, this.range), lines = this.readout.lines;
      if (x < this.range[0] || x > this.range[1]) return;
      this.tell(told(this.readout, x, finger, lines.find((line) => line.panel === panel) ?? lines[0], tapped));
    }

    tell({ at, text }) {
      this.at = at;
      this.reading.textContent = text;
      this.drawings.forEach((drawing) => drawing.mark(at, this.range));
    }

    act(what) {
      const [start, end] = this.range, step = { earlier: -1, later: 1 }[what];
      if (what === "closer") this.zoom(0.5);
      else if (what === "wider") this.zoom(2);
      else if (what === "whole") this.show(...this.whole);
      else this.step(step * (end - start) / 40);
    }

    // The line that reads goes along by keys, and what is shown goes with it.
    step(by) {
      const [start, end] = this.range, at = Math.min(Math.max((this.at ?? (start + end) / 2) + by, this.whole[0]), this.whole[1]);
      if (at < start || at > end) this.show(start + Math.sign(by) * (end - start) / 2, end + Math.sign(by) * (end - start) / 2);
      this.tell({ ...told(this.readout, at, Math.abs(by), this.readout.lines[0], false), at });
    }

    zoom(by, around) {
      const [start, end] = this.range, inside = this.at >= start && this.at <= end;
      const at = around ?? (inside ? this.at : (start + end) / 2), length = Math.max((end - start) * by, this.closest);
      const from = at - ((at - start) / (end - start)) * length;
      this.show(from, from + length);
    }

    // What was under either finger stays there.
    pinch({ range: [start, end], at }, now) {
      const apart = Math.abs(now[0] - now[1]);
      if (at.length < 2 || !apart) return;
      const length = Math.max((end - start) * Math.abs(at[0] - at[1]) / apart, this.closest), scale = length / (end - start);
      const from = (at[0] + at[1]) / 2 - ((now[0] + now[1]) / 2 - start) * scale;
      this.show(from, from + length);
    }

    show(start, end) {
      const [first, last] = this.whole, length = Math.min(end - start, last - first);
      const from = Math.min(Math.max(start, first), last - length);
      this.range = length === last - first ? this.whole : [from, from + length];
      for (const drawing of this.drawings) {
        drawing.readout = this.readout;
        drawing.show(...this.range);
        if (this.at !== undefined) drawing.mark(this.at, this.range);
      }
    }
  }

  return [...document.querySelectorAll("figure:has(> script)")].map((figure) => new Chart(figure));
})();
