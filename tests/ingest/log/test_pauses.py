"""What readings say of a meter that writes changes, by hand at either side of each limit that is stated."""

from __future__ import annotations

import numpy as np
import pytest

from shuntbook.ingest.log.gap_limit import IntervalCount
from shuntbook.ingest.log.pauses import Pauses

S = 1_000_000


def asks_whether_held(levels, spacings_s=(1, 5)) -> bool:
    """Whether a log of these levels is asked about, at spacings of which every second one is five times as long."""
    count, spacings = IntervalCount(), np.resize(spacings_s, len(levels) - 1)
    count.add(np.concatenate([[0], np.cumsum(spacings)]) * S, np.array(levels, dtype=float))
    sentence = count.gap_limit().sentence or ""
    return sentence.startswith("nearly every row is a change") and "add --sampling held" in sentence


@pytest.mark.parametrize(("changes", "asked"), [(19, False), (20, True)])
def test_twenty_changes_are_enough(changes, asked):
    assert asks_whether_held(np.resize([0, 30], changes + 1)) is asked


@pytest.mark.parametrize(("equal", "asked"), [(4, True), (5, False)])
def test_nine_readings_of_ten_must_be_changes(equal, asked):
    """Of 40 readings 4 or 5 stand as the one before."""
    switching = np.resize([0, 30], 41 - equal)
    assert asks_whether_held([*switching, *[switching[-1]] * equal]) is asked


@pytest.mark.parametrize(("step", "asked"), [(2.0, False), (2.1, True)])
def test_a_change_is_more_than_a_fifth_of_all_that_was_read(step, asked):
    """After one from 0 to 10 A; four readings that stay show that smaller ones are no steps of the meter's own."""
    assert asks_whether_held([0, *np.resize([10, 10 - step], 36), *[10 - step] * 4]) is asked


@pytest.mark.parametrize(
    ("spacings_s", "asked"),
    [((1, 4), False), ((1, 5), True), ((1, *[5] * 6), True), ((1, *[5] * 13), False), ((100, *[1] * 13), False)],
)
def test_what_keeps_a_rhythm_is_not_asked(spacings_s, asked):
    """There is none where the longest tenth of the spacings is five times as long as the shortest, or longer."""
    assert asks_whether_held(np.resize([0, 30], 41), spacings_s) is asked


def stepping(rises: int, falls: int, others: int = 0, equal: int = 0):
    """Levels after a leap of 1000 A, beside which nothing else is a change: by 1 A up and down, by 2 A, not at all."""
    steps = [1000, *[1] * rises, *[-1] * falls, *np.resize([2, -2], others), *[0] * equal]
    return np.cumsum([0, *steps])


@pytest.mark.parametrize(("falls", "asked"), [(9, False), (10, True)])
def test_twenty_least_steps_are_enough(falls, asked):
    assert asks_whether_held(stepping(10, falls)) is asked


@pytest.mark.parametrize(("others", "asked"), [(59, True), (60, False)])
@pytest.mark.parametrize("step", [1.0, 0.25])
def test_a_quarter_of_the_steps_are_least_ones(others, asked, step):
    """20 of a step, the leap, and so many of two steps, which are none of them, whatever a step is."""
    assert asks_whether_held(step * stepping(10, 10, others)) is asked


@pytest.mark.parametrize(("equal", "asked"), [(2, True), (3, False)])
def test_who_writes_changes_hardly_says_the_same_again(equal, asked):
    """Twice in two hundred readings, and no more."""
    assert asks_whether_held(stepping(99, 98, equal=equal)) is asked


def only_changes(*bursts) -> bool:
    """Whether pauses of 600 s between bursts of readings 5 s apart are those of a meter that keeps only changes."""
    levels = np.concatenate(bursts).astype(float)
    is_pause = np.zeros(len(levels) - 1, dtype=bool)
    is_pause[np.cumsum([len(burst) for burst in bursts[:-1]]) - 1] = True
    pauses = Pauses(levels[0])
    pauses.add(np.where(is_pause, 600, 5).astype(np.int64) * S, is_pause, levels[1:])
    return pauses.of_changes_only(600)


@pytest.mark.parametrize(("bursts", "enough"), [(10, False), (11, True)])
def test_ten_pauses_are_a_habit(bursts, enough):
    assert only_changes(*[[1, 30, 30, 30, 1]] * bursts) is enough


@pytest.mark.parametrize(("rest", "is_nothing"), [(1, True), (3, True), (4, False)])
def test_next_to_nothing_is_a_fifth_of_what_flows_else(rest, is_nothing):
    """Means of 18.4, 19.2 and 19.6 A, from which rest lies 17.4, 16.2 and 15.6 A away."""
    assert only_changes(*[[rest, 30, 30, 30, rest]] * 12) is is_nothing


@pytest.mark.parametrize(
    ("usual", "others", "other", "elsewhere"),
    [(12, 3, 35, False), (12, 3, 36, True), (18, 3, 36, True), (19, 2, 36, False)],
)
def test_some_pauses_stand_elsewhere(usual, others, other, elsewhere):
    """Than at the 30 A of most: by more than half a swing of 10 A, and one of ten; one pause is on the way."""
    bursts = [*[[30, 40, 30]] * usual, *[[other, other + 10, other]] * others]
    assert only_changes(*bursts) is elsewhere


def test_a_pause_next_to_which_nothing_was_read_says_nothing():
    """Of twelve pauses three have no level at an end: nine are too few; with two more of known level eleven are not."""
    run, unread = [1, 30, 30, 30, 1], [1, 30, 30, 30, np.nan]
    assert not only_changes(*[unread] * 3, *[run] * 10)
    assert only_changes(*[unread] * 3, *[run] * 12)
