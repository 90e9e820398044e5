"""Runs too brief for the readings are seen before any cycle is: a log that has many is not good for cycles."""

import numpy as np
import pytest
from examples import examples, many
from hypothesis import given
from hypothesis import strategies as st
from load_scenes import Load, Scene, evenly, gap_limit_s
from readings import chunk_of, fed, how

from shuntbook.analysis.quality.fitness import verdict_of
from shuntbook.analysis.quality.quality import QualityFold

SPAN_S = 6 * 3600.0


def looked(scene, cuts=(), sampling="instant"):
    """The quality of a scene's log, and what it is good for."""
    reading = how("dc", sampling, gap_limit_s(scene.every_s), scene.every_s)
    chunk = scene.chunk()
    quality = fed(QualityFold(reading, list(chunk.quantities)), chunk, cuts).result()
    return quality, verdict_of(quality, reading)


def scene(run_s, every_s, count=150, **more):
    """A pump of such runs, two minutes apart."""
    return Scene(Load(18.0, evenly(100.0, run_s, 120.7 - run_s, count)), every_s, SPAN_S, **more)


@pytest.mark.parametrize(("run_s", "every_s"), [(4.0, 2.0), (8.0, 4.0), (5.0, 4.0), (11.0, 10.0)])
@pytest.mark.parametrize("base_A", [2.0, -30.0])
def test_many_brief_runs_are_told(run_s, every_s, base_A):
    """At night and under the sun; no more of them than there were, and nearly all."""
    quality, verdict = looked(scene(run_s, every_s, base_A=base_A))
    assert 120 <= quality.brief_runs <= 150
    assert verdict.cycles.grade == "with care"
    assert f"shorter than {3 * every_s:.0f} s, each known only roughly" in verdict.cycles.reasons[0]


@pytest.mark.parametrize("seed", range(many(2, 10)))
@pytest.mark.parametrize(
    "sound",
    [
        scene(40.0, 4.0, drift_A=5.0),
        scene(8.0, 1.0),
        scene(8.0, 4.0, count=7),
        scene(60.0, 4.0, others=[Load(1.0, evenly(50.0, 8.0, 92.0, 150))]),
    ],
)
def test_few_or_small_ones_and_those_that_readings_show_are_not(sound, seed):
    """Long runs, close readings, seven runs, and the small pulses of something beside a large load."""
    sound.seed = seed
    quality, verdict = looked(sound)
    assert quality.brief_runs == 0
    assert verdict.cycles.grade == "good"


def test_means_say_nothing():
    """A mean smears a run out: how long it was is not seen."""
    assert looked(scene(8.0, 4.0), sampling="mean")[0].brief_runs == 0


def counted(*pulses, apart=25, gaps=(), tail=25, spread_A=0.05):
    """Brief runs of a log by hand: readings every 4 s of 2 A, with such pulses [A] in turn, each after a rest.

    Where the number of a pulse is among `gaps`, so many readings after its beginning are missing. Noise has such a
    standard deviation.
    """
    amps, gaps_at = [2.0] * 40, []
    for k, pulse in enumerate(pulses):
        gaps_at += [len(amps) + dict(gaps)[k]] if k in dict(gaps) else []
        amps += [*pulse, *([2.0] * (apart if k + 1 < len(pulses) else tail))]
    noise_A = np.random.default_rng(1).normal(0, spread_A, len(amps))
    time_s = 4.0 * np.arange(len(amps)) + 600.0 * np.isin(np.arange(len(amps)), gaps_at).cumsum()
    reading = how("dc", "instant", 20.0, 4.0)
    chunk = chunk_of(time_s, current_A=np.array(amps) + noise_A)
    return fed(QualityFold(reading, ["current_A"]), chunk).result().brief_runs


ONE, TWO = (18.0,), (18.0, 18.0)


def test_a_brief_run_has_one_reading_or_two_alike_and_ends_where_it_began():
    """Not three; not two of which one is half the other; not what stays up; none by whose side nobody looked."""
    assert counted(*10 * [ONE]) == counted(*10 * [TWO]) == 10
    assert counted(*10 * [(18.0, 18.0, 18.0)]) == 0
    assert counted(*10 * [(24.0, 12.0)]) == 0
    assert counted(*10 * [(18.0, 10.0)], apart=40) == 0
    # 4 A of the 16 A that it rose by are a quarter, and are no longer alike.
    assert counted(*10 * [(18.0, 14.0)], spread_A=0.0) == counted(*10 * [(18.0, 6.0)], spread_A=0.0) == 0
    assert counted(*15 * [ONE], gaps=[(2, 0), (5, 1), (9, 0)]) == 12
    assert counted(*15 * [TWO], gaps=[(2, 1), (5, 2), (9, 0)]) == 12


def test_the_last_readings_of_a_log_may_be_a_brief_run_as_far_as_they_show_its_end():
    """It takes the readings of two to tell: a rise in the last ones is none yet."""
    assert [counted(*10 * [ONE], tail=tail) for tail in (0, 1, 2, 3)] == [9, 9, 10, 10]
    assert [counted(*10 * [TWO], tail=tail) for tail in (0, 1, 2)] == [9, 10, 10]


@pytest.mark.parametrize(("long_ones", "told"), [(32, 8), (33, 0)])
def test_a_fifth_of_its_rises_must_be_brief(long_ones, told):
    """Eight among forty of one draw, but not among more."""
    assert counted(*8 * [ONE], *long_ones * [(18.0,) * 6]) == told


@examples(6, 60)
@given(st.lists(st.integers(0, 6000), max_size=4))
def test_where_a_log_is_cut_makes_no_difference(cuts):
    """Blocks of its own, with their neighbours."""
    made = scene(8.0, 4.0)
    assert looked(made, cuts)[0].brief_runs == looked(made)[0].brief_runs > 0
