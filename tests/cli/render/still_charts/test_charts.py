"""The page's pictures: true to the readings, small, and in the page's own colours."""

import json
import re
import warnings
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from report_scenes import SECOND_US, START_US, folded, make_cycle, make_log, make_report, with_facts

from shuntbook.analysis.one_log.log_report import CloseUp
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import Gap, Span
from shuntbook.analysis.stats.interval95 import Component, judged
from shuntbook.cli.render.page import figures
from shuntbook.cli.render.page.page import render
from shuntbook.cli.render.still_charts import axis, bars, run_strip, runs, svg, whole_log
from shuntbook.cli.render.still_charts import close_up as close_up_chart
from shuntbook.cli.render.still_charts.thinning import joined, thinned, within

DAY_S = 86_400
FRAMES = pytest.mark.parametrize("frame", [svg.WIDE, svg.NARROW], ids=lambda frame: frame.name)


def texts_of(drawing):
    """What is written in a drawing."""
    return re.findall(r"<text[^>]*>([^<]*)</text>", drawing)


def with_cycles(log, *cycles):
    """The log with other runs."""
    return replace(log, cycles=replace(log.cycles, cycles=cycles))


def at(start_s, stop_s):
    """From when to when, in seconds after the log's start. [us]."""
    return START_US + start_s * SECOND_US, START_US + stop_s * SECOND_US


def long_log(length_s, runs):
    """A log of so many seconds with these runs and no gap."""
    log = with_cycles(make_log(), *runs)
    us = START_US + np.linspace(0, length_s, 500).astype(np.int64) * SECOND_US
    readings = Chunk(us, {"current_A": np.full(500, 3.0)})
    span = Span(START_US, START_US + length_s * SECOND_US, 500, float(length_s), ())
    return replace(log, charge=replace(log.charge, span=span), envelopes={"current_A": folded(readings, "current_A")})


def test_chart_keeps_every_peak():
    """Putting buckets together for the screen loses no lowest and no highest reading."""
    rng = np.random.default_rng(7)
    readings = Chunk(START_US + np.arange(50_000) * SECOND_US, {"current_A": rng.normal(size=50_000)})
    whole = folded(readings, "current_A")
    thin = thinned(whole, 300)
    assert len(thin.time_us) <= 300
    assert thin.high.max() == readings.quantities["current_A"].max()
    assert thin.low.min() == readings.quantities["current_A"].min()


def test_chart_stays_small_with_many_cycles_and_gaps():
    """Ten thousand short runs and a thousand gaps make no heavier a drawing than the page can bear."""
    cycles = tuple(make_cycle(60.0 * i, 9.0, 51.0) for i in range(10_000))
    gaps = tuple(Gap(START_US + i * 600 * SECOND_US, START_US + (i * 600 + 60) * SECOND_US) for i in range(1000))
    log = make_log()
    span = Span(START_US, START_US + 600_000 * SECOND_US, 5, 1.0, gaps)
    log = replace(log, charge=replace(log.charge, span=span), cycles=replace(log.cycles, cycles=cycles))
    assert len(whole_log.whole_log(log)) < 400_000
    assert len(runs.run_and_rest(log, minimum_run_s=60.0)) < 400_000


def test_markers_close_together_share_a_label():
    """Numbers of markers never lie on top of each other; one that stands apart has its name beside it."""
    log = make_log()
    at = [START_US + second * SECOND_US for second in (100, 110, 120, 2000)]
    drawing = whole_log.whole_log(with_facts(log, markers=tuple((us, "crates") for us in at)))
    texts = re.findall(r"<text[^>]*>([^<]*)</text>", drawing)
    assert "1–3" in texts
    assert [text for text in texts if "crates" in text] == ["4 crates"]
    crowded = tuple((START_US + 120 * k * SECOND_US, "crates for everybody") for k in range(25))
    assert "crates" not in whole_log.whole_log(with_facts(log, markers=crowded[:-1]))


def test_colours_follow_the_page():
    """No colour is fixed in a drawing: all are variables that the style sheet sets for light, dark and paper."""
    drawing = whole_log.whole_log(make_log())
    assert not re.search(r"(fill|stroke): #(?!000000)[0-9a-f]{6}", drawing)
    assert "var(--draw)" in drawing


def test_label_of_a_drawing_is_escaped():
    """A drawing's label may hold any sign."""
    with svg.drawing(svg.NARROW) as figure:
        figure.add_subplot()
        drawing = svg.inline(figure, name="t", label='a "b" <c> & d')
    assert ElementTree.fromstring(drawing).attrib["aria-label"] == 'a "b" <c> & d'


