"""The edge of scattered values: how often its interval holds the truth, and what closed forms say."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.stats.lower_edge import FEWEST_AT_EDGE, MOST_AT_EDGE, lower_edge


def test_the_interval_of_even_values_holds_the_edge_in_95_of_100_lots():
    """For values that lie evenly above the edge the interval is exact, whatever their number."""
    rng = np.random.default_rng(5)
    for count in (FEWEST_AT_EDGE, 9, 40):
        held = [lower_edge(70 + 60 * rng.random(count), np.zeros(count)).holds(70.0) for _ in range(2000)]
        assert np.mean(held) == pytest.approx(0.95, abs=0.02)  # three times the scatter of 2,000 lots


def test_the_low_end_of_eight_values_by_hand():
    """Of eight even values the seven below the highest come within 1 - 0.05^(1/7) = 34.8 % of the way with 95 %."""
    x = np.array([77.0, 70.0, 71.0, 72.0, 73.0, 74.0, 75.0, 76.0])
    share = 1 - 0.05 ** (1 / 7)
    edge = lower_edge(x, np.zeros(8))
    assert edge.low == pytest.approx(70 - 7 * share / (1 - share))
    assert edge.high == 70.0


def test_only_the_lowest_eight_count_and_the_likely_edge_is_their_median():
    """With readings that may be off by 1 either way: half of that above the even values' median edge."""
    x = np.array([70.0, 71, 72, 73, 74, 75, 76, 77, 78, 79])
    offs = np.full(10, 1.0)
    edge = lower_edge(x, offs)
    share = 1 - 0.5 ** (1 / 7)
    assert edge.value == pytest.approx(70 - 7 * share / (1 - share) + 0.5)
    share = 1 - 0.05 ** (1 / 7)
    assert edge.low == pytest.approx(70 - 7 * share / (1 - share) - 1)
    assert edge.high == 71.0
    assert lower_edge(np.r_[x[:8], 200.0, 300.0], offs) == edge


def test_of_the_fewest_none_is_left_out():
    """Six values with one far below: nobody can tell which is the stray, and the interval is wide."""
    x = np.array([20.0, 70.0, 71.0, 73.0, 75.0, 78.0])
    assert lower_edge(x, np.zeros(6)).high == 20.0


def test_one_in_fifty_may_be_something_else():
    """Of a hundred values two are left out, whatever they are."""
    x = np.r_[1.0, 2.0, np.linspace(70, 130, 98)]
    assert lower_edge(x, np.zeros(100)).high == 70.0


def test_a_lone_value_far_below_is_something_else():
    """One run that was cut short must not make the tank small."""
    x = np.array([20.0, 70.0, 71.0, 73.0, 75.0, 78.0, 82.0, 88.0, 95.0])
    assert lower_edge(x, np.full(9, 0.5)) == lower_edge(x[1:], np.full(8, 0.5))
    # How far the others reach is told by the eight after it: one far above them does not count.
    y = np.array([20.0, 40, 42, 44, 46, 48, 50, 52, 58, 100])
    assert lower_edge(y, np.zeros(10)).high == 40.0
    even = np.array([40.0, 60, 70, 80, 90, 100, 110, 120, 130])
    assert lower_edge(even, np.zeros(9)).high == 40.0
    near = np.array([64.0, *x[1:]])
    assert lower_edge(near, np.full(9, 0.5)).high == 64.5


@given(st.lists(st.floats(1, 1e4), min_size=FEWEST_AT_EDGE, max_size=60), st.floats(0, 10), st.floats(0.01, 100))
def test_the_edge_follows_the_unit_and_lies_in_its_interval(values, off, factor):
    """In seconds or in minutes it is the same edge; its order does not matter."""
    x, offs = np.array(values), np.full(len(values), off)
    edge, other = lower_edge(x, offs), lower_edge(factor * x[::-1], factor * offs)
    assert 0 <= edge.low <= edge.value <= edge.high <= np.sort(x)[min(len(x) - 1, MOST_AT_EDGE)] + off
    assert (other.low, other.value, other.high) == pytest.approx(
        (factor * edge.low, factor * edge.value, factor * edge.high), rel=1e-9, abs=1e-9
    )
