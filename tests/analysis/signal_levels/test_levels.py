"""Plateaus put together to levels, by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from readings import US

from shuntbook.analysis.signal_levels.inner_levels import with_inner
from shuntbook.analysis.signal_levels.level_record import Burst, LevelList
from shuntbook.analysis.signal_levels.levels import MOST_PARTS, Level, LevelMaker, edge_readings, record
from shuntbook.analysis.signal_levels.plateau import Plateau, traces_of


def plateau(at_s, current_A, *, every_s=1.0, step=0.0, step_s=None, least=0.5, after_gap=False, voltage_V=None):
    """A plateau of these readings from an instant on."""
    rows = np.array([current_A, current_A if voltage_V is None else voltage_V], dtype=float)
    (traces,) = traces_of(("current_A", "voltage_V"), rows, np.array([0, rows.shape[1]]))
    if voltage_V is None:
        del traces["voltage_V"]
    last_s, spacing_s = at_s + (len(current_A) - 1) * every_s, every_s if step_s is None else step_s
    ends = round(at_s * US), round(last_s * US)
    return Plateau(*ends, len(current_A), traces, {"current_A": (1.0, 2.0)}, least, step, after_gap, spacing_s)


def in_a_row(*parts, every_s=1.0, **more):
    """Plateaus of (readings, amps), one after the other, each with the step that led to it."""
    made, at_s, before = [], 0.0, None
    for count, current_A in parts:
        step = 0.0 if before is None else current_A - before
        made.append(plateau(at_s, [current_A] * count, every_s=every_s, step=step, after_gap=before is None, **more))
        at_s, before = at_s + count * every_s, current_A
    return made


def made_of(plateaus):
    """The levels of plateaus: their readings, and how many of these are in the change that led there."""
    maker = LevelMaker("current_A")
    levels = [level for each in plateaus for level in maker.add(each)]
    levels += maker.rest()
    return [(level.count, sum(part.count for part in level.between), level.usual("current_A")) for level in levels]


# --- one level ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "every_s", "holds"), [(3, 0.5, True), (3, 0.49, False), (2, 30.0, False), (9, 0.1, False)]
)
def test_a_level_holds_for_three_readings_and_a_second(count, every_s, holds):
    """What is shorter belongs to a start or a stop."""
    assert Level([plateau(0, [5.0] * count, every_s=every_s)], [], False).holds is holds


def test_how_a_level_begins_and_ends():
    """Medians of its first and last readings, fifteen or as many as asked for, from as many plateaus as it takes."""
    a, b, c = plateau(0, [1.0, 2.0, 3.0]), plateau(3, [10.0, 11.0]), plateau(5, np.arange(20.0, 60.0))
    level = Level([a, b, c], [], False)
    assert level.first("current_A") == np.median([1, 2, 3, 10, 11, *range(20, 30)])
    assert level.first("current_A", 4) == np.median([1, 2, 3, 10])
    assert level.first("current_A", 3) == 2.0
    assert level.last("current_A") == np.median(range(45, 60))
    assert level.last("current_A", 4) == 57.5
    back = Level([c, b, a], [], False)
    assert back.last("current_A", 4) == np.median([1, 2, 3, 11])
    assert back.last("current_A") == np.median([1, 2, 3, 10, 11, *range(50, 60)])
    assert back.first("current_A") == np.median(range(20, 35))
    two = Level([a, b], [], False)
    assert (two.first("current_A", 4), two.last("current_A", 4)) == (2.5, 6.5)
    alone = Level([c], [], False)
    assert (alone.first("current_A", 3), alone.last("current_A", 3)) == (21.0, 58.0)
    assert (alone.first("current_A"), alone.last("current_A")) == (27.0, 52.0)
    assert (Level([a], [], False).first("current_A"), Level([a], [], False).last("current_A", 2)) == (2.0, 2.5)
    assert math.isnan(Level([plateau(0, [1.0, np.nan, 3.0])], [], False).first("current_A", 2))


def test_the_usual_reading_counts_each_plateau_by_its_readings():
    """Ten of 5 A, four of 1 A and five of 9 A: the middle of nineteen is among the fives."""
    parts = in_a_row((4, 1.0), (10, 5.0), (5, 9.0))
    assert Level(parts, [], False).usual("current_A") == 5.0
    assert Level(in_a_row((4, 1.0), (3, 5.0), (8, 9.0)), [], False).usual("current_A") == 9.0
    assert Level(in_a_row((8, 1.0), (3, 5.0), (4, 9.0)), [], False).usual("current_A") == 1.0
    assert Level(in_a_row((3, 1.0), (2, 5.0), (2, 9.0)), [], False).usual("current_A") == 5.0
    assert math.isnan(Level([*parts, plateau(19, [np.nan] * 3)], [], False).usual("current_A"))


def test_extremes_of_a_level_and_of_the_change():
    """The highest of a start's time of 5 s, and of all; the lowest of all; unknown where some are."""
    between = [plateau(0, [80.0, 60.0], voltage_V=[22.0, 23.0])]
    parts = [plateau(2 + k, [30.0 + 10 * k], voltage_V=[24.0 - k]) for k in range(8)]
    level = Level(parts, between, False)
    assert (level.peak("current_A"), level.high("current_A"), level.low("voltage_V")) == (80.0, 100.0, 17.0)
    assert Level(parts, [], False).peak("current_A") == 80.0  # what begins 5 s after the first: 30 A and 10 A a second
    holed = Level([*parts, plateau(10, [1.0], voltage_V=[np.nan])], between, False)
    assert math.isnan(holed.low("voltage_V"))
    assert (holed.low("current_A"), holed.high("current_A")) == (1.0, 100.0)
    assert math.isnan(level.low("power_W"))


