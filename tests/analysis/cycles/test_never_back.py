"""A pump without water, from levels put down by hand: on to the log's end, from its start on, or from a fall on."""

from math import log

import numpy as np
import pytest
from level_lists import level_list

from shuntbook.analysis.cycles.choose_load import LoadSteps
from shuntbook.analysis.cycles.cycle import PerhapsDry
from shuntbook.analysis.cycles.dry_runs import at_one_draw, dry_runs, fell, held_run, with_late_fall
from shuntbook.analysis.cycles.never_back import Held, held_up, on_since_first
from shuntbook.analysis.cycles.on_off_path import Heights, RunLevels
from shuntbook.analysis.cycles.run_figures import SeenRun

HOUR_S = 3600.0


def after_runs(*rows, count=5, run_s=60.0, rest_s=840.0, gaps=()):
    """Levels of so many runs of a pump of 20 A above 2 A, each after its rest, then a rest, then these; and the runs.

    The level behind the last rest is the first that is given, `2 * count + 1`; `gaps` are counted from it.
    """
    runs = [(2.0, rest_s), (22.0, run_s)] * count
    made = level_list(*runs, (2.0, rest_s), *rows, gaps=[2 * count + 1 + gap for gap in gaps])
    return made, [RunLevels(2 * k + 1, 2 * k + 2) for k in range(count)]


# --- on to the log's end --------------------------------------------------------------------------------------------


def test_what_holds_the_signal_up_to_the_end_is_known_with_the_starts_that_were_due():
    """Half of 20 A for an hour to the last reading: five runs in the 5,340 s before it, so 3.4 more were due."""
    levels, own = after_runs((12.0, HOUR_S + 1))
    assert held_up(levels, own) == Held(RunLevels(11, None), HOUR_S, 0.5, pytest.approx(5 * HOUR_S / 5340), 0)
    assert held_up(levels, []) is None


def test_what_began_at_its_own_draw_fell_later():
    """20 A for 100 s and 10 A for an hour."""
    levels, own = after_runs((22.0, 100.0), (12.0, HOUR_S))
    lasted_s = HOUR_S + 99
    assert held_up(levels, own) == Held(RunLevels(11, None, 12), lasted_s, 0.5, pytest.approx(5 * lasted_s / 5340), 0)


@pytest.mark.parametrize(
    ("rows", "more", "is_held"),
    [
        ([(12.0, 3601.0)], {}, True),
        ([(12.0, 3600.0)], {}, False),  # for an hour at least
        ([(12.0, 4001.0)], {"run_s": 400.0}, True),
        ([(12.0, 4000.0)], {"run_s": 400.0}, False),  # for ten times a usual run
        ([(8.7, 3601.0)], {}, True),  # a third to 0.78 of the draw
        ([(8.5, 3601.0)], {}, False),
        ([(17.5, 3601.0)], {}, True),
        ([(17.7, 3601.0)], {}, False),
        ([(12.0, 3601.0), (9.1, 60.0)], {}, True),  # what stays is within 15 % of the draw of what stepped up: 3 A
        ([(12.0, 3601.0), (8.9, 60.0)], {}, False),
        ([(12.0, 3601.0), (2.0, 60.0)], {}, False),  # it has been back
        ([(12.0, 3601.0)], {"gaps": [0]}, False),  # nobody saw it rise
        ([(2.0, 60.0), (12.0, 3601.0)], {"gaps": [0]}, True),
        ([(22.0, 100.0), (14.9, 3601.0), (12.0, 60.0)], {}, True),  # 7.1 A is within 3 A of the 10 A that have stayed
        ([(22.0, 100.0), (19.0, 3601.0), (15.5, 60.0), (12.0, 60.0)], {}, False),  # no single step is
    ],
)
def test_when_a_load_is_held_to_be_on_to_the_end(rows, more, is_held):
    """At a dry pump's draw, for far longer than its runs, and never back."""
    assert (held_up(*after_runs(*rows, **more)) is not None) is is_held


