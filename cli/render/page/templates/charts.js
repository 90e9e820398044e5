"use strict";
// Puts a chart that can be moved, zoomed and read in the place of each drawing, when the drawing comes near the screen.
// Without this script, until it has run, and in print, the drawings stand. Nothing here asks anything of a network, and
// what people have written reaches the page as text alone.
const shuntbook = (() => {
  const SECOND = 1e3, MINUTE = 6e4, HOUR = 36e5, DAY = 864e5;
  const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const STEPS = [
    ...[1, 2, 5, 10, 20, 50, 100, 200, 500], ...[1, 2, 5, 10, 20, 30].map((n) => n * SECOND),
    ...[1, 2, 5, 10, 20, 30].map((n) => n * MINUTE), ...[1, 2, 3, 6, 12].map((n) => n * HOUR),
    ...[1, 2, 4, 7, 14].map((n) => n * DAY),
  ];
  const STEPS_IN_MONTHS = [1, 2, 3, 6, 12, 24, 60, 120];
  // A finger is so wide, and a tick's text needs so much room. [px]
  const FINGER = 22, TICK = 80;
  const HOW = "Drag sideways to move. Pinch, or turn the wheel with Ctrl held, to zoom. " +
    "A finger or pointer on the chart reads it.";

  const two = (n) => String(n).padStart(2, "0");
  const number = (x) => Number(x.toPrecision(4)).toLocaleString("en", { maximumFractionDigits: 6 });

  // ---- Time: as the clocks of the log's zone show it, or counted from the log's start -------------------------------
  const aheadAt = (t, clock) => {
    let by = clock.ahead.length ? clock.ahead[0] : [0, 0, ""];
    for (const change of clock.ahead) if (change[0] <= t) by = change;
    return by;
  };
  const local = (t, clock) => new Date(t + aheadAt(t, clock)[1]);
  const utc = (shown, clock) => {
    const first = shown - aheadAt(shown, clock)[1];
    return shown - aheadAt(first, clock)[1];
  };
  const elapsed = (t) => {
    const s = Math.round(Math.abs(t) / SECOND);
    return `${t < 0 ? "-" : "+"}${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}`;
  };
  const ofDay = (date, step) => {
    const text = `${two(date.getUTCHours())}:${two(date.getUTCMinutes())}`;
    if (step >= MINUTE) return text;
    const part = step >= SECOND ? "" : (date.getUTCMilliseconds() / 1e3).toFixed(step >= 100 ? 1 : 3).slice(1);
    return `${text}:${two(date.getUTCSeconds())}${part}`;
  };
  const instant = (t, clock) => {
    if (clock.since) return `${number(t)} ${clock.since} from the start`;
    if (!clock.ahead.length) return elapsed(t);
    const date = local(t, clock), named = clock.ahead.length > 1 ? ` ${aheadAt(t, clock)[2]}` : "";
    const step = date.getUTCMilliseconds() ? 100 : SECOND;
    return `${date.getUTCDate()} ${MONTHS[date.getUTCMonth()]} ${date.getUTCFullYear()} ${ofDay(date, step)}${named}`;
  };

  const inMonths = (start, end, clock, most) => {
    const first = local(start, clock), last = local(end, clock);
    const whole = (date) => date.getUTCFullYear() * 12 + date.getUTCMonth();
    const step = STEPS_IN_MONTHS.find((n) => (whole(last) - whole(first)) / n <= most) ?? 1200;
    const ticks = [];
    for (let month = Math.ceil(whole(first) / step) * step; month <= whole(last); month += step) {
      ticks.push(utc(Date.UTC(Math.floor(month / 12), month % 12), clock));
    }
    return ticks.filter((t) => t >= start && t <= end);
  };
  const ticks = ({ start, end }, clock) => {
    const most = Math.max(2, Math.min(9, Math.floor(document.querySelector("main").clientWidth / TICK)));
    const step = STEPS.find((n) => (end - start) / n <= most);
    if (!step && clock.ahead.length) return inMonths(start, end, clock, most);
    const stride = step ?? DAY * Math.ceil((end - start) / DAY / most);
    const found = [];
    let shown = Math.ceil(local(start, clock).getTime() / stride) * stride;
    for (let t = utc(shown, clock); t <= end; shown += stride, t = utc(shown, clock)) {
      if (t >= start && t !== found.at(-1)) found.push(t);
    }
    return found;
  };
  const label = (t, all, clock) => {
    if (!clock.ahead.length) return elapsed(t);
    const step = all.length > 1 ? all[1] - all[0] : HOUR, date = local(t, clock);
    const midnight = date.getTime() % DAY === 0, month = MONTHS[date.getUTCMonth()];
    if (step >= 27 * DAY) return date.getUTCMonth() ? month : String(date.getUTCFullYear());
    return midnight ? `${date.getUTCDate()} ${month}` : ofDay(date, step);
  };

  // ---- What stands under the finger ---------------------------------------------------------------------------------
  const nearest = (times, x) => {
    let low = 0, high = times.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (times[middle] <= x) low = middle; else high = middle;
    }
    return high >= 0 && Math.abs(times[high] - x) < Math.abs(times[low] - x) ? high : low;
  };
  const readValue = ([data, says, unit, width, reach], x) => {
    const i = nearest(data.t, x - width / 2), low = data.low[i], high = data.high[i];
    if (!(Math.abs(data.t[i] + width / 2 - x) <= reach + width) || Number.isNaN(low)) return null;
    const value = low === high ? number(low) : `${number(low)} to ${number(high)}`;
    return { at: data.t[i], text: `${says} ${value} ${unit}`, width };
  };
  const readText = ([data], x, finger) => {
    // What has a length is told where the finger is on it, or as good as; a point, where the finger is near.
    let best = null, least = finger;
    for (let i = 0; i < data.said.length; i++) {
      const away = Math.max(data.from[i] - x, x - data.to[i], 0);
      if (away < least && (data.from[i] === data.to[i] || away < finger / 8)) [best, least] = [i, away];
    }
    return best === null ? null : { at: data.from[best], text: data.said[best], only: data.from[best] === data.to[best] };
  };
  const length = (ms) => {
    const [unit, name] = ms < 2 * MINUTE ? [SECOND, "s"] : ms < 2 * HOUR ? [MINUTE, "min"] : [HOUR, "h"];
    return `${number(ms / unit)} ${name}`;
  };
  const told = (reads, x, finger, clock) => {
    const found = reads.map((read) => (read[0].said ? readText(read, x, finger) : readValue(read, x))).filter(Boolean);
    const leading = found.find((each) => each.width !== undefined) ?? found.find((each) => each.only);
    const stretch = leading?.width ? `${length(leading.width)} from ${instant(leading.at, clock)}` : instant(leading?.at ?? x, clock);
    return { at: leading ? leading.at + (leading.width ?? 0) / 2 : x, text: [stretch, ...found.map((f) => f.text)].join(" · ") };
  };

  // ---- A chart in the place of a drawing ----------------------------------------------------------------------------
  const inColours = (text) => {
    const style = getComputedStyle(document.documentElement), face = getComputedStyle(document.body).fontFamily;
    const wide = document.querySelector("main").clientWidth >= 640;
    return JSON.parse(text, (key, value) => {
      if (key === "ncols" && wide) return 4;
      if (typeof value !== "string" || !(key === "value" || /_(color|font)$/.test(key))) return value;
      if (value === "font of the page") return face;
      return value.startsWith("var(--") ? style.getPropertyValue(value.slice(4, -1)).trim() : value;
    });
  };
  const columns = (data) => (data instanceof Map ? Object.fromEntries(data) : data);
  const plotsOf = (view) => (view.child_views ?? []).flatMap((child) => (child.frame ? [child] : plotsOf(child)));

  class Chart {
    constructor(figure) {
      this.figure = figure;
      this.holder = figure.querySelector(".plot");
      this.text = figure.querySelector("script").textContent;
    }

    async draw() {
      const kept = this.range && [this.range.start, this.range.end];
      this.clear();
      const { item, reads, clock } = inColours(this.text);
      this.clock = clock;
      this.views = await Bokeh.embed.embed_item(item, this.holder);
      const view = this.views.roots[0], doc = view.model.document;
      this.doc = doc;
      this.range = doc.get_model_by_name("x");
      this.whole = [this.range.start, this.range.end];
      this.cursor = doc.get_model_by_name("cursor");
      this.reads = reads.map(([name, ...rest]) => [columns(doc.get_model_by_name(name).data), ...rest]);
      plotsOf(view).forEach((plot) => this.listen(plot));
      if (!this.tools) this.tools = this.makeTools();
      this.figure.classList.add("drawn");
      if (kept) this.show(...kept);
    }

    clear() {
      if (!this.views) return;
      this.views.roots.forEach((view) => view.remove());
      const place = Bokeh.documents.indexOf(this.doc);
      if (place >= 0) Bokeh.documents.splice(place, 1);
      this.holder.replaceChildren();
    }

    listen(plot) {
      const area = plot.canvas_view.events_el;
      area.tabIndex = -1;
      // A swipe up or down scrolls the page; sideways and with two fingers it is the chart's.
      area.style.touchAction = "pan-y";
      const read = (event) => {
        const x = plot.frame.x_scale.invert(event.clientX - area.getBoundingClientRect().left);
        const finger = Math.abs(plot.frame.x_scale.invert(FINGER) - plot.frame.x_scale.invert(0));
        if (x >= this.range.start && x <= this.range.end) this.tell(told(this.reads, x, finger, this.clock));
      };
      area.addEventListener("pointermove", read);
      area.addEventListener("pointerdown", read);
    }

    tell({ at, text }) {
      this.cursor.setv({ location: at, visible: true });
      this.reading.textContent = text;
    }

    makeTools() {
      // The wheel is the page's, unless Ctrl is held.
      this.holder.addEventListener("wheel", (event) => { if (!event.ctrlKey) event.stopPropagation(); }, { capture: true });
      this.holder.setAttribute("role", "img");
      this.holder.setAttribute("aria-label", this.figure.querySelector("svg").getAttribute("aria-label"));
      const tools = document.createElement("div");
      tools.className = "plot-tools";
      this.reading = document.createElement("output");
      this.reading.textContent = HOW;
      const buttons = [["Zoom in", () => this.zoom(0.5)], ["Zoom out", () => this.zoom(2)],
        ["Earlier", () => this.move(-0.5)], ["Later", () => this.move(0.5)], ["Whole", () => this.show(...this.whole)]];
      tools.append(this.reading, ...buttons.map(([name, act]) => {
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = name;
        button.addEventListener("click", act);
        return button;
      }));
      this.holder.after(tools);
      return tools;
    }

    zoom(by) {
      const { start, end, min_interval } = this.range;
      const half = Math.max((end - start) * by, min_interval ?? 0) / 2, middle = (start + end) / 2;
      this.show(middle - half, middle + half);
    }

    move(by) {
      const { start, end } = this.range;
      this.show(start + by * (end - start), end + by * (end - start));
    }

    show(start, end) {
      const [first, last] = this.whole, length = Math.min(end - start, last - first);
      const from = Math.min(Math.max(start, first), last - length);
      this.range.setv({ start: from, end: from + length });
    }
  }

  const begin = () => {
    Bokeh.logger.set_level("warn");
    const charts = new Map([...document.querySelectorAll("figure:has(> .plot)")].map((each) => [each, new Chart(each)]));
    let queue = Promise.resolve();
    const draw = (chart) => { queue = queue.then(() => chart.draw()).catch((error) => console.error(error)); };
    const near = new IntersectionObserver((entries) => {
      for (const entry of entries.filter((each) => each.isIntersecting)) {
        near.unobserve(entry.target);
        draw(charts.get(entry.target));
      }
    }, { rootMargin: "600px" });
    charts.forEach((chart, each) => near.observe(each));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      charts.forEach((chart) => { if (chart.views) draw(chart); });
    });
    return charts;
  };
  return { ticks, label, begin };
})();
shuntbook.charts = shuntbook.begin();
