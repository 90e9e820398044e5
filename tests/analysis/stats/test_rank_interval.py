"""The middle of scattered values and the shift between two lots: critical values, identities, coverage."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import mannwhitneyu

from shuntbook.analysis.stats.ranks import MOST, _rank_sum, median_of, middle, shift

LOTS = st.lists(st.floats(-1e3, 1e3, allow_nan=False), min_size=6, max_size=25).map(np.array)


@pytest.mark.parametrize(
    ("n", "m", "critical"),
    # Two-sided 5 % critical values of U, as printed in tables of the Mann-Whitney test (from memory).
    [(4, 4, 0), (5, 5, 2), (5, 8, 6), (8, 8, 13), (10, 10, 23), (20, 20, 127)],
)
def test_the_rank_sum_leaves_out_what_the_tables_say(n, m, critical):
    """The interval begins after as many differences as the test's critical value."""
    assert _rank_sum(n, m) == critical


@pytest.mark.parametrize(("n", "m"), [(3, 3), (1, 30), (0, 9), (2, 7)])
def test_too_few_values_have_no_interval(n, m):
    """Three and three can be ordered in 20 ways: the rarest has 5 % on each side."""
    assert _rank_sum(n, m) is None
    assert shift(np.arange(float(n)), np.arange(float(m))) is None


@given(LOTS, LOTS)
def test_the_interval_agrees_with_the_test(before, after):
    """Where every value of one lot is above all of the other the interval leaves out zero; equal lots never do."""
    apart = shift(before, before.max() + 1 + after - after.min())
    assert apart.low > 0
    assert shift(before, before).holds(0)
    assert shift(before, after).value == pytest.approx(-shift(after, before).value)


@given(LOTS, st.floats(-100, 100))
def test_moving_one_lot_moves_the_shift(before, by):
    """The same values, moved."""
    apart = shift(before, before + by)
    assert apart.holds(by) or min(abs(apart.low - by), abs(apart.high - by)) < 1e-9


#: How many lots are tried, by day and by night; and of how many the interval must hold what is sought.
TRIED = [(250, 0.91), pytest.param(1000, 0.93, marks=pytest.mark.night)]


@pytest.mark.parametrize(("lots", "least"), TRIED)
def test_the_shift_is_found_as_often_as_stated_and_agrees_with_an_independent_test(lots, least):
    """Pairs of skewed lots, a known shift: in as many intervals, and zero in where scipy's test says so."""
    chance = np.random.default_rng(3)
    held = agreed = 0
    for _ in range(lots):
        n, m = chance.integers(6, 60, 2)
        before, after = chance.gamma(2, 1, n), chance.gamma(2, 1, m) + 0.7
        apart = shift(before, after)
        held += apart.holds(0.7)
        agreed += apart.holds(0.0) == (mannwhitneyu(after, before).pvalue > 0.05)
    assert held >= least * lots
    assert agreed >= 0.99 * lots  # the two round differently near 5 %


@pytest.mark.parametrize(("lots", "least"), TRIED)
def test_the_median_is_found_as_often_as_stated(lots, least):
    """Lots of any size from six to beyond the counting-out of ranks, skewed: the median of a gamma is 1.678 (table)."""
    chance = np.random.default_rng(4)
    held = [
        median_of(chance.gamma(2, 1, int(chance.choice([6, 9, 40, 300, 1500])))).holds(1.67835) for _ in range(lots)
    ]
    assert np.mean(held) >= least
    assert median_of(np.arange(5.0)) is None


def test_many_values_are_thinned_evenly():
    """Ten thousand values give the same middle as they are, without a hundred million pairs."""
    values = np.arange(10_000.0)
    assert len(values) > MOST
    assert middle(values).value == pytest.approx(4999.5)
    assert shift(values, values + 3).value == pytest.approx(3, abs=20)
