// The stage: a few figures of one meter, for people some metres away.
"use strict";

const points = [];
let newest = null;
let chosen = 0;

function showStage(state) {
  newest = state;
  state.meters.forEach((meter, k) => {
    points[k] = points[k] || { bucket: [], low: [], high: [] };
    if (state.points[k]) join(points[k], state.points[k], meter.chart);
  });
  draw();
}

function draw() {
  if (!newest || !newest.meters.length) return;
  const meter = newest.meters[Math.min(chosen, newest.meters.length - 1)];
  const { amount, flow, load, took } = meter.stage;
  const several = newest.meters.length > 1 ? `${meter.name}, ${meter.side} (key ${chosen + 1} of ${newest.meters.length})` : "";
  const lost = !meter.connected && !ended ? `✕ ${meter.link}` : "";
  put(byId("which"), [lost, several].filter(Boolean).join(". "));
  byId("which").classList.toggle("lost", Boolean(lost));
  put(byId("amount-what"), amount.what);
  put(byId("amount-value"), amount.value);
  put(byId("amount-unit"), amount.unit);
  put(byId("amount-beside"), amount.beside);
  put(byId("flow-value"), flow.value);
  put(byId("flow-unit"), flow.unit);
  put(byId("flow-way"), flow.way);
  put(byId("flow-beside"), flow.beside);
  byId("flow").classList.toggle("into", flow.way === "into the bank");
  put(byId("load"), load);
  put(byId("took"), took);
  fit(byId("amount"));
  fit(byId("now"));
  ribbon(meter);
  if (meter.chart) drawChart(byId("drawing"), points[Math.min(chosen, points.length - 1)], meter.chart);
  put(byId("chart-title"), meter.chart ? meter.chart.title : "No chart yet");
}

/** A figure of many digits is drawn narrower, never lower. */
function fit(node) {
  const inner = node.firstElementChild;
  inner.style.transform = "";
  const share = node.clientWidth / inner.scrollWidth;
  if (share < 1) inner.style.transform = `scaleX(${share})`;
}

/** The gravest finding in full, the others by name. */
function ribbon(meter) {
  const [worst, ...others] = meter.findings;
  byId("ribbon").className = "ribbon " + (worst ? worst.severity : "none");
  put(byId("severity"), worst ? `${MARK[worst.severity]} ${worst.severity}` : "");
  put(byId("worst"), worst ? worst.plain : meter.nothing);
  put(byId("others"), others.length ? "Also: " + others.map((f) => f.title).join("; ") : "");
}

function fullScreen() {
  if (document.fullscreenElement) document.exitFullscreen();
  else if (document.documentElement.requestFullscreen) document.documentElement.requestFullscreen().catch(() => {});
}

byId("full").addEventListener("click", fullScreen);
// Short enough to be read from afar, beside the title.
Object.assign(WORDS, { ended: "Ended.", refused: "Old: not let in.", lost: "Old: not reached.", silent: "Old." });
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
