"""The picture that carries the answer: every run a mark that can be seen, every finding a bracket."""

import re
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_scenes import SECOND_US, START_US, make_cycle, make_later, make_log, make_report, with_facts, with_parts

from shuntbook.analysis.cycles.cycle import Attempt
from shuntbook.analysis.readings.measured_span import Span
from shuntbook.cli.render.page import figures
from shuntbook.cli.render.still_charts import run_rows, svg
from shuntbook.cli.render.still_charts.clock_rows import Mark, clock_rows

FRAMES = pytest.mark.parametrize("frame", [svg.WIDE, svg.NARROW], ids=lambda frame: frame.name)
DAY_S = 86_400


def texts_of(drawing):
    """What is written in a drawing."""
    return re.findall(r"<text[^>]*>([^<]*)</text>", drawing)


def short_cycling():
    """The week after, with its finding resting on all of its runs."""
    log = make_later()
    plain = "The pump started 118 times in 54.6 min. It should be at most 20 in an hour."
    titled = {"title": "The pump starts too often and runs too briefly", "plain": plain}
    starts = tuple(cycle.start_us for cycle in log.cycles.cycles)
    findings = (replace(f, cycles=starts, **titled) if f.severity == "act" else f for f in log.findings)
    return replace(log, findings=tuple(findings))


def long_log(days, runs):
    """A log of so many days with these runs and no gap."""
    log = make_log()
    span = Span(START_US, START_US + round(days * DAY_S) * SECOND_US, 500, days * DAY_S, ())
    return replace(log, charge=replace(log.charge, span=span), cycles=replace(log.cycles, cycles=tuple(runs)))


def test_each_log_is_a_row_and_each_run_a_mark_as_long_and_as_high_as_it():
    """Length in seconds on the clock of the log's zone, height in the amps of the settled run."""
    rows = clock_rows([make_log()])
    (row,) = rows.rows
    assert (row.name, row.counted, rows.quantity) == ("9 Jun 2026", "15 runs", "current_A")
    assert row.left == 11 * 3600 + 13 * 60 + 20  # 10:13:20 UTC in summer
    assert {round(mark.right - mark.left) for mark in row.marks} == {72}
    assert {mark.draw for mark in row.marks} == {31.0}
    assert [row.marks[0].left - row.left, row.gaps[0][0] - row.left] == [100.0, 1500.0]


def test_the_finding_is_bracketed_over_the_runs_that_it_rests_on():
    """It says in a few words what they are, in the colour of what asks for action; a healthy log has no bracket."""
    healthy, ill = make_log(), short_cycling()
    drawing = run_rows.run_rows([ill], name="t")
    (row,) = clock_rows([ill]).rows
    assert (row.bracket.left, row.bracket.right) == (row.marks[0].left, row.marks[-1].right)
    assert row.bracket.label in texts_of(drawing)
    assert row.bracket.label == "too often, too briefly: 118 starts in 54.6 min, 9.0 s each"
    assert "var(--alert)" in drawing
    assert clock_rows([healthy]).rows[0].bracket is None
    assert "var(--alert)" not in run_rows.run_rows([healthy], name="t")


@FRAMES
def test_the_picture_of_thousands_of_runs_stays_small(frame):
    """A day of a start every forty seconds is no heavier than a page can bear."""
    log = long_log(1, [make_cycle(40.0 * k, 9.0, 31.0) for k in range(2160)])
    assert len(run_rows.run_rows([log], name="t", frame=frame)) < 150_000


def test_no_picture_without_runs():
    """A row without a mark would say that the pump is well."""
    log = make_log()
    none = replace(log, cycles=replace(log.cycles, cycles=()))
    assert clock_rows([none]) is None
    assert clock_rows([]) is None
    assert figures.picture(make_report(none), "t") is None


marks = st.lists(
    st.tuples(st.floats(0, 3600), st.floats(0, 300), st.none() | st.floats(0, 99)).map(
        lambda run: Mark(run[0], run[0] + run[1], run[2])
    ),
    max_size=40,
).map(lambda some: sorted(some, key=lambda mark: mark.left))


