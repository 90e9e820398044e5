"""What damage and other units look like, by numbers put down by hand: each rule to either side of what it states."""

import numpy as np
import pytest

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.exports.amounts.around import Around
from shuntbook.ingest.exports.amounts.closing_row import ClosingRow
from shuntbook.ingest.exports.amounts.far_readings import far_beyond
from shuntbook.ingest.exports.amounts.numbers import over_range
from shuntbook.ingest.log.arrow import strings

#: Of whole numbers of so many bits the largest with and without a sign, and the smallest with one.
ENDS = [*(2**bits - 1 for bits in (15, 16, 23, 24, 31, 32)), *(2**bits for bits in (15, 23, 31))]


def as_written(x):
    """A column of amps as it is taken."""
    return Around("a.csv", {}).as_written(np.array(x, dtype=float), 1, "current_A", "Current", lambda row: row)


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("tens", [1, 10, 100])
def test_an_end_of_whole_numbers_stands_for_none(end, tens):
    """Also with a decimal mark in it; one more or less is a reading."""
    usual = [1.5 + k % 7 / 10 for k in range(60)]
    assert np.flatnonzero(np.isnan(as_written([*usual, end / tens, *usual]))).tolist() == [60]
    assert not np.isnan(as_written([*usual, (end - 2) / tens, *usual])).any()


def turn_of(before, last, first, after):
    """The row from which readings are told to be in another unit, of some about one level and others about another."""
    rows = [*[before - 0.01, before, before + 0.01] * 7, last, first, *[after - 1, after, after + 1] * 7]
    try:
        as_written(rows)
    except InputError as error:
        return int(str(error).split("line ")[1].split(",")[0])
    return None


@pytest.mark.parametrize(
    ("before", "last", "first", "after", "turns"),
    [
        # By the first and the last: 700 to 1,400 times as much, whatever the levels are.
        (10.5, 1.5, 2100.0, 1500.0, True),
        (10.5, 1.5, 2103.0, 1500.0, False),
        (10.5, 1.5, 1050.0, 1500.0, True),
        (10.5, 1.5, 1047.0, 1500.0, False),
        # By the levels: 200 to 5,000 times, where the first is more than a hundred times the last.
        (7.5, 7.6, 1500.0, 1500.0, True),
        (7.5, 7.6, 1499.0, 1499.0, False),
        (7.5, 8.1, 810.0, 1500.0, False),
        (7.5, 8.1, 811.0, 1500.0, True),
        (0.5, 0.8, 2500.0, 2500.0, True),
        (0.5, 0.8, 2501.0, 2501.0, False),
        # Small ones as well.
        (0.05, 0.06, 50.0, 50.0, True),
    ],
)
def test_whole_numbers_of_another_size_are_in_another_unit(before, last, first, after, turns):
    """Readings with decimals, then whole ones."""
    assert turn_of(before, last, first, after) == (22 if turns else None)


@pytest.mark.parametrize(("last", "turns"), [(3000.0, True), (600.0, False), (430.0, False), (811.0, True)])
def test_whole_numbers_at_first_are_too(last, turns):
    """1,500 and the like, then 7.5: told where the last whole one is more than a hundred times the first of the others.

    8.1 here.
    """
    rows = [*[1499.0, 1500.0, 1501.0] * 7, last, 8.1, *[7.49, 7.5, 7.51] * 7]
    if not turns:
        as_written(rows)
        return
    with pytest.raises(InputError, match="line 22, "):
        as_written(rows)


def closes(*blocks):
    """Whether each block's last row adds up those before it."""
    closing = ClosingRow()
    told = []
    for block in blocks:
        closing.last["current_A"] = block[-1]
        told.append(closing.closes({"current_A": np.array(block, dtype=float)}))
    return told


def test_a_last_row_of_sums_is_beyond_twice_all_others():
    """Twelve readings at least; what they come to may else be a start."""
    ones = [1.0] * 11
    assert closes([*ones, 9.0, 20.0]) == [True]
    assert closes([*ones, 12.0, 23.0]) == [False]  # no more than 24
    assert closes([*ones, 11.0, 22.0]) == [False]  # just 22
    assert closes([*ones, 10.9, 21.9]) == [True]
    assert closes([*ones, 9.0, 20.03]) == [False]  # a thousandth off would do
    assert closes([*ones, 9.0, 20.01]) == [True]
    assert closes([*ones, 11.0]) == [False]  # eleven
    assert closes([30.0, -20.0, *[1.0] * 12], [1.0, 23.0]) == [False, False]  # a block before counts
    assert closes([3.0, *[np.nan] * 3, *[1.0] * 12], [1.0, 16.0]) == [False, True]


def far(value, *, cell=None, others=60, usual="20.5", quantity="current_A", decimals="{:.1f}"):
    """Whether one reading among others is told to be damage; these go up to the usual one."""
    top = float(usual)
    x = np.array([*np.linspace(top / 2, top, others), value])
    cells = strings([*(decimals.format(each) for each in x[:-1]), cell or f"{value:.1f}"])
    return list(far_beyond(x, cells, quantity, 0.0)) == [others]


@pytest.mark.parametrize(
    ("value", "usual", "is_damage"),
    [(2000.0, "20", False), (2000.1, "20", True), (2100.0, "210", False), (2100.1, "210", True), (1900.0, "20", False)],
)
def test_a_lone_reading_is_damage_beyond_ten_times_all_others_and_beyond_any_start(value, usual, is_damage):
    """More than 2,000 A; what is just as much is a reading."""
    assert far(value, usual=usual) is is_damage


@pytest.mark.parametrize(
    ("cell", "others", "is_damage"),
    [
        ("100", 30, True),  # 10.0 without its mark
        ("100", 29, False),  # too few to say how all are written
        ("201", 60, True),
        ("206", 60, False),  # more than ten times any other: 20.6 would be the largest
        ("100.0", 60, False),
        ("1OO", 60, False),
    ],
)
def test_a_cell_without_the_mark_that_all_others_have(cell, others, is_damage):
    """Thirty different ones at least, each with one decimal, up to 20.5 A."""
    value = float(cell.replace("O", "0"))
    assert far(value, cell=cell, others=others) is is_damage


@pytest.mark.parametrize(("at", "high_at", "is_high"), [(0, 1, True), (1, 0, True), (3, 1, True), (4, 1, False)])
def test_what_is_above_a_meters_range_beside_its_highest_readings(at, high_at, is_high):
    """90 A among 2 A, within two rows of it on either side."""
    x = np.full(9, 2.0)
    x[high_at], x[at] = 90.0, np.nan
    why = over_range("OL", at, x)
    assert "above the meter's range" in why
    assert ("beside its highest readings" in why) is is_high
    assert over_range("20.5", at, x) is None
