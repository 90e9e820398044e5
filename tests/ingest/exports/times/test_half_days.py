"""Clocks of twelve hours without AM and PM: their order tells; any other clock is read as ever."""

from datetime import datetime, timedelta

import numpy as np
import pytest
from exporting import convert

EPOCH = datetime(1970, 1, 1)


def rows(begin: datetime, hours: float, step_s: int, form: str, *, backwards: bool = False):
    """Return an export without AM and PM, and the instants as they were [us]."""
    count = int(hours * 3600 / step_s)
    moments = [begin + timedelta(seconds=step_s * k) for k in range(count)]
    instants = [(t - EPOCH) // timedelta(microseconds=1) for t in moments]
    lines = [f"{t:{form}},{k % 9}.5" for k, t in enumerate(moments)]
    return "\n".join(["Time,Current (A)", *(lines[::-1] if backwards else lines)]) + "\n", instants


@pytest.mark.parametrize(
    ("begin", "hours", "step_s"),
    [
        (datetime(2026, 6, 13, 9, 57), 10, 60),
        (datetime(2026, 6, 13, 12, 10), 9, 60),
        (datetime(2026, 6, 13, 20, 10), 5, 30),
        (datetime(2026, 6, 13, 23, 20), 60, 300),
        (datetime(2026, 6, 13, 0, 0), 24, 3600),
        (datetime(2026, 6, 12, 17, 0), 100, 1800),
    ],
)
@pytest.mark.parametrize("backwards", [False, True])
def test_the_order_tells_morning_from_afternoon(tmp_path, begin, hours, step_s, backwards):
    text, instants = rows(begin, hours, step_s, "%Y-%m-%d %I:%M:%S", backwards=backwards)
    done = convert(tmp_path, text)
    assert done.time_us.tolist() == instants
    assert any("without AM and PM" in note for note in done.log.meta.remarks)


def test_a_clock_alone_goes_on_over_noon(tmp_path):
    text, instants = rows(datetime(2026, 6, 13, 9, 57), 30, 60, "%I:%M:%S")
    assert np.diff(convert(tmp_path, text).time_us).tolist() == np.diff(instants).tolist()


@pytest.mark.parametrize(("hour", "hours"), [(2, 5), (9, 3), (1, 11), (0, 30), (11, 9)])
def test_a_clock_of_24_hours_is_read_as_ever(tmp_path, hour, hours):
    text, instants = rows(datetime(2026, 6, 13, hour, 10), hours, 60, "%Y-%m-%d %H:%M:%S")
    done = convert(tmp_path, text)
    assert done.time_us.tolist() == instants
    assert not any("AM and PM" in note for note in done.log.meta.remarks)


def test_an_order_that_tells_nothing_is_refused(tmp_path):
    text, _ = rows(datetime(2026, 6, 13, 9, 57), 10, 60, "%Y-%m-%d %I:%M:%S")
    head, *lines = text.splitlines()
    assert "without AM and PM" in convert(tmp_path, "\n".join([head, *lines, *lines]) + "\n").error


def test_a_day_of_which_one_half_was_seen_is_told_where_nothing_says_which(tmp_path):
    text, instants = rows(datetime(2026, 6, 13, 9, 57), 10, 60, "%Y-%m-%d %I:%M:%S")
    more, _ = rows(datetime(2026, 6, 17, 9, 57), 1, 60, "%Y-%m-%d %I:%M:%S")
    done = convert(tmp_path, text + more.partition("\n")[2])
    assert done.time_us.tolist()[: len(instants)] == instants
    assert any("whether 2026-06-17 is morning or afternoon" in note for note in done.log.meta.remarks)


def test_an_hour_that_never_was_in_the_morning_is_none_of_the_afternoon(tmp_path):
    begin = datetime(2026, 3, 29, 10, 0)  # 2 to 3 in the night did not exist there
    text, _ = rows(begin, 8, 60, "%Y-%m-%d %I:%M:%S")
    done = convert(tmp_path, text, options=("--zone", "Europe/Berlin"))
    assert len(done.time_us) == 480
    assert set(np.diff(done.time_us)) == {60_000_000}
    assert not done.rejects
