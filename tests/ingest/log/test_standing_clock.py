"""A clock that stood still is refused; rows that share a stamp as ever are merged or spread as ever."""

import numpy as np
import pytest

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.log.log import Readings
from shuntbook.ingest.log.timeline import settle

BEGIN_S = 1_780_000_000


def settled(seconds, current_A):
    """Settle readings given in seconds."""
    time_us = np.round((BEGIN_S + np.asarray(seconds, dtype=float)) * 1e6).astype(np.int64)
    return settle(Readings(time_us, {"current_A": np.asarray(current_A, dtype=float)}))


def stood(count, *, rate=1, goes_on=True):
    """Return seconds of a log of 600 rows whose clock stands for `count` rows from row 200 on."""
    seconds = np.arange(600) // rate
    seconds[200 + count :] -= 0 if goes_on else count // rate - 1
    seconds[200 : 200 + count] = seconds[200]
    return seconds


@pytest.mark.parametrize("rate", [1, 2, 4])
@pytest.mark.parametrize("goes_on", [True, False])
def test_a_clock_that_stood_is_refused(rate, goes_on):
    with pytest.raises(InputError, match=r"row 201 of the readings and the 99 behind it.*stood still"):
        settled(stood(100, rate=rate, goes_on=goes_on), np.arange(600) % 7)


def test_stamps_without_a_clock_are_refused():
    with pytest.raises(InputError, match="row 1 of the readings and the 599 behind it"):
        settled(np.zeros(600), np.arange(600) % 7)


def test_readings_that_stand_as_well_are_merged():
    result = settled(stood(100), np.where(np.arange(600) // 100 == 2, 3.0, np.arange(600) % 7))
    assert result.merged == 99


@pytest.mark.parametrize("count", [2, 5, 15])
def test_a_few_rows_of_one_stamp_are_merged(count):
    assert settled(stood(count), np.arange(600) % 7).merged == count - 1


def test_many_rows_in_every_second_are_spread():
    assert settled(np.arange(6000) // 100, np.arange(6000) % 7).merged == 0
