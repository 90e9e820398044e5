"""What the page's script is told of a chart: every reading or every peak, the right times, and text as text."""

import base64
import json
from dataclasses import replace

import numpy as np
import pytest
from page_reading import NASTY_LABEL
from report_scenes import SECOND_US, START_US, folded, make_cycle, make_log, make_report, with_facts

from shuntbook.analysis.one_log.log_report import CloseUp
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import Gap
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.cli.render.page.page import render
from shuntbook.cli.render.readouts import bank, readout, runs, whole_log
from shuntbook.cli.render.still_charts import bank as bank_charts
from shuntbook.cli.render.still_charts import close_up as close_up_chart
from shuntbook.cli.render.still_charts.thinning import thinned


def arrays_of(line, before=None):
    """Times [us], lowest and highest of a line, as the script gets them."""
    held = line["times"] or before["times"]
    t = np.frombuffer(base64.b64decode(held), "<i4").astype(np.int64)
    low = np.frombuffer(base64.b64decode(line["low"]), "<f4")
    high = low if line["high"] is None else np.frombuffer(base64.b64decode(line["high"]), "<f4")
    return (line["first"] * 1000 + t * line["each"] * 1000).round().astype(np.int64), low, high


def with_readings(values, quantity="current_A", step_us=SECOND_US):
    """The log with these readings."""
    us = START_US + np.arange(len(values), dtype=np.int64) * step_us
    return make_log(envelopes={quantity: folded(Chunk(us, {quantity: values}), quantity)}), us


def told(log):
    """What the chart of the whole log tells."""
    return json.loads(whole_log.whole_log(log))


def sentences(text):
    """All sentences a chart may tell."""
    return [says for span in json.loads(text)["spans"] for says in span["says"]]


def test_short_log_has_every_reading():
    """Two hours at a reading a second: each is there with its own time, to seven digits, and none besides."""
    values = np.random.default_rng(3).normal(20, 9, 7200)
    log, us = with_readings(values)
    (line,) = told(log)["lines"]
    t, low, high = arrays_of(line)
    assert (line["says"], line["unit"], line["width"]) == ("current", "A", 0.0)
    assert np.array_equal(t, us)
    assert np.array_equal(low, values.astype(np.float32))
    assert np.array_equal(low, high)


def test_long_log_has_the_envelope():
    """Of a million readings the lowest and highest of each stretch are those of the envelope; no peak is lost."""
    values = np.random.default_rng(4).normal(20, 9, 1_000_000)
    log, _ = with_readings(values)
    (line,) = told(log)["lines"]
    t, low, high = arrays_of(line)
    seen = thinned(log.envelopes["current_A"], 4000)
    assert len(t) <= 4000
    assert np.array_equal(t, seen.time_us)
    assert np.array_equal(low, seen.low.astype(np.float32))
    assert np.array_equal(high, seen.high.astype(np.float32))
    assert (low.min(), high.max()) == (np.float32(values.min()), np.float32(values.max()))
    assert line["width"] == seen.width_us / 1000


def test_few_readings_over_many_years_have_their_times():
    """Three readings in forty years: within a second, in four bytes each."""
    years_us = 20 * 365 * 86_400 * SECOND_US
    log, us = with_readings(np.array([1.0, 2.0, 3.0]), step_us=years_us)
    t, low, _ = arrays_of(told(log)["lines"][0])
    assert np.abs(t - us).max() < SECOND_US
    assert low.tolist() == [1.0, 2.0, 3.0]


def test_volts_share_the_times_of_amps():
    """What was read at the same instants has these once."""
    log, us = with_readings(np.linspace(0, 30, 600))
    volts = folded(Chunk(us, {"voltage_V": np.linspace(25, 24, 600)}), "voltage_V")
    amps, volts = told(replace(log, envelopes={**log.envelopes, "voltage_V": volts}))["lines"]
    assert volts["times"] == ""
    assert np.array_equal(arrays_of(volts, amps)[0], us)
    assert (amps["panel"], volts["panel"], volts["unit"]) == (0, 1, "V")


def test_a_gap_breaks_the_line():
    """The script is told before which reading a gap ends; a held reading stands through it."""
    log = make_log()  # its gap: 1500 s to 1740 s
    (line, *_) = told(log)["lines"]
    t, _, _ = arrays_of(line)
    (cut,) = line["cuts"]
    assert (t[cut - 1] - START_US, t[cut] - START_US) == (1500 * SECOND_US, 1740 * SECOND_US)
    held = told(with_facts(log, sampling="held", has_gaps=False))["lines"][0]
    assert (held["cuts"], held["step"]) == ([], "post")


