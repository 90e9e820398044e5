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


def test_nothing_is_made_up_before_the_first_and_after_the_last_reading():
    """What lies between two readings of a start is known, their own instants included; beyond them nothing is."""
    cycle = make_cycle(100.0, surge_resolved=True)
    us = cycle.start_us + np.array([-1000, 0, 1000, 2000]) * 1000
    start = CloseUp(cycle, Chunk(us, {"current_A": np.array([0.0, 10.0, 20.0, 30.0])}))
    together = starts_together([start] * LEAST, "instant")
    known = together.seconds[~np.isnan(together.usual)]
    assert (known[0], known[-1]) == (-1.0, 2.0)
    assert (together.seconds[0], together.seconds[-1]) == (-2.0, 10.0)


def test_the_last_reading_before_the_stop_is_the_runs():
    """A run of two seconds has the reading that stands at its stop, and none after it."""
    cycle = make_cycle(100.0, run_s=2.0, surge_resolved=True)
    us = cycle.start_us + np.array([-1000, 0, 1000, 2000, 3000]) * 1000
    start = CloseUp(cycle, Chunk(us, {"current_A": np.array([0.0, 10.0, 20.0, 30.0, 0.0])}))
    assert np.nanmax(starts_together([start] * LEAST, "instant").usual) == 30.0


def test_starts_have_one_quantity():
    """Amps where all have them, else watts where all have those; running is told in the same."""
    amps = make_start(100.0)
    watts = CloseUp(amps.cycle, Chunk(amps.readings.time_us, {"power_W": 25 * amps.readings.quantities["current_A"]}))
    assert starts_together([amps] * LEAST, "instant").quantity == "current_A"
    assert starts_together([watts] * LEAST, "instant").quantity == "power_W"
    assert starts_together([watts] * LEAST, "instant").running == amps.cycle.run_W
    assert starts_together([amps, amps, watts], "instant") is None


def test_sixty_starts_are_the_most_and_reach_over_the_whole_log():
    """Of two hundred the first and the last are among them."""
    runs = tuple(make_cycle(100.0 * k, surge_ratio=2.0 + (k % 7), surge_resolved=True) for k in range(200))
    chosen = chosen_starts(Cycles(runs, CycleSummary(200, None, None, None, None), "current_A"))
    assert 58 <= len(chosen) <= 60
    assert (chosen[0], chosen[-1]) == (runs[0], runs[-1])
    assert {cycle.surge_ratio for cycle in chosen} >= {2.0, 8.0}


def test_a_start_without_readings_on_both_sides_is_left_out():
    """Nobody can tell what it stands on, or what it was."""
    whole = make_start(100.0)
    us = whole.readings.time_us
    after = CloseUp(whole.cycle, whole.readings.part(20, 120))
    before = CloseUp(whole.cycle, whole.readings.part(0, 20))
    assert (us[19] < whole.cycle.start_us) and (us[20] >= whole.cycle.start_us)
    together = starts_together([whole, after, before, whole, whole], "instant")
    assert len(together.each) == 3
    assert starts_together([whole, whole, after, before], "instant") is None


def test_a_reading_at_the_very_start_is_enough_of_it():
    """And one before it to stand on: its top is what that reading shows."""
    cycle = make_cycle(100.0, surge_resolved=True)
    us = cycle.start_us + np.array([-2000, -1000, 0]) * 1000
    start = CloseUp(cycle, Chunk(us, {"current_A": np.array([2.0, 2.0, 12.0])}))
    assert starts_together([start] * LEAST, "instant").surge == 10.0


def test_half_of_the_starts_make_what_is_usual():
    """Two of four still ran: their median is told; of one in four it is not."""
    two = [make_start(100.0, run_s=1.0)] * 2 + [make_start(100.0)] * 2
    late = starts_together(two, "instant").usual
    assert late[300] == pytest.approx(30.0)
    one = [make_start(100.0, run_s=1.0)] * 3 + [make_start(100.0)]
    assert np.isnan(starts_together(one, "instant").usual[300])


def test_a_very_fast_meter_makes_no_finer_a_grid_than_can_be_seen():
    """A reading a millisecond: the grid has a hundredth of a second."""
    cycle = make_cycle(100.0, surge_resolved=True)
    seconds = np.arange(-2000, 10_000) / 1000
    us = cycle.start_us + np.round(seconds * SECOND_US).astype(np.int64)
    start = CloseUp(cycle, Chunk(us, {"current_A": np.where(seconds < 0, 1.0, 31.0)}))
    together = starts_together([start] * LEAST, "instant")
    assert np.diff(together.seconds) == pytest.approx(0.01)
    assert together.surge == 30.0
