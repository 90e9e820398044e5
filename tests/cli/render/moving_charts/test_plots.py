"""The charts that can be moved: they hold every reading or every peak, tell times rightly, and take text as text."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from bokeh.document import Document
from bokeh.models import ColumnDataSource
from page_reading import NASTY_LABEL
from report_scenes import SECOND_US, START_US, folded, make_cycle, make_log, make_report, with_facts

from shuntbook.analysis.one_log.log_report import CloseUp
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import Gap
from shuntbook.analysis.stats.interval95 import Component, Within, judged
from shuntbook.cli.render.moving_charts import bank, whole_log
from shuntbook.cli.render.moving_charts import chart as plot
from shuntbook.cli.render.page.page import render
from shuntbook.cli.render.still_charts import bank as bank_of_still_charts
from shuntbook.cli.render.still_charts import bars, close_up


def read_of(text):
    """What a chart's line reads from, as the library itself reads the chart: says and columns, in order."""
    chart = json.loads(re.sub(r'"var\(--\w+\)"', '"#000000"', text))  # the page's script puts the colours in
    document = Document.from_json(chart["item"]["doc"])
    found = {source.name: source.data for source in document.select({"type": ColumnDataSource})}
    return [(says, found[name]) for name, says, *_ in chart["reads"]]


def with_readings(values, quantity="current_A", step_us=SECOND_US):
    """The log with these readings."""
    us = START_US + np.arange(len(values), dtype=np.int64) * step_us
    return make_log(envelopes={quantity: folded(Chunk(us, {quantity: values}), quantity)}), us


def test_short_log_has_every_reading():
    """Two hours at a reading a second: each is there with its own time, to seven digits, and none besides."""
    values = np.random.default_rng(3).normal(20, 9, 7200)
    log, us = with_readings(values)
    says, data = read_of(whole_log.whole_log(log, "t"))[1]
    assert says == "current"
    assert np.array_equal(data["t"], us / 1000)
    assert np.allclose(data["low"], values, rtol=1e-6, atol=0)
    assert np.array_equal(data["low"], data["high"])


def test_long_log_has_every_peak():
    """Of a million readings no bucket's lowest or highest is lost, and the chart stays small."""
    values = np.random.default_rng(4).normal(20, 9, 1_000_000)
    log, us = with_readings(values)
    _, data = read_of(whole_log.whole_log(log, "t"))[1]
    assert len(data["t"]) <= 12_000
    at = np.searchsorted(data["t"], us[values.argmax()] / 1000, side="right") - 1
    assert data["high"][at] == np.float32(values.max())
    assert data["low"].min() == np.float32(values.min())


def test_a_gap_breaks_the_line():
    """Between the readings on either side of a gap there is one that is none; a held reading stands through it."""
    log = make_log()  # its gap: 1500 s to 1740 s
    _, data = read_of(whole_log.whole_log(log, "t"))[1]
    assert np.flatnonzero(np.isnan(data["low"])).tolist() == [1501]
    held = with_facts(log, sampling="held")
    assert not np.isnan(read_of(whole_log.whole_log(held, "t"))[1][1]["low"]).any()


def test_runs_findings_notes_and_gaps_are_told():
    """Each has its own times and words; a run whose end was not seen says so."""
    log = make_log()
    cycles = (*log.cycles.cycles, replace(make_cycle(3500.0), run_s=None, stop_us=None, complete=False))
    rested = replace(log.findings[0], severity="act", title="Short runs", cycles=(START_US, START_US + SECOND_US))
    log = replace(log, cycles=replace(log.cycles, cycles=cycles), findings=(rested,))
    gaps, _, _, runs, findings, notes = (data for _, data in read_of(whole_log.whole_log(log, "t")))
    assert list(gaps["said"]) == ["no readings for 4 min"]
    assert runs["said"][0] == "run 1: 1 min 12 s"
    assert runs["said"][-1] == f"run {len(cycles)}: its end was not seen"
    assert (runs["to"][0] - runs["from"][0]) == 72_000
    assert list(findings["said"]) == ["act: Short runs"]
    assert list(notes["said"]) == ["note 1: first crates", "note 2: visitors arrive"]


def test_whatever_stands_in_a_name_stays_text():
    """Markup, separators and quotes cannot end the script; right-to-left marks are set apart, long texts cut."""
    log = with_facts(make_log(name=NASTY_LABEL), meter=NASTY_LABEL, markers=((START_US, NASTY_LABEL),) * 3)
    nasty = replace(log.findings[0], title=NASTY_LABEL, cycles=(START_US,))
    text = whole_log.whole_log(replace(log, findings=(nasty,)), "t")
    assert not set("<>&\u2028\u202e") & set(text)
    said = [said for _, data in read_of(text) for said in data.get("said", [])]
    assert [one.startswith("note 1: </script><script>hit=1") for one in said].count(True) == 1
    assert any("\N{FIRST STRONG ISOLATE}עברית\N{POP DIRECTIONAL ISOLATE}" in one for one in said)
    assert max(map(len, said)) < 160


