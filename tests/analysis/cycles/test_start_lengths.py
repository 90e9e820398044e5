"""How long a start takes, against closed forms of its fall."""

import numpy as np
import pytest
from readings import assert_same, fed, how
from scenes import make
from start_scenes import RUNS_S, readings

from shuntbook.analysis.cycles.cycles import CycleFold


def starts(chunk, every_s, sampling="instant", cuts=()):
    """How long the starts took by the cycles that are found."""
    fold = CycleFold(how(sampling=sampling, usual_interval_s=every_s), set(chunk.quantities))
    found = fed(fold, chunk, cuts).result()
    assert len(found.cycles) == len(RUNS_S)
    return [cycle.start_s for cycle in found.cycles]


@pytest.mark.parametrize("power", [2.0, 3.0, 8.0])
@pytest.mark.parametrize(("start_s", "every_s"), [(0.31, 0.05), (0.31, 0.1), (1.0, 0.2), (3.5, 0.1), (3.5, 1.0)])
def test_a_start_takes_until_half_of_its_surge_is_gone(start_s, every_s, power):
    """Within half a spacing at its step, and what a straight line between two readings is off."""
    lengths_s = starts(readings(start_s, every_s, power=power), every_s)
    assert lengths_s == pytest.approx([start_s] * len(RUNS_S), abs=0.65 * every_s)


def test_noise_of_a_tenth_of_a_run_hardly_moves_it():
    """Where a start falls fast, a noisy meter is off by little."""
    lengths_s = starts(readings(1.5, 0.1, noise_A=1.0), 0.1)
    assert lengths_s == pytest.approx([1.5] * len(RUNS_S), abs=0.25)


@pytest.mark.parametrize(
    ("made", "every_s", "sampling"),
    [
        (readings(0.31, 0.2), 0.2, "instant"),  # one reading or two fall into it
        (readings(0.31, 1.0), 1.0, "instant"),
        (readings(1.0, 0.1), 0.1, "mean"),
        (readings(1.0, 0.1, surge=1.3), 0.1, "instant"),  # what settles slowly has no start that stands out
    ],
)
def test_what_readings_do_not_show_is_not_told(made, every_s, sampling):
    """Not a figure that is that of the spacing."""
    assert starts(made, every_s, sampling) == [None] * len(RUNS_S)


def test_a_start_that_was_seen_too_short_does_not_make_the_others_long():
    """All of a log's starts are told or none: leaving out the short ones would move the middle."""
    lengths_s = [x for seed in range(12) for x in starts(readings(0.31, 0.1, seed=seed), 0.1) if x is not None]
    assert min(lengths_s) < 0.3
    assert np.median(lengths_s) == pytest.approx(0.31, abs=0.02)


def test_where_chunks_end_makes_no_difference():
    """Cut anywhere, also in the middle of a start."""
    chunk = readings(0.31, 0.05)
    middle = int(np.searchsorted(chunk.time_us, chunk.time_us[0] + round(20.2e6)))
    assert_same(starts(chunk, 0.05, cuts=[middle, middle + 1, middle + 3, 2500]), starts(chunk, 0.05))


def test_a_load_behind_a_drive_has_no_start_that_takes_so_long():
    """It is brought up slowly, and goes on to whatever is asked of it."""
    scene = make("drive", 0)
    fold = CycleFold(scene.how, set(scene.chunk.quantities), drive=True)
    found = fed(fold, scene.chunk).result()
    assert found.speeds
    assert {cycle.start_s for cycle in found.cycles} == {None}
