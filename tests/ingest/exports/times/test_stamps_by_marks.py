"""Dates parsed by their marks come to the same instants as by the regular expression."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.ingest.exports.times import instants, stamps
from shuntbook.ingest.log.arrow import strings
from shuntbook.ingest.zone import NO_TIME

FORMS = [
    "{d}/{m}/{y} {h}:{n:02}:{s:02}",
    "{d:02}.{m:02}.{y} {h:02}:{n:02}:{s:02}.{f:03}",
    "{d:02}-{m:02}-{y}T{h:02}:{n:02}:{s:02},{f}",
    "{d}/{m}/{y} {g}:{n:02}:{s:02} {p}",
    "{d}/{m}/{y} {g}:{n:02}:{s:02}.{f:06} {p}",
]
PARTS = st.fixed_dictionaries(
    {
        **{"d": st.integers(0, 32), "m": st.integers(0, 13), "y": st.integers(1970, 2100), "h": st.integers(0, 25)},
        **{"n": st.integers(0, 61), "s": st.integers(0, 61), "f": st.integers(0, 999), "g": st.integers(0, 13)},
        "p": st.sampled_from(["AM", "PM", "am", "pM"]),
    }
)
ODD = st.sampled_from(["", "off", "1/2/26 1:2:3", "1/2/2026 1:2", "01/02/2026 01:02:03 XM", "1/2/2026 1:2:3.1234567"])


@given(st.sampled_from(FORMS), st.lists(PARTS, min_size=1, max_size=30), st.lists(ODD, max_size=1), st.booleans())
def test_both_ways_agree(form, parts, odd, day_first):
    """Padded or not, with fractions and halves of the day, wrong dates and odd cells among them."""
    cells = strings(["first", *(form.format(**each) for each in parts), *odd])[1:]
    style = stamps.Style("calendar", "d/m/y" if day_first else "m/d/y")
    fast = instants._by_marks(cells, style)
    if fast is not None:
        assert fast.tolist() == instants._by_parts(cells, style).tolist()
    assert (fast is not None) or odd


@pytest.mark.parametrize("cell", ["6/3/2026 8:05:09", "06/03/2026 08:05:09", "6/3/2026 8:05:09 AM"])
def test_a_known_instant(cell):
    """The third of June, read month first, in every width."""
    us = instants._by_marks(strings([cell]), stamps.Style("calendar", "m/d/y"))
    assert us.astype("datetime64[us]").tolist() == np.array(["2026-06-03T08:05:09"], "datetime64[us]").tolist()
    wrong = strings(["13" + cell[cell.index("/") :]])
    assert instants._by_marks(wrong, stamps.Style("calendar", "m/d/y")).tolist() == [NO_TIME]