def test_runs_findings_notes_and_gaps_are_told():
    """Each has its own times and words; a run whose end was not seen says so."""
    log = make_log()
    cycles = (*log.cycles.cycles, replace(make_cycle(3500.0), run_s=None, stop_us=None, complete=False))
    rested = replace(log.findings[0], severity="act", title="Short runs", cycles=(START_US, START_US + SECOND_US))
    log = replace(log, cycles=replace(log.cycles, cycles=cycles), findings=(rested,))
    gaps, runs_seen, cut, findings, notes = told(log)["spans"]
    assert gaps["says"] == ["no readings for 4 min"]
    assert runs_seen["says"][0] == "run 1: 1 min 12 s"
    assert cut["says"] == [f"run {len(cycles)}: its end was not seen"]
    assert runs_seen["to"][0] - runs_seen["from"][0] == 72_000
    assert findings["says"] == ["act: Short runs"]
    assert notes["says"] == ["note 1: first crates", "note 2: visitors arrive"]
    assert [span["drawn"] for span in (gaps, runs_seen, cut)] == ["gaps", "runs", "cut"]


def test_runs_and_rests_are_told():
    """Each with its length."""
    lengths = sentences(runs.run_and_rest(make_log()))
    assert "run of 1 min 12 s" in lengths
    assert any(text.startswith("rest of ") for text in lengths)


def test_whatever_stands_in_a_name_stays_text():
    """Markup and quotes cannot end the script; right-to-left marks are set apart, long texts cut."""
    log = with_facts(make_log(name=NASTY_LABEL), meter=NASTY_LABEL, markers=((START_US, NASTY_LABEL),) * 3)
    nasty = replace(log.findings[0], title=NASTY_LABEL, cycles=(START_US,))
    text = whole_log.whole_log(replace(log, findings=(nasty,)))
    assert not set("<>&\u2028\u202e") & set(text)
    says = sentences(text)
    assert [one.startswith("note 1: </script><script>hit=1") for one in says].count(True) == 1
    assert any("\N{FIRST STRONG ISOLATE}עברית\N{POP DIRECTIONAL ISOLATE}" in one for one in says)
    assert max(map(len, says)) < 160


def test_clocks_change_within_a_chart():
    """Europe/London goes back from BST to GMT on 25 October 2026 at 01:00 UTC (tz database: last Sunday of October)."""
    facts = with_facts(make_log(), zone="Europe/London").facts
    start_us = 1_792_800_000 * SECOND_US  # 24 October 2026, 00:00 UTC
    clock = readout.clock_of(facts, start_us, start_us + 4 * 86_400 * SECOND_US)
    assert clock["ahead"] == [[1_792_800_000_000, 3_600_000, "BST"], [1_792_890_000_000, 0, "GMT"]]
    assert readout.clock_of(with_facts(make_log(), undated=True).facts, 0, SECOND_US)["ahead"] == []


def test_what_lies_between_two_readings_of_a_start_is_hatched():
    """From the last reading before the start to the first after the highest; nothing where the surge was seen."""
    us = START_US + np.array([-1500, -500, 500, 1500, 2500, 3500]) * 1000
    readings = Chunk(us, {"current_A": np.array([3.0, 3.0, 80.0, 34.0, 34.0, 34.0])})
    start = CloseUp(make_cycle(0.0), readings)
    assert close_up_chart.unseen_s(start) == (-0.5, 1.5)
    assert close_up_chart.unseen_s(CloseUp(make_cycle(0.0, surge_resolved=True), readings)) is None
    assert "Hatched: there a higher draw" in render(make_report(make_log(close_up=start)))
    document = json.loads(runs.start_close_up(start, make_log().facts))
    assert document["clock"] == {"since": "seconds"}
    assert document["lines"][0]["t"] == pytest.approx([-1.5, -0.5, 0.5, 1.5, 2.5, 3.5])
    assert document["lines"][0]["values"][2] == 80.0


def test_of_many_starts_the_deepest_sags_stay():
    """Ten thousand starts are thinned; the lowest voltage of all is still drawn, and what is unknown is left out."""
    lowest = np.random.default_rng(5).uniform(22, 24, 10_000)
    cycles = [make_cycle(300.0 * i, before_V=25.0, lowest_V=float(v)) for i, v in enumerate(lowest)]
    log = make_log()
    log = replace(log, cycles=replace(log.cycles, cycles=(make_cycle(0.0), *cycles)))
    sags = bank_charts.sags_of(log, 21.5, Within(23.0, 22.5, 23.5))
    assert len(sags.lowest_V) <= 400
    assert sags.lowest_V.min() == lowest.min()
    assert bank_charts.sags_of(make_log(), 21.5, None) is None
    drawing, low_V = bank_charts.sag_at_starts(sags, log), bank_charts.range_V(sags)[0]
    assert low_V < 21.5
    assert "cut-off, 21.5 V" in drawing
    says = sentences(bank.sag_at_starts(sags, log))
    assert says[-1] == "the next start falls to 23.0 V (22.5 V to 23.5 V)"


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
    assert len(page.encode()) < 2_500_000
