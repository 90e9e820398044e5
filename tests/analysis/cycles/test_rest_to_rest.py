"""Runs of a load of several speeds, from levels put down by hand: what it draws, and whether it is one at all."""

from itertools import pairwise

import numpy as np
import pytest
from health_cycles import cycles
from level_lists import EVERY_S, level_list

from shuntbook.analysis.cycles.choose_load import LoadSteps
from shuntbook.analysis.cycles.on_off_path import RunLevels
from shuntbook.analysis.cycles.rest_to_rest import Track, runs_at_speeds, speed_run
from shuntbook.analysis.cycles.several_speeds import explained, is_of_speeds, told_speeds

NOTHING = (0.0, 300.0)


def in_runs(*runs, least=1.0, held_s=61.0):
    """Levels of runs from nothing to nothing, each at one draw after another."""
    rows = [NOTHING, *(row for run in runs for row in (*((draw, held_s) for draw in run), NOTHING))]
    return level_list(*rows, least=least)


def track_of(*runs, drift=0.0, **more):
    """The signal of such runs."""
    return Track(in_runs(*runs, **more), EVERY_S, drift)


# --- what it draws --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("lasts_s", "reached"), [(8.0, 10.0), (9.0, 20.0)])
def test_much_is_drawn_when_nine_tenths_of_the_time_it_is_less(lasts_s, reached):
    """10 A for 80 s and 20 A for a tenth of both: of 88 s a tenth is more than 8 s, of 89 s it is less than 9 s."""
    levels = level_list((2, 300), (12, 81), (2, 300), (22, lasts_s + 1), (2, 300))
    assert Track(levels, EVERY_S).highest == reached


@pytest.mark.parametrize(("others_A", "reached"), [(1.9, 20.0), (2.1, 2.1)])
def test_what_is_less_than_a_tenth_of_all_is_no_matter(others_A, reached):
    """However long it lasts: a lamp beside a drive of 20 A."""
    levels = level_list((2, 300), (2 + others_A, 9000), (2, 300), (22, 101), (2, 300))
    assert Track(levels, EVERY_S).highest == pytest.approx(reached)
    assert Track(level_list((2, 300)), EVERY_S).highest == 0.0


#: Draws around six speeds, to within 3.9 % of the highest, the next speed far from them.
SIX = [15.0, 17.0, 18.9, 30.0, 32.0, 33.9, 45.0, 47.0, 48.9, 60.0, 62.0, 63.9, 75.0, 77.0, 78.9, 100.0, 100.0, 100.0]


def test_fixed_speeds_lie_in_narrow_bands():
    """Six: below them is nothing down to 3 %, or to the noise where that is more; of all sizes nothing is known."""
    assert track_of(*((x,) for x in SIX)).lowest_speed == pytest.approx(3.0)
    assert track_of(*((x,) for x in SIX), least=5.0).lowest_speed == pytest.approx(5.0)
    # Three levels each, or else there may be more speeds.
    assert track_of(*((x,) for x in SIX[1:])).lowest_speed is None
    assert track_of(*((x,) for x in (50.0, 100.0))).lowest_speed is None
    assert track_of(*((x,) for x in (100.0, 100.0, 100.0))).lowest_speed == pytest.approx(3.0)
    # What others draw by themselves, to 12 %, makes no speed: seven that differ, and one that is too much.
    others = [3.0, 4.0, 5.5, 7.0, 8.5, 10.0]
    assert track_of(*((x,) for x in (*SIX, *others, 11.9))).lowest_speed == pytest.approx(3.0)
    assert track_of(*((x,) for x in (*SIX, *others, 10.5, 12.1))).lowest_speed is None


@pytest.mark.parametrize(("count", "lowest"), [(8, 3.0), (9, None)])
def test_more_than_eight_speeds_are_a_drive(count, lowest):
    """Evenly between 20 and 100 A, four times each."""
    draws = np.linspace(20.0, 100.0, count).tolist() * 4
    found = track_of(*((x,) for x in draws)).lowest_speed
    assert found == (lowest and pytest.approx(lowest))


@pytest.mark.parametrize(("wide_A", "lowest"), [(13.8, 18.0), (14.2, None)])
def test_beside_others_fixed_speeds_lie_in_wider_bands(wide_A, lowest):
    """To 14 % of the highest, since others' steps lie on them; below is nothing down to six tenths of the lowest."""
    band = np.linspace(0.0, wide_A, 4)
    draws = [*(30.0 + band), *(60.0 + band), *[100.0] * 5]
    found = track_of(*((x,) for x in draws)).lowest_speed
    assert found == (lowest and pytest.approx(lowest))
    # And as wide as the noise may make them: to half as much again.
    assert track_of(*((x,) for x in draws), least=9.5).lowest_speed == pytest.approx(9.5)