def stair(*steps):
    """The level that a stair leads to: which of its steps the change began with."""
    parts = [plateau(k, [1.0], step=step, step_s=0.5) for k, step in enumerate(steps)]
    level = Level(parts[-1:], parts[:-1], False)
    assert level.start_us == level.changed.first_us - 0.25 * US
    return parts.index(level.changed)


@pytest.mark.parametrize(
    ("steps", "at"),
    [
        ((30.0,), 0),
        ((2.0, 30.0), 1),  # less than three tenths of the larger: another load's
        ((10.0, 30.0), 0),
        ((9.0, 30.0), 1),
        ((10.0, 2.0, 30.0), 2),
        ((10.0, 12.0, 30.0, -5.0), 0),
        ((30.0, -20.0, 4.0), 0),
        ((-10.0, -30.0), 0),  # a stop
        ((2.0, -30.0), 1),
        ((0.4, 0.3), 0),
    ],
)
def test_a_change_begins_with_its_largest_step_or_the_stair_up_to_it(steps, at):
    """Steps the other way, and small ones before it, are not of it."""
    assert stair(*steps) == at


@pytest.mark.parametrize(
    ("step", "least", "every_s", "readings"),
    [
        (28.0, 1.0, 1.0, 3),  # three seconds
        (28.0, 1.0, 0.5, 6),
        (28.0, 1.0, 0.1, 15),  # no more than are kept
        (28.0, 1.0, 10.0, 3),  # no fewer than a level has
        (8.0, 1.0, 1.0, 7),  # (1.25 / 6 / 0.01 x 1 / 8)^2 = 6.8
        (-8.0, 1.0, 1.0, 7),
        (5.0, 1.0, 1.0, 15),  # 17.4
        (8.0, 0.5, 1.0, 3),  # 1.7
        (0.0, 1.0, 1.0, 15),
    ],
)
def test_of_how_many_readings_an_edge_is_the_median(step, least, every_s, readings):
    """As few as the noise allows, but three seconds."""
    before = Level([plateau(0, [2.0] * 31, every_s=every_s)], [], False)
    level = Level([plateau(40, [2.0 + step] * 31, every_s=every_s, least=least)], [], False)
    assert edge_readings(before, level, "current_A") == readings


