"""Whole columns of time stamps to microseconds, by their style."""

from __future__ import annotations

import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ...log.arrow import booleans, flat, floats, integers, valid
from ...log.meta import FIRST_US, LAST_US
from ...zone import NO_TIME
from .stamps import (
    BASIC,
    CALENDAR,
    EMPTY,
    EPOCH_S,
    HMS,
    MS,
    NOTHING,
    SHEET_ZEROS,
    IntArray,
    Style,
)

_DAY_US = 86_400_000_000

#: Months by their words in English, German, French, Spanish, Italian, Portuguese and Dutch: the first four letters,
#: where three are not enough.
_MONTHS = {
    **{"jan": 1, "feb": 2, "mar": 3, "apr": 4, "may": 5, "jun": 6, "jul": 7, "aug": 8, "sep": 9, "oct": 10, "nov": 11},
    **{"dec": 12, "jän": 1, "mär": 3, "mrz": 3, "mai": 5, "okt": 10, "dez": 12, "fév": 2, "fev": 2, "avr": 4},
    **{"juin": 6, "juil": 7, "aoû": 8, "aou": 8, "déc": 12, "ene": 1, "gen": 1, "mrt": 3, "maa": 3, "abr": 4, "mag": 5},
    **{"mei": 5, "giu": 6, "lug": 7, "ago": 8, "set": 9, "ott": 10, "out": 10, "dic": 12},
}


def parse(cells: pa.Array, style: Style) -> IntArray:
    """Turn time stamps into microseconds: UTC of absolute styles, else the meter's own clock, or since the start.

    `cells` are strings, shape (n,), the order of the style's parts decided. `NO_TIME` where a cell is no such stamp.
    Rounded to the microsecond. [us]
    """
    us = _microseconds(rewritten(cells, style), style)
    # Beyond a calendar lies damage, or the word of a program for no time at all; no log can hold it.
    return np.where((us < FIRST_US) | (us > LAST_US), NO_TIME, us)


def _microseconds(cells: pa.Array, style: Style) -> IntArray:
    if style.unit in SHEET_ZEROS:
        return _sheet_days(cells, style.unit)
    if style.kind == "calendar":
        return _calendar(cells, style)
    if style.unit in ("h:m:s", "m:s"):
        return _hms(cells) if style.unit == "h:m:s" else _minutes(cells)
    us = _count(cells, style.unit)
    # Of an epoch a number far from all others is damage: it would stretch the log over decades.
    low, high = (round(limit * 1e6) for limit in EPOCH_S)
    return us if style.kind == "elapsed" else np.where((us < low) | (us > high), NO_TIME, us)


def rewritten(cells: pa.Array, style: Style) -> pa.Array:
    """Return a column as it is read, the forms of its style undone."""
    if not style.forms:
        return cells
    from .forms import tidy  # most stamps are plain

    return tidy(cells, style.forms, style.offsets)


def _calendar(cells: pa.Array, style: Style) -> IntArray:
    # From the quickest way, which knows one notation, to the slowest, which knows all.
    if style.order == "y-m-d" and style.unit != "basic" and (fast := _iso(cells, style)) is not None:
        return fast
    if not style.zoned and (marked := _by_marks(cells, style)) is not None:
        return marked
    return _by_parts(cells, style)


def _iso(cells: pa.Array, style: Style) -> IntArray | None:
    """Parse ISO 8601 by Arrow's own cast; None where some cell is written otherwise."""
    kind = pa.timestamp("us", tz="UTC") if style.zoned else pa.timestamp("us")
    try:
        return _integers(pc.cast(cells, kind))
    except pa.ArrowInvalid:
        return None


def _integers(array: pa.Array) -> IntArray:
    return integers(pc.cast(array, pa.int64()), NO_TIME)