def test_the_least_of_draws_of_all_sizes_lies_in_their_widest_gap():
    """Others draw up to 10 A, the drive 40 A and more: 25 A; under the sky three quarters of its least, 30 A."""
    draws = [(40.0 * 1.1**k,) for k in range(10)]
    assert track_of((6.0,), (10.0,), *draws).lowest_speed is None
    assert track_of((6.0,), (10.0,), *draws).least_draw() == pytest.approx(25.0)
    assert track_of((6.0,), (10.0,), *draws, drift=1e-3).least_draw() == pytest.approx(30.0)
    # A wider gap that begins above 40 %, or ends above 70 % of the highest, is between two of its draws.
    low = [10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 20.0, 23.0, 27.0, 32.0, 38.0]
    for high in ([42.0, 61.0, 80.0, 90.0, 100.0, 100.0], [72.0, 81.0, 90.0, 100.0, 100.0]):
        assert track_of(*((x,) for x in (*low, *high))).least_draw() == pytest.approx(17.5)
    assert track_of(*((x,) for x in (*low, 61.0, 80.0, 90.0, 100.0, 100.0))).least_draw() == pytest.approx(49.5)
    assert track_of((9.0,), (80.0,), (88.0,), (94.0,), (100.0,), (100.0,)).least_draw() == pytest.approx(4.5)


def test_what_falls_back_as_often_as_it_rises_is_a_thermostats():
    """20 A four times by themselves, and a drive that begins its runs with 35 A or more and no draw twice: 27.5 A."""
    drive = [(35.0 * 1.09**k, 90.0 - 3 * k, 38.0 + k) for k in range(10)]
    fridge = [(20.0,)] * 4
    assert track_of(*drive, *fridge).least_draw() == pytest.approx(27.5)
    # Twice is no habit: then 20 A may be the drive's, and the widest gap is below them.
    assert track_of(*drive, *fridge[:2]).least_draw() == pytest.approx(10.0)


def test_what_lasts_for_less_than_four_readings_is_the_way_to_the_next_level():
    """20 A for 5 s, read every two seconds, are neither a thermostat's nor a draw: half of the 35 A above them."""
    rows = [NOTHING, *[(20.0, 6.0), NOTHING] * 4]
    rows += [row for k in range(10) for row in ((35.0 * 1.09**k, 61.0), (90.0 - 3 * k, 61.0), NOTHING)]
    assert Track(level_list(*rows), 2.0).least_draw() == pytest.approx(17.5)
    assert Track(level_list(*rows), 1.0).least_draw() == pytest.approx(27.5)


def test_under_a_sky_that_moves_draws_stand_on_their_own_base():
    """The base rises by 4 A within the run of 60 s and 60 s: 30 A above 2 A first, halfway 30 A above 4 A."""
    levels = level_list((2, 300), (32, 60), (34, 60), (6, 300), (8, 300))
    track = Track(levels, EVERY_S, drift=0.1)
    np.testing.assert_allclose(track.height, [0.0, 30.0, 30.0, 0.0, 0.0])
    np.testing.assert_allclose(Track(levels, EVERY_S).height, [0.0, 30.0, 32.0, 4.0, 6.0])


# --- a run ----------------------------------------------------------------------------------------------------------


def test_a_run_holds_each_draw_for_its_time_the_way_there_with_it():
    """From 2 A in 6 s to 22 A and at once to 52 A, back in 4 s: 66 s at 20 A, 100 s and 4 s less half its way."""
    levels = level_list((2, 300), (22, 22, 60, 6), (52, 100), (2, 2, 300, 4))
    run = speed_run(levels, RunLevels(1, 3))
    assert [(held.draws["current_A"], held.lasted_s) for held in run.held()] == [(20.0, 66.0), (50.0, 104.0)]
    assert run.length_s == 170.0
    assert run.settled("current_A") == pytest.approx((20 * 66 + 50 * 104) / 170)
    assert run.within_s == (0.5, 0.5)
    # Of one that goes on nothing is known of its base; it was seen to its last reading.
    open_run = speed_run(levels, RunLevels(1, None))
    assert (open_run.last, open_run.drift("current_A"), open_run.within_s) == (3, 0.0, (0.5, None))
    assert open_run.stop_us == levels.last_us[3]


