"""Instants as people write them: clock times, dates and zones."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from typing import Final, Protocol
from zoneinfo import ZoneInfo

from .numbers import UNKNOWN


class Dated(Protocol):
    """Anything with times to show: their zone, and whether they are only counted from a start."""

    @property
    def zone(self) -> str:
        """Name of a zone, or an offset such as ``+02:00``."""

    @property
    def undated(self) -> bool:
        """Whether times have no date: they are shown as elapsed."""


#: Our own, so that words for a time load no analysis.
_SECOND_US = 1_000_000
#: A list of days in a sentence ends after so many rows of them.
_MOST_DAYS: Final = 5
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

_OFFSET = re.compile(r"(?:UTC|GMT)?([+-])(\d{1,2}):?(\d{2})?")


def zone_of(facts: Dated) -> tuple[str, tzinfo]:
    """Return the name and the rules of the zone a log's times are shown in; UTC where its own is not known here."""
    if offset := _OFFSET.fullmatch(facts.zone):
        # The database of zones has no such names but a few whole hours, and those with the sign turned (POSIX).
        sign, hours, minutes = offset.groups()
        east = timedelta(hours=int(hours), minutes=int(minutes or 0)) * (-1 if sign == "-" else 1)
        return facts.zone, timezone(east)
    try:
        return facts.zone, ZoneInfo(facts.zone)
    except (KeyError, ValueError, OSError):  # unknown, not a name, or a folder of names
        return "UTC", UTC


def in_zone(facts: Dated) -> str:
    """Return whose clock times are read off: a zone's name, or ``after the log's start`` where they have no dates."""
    return "after the log's start" if facts.undated else zone_of(facts)[0]


def offsets(facts: Dated, start_us: int, stop_us: int) -> str:
    """Return how far a zone's clock is before UTC over a stretch of time: ``UTC+01:00``, or both where it is set."""
    first, last = (before_utc(local(us, facts)) for us in (start_us, stop_us))
    return first if first == last else f"{first}, then {last}"


def before_utc(moment: datetime) -> str:
    """Return how far a local clock is before UTC, for instance ``UTC+01:00``."""
    return f"UTC{moment.isoformat()[-6:]}"


def clock(us: int | None, facts: Dated, *, near_us: int | None = None) -> str:
    """Return an instant, since 1970 or since the start of an undated log, as a reader would read it off a clock. [us].

    ``13 Jun 2026 10:04:30``, ``+0:04:30`` without dates, or ``10:04:30`` on the day of ``near_us``, an instant already
    on show. In an hour that the clocks pass twice it says how far they are before UTC: ``25 Oct 2026 01:30:00
    UTC+01:00``.
    """
    if us is None:
        return UNKNOWN
    if facts.undated:
        return elapsed(us)
    # To the nearest second first: 59.7 s past is the next minute, in every unit above it.
    moment = local(round(us / _SECOND_US) * _SECOND_US, facts)
    return date_and_clock(moment, date=near_us is None or local(near_us, facts).date() != moment.date())


def from_to(start_us: int | None, stop_us: int | None, facts: Dated) -> str:
    """Return a stretch of time, the date of its end left out where it is that of its beginning."""
    return f"{clock(start_us, facts)} to {clock(stop_us, facts, near_us=start_us)}"


def date_and_clock(moment: datetime, *, date: bool = True) -> str:
    """Return a local time as ``13 Jun 2026 10:04:30``, or its clock alone.

    In an hour that the clocks pass twice it says how far they are before UTC.
    """
    text = f"{moment.day} {moment:%b %Y} {moment:%H:%M:%S}" if date else f"{moment:%H:%M:%S}"
    return f"{text} {before_utc(moment)}" if passed_twice(moment) else text


def passed_twice(moment: datetime) -> bool:
    """Tell whether a local time comes twice, because the clocks were set back."""
    # Python marks the second pass by fold=1; at any other time both have one offset.
    return moment.replace(fold=0).utcoffset() != moment.replace(fold=1).utcoffset()


def local(us: int, facts: Dated) -> datetime:
    """Return an instant, microseconds since 1970-01-01T00:00:00Z, as date and time in the log's zone."""
    return moment_of(us).astimezone(zone_of(facts)[1])


def moment_of(us: int) -> datetime:
    """Return an instant, microseconds since 1970-01-01T00:00:00Z, as date and time in UTC."""
    return _EPOCH + timedelta(microseconds=us)


def microseconds_of(moment: datetime) -> int:
    """Return a date and time with a zone as microseconds since 1970-01-01T00:00:00Z."""
    return (moment - _EPOCH) // timedelta(microseconds=1)


def elapsed(us: int) -> str:
    """Return a time since the log's start, microseconds, as ``+h:mm:ss``."""
    # Parted from its absolute value: // rounds down, which would set −30 s to −1 h 59 min 30 s.
    seconds = round(us / _SECOND_US)
    return f"{'−' if seconds < 0 else '+'}{abs(seconds) // 3600}:{abs(seconds) // 60 % 60:02d}:{abs(seconds) % 60:02d}"


def days_held(start_us: int | None, stop_us: int | None, facts: Dated) -> list[date]:
    """Return the days of a log's zone that a stretch of time touches [us]; none where it has no dates."""
    if facts.undated or start_us is None or stop_us is None:
        return []
    # What ends at midnight holds nothing of the day that begins then.
    first, last = (local(us, facts).date() for us in (start_us, max(stop_us - 1, start_us)))
    return [first + timedelta(days=k) for k in range((last - first).days + 1)]


def days_named(days: Sequence[date]) -> str:
    """Return days in order as people write them, those in a row from the first to the last: ``1 and 2 Nov, 5 Nov``."""
    rows: list[list[date]] = []
    for day in days:
        if rows and (day - rows[-1][-1]).days == 1:
            rows[-1].append(day)
        else:
            rows.append([day])
    named = [_from_to(row[0], row[-1]) for row in rows]
    more = len(named) - _MOST_DAYS
    return ", ".join(named[:_MOST_DAYS]) + (f" and {more} times more" if more > 0 else "")


def _from_to(first: date, last: date) -> str:
    if first == last:
        return f"{first.day} {first:%b}"
    joint = "and" if (last - first).days == 1 else "to"
    month = "" if (first.year, first.month) == (last.year, last.month) else f" {first:%b}"
    return f"{first.day}{month} {joint} {last.day} {last:%b}"
