"""Columns that make a time only together: a date and a clock of digits, a day and its fraction, parts of a date."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from .stamps import MOST, SHEET_DAYS

#: A column of whole numbers is a part of the time if it is called so and its numbers lie within.
_PARTS: Final = {
    "year": ({"year", "yyyy", "yr", "jahr", "année", "annee"}, (1970, 2100)),
    "month": ({"month", "mon", "monat", "mois"}, (1, 12)),
    "day": ({"day", "dd", "tag", "jour"}, (1, 31)),
    "hour": ({"hour", "hours", "hh", "hr", "stunde", "heure"}, (0, 24)),
    "minute": ({"minute", "minutes", "min", "mins"}, (0, 59)),
    "second": ({"second", "seconds", "sec", "secs", "ss", "sekunde", "seconde"}, (0, 60)),
}
_DATE_WORDS: Final = {"date", "datum", "day", "ddmmyy", "mmddyy", "yymmdd", "yyyymmdd", "ddmmyyyy", "mmddyyyy"}
_CLOCK_WORDS: Final = {"time", "clock", "uhrzeit", "zeit", "heure", "hms", "hhmmss", "hhmm", "utc"}
#: What such a name may say besides: whose clock it is, or what was done then. Of a count it speaks otherwise.
_BESIDE: Final = {
    "utc", "gmt", "gps", "rtc", "local", "log", "logged", "logger", "sample", "sampled", "rec", "record", "recorded",
    "read", "reading", "meas", "measured", "meter", "device", "start", "of", "the", "dt", "event", "stamp", "data",
}  # fmt: skip
_EIGHT, _SIX = re.compile(r"(19|20)\d\d[01]\d[0-3]\d"), re.compile(r"\d{5,6}")
_EIGHT_DAY_FIRST = re.compile(r"[0-3]?\d[0-3]\d(19|20)\d\d")
_CLOCK_DIGITS = re.compile(r"([01]?\d|2[0-4])??([0-5]?\d)??[0-5]?\d(\.\d+)?")
_CLOCK_OF_DOTS = re.compile(r"([01]?\d|2[0-3])\.[0-5]\d\.[0-5]\d([.,]\d+)?")
_FRACTION = re.compile(r"0?[.,]\d+|0|\d([.,]\d+)?[Ee]-0?[1-9]")


def put_together(names: Sequence[str], columns: Sequence[Sequence[str]]) -> Iterator[tuple[int, ...]]:
    """Yield columns that may make a time together, the surer first; their cells are joined by blanks."""
    parts = dict(_parts(names, columns))
    # MM is the month as well as the minute: there the order tells.
    short = [name.strip("[]() ").lower() for name in names]
    for at in range(len(names) - 5):
        if short[at] in ("yy", "yyyy") and short[at + 1 : at + 6] == ["mm", "dd", "hh", "mm", "ss"]:
            yield tuple(range(at, at + 6))
    clock = [parts[name] for name in ("hour", "minute", "second") if name in parts]
    if len(clock) >= 2 and [*parts][:2] != ["minute", "second"]:
        if {"year", "month", "day"} <= parts.keys():
            yield (parts["year"], parts["month"], parts["day"], *clock)
        yield from ((date, *clock) for date in _those(columns, _is_date) if date not in parts.values())
    clocks = [k for k in _those(columns, _CLOCK_DIGITS.fullmatch) if _is_called(names[k], _CLOCK_WORDS)]
    # Of numbers below 2400 nobody could tell whether they are minutes and seconds or hours and minutes.
    clocks = [k for k in clocks if any(_has_seconds(cell.partition(".")[0]) for cell in columns[k])]
    dates = _those(columns, _EIGHT.fullmatch)
    for digits in (_EIGHT_DAY_FIRST, _SIX):
        dates += [k for k in _those(columns, digits.fullmatch) if _is_called(names[k], _DATE_WORDS) and k not in dates]
    yield from ((date, clock) for date in dates for clock in clocks if date != clock)
    # A clock of dots looks like a date of dots: of two that do the one that changes more is the clock.
    clocks = _those(columns, _CLOCK_OF_DOTS.fullmatch)
    pairs = ((date, clock) for date in _those(columns, _is_date) for clock in clocks if date != clock)
    yield from (p for p in pairs if p[0] not in clocks or len(set(columns[p[0]])) < len(set(columns[p[1]])))
    yield from ((day, part) for day in _those(columns, _is_sheet_day) for part in _those(columns, _is_fraction))


def _has_seconds(digits: str) -> bool:
    return len(digits) >= 5 or (digits.isdecimal() and int(digits) >= 2400)


def _parts(names: Sequence[str], columns: Sequence[Sequence[str]]) -> Iterator[tuple[str, int]]:
    for part, (words, bounds) in _PARTS.items():
        at = [k for k in range(len(names)) if _is_called(names[k], words) and _within(columns[k], bounds)]
        if len(at) == 1:
            yield part, at[0]


def _is_called(name: str, words: set[str]) -> bool:
    # LogDate is two words as well as log_date.
    parted = re.sub(r"([a-zà-ÿ])([A-Z])", r"\1 \2", name)
    called = set(re.findall(r"[a-zà-ÿ]+", parted.lower()))
    return bool(called & words) and called - _BESIDE <= words


def _within(cells: Sequence[str], bounds: tuple[int, int]) -> bool:
    """Tell whether a column holds whole numbers, a second's fraction aside, between two bounds."""
    good = [cell for cell in cells if re.fullmatch(r"\d{1,4}([.,]\d+)?", cell)]
    inside = [bounds[0] <= int(re.split("[.,]", cell)[0]) <= bounds[1] for cell in good]
    return bool(cells) and sum(inside) >= MOST * len(cells)


def _those(columns: Sequence[Sequence[str]], test: Callable[[str], object]) -> list[int]:
    """Return the columns most of whose cells pass a test."""
    good = []
    for index, cells in enumerate(columns):
        if cells and test(cells[0]) and sum(bool(test(cell)) for cell in cells) >= MOST * len(cells):
            good.append(index)
    return good


def _is_date(cell: str) -> bool:
    return re.fullmatch(r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}", cell) is not None


def _is_sheet_day(cell: str) -> bool:
    return re.fullmatch(r"\d{5}([.,]0*)?", cell) is not None and SHEET_DAYS[0] <= int(cell[:5]) <= SHEET_DAYS[1]


def _is_fraction(cell: str) -> bool:
    return _FRACTION.fullmatch(cell) is not None