def test_it_has_been_on_for_three_times_the_longest_run():
    """Which took 1,300 s, the others 60 s."""
    for lasts_s, is_held in ((3901.0, True), (3900.0, False)):
        runs = [x for k in range(5) for x in ((2.0, 840.0), (22.0, 1300.0 if k == 2 else 60.0))]
        levels = level_list(*runs, (2.0, 840.0), (12.0, lasts_s))
        assert (held_up(levels, after_runs()[1]) is not None) is is_held


@pytest.mark.parametrize(("count", "again", "is_held"), [(5, 1, True), (5, 2, False), (25, 2, True), (25, 3, False)])
def test_a_load_that_started_again_is_off(count, again, is_held):
    """Once, or one in ten of its runs so far, others may have stepped at once by as much."""
    rows = [x for _ in range(again) for x in ((12.0, 1800.0), (32.0, 60.0))]
    levels, own = after_runs(*rows, (12.0, 1800.0), count=count)
    first = 2 * count + 2
    held = held_up(levels, [*own, *(RunLevels(first + 2 * k, first + 2 * k + 1) for k in range(again))])
    assert (held and held.again) == (again if is_held else None)


#: Five starts in 50,700 s.
SELDOM = {"rest_s": 8400.0}
#: What stands for the chance that another load's start shows. [1]
BY_CHANCE = 0.05


def judged(lasted_s, *, tops=(), top=0.0, fell=False, spacing_s=1.0, again=0):
    """Whether a load is held to be on for so long, "in doubt" or not; `tops` are those of its starts, `top` of this.

    All over its draw of 20 A.
    """
    rows = [(22.0, 100.0), (12.0, lasted_s - 99)] if fell else [(12.0, lasted_s + 1)]
    if again:
        rows = [(12.0, lasted_s - 999), (32.0, 60.0), (12.0, 940.0)]
    levels, own = after_runs(*rows, **SELDOM)
    for k, each in zip((1, 3, 5, 7, 9, 11), (*(tops or [0.0] * 5), top), strict=True):
        levels.peak["current_A"][k] += 20 * each
    levels.spacing_s[11] = spacing_s
    load = LoadSteps(20.0, 20.0, 0.25, (*own, *[RunLevels(12, 13)] * again))
    held, doubt = held_run(load, levels)
    assert held is None or doubt is None
    return True if held is not None else doubt and (doubt == PerhapsDry(1, 0.5, pytest.approx(lasted_s)) and "in doubt")


def starts_due(lasted_s):
    """How many starts were due. [1]."""
    return 5 * lasted_s / 50700


def test_evidence_is_the_starts_that_were_due_and_the_hours():
    """Five are enough: 0.36 starts an hour, one for each of three hours, and next to nothing by a start without a top.

    By five hours that is 1.78 + 3, by six 2.13 + 3.
    """
    assert starts_due(6 * HOUR_S) == pytest.approx(2.13, abs=0.005)
    assert judged(5 * HOUR_S) == "in doubt"
    assert judged(6 * HOUR_S) is True
    assert judged(6 * HOUR_S, again=1) == "in doubt"  # a start that it seems to have had tells 2 against it
    assert judged(2 * HOUR_S) == "in doubt"
    # A fall to that draw was seen: four more.
    assert judged(2 * HOUR_S, fell=True) is True


def test_few_runs_show_nothing():
    """Three runs have shown neither how often a load starts nor how."""
    levels, own = after_runs((12.0, 9 * HOUR_S), count=3)
    assert held_run(LoadSteps(20.0, 20.0, 0.25, tuple(own)), levels) == (None, None)
    levels, own = after_runs((12.0, 9 * HOUR_S), count=4)
    assert held_run(LoadSteps(20.0, 20.0, 0.25, tuple(own)), levels)[0] is not None


@pytest.mark.parametrize(("shown", "start"), [(0, log(0.965 / 0.95)), (2, log(0.72 / 0.95)), (5, log(0.37 / 0.95))])
def test_a_start_that_does_not_show_tells_by_how_often_the_loads_do(shown, start):
    """So many of five do; a dry pump's starts show by 0.7 as often, others' in one of twenty; never quite all do."""
    tops = [1.5] * shown + [0.0] * (5 - shown)
    needs_s = (5 - 3 - start) * 50700 / 5
    assert judged(needs_s + 200, tops=tops) is True
    assert judged(needs_s - 200, tops=tops) == "in doubt"


