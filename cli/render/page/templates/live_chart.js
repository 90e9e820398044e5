// The chart that moves with a capture: first, lowest, highest and last reading of each bucket, runs below, notes as flags
// above.
"use strict";

const NAME = "http://www.w3.org/2000/svg";
const TIME_STEPS_S = [10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 21600, 43200, 86400];
const LANES = 3; // flags whose texts would lie over each other stand in so many rows

/** Take the readings of new buckets in; the first of these may be the newest one we have, with others in it. */
function join(points, more, chart) {
  if (!more.at.length) return;
  const from = Math.floor(more.at[0]);
  const oldest = Math.floor(more.at[more.at.length - 1]) - chart.buckets + 1;
  const kept = points.at.map((at) => at >= oldest && at < from);
  for (const key of ["at", "value"]) points[key] = points[key].filter((_, k) => kept[k]).concat(more[key]);
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

function ago(s) {
  if (!s) return "latest";
  const [large, small, size] = s < 3600 ? ["min", "s", 60] : ["h", "min", 3600];
  const whole = Math.floor(s / size);
  const rest = Math.round((s - whole * size) / (size / 60));
  return "−" + [whole && `${whole} ${large}`, rest && `${rest} ${small}`].filter(Boolean).join(" ");
}

/** Draw a chart into its place, in the size of letters that the place has. */
function drawChart(place, points, chart) {
  const em = parseFloat(getComputedStyle(place).fontSize);
  const frame = { em, width: place.clientWidth, height: place.clientHeight, left: 4.6 * em, right: 1.2 * em, bottom: 2.5 * em };
  if (frame.width < 12 * em || frame.height < 5 * em || !points.at.length) return;
  const svg = shape("svg", { viewBox: `0 0 ${frame.width} ${frame.height}`, role: "img" });
  const notes = chart.notes.length ? ` Notes: ${chart.notes.map(([, text, total]) => (total ? `${text}: ${total}` : text)).join("; ")}.` : "";
  svg.setAttribute("aria-label", `${chart.title}. ${chart.said}${notes}`);
  place.replaceChildren(svg);
  const labels = labelled(svg, chart, frame);
  frame.right = roomBehind(labels, points, chart, frame);
  const places = placed(labels, across(points, chart, frame), frame);
  frame.top = (1.35 * Math.max(0.3, ...places.map(({ lane }) => lane + 1)) + 0.4) * em;
  const scale = { ...across(points, chart, frame), ...upwards(points, frame) };
  svg.append(...lines(scale, chart, frame), ...bars(scale, chart, frame), ...trace(points, chart, scale, frame));
  flags(svg, places, frame);
  highest(svg, points, chart, scale, frame); // over all poles
}

function across(points, chart, frame) {
  const newest = points.at[points.at.length - 1];
  const span = Math.max(newest - points.at[0], 60 / chart.width_s, 1);
  const room = frame.width - frame.left - frame.right;
  return { newest, span, x: (at) => frame.left + Math.max(0, Math.min(1, 1 - (newest - at) / span)) * room };
}

function upwards(points, frame) {
  const low = Math.min(0, ...points.value);
  const high = Math.max(0, ...points.value);
  const room = frame.height - frame.top - frame.bottom;
  const step = stepFor(Math.max(high - low, 0.1), Math.max(Math.floor(room / (2.2 * frame.em)), 2));
  const margin = 0.04 * Math.max(high - low, 0.1);
  const floor = low - margin;
  const top = high + margin;
  return { step, floor, top, y: (value) => frame.top + ((top - value) / (top - floor)) * room };
}

/** The grid with its figures, and how long ago what is below it was. */
function lines(scale, chart, frame) {
  const parts = [];
  for (let k = Math.ceil(scale.floor / scale.step); k * scale.step <= scale.top; k += 1) {
    const y = scale.y(k * scale.step);
    const text = `${Number((k * scale.step).toPrecision(6))} ${chart.unit}`.replace("-", "−");
    parts.push(shape("line", { class: k ? "grid" : "zero", x1: frame.left, x2: frame.width - frame.right, y1: y, y2: y }));
    parts.push(shape("text", { x: frame.left - 0.4 * frame.em, y: y + 0.35 * frame.em, "text-anchor": "end" }, text));
  }
  const span_s = scale.span * chart.width_s;
  const most = Math.max(Math.floor(frame.width / (9 * frame.em)), 2);
  const step_s = TIME_STEPS_S.find((s) => span_s / s <= most) || stepFor(span_s, most);
  for (let s = 0; s <= 0.97 * span_s; s += step_s) {
    const x = scale.x(scale.newest - s / chart.width_s);
    parts.push(shape("text", { x, y: frame.height - 0.3 * frame.em, "text-anchor": s ? "middle" : "end" }, ago(s)));
  }
  return parts;
}

/** A bar below the line for each run; one that goes on is an outline. */
function bars(scale, chart, frame) {
  return chart.runs.map(([start, stop]) => {
    const x = scale.x(start);
    const width = Math.max(scale.x(stop === null ? scale.newest : stop) - x, 2);
    const box = { x, width, y: frame.height - frame.bottom + 0.4 * frame.em, height: 0.6 * frame.em };
    return shape("rect", { class: stop === null ? "run going" : "run", ...box });
  });
}

/** The line from reading to reading; it breaks where nothing was measured. */
function trace(points, chart, scale, frame) {
  let path = "";
  points.at.forEach((at, k) => {
    const broken = !k || at - points.at[k - 1] > Math.max(chart.gap, 1);
    path += `${broken ? "M" : "L"}${scale.x(at).toFixed(1)} ${scale.y(points.value[k]).toFixed(1)}`;
  });
  const last = points.at.length - 1;
  const at = { cx: scale.x(points.at[last]), cy: scale.y(points.value[last]), r: 0.3 * frame.em };
  // The part below nought flows the other way: the same line once more, each half in its colour.
  const into = points.value.some((value) => value < 0) && shape("path", { class: "line into", d: path });
  if (!into) return [shape("path", { class: "line", d: path }), shape("circle", { class: "newest-point", ...at })];
  const below = shape("clipPath", { id: `below-${frame.width}-${frame.height}` });
  below.append(shape("rect", { x: 0, y: scale.y(0), width: frame.width, height: frame.height }));
  into.setAttribute("clip-path", `url(#${below.id})`);
  const newest = points.value[last] < 0 ? "newest-point into" : "newest-point";
  return [below, shape("path", { class: "line", d: path }), into, shape("circle", { class: newest, ...at })];
}

/** The highest reading's figure, beside it, where it stands out: the grid seldom has a line there. */
function highest(svg, points, chart, scale, frame) {
  const top = points.value.indexOf(Math.max(...points.value));
  const usual = [...points.value].sort((a, b) => a - b)[Math.floor(points.value.length / 2)];
  if (points.value[top] - usual < 0.2 * (scale.top - scale.floor)) return;
  const [x, y] = [scale.x(points.at[top]), scale.y(points.value[top])];
  const label = shape("text", { class: "highest", y: y + 0.35 * frame.em }, `${figure(points.value[top])} ${chart.unit}`);
  svg.append(label); // it must be in the page to be measured
  const isRoom = x + 0.6 * frame.em + label.getComputedTextLength() <= frame.width;
  label.setAttribute("x", x + (isRoom ? 0.6 : -0.6) * frame.em);
  label.setAttribute("text-anchor", isRoom ? "start" : "end");
}

/** Three digits, which is what an axis needs. */
function figure(value) {
  const digits = Math.max(0, 2 - Math.floor(Math.log10(Math.max(Math.abs(value), 1e-6))));
  return value.toFixed(Math.min(digits, 3)).replace("-", "−");
}

/** The text of each note and how much room it takes, the newest first. */
function labelled(svg, chart, frame) {
  return [...chart.notes].reverse().map(([bucket, text, total]) => {
    const label = shape("text", { class: "note" }, total ? `${text}: ${total}` : text);
    svg.append(label); // it must be in the page to be measured
    return { bucket, label, width: label.getComputedTextLength() + frame.em };
  });
}

/** How much stays free behind the newest reading, so that a text just typed stands to the right of its pole. */
function roomBehind(labels, points, chart, frame) {
  const room = frame.width - frame.left;
  const { x } = across(points, chart, { ...frame, left: 0, right: 0, width: 1 });
  const needed = labels.map(({ bucket, width }) => room - (room - width - 1) / Math.max(x(bucket), 0.01));
  return Math.max(frame.right, Math.min(0.45 * room, Math.max(...needed, 0)));
}

/** Find a row for the text of each note, to the right of its pole: what it says is of what came after it. */
function placed(labels, scale, frame) {
  const taken = Array.from({ length: frame.height < 14 * frame.em ? 1 : LANES }, () => frame.width);
  return labels.map(({ bucket, label, width }) => {
    const x = scale.x(bucket);
    // In the first row where it ends before a newer one begins, else shortened in the roomiest, if some is left of it.
    const whole = taken.findIndex((end) => x + width <= end);
    const lane = whole < 0 ? taken.indexOf(Math.max(...taken)) : whole;
    if (!shortened(label, taken[lane] - x - frame.em, frame)) return { x, label, lane: -1 };
    taken[lane] = x;
    return { x, label, lane };
  });
}

/** Shorten a text to a width; taken out, and false, where too little of it would be left to be understood. */
function shortened(label, width, frame) {
  const whole = label.textContent;
  for (let most = whole.length; label.getComputedTextLength() > width; most -= 1) {
    if (width < 4 * frame.em || most < 4) {
      label.remove();
      return false;
    }
    label.textContent = whole.slice(0, most - 1).trimEnd() + "…";
  }
  return true;
}

/** A pole with a flag for each note, and its text; of texts that have no room the older ones are left out. */
function flags(svg, places, frame) {
  const foot = frame.height - frame.bottom;
  for (const { x, label, lane } of places) {
    const y = (0.3 + 1.35 * Math.max(lane, 0)) * frame.em;
    const tip = 0.6 * frame.em;
    svg.append(shape("path", { class: "pole", d: `M${x} ${foot}V${y}` }));
    svg.append(shape("path", { class: "flag", d: `M${x} ${y}l${tip} ${0.4 * frame.em}l${-tip} ${0.4 * frame.em}Z` }));
    label.setAttribute("x", x + 0.75 * frame.em);
    label.setAttribute("y", y + 0.85 * frame.em);
  }
  for (const { label, lane } of places) if (lane >= 0) svg.append(label); // over all poles
}
