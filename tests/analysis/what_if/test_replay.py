"""The runs of a log with another tank: against water followed through the tank itself, and by law."""

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from scenes_parts import hose, well_runs

from shuntbook.analysis.what_if.replay import replayed, tank_s

DAY_S, FLOW = 86400.0, 40.0


def pumped(draws, usable_L):
    """Return rests and runs of a pump, from the second run on."""
    runs = np.array([run for run in well_runs(draws, usable_L, FLOW, DAY_S) if run[1] < DAY_S])
    return runs[1:, 0] - runs[:-1, 1], runs[1:, 1] - runs[1:, 0]


def test_a_tank_gives_no_more_than_the_short_runs_beside_it():
    """Of 21 runs of 10 to 210 s after long rests only one in twenty is shorter, which may have been cut: 20 s."""
    assert tank_s(np.full(21, 1e6), np.arange(10.0, 211.0, 10.0)) == pytest.approx(20.0)
    # Of equal runs of 100 s the rests tell: a quarter of these are as if of a tank of 25 s and less.
    assert tank_s(100 / np.arange(1.0, 6.0), np.full(5, 100.0)) == pytest.approx(100 / 5)


@pytest.mark.parametrize("draw", [2.0, 10.0, 20.0, 35.0])
@pytest.mark.parametrize("times", [0.5, 2.0, 3.7])
def test_a_steady_draw_gives_the_closed_form(draw, times):
    """On = D / (Qp - Qd), off = D / Qd, whichever tank (from memory, lift stations)."""
    usable_L = 30.0
    on_s, off_s = 60 * usable_L / (FLOW - draw), 60 * usable_L / draw
    got = replayed(np.full(200, off_s), np.full(200, on_s), times)
    assert tank_s(np.full(200, off_s), np.full(200, on_s)) == pytest.approx(60 * usable_L / FLOW)
    assert got.runs_s == pytest.approx(times * on_s)
    assert np.diff(got.starts_s) == pytest.approx(times * (on_s + off_s))


def test_a_rest_in_which_nothing_was_drawn_at_first_waits_as_long():
    """A tank of 60 s, rests of 1,000 s: taps that take 0.4 of the pump in a run of 100 s were opened 150 s before it.

    Half the tank is empty after 75 s of them; the pump then runs for 50 s, and there are two such runs in each 250 s.
    """
    off_s, run_s = np.full(40, 1000.0), np.full(40, 100.0)
    run_s[:4] = 60.0  # nobody drew anything: these show the tank
    got = replayed(off_s, run_s, 0.5)
    assert np.diff(got.starts_s[-6:]) == pytest.approx([125, 975, 125, 975, 125])
    assert got.runs_s[-5:] == pytest.approx(50)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("times", [0.4, 2.5])
def test_water_drawn_by_people_is_drawn_again(seed, times):
    """Hoses of any flow and length: starts and usual run are those of the other tank, to a few percent."""
    rng = np.random.default_rng(seed)
    draws = hose(rng, DAY_S, (300.0, 1800.0), (60.0, 1500.0), (3.0, 30.0))
    now, then = pumped(draws, 40.0), pumped(draws, times * 40.0)
    got = replayed(*now, times)
    assert len(got.runs_s) == pytest.approx(len(then[1]), rel=0.05, abs=2)
    assert np.median(got.runs_s) == pytest.approx(np.median(then[1]), rel=0.06)


def test_with_the_same_tank_nothing_changes():
    rng = np.random.default_rng(3)
    off_s, run_s = pumped(hose(rng, DAY_S, (300.0, 1800.0), (60.0, 1500.0), (3.0, 30.0)), 40.0)
    got = replayed(off_s, run_s, 1.0)
    assert len(got.runs_s) == len(run_s)
    assert got.runs_s == pytest.approx(run_s, abs=1e-6)


@examples(13, 40)
@given(
    rests=st.lists(st.floats(5, 5000), min_size=6, max_size=60), tank=st.floats(5, 300),
    more=st.lists(st.floats(0, 3), min_size=60, max_size=60), times=st.floats(0.2, 8),
)  # fmt: skip
def test_no_run_is_shorter_than_the_tank_and_no_water_is_lost(rests, tank, more, times):
    off_s = np.array(rests)
    run_s = tank * (1 + np.array(more[: len(rests)]))
    got = replayed(off_s, run_s, times)
    least = times * tank_s(off_s, run_s)
    assert (got.runs_s >= least * (1 - 1e-6)).all()
    # What was pumped is what was drawn, but for the tankful that is there at first.
    assert abs(got.runs_s.sum() - run_s.sum()) <= least * (1 + 1e-6)


@pytest.mark.parametrize("longer", [0.5, 1.0, 1.8, 3.0])
def test_taps_that_are_open_for_longer_take_so_much_more(longer):
    """What the pump gives is what is drawn: in its seconds so many times as much, to a tank at the end."""
    rng = np.random.default_rng(3)
    off_s, run_s = pumped(hose(rng, DAY_S, (120, 900), (900, 4000), (8.0, 24.0)), 30.0)
    got = replayed(off_s, run_s, 1.0, longer=longer)
    assert got.runs_s.sum() == pytest.approx(longer * run_s.sum(), abs=tank_s(off_s, run_s))


def test_a_steady_draw_for_twice_as_long_has_twice_the_runs():
    """A rest that drains the tank from its first second on leaves no time between: the cycles go on, alike."""
    got = replayed(np.full(50, 120.0), np.full(50, 60.0), 1.0, longer=2.0)
    assert len(got.runs_s) == 100
    assert got.runs_s == pytest.approx(60.0)
    assert np.diff(got.starts_s) == pytest.approx(180.0)