# --- what stood out between two levels ------------------------------------------------------------------------------


def burst_of(*between, after_A=2.0, least=0.5, after_gap=False, voltage=True):
    """What is recorded of readings between two levels of 2 A and nearly that."""
    volts = {"voltage_V": [25.0] * 20} if voltage else {}
    before = Level([plateau(0, [2.0] * 20, **volts)], [], False)
    parts, at_s, last = [], 20.0, 2.0
    for row in between:
        more = {"voltage_V": [25.0 - 0.01 * x for x in row]} if voltage else {}
        parts.append(plateau(at_s, row, step=row[0] - last, least=least, **more))
        at_s, last = at_s + len(row), row[-1]
    # The volts come back a little lower: a sag is told against those before.
    volts = {name: [24.9] * 20 for name in volts}
    after = plateau(at_s, [after_A] * 20, step=after_A - last, least=least, **volts)
    return record(Level([after], parts, after_gap), before, "current_A", at_start=15, at_end=15).burst


def test_what_stands_out_between_two_levels():
    """80 and 60 A for a second each above 2 A: from the middle before the first to the middle after the last."""
    burst = burst_of([82.0], [62.0])
    assert (burst.start_us, burst.stop_us, burst.readings) == (19.5 * US, 21.5 * US, 2)
    assert burst.peak["current_A"] == 80.0
    assert burst.sag_V == pytest.approx(0.82)
    assert math.isnan(burst_of([82.0], voltage=False).sag_V)


def test_readings_less_than_half_as_high_are_not_of_it():
    """82 A, then 30 A for two seconds: the burst ends where the 30 A begin."""
    burst = burst_of([82.0], [30.0, 30.0])
    assert (burst.start_us, burst.stop_us, burst.readings) == (19.5 * US, 20.5 * US, 1)
    assert burst_of([82.0], [41.0, 41.0]).readings == 1  # 39 of 80 A above the level before
    burst = burst_of([30.0, 30.0], [82.0])
    assert (burst.start_us, burst.stop_us, burst.readings) == (21.5 * US, 22.5 * US, 1)


@pytest.mark.parametrize(
    ("between", "more"),
    [
        ((), {}),
        (([82.0],), {"after_gap": True}),
        (([82.0],), {"after_A": 10.1}),  # more than a tenth of it stays: a step
        (([82.0],), {"after_A": -6.1}),
        (([2.4],), {}),  # less than the smallest step
        (([-80.0],), {}),
    ],
)
def test_what_is_no_burst(between, more):
    """Nothing between, a gap, a level that is another, and what hardly stands out."""
    assert burst_of(*between, **more) is None


def test_a_tenth_of_a_burst_may_stay():
    """8 of 80 A."""
    assert burst_of([82.0], after_A=10.0) is not None
    assert burst_of([2.5]) is not None


def test_what_is_kept_of_a_level():
    """Its times, edges and sums."""
    before = Level([plateau(0, [2.0] * 20)], [], False)
    level = Level(
        [plateau(22, [30.0] * 10, step=-5.0), plateau(32, [29.0] * 10)], [plateau(20, [35.0] * 2, step=33.0)], False
    )
    got = record(level, before, "current_A", at_start=3, at_end=3)
    assert (got.start_us, got.spacing_s, got.first_us, got.last_us) == (19.5 * US, 1.0, 22 * US, 41 * US)
    assert (got.left_us, got.left_s, got.reached_us, got.reached_s) == (19.5 * US, 1.0, 21.5 * US, 1.0)
    assert (got.first["current_A"], got.last["current_A"], got.peak["current_A"]) == (30.0, 29.0, 35.0)
    assert (got.sums_first, got.sums_last) == ({"current_A": 1.0}, {"current_A": 2.0})
    assert (got.after_gap, got.least, got.burst) == (False, 0.5, None)
    assert math.isnan(got.lowest_V)


