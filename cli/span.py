"""``--from`` and ``--to``: an instant, a clock time of the log's first day, a time since the start, or a marker."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

from ..analysis.report import LogFacts
from ..ingest.durations import seconds
from ..ingest.errors import InputError
from .render.words import local, zone_of

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def instant_of(text: str | None, facts: LogFacts, *, first_us: int, option: str) -> int | None:
    """Return the instant an option means.

    Parameters
    ----------
    text : str or None
        What the person wrote; None stays None.
    facts : LogFacts
        The log: its zone, whether it is dated, its markers.
    first_us : int
        The log's first instant. [us]
    option : str
        For the error.

    Returns
    -------
    int or None
        Since 1970-01-01T00:00:00Z. [us]

    Raises
    ------
    InputError
        If it is neither a time nor a marker's text.
    """
    if text is None:
        return None
    named = [at for at, note in facts.markers if note.strip().lower() == text.strip().lower()]
    if named:
        return named[0]
    if facts.undated:
        return first_us + round(seconds(text.strip().removeprefix("+"), what=option) * 1e6)
    if clock := _CLOCK.fullmatch(text.strip()):
        if int(clock[1]) > 24 or int(clock[2]) > 59 or float(clock[3] or 0) >= 60:
            raise InputError(f"{option}: {text!r} is no time of day; write it like 10:30 or 10:30:15")
        day = local(first_us, facts).replace(hour=0, minute=0, second=0, microsecond=0)
        moment = day + timedelta(hours=int(clock[1]), minutes=int(clock[2]), seconds=float(clock[3] or 0))
        return _microseconds(moment)
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        notes = ", ".join(repr(note) for _, note in facts.markers)
        known = f"; the log's markers are {notes}" if notes else ""
        raise InputError(
            f"{option}: {text!r} is no time such as 10:30 or 2026-06-13T10:30, and no marker of this log{known}"
        ) from None
    return _microseconds(moment if moment.tzinfo else moment.replace(tzinfo=zone_of(facts)[1]))


def _microseconds(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)


def check_span(from_us: int | None, to_us: int | None) -> None:
    """Refuse a span that ends before it begins.

    Raises
    ------
    InputError
        If it does.
    """
    if from_us is not None and to_us is not None and to_us <= from_us:
        raise InputError("--to: lies before --from; swap them")
