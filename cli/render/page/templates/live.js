// The live page: every meter's figures, answers, findings, chart and tables.
"use strict";

const meters = []; // of each meter: its section, its points, and what it was last given
const told = new Set();

/** Build a part anew, but only if what it shows has changed: what a reader is at must not move under their hands. */
function renew(meter, place, value, build) {
  const text = JSON.stringify(value);
  if (meter.given[place] === text) return;
  meter.given[place] = text;
  const part = meter.node.querySelector("." + place);
  const open = new Set([...part.querySelectorAll("details[open]")].map((fold) => fold.dataset.code));
  part.replaceChildren(...build(value));
  for (const fold of part.querySelectorAll("details")) fold.open = open.has(fold.dataset.code);
}

function showPage(state) {
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
    const meter = { node, given: {}, points: { at: [], value: [] }, chart: null, size: "" };
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
  renew(meter, "took", given.took, (took) => took.map(({ what, value, beside }) =>
    make("div", "", make("dt", "", what), make("dd", "", make("span", "value", value), make("span", "beside", beside)))));
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
    list.append(make("div", "", make("dt"), dd, make("dd", "way")));
  }
  given.forEach(({ word, value, unit, way }, k) => {
    const place = list.children[k];
    put(place.querySelector("dt"), word);
    put(place.querySelector(".value"), value);
    put(place.querySelector(".unit"), " " + unit);
    put(place.querySelector(".way"), way);
    place.className = way === "into the bank" ? "into" : way ? "flows" : "";
  });
}

function findings([found, nothing]) {
  if (!found.length) return [make("p", "", nothing)];
  return found.map((f) => {
    const mark = make("span", "", MARK[f.severity]);
    mark.setAttribute("aria-hidden", "true");
    const severity = make("span", "severity", mark, " " + f.severity);
    const why = make("details", "", make("summary", "", "Why, and what to check first"), make("p", "", f.evidence));
    why.dataset.code = f.code;
    if (f.check_first) why.append(make("p", "", make("b", "", "Check first."), " " + f.check_first));
    why.append(make("p", "limit", make("b", "", "Limit."), ` ${f.limit} `, make("b", "", "Source."), ` ${f.source}`));
    return make("article", "finding " + f.severity, make("h4", "title", severity, " " + f.plain), why);
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
  byId("newest").classList.toggle("sr", state.ended); // what is seen says so already
  if (state.ended) put(byId("newest"), "The capture has ended.");
  else if (fresh.length) put(byId("newest"), "Newest: " + fresh.join("; ") + ".");
}

function draw(meter) {
  const { chart, node } = meter;
  node.querySelector(".trace").hidden = !chart;
  if (!chart) return;
  put(node.querySelector(".chart-title"), chart.title);
  put(node.querySelector(".chart-said"), chart.said);
  drawChart(node.querySelector(".drawing"), meter.points, chart);
}

onKey("s", () => location.assign("/stage"));
followWhileSeen(showPage);
