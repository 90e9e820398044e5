"""Starts in bursts: two kinds of rests, made here one by one, so that what is in them is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.health.bursts import APART, bursts_of


def rests_in_bursts(sizes, within_s, between_s, seed=0):
    """The rests of bursts of so many starts, alike to a tenth, with a long rest before each but the first."""
    rng = np.random.default_rng(seed)
    rests: list[float] = []
    for k, size in enumerate(sizes):
        rests += [between_s * rng.uniform(1, 1.5)] if k else []
        rests += [within_s * rng.uniform(0.9, 1.1) for _ in range(size - 1)]
    return rests


@given(st.integers(3, 20), st.floats(5, 60), st.floats(5, 40), st.integers(0, 1000))
def test_bursts_are_told_by_their_size_and_both_rests(size, within_s, times, seed):
    """So many starts in each of six, whatever the rests are, as long as the two kinds lie apart."""
    rests = rests_in_bursts([size] * 6, within_s, times * within_s, seed)
    got = bursts_of(rests)
    assert got.starts == size
    assert got.within_s == pytest.approx(within_s, rel=0.1)
    assert times * within_s <= got.between_s[0] <= got.between_s[1] <= 1.5 * times * within_s


def test_a_burst_that_was_cut_does_not_count():
    """A log begins and ends within bursts: the size is that of the whole ones."""
    assert bursts_of(rests_in_bursts([2, 8, 8, 8, 8, 1], 20.0, 300.0)).starts == 8


@pytest.mark.parametrize(
    "rests",
    [
        [],
        [20.0] * 5,
        list(np.geomspace(10, 3000, 60)),  # every length there is: no gap between two kinds
        rests_in_bursts([8] * 3, 20.0, 300.0),  # two long rests are a chance
        rests_in_bursts([8] * 6, 20.0, 0.8 * APART * 20.0),  # no longer than chance makes them
        rests_in_bursts([8] * 6, 600.0, 8 * 3600.0),  # days with nights between: no pump minds
        rests_in_bursts([2] * 9, 20.0, 300.0),  # by pairs
    ],
)
def test_other_rests_are_no_bursts(rests):
    """One usual rest says enough of them."""
    assert bursts_of(rests) is None
