"""What a display that is read in a film does to an integral: its delay, and the time in which it was hidden."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from readings import chunk_of, fed

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.charge.display_delay import DelaySums
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.analysis.sureness.amount_intervals import with_intervals
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED


def parts_of(time_s, current_A, *, sampling="mean", delay_s=1.0):
    """Return what each source adds to the ± of what was drawn. [Ah]"""
    how = HowRead("dc", sampling, 60.0, 0.2, delay_s=delay_s)
    fold = fed(ChargeFold(how, {"current_A"}), chunk_of(time_s, current_A=current_A), ())
    return {part.source: part.u for part in with_intervals(fold.result(), NOTHING_STATED).charge.sure.drawn.components}


@given(
    st.lists(st.tuples(st.floats(-99, 99), st.floats(0.1, 9)), min_size=1, max_size=30),
    st.integers(0, 30),
    st.booleans(),
)
def test_where_the_readings_are_cut_does_not_matter(pairs, cut, held):
    """A fold: the change across the cut counts like any other."""
    x, length_s = (np.array(column) for column in zip(*pairs, strict=True))
    whole, parts = DelaySums(1.0, held=held), DelaySums(1.0, held=held)
    whole.add(x, length_s)
    for part in (slice(None, cut), slice(cut, None)):
        if len(x[part]):
            parts.add(x[part], length_s[part])
    for one, other in zip(vars(whole.result()).values(), vars(parts.result()).values(), strict=True):
        assert other == pytest.approx(one, rel=1e-9)


@pytest.mark.parametrize("sampling", ["mean", "held"])
def test_each_change_may_have_come_earlier_by_the_delay(sampling):
    """70 A for ten seconds, read five times a second: two changes, each late by up to a second and a frame."""
    time_s = np.arange(0, 30, 0.2)
    current_A = np.where((time_s > 10) & (time_s < 20), 70.0, 0.0)
    parts = parts_of(time_s, current_A, sampling=sampling)
    assert parts["the display's delay"] == pytest.approx(70 * 1.2 * math.sqrt(2) / math.sqrt(3) / 3600, rel=1e-6)
    assert "while the display was hidden" not in parts
    assert "between readings by eye" not in parts
    assert "the display's delay" not in parts_of(time_s, current_A, sampling=sampling, delay_s=None)


def test_a_hidden_stretch_makes_it_less_sure():
    """While a hand is before it the load may have done anything."""
    time_s = np.arange(0, 30, 0.2)
    current_A = np.where((time_s > 10) & (time_s < 20), 70.0, 0.0)
    seen = (time_s < 22) | (time_s > 28)
    assert parts_of(time_s[seen], current_A[seen])["while the display was hidden"] > 0.03


def test_a_display_that_stands_still_has_no_delay():
    """Whenever it showed the value, it was the same."""
    time_s = np.arange(0, 30, 0.2)
    assert parts_of(time_s, np.full(len(time_s), 5.0)).get("the display's delay", 0) == 0