def _count(cells: pa.Array, unit: str) -> IntArray:
    """Parse a count of a unit since some instant."""
    from .count_units import unit_us  # most stamps are of a calendar

    cells = pc.utf8_trim_whitespace(cells)
    try:
        whole = pc.cast(cells, pa.int64())
    except pa.ArrowInvalid:
        whole = None
    # Whole numbers stay whole: an epoch in nanoseconds has more digits than a float.
    if whole is not None:
        x = integers(whole, 0)
        fits = valid(whole) & (np.abs(x) < 2**62 // (1 if unit == "ns" else unit_us(unit)))
        x = np.where(fits, x, 0)
        return np.where(fits, (x + 500) // 1000 if unit == "ns" else x * unit_us(unit), NO_TIME)
    number = pc.replace_substring(cells, ",", ".")
    good = pc.match_substring_regex(number, r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")
    y = floats(pc.cast(pc.if_else(good, number, NOTHING), pa.float64()))
    with np.errstate(over="ignore"):  # what is too large for any calendar is left out just below
        scaled = y / 1000.0 if unit == "ns" else y * unit_us(unit)
    fits = np.abs(np.nan_to_num(scaled, nan=1e19)) < 2.0**62
    return np.where(fits, np.rint(np.where(fits, scaled, 0.0)).astype(np.int64), NO_TIME)


def _sheet_days(cells: pa.Array, unit: str) -> IntArray:
    """Parse a spreadsheet's day numbers, which are exact to about a millisecond."""
    days_us, zero_us = _count(cells, "days"), round(SHEET_ZEROS[unit] * _DAY_US)
    return np.where(days_us == NO_TIME, NO_TIME, (days_us - zero_us + 500) // 1000 * 1000)


def _hms(cells: pa.Array) -> IntArray:
    parts = pc.extract_regex(cells, HMS)
    missing = ~valid(parts)
    day, hour, minute, second = (_part(parts, name) for name in "Dhns")
    hour, wrong = _of_24_hours(hour, parts)
    us = ((day * 24 + hour) * 60 + minute) * 60_000_000 + second * 1_000_000 + _fraction(parts)
    return np.where(missing | wrong | (minute > 59) | (second > 60), NO_TIME, us)


def _minutes(cells: pa.Array) -> IntArray:
    parts = pc.extract_regex(cells, MS)
    second = _part(parts, "s")
    us = (_part(parts, "n") * 60 + second) * 1_000_000 + _fraction(parts)
    return np.where(~valid(parts) | (second > 59), NO_TIME, us)


def _of_24_hours(hour: IntArray, parts: pa.Array) -> tuple[IntArray, NDArray[np.bool_]]:
    """Return the hours of a clock that may say AM and PM, and where they are none of its twelve."""
    half = pc.utf8_lower(pc.struct_field(parts, "p"))
    has_half = booleans(pc.not_equal(half, EMPTY))
    is_pm = booleans(pc.starts_with(half, "p"))
    return np.where(has_half, hour % 12 + 12 * is_pm, hour), has_half & ((hour < 1) | (hour > 12))


def _by_parts(cells: pa.Array, style: Style) -> IntArray:
    """Parse dates of any width by a regular expression; the slow way, about a million rows a second."""
    parts = pc.extract_regex(cells, BASIC if style.unit == "basic" else CALENDAR[style.order or "y-m-d"])
    missing = ~valid(parts)
    has_zone = booleans(pc.not_equal(pc.struct_field(parts, "z"), EMPTY))
    missing = missing | (has_zone != style.zoned)  # a row that says its offset among rows that do not, or the reverse
    year, day = _part(parts, "y"), _part(parts, "d")
    year = np.where(year < 69, year + 2000, np.where(year < 100, year + 1900, year))  # POSIX's rule for two digits
    month = _month(pc.struct_field(parts, "m"))
    hour, minute, second = (_part(parts, name) for name in "hns")
    hour, wrong = _of_24_hours(hour, parts)
    us = _assemble(year, month, day, hour, minute, second, missing | wrong)
    us = np.where(us == NO_TIME, us, us + _fraction(parts))
    return us if not style.zoned else np.where(us == NO_TIME, us, us - _offset(pc.struct_field(parts, "z")))


def _assemble(
    year: IntArray,
    month: IntArray,
    day: IntArray,
    hour: IntArray,
    minute: IntArray,
    second: IntArray,
    wrong: NDArray[np.bool_],
) -> IntArray:
    """Put date and clock together, refusing days and hours that do not exist; second 60 is a leap second."""
    wrong = wrong | (month < 1) | (month > 12) | (day < 1) | (day > 31) | (minute > 59) | (second > 60)
    # ISO 8601 (2004) knows 24:00 as the end of a day.
    wrong |= (hour > 24) | ((hour == 24) & (minute + second > 0))
    months = np.where(wrong, 0, (year - 1970) * 12 + month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + np.where(wrong, 0, day - 1).astype("timedelta64[D]")
    # 31 February runs over into March.
    wrong |= days.astype("datetime64[M]") != months
    us = days.astype("datetime64[us]").astype(np.int64) + ((hour * 60 + minute) * 60 + second) * 1_000_000
    return np.where(wrong, NO_TIME, us)


def _part(parts: pa.Array, name: str) -> IntArray:
    text = pc.struct_field(parts, name)
    text = pc.if_else(pc.equal(text, EMPTY), NOTHING, text)
    return integers(pc.cast(text, pa.int64()), 0)


def _fraction(parts: pa.Array) -> IntArray:
    """Return a fraction of a second from its digits, rounded [us]."""
    digits = pc.utf8_slice_codeunits(pc.utf8_rpad(pc.coalesce(pc.struct_field(parts, "f"), EMPTY), 9, "0"), 0, 9)
    return (integers(pc.cast(digits, pa.int64()), 0) + 500) // 1000


def _month(text: pa.Array) -> IntArray:
    coded = flat(pc.dictionary_encode(pc.coalesce(text, EMPTY)))
    numbers = [_month_number(word) for word in coded.dictionary.to_pylist()]
    return np.asarray(numbers or [0], dtype=np.int64)[integers(pc.cast(coded.indices, pa.int64()), 0)]


def _month_number(word: str) -> int:
    if word.isdecimal():
        return int(word)
    name = word.lower()
    return _MONTHS.get(name[:4], _MONTHS.get(name[:3], 0))


def _offset(text: pa.Array) -> IntArray:
    """Return offsets from UTC such as ``+01:00``, ``-0700``, ``Z``; an absent one is UTC [us]."""
    coded = flat(pc.dictionary_encode(pc.coalesce(text, EMPTY)))
    minutes = []
    for kind in coded.dictionary.to_pylist():
        offset = re.fullmatch(r"([+-])(\d{2}):?(\d{2})?", kind)
        minutes.append(0 if offset is None else int(offset[1] + "1") * (int(offset[2]) * 60 + int(offset[3] or 0)))
    return np.asarray(minutes, dtype=np.int64)[integers(pc.cast(coded.indices, pa.int64()), 0)] * 60_000_000


#: Two numbers, a year and a clock that says at least the seconds, by their marks; groups 1 to 6 and 7 are numbers.
_MARKED = re.compile(
    r"(\d{1,2})([-/. ])(\d{1,2})\2(\d{4})[T ](\d{1,2}):(\d{1,2}):(\d{1,2})(?:[.,](\d{1,6}))?( [AaPp][Mm])?"
)
_WIDEST = (2, 2, 4, 2, 2, 2, 6)


def _by_marks(cells: pa.Array, style: Style) -> IntArray | None:
    """Parse stamps with the marks of the first one, each number as wide as it is; None where one has others."""
    if cells.null_count or not len(cells) or style.order == "y-m-d":
        return None
    if (first := _MARKED.fullmatch(cells[0].as_py())) is None:
        return None
    text = flat(cells)
    bounds = np.frombuffer(text.buffers()[1], np.int32)[text.offset : text.offset + len(text) + 1]
    raw = np.frombuffer(text.buffers()[2], np.uint8)[bounds[0] : bounds[-1]]
    begins, ends = (bounds[:-1] - bounds[0]).astype(np.int64), (bounds[1:] - bounds[0]).astype(np.int64)
    shape = re.sub(r"\d", "", first[0]).encode()
    at = np.flatnonzero(raw - np.uint8(48) > 9)  # what is below wraps round
    # As many marks as the first stamp has in each: then mark k of row i is at[i * marks + k].
    if len(at) != len(text) * len(shape):
        return None
    places = list(at.reshape(len(text), len(shape)).T.copy())
    half = first[9] is not None
    letters: list[NDArray[np.uint8]] = (
        [raw[places.pop(-2)] | np.uint8(32), raw[places[-1]] | np.uint8(32)] if half else []
    )
    last = places.pop() if half else None
    if (places[0] < begins).any() or (last is not None and (last != ends - 1).any()):
        return None
    # The right marks in the right order leave nothing but digits between them.
    if any((raw[place] != mark).any() for place, mark in zip(places, shape, strict=False)):
        return None
    numbers = _numbers_between(raw, begins, places if half else [*places, ends])
    return None if numbers is None else _of_numbers(numbers, letters, style.order == "d/m/y")


def _numbers_between(raw: NDArray[np.uint8], start: IntArray, stops: list[IntArray]) -> list[IntArray] | None:
    """Return the numbers up to each mark, a fraction in microseconds; None where one is too wide or empty."""
    # Digit by digit over all rows at once; a shorter number of a row is left as it is from its last digit on.
    numbers = []
    for k, stop in enumerate(stops):
        width = stop - start
        least, most = int(width.min()), int(width.max())
        if least < (4 if k == 2 else 1) or most > _WIDEST[k]:
            return None
        value = raw[start].astype(np.int64) - 48
        for place in range(1, most):
            longer = value * 10 + raw[np.minimum(start + place, len(raw) - 1)] - 48
            value = longer if place < least else np.where(place < width, longer, value)
        numbers.append(value if k < 6 else value * 10 ** (6 - width))
        start = stop + 1
    return numbers


def _of_numbers(numbers: list[IntArray], half: list[NDArray[np.uint8]], day_first: bool) -> IntArray | None:
    """Put the numbers of a date and a clock together; `half` holds the letters of AM and PM, in small."""
    a, b, year, hour, minute, second, *fraction = numbers
    day, month = (a, b) if day_first else (b, a)
    wrong = np.zeros(len(a), dtype=bool)
    if half:
        letter, m = half
        if ((letter != 97) & (letter != 112)).any() or (m != 109).any():
            return None
        wrong = (hour < 1) | (hour > 12)
        hour = hour % 12 + 12 * (letter == 112)
    us = _assemble(year, month, day, hour, minute, second, wrong)
    return np.where(us == NO_TIME, us, us + fraction[0]) if fraction else us
