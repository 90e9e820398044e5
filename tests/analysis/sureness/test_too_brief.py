"""Runs too brief for the readings: what the others took is a lower bound then, and never a total that pretends."""

from dataclasses import replace

import numpy as np
import pytest
from examples import examples, many
from hypothesis import given
from hypothesis import strategies as st
from load_scenes import Load, Scene, cycles_of, gap_limit_s
from readings import how

from shuntbook.analysis.health.health import sampling_too_slow
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.sureness.cycle_intervals import cycles_with_intervals
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED

HOUR_S = 3600.0
DRAW_A = 18.0
#: Shares by which the runs of a log differ, and rests between them. [1], [s]
SPREAD, REST_S = (0.7, 1.3), (20.0, 60.0)


def runs_of(run_s, seed, span_s, spread=SPREAD):
    """Starts and stops of a pump whose runs last about so long."""
    rng, now, runs = np.random.default_rng(seed), 60.0, []
    while now + 3 * run_s < span_s:
        stop = now + run_s * rng.uniform(*spread)
        runs.append((now, stop))
        now = stop + rng.uniform(*REST_S)
    return runs


def sure(scene, cuts=()):
    """The runs of a scene with their intervals."""
    reading = how("dc", "instant", gap_limit_s(scene.every_s), scene.every_s)
    cycles = cycles_of(scene.chunk(), scene.every_s, cuts=cuts)
    return cycles_with_intervals(cycles, NOTHING_STATED, reading, noise=scene.noise_A)


def took_Ah(runs):
    """What such a pump took in truth. [Ah]."""
    return DRAW_A * sum(stop - start for start, stop in runs) / HOUR_S


@pytest.mark.parametrize("run_s", [5.0, 8.0, 11.0, 15.0])
@pytest.mark.parametrize("every_s", [2.0, 3.0, 4.0, 7.0, 10.0])
@pytest.mark.parametrize("seed", range(many(1, 8)))
def test_what_is_told_of_brief_runs_holds_the_truth(run_s, every_s, seed):
    """The interval holds it, or the figure is less and says how many runs there were at the least."""
    runs = runs_of(run_s, seed, 4 * HOUR_S)
    cycles = sure(Scene(Load(DRAW_A, runs), every_s, 4 * HOUR_S, seed=seed))
    summary, truth_Ah = cycles.summary, took_Ah(runs)
    if summary.too_brief:
        assert summary.count + summary.too_brief <= len(runs)
        assert summary.charge_u95_Ah is None
        assert summary.charge_Ah is None or summary.charge_Ah < truth_Ah
        check = sampling_too_slow(Runs(cycles, every_s), limits_for(None, None))
        assert check.outcome == "found"
        assert str(summary.too_brief) in check.finding.plain
    elif summary.count:
        assert abs(summary.charge_Ah - truth_Ah) <= summary.charge_u95_Ah


@pytest.mark.parametrize("sun_A", [0.0, 30.0])
def test_most_runs_of_two_readings_are_seen_to_be_missing(sun_A):
    """Some 8 s, read every 4 s: one in four has three readings; also while an array charges the bank all the time."""
    runs = runs_of(8.0, 3, 6 * HOUR_S)
    summary = sure(Scene(Load(DRAW_A, runs), 4.0, 6 * HOUR_S, base_A=2.0 - sun_A)).summary
    assert 0.8 * len(runs) < summary.count + summary.too_brief <= len(runs)
    assert summary.charge_Ah < took_Ah(runs)


@pytest.mark.parametrize("every_s", [2.0, 4.0, 10.0])
@pytest.mark.parametrize("seed", range(many(2, 10)))
def test_runs_that_are_long_enough_keep_their_interval(every_s, seed):
    """Clouds, a fridge, and a kettle beside a sound pump are no brief runs of it."""
    rng, span_s = np.random.default_rng(seed), 8 * HOUR_S
    at_s = np.sort(rng.uniform(0, span_s, 6))
    others = [
        Load(4.0, [(float(a), float(a + 600.0)) for a in np.arange(300.0, span_s, 2000.0)], surge=4.0),
        Load(60.0, [(float(a), float(a + 180.0)) for a in at_s]),
    ]
    runs = runs_of(20 * every_s, seed, span_s)
    summary = sure(Scene(Load(DRAW_A, runs, surge=3.0), every_s, span_s, drift_A=6.0, others=others)).summary
    assert summary.too_brief == 0
    assert summary.charge_u95_Ah > 0


def test_two_kinds_of_runs_tell_nothing_of_brief_ones():
    """Which are the load's is not known, so nor is what its brief ones would be."""
    runs = runs_of(8.0, 3, 6 * HOUR_S)
    scene = Scene(Load(DRAW_A, runs), 4.0, 6 * HOUR_S)
    cycles = cycles_of(scene.chunk(), 4.0)
    assert cycles.brief_runs > 50
    none = replace(cycles, cycles=())
    reading = how("dc", "instant", gap_limit_s(4.0), 4.0)
    assert cycles_with_intervals(none, NOTHING_STATED, reading, noise=0.0).summary.too_brief == 0
    few = replace(cycles, brief_runs=7, rises=None)
    assert cycles_with_intervals(few, NOTHING_STATED, reading, noise=0.0).summary.too_brief == 0


@examples(6, 60)
@given(st.lists(st.integers(0, 4000), max_size=4), st.integers(0, 5))
def test_where_a_log_is_cut_makes_no_difference(cuts, seed):
    """Counted from levels and rises, which are folds."""
    scene = Scene(Load(DRAW_A, runs_of(8.0, seed, 2 * HOUR_S)), 4.0, 2 * HOUR_S, seed=seed)
    whole, cut = sure(scene).summary, sure(scene, cuts).summary
    assert cut.too_brief == whole.too_brief > 0
    assert cut.charge_Ah == pytest.approx(whole.charge_Ah, rel=1e-9)