def test_a_run_whose_end_was_not_seen_ends_where_it_was_last_seen():
    """It is on up to the first gap after its start, the load's next start or the log's end, never across them."""
    cut = {"stop_us": None, "complete": False}
    runs = [make_cycle(1450.0, **cut), make_cycle(2000.0, **cut), make_cycle(2300.0), make_cycle(3500.0, **cut)]
    log = with_cycles(make_log(), *runs)  # its gap: 1500 s to 1740 s; its end: 3599 s
    assert run_strip.seen_on(log) == [at(1450, 1500), at(2000, 2300), at(2300, 2372), at(3500, 3599)]


def test_a_run_whose_end_was_not_seen_looks_so():
    """Its bar is hatched, and the caption says what that means; a log of whole runs has neither."""
    log = make_log()
    caption = "A low, hatched bar is a run whose end was not seen"
    gapless = replace(log, charge=replace(log.charge, span=replace(log.charge.span, gaps=())))
    assert caption not in figures.whole_log(gapless, "t").caption
    assert "<pattern" not in whole_log.whole_log(gapless)
    cut = with_cycles(gapless, make_cycle(3500.0, stop_us=None, complete=False))
    assert caption in figures.whole_log(cut, "t").caption
    assert "<pattern" in whole_log.whole_log(cut)


