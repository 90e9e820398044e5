"""``--from``, ``--to``, ``--mark``: an instant, a clock time of the log's first day, a time since its start, a note."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from ...analysis.readings.log_facts import LogFacts
from ...ingest.durations import seconds
from ...ingest.errors import InputError
from ..render.wording.clock import elapsed, local, microseconds_of, moment_of, passed_twice, zone_of


def parse_marks(marks: Sequence[str], start_us: int, zone: str | None = None) -> list[tuple[int, str]]:
    """Return the notes with their instants [us], in order.

    TIME is a clock time of the day the capture starts (of the next, if it has passed), a date and time, or a length of
    time after the start such as ``5m``. Clock times are those of `zone`, without one of this computer. `InputError` if
    a mark is not ``TIME=TEXT`` or its time is none.
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


_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?")

_NOUGHT = re.compile(r"0+(:0+)*(\.0+)?\s*s?")

_LONGEST_S = 1e9


def span_of(
    since: str | None,
    until: str | None,
    facts: LogFacts,
    *,
    first_us: int,
    last_us: int,
    options: tuple[str, str] = ("--from", "--to"),
) -> tuple[int | None, int | None]:
    """Return the instants that ``--from`` and ``--to`` mean, as a person wrote them; None stays None. [us]

    A clock time is that of the log's first day, or of the next one where it has passed before the log (or before
    ``--from``) and still lies in the log. The log begins at `first_us` and ends at `last_us`; `options` are what the
    two are called where one is wrong.

    Raises
    ------
    InputError
        If one is neither a time nor a marker's text, or the span ends before it begins.
    """
    ends = (first_us, last_us)
    from_us = None if since is None else _instant(since, facts, ends, not_before_us=first_us, option=options[0])
    after_us = (first_us if from_us is None else from_us) + 1
    to_us = None if until is None else _instant(until, facts, ends, not_before_us=after_us, option=options[1])
    if from_us is not None and to_us is not None and to_us <= from_us:
        raise InputError(
            f"{options[1]}: does not lie after {options[0]}"
            if len(set(options)) > 1
            else f"{options[0]}: ends before it begins"
        )
    return from_us, to_us


def as_written(us: int, facts: LogFacts, *, first_us: int) -> str:
    """Return how an instant, to the second, is written for ``--from`` of a log that begins at `first_us`."""
    if facts.undated:
        return elapsed(us - first_us).removeprefix("+")
    moment = local(us, facts)
    # A clock time alone is that of the first day, and says nothing where the clocks pass it twice.
    if moment.date() == local(first_us, facts).date() and us >= first_us and not passed_twice(moment):
        return f"{moment:%H:%M:%S}"
    return moment.isoformat(timespec="seconds")


def _instant(text: str, facts: LogFacts, ends: tuple[int, int], *, not_before_us: int, option: str) -> int:
    # A note first, whatever it looks like: who named one "10:30" meant it.
    named = [at for at, note in facts.markers if note.strip().lower() == text.strip().lower()]
    if named:
        return named[0]
    if facts.undated:
        return ends[0] + _elapsed_us(text.strip().removeprefix("+"), option)
    if (clock := clock_time(text, what=option)) is not None:
        day = local(not_before_us, facts).replace(hour=0, minute=0, second=0, microsecond=0)
        # The log's own first day, or the next where the time lies before it began: a log may run past midnight.
        here, next_day = (microseconds_of(day + clock + timedelta(days=days)) for days in (0, 1))
        return next_day if here < not_before_us and next_day <= ends[1] else here
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        notes = ", ".join(repr(note) for _, note in facts.markers)
        known = f"; the log's notes are {notes}" if notes else ""
        raise InputError(
            f"{option}: {text!r} is no time such as 10:30 or 2026-06-13T10:30, and no note of this log{known}"
        ) from None
    return microseconds_of(moment if moment.tzinfo else moment.replace(tzinfo=zone_of(facts)[1]))


def _elapsed_us(text: str, option: str) -> int:
    """Return a time since a log's start; nought is one. [us]"""
    if _NOUGHT.fullmatch(text):
        return 0
    return round(min(seconds(text, what=option), _LONGEST_S) * 1e6)


def clock_time(text: str, *, what: str) -> timedelta | None:
    """Return a time of day such as ``10:30`` since midnight; None where the text is written otherwise.

    `InputError` if it is written so but no day has it.
    """
    if (clock := _CLOCK.fullmatch(text.strip())) is None:
        return None
    since = timedelta(hours=int(clock[1]), minutes=int(clock[2]), seconds=float(clock[3] or 0))
    if int(clock[2]) > 59 or float(clock[3] or 0) >= 60 or since > timedelta(days=1):
        raise InputError(f"{what}: {text!r} is no time of day; write it like 10:30 or 10:30:15")
    return since
