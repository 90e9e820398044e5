"""A load of several speeds from level to level, by hand: its least draw, and whose its steps are."""

import numpy as np
import pytest
from level_lists import EVERY_S, level_list

from shuntbook.analysis.cycles.choose_load import LoadSteps
from shuntbook.analysis.cycles.on_off_path import RunLevels
from shuntbook.analysis.cycles.rest_to_rest import Track, speed_run
from shuntbook.analysis.cycles.several_speeds import explained


def track_of(*draws_A, rest_A=2.0, least=0.5, drift=0.0):
    """Each draw above rest for a minute, with a rest of a minute before it and after the last."""
    levels = [x for draw_A in draws_A for x in ((rest_A, 60), (rest_A + draw_A, 60))]
    return Track(level_list(*levels, (rest_A, 60), least=least), EVERY_S, drift)


#: Draws of all sizes from 50 A up. [A]
MANY = tuple(np.arange(50.0, 111.0, 6.0))


def test_fixed_speeds_are_bands_no_wider_than_a_twentyfifth_of_the_highest():
    """50 and 110 A to within 4.4 A: nothing is below them down to 3 % of 110 A. To within 6 A: down to 0.6 of 50 A."""
    assert track_of(50.0, 52.0, 54.0, 106.0, 108.0, 110.0, 110.0).lowest_speed == pytest.approx(0.03 * 110)
    wide = (50.0, 53.0, 56.0, 104.0, 107.0, 110.0, 110.0)
    assert track_of(*wide).lowest_speed == pytest.approx(0.6 * 50)
    assert track_of(*wide, least=4.2).lowest_speed == pytest.approx(4.2)  # no more than noise may be
    assert track_of(*MANY).lowest_speed is None
    assert track_of(50.0, 110.0).lowest_speed is None  # three levels show a speed


def test_a_least_draw_lies_halfway_down_to_what_others_draw():
    """20 A of another load and 50 A and more of this one: 35 A; where an array gives, three quarters of the 50 A."""
    assert track_of(20.0, *MANY).least_draw() == pytest.approx(35.0)
    assert track_of(*MANY).least_draw() == pytest.approx(25.0)
    assert track_of(20.0, *MANY, drift=1e-6).least_draw() == pytest.approx(37.5, rel=1e-3)


@pytest.mark.parametrize(
    ("levels", "others"),
    [
        (((2, 50), (22, 50), (30, 50), (2, 50)), []),
        (((2, 50), (22, 50), (30, 50), (10, 50)), [2]),  # what is left at rest is what it rose by meanwhile
        (((2, 50), (22, 50), (30, 50), (11, 50)), [2]),  # to 15 %
        (((2, 50), (22, 50), (30, 50), (11.5, 50)), []),
        (((2, 50), (22, 50), (23.4, 50), (2.9, 50)), []),  # what is left is noise
        (((2, 50), (22, 50), (10, 50)), []),  # there was no step meanwhile
    ],
)
def test_a_step_within_a_run_is_anothers_if_as_much_is_left_at_rest(levels, others):
    """Changes of 1 A stand out from the noise."""
    assert speed_run(level_list(*levels), RunLevels(1, len(levels) - 1)).others == others


@pytest.mark.parametrize(("whole", "share"), [(2, 0.0), (3, 0.0), (4, 1.0), (8, 1.0)])
def test_a_load_explains_steps_by_half_of_its_runs_and_three_at_least(whole, share):
    """Of eight runs so many stop by what they started with, the others by half of it."""
    draws = [x for k in range(8) for x in ((2, 60), (22, 60), *(() if k < whole else ((12, 60),)))]
    levels = level_list(*draws, (2, 60))
    changes = levels.changes("current_A")
    starts = np.flatnonzero(changes == 20.0).tolist()
    runs = tuple(RunLevels(k, k + 1) for k in starts)
    own = [run for run in runs if changes[run.stop] == -20.0]
    load = LoadSteps(20.0, 20.0, 0.25, runs)
    track = Track(levels, EVERY_S)
    assert explained(track, own, levels, [load], changes) == share
    assert explained(track, own[:2], levels, [LoadSteps(20.0, 20.0, 0.25, runs[:2])], changes) == 0.0
