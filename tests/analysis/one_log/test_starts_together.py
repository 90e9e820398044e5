"""All starts of a load laid over each other: the usual one is a median, whatever their order."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_scenes import SECOND_US, make_cycle

from shuntbook.analysis.cycles.cycle import Cycles, CycleSummary
from shuntbook.analysis.one_log.log_report import CloseUp
from shuntbook.analysis.one_log.starts_together import LEAST, chosen_starts, starts_together
from shuntbook.analysis.readings.chunk import Chunk


def make_start(top_A, *, base_A=2.0, phase_s=0.03, run_s=60.0, at_s=100.0, run_A=30.0):
    """A start read ten times a second: its top at the first reading after it, then settled."""
    cycle = make_cycle(at_s, run_s=run_s, surge_A=top_A, run_A=run_A, surge_resolved=True)
    seconds = np.arange(-20, 100) / 10 + phase_s
    draw = np.where(seconds < 0, 0.0, np.where(seconds < 0.1, top_A, run_A))
    draw = np.where(seconds > run_s, 0.0, draw)
    us = cycle.start_us + np.round(seconds * SECOND_US).astype(np.int64)
    return CloseUp(cycle, Chunk(us, {"current_A": base_A + draw}))


starts = st.builds(
    make_start,
    st.floats(31, 300),
    base_A=st.floats(-20, 20),
    phase_s=st.floats(0.001, 0.099),
    run_s=st.floats(0.5, 60),
)


@given(st.lists(starts, min_size=LEAST, max_size=9), st.randoms())
def test_the_order_of_starts_changes_nothing(some, random):
    """The usual start is that of a set of starts."""
    mixed = list(some)
    random.shuffle(mixed)
    one, other = starts_together(some, "instant"), starts_together(mixed, "instant")
    assert np.array_equal(one.usual, other.usual, equal_nan=True)
    assert (one.surge, one.running) == (other.surge, other.running)


@given(st.lists(starts, min_size=LEAST, max_size=9), st.sampled_from(["instant", "mean", "held"]))
def test_the_usual_start_lies_between_the_lowest_and_the_highest(some, sampling):
    """A median is no more and no less than what was read at that instant."""
    together = starts_together(some, sampling)
    known = ~np.isnan(together.usual)
    assert known.any()
    each = together.each[:, known]
    assert (together.usual[known] >= np.nanmin(each, axis=0)).all()
    assert (together.usual[known] <= np.nanmax(each, axis=0)).all()


def test_starts_are_laid_above_what_was_drawn_before():
    """Clouds and other loads move the level before a start, not the start itself."""
    some = [make_start(130.0, base_A=base_A) for base_A in (-7.0, 1.1, 12.0)]
    together = starts_together(some, "instant")
    assert together.surge == pytest.approx(130.0)
    assert together.running == 30.0
    assert np.nanmax(together.usual) == pytest.approx(130.0, rel=0.2)
    before = (together.seconds > -1.9) & (together.seconds < -0.2)
    assert together.usual[before] == pytest.approx(0.0)
    assert together.usual[(together.seconds > 1.0) & (together.seconds < 9.0)] == pytest.approx(30.0)


def test_a_run_that_ended_says_nothing_of_a_start_after_its_end():
    """Two runs of a second do not pull the usual start down to nothing where only one was still running."""
    some = [make_start(100.0, run_s=1.0), make_start(100.0, run_s=1.0), make_start(100.0, run_s=60.0)]
    together = starts_together(some, "instant")
    assert np.isnan(together.usual[together.seconds > 1.5]).all()


def test_too_few_starts_show_nothing_together():
    """One start has a chart of its own."""
    assert starts_together([make_start(100.0)] * (LEAST - 1), "instant") is None
    assert starts_together([], "instant") is None


@given(st.integers(0, 300), st.integers(2, 80), st.randoms())
def test_starts_are_chosen_evenly_with_the_highest_and_the_lowest(count, most, random):
    """At most so many; the extremes are never left out, and none comes twice."""
    runs = [make_cycle(100.0 * k, surge_ratio=1 + random.random(), surge_resolved=True) for k in range(count)]
    slow = make_cycle(1e6, surge_ratio=9.0, surge_resolved=False)
    cycles = Cycles((*runs, slow), CycleSummary(count, None, None, None, None), "current_A")
    chosen = chosen_starts(cycles, most)
    assert len(chosen) == len({cycle.start_us for cycle in chosen}) <= most
    assert slow not in chosen
    if runs:
        ratios = [cycle.surge_ratio for cycle in chosen]
        assert max(ratios) == max(cycle.surge_ratio for cycle in runs)
        assert count == 1 or min(ratios) == min(cycle.surge_ratio for cycle in runs)
    assert [c.start_us for c in chosen] == sorted(c.start_us for c in chosen)


def test_means_reach_back_and_what_was_read_by_eye_stands():
    """A mean holds from the reading before it, a value read by eye until the next."""
    cycle = make_cycle(100.0, surge_resolved=True)
    us = cycle.start_us + np.array([-1000, 0, 1000, 2000]) * 1000
    start = CloseUp(cycle, Chunk(us, {"current_A": np.array([0.0, 10.0, 20.0, 30.0])}))
    some = [start, replace(start), replace(start)]

    def at(sampling, second):
        together = starts_together(some, sampling)
        return together.usual[np.abs(together.seconds - second).argmin()]

    assert (at("instant", 0.5), at("mean", 0.5), at("held", 0.5)) == (15.0, 20.0, 10.0)