def test_dense_runs_are_drawn_as_the_share_of_time():
    """Two weeks of runs every six minutes are no solid bar: the strip shows the share, and caption and scale say so."""
    runs = [make_cycle(400.0 * i, 100.0, 300.0) for i in range(14 * DAY_S // 400)]
    log = long_log(14 * DAY_S, runs)
    assert run_strip.bucket_s(log) == 6 * 3600  # 14 d / 100 is 3 h 22 min: the next length that people say
    assert "the share of each 6 h that the well pump was on" in figures.whole_log(log, "t").caption
    assert "on 25 %" in texts_of(whole_log.whole_log(log))
    assert run_strip.bucket_s(long_log(14 * DAY_S, runs[::100])) is None


def test_shares_add_up_to_the_time_on():
    """Share x measured time, summed, is the time the load was on; a stretch in a gap has no share."""
    log = make_log()  # its gap: 1500 s to 1740 s
    edges_us, share = run_strip.shares(log, 60.0)
    measured_us = np.diff(edges_us) - within([at(1500, 1740)], edges_us)
    on_us = sum(stop - start for start, stop in joined(run_strip.seen_on(log)))
    over_gap_us = within([at(1500, 1740)], np.array(joined(run_strip.seen_on(log))).ravel())[::2].sum()
    assert np.nansum(share * measured_us) == pytest.approx(on_us, abs=over_gap_us + 1)
    assert np.isnan(share[(edges_us[:-1] >= at(1500, 0)[0]) & (edges_us[1:] <= at(1740, 0)[0])]).all()
    assert (edges_us[1:-1] % (60 * SECOND_US) == 0).all()


@FRAMES
@pytest.mark.parametrize("undated", [False, True], ids=["dated", "undated"])
@pytest.mark.parametrize(
    "length_s",
    [1, 5, 30, 50, 95, 119, 300, 900, 1800, 3600, 5500, 6500, 7100, 7300, 3 * 3600, 10 * 3600, 26 * 3600, 40 * 3600,
     47 * 3600, 3 * DAY_S, 10 * DAY_S, 31 * DAY_S, 61 * DAY_S, 100 * DAY_S, 400 * DAY_S, 600 * DAY_S, 720 * DAY_S],
)  # fmt: skip
def test_time_axis_has_ticks_for_any_length(length_s, undated, frame):
    """A log of any length gets ticks told apart by what they say, and the drawing library never warns."""
    facts = with_facts(make_log(), undated=undated).facts
    start_us = 0 if undated else START_US
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with svg.drawing(frame) as figure:
            axes = figure.add_subplot()
            axes.set_yticks([])
            axis.time_axis(axes, facts, start_us, start_us + max(length_s, 2) * SECOND_US, frame)
            texts = texts_of(svg.inline(figure, name="t", label="t"))
            ticks = [text for text in texts if text and text != axes.get_xlabel()]
    assert 2 <= len(ticks) <= 10
    assert all(one != other for one, other in pairwise(ticks))


def falling_start(step_s=1.0, count=40):
    """A start over 6 A whose draw falls from 36 A as the run goes on, and the run's own figure, which is lower."""
    us = START_US + np.round((np.arange(count) - 5 + 0.5) * step_s * SECOND_US).astype(np.int64)
    second = (us - START_US) / SECOND_US
    current_A = np.where(second < 0, 6.0, 42.0 - 0.05 * second / step_s) + 60.0 * (second == step_s / 2)
    return CloseUp(make_cycle(0.0, 600.0 * step_s, run_A=27.0), Chunk(us, {"current_A": current_A}))


def test_settled_line_lies_on_the_dots():
    """Where the draw falls during the run, the line of the picture is the level its own readings settle at."""
    close_up = falling_start()
    level, x = close_up_chart.settled(close_up), close_up.readings.quantities["current_A"]
    later = x[close_up.readings.time_us > START_US + 5 * SECOND_US]
    assert later.min() <= level <= later.max()
    assert close_up_chart.before(close_up) == 6.0
    assert not later.min() <= close_up_chart.before(close_up) + close_up.cycle.run_A <= later.max()


@FRAMES
def test_close_up_is_as_read_and_the_table_above_what_was_before(frame):
    """Axis and caption say `as read`, and from where the table counts."""
    close_up = falling_start()
    assert "current as read [A]" in texts_of(charts_start(close_up, frame))
    figure = figures.start(make_log(close_up=close_up), "t")
    assert "as read: before the start that was 6.00 A, and the table counts from there" in figure.caption
    assert "above what was drawn before" in figure.tables[0].caption


def charts_start(close_up, frame=svg.WIDE):
    """The drawing of a start."""
    return close_up_chart.start_close_up(close_up, make_log().facts, frame=frame)


@pytest.mark.parametrize(("step_s", "unit"), [(0.1, "seconds"), (1.0, "seconds"), (60.0, "minutes"), (900.0, "hours")])
def test_close_up_tells_time_in_a_fit_unit(step_s, unit):
    """With a reading a minute nobody counts seconds."""
    assert f"{unit} from the start" in texts_of(charts_start(falling_start(step_s)))


def test_logarithmic_scale_is_called_so():
    """The scale of the runs and rests says what it is, in the picture and below it."""
    assert "length, logarithmic" in texts_of(runs.run_and_rest(make_log()))
    assert "The scale is logarithmic" in render(make_report())


def test_shares_of_the_uncertainty_are_drawn():
    """Components of 3 and 4 have shares of 9/25 and 16/25, the larger first."""
    sure = judged(100.0, [Component("noise", 3.0), Component("gain", 4.0)])
    texts = texts_of(bars.shares(sure))
    assert texts.index("gain") < texts.index("noise")
    assert {"64 %", "36 %"} <= set(texts)


@pytest.mark.parametrize(
    ("quantity", "low", "high", "ends"),
    [
        ("current_A", 0.0, 30.0, (-0.3, 31.8)),  # from zero, whose line is seen whole
        ("current_A", 29.0, 30.0, (-0.3, 31.8)),
        ("current_A", -10.0, 30.0, (-12.4, 32.4)),
        ("current_A", 0.0, 0.02, (-0.01, 1.06)),  # a meter's noise is no load
        ("voltage_V", 24.0, 24.02, (23.41, 24.61)),  # a steady bank is a line, not a block
        ("voltage_V", 20.0, 28.0, (19.36, 28.64)),
    ],
)
def test_an_axis_has_a_sensible_length(quantity, low, high, ends):
    """Draws begin at zero; what hardly varies does not fill the chart."""
    assert axis.value_range(quantity, low, high) == pytest.approx(ends, abs=0.02)


def test_each_colour_means_one_thing():
    """A log that only draws has nothing in the colour of what is given back; one that charges has; findings alert."""
    log = replace(long_log(3600, [make_cycle(400.0, 100.0)]), findings=())
    drawn = whole_log.whole_log(log)
    assert "var(--draw)" in drawn
    assert "var(--rest)" not in drawn
    assert "var(--alert)" not in drawn
    us = START_US + np.arange(500) * SECOND_US
    sunny = folded(Chunk(us, {"current_A": np.where(us % (100 * SECOND_US) < 50 * SECOND_US, -4.0, 20.0)}), "current_A")
    assert "var(--rest)" in whole_log.whole_log(replace(log, envelopes={"current_A": sunny}))
    found = replace(make_log().findings[0], cycles=(START_US, START_US + SECOND_US))
    assert "var(--alert)" in whole_log.whole_log(replace(log, findings=(found,)))


def test_a_drawing_says_where_its_axes_are():
    """The box of each panel and the ends of its axes, as the page's script needs them; none where nothing moves."""
    log = make_log()
    root = ElementTree.fromstring(whole_log.whole_log(log))
    panels, ends = (json.loads(root.attrib[name]) for name in ("data-panels", "data-x"))
    assert [len(panel) for panel in panels] == [6] * len(panels)
    assert all(left < right and top < bottom and low < high for left, top, right, bottom, low, high in panels)
    start_us, stop_us = axis.ends(log)
    room = (stop_us - start_us) / 100
    assert ends == pytest.approx([(start_us - room) / 1000, (stop_us + room) / 1000], abs=1)
    parts = {node.attrib["data-is"] for node in root.iter() if "data-is" in node.attrib}
    assert {"panel", "x-axis", "y-axis", "tick", "line-0", "gaps", "runs"} <= parts
    assert "data-" not in bars.shares(judged(100.0, [Component("noise", 3.0)]))
