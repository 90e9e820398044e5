"""Rows that lose AM and PM: stopped at, and one or two rejected."""

from datetime import datetime, timedelta

import pytest
from exporting import convert

FORMS = ["%m/%d/%Y %I:%M:%S", "%Y-%m-%d %I:%M:%S", "%d %b %Y %I:%M"]


def text(form, is_lost, count=2000):
    """Return an export of which some rows have no AM or PM."""
    moments = [datetime(2026, 6, 13, 9, 30) + timedelta(minutes=k) for k in range(count)]
    rows = [f"{t:{form if is_lost(k) else form + ' %p'}},{k % 9}.5" for k, t in enumerate(moments)]
    return "\n".join(["Time,Current (A)", *rows]) + "\n"


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("begin", [900, 1960])
def test_it_stops_at_the_line(tmp_path, form, begin):
    done = convert(tmp_path, text(form, lambda k: k >= begin))
    assert f"line {begin + 2}: the time" in done.error
    assert "no AM or PM" in done.error


@pytest.mark.parametrize("form", FORMS)
def test_one_row_is_rejected(tmp_path, form):
    done = convert(tmp_path, text(form, lambda k: k == 700))
    assert done.reject_lines == [702]
    assert len(done.time_us) == 1999


@pytest.mark.parametrize("form", FORMS)
def test_clocks_that_keep_it_are_read(tmp_path, form):
    assert len(convert(tmp_path, text(form, lambda k: False)).time_us) == 2000
