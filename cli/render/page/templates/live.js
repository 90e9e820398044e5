// Follows a capture: takes its states as they come and puts them into the page, as text and never as markup.
"use strict";

const SILENCE_MS = 10000; // a state comes twice a second; after so long without one the figures are called old
const NAME = "http://www.w3.org/2000/svg";
const MARK = { act: "▲", watch: "◆", note: "●" };
const meters = []; // of each meter: its section, its points, and what it was last given
const told = new Set();
let source = null;
let heard = 0;
let ended = false;

const byId = (id) => document.getElementById(id);

function put(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

function make(tag, className, ...inside) {
  const node = document.createElement(tag);
  if (className) node.className = className;
  node.append(...inside);
  return node;
}

/** Build a part anew, but only if what it shows has changed: what a reader is at must not move under their hands. */
function renew(meter, place, value, build) {
  const text = JSON.stringify(value);
  if (meter.given[place] === text) return;
  meter.given[place] = text;
  meter.node.querySelector("." + place).replaceChildren(...build(value));
}

// --- the connection ---

function link(mark, text, stale) {
  put(byId("link-mark"), mark);
  put(byId("link"), text);
  byId("state").classList.toggle("stale", stale);
  byId("main").classList.toggle("gone", stale);
}

function follow() {
  if (source || ended) return;
  source = new EventSource("/updates");
  source.onmessage = (event) => take(JSON.parse(event.data));
  source.onerror = () => {
    const refused = source.readyState === EventSource.CLOSED;
    link("✕", refused
      ? "The capture does not let this page in: open it by a new link from its terminal. These figures are old."
      : "The capture cannot be reached: it has been stopped, or is out of reach. These figures are old; trying again …", true);
  };
}

function leave() {
  if (source) source.close();
  source = null;
}

function listen() {
  if (!ended && source && heard && Date.now() - heard > SILENCE_MS) {
    link("✕", "Nothing has come from the capture for a while. These figures are old.", true);
  }
}

// --- a state ---

function take(state) {
  heard = Date.now();
  ended = state.ended;
  put(byId("title"), state.title);
  put(byId("time"), state.time + ".");
  if (document.title !== "Live: " + state.title) document.title = "Live: " + state.title;
  if (ended) {
    link("■", "The capture has ended. These are its last figures.", false);
    leave();
  } else {
    link("●", "Live.", false);
  }
  state.meters.forEach((given, k) => show(meterAt(k), given, state.points[k]));
  tell(state);
}

function meterAt(k) {
  while (meters.length <= k) {
    const node = byId("meter").content.firstElementChild.cloneNode(true);
    const heading = node.querySelector(".name");
    heading.id = "meter-" + meters.length;
    node.setAttribute("aria-labelledby", heading.id);
    byId("main").append(node);
    const meter = { node, given: {}, points: { bucket: [], low: [], high: [] }, chart: null, size: "" };
    new ResizeObserver(() => draw(meter)).observe(node.querySelector(".drawing"));
    meters.push(meter);
  }
  return meters[k];
}

function show(meter, given, points) {
  const { node } = meter;
  put(node.querySelector(".name"), given.name + ", " + given.side);
  put(node.querySelector(".joined"), (given.connected || ended ? "" : "✕ " + given.link + "."));
  node.classList.toggle("lost", !given.connected && !ended);
  put(node.querySelector(".clock"), given.clock);
  put(node.querySelector(".trouble"), given.trouble);
  node.querySelector(".trouble").hidden = !given.trouble;
  figures(node.querySelector(".figures"), given.figures);
  renew(meter, "counts", given.counts, (counts) => counts.map(({ value, what }) =>
    make("div", "", make("dt", "", what), make("dd", "", value))));
  renew(meter, "findings", [given.findings, given.nothing], findings);
  renew(meter, "amounts", given.amounts, (table) => tableOf(table, node));
  renew(meter, "runs", given.runs, (table) => tableOf(table, node));
  if (points) join(meter.points, points, given.chart);
  meter.chart = given.chart;
  draw(meter);
}

/** Put the large figures in; their places stay, only the digits change. */
function figures(list, given) {
  while (list.children.length > given.length) list.lastElementChild.remove();
  while (list.children.length < given.length) {
    const dd = make("dd", "", make("span", "value"), make("span", "unit"));
    list.append(make("div", "", make("dt"), dd));
  }
  given.forEach(({ word, value, unit }, k) => {
    const place = list.children[k];
    put(place.querySelector("dt"), word);
    put(place.querySelector(".value"), value);
    put(place.querySelector(".unit"), " " + unit);
  });
}

function findings([found, nothing]) {
  if (!found.length) return [make("p", "", nothing)];
  return found.map((f) => {
    const mark = make("span", "", MARK[f.severity]);
    mark.setAttribute("aria-hidden", "true");
    const severity = make("span", "severity", mark, " " + f.severity);
    const article = make("article", "finding " + f.severity,
      make("h4", "title", severity, " " + f.title), make("p", "", f.evidence));
    if (f.check_first) article.append(make("p", "", make("b", "", "Check first."), " " + f.check_first));
    article.append(make("p", "limit", make("b", "", "Limit."), ` ${f.limit} `, make("b", "", "Source."), ` ${f.source}`));
    return article;
  });
}

function cell(tag, text) {
  if (text !== "unknown") return make(tag, "", text);
  const dash = make("span", "", "—");
  dash.setAttribute("aria-hidden", "true");
  return make(tag, "", dash, make("span", "sr", "unknown"));
}

function tableOf({ caption, head, rows, note }, node) {
  if (!rows.length) return [];
  const body = make("tbody", "", ...rows.map((row) => {
    const first = cell("th", row[0]);
    first.scope = "row";
    return make("tr", "", first, ...row.slice(1).map((text) => cell("td", text)));
  }));
  const top = make("tr", "", ...head.map((text) => {
    const th = make(text ? "th" : "td", "", text);
    if (text) th.scope = "col";
    return th;
  }));
  const title = make("p", "caption", caption);
  title.id = `${node.getAttribute("aria-labelledby")}-${head.length}`;
  const table = make("table", "", make("thead", "", top), body);
  const scroll = make("div", "scroll", table);
  scroll.tabIndex = 0;
  scroll.setAttribute("role", "region");
  scroll.setAttribute("aria-labelledby", title.id);
  table.setAttribute("aria-labelledby", title.id);
  const parts = [title, scroll];
  if (note) parts.push(make("p", "more", note));
  return [make("div", "table", ...parts)];
}

/** Tell what is new aloud, one thing after the other; what stood there when the page was opened is not new. */
function tell(state) {
  const first = !told.size;
  const fresh = [];
  state.meters.forEach((meter, k) => {
    for (const [key, text] of meter.news) {
      const whole = `${k} ${key}`;
      if (!told.has(whole) && !first) fresh.push(text);
      told.add(whole);
      if (key === "lost") told.delete(`${k} connected`);
      if (key === "connected") told.delete(`${k} lost`);
    }
  });
  if (state.ended) put(byId("newest"), "The capture has ended.");
  else if (fresh.length) put(byId("newest"), "Newest: " + fresh.join("; ") + ".");
}

// --- the chart ---

/** Take new buckets in; the first of them may be the newest one we have, grown. */
function join(points, more, chart) {
  if (!more.bucket.length) return;
  let keep = points.bucket.length;
  while (keep && points.bucket[keep - 1] >= more.bucket[0]) keep -= 1;
  const oldest = more.bucket[more.bucket.length - 1] - chart.buckets;
  let start = 0;
  for (const key of ["bucket", "low", "high"]) points[key] = points[key].slice(0, keep).concat(more[key]);
  while (points.bucket[start] <= oldest) start += 1;
  for (const key of ["bucket", "low", "high"]) points[key] = points[key].slice(start);
}

function shape(tag, attributes, text) {
  const node = document.createElementNS(NAME, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

/** A step of 1, 2 or 5 times a power of ten, so that about `count` of them fill the range. */
function stepFor(range, count) {
  const raw = range / count;
  const power = 10 ** Math.floor(Math.log10(raw));
  return power * [1, 2, 5, 10].find((factor) => factor * power >= raw);
}

const TIME_STEPS_S = [10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 21600, 43200, 86400];

function ago(s) {
  if (!s) return "latest";
  const [length, unit] = s < 60 ? [s, "s"] : s < 7200 ? [s / 60, "min"] : [s / 3600, "h"];
  return `−${Math.round(10 * length) / 10} ${unit}`;
}

function draw(meter) {
  const { chart, node } = meter;
  const figure = node.querySelector(".trace");
  figure.hidden = !chart;
  if (!chart) return;
  put(node.querySelector(".chart-title"), chart.title);
  put(node.querySelector(".chart-said"), chart.said);
  const place = node.querySelector(".drawing");
  const frame = { width: place.clientWidth, height: place.clientHeight, left: 64, right: 16, top: 10, bottom: 44 };
  if (frame.width < 100 || frame.height < 80 || !meter.points.bucket.length) return;
  const svg = shape("svg", { viewBox: `0 0 ${frame.width} ${frame.height}`, role: "img" });
  svg.setAttribute("aria-label", `${chart.title}. ${chart.said}`);
  const scale = scales(meter.points, chart, frame);
  svg.append(...lines(scale, chart, frame), ...bars(scale, chart, frame), ...trace(meter.points, chart, scale));
  place.replaceChildren(svg);
}

function scales(points, chart, frame) {
  const newest = points.bucket[points.bucket.length - 1];
  const span = Math.max(newest - points.bucket[0], 60 / chart.width_s, 1);
  const low = Math.min(0, ...points.low);
  const high = Math.max(0, ...points.high);
  const step = stepFor(Math.max(high - low, 0.1), Math.max(Math.floor(frame.height / 60), 2));
  const margin = 0.04 * Math.max(high - low, 0.1);
  const floor = low - margin;
  const top = high + margin;
  const across = frame.width - frame.left - frame.right;
  const up = frame.height - frame.top - frame.bottom;
  return {
    newest, span, step, floor, top,
    x: (bucket) => frame.left + Math.max(0, Math.min(1, 1 - (newest - bucket) / span)) * across,
    y: (value) => frame.top + ((top - value) / (top - floor)) * up,
  };
}

/** The grid with its figures, and how long ago what is below it was. */
function lines(scale, chart, frame) {
  const parts = [];
  for (let k = Math.ceil(scale.floor / scale.step); k * scale.step <= scale.top; k += 1) {
    const y = scale.y(k * scale.step);
    const text = `${Number((k * scale.step).toPrecision(6))} ${chart.unit}`.replace("-", "−");
    parts.push(shape("line", { class: k ? "grid" : "zero", x1: frame.left, x2: frame.width - frame.right, y1: y, y2: y }));
    parts.push(shape("text", { x: frame.left - 6, y: y + 5, "text-anchor": "end" }, text));
  }
  const span_s = scale.span * chart.width_s;
  const most = Math.max(Math.floor(frame.width / 130), 2);
  const step_s = TIME_STEPS_S.find((s) => span_s / s <= most) || stepFor(span_s, most);
  for (let s = 0; s <= 0.97 * span_s; s += step_s) {
    const x = scale.x(scale.newest - s / chart.width_s);
    parts.push(shape("text", { x, y: frame.height - 6, "text-anchor": s ? "middle" : "end" }, ago(s)));
  }
  return parts;
}

/** A bar below the line for each run; one that goes on is an outline. */
function bars(scale, chart, frame) {
  return chart.runs.map(([start, stop]) => {
    const x = scale.x(start);
    const width = Math.max(scale.x(stop === null ? scale.newest : stop) - x, 2);
    const box = { x, width, y: frame.height - frame.bottom + 8, height: 10 };
    return shape("rect", { class: stop === null ? "run going" : "run", ...box });
  });
}

/** The line through the lowest and highest reading of each bucket; it breaks where nothing was measured. */
function trace(points, chart, scale) {
  let path = "";
  points.bucket.forEach((bucket, k) => {
    const broken = !k || bucket - points.bucket[k - 1] > Math.max(chart.gap, 1);
    const rising = k && points.low[k] >= points.low[k - 1];
    const ends = rising ? [points.low[k], points.high[k]] : [points.high[k], points.low[k]];
    const x = scale.x(bucket).toFixed(1);
    path += `${broken ? "M" : "L"}${x} ${scale.y(ends[0]).toFixed(1)}`;
    path += `L${x} ${scale.y(ends[1]).toFixed(1)}`;
  });
  const last = points.bucket.length - 1;
  const at = { cx: scale.x(points.bucket[last]), cy: scale.y(points.high[last]), r: 4 };
  return [shape("path", { class: "line", d: path }), shape("circle", { class: "newest-point", ...at })];
}

// A page that nobody sees asks for nothing: a browser has few connections, and a phone little battery.
document.addEventListener("visibilitychange", () => (document.hidden ? leave() : follow()));
setInterval(listen, 1000);
follow();