@pytest.mark.parametrize(("shown", "share"), [(2, 0.4), (5, 0.9)])
def test_a_start_that_shows_tells_by_how_often_the_loads_do(shown, share):
    """Where the load's starts show in two of five, or in nearly all: with two hours and more, by the logarithm."""
    tops = [1.5] * shown + [0.0] * (5 - shown)
    needs_s = (5 - log(share / BY_CHANCE)) / (5 / 50700 + 1 / HOUR_S)
    assert judged(needs_s + 200, tops=tops, top=1.5) is True
    assert judged(needs_s - 200, tops=tops, top=1.5) == "in doubt"


@pytest.mark.parametrize(
    ("top", "spacing_s", "is_held"),
    [
        (2.2, 1.0, True),  # to one and a half times the highest top, 1.5 of the draw
        (2.3, 1.0, "in doubt"),
        (0.95, 0.2, True),  # six tenths of the lowest at least, 0.9 of the draw
        (0.85, 0.2, "in doubt"),
        (0.85, 0.21, True),  # readings too far apart may have missed its top
        (0.85, 0.0, True),
    ],
)
def test_a_start_is_like_the_loads_own_by_its_top(top, spacing_s, is_held):
    """Of six hours, which are enough by themselves, and not with a start of another kind."""
    assert judged(6 * HOUR_S, tops=[1.5] * 5, top=top, spacing_s=spacing_s) == is_held


# --- from the first reading on --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "expected", "is_on"),
    [
        ([(12.0, 600.0), (20.0, 60.0), (12.0, 60.0)], None, True),
        ([(4.0, 600.0)], None, True),  # without a plate 4 A are more than what only stands by
        ([(3.9, 600.0)], None, False),
        ([(12.0, 600.0), (6.1, 60.0)], None, True),
        ([(12.0, 600.0), (6.0, 60.0)], None, False),  # half of it has gone
        ([(60.0, 3.0), (12.0, 600.0)], None, True),  # a start's surge is no level of it
        ([(60.0, 9.0), (12.0, 600.0)], None, False),
        ([(12.0, 600.0), (2.1, 60.0)], 20.0, True),  # by its plate half of 20 A must be there, and never have gone
        ([(12.0, 600.0), (2.0, 60.0)], 20.0, False),
        ([(12.0, 600.0)], 24.0, True),
        ([(12.0, 600.0)], 24.1, False),
        ([], None, False),
    ],
)
def test_a_load_that_is_on_since_the_first_reading(rows, expected, is_on):
    """No start of it was seen, and it has not gone off since."""
    assert on_since_first(level_list(*rows), expected) is is_on


# --- runs with less draw from their start on ------------------------------------------------------------------------


def dry_in(levels, own):
    """Runs with less draw among some levels, and what is in doubt."""
    changes = levels.changes("current_A")
    heights = Heights(levels.before, levels.after, levels.rest, levels.charged)
    return dry_runs(LoadSteps(20.0, 20.0, 0.25, tuple(own)), levels, changes, heights)


@pytest.mark.parametrize(("count", "top", "found"), [(4, 0.0, "in doubt"), (2, 1.5, True), (1, 1.5, "in doubt")])
def test_runs_in_a_row_tell_by_their_number_and_their_starts(count, top, found):
    """1.5 for each after the first: four make 4.5; two whose starts show as its own do make 1.5 + 4, one makes 2.9."""
    tries = [(12.0, 100.0), (2.0, 1000.0)] * count
    levels, own = after_runs(*tries, **SELDOM)
    for k in (1, 3, 5, 7, 9, *range(11, 11 + 2 * count, 2)):
        levels.peak["current_A"][k] += 20 * top
    runs, doubt = dry_in(levels, own)
    assert runs == ([RunLevels(11 + 2 * k, 12 + 2 * k) for k in range(count)] if found is True else [])
    assert doubt == (None if found is True else PerhapsDry(count, 0.5, 100.0 * count))


