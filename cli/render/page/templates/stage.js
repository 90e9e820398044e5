// The stage: a few figures of one meter, for people some metres away.
"use strict";

const points = [];
let newest = null;
let chosen = 0;

function showStage(state) {
  newest = state;
  state.meters.forEach((meter, k) => {
    points[k] = points[k] || { at: [], value: [] };
    if (state.points[k]) join(points[k], state.points[k], meter.chart);
  });
  draw();
}

function draw() {
  if (!newest || !newest.meters.length) return;
  const meter = newest.meters[Math.min(chosen, newest.meters.length - 1)];
  const { amount, flow, load, took, parts } = meter.stage;
  const several = newest.meters.length > 1 ? `${meter.name}, ${meter.side} (key ${chosen + 1} of ${newest.meters.length})` : "";
  const lost = !meter.connected && !ended ? `✕ ${meter.link}` : "";
  put(byId("which"), [lost, several].filter(Boolean).join(". "));
  byId("which").classList.toggle("lost", Boolean(lost));
  put(byId("amount-what"), amount.what);
  put(byId("amount-value"), amount.value);
  put(byId("amount-unit"), amount.unit);
  put(byId("amount-second"), amount.second);
  put(byId("amount-second-unit"), amount.second_unit);
  put(byId("amount-beside"), amount.beside);
  put(byId("flow-value"), flow.value);
  put(byId("flow-unit"), flow.unit);
  put(byId("flow-way"), flow.way);
  put(byId("flow-second"), flow.second);
  put(byId("flow-second-unit"), flow.second_unit);
  put(byId("flow-beside"), flow.beside);
  byId("flow").classList.toggle("into", flow.way === "into the bank");
  put(byId("load"), load);
  put(byId("took"), took);
  ribbon(meter);
  byId("main").classList.toggle("over", ended);
  byId("main").classList.remove("tight");
  between(byId("parts"), parts);
  for (const node of document.querySelectorAll(".shrinks")) shrink(node);
  const least = 0.15 * Math.min(innerHeight, 0.5625 * innerWidth);
  byId("main").classList.toggle("tight", byId("drawing").clientHeight < least);
  for (const id of ["amount", "amount-other", "now", "flow-other"]) fit(byId(id));
  // What stretches came to stands above, in larger letters than a flag has.
  const notes = meter.chart && meter.chart.notes.map(([bucket, text]) => [bucket, text, ""]);
  if (meter.chart) drawChart(byId("drawing"), points[Math.min(chosen, points.length - 1)], { ...meter.chart, notes });
  put(byId("chart-title"), meter.chart ? meter.chart.title : "No chart yet");
}

/** A figure of many digits is drawn narrower, never lower. */
function fit(node) {
  const inner = node.firstElementChild;
  inner.style.transform = "";
  const share = node.clientWidth / inner.scrollWidth;
  if (share < 1) inner.style.transform = `scaleX(${share})`;
}

/** What stretches between notes came to, the newest of them where there is no room for all; after the end that is told. */
function between(list, parts) {
  const items = parts.map(({ what, value }) => make("li", "", what, " ", make("b", "", value)));
  for (let from = 0; from < Math.max(items.length, 1); from += 1) {
    const before = from && ended ? [make("li", "before", `${from} before:`)] : [];
    list.replaceChildren(...before, ...items.slice(from));
    shrink(list);
    if (!overflows(list)) break;
  }
}

function overflows(node) {
  return node.scrollWidth > node.clientWidth || node.scrollHeight > node.clientHeight + 1;
}

/** A text of many letters is written smaller, down to what can still be read from afar, rather than cut. */
function shrink(node) {
  node.style.fontSize = "";
  const least = parseFloat(getComputedStyle(byId("main")).fontSize);
  let size = parseFloat(getComputedStyle(node).fontSize);
  while (size > least && overflows(node)) {
    size = Math.max(0.94 * size, least);
    node.style.fontSize = `${size}px`;
  }
}

/** The gravest finding in full, the others by name. */
function ribbon(meter) {
  const [worst, ...others] = meter.findings;
  byId("ribbon").className = "ribbon " + (worst ? worst.severity : "none");
  put(byId("severity"), worst ? `${MARK[worst.severity]} ${worst.severity}` : "");
  put(byId("worst"), worst ? worst.plain : meter.nothing);
  const line = byId("others");
  // As many by name as there is room for.
  for (let named = others.length; named >= 0; named -= 1) {
    const names = others.slice(0, named).map((f) => f.title);
    if (named < others.length) names.push(`${others.length - named} more`);
    put(line, others.length ? "Also: " + names.join("; ") : "");
    if (line.scrollWidth <= line.clientWidth) break;
  }
}

function fullScreen() {
  if (document.fullscreenElement) document.exitFullscreen();
  else if (document.documentElement.requestFullscreen) document.documentElement.requestFullscreen().catch(() => {});
}

byId("full").addEventListener("click", fullScreen);
// Short enough to be read from afar, beside the title.
Object.assign(WORDS, { ended: "It is over:", refused: "Old: not let in.", lost: "Old: not reached.", silent: "Old." });
onKey("f", fullScreen);
onKey("p", () => location.assign("/"));
for (let k = 0; k < 9; k += 1) {
  onKey(String(k + 1), () => {
    if (newest && k < newest.meters.length) chosen = k;
    draw();
  });
}
new ResizeObserver(draw).observe(byId("drawing"));
followWhileSeen(showStage);