def test_a_list_with_the_levels_within_one_in_its_place():
    """Levels of 2, 30, 2 and 9 A, the second of which went through 10 and 30 A; bursts go with their levels."""
    base, run, rest, other = (
        record(Level([plateau(20 * k, [x] * 20)], [], not k), None, "current_A", at_start=3, at_end=3)
        for k, x in enumerate((2.0, 30.0, 2.0, 9.0))
    )
    low = record(Level([plateau(20, [10.0] * 8)], [], False), None, "current_A", at_start=3, at_end=3)
    high = replace(run, first_us=28 * US, leaves=(38.25 * US, 0.5))
    bursts = [Burst(at_us, at_us + US, 1, {"current_A": 50.0}, math.nan) for at_us in (19 * US, 39 * US, 59 * US)]
    rows = [base, replace(run, inner=(low, high)), replace(rest, burst=bursts[1]), replace(other, burst=bursts[2])]
    whole = LevelList("current_A", rows)
    assert list(whole.refined.first["current_A"]) == [2.0, 10.0, 30.0, 2.0, 9.0]
    assert list(whole.refined.first_us) == [0, 20 * US, 28 * US, 40 * US, 60 * US]
    assert whole.refined.bursts == {3: bursts[1], 4: bursts[2]}
    assert (whole.refined.left_us[3], whole.refined.left_s[3]) == (38.25 * US, 0.5)
    assert whole.refined.left_us[4] == whole.left_us[3]
    # Some of the levels, as a list of their own: counted from its first.
    part = whole.part(1, 3)
    assert (list(part.first["current_A"]), part.bursts, part.inner) == ([30.0, 2.0], {1: bursts[1]}, {0: (low, high)})
    assert (whole.part(2, 4).bursts, whole.part(2, 4).inner) == ({0: bursts[1], 1: bursts[2]}, {})
    assert LevelList("current_A", [base, rest]).refined.inner == {}


# --- the levels that one went through -------------------------------------------------------------------------------


def inner_of(*parts, every_s=1.0):
    """The levels within one of these plateaus (readings, amps) after 2 A: how each begins, and when the last leaves."""
    before, *plateaus = in_a_row((20, 2.0), *parts, every_s=every_s)
    level, base = Level(plateaus, [], False), Level([before], [], False)
    inner = with_inner(record(level, base, "current_A", at_start=3, at_end=3), level, base, "current_A").inner
    return [x.first["current_A"] for x in inner], inner[-1].leaves if inner else None


@pytest.mark.parametrize(
    ("parts", "inner"),
    [
        (((20, 12.0), (20, 22.0)), ([12.0, 22.0], None)),  # 10 A after a step of 10 A
        (((20, 12.0), (20, 14.0)), ([], None)),  # 2 A: no more than a quarter of it
        (((20, 12.0), (2, 17.0), (20, 22.0)), ([12.0, 22.0], None)),  # on the way
        (((20, 12.0), (20, 22.0), (20, 22.3)), ([12.0, 22.0], None)),  # less than noise may be: 0.7 of 0.5 A
        (((20, 12.0), (20, 22.0), (20, 22.4)), ([12.0, 22.0, 22.4], None)),
        (((2, 12.0), (2, 22.0)), ([], None)),  # nothing holds
        (((40, 22.0),), ([], None)),
        (((2, 12.0), (20, 22.0)), ([], None)),  # one level, and nothing after it
        (((20, 22.0), (2, 17.0), (2, 12.0)), ([22.0], (39.5 * US, 1.0))),  # the way down, from the first that is off it
        (((20, 22.0), (2, 22.4), (2, 17.0)), ([22.0], (41.5 * US, 1.0))),
    ],
)
def test_the_levels_that_a_level_went_through(parts, inner):
    """Each stretch that holds; what moves on after the last is the way to the next level."""
    assert inner_of(*parts) == inner


# --- plateaus put together ------------------------------------------------------------------------------------------


