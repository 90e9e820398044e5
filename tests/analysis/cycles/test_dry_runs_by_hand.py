"""Runs that draw less, from levels put down by hand: how much speaks for each, by the arithmetic that is stated.

A pump of 20 A above 4 A. Evidence is in natural logarithms; from 5 on a run is the pump's, from 0.5 on it may be.
"""

import pytest
from level_lists import level_list

from shuntbook.analysis.cycles.choose_load import LoadSteps
from shuntbook.analysis.cycles.cycle import PerhapsDry
from shuntbook.analysis.cycles.dry_runs import at_one_draw, dry_runs, fell, held_run, with_late_fall
from shuntbook.analysis.cycles.on_off_path import Heights, RunLevels
from shuntbook.analysis.cycles.run_figures import SeenRun

REST_A, PUMP_A, DRY_A = 4.0, 20.0, 10.0
OWN = [RunLevels(k, k + 1) for k in (1, 3, 5, 7)]
HOUR_S = 3600.0


def usual_runs(rest_s, run_s=100):
    """A rest before each of four usual runs, and after the last."""
    return [(REST_A, rest_s), *[x for _ in OWN for x in ((REST_A + PUMP_A, run_s), (REST_A, rest_s))]]


def pump(runs):
    """The pump with these runs."""
    return LoadSteps(PUMP_A, PUMP_A, 0.25, tuple(runs))


def verdict(sure, perhaps):
    """What is told of it."""
    return "its own" if sure else "perhaps" if perhaps else "nothing"


# --- on to the log's end --------------------------------------------------------------------------------------------


def held(hours, due, *, again=0, falls=False, own_tops=(0, 0, 0, 0), top=0.0, spacing_s=1.0):
    """What is told where the pump ran four times, and then something of half its draw is on for hours.

    So many of its starts were ``due`` meanwhile, and ``again`` are seen. Tops are shares of the pump's draw by which
    the signal rises above what follows a start.
    """
    lasted_s = hours * HOUR_S
    rest_s = (len(OWN) * lasted_s / due - 400) / 5
    then = [(REST_A + PUMP_A, 50)] if falls else []
    on = [x for _ in range(again) for x in ((REST_A + DRY_A, 100), (REST_A + DRY_A + PUMP_A, 100))]
    left_s = lasted_s + 1 - 50 * falls - 200 * again
    levels = level_list(*usual_runs(rest_s), *then, *on, (REST_A + DRY_A, left_s))
    begins = len(usual_runs(rest_s))
    for k, height in zip([*(run.start for run in OWN), begins], [*own_tops, top], strict=True):
        levels.peak["current_A"][k] += height * PUMP_A
    levels.spacing_s[begins] = spacing_s
    more = [RunLevels(begins + 1 + 2 * k, begins + 2 + 2 * k) for k in range(again)]
    return verdict(*held_run(pump([*OWN, *more]), levels))


ONE_SHOWS, ALL_SHOW = (0.3, 0, 0, 0), (0.3, 0.3, 0.3, 0.3)


@pytest.mark.parametrize(
    ("case", "due", "of_it"),
    [
        # One for each hour, three at most; a start that shows as little as all of the pump's: ln(0.965 / 0.95) = 0.016.
        ({"hours": 2.0}, 2.9, "perhaps"),
        ({"hours": 2.0}, 3.0, "its own"),
        ({"hours": 6.0}, 1.9, "perhaps"),
        ({"hours": 6.0}, 2.0, "its own"),
        # Two against it for a start meanwhile; two such starts are no chance.
        ({"hours": 2.0, "again": 1}, 4.9, "perhaps"),
        ({"hours": 2.0, "again": 1}, 5.0, "its own"),
        ({"hours": 1.0, "again": 1}, 1.4, "nothing"),
        ({"hours": 1.0, "again": 1}, 1.5, "perhaps"),
        ({"hours": 3.0, "again": 2}, 9.0, "nothing"),
        # Four where its own draw was seen to fall.
        ({"hours": 1.0, "falls": True}, 0.01, "its own"),
        ({"hours": 0.99, "falls": True}, 4.0, "nothing"),  # not for an hour
        # One start of four shows: that this one does not is ln(0.825 / 0.95) = -0.14, that it does ln 5 = 1.61.
        ({"hours": 2.0, "own_tops": ONE_SHOWS}, 3.1, "perhaps"),
        ({"hours": 2.0, "own_tops": ONE_SHOWS}, 3.2, "its own"),
        ({"hours": 2.0, "own_tops": ONE_SHOWS, "top": 0.3}, 1.3, "perhaps"),
        ({"hours": 2.0, "own_tops": ONE_SHOWS, "top": 0.3}, 1.4, "its own"),
        # All of four, taken for 0.9 of them: ln 18 = 2.89. Against it where the top is another, over 1.5 times as high;
        # or less than 0.6 of it, where readings are close enough together to show it.
        ({"hours": 1.0, "own_tops": ALL_SHOW, "top": 0.3}, 1.1, "perhaps"),
        ({"hours": 1.0, "own_tops": ALL_SHOW, "top": 0.3}, 1.2, "its own"),
        ({"hours": 1.0, "own_tops": ALL_SHOW, "top": 0.44}, 1.2, "its own"),
        ({"hours": 2.0, "own_tops": ALL_SHOW, "top": 0.46}, 1.2, "nothing"),
        ({"hours": 2.0, "own_tops": ALL_SHOW, "top": 0.46}, 1.5, "perhaps"),
        ({"hours": 1.0, "own_tops": ALL_SHOW, "top": 0.1}, 1.2, "its own"),
        ({"hours": 1.0, "own_tops": ALL_SHOW, "top": 0.1, "spacing_s": 0.2}, 1.2, "nothing"),
        ({"hours": 1.0, "own_tops": ALL_SHOW, "top": 0.19, "spacing_s": 0.2}, 1.2, "its own"),
        ({"hours": 1.0, "own_tops": ALL_SHOW, "top": 0.1, "spacing_s": 0.0}, 1.2, "its own"),  # not known
    ],
)
def test_what_speaks_for_a_run_to_the_end(case, due, of_it):
    """Starts that were due, hours, and how it began."""
    assert held(due=due, **case) == of_it