@pytest.mark.parametrize(
    ("rows", "others"),
    [
        ([(22, 60), (28, 60), (8, 300)], [2]),  # a lamp of 6 A goes on within it, and stays on
        ([(22, 60), (30, 60), (8, 300)], []),  # 8 A are no lamp of 6 A
        ([(22, 60), (28.9, 60), (8, 300)], [2]),  # to within the noise they are
        ([(32, 60), (55, 60), (22, 300)], [2]),  # 23 A for 20 A: to within 15 %
        ([(32, 60), (55.2, 60), (22, 300)], []),
        ([(22, 60), (27, 60), (35, 60), (8, 300)], [2]),  # of several the nearest
        ([(22, 60), (22.5, 60), (2.8, 300)], []),  # the base has not moved beyond the noise
        ([(22, 60), (8, 300)], []),  # no step within it
    ],
)
def test_a_step_within_a_run_that_is_left_behind_it_is_anothers(rows, others):
    """What the base has moved by, to within 15 % or the noise of 1 A."""
    levels = level_list((2, 300), *rows)
    run = speed_run(levels, RunLevels(1, len(rows)))
    assert run.others == others
    at = [first - 2 for first, _ in rows[:-1]]
    taken = [rows[k][0] - rows[k - 1][0] if k + 1 in others else 0.0 for k in range(len(at))]
    assert [held.draws["current_A"] for held in run.held()] == pytest.approx(np.subtract(at, np.cumsum(taken)))


def test_what_the_sky_moves_between_a_runs_ends_is_told_from_a_line():
    """It gives 6 A less while the run lasts, 2 A less before and 4 A less behind it, of which a line makes 3 A.

    From the last reading before it to the first behind it, 102 s: 4 A in the first second, 6 A for 100 s, 5 A in the
    last, which is 609 A s, less 306 A s.
    """
    read = level_list((4, 300), (38, 101), (6, 300))
    still = level_list((2, 300), (32, 101), (2, 300))
    assert speed_run(read, RunLevels(1, 2), still).bent() == pytest.approx(609 - 306)
    assert speed_run(read, RunLevels(1, 2)).bent() == 0.0
    assert speed_run(read, RunLevels(1, None), still).bent() == 0.0


def test_runs_by_the_levels_that_were_read():
    """Under a sky the runs know both, the levels as they were and under a still sky; else one is enough."""
    draws = [(40.0 * 1.1**k, 40.0) for k in range(10)]
    for drift in (0.0, 1e-3):
        track = track_of(*draws, drift=drift)
        read = in_runs(*draws)
        runs = runs_at_speeds(track, read)
        assert [(run.start, run.stop) for run in runs] == [(3 * k + 1, 3 * k + 3) for k in range(10)]
        assert all(run.levels is read and run.still is (track.levels if drift else None) for run in runs)


# --- the draws of all its runs --------------------------------------------------------------------------------------


def told(*runs, charge_Ah=None, still=None, held_s=61.0):
    """The draws of such runs, and their cycles with the time at each."""
    levels = in_runs(*runs, held_s=held_s)
    starts = np.cumsum([1, *(len(run) + 1 for run in runs)]).tolist()
    own = [speed_run(levels, RunLevels(a, b - 1), still) for a, b in pairwise(starts)]
    made = cycles([run.length_s for run in own], 300.0).cycles
    return told_speeds(own, made)


def test_draws_of_all_sizes_are_told_in_four_bands_of_one_ratio():
    """From 12.5 to 200 A: they end at 25, 50 and 100 A."""
    draws, of_each = told(
        (12.5, 14.0, 16.0, 18.0, 21.0, 24.0), (26.0, 31.0, 37.0, 44.0, 49.0), (51.0, 75.0, 99.0, 101.0, 150.0, 200.0)
    )
    assert not draws.fixed
    assert [speed.lasted_s for speed in draws.speeds] == [6 * 61.0, 5 * 61.0, 3 * 61.0, 3 * 61.0]
    assert [speed.draw_A for speed in draws.speeds] == pytest.approx([105.5 / 6, 187 / 5, 225 / 3, 451 / 3])
    assert [cycle.at_speeds for cycle in of_each] == [(366, 0, 0, 0), (0, 305, 0, 0), (0, 0, 183, 183)]


