"""``--mark TIME=TEXT``: notes that are known beforehand."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta

from ..ingest.durations import seconds
from ..ingest.errors import InputError

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?")


def parse_marks(marks: Sequence[str], start_us: int) -> list[tuple[int, str]]:
    """Return the notes with their instants [us], in order.

    TIME is a clock time of today (or tomorrow, if it has passed) on this computer, a date and time, or a length of time
    after the start such as ``5m``.

    Raises
    ------
    InputError
        If a mark is not ``TIME=TEXT`` or its time is none.
    """
    return sorted(_mark(mark, start_us) for mark in marks)


def _mark(mark: str, start_us: int) -> tuple[int, str]:
    when, sign, text = mark.partition("=")
    when, text = when.strip(), text.strip()
    if not sign or not when or not text:
        raise InputError(f"--mark: {mark!r} must read TIME=TEXT, such as 10:30=crates")
    start = datetime.fromtimestamp(start_us / 1e6).astimezone()
    if clock := _CLOCK.fullmatch(when):
        hour, minute, second = int(clock[1]), int(clock[2]), int(clock[3] or 0)
        if hour > 23 or minute > 59 or second > 59:
            raise InputError(f"--mark: {when!r} is no time of day")
        moment = start.replace(hour=hour, minute=minute, second=second, microsecond=0)
        return _us(moment if moment >= start else moment + timedelta(days=1)), text
    try:
        return _us(datetime.fromisoformat(when).astimezone()), text
    except ValueError:
        return start_us + round(seconds(when, what="--mark") * 1e6), text


def _us(moment: datetime) -> int:
    return round(moment.timestamp() * 1e6)
