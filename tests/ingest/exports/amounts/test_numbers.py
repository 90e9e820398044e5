"""Cells with decimal commas become the numbers that the same cells with points are."""

import numpy as np
import pytest
from exporting import convert
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.exports.amounts.number_forms import find_form
from shuntbook.ingest.exports.amounts.numbers import NULLS, NumberForm, to_numbers
from shuntbook.ingest.log.arrow import strings

CELLS = st.none() | st.decimals(-9999, 9999, places=3).map(str) | st.sampled_from(["OL", "1e3", "-0.5", "inf", "7"])


@given(st.lists(CELLS, max_size=40), st.integers(0, 5))
def test_decimal_commas_are_points(cells, first):
    """Any column, whole or a part of a longer one, with odd and empty cells in it."""
    points = to_numbers(strings(cells)[first:], NumberForm("."))
    commas = to_numbers(strings([c and c.replace(".", ",") for c in cells])[first:], NumberForm(","))
    assert np.array_equal(points.values, commas.values, equal_nan=True)
    assert points.bad.tolist() == commas.bad.tolist()


def test_a_point_among_decimal_commas_is_no_number():
    """A point that groups no thousands does not belong there, one that does is passed over."""
    numbers = to_numbers(strings(["1,5", "1.5", "1.234,5", None]), NumberForm(","))
    assert numbers.bad.tolist() == [False, True, False, False]
    assert np.array_equal(numbers.values, [1.5, np.nan, 1234.5, np.nan], equal_nan=True)


def read(cells, **form):
    """The numbers of some cells, None for no reading, and 'bad' for what is none."""
    numbers = to_numbers(strings(cells), NumberForm(**form))
    assert np.isnan(numbers.values[numbers.bad]).all()
    return [
        "bad" if bad else None if np.isnan(x) else x
        for x, bad in zip(numbers.values.tolist(), numbers.bad, strict=True)
    ]


def test_cells_that_hold_more_than_a_number():
    """Blanks around it, an apostrophe that a spreadsheet left, a true minus, a unit; a unit alone is none."""
    cells = [" 12.5 A", "'3.25 A", "−4A", "+.5 A", "1e3 A", "2. A", "7", "OL", "5 V", "1.2.3 A", "A", "1e999 A"]
    numbers = [12.5, 3.25, -4.0, 0.5, 1000.0, 2.0, 7.0, "bad", "bad", "bad", None, "bad"]
    assert read(cells, suffix="A") == numbers


def test_cells_without_a_reading_are_not_bad():
    """The usual words for nothing, beside one that makes the column be read carefully; a lone question mark is odd."""
    assert read([*NULLS, "OL", "?"]) == [*[None] * len(NULLS), "bad", "bad"]
    assert read([None, "inf", "-inf", "3.5"]) == [None, "bad", "bad", 3.5]


def test_grouped_digits():
    """Thousands by blanks and apostrophes always, by commas where they were seen to group; only groups of three."""
    assert read(["1 234.5", "12 345 678", "1'234", "1 23", "1234 567"]) == [1234.5, 12345678.0, 1234.0, "bad", "bad"]
    assert read(["1,234.5", "1,234,567", "12,34"], grouped=True) == [1234.5, 1234567.0, "bad"]
    assert read(["1,234.5", "1,234,567", "1,234", "7.5"]) == [1234.5, 1234567.0, "bad", 7.5]
    assert read(["1.234,5", "1.234.567,25", "12.34,5", "7,5"], decimal=",") == [1234.5, 1234567.25, "bad", 7.5]


@pytest.mark.parametrize(
    ("cells", "form"),
    [
        (["1.5", "2.25"], NumberForm(".")),
        (["1,5", "2,25"], NumberForm(",")),
        (["1,234.5"], NumberForm(".", grouped=True)),
        (["1.234,5"], NumberForm(",")),
        (["1,234,567"], NumberForm(".", grouped=True)),
        (["1.234.567"], NumberForm(",")),
        (["1,234", "1.5"], NumberForm(".", grouped=True)),
        (["1,234", "1,5"], NumberForm(",")),
        (["0.234", "1.234"], NumberForm(".")),
        (["0,234"], NumberForm(",")),  # no thousand begins with nought
        (["1 234", "17"], NumberForm(open=True)),
        (["510 mA", "33.31 A", "33.1 A"], NumberForm(".", suffix="A", ranges=True)),
        (["12.5 A", "3.0 A", ""], NumberForm(".", suffix="A")),
        (["12.5 A", "3.0", "4.0"], NumberForm(".")),  # fewer than half carry it
        (["12,5 A", "3,0 A"], NumberForm(",", suffix="A")),
        (["1,234 A", "1,5 A"], NumberForm(",", suffix="A")),
        (["'1,5", "−1,5", "2.5 volts and more"], NumberForm(",")),  # what is no number has no vote
        (["1,5"] * 9 + ["1.5"], NumberForm(",")),  # one of ten is damaged
    ],
)
def test_the_form_of_a_column(cells, form):
    """By hand."""
    assert find_form(cells, cells, column="x") == form