def test_the_same_chart_is_the_same_bytes():
    """The library counts its ids on and on; a chart's own begin at 1."""
    one, two = (whole_log.whole_log(make_log(), "t") for _ in range(2))
    assert one == two
    assert set(re.findall(r'"id":"(\D+)\d', one)) == {"t-"}


def test_clocks_change_within_a_chart():
    """Europe/London goes back from BST to GMT on 25 October 2026 at 01:00 UTC (tz database: last Sunday of October)."""
    facts = with_facts(make_log(), zone="Europe/London").facts
    start_us = 1_792_800_000 * SECOND_US  # 24 October 2026, 00:00 UTC
    clock = plot.clock_of(facts, start_us, start_us + 4 * 86_400 * SECOND_US)
    assert clock["ahead"] == [[1_792_800_000_000, 3_600_000, "BST"], [1_792_890_000_000, 0, "GMT"]]
    assert plot.clock_of(with_facts(make_log(), undated=True).facts, 0, SECOND_US)["ahead"] == []


def test_what_lies_between_two_readings_of_a_start_is_hatched():
    """From the last reading before the start to the first after the highest; nothing where the surge was seen."""
    us = START_US + np.array([-1500, -500, 500, 1500, 2500, 3500]) * 1000
    readings = Chunk(us, {"current_A": np.array([3.0, 3.0, 80.0, 34.0, 34.0, 34.0])})
    assert close_up.unseen_s(CloseUp(make_cycle(0.0), readings)) == (-0.5, 1.5)
    assert close_up.unseen_s(CloseUp(make_cycle(0.0, surge_resolved=True), readings)) is None
    assert "Hatched: there a higher draw" in render(make_report(make_log(close_up=CloseUp(make_cycle(0.0), readings))))


def test_of_many_starts_the_deepest_sags_stay():
    """Ten thousand starts are thinned; the lowest voltage of all is still drawn, and what is unknown is left out."""
    lowest = np.random.default_rng(5).uniform(22, 24, 10_000)
    cycles = [make_cycle(300.0 * i, before_V=25.0, lowest_V=float(v)) for i, v in enumerate(lowest)]
    log = make_log()
    log = replace(log, cycles=replace(log.cycles, cycles=(make_cycle(0.0), *cycles)))
    sags = bank_of_still_charts.sags_of(log, 21.5, Within(23.0, 22.5, 23.5))
    assert len(sags.lowest_V) <= 400
    assert sags.lowest_V.min() == lowest.min()
    assert bank_of_still_charts.sags_of(make_log(), 21.5, None) is None
    drawing, low_V = bank_of_still_charts.sag_at_starts(sags, log), bank_of_still_charts.range_V(sags)[0]
    assert low_V < 21.5
    assert "cut-off, 21.5 V" in drawing
    told = read_of(bank.sag_at_starts(sags, log, "t"))
    assert told[1][1]["said"] == ["the next start falls to 23.0 V (22.5 V to 23.5 V)"]


def test_shares_of_the_uncertainty_are_drawn():
    """Components of 3 and 4 have shares of 9/25 and 16/25, the larger first."""
    sure = judged(100.0, [Component("noise", 3.0), Component("gain", 4.0)])
    texts = re.findall(r"<text[^>]*>([^<]*)</text>", bars.shares(sure))
    assert texts.index("gain") < texts.index("noise")
    assert {"64 %", "36 %"} <= set(texts)


@pytest.mark.timeout(300)
def test_page_of_a_year_is_small_enough():
    """A year at a reading a second, at its worst: random peaks, a hundred runs a day, a thousand gaps and notes."""
    rng, year_s = np.random.default_rng(6), 365 * 86_400
    us = START_US + np.linspace(0, year_s, 12_000).astype(np.int64) * SECOND_US
    low, cycles = rng.normal(0, 9, 12_000), tuple(make_cycle(860.0 * i + rng.uniform(0, 60)) for i in range(36_500))
    log = make_log()
    seen = {name: replace(log.envelopes[name], time_us=us, width_us=year_s * 83, low=low, high=low + rng.uniform(1, 90))
            for name in ("current_A", "voltage_V")}  # fmt: skip
    gaps = tuple(Gap(START_US + i * 30_000 * SECOND_US, START_US + (i * 30_000 + 600) * SECOND_US) for i in range(1000))
    span = replace(log.charge.span, stop_us=int(us[-1]), gaps=gaps)
    markers = tuple((START_US + i * 31_000 * SECOND_US, f"crates {i}") for i in range(1000))
    log = with_facts(replace(log, envelopes=seen, charge=replace(log.charge, span=span)), markers=markers)
    page = render(make_report(replace(log, cycles=replace(log.cycles, cycles=cycles))))
    assert len(page.encode()) < 5_000_000
