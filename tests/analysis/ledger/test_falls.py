"""How far a bank's charge fell: the rainflow count of a standard, and depth below the fullest moment."""

from itertools import pairwise

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import T0_US, chunk_of, fed, how

from shuntbook.analysis.ledger.falls import FallsFold
from shuntbook.analysis.ledger.ledger import LedgerFold, demos_of

HOUR_S = 3600.0


def through(levels_Ah, *, least_Ah=0.5):
    """The falls of a bank of which so much is drawn, net, by each of some hours: means, so each step is exact."""
    amps = np.diff(np.asarray(levels_Ah, float), prepend=levels_Ah[0])
    chunk = chunk_of(np.arange(len(amps)) * HOUR_S, current_A=amps)
    fold = FallsFold(how(gap_limit_s=2 * HOUR_S, sampling="mean"), {"current_A"}, least_Ah=least_Ah)
    return fed(fold, chunk).result().depth_Ah.tolist()


@pytest.mark.worked("ASTM E1049-85, 5.4.4: the rainflow example (from memory)")
def test_the_count_is_that_of_the_standard():
    """ASTM E1049-85, 5.4.4, rainflow example: peaks and valleys -2 1 -3 5 -1 3 -4 4 -2 hold 4 one and a half times.

    Its ranges: 3 and 6 and 9 half a time, 4 one and a half, 8 once. Halves that rise there are falls of a bank: 3, 8
    and 8; the whole one is a fall, too.
    """
    assert through([-2, 1, -3, 5, -1, 3, -4, 4, -2]) == pytest.approx([3, 4, 8, 8])
    # Turned over, its other halves are the falls.
    assert through([2, -1, 3, -5, 1, -3, 4, -4, 2]) == pytest.approx([4, 4, 6, 9])


def test_a_night_of_short_runs_is_one_fall_and_not_many():
    """Drawn 30 Ah with a little given back between, then all of it: one fall of 30, and each waver is its own."""
    assert through([0, 10, 9, 20, 19, 30, 0]) == pytest.approx([1, 1, 30])
    assert through([0, 10, 9, 20, 19, 30, 0], least_Ah=2) == pytest.approx([30])


def test_a_swing_of_just_enough_counts():
    """Two Ah are a fall where two are the least, either way."""
    assert through([0, 10, 8, 20, 0], least_Ah=2) == pytest.approx([2, 20])
    assert through([0, -10, -8, -20, 0], least_Ah=2) == pytest.approx([2, 20])


def test_more_put_back_than_taken_adds_no_fall():
    """Ten nights of 30 Ah, of which 33 are put back each day: ten falls of 30, as losses in charging make it."""
    levels = [0.0]
    for _ in range(10):
        levels += [levels[-1] + 30, levels[-1] - 3]
    assert through(levels) == pytest.approx([30.0] * 10)


def test_what_is_not_made_good_yet_is_a_fall():
    """A log that ends low; and one in which nothing falls."""
    assert through([0, 20, 10, 40]) == pytest.approx([10, 40])
    assert through([0, -20, -40]) == []
    assert through([0, 0, 0]) == []


@examples(50, 150)
@given(st.lists(st.integers(-60, 60), min_size=2, max_size=120), st.data())
def test_cut_anywhere_the_falls_are_the_same(amps, data):
    """The law of folds; whole amps for whole minutes, so that no sum is rounded."""
    chunk = chunk_of(np.arange(len(amps)) * 60.0, current_A=np.asarray(amps, float))
    cuts = data.draw(st.lists(st.integers(0, len(amps)), max_size=6))
    whole, parts = (
        fed(FallsFold(how(gap_limit_s=100.0), {"current_A"}, least_Ah=0.5), chunk, each) for each in ((), cuts)
    )
    parts.result()  # to ask changes nothing
    np.testing.assert_allclose(whole.result().depth_Ah, parts.result().depth_Ah, rtol=1e-9)


@examples(33, 100)
@given(st.lists(st.integers(-60, 60), min_size=2, max_size=120))
def test_falls_are_those_of_a_count_by_hand(amps):
    """Each turn looked at one by one, without blocks of readings: the same falls."""
    levels = np.concatenate([[0], np.cumsum(amps)])
    assert through(levels, least_Ah=20) == pytest.approx(by_hand(levels.tolist(), 20))


def by_hand(levels, least):
    """Turns one reading at a time; then the swings between their neighbours, the longest way."""
    turns, low, high, way = [], levels[0], levels[0], 0
    for level in levels:
        low, high = min(low, level), max(high, level)
        if way <= 0 and level - low >= least:
            turns, way, low, high = [*turns, low], 1, level, level
        elif way >= 0 and high - level >= least:
            turns, way, low, high = [*turns, high], -1, level, level
    if way:
        turns.append(high if way > 0 else low)
    falls = []
    while True:
        swings = np.abs(np.diff(turns))
        inner = [k for k in range(1, len(swings) - 1) if swings[k] <= min(swings[k - 1], swings[k + 1])]
        if not inner:
            return sorted([*falls, *(b - a for a, b in pairwise(turns) if b > a)])
        falls.append(float(swings[inner[0]]))
        del turns[inner[0] : inner[0] + 2]


def ledger(amps, notes=(), cuts=()):
    """The ledger of hourly means."""
    chunk = chunk_of(np.arange(len(amps)) * HOUR_S, current_A=np.asarray(amps, float))
    markers = [(T0_US + round(hour * HOUR_S * 1e6), text) for hour, text in notes]
    hours = how(gap_limit_s=2 * HOUR_S, sampling="mean")
    fold = LedgerFold(hours, {"current_A"}, zone=None, demos=demos_of(markers))
    return fed(fold, chunk, cuts).result()


def test_each_line_tells_how_far_below_its_fullest_moment_the_bank_was():
    """10 Ah an hour: a demo from the second hour to the fourth ends 30 Ah down, one after the sun came back 5 Ah."""
    got = ledger([0, 10, 10, 10, -30, -10, 5, 0], [(1, "crates"), (3, "end"), (5.5, "lamps"), (7, "end")])
    assert [line.deepest_Ah for line in got.demos] == pytest.approx([30.0, 5.0])
    assert got.deepest_Ah == pytest.approx(30.0)


@examples(17, 50)
@given(st.lists(st.integers(-60, 60), min_size=3, max_size=60), st.data())
def test_cut_anywhere_the_depth_of_each_line_is_the_same(amps, data):
    """The law of folds, for days and demos."""
    cuts = data.draw(st.lists(st.integers(0, len(amps)), max_size=6))
    notes = [(hour + 0.5, "on") for hour in sorted(data.draw(st.sets(st.integers(0, len(amps) - 2), max_size=4)))]
    whole, parts = ledger(amps, notes), ledger(amps, notes, cuts)
    assert [line.deepest_Ah for line in parts.demos] == pytest.approx([line.deepest_Ah for line in whole.demos])
    assert parts.deepest_Ah == pytest.approx(whole.deepest_Ah)
