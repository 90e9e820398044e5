"""Runs too brief for the readings: what the others took is a lower bound then, and never a total that pretends."""

from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest
from examples import examples, many
from hypothesis import given
from hypothesis import strategies as st
from load_scenes import Load, Scene, clouds, cycles_of, evenly, gap_limit_s
from readings import T0_US, US, flat, how

from shuntbook.analysis.cycles.taken_by_load import taken_by_load
from shuntbook.analysis.health.health import sampling_too_slow
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.sureness.cycle_intervals import cycles_with_intervals
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED
from shuntbook.analysis.sureness.too_brief import too_brief_within

HOUR_S = 3600.0
DRAW_A = 18.0
#: Shares by which the runs of a log differ, and rests between them. [1], [s]
SPREAD, REST_S = (0.7, 1.3), (20.0, 60.0)


def runs_of(run_s, seed, span_s, *, spread=SPREAD, rest_s=REST_S):
    """Starts and stops of a pump whose runs last about so long."""
    rng, now, runs = np.random.default_rng(seed), 60.0, []
    while now + 3 * run_s < span_s:
        stop = now + run_s * rng.uniform(*spread)
        runs.append((now, stop))
        now = stop + rng.uniform(*rest_s)
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
@pytest.mark.parametrize(("surge", "seed"), many([(3.0, 0)], list(product((1.0, 3.0), range(8)))))
def test_what_is_told_of_brief_runs_holds_the_truth(run_s, every_s, surge, seed):
    """The interval holds it, or the figure is less and says how many runs there were at the least."""
    runs = runs_of(run_s, seed, 2 * HOUR_S)
    cycles = sure(Scene(Load(DRAW_A, runs, surge=surge), every_s, 2 * HOUR_S, seed=seed))
    summary, truth_Ah = cycles.summary, took_Ah(runs)
    if summary.too_brief:
        assert summary.count + summary.too_brief <= len(runs)
        assert summary.charge_u95_Ah is None
        assert summary.charge_Ah is None or summary.charge_Ah < truth_Ah
    elif summary.count:
        assert abs(summary.charge_Ah - truth_Ah) <= summary.charge_u95_Ah


@pytest.mark.parametrize("sun_A", [0.0, 30.0])
@pytest.mark.parametrize("surge", [1.0, 3.0])
def test_runs_of_two_readings_are_runs(sun_A, surge):
    """Some 9 s, read every 4 s: two readings or three, one of them perhaps a start's; also while an array charges."""
    runs = runs_of(9.0, 3, 3 * HOUR_S, spread=(0.95, 1.05))
    cycles = sure(Scene(Load(DRAW_A, runs, surge=surge), 4.0, 3 * HOUR_S, base_A=2.0 - sun_A))
    assert cycles.summary.count == len(runs)
    assert cycles.summary.too_brief == 0
    assert cycles.brief_runs > 0.5 * len(runs)
    for run, (start, stop) in zip(cycles.cycles, runs, strict=True):
        assert abs(run.start_us - T0_US - start * US) <= 4 * US
        assert abs(run.stop_us - T0_US - stop * US) <= 4 * US
        assert run.run_A == pytest.approx(DRAW_A, rel=0.02)
    rests = [run.off_before_s for run in cycles.cycles[1:]]
    assert rests == [(b.start_us - a.stop_us) / US for a, b in pairwise(cycles.cycles)]
    assert cycles.summary.charge_Ah == pytest.approx(took_Ah(runs), rel=0.05)


def test_runs_of_one_reading_leave_a_lower_bound():
    """Some 7 s, read every 4 s: one in four has one reading, which may as well be a false row."""
    runs = runs_of(7.0, 3, 3 * HOUR_S)
    cycles = sure(Scene(Load(DRAW_A, runs), 4.0, 3 * HOUR_S))
    summary = cycles.summary
    assert 0.8 * len(runs) < summary.count + summary.too_brief <= len(runs)
    assert summary.charge_u95_Ah is None
    assert summary.charge_Ah < took_Ah(runs)
    check = sampling_too_slow(Runs(cycles, 4.0), limits_for(None, None))
    assert check.outcome == "found"
    assert check.finding.plain.startswith(f"At least {summary.too_brief} runs were too brief to be measured.")


