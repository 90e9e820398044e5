"""The longest time without a start: held against every minute counted out."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.pump_pulse.quiet import WithoutStart, longest_without_start
from shuntbook.analysis.readings.measured_span import Gap

NONE = np.array([], dtype=np.int64)


def test_between_two_starts_it_is_known_and_at_the_ends_it_is_at_least_that():
    """A night between two starts, a log that ends before the next start, and one without any."""
    starts = np.array([10, 40, 90])
    assert longest_without_start(starts, 0, 100) == WithoutStart(40, 90, at_least=False)
    assert longest_without_start(starts, 0, 200) == WithoutStart(90, 200, at_least=True)
    assert longest_without_start(NONE, 0, 70) == WithoutStart(0, 70, at_least=True)
    assert longest_without_start(NONE, 7, 7) is None
    # Of two as long the one that is known to be no longer.
    assert longest_without_start(np.array([10, 40]), 0, 70) == WithoutStart(10, 40, at_least=False)
    assert longest_without_start(np.array([30, 60]), 0, 70) == WithoutStart(30, 60, at_least=False)


def test_a_gap_may_hide_a_start():
    """What was not read is not called quiet, and what it cuts is at least as long."""
    starts = np.array([10, 90])
    assert longest_without_start(starts, 0, 100, [Gap(30, 50)]) == WithoutStart(50, 90, at_least=True)


@given(
    st.lists(st.integers(0, 99), max_size=8, unique=True).map(sorted),
    st.lists(st.integers(0, 100), min_size=0, max_size=6, unique=True).map(sorted),
)
def test_no_minute_of_it_has_a_start_or_lies_in_a_gap(starts, cuts):
    """And no other stretch of minutes is longer."""
    gaps = [Gap(a, b) for a, b in zip(cuts[::2], cuts[1::2], strict=False)]
    dark = {minute for gap in gaps for minute in range(gap.start_us, gap.stop_us)}
    seen = [us for us in starts if us not in dark]
    longest = lasts = 0
    for minute in range(100):
        lasts = 0 if minute in dark else 1 if minute in seen or minute - 1 in dark else lasts + 1
        longest = max(longest, lasts)
    quiet = longest_without_start(np.array(seen, dtype=np.int64), 0, 100, gaps)
    assert (0 if quiet is None else quiet.stop_us - quiet.start_us) == longest
    if quiet is not None:
        assert quiet.at_least == (quiet.start_us not in seen or quiet.stop_us not in seen)
        assert quiet.lasted_s == pytest.approx((quiet.stop_us - quiet.start_us) / 1e6)