def test_what_a_column_leaves_open_the_table_decides_or_a_person():
    """1,234 beside decimal commas elsewhere; beside points; beside nothing; and two of ten that disagree."""
    assert find_form(["1,234"], ["1,234", "2,5"], column="x") == NumberForm(",")
    assert find_form(["1,234"], ["1,234", "2.5"], column="x") == NumberForm(".", grouped=True)
    assert find_form(["1,234"], [], column="x", stated=",") == NumberForm(",", grouped=True)
    assert find_form(["1.234", "980"], ["32,5"], column="x") == NumberForm(",")
    assert find_form(["980"], ["32.5"], column="x") == NumberForm(".", grouped=True)
    for cells in (["1,234"], ["1.234"], ["1.250", "980"], ["1,5"] * 8 + ["1.5"] * 2 + ["1,234"]):
        with pytest.raises(InputError, match=r"column 'x'.*say --decimal comma or --decimal point"):
            find_form(cells, cells, column="x")


def test_cells_with_different_units_are_refused():
    """A tenth may be damaged, no more."""
    assert find_form(["1.5 A"] * 9 + ["1.5 V"], [], column="x").suffix == "A"
    with pytest.raises(InputError, match=r"different units \(A, V\)"):
        find_form(["1.5 A"] * 8 + ["1.5 V"], [], column="x")


def test_three_digits_behind_every_mark_are_decimals_where_no_reading_stays_so_large():
    """A file between commas groups by no points, and no bank is above a thousand volts throughout."""
    for cells, decimal in ((["25,150", "25,148"], ","), (["25.150", "25.148"], ".")):
        assert find_form(cells, cells, column="x", stays_large=False) == NumberForm(decimal)
    assert find_form(["1.250", "1.248"], [], column="x", points_group=False) == NumberForm(".")
    for cells in (["1.250", "980"], ["1,250", "980"]):  # whole numbers beside them: those below a thousand
        with pytest.raises(InputError, match="grouped thousands"):
            find_form(cells, cells, column="x", stays_large=False, points_group=False)


def test_signs_in_all_their_forms():
    """Dashes for a minus, behind the number, apart from it, or in brackets as in accounts; two signs are none."""
    cells = ["–1.5", "—1.5", "－1.5", "1.5-", "- 1.5", "(1.5)", "( 1.5 )", "-1.5", "＋1.5", "1.5+", "(-1.5)", "-1.5-"]
    assert read(cells) == [-1.5] * 8 + [1.5, 1.5, "bad", "bad"]
    assert read(["(1.5 A)", "(1.5) A", "1.5- A", "–1.5A"], suffix="A") == [-1.5] * 4
    assert read(["(1.234,5)", "1,5-"], decimal=",") == [-1234.5, -1.5]


def test_each_cell_by_its_own_unit():
    """A meter that changes its range writes the unit into each cell; one of another kind is none, nor one without."""
    cells = ["510 mA", "33.31 A", "0.002 kA", "5 V", "5", None]
    assert read(cells, suffix="A", ranges=True) == [0.51, 33.31, 2.0, "bad", "bad", None]
    assert read(["33.31 A", "5", "510 mA"], suffix="mA") == [33310.0, 5.0, 510.0]


@pytest.mark.parametrize("cells", [["0x0B72", "0x0C00"], ["0B72", "6248", "48EE"], ["623E", "6248", "622A"]])
def test_hexadecimal_is_refused_by_name(cells):
    """Marked, or told by its letters."""
    with pytest.raises(InputError, match="are hexadecimal"):
        find_form(cells, cells, column="x")


@pytest.mark.parametrize("cells", [["12A", "13A"], ["21C", "22C"], ["1E2", "2E3"], ["1024", "2048"]])
def test_units_and_exponents_are_not_hexadecimal(cells):
    """They end in one letter, or have an E between digits."""
    find_form(cells, cells, column="x")


def test_a_prefix_behind_the_number(tmp_path):
    """``510m`` beside plain readings is of the column's unit; a letter in one row alone is damage."""
    rows = ["510m", "33.5", "3980m", "0.75k", "800m", "0.8k", "0.9k"]
    lines = ["Time,Current (A),Voltage (V)"]
    lines += [f"2026-06-01 09:00:{k:02},{rows[k % 7]},25.{k:02}" for k in range(56)]
    done = convert(tmp_path, "\n".join([*lines, ""]), options=("--zone", "UTC"))
    assert done["current_A"][:4].tolist() == [0.51, 33.5, 3.98, 750.0]
    lines = [line.replace("510m", "5").replace("3980m", "4").replace("0.75k", "5") for line in lines]
    lines = [line.replace("0.8k", "8").replace("0.9k", "9").replace("800m", "7") for line in lines]
    lines[20] = "2026-06-01 09:00:19,33.u,25.10"
    assert len(convert(tmp_path, "\n".join([*lines, ""]), options=("--zone", "UTC")).rejects) == 1


def test_a_prefix_of_a_unit_that_has_one(tmp_path):
    """Thousandths of milliamps are no unit: nobody knows what is meant."""
    lines = ["Time,Current (mA),Voltage (V)"]
    lines += [f"2026-06-01 09:00:{k:02},{'510m' if k % 3 else '1.2'},25.{k:02}" for k in range(56)]
    assert convert(tmp_path, "\n".join([*lines, ""]), options=("--zone", "UTC")).status == 2
    lines = [line.replace("mA", "A").replace("510m", "510M") for line in lines]
    assert convert(tmp_path, "\n".join([*lines, ""]), options=("--zone", "UTC")).status == 2