@pytest.mark.parametrize(
    ("every_s", "dark", "seed"),
    many([(5.0, 0.4, 4), (10.0, 0.4, 4)], list(product((3.0, 5.0, 10.0, 20.0, 60.0), (0.0, 0.4), range(6)))),
)
def test_under_quick_clouds_the_least_is_no_more_than_the_truth(every_s, dark, seed):
    """Runs of 9 s beside 40 A of sun that change each minute, until dark: clouds step as the pump does."""
    span_s = 8 * HOUR_S
    runs = runs_of(9.0, seed, span_s, spread=(0.9, 1.1), rest_s=(100.0, 200.0))
    sky = clouds(40.0, (1 - dark) * span_s, seed)
    cycles = sure(Scene(Load(DRAW_A, runs), every_s, span_s, others=sky, seed=seed))
    if cycles.summary.too_brief:
        assert cycles.summary.count + cycles.summary.too_brief <= len(runs)
        assert (taken_by_load(cycles).charge_Ah or 0.0) <= took_Ah(runs)


def test_under_a_steady_sun_the_least_is_told_all_the_same():
    """Some 7 s, read every 4 s, while an array gives 30 A and a fridge goes on and off: no clouds."""
    runs = runs_of(7.0, 3, 3 * HOUR_S)
    fridge = Load(4.0, evenly(300.0, 600.0, 1400.0, 5))
    cycles = sure(Scene(Load(DRAW_A, runs), 4.0, 3 * HOUR_S, base_A=-28.0, others=[fridge]))
    assert 0.8 * len(runs) < cycles.summary.count + cycles.summary.too_brief <= len(runs)
    assert 0.3 * took_Ah(runs) < taken_by_load(cycles).charge_Ah < took_Ah(runs)


def test_readings_that_are_not_close_enough_are_to_come_closer():
    """Every 2 s as a rule; where they do already, and runs of 4 s are too brief for them all the same, every 1 s."""
    runs = runs_of(4.0, 2, 2 * HOUR_S)
    cycles = sure(Scene(Load(DRAW_A, runs), 2.0, 2 * HOUR_S, seed=2))
    finding = sampling_too_slow(Runs(cycles, 2.0), limits_for(None, None)).finding
    assert cycles.summary.too_brief > 0
    assert finding.plain.endswith("A reading should come every 1 s.")
    assert finding.first_step == "Take a log with a reading every 1 s or faster."


def test_a_gap_between_brief_runs_is_no_rest():
    """Nobody knows whether it ran meanwhile."""
    runs = runs_of(9.0, 3, 2 * HOUR_S, spread=(0.95, 1.05))
    before = runs[40][1]
    scene = Scene(Load(DRAW_A, runs[:41] + runs[60:]), 4.0, 2 * HOUR_S, holes_s=[(before + 15, runs[60][0] - 15)])
    rests = [run.off_before_s for run in sure(scene).cycles]
    assert [k for k, rest in enumerate(rests) if rest is None] == [0, 41]


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


@pytest.mark.parametrize("base_A", [-4.0, -10.0])
@pytest.mark.parametrize("seed", range(many(1, 4)))
def test_runs_that_begin_while_a_charger_gives_are_no_brief_ones(base_A, seed):
    """They are dated by their tops, when it gives less than the pump takes; a fridge rises while the pump rests."""
    span_s = 24 * HOUR_S
    runs = runs_of(1500.0, seed, span_s, rest_s=(1000.0, 2500.0))
    fridge = Load(3.0, evenly(100.0, 60.0, 180.0, 350))
    summary = sure(Scene(Load(DRAW_A, runs), 15.0, span_s, base_A=base_A, others=[fridge], seed=seed)).summary
    assert (summary.count, summary.too_brief) == (len(runs), 0)


@pytest.mark.parametrize("sampling", ["mean", "held"])
def test_only_instants_show_what_a_brief_run_drew(sampling):
    """A mean holds a part of it, a held value stands for as long as nobody looked."""
    scene = Scene(Load(DRAW_A, runs_of(9.0, 3, 2 * HOUR_S)), 4.0, 2 * HOUR_S)
    cycles = cycles_of(scene.chunk(), 4.0, sampling=sampling)
    assert cycles.brief_runs == 0
    assert (cycles.unmeasured_runs > 10) == (sampling == "mean")


def test_a_few_are_another_loads():
    """Seven pulses of its draw beside a pump of long runs."""
    runs = [(60.0 + 400 * k, 260.0 + 400 * k) for k in range(30)]
    pulses = Load(DRAW_A, [(310.0 + 800 * k, 318.5 + 800 * k) for k in range(7)])
    summary = sure(Scene(Load(DRAW_A, runs), 4.0, 12600.0, others=[pulses])).summary
    assert (summary.count, summary.too_brief) == (30, 0)