@given(marks, st.floats(0.5, 60))
def test_every_mark_can_be_seen_and_told_from_its_neighbour(some, unit_px):
    """None is thinner than a pixel, paper stands between any two, and no run lies outside of all marks."""
    shown = run_rows.told_apart(some, unit_px)
    for mark in shown:
        assert mark.right - mark.left >= run_rows.LEAST_PX * unit_px * 0.999
    for one, other in pairwise(shown):
        assert other.left - one.right >= run_rows.APART_PX * unit_px * 0.999
    reach = (run_rows.LEAST_PX + run_rows.APART_PX) * unit_px * 1.001
    for mark in some:
        assert any(one.left - reach <= mark.left <= one.right + reach for one in shown)


def test_attempts_are_crosses():
    """A start that failed has a shape of its own."""
    log = make_log()
    tried = replace(log, cycles=replace(log.cycles, attempts=(Attempt(START_US + 30 * SECOND_US, 0.4, 50.0, None),)))
    assert clock_rows([tried]).rows[0].attempts == (clock_rows([log]).rows[0].left + 30,)
    assert "Crosses" in figures.picture(make_report(tried), "t").caption
    assert "Crosses" not in figures.picture(make_report(log), "t").caption


def test_a_log_over_several_days_has_a_row_for_each():
    """A run over midnight is a mark in both; every day but the first begins at midnight of the log's zone."""
    before_midnight_s = 23 * 3600 - (10 * 3600 + 13 * 60 + 20) - 60  # a minute before midnight in London's summer
    rows = clock_rows([long_log(2.5, [make_cycle(before_midnight_s, 120.0)])]).rows
    assert [row.name for row in rows] == ["9 Jun 2026", "10 Jun 2026", "11 Jun 2026"]
    assert [(row.left, row.right) for row in rows][1:] == [(0.0, DAY_S), (0.0, 23 * 3600 + 13 * 60 + 20)]
    assert [[(mark.left, mark.right) for mark in row.marks] for row in rows] == [
        [(DAY_S - 60.0, DAY_S)],
        [(0.0, 60.0)],
        [],
    ]


@pytest.mark.parametrize(("month", "day", "hours"), [(3, 29, 23), (10, 25, 25)])
def test_a_day_on_which_the_clocks_are_set_is_one_row(month, day, hours):
    """From midnight to midnight on the wall's clock, and a run in the evening stands where that showed it."""
    zone = ZoneInfo("Europe/London")
    midnight, evening, next_day = (
        datetime(2026, month, day, hour, tzinfo=zone) + timedelta(days=more) for hour, more in ((0, 0), (21, 0), (7, 1))
    )
    starts_s = [at.timestamp() - START_US / SECOND_US for at in (evening, next_day)]
    log = make_log()
    ends_us = [round(at.timestamp()) * SECOND_US for at in (midnight, midnight + timedelta(days=2))]
    span = Span(*ends_us, 500, (24 + hours) * 3600.0, ())
    cycles = tuple(make_cycle(s, 120.0) for s in starts_s)
    log = replace(log, charge=replace(log.charge, span=span), cycles=replace(log.cycles, cycles=cycles))
    rows = clock_rows([log]).rows
    assert ends_us[1] - ends_us[0] == (24 + hours) * 3600 * SECOND_US
    assert [row.name for row in rows] == [f"{day + k} {midnight:%b} 2026" for k in (0, 1)]
    assert [(row.left, row.right) for row in rows] == [(0.0, DAY_S)] * 2
    assert [[(mark.left, mark.right) for mark in row.marks] for row in rows] == [
        [(21 * 3600.0, 21 * 3600.0 + 120)],
        [(7 * 3600.0, 7 * 3600.0 + 120)],
    ]


def test_without_dates_rows_begin_at_the_start():
    """A log without dates is called by its name."""
    log = with_facts(make_log(), undated=True)
    rows = clock_rows([log])
    assert (rows.clock, rows.rows[0].name, rows.rows[0].left) == ("time since the start", "open day", 0.0)


