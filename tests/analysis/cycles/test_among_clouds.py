"""Clouds step as loads do, but by any amount: while an array gives only steps that are alike are a load's."""

import numpy as np
import pytest
from examples import many
from load_scenes import Load, Scene, clouds, cycles_of, evenly, gap_limit_s
from readings import T0_US, US, how

from shuntbook.analysis.sureness.cycle_intervals import cycles_with_intervals
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED
from shuntbook.cli.render.wording.answer import load_total

HOUR_S = 3600.0
SUN_A, DRAW_A = 40.0, 25.0


def found(every_s, runs, sky, *, span_s=8 * HOUR_S, seed=0):
    """Starts and stops of the runs that are told of such a pump. [s]."""
    cycles = cycles_of(Scene(Load(DRAW_A, runs), every_s, span_s, others=sky, seed=seed).chunk(), every_s).cycles
    return [((run.start_us - T0_US) / US, (run.start_us - T0_US) / US + (run.run_s or run.so_far_s)) for run in cycles]


@pytest.mark.parametrize("every_s", [1.0, 5.0, 10.0])
@pytest.mark.parametrize("seed", range(many(1, 8)))
def test_clouds_alone_are_no_load(every_s, seed):
    """Another amount of sun every minute for eight hours, and nothing that runs: they may have hidden it."""
    scene = Scene(Load(DRAW_A, []), every_s, 8 * HOUR_S, others=clouds(SUN_A, 8 * HOUR_S, seed), seed=seed)
    cycles = cycles_of(scene.chunk(), every_s)
    assert (cycles.cycles, cycles.in_clouds) == ((), True)


def test_a_quiet_day_or_night_hides_nothing():
    """Where nothing runs: a clear day, a night, and a day on which each of four lamps is lit once."""
    lamps = [Load(3.0 + k, [(4000.0 * k + 900, 4000.0 * k + 2000)]) for k in range(4)]
    for others, drift_A in (([], 30.0), ([], 0.0), (lamps, 10.0)):
        scene = Scene(Load(DRAW_A, []), 5.0, 8 * HOUR_S, base_A=-20.0, others=others, drift_A=drift_A)
        assert not cycles_of(scene.chunk(), 5.0).in_clouds


@pytest.mark.parametrize("seed", range(many(2, 6)))
def test_a_pump_that_draws_more_than_clouds_step_keeps_its_runs(seed):
    """Forty runs, and clouds of up to 15 A every few minutes."""
    runs = evenly(200.0, 100.0, 600.0, 40)
    told = found(5.0, runs, clouds(15.0, 8 * HOUR_S, seed, turn_s=200.0), seed=seed)
    right = sum(any(abs(a - start) <= 10 and abs(b - stop) <= 10 for start, stop in runs) for a, b in told)
    assert right >= 0.9 * max(len(told), len(runs))


@pytest.mark.parametrize("turn_s", [60.0, 200.0, 600.0])
@pytest.mark.parametrize("every_s", [2.0, 10.0])
@pytest.mark.parametrize("seed", range(many(1, 4)))
def test_no_interval_pretends_to_know_what_clouds_hide(turn_s, every_s, seed):
    """A pump under clouds that step by its draw: what it took has no ±, or one that holds.

    Of slow ones, which are few, a step or two may be so near to its draw that nothing tells them from a start or stop.
    """
    span_s, rng, runs = 8 * HOUR_S, np.random.default_rng(seed), []
    while (now := runs[-1][1] + rng.uniform(300, 900) if runs else 60.0) < span_s - 400:
        runs.append((now, now + rng.uniform(60, 200)))
    scene = Scene(Load(DRAW_A, runs), every_s, span_s, others=clouds(SUN_A, span_s, seed, turn_s=turn_s), seed=seed)
    reading = how("dc", "instant", gap_limit_s(every_s), every_s)
    cycles = cycles_with_intervals(cycles_of(scene.chunk(), every_s), NOTHING_STATED, reading, noise=scene.noise_A)
    took_Ah, u95_Ah = cycles.summary.charge_Ah, cycles.summary.charge_u95_Ah
    truth_Ah = DRAW_A * sum(b - a for a, b in runs) / HOUR_S
    assert u95_Ah is None or abs(took_Ah - truth_Ah) <= u95_Ah + (0.35 * truth_Ah if turn_s > 300 else 0.0)
    assert not cycles.in_clouds or not any(run.charge_u95_Ah for run in cycles.cycles)
    total = load_total(cycles, "the pump")
    if took_Ah is not None and cycles.in_clouds:
        assert "±" not in total.sentence
        assert total.sentence.endswith("runs, some of them perhaps clouds.")


@pytest.mark.parametrize("seed", range(many(2, 8)))
def test_what_ran_at_night_is_told_beside_clouds(seed):
    """By day clouds hide it; of eight hours of night it has every run."""
    runs = evenly(8.5 * HOUR_S, 100.0, 1500.0, 16)
    told = found(10.0, runs, clouds(SUN_A, 8 * HOUR_S, seed), span_s=16 * HOUR_S, seed=seed)
    assert len(told) == len(runs)
    assert all(abs(a - start) <= 10 for (a, _), (start, _) in zip(told, runs, strict=True))