def test_many_beside_long_runs_are_not_taken_for_its_own():
    """They may be another load's or its own: what the long ones took is the least in either case."""
    runs = [(60.0 + 400 * k, 260.0 + 400 * k) for k in range(30)]
    pulses = Load(DRAW_A, [(310.0 + 400 * k, 318.5 + 400 * k) for k in range(30)])
    summary = sure(Scene(Load(DRAW_A, runs), 4.0, 12600.0, others=[pulses])).summary
    assert (summary.count, summary.too_brief) == (30, 30)
    assert summary.charge_Ah < took_Ah(runs)


@pytest.mark.parametrize("seed", range(many(2, 10)))
def test_a_part_of_a_log_has_no_more_starts_than_there_were(seed):
    """Runs that were measured and those too brief together, in parts of any length."""
    span_s = 6 * HOUR_S
    runs = runs_of(7.0, seed, span_s)
    cycles = sure(Scene(Load(DRAW_A, runs), 4.0, span_s, seed=seed))
    begun_us = T0_US + np.array([start for start, _ in runs]) * US
    seen_us = np.array([run.start_us for run in cycles.cycles])
    cuts_us = T0_US + np.sort(np.random.default_rng(seed).uniform(0, span_s, 4)) * US

    def least(from_us, to_us):
        began = slice(*np.searchsorted(seen_us, [from_us, to_us]).tolist())
        count = too_brief_within(cycles, began, from_us, to_us)
        inside = int(((begun_us >= from_us) & (begun_us < to_us)).sum())
        assert 0 <= count <= max(inside - (began.stop - began.start), 0)
        return count

    for ends_us in pairwise(np.round([T0_US, *cuts_us, T0_US + span_s * US]).astype(int).tolist()):
        least(*ends_us)
    assert least(T0_US, T0_US + 3 * 3600 * US) > 20
    # Of the quarters of an hour that it has a part of, too.
    assert least(T0_US - 3600 * US, T0_US + 7 * 3600 * US) == cycles.summary.too_brief


def test_a_run_that_goes_on_is_no_start_of_the_part_in_which_it_draws_most():
    """A rise is dated by its highest reading: half an hour after the run began, in a part with three measured runs."""
    brief = [run for run in runs_of(7.0, 3, 4 * HOUR_S) if run[1] < 5000 or run[0] > 9000]
    measured = [(8000.0 + 60 * k, 8014.0 + 60 * k) for k in range(3)]
    fridge = Load(1.5, [(7500.0, 7800.0)])
    runs = sorted([*brief, (5400.0, 7950.0), *measured])
    cycles = sure(Scene(Load(DRAW_A, runs), 4.0, 4 * HOUR_S, others=[fridge]))
    begun_us = [run.start_us for run in cycles.cycles]
    began = slice(*np.searchsorted(begun_us, [T0_US + 7000 * US, T0_US + 8800 * US]).tolist())
    assert cycles.summary.too_brief > 0
    assert began.stop - began.start == len(measured)
    assert too_brief_within(cycles, began, T0_US + 7000 * US, T0_US + 8800 * US) == 0


def test_a_part_without_a_measured_run_has_no_draw_to_know_others_by():
    """Of runs whose draw nobody knows none can be said to be like them."""
    span_s = 2 * HOUR_S
    cycles = sure(Scene(Load(DRAW_A, runs_of(7.0, 1, span_s)), 4.0, span_s))
    from_us, to_us = T0_US, T0_US + round(span_s) * US
    of_all = slice(0, len(cycles.cycles))
    assert too_brief_within(cycles, of_all, from_us, to_us) > 0
    unknown = replace(cycles, cycles=tuple(replace(run, run_A=None, run_W=None) for run in cycles.cycles))
    assert too_brief_within(unknown, of_all, from_us, to_us) == 0
    assert too_brief_within(cycles, slice(0, 0), from_us, to_us) == 0


@examples(6, 60)
@given(st.lists(st.integers(0, 4000), max_size=4), st.sampled_from([7.0, 9.0]))
def test_where_a_log_is_cut_makes_no_difference(cuts, run_s):
    """Counted from levels and rises, which are folds."""
    scene = Scene(Load(DRAW_A, runs_of(run_s, 1, 2 * HOUR_S)), 4.0, 2 * HOUR_S)
    whole, cut = sure(scene), sure(scene, cuts)
    assert (cut.summary.too_brief > 0) == (run_s < 8)
    assert cut.brief_runs == whole.brief_runs > 0
    assert flat(cut.cycles) == pytest.approx(flat(whole.cycles), rel=1e-9)
    assert flat(cut.summary) == pytest.approx(flat(whole.summary), rel=1e-9)