def test_of_many_rows_the_newest_and_those_with_a_finding_are_shown_and_that_is_said():
    """Thirty days do not fit: the finding of the first one does not go under."""
    log = long_log(30, [make_cycle(DAY_S * k + 60.0) for k in range(30)])
    finding = replace(make_later().findings[1], cycles=(log.cycles.cycles[0].start_us,))
    ill = replace(log, findings=(finding,))
    rows = clock_rows([ill])
    shown = rows.shown(run_rows.MOST_WIDE)
    assert [row.name for row in shown.rows][:2] == ["9 Jun 2026", "29 Jun 2026"]
    assert (len(shown.rows), shown.left_out) == (12, len(rows.rows) - 12)
    assert "Of 31 rows" in figures.picture(make_report(ill), "t").remark
    assert figures.picture(make_report(make_log()), "t").remark == ""


@FRAMES
def test_colours_are_the_pages(frame):
    """No colour is fixed in the drawings: all are variables of the style sheet."""
    drawing = run_rows.run_rows([make_log(), short_cycling()], name="t", frame=frame)
    assert not re.search(r"(fill|stroke): #(?!000000)[0-9a-f]{6}", drawing)
    assert set(re.findall(r"var\(--(\w+)\)", drawing)) <= {"draw", "alert", "ink", "soft", "rule", "gap", "paper"}


def test_who_does_not_see_the_picture_is_told_what_it_shows():
    """The drawing's label and the table beside it have each row's runs and what was found."""
    figure = figures.picture(make_report(make_log(), short_cycling()), "t")
    assert "15 runs of about 1 min 12 s" in figure.wide
    label = clock_rows([short_cycling()]).rows[0].bracket.label
    assert label in re.search(r'aria-label="([^"]*)"', figure.wide)[1]
    assert [row[1] for row in figure.tables[0].rows] == ["15", "118"]
    assert len(figure.caption.split()) <= 25


def test_draws_into_given_axes():
    """A card has axes of its own; what they hold of rows depends on their height."""
    import matplotlib.figure

    figure = matplotlib.figure.Figure(figsize=(10, 2), dpi=72)
    axes = figure.add_axes((0.1, 0.1, 0.85, 0.85))
    run_rows.draw(axes, [long_log(30, [make_cycle(DAY_S * k + 60.0) for k in range(30)])])
    assert 1 <= len(axes.get_yticks()) < 12
    assert np.all(np.isfinite(axes.get_xlim()))


def marks_drawn(drawing):
    """How broad and how high each mark is as drawn, from left to right. [px]."""
    sizes = []
    drawn = re.findall(r'<path d="(M[^"C]*)z?[^"]*" [^>]*style="fill: var\(--draw\)', drawing)
    for path in [part for each in drawn for part in each.split("M")[1:]]:
        x, y = zip(*(map(float, pair) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path)), strict=True)
        sizes.append((max(x) - min(x), max(y) - min(y)))
    return sizes


@FRAMES
def test_marks_are_drawn_as_long_as_their_runs_and_as_high_as_their_draw(frame):
    """Twice the run is twice the breadth, half the amps half the height, to a tenth of a pixel."""
    runs = [make_cycle(100.0, 300.0), make_cycle(1000.0, 600.0, run_A=15.5), make_cycle(2000.0, 900.0, run_A=62.0)]
    log = make_log()
    log = replace(log, cycles=replace(log.cycles, cycles=tuple(runs)))
    (broad, high), (twice, half), (thrice, double) = marks_drawn(run_rows.run_rows([log], name="t", frame=frame))
    assert (twice / broad, thrice / broad) == pytest.approx((2.0, 3.0), abs=0.01)
    assert (half / high, double / high) == pytest.approx((0.5, 2.0), abs=0.01)


