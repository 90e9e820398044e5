"""Intervals of sums of errors, and results that are left out."""

from math import sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.missing import Missing
from shuntbook.analysis.within import half_width_95


def test_one_rectangular_error_has_95_percent_of_its_width():
    """+-a, all values equally likely: 95 % lie within 0.95 a (JCGM 100, 4.3.7)."""
    assert half_width_95([3.0]) == pytest.approx(0.95 * 3.0)


def test_two_equal_errors_make_a_triangle():
    """Two equal rectangles make a triangle (JCGM 100, 4.3.9): 95 % within 2a (1 - sqrt 0.05)."""
    assert half_width_95([1.0, 1.0]) == pytest.approx(2 * (1 - sqrt(0.05)))


@given(st.lists(st.floats(1e-9, 1e6), min_size=1, max_size=5))
def test_a_sum_lies_between_its_largest_part_and_all_of_them(parts):
    """No narrower than the widest part alone, no wider than all at their limits."""
    got = half_width_95(parts)
    assert 0.949 * max(parts) <= got <= sum(parts)


def test_a_sum_agrees_with_drawing_at_random():
    """Three errors of different width, drawn two hundred thousand times: 95 % lie inside (to 0.2 %)."""
    rng = np.random.default_rng(7)
    parts = [1.0, 0.6, 0.25]
    drawn = sum(rng.uniform(-a, a, 200_000) for a in parts)
    assert np.mean(np.abs(drawn) <= half_width_95(parts)) == pytest.approx(0.95, abs=0.002)


def test_no_error_at_all_is_no_interval():
    """Nothing uncertain, nothing wide."""
    assert half_width_95([]) == half_width_95([0.0]) == 0.0


def test_what_is_missing_is_said_with_its_key():
    """The sentence names what is left out, why, and the key to add."""
    assert Missing("runtime", ("bank.usable_depth_pct",)).sentence == (
        "No runtime; add bank.usable_depth_pct to the site file."
    )
    assert Missing("state of charge", because="its voltage is flat").sentence == (
        "No state of charge: its voltage is flat."
    )
