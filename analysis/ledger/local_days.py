"""Days as people count them: from one local midnight to the next, 23, 24 or 25 hours."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Final

import numpy as np

from ..readings.chunk import TimeArray

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)
_DAY: Final = timedelta(days=1)


@dataclass(frozen=True)
class LocalDay:
    """A day of a zone's calendar: its date, and its two midnights [us]."""

    date: date
    start_us: int
    stop_us: int


def local_time(at_us: int, zone: tzinfo) -> datetime:
    """Return what date and clock an instant, microseconds since 1970-01-01T00:00:00Z, has in a zone."""
    return (_EPOCH + timedelta(microseconds=at_us)).astimezone(zone)


def local_day(at_us: int, zone: tzinfo) -> LocalDay:
    """Return the day that an instant [us] lies in.

    Where the clocks pass midnight twice a day begins at the first time; where they skip it, when they skip it.
    """
    day = local_time(at_us, zone).date()
    # Clocks set back just after midnight show yesterday's date again; the day has begun all the same.
    if at_us >= _midnight_us(day + _DAY, zone):
        day += _DAY
    return LocalDay(day, _midnight_us(day, zone), _midnight_us(day + _DAY, zone))


def _midnight_us(day: date, zone: tzinfo) -> int:
    return (datetime(day.year, day.month, day.day, tzinfo=zone) - _EPOCH) // _MICROSECOND


def days_in(start_us: TimeArray, stop_us: TimeArray, zone: tzinfo) -> Iterator[LocalDay]:
    """Yield the days that stretches of time [us] lie in; both are in order, and no stretch overlaps the next."""
    k, at_us = 0, int(start_us[0]) if len(start_us) else 0
    while k < len(start_us):
        day = local_day(at_us, zone)
        yield day
        # The next day begins where a stretch goes on past this midnight, or with the first stretch after it.
        k = int(np.searchsorted(stop_us, day.stop_us, side="right"))
        if k < len(start_us):
            at_us = max(int(start_us[k]), day.stop_us)