@FRAMES
def test_slivers_are_at_least_a_pixel_and_as_many_as_they_are(frame):
    """A hundred runs of nine seconds in an hour are a hundred marks, on a telephone as well."""
    sizes = marks_drawn(run_rows.run_rows([short_cycling()], name="t", frame=frame))
    assert len(sizes) == len(short_cycling().cycles.cycles) == 118
    assert min(broad for broad, _ in sizes) >= 1.0


def test_where_marks_stand_for_several_that_is_said():
    """Two thousand runs a day cannot be told apart on a telephone; fifteen an hour can."""
    dense = long_log(1, [make_cycle(40.0 * k, 9.0, 31.0) for k in range(2160)])
    assert "stands for several" in figures.picture(make_report(dense), "t").remark
    assert figures.picture(make_report(make_log()), "t").remark == ""


def test_a_logs_name_can_do_a_drawing_no_harm():
    """What a file is called is text of the user's: shortened, escaped, and never markup."""
    nasty = '<script>alert("x")</script> & $a_b$ ' + "long " * 30
    logs = [with_facts(make_log(), name=nasty), with_facts(make_later(), name="b")]
    drawing = run_rows.run_rows(logs, name="t")
    assert "<script" not in drawing
    assert ElementTree.fromstring(drawing).tag == "svg"
    assert max(len(row.name) for row in clock_rows(logs).rows) < 60


def test_logs_of_which_no_draw_is_known_in_common_have_no_scale():
    """Amps of one and watts of the other are no one height: their marks are half as high as there is room."""
    watts = make_log()
    cycles = tuple(replace(cycle, run_A=None) for cycle in watts.cycles.cycles)
    watts = replace(watts, cycles=replace(watts.cycles, cycles=cycles))
    amps = tuple(replace(cycle, run_W=None) for cycle in make_log().cycles.cycles)
    amps = replace(make_log(), cycles=replace(watts.cycles, cycles=amps))
    assert (clock_rows([amps]).quantity, clock_rows([watts]).quantity) == ("current_A", "power_W")
    assert clock_rows([amps, watts]).quantity is None
    assert len({round(high, 1) for _, high in marks_drawn(run_rows.run_rows([amps, watts], name="t"))}) == 1


def test_a_run_without_an_end_looks_so():
    """It is hatched, up to where it was last seen."""
    cut = make_cycle(3450.0, stop_us=None, complete=False)
    log = replace(make_log(), cycles=replace(make_log().cycles, cycles=(cut,)))
    gapless = replace(log, charge=replace(log.charge, span=replace(log.charge.span, gaps=())))
    assert "<pattern" in run_rows.run_rows([gapless], name="t")
    assert clock_rows([gapless]).rows[0].marks[0].right == clock_rows([gapless]).rows[0].right


@FRAMES
def test_flags_of_notes_carry_their_names_where_there_is_room(frame):
    """At their instants; a name that has no room before the next is shortened or left out, and many notes have none."""
    log = with_parts(make_log(), 90, 490, 2400, 3000)
    (row,) = clock_rows([log]).rows
    assert [(at - row.left, text) for at, text in row.flags] == [
        (90.0, "first crate"),
        (490.0, "second crate"),
        (2400.0, "third crate"),
    ]
    written = texts_of(run_rows.run_rows([log], name="t", frame=frame))
    assert {"second crate", "third crate"} <= set(written)
    assert ("first crate" if frame == svg.WIDE else "fir…") in written
    close = with_facts(log, markers=tuple((START_US + (100 + k) * SECOND_US, f"crate {k}") for k in range(3)))
    close = texts_of(run_rows.run_rows([close], name="t", frame=frame))
    assert [text for text in close if text.startswith("cra")] == ["crate 2"]
    beside = texts_of(run_rows.run_rows([log, with_facts(make_later(), markers=())], name="t", frame=frame))
    assert "third crate" in beside
    many = with_facts(log, markers=tuple((START_US + 100 * k * SECOND_US, f"crate {k}") for k in range(30)))
    assert not [text for text in texts_of(run_rows.run_rows([many], name="t")) if text.startswith("crate")]
