"""``--mark TIME=TEXT``: notes that are known beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from ..ingest.durations import seconds
from ..ingest.errors import InputError
from .render.words import microseconds_of, moment_of
from .span import clock_time


def parse_marks(marks: Sequence[str], start_us: int, zone: str | None = None) -> list[tuple[int, str]]:
    """Return the notes with their instants [us], in order.

    TIME is a clock time of the day the capture starts (of the next, if it has passed), a date and time, or a length of
    time after the start such as ``5m``. Clock times are those of `zone`, without one of this computer.

    Raises
    ------
    InputError
        If a mark is not ``TIME=TEXT`` or its time is none.
    """
    return sorted(_mark(mark, start_us, ZoneInfo(zone) if zone else None) for mark in marks)


def _mark(mark: str, start_us: int, zone: ZoneInfo | None) -> tuple[int, str]:
    when, sign, text = mark.partition("=")
    when, text = when.strip(), text.strip()
    if not sign or not when or not text:
        raise InputError(f"--mark: {mark!r} must read TIME=TEXT, such as 10:30=crates")
    start = moment_of(start_us).astimezone(zone)
    if (clock := clock_time(when, what="--mark")) is not None:
        moment = start.replace(hour=0, minute=0, second=0, microsecond=0) + clock
        return microseconds_of(moment if moment >= start else moment + timedelta(days=1)), text
    try:
        moment = datetime.fromisoformat(when)
        return microseconds_of(moment if moment.tzinfo else moment.replace(tzinfo=start.tzinfo)), text
    except ValueError:
        return start_us + round(seconds(when, what="--mark") * 1e6), text