def test_each_level_that_holds_is_one():
    """2, 30 and 2 A."""
    assert made_of(in_a_row((20, 2.0), (20, 30.0), (20, 2.0))) == [(20, 0, 2.0), (20, 0, 30.0), (20, 0, 2.0)]


def test_what_is_short_goes_with_the_level_that_follows():
    """Two readings at 50 A are no level."""
    assert made_of(in_a_row((20, 2.0), (2, 50.0), (20, 30.0))) == [(20, 0, 2.0), (20, 2, 30.0)]
    assert made_of(in_a_row((20, 2.0), (1, 50.0), (1, 10.0), (20, 2.0))) == [(20, 0, 2.0), (20, 2, 2.0)]


@pytest.mark.parametrize(
    ("parts", "levels"),
    [
        (((20, 2.0), (20, 30.0), (20, 29.2)), 2),  # 0.8 A of a step of 28 A: less than 3 %
        (((20, 2.0), (20, 30.0), (20, 29.1)), 3),
        (((20, 2.0), (20, 2.3)), 1),  # less than 0.7 of the smallest step: noise
        (((20, 2.0), (20, 2.4)), 2),
        (((20, 2.0), (2, 2.3), (20, 2.0)), 2),  # too few readings to say so
        (((20, 2.0), (3, 2.3), (20, 2.0)), 1),
    ],
)
def test_neighbours_that_differ_little_are_one_level(parts, levels):
    """Little beside the step before, or as noise does."""
    assert len(made_of(in_a_row(*parts))) == levels


@pytest.mark.parametrize(("current_A", "count"), [(27.3, 22), (27.1, 20)])
def test_a_short_neighbour_may_differ_by_a_tenth(current_A, count):
    """2.7 A of a step of 28 A, not 2.9."""
    assert made_of(in_a_row((20, 2.0), (20, 30.0), (2, current_A)))[1] == (count, 0, 30.0)


def test_what_climbs_within_a_start_is_no_level_yet():
    """0.8 A up again and again, 3 s after a step of 28 A, is a soft start; after 5 s it is the level's own slope."""
    assert made_of(in_a_row((20, 2.0), (2, 30.0), (20, 30.8))) == [(20, 0, 2.0), (20, 2, 30.8)]
    assert made_of(in_a_row((20, 2.0), (8, 30.0), (20, 30.8))) == [(20, 0, 2.0), (28, 0, 30.8)]
    assert made_of(in_a_row((20, 2.0), (2, 30.0), (20, 29.2))) == [(20, 0, 2.0), (22, 0, 29.2)]


def test_a_level_after_a_gap_is_one_however_short():
    """And nothing before it goes with it."""
    first, second = in_a_row((20, 2.0)), plateau(99, [5.0, 5.0], after_gap=True, step=3.0)
    assert made_of([*first, second, plateau(101, [9.0] * 9, step=4.0)]) == [(20, 0, 2.0), (2, 0, 5.0), (9, 0, 9.0)]
    short = plateau(20, [50.0], step=48.0)
    assert made_of([*first, short, second]) == [(20, 0, 2.0), (2, 0, 5.0)]


@pytest.mark.parametrize(
    ("parts", "levels"),
    [
        # Held at 60 A for 4 s, then 30 A: a start, less than 0.65 of whose top remains.
        (((20, 2.0), (5, 60.0), (20, 30.0)), [(20, 0, 2.0), (20, 5, 30.0)]),
        (((20, 2.0), (6, 60.0), (20, 30.0)), [(20, 0, 2.0), (20, 6, 30.0)]),  # just 5 s
        (((20, 2.0), (7, 60.0), (20, 30.0)), [(20, 0, 2.0), (7, 0, 60.0), (20, 0, 30.0)]),  # 6 s are too long
        (((20, 2.0), (5, 60.0), (20, 40.0)), [(20, 0, 2.0), (5, 0, 60.0), (20, 0, 40.0)]),  # 38 of 58 A
        (((20, 2.0), (5, 60.0), (20, 39.0)), [(20, 0, 2.0), (20, 5, 39.0)]),  # 37 of 58 A
        (((20, 2.0), (5, 60.0), (20, 7.0)), [(20, 0, 2.0), (5, 0, 60.0), (20, 0, 7.0)]),  # a tenth is too little
        (((20, 2.0), (5, 60.0), (20, 8.0)), [(20, 0, 2.0), (20, 5, 8.0)]),
        (((20, 30.0), (5, 60.0), (20, 2.0)), [(20, 0, 30.0), (5, 0, 60.0), (20, 0, 2.0)]),
    ],
)
def test_a_short_level_may_prove_the_start_of_the_next(parts, levels):
    """A surge that an inverter holds at its limit for seconds."""
    assert made_of(in_a_row(*parts)) == levels