def test_what_hardly_draws_anything_makes_no_band():
    """A draw of 1 A beside 200 A: the lowest band begins at 3 %, 6 A, and ends a fourth root of 33 above it."""
    draws, _ = told((1.0, 14.0, 14.6, 26.0, 44.0, 60.0, 83.0, 115.0, 150.0, 200.0))
    edges = 6 * (200 / 6) ** (np.arange(1, 4) / 4)
    counts = np.histogram([1.0, 14.0, 14.6, 26.0, 44.0, 60.0, 83.0, 115.0, 150.0, 200.0], [0, *edges, 201])[0]
    assert [speed.lasted_s for speed in draws.speeds] == (61.0 * counts).tolist()


def test_fixed_speeds_are_told_by_their_means():
    """20 A and 21 A are one speed, of 20.5 A in the middle; the mean of a run is its charge by its time."""
    draws, (cycle,) = told((20.0, 21.0, 60.0, 100.0, 60.0))
    assert draws.fixed
    assert [(speed.draw_A, speed.draw_W, speed.lasted_s) for speed in draws.speeds] == [
        (20.5, None, 122.0),
        (60.0, None, 122.0),
        (100.0, None, 61.0),
    ]
    assert cycle.run_A == pytest.approx(3600 * cycle.charge_Ah / cycle.run_s)
    assert cycle.run_W == pytest.approx(3600 * cycle.energy_Wh / cycle.run_s)
    assert cycle.surge_ratio is None
    assert told_speeds([], []) == (((), True), [])


# --- is it one at all? ----------------------------------------------------------------------------------------------

#: Runs of three draws, in which no step up has its like down, and one of two loads that overlap.
UNLIKE, LIKE, PLAIN = (20.0, 100.0, 50.0), (50.0, 100.0, 50.0), (50.0,)


def of_speeds(*runs, explains=0, drive=False, expected=None, **more):
    """Whether such runs are one load's of several speeds; one of 50 A that is on or off explains so many of two loads.

    A run of three draws steps by 200 A in all, whether of several speeds or of two loads.
    """
    levels = in_runs(*runs, **more)
    starts = np.cumsum([1, *(len(run) + 1 for run in runs)]).tolist()
    both = [start for start, run in zip(starts, runs, strict=False) if run == LIKE][:explains]
    own = [RunLevels(start + k, start + 3 - k) for start in both for k in (0, 1)]
    loads = [LoadSteps(50.0, 50.0, 0.25, tuple(own))]
    changes = levels.changes("current_A")
    return is_of_speeds(Track(levels, EVERY_S), levels, loads, changes, drive=drive, expected=expected)


def test_many_steps_without_their_like_show_several_speeds():
    """In at least half of the runs of several levels, and three tenths of all."""
    assert of_speeds(UNLIKE, UNLIKE, LIKE, LIKE)
    assert not of_speeds(UNLIKE, UNLIKE, LIKE, LIKE, LIKE)
    assert of_speeds(UNLIKE, UNLIKE, *[PLAIN] * 4)
    assert not of_speeds(UNLIKE, UNLIKE, *[PLAIN] * 5)


def test_where_loads_that_are_on_or_off_explain_more_three_runs_are_needed():
    """Of fixed speeds: a quarter of those of several levels, 0.15 of all; loads explain at most 65 %, or 75 %."""
    assert not of_speeds(UNLIKE, UNLIKE, LIKE, LIKE, explains=2)  # two runs are too few where half is explained
    assert of_speeds(*[UNLIKE] * 3, *[LIKE] * 5, explains=5)  # 5 of 8
    assert not of_speeds(*[UNLIKE] * 3, *[LIKE] * 6, explains=6)  # 6 of 9
    assert of_speeds(*[UNLIKE] * 3, *[LIKE] * 9, explains=4)
    assert not of_speeds(*[UNLIKE] * 3, *[LIKE] * 10, explains=4)
    assert of_speeds(*[UNLIKE] * 3, *[LIKE] * 9, *[PLAIN] * 8, explains=4)
    assert not of_speeds(*[UNLIKE] * 3, *[LIKE] * 9, *[PLAIN] * 9, explains=4)


def test_a_load_known_by_its_plate_draws_a_third_to_three_times_of_that():
    """The highest draw is 100 A; its owner's word does not help."""
    for drive in (False, True):
        found = [of_speeds(*[UNLIKE] * 3, expected=x, drive=drive) for x in (33.0, 33.4, 299.0, 301.0)]
        assert found == [False, True, True, False]


