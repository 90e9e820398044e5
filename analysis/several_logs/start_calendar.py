"""The calendar of starts: how often a load started in each hour of each local day, and which hours nobody knows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, tzinfo
from typing import Final

import numpy as np

from ..ledger.local_days import LocalDay, days_in, local_time
from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, TimeArray

#: Clocks are changed by whole quarters of an hour wherever they are changed today. [us]
_QUARTER_US: Final = 900 * MICROSECONDS
#: An hour of which all but so much was measured is a whole one: common practice, no source. [1]
_WHOLE: Final = 0.99

ClockHour = tuple[int, int]
"""An hour as the clock shows it: 0 to 23, and 1 where the clocks pass it for the second time, else 0."""


@dataclass(frozen=True)
class CalendarCell:
    """One hour of one day: how much of it was measured, and how long it lasts: 0 where the clocks skip it.

    `starts` are those seen; None where nothing of the hour was measured: never 0.
    """

    starts: int | None
    measured_s: float
    length_s: float

    @property
    def whole(self) -> bool:
        """Whether all of it was measured: then ``starts`` is all there were, else at least so many."""
        return self.length_s > 0 and self.measured_s >= _WHOLE * self.length_s


@dataclass(frozen=True)
class CalendarDay:
    """A local day, with one cell for each of the calendar's hours."""

    date: date
    cells: tuple[CalendarCell, ...]


@dataclass(frozen=True)
class StartCalendar:
    """Days in which anything was measured, in order; `hours` are the columns, 24 and those that clocks pass twice."""

    hours: tuple[ClockHour, ...]
    days: tuple[CalendarDay, ...]

    @property
    def most(self) -> int:
        """The most starts of any hour."""
        return max((cell.starts or 0 for day in self.days for cell in day.cells), default=0)

    def usual(self) -> tuple[float | None, ...]:
        """Return for each hour of the clock the starts in an hour of readings, over all days. [1/h]"""
        columns = list(zip(*(day.cells for day in self.days), strict=True))
        return tuple(
            sum(cell.starts or 0 for cell in column) * SECONDS_PER_HOUR / measured_s if measured_s > 0 else None
            for column in columns
            for measured_s in [sum(cell.measured_s for cell in column)]
        )


def calendar_of(
    starts_us: TimeArray, measured_from_us: TimeArray, measured_to_us: TimeArray, zone: tzinfo
) -> StartCalendar:
    """Return the calendar of starts, by the rules of a zone.

    `starts_us` are rising; the stretches that were measured stand in order and do not overlap.
    """
    edges = np.stack([measured_from_us, measured_to_us], axis=1).ravel() if len(measured_from_us) else np.zeros(2)
    # How much was measured before each edge: it grows within a stretch and stands still between two, so any hour's
    # share is the difference of two interpolated values.
    before_s = np.concatenate([[0.0], np.cumsum(np.diff(edges) * (np.arange(len(edges) - 1) % 2 == 0))]) / MICROSECONDS
    days = list(days_in(measured_from_us, measured_to_us, zone))
    hours = [_hours_of(day, zone) for day in days]
    columns = sorted({(hour, 0) for hour in range(24)} | {hour for spans in hours for hour in spans})

    def cell(span: tuple[int, int] | None) -> CalendarCell:
        if span is None:
            return CalendarCell(None, 0.0, 0.0)
        low, high = np.interp(span, edges, before_s)
        first, last = np.searchsorted(starts_us, span)
        measured_s, length_s, count = float(high - low), (span[1] - span[0]) / MICROSECONDS, int(last - first)
        # An hour that was hardly measured says nothing where it shows no start.
        known = count > 0 or measured_s > (1 - _WHOLE) * length_s
        return CalendarCell(count if known else None, measured_s, length_s)

    return StartCalendar(
        tuple(columns),
        tuple(
            CalendarDay(day.date, tuple(cell(spans.get(column)) for column in columns))
            for day, spans in zip(days, hours, strict=True)
        ),
    )


def _hours_of(day: LocalDay, zone: tzinfo) -> dict[ClockHour, tuple[int, int]]:
    """Return where each hour that the clocks show on a day begins and ends. [us]"""
    spans: dict[ClockHour, tuple[int, int]] = {}
    # Going by quarters needs no rule of any zone: hours that are skipped, passed twice or shifted come out by
    # themselves.
    for at_us in range(day.start_us, day.stop_us, _QUARTER_US):
        clock = local_time(at_us, zone)
        key = (clock.hour, clock.fold)
        spans[key] = (spans.get(key, (at_us, 0))[0], min(at_us + _QUARTER_US, day.stop_us))
    return spans