@pytest.mark.parametrize(("every_s", "level"), [(0.25, (20, 14, 34.4)), (1.0, (34, 0, 34.4))])
def test_a_surge_that_dies_away_within_a_starts_time_belongs_to_the_change(every_s, level):
    """From 60 A by steps of a tenth to 34.4 A, 32.4 of 58 A: in 3.5 s it is a start, in 14 s the load's own draw."""
    parts = ((20, 2.0), (4, 60.0), (2, 55.0), (2, 50.0), (2, 45.0), (2, 40.0), (2, 35.5), (20, 34.4))
    assert made_of(in_a_row(*parts, every_s=every_s)) == [(20, 0, 2.0), level]


@pytest.mark.parametrize(("at_the_top", "level"), [(3, (20, 13, 34.4)), (4, (34, 0, 34.4))])
def test_a_surge_may_take_a_starts_time_to_fall_below_its_limit(at_the_top, level):
    """Its last reading of 40 A, 38 of 58 A, is 5 s after its first, or 5.5 s."""
    parts = ((20, 2.0), (at_the_top, 60.0), (2, 55.0), (2, 50.0), (2, 45.0), (2, 40.0), (2, 35.5), (20, 34.4))
    assert made_of(in_a_row(*parts, every_s=0.5)) == [(20, 0, 2.0), level]


def test_a_start_may_end_with_the_first_plateau_of_its_level():
    """A top of 100 A above 2 A, 65.5 A for 4 s, then 64 A: less than 0.65 of it remains from there on."""
    parts = ((20, 2.0), (1, 102.0), (4, 67.5), (20, 66.0))
    assert made_of(in_a_row(*parts)) == [(20, 0, 2.0), (20, 5, 66.0)]


def test_a_level_has_no_more_plateaus_than_are_kept():
    """What goes on is another one."""
    noisy = in_a_row(*[(4, 2.0 + 0.3 * (k % 2)) for k in range(MOST_PARTS + 4)])
    assert [count for count, _, _ in made_of(noisy)] == [4 * MOST_PARTS, 16]


def test_asking_for_the_rest_changes_nothing():
    """Levels are given out when nothing can change them, and the rest may be asked for at any time."""
    maker, given = LevelMaker("current_A"), []
    for each in in_a_row((20, 2.0), (20, 30.0), (20, 2.0), (20, 30.0)):
        given += maker.add(each)
        assert [x.count for x in maker.rest()] == [x.count for x in maker.rest()]
    assert [level.usual("current_A") for level in given] == [2.0, 30.0]
    assert [level.usual("current_A") for level in maker.rest()] == [2.0, 30.0]


def test_a_twin_goes_on_by_itself():
    """What a twin takes in the maker has not: neither a plateau that goes on with the last level, nor another level."""
    maker, (base, noise, run) = LevelMaker("current_A"), in_a_row((20, 2.0), (20, 2.2), (20, 30.0))
    maker.add(base)
    twin = maker.twin()
    twin.add(noise)
    assert ([x.count for x in maker.rest()], [x.count for x in twin.rest()]) == ([20], [40])
    twin.add(run)
    assert [x.count for x in maker.rest()] == [20]
