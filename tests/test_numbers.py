"""Cells with decimal commas become the numbers that the same cells with points are."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.ingest.arrow import strings
from shuntbook.ingest.delimited.numbers import NumberForm, to_numbers

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
    found = to_numbers(strings(["1,5", "1.5", "1.234,5", None]), NumberForm(","))
    assert found.bad.tolist() == [False, True, False, False]
    assert np.array_equal(found.values, [1.5, np.nan, 1234.5, np.nan], equal_nan=True)