def test_what_goes_on_at_the_end_behind_a_gap_lasts_to_the_last_reading():
    """A gap in the rest before it hides nothing of it: 10 A for five hours, with 1.8 starts due, may be the pump's."""
    levels, own = after_runs((2.0, 100.0), (12.0, 5 * HOUR_S + 1), gaps=[0], **SELDOM)
    assert dry_in(levels, own) == ([], PerhapsDry(1, 0.5, 5 * HOUR_S))


# --- a fall within a run --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "fall"),
    [
        ([(12.0, 902.0)], 12),  # for more than a quarter of an hour, to the last reading
        ([(12.0, 901.0)], None),
        ([(8.7, 902.0)], 12),  # to a dry pump's draw
        ([(8.5, 902.0)], None),
        ([(17.5, 902.0)], 12),
        ([(17.7, 902.0)], None),
        ([(12.0, 902.0), (19.9, 60.0)], 12),  # it never rose again by eight tenths of the fall
        ([(12.0, 902.0), (20.1, 60.0)], None),
        ([(20.0, 60.0), (12.0, 902.0)], 13),
    ],
)
def test_a_run_that_goes_on_has_fallen_where_it_stays_so(rows, fall):
    """A pump of 20 A that ran four times for a minute, and is on for 100 s before it falls."""
    levels, own = after_runs((22.0, 100.0), *rows)
    run = RunLevels(11, None)
    assert with_late_fall(run, [*own, run], levels) == RunLevels(11, None, fall)
    assert with_late_fall(run, [*own[:3], run], levels) == run  # three runs show nothing


def test_a_run_has_fallen_for_three_times_the_longest_at_least():
    """Of 400 s: 1,200 s."""
    for lasts_s, fall in ((1202.0, 12), (1201.0, None)):
        levels, own = after_runs((22.0, 100.0), (12.0, lasts_s), run_s=400.0)
        run = RunLevels(11, None)
        assert with_late_fall(run, own, levels) == RunLevels(11, None, fall)
    whole = RunLevels(1, 2)
    assert with_late_fall(whole, own, levels) == whole


@pytest.mark.parametrize(
    ("left_A", "lasts_s", "stop", "has"),
    [
        (10.0, 900.0, 13, True),
        (10.0, 899.0, 13, False),  # a quarter of an hour at least, light falls and comes back
        (10.0, 60.0, None, True),  # unless it goes on
        (6.7, 900.0, 13, True),  # a dry pump's draw
        (6.5, 900.0, 13, False),
        (15.5, 900.0, 13, True),
        (15.7, 900.0, 13, False),
    ],
)
def test_when_a_runs_own_draw_fell(left_A, lasts_s, stop, has):
    """From 20 A, after 100 s; not where another load's step was seen there, or none at all."""
    levels, _ = after_runs((22.0, 100.0), (2.0 + left_A, lasts_s), *([(2.0, 60.0)] if stop else []))
    run = SeenRun(levels, 11, stop, 12, [])
    assert fell(run, RunLevels(11, stop, 12)) is has
    assert not fell(SeenRun(levels, 11, stop, 12, [12]), RunLevels(11, stop, 12))
    assert not fell(run, RunLevels(11, stop))


@pytest.mark.parametrize(
    ("draws", "alike"),
    [
        ((33.0,), True),  # 0.33 to 0.78 of the load's 100 A
        ((32.9,), False),
        ((78.0,), True),
        ((78.1,), False),
        ((50.0, 50.0, 50.0, 57.4, 80.0), True),  # four of five within 15 % of their middle
        ((50.0, 50.0, 50.0, 57.6, 80.0), False),
        ((50.0, 50.0, 42.6, 90.0, 50.0), True),
        ((50.0, 50.0, 42.4, 90.0, 50.0), False),
        ((), False),
    ],
)
def test_dry_runs_settle_alike(draws, alike):
    """A pump without water has one draw."""
    levels = level_list(*(x for draw in (100.0, *draws) for x in ((0.0, 60.0), (draw, 60.0))), (0.0, 60.0))
    own, *dry = (SeenRun(levels, 2 * k + 1, 2 * k + 2, 2 * k + 1, []) for k in range(len(draws) + 1))
    assert at_one_draw(dry, [own]) == (dry if alike else [])
    assert np.isclose(own.settled("current_A"), 100.0)