def test_the_owners_word_makes_one_run_enough_but_for_what_others_explain():
    """One run that speaks for it, and loads that explain no more than four fifths."""
    assert of_speeds(UNLIKE, drive=True)
    assert not of_speeds(UNLIKE)
    assert not of_speeds(LIKE, PLAIN, drive=True)
    assert of_speeds(UNLIKE, *[LIKE] * 4, explains=4, drive=True)
    assert not of_speeds(UNLIKE, *[LIKE] * 5, explains=5, drive=True)


def test_levels_must_be_told_apart_and_rest_from_running():
    """The highest draw is twelve times the noise, and at rest it is for a fifth of the time."""
    assert of_speeds(*[UNLIKE] * 3, least=8.3)
    assert not of_speeds(*[UNLIKE] * 3, least=8.4)
    # Four rests of 299 s: a fifth of all where nine levels last for 4,784 s together.
    assert of_speeds(*[UNLIKE] * 3, held_s=532.0)
    assert not of_speeds(*[UNLIKE] * 3, held_s=533.0)


def test_speeds_are_told_however_small_the_load_or_large_the_unit():
    """A hundredth of an amp with a noise as small; and where nothing is drawn there are none."""
    small = [tuple(draw / 1e4 for draw in UNLIKE)] * 3
    levels = in_runs(*small, least=1e-4)
    found = is_of_speeds(Track(levels, EVERY_S), levels, [], levels.changes("current_A"), drive=False, expected=None)
    assert found
    still = level_list((2, 300), (2, 300))
    assert not is_of_speeds(Track(still, EVERY_S), still, [], np.zeros(2), drive=True, expected=None)


@pytest.mark.parametrize(
    ("first", "down", "is_alone"), [(20.0, 79.0, True), (20.0, 81.0, False), (40.0, 109.0, False), (40.0, 111.0, True)]
)
def test_a_step_down_has_its_like_at_four_fifths_to_eleven_tenths_of_a_step_up(first, down, is_alone):
    """Up by the first, and by 100 A; down by so much, and by the rest: where the large ones are alike, that is most."""
    assert of_speeds((first, first + 100.0, first + 100.0 - down), drive=True) is is_alone


@pytest.mark.parametrize(
    ("count", "whole", "stop", "share"),
    [
        (4, 4, 10.0, 1 / 3),
        (8, 4, 10.0, 1 / 3),  # half of its starts have a stop
        (9, 4, 10.0, 0.0),
        (3, 3, 10.0, 1 / 4),
        (2, 2, 10.0, 0.0),  # two runs explain nothing
        (4, 4, 7.6, 1 / 3),  # a stop of its own is between 0.75 and 1.12 times the start
        (4, 4, 7.4, 0.0),
        (4, 4, 11.1, 1 / 3),
        (4, 4, 11.3, 0.0),
    ],
)
def test_what_a_load_explains_of_the_steps_of_runs(count, whole, stop, share):
    """Four runs of 20 A up, 10 A up and down, and 20 A down; a load of 10 A has so many runs, so many of them whole."""
    levels = in_runs(*[(20.0, 30.0, 20.0)] * 4, *[(10.0,)] * 8)
    changes = levels.changes("current_A")
    inner = [RunLevels(4 * k + 2, 4 * k + 3) for k in range(4)]
    changes[[run.stop for run in inner]] = -stop
    apart = [RunLevels(17 + 2 * k, None) for k in range(8)]
    load = LoadSteps(10.0, stop, 0.25, (*inner[:whole], *apart[: count - whole]))
    runs = [RunLevels(4 * k + 1, 4 * k + 4) for k in range(4)]
    of_all = whole * (10 + stop) / (4 * (50 + stop)) if share else 0.0
    assert explained(Track(levels, EVERY_S), runs, levels, [load], changes) == pytest.approx(of_all)
    if stop == 10.0:
        assert of_all == pytest.approx(share)


def test_what_steps_by_less_than_twice_a_thirtieth_of_the_highest_is_no_other_load():
    """Draws of all sizes from 50 A up: the least lies halfway to nothing, whatever comes and goes below 6 A of 100."""
    many = [(x,) for x in np.linspace(50.0, 100.0, 13)]
    assert track_of(*many).least_draw() == pytest.approx(25.0)
    assert track_of(*[(2.5,)] * 4, *many).least_draw() == pytest.approx(25.0)
    assert track_of(*[(20.0,)] * 4, *many).least_draw() == pytest.approx(35.0)