# --- tries that end -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tries", "rest_s", "of_it"),
    [
        # Two of 140 s: 4 x 280 s / (200 + 7 rests) starts were due, 1.5 for two in a row, 0.016 for each start.
        (2, 18.6, "perhaps"),  # 3.40 + 1.5 + 0.03
        (2, 17.6, "its own"),  # 3.48
        (3, 85.7, "perhaps"),  # 1.90 + 3.0 + 0.05
        (3, 80.0, "its own"),  # 2.00
        (5, 660.0, "perhaps"),  # 0.41 + 4.5, however many more
        (5, 600.0, "its own"),  # 0.45
    ],
)
def test_what_speaks_for_tries_in_a_row(tries, rest_s, of_it):
    """The pump's usual runs take 50 s, so that none of its tries is long."""
    levels = level_list(*usual_runs(rest_s, 50), *[(REST_A + DRY_A, 140), (REST_A, rest_s)] * tries)
    heights = Heights(levels.before, levels.after, levels.rest, levels.charged)
    runs, perhaps = dry_runs(pump(OWN), levels, levels.changes("current_A"), heights)
    assert verdict(runs, perhaps) == of_it
    if runs:
        assert runs == [RunLevels(9 + 2 * k, 10 + 2 * k) for k in range(tries)]
    else:
        assert perhaps == PerhapsDry(tries, 0.5, 140.0 * tries)


# --- a draw that falls within a run ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("then", "falls"),
    [
        (((14, 902),), True),  # 901 s at half its draw
        (((14, 901),), False),  # just a quarter of an hour
        (((14, 500), (21.9, 402)), True),  # it rises by less than 0.8 of the fall
        (((14, 500), (22.1, 402)), False),
        (((10.5, 902),), False),  # to 0.325 of it
        (((20, 902),), False),  # to 0.8
    ],
)
def test_a_draw_that_fell_late_and_stays(then, falls):
    """The run of 24 A goes on for far longer than the four whole ones; a gap before it is no end of it."""
    levels = level_list(*usual_runs(60)[:-1], (REST_A, 60), (REST_A, 60), (24, 50), *then, gaps=(9,))
    run = RunLevels(10, None)
    assert with_late_fall(run, [*OWN, run], levels) == RunLevels(10, None, 11 if falls else None)
    assert with_late_fall(run, OWN[1:], levels) == run  # three whole runs say too little
    assert with_late_fall(OWN[0], OWN, levels) == OWN[0]


@pytest.mark.parametrize(
    ("low_A", "length_s", "others", "falls"),
    [
        (14, 900, [], True),
        (14, 899, [], False),
        (14, 900, [2], False),  # another's step
        (20, 900, [], False),  # to 0.8 of its draw
        (10.5, 900, [], False),
        (14, None, [], True),  # it goes on
    ],
)
def test_a_run_fell_if_it_goes_on_so_for_a_quarter_of_an_hour(low_A, length_s, others, falls):
    """Or for good."""
    end = [(REST_A, 60)] if length_s else []
    levels = level_list((REST_A, 60), (24, 100), (low_A, length_s or 60), *end)
    stop = 3 if end else None
    assert fell(SeenRun(levels, 1, stop, 2, others), RunLevels(1, stop, 2)) is falls


@pytest.mark.parametrize(
    ("draws_A", "count"),
    [
        ((33, 33), 2),
        ((32.9, 32.9), 0),
        ((78, 78), 2),
        ((78.1, 78.1), 0),
        ((50, 50, 50, 50, 60), 5),  # four of five are alike
        ((50, 50, 50, 60, 60), 0),
        ((), 0),
    ],
)
def test_dry_runs_settle_at_one_draw_that_a_dry_pump_has(draws_A, count):
    """Of a pump of 100 A, and to 15 % of their middle."""
    levels = level_list(*[x for each in (100, *draws_A) for x in ((0, 60), (each, 60))], (0, 60))
    own, *dry = (SeenRun(levels, k, k + 1, k, []) for k in range(1, len(levels), 2))
    assert at_one_draw(dry, [own]) == dry[:count]
