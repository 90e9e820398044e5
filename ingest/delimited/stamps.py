"""Time stamps: recognise their style, and turn whole columns of them into microseconds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Literal, cast

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ..arrow import booleans, flat, floats, integers, strings, valid
from ..zone import NO_TIME

Kind = Literal["calendar", "epoch", "elapsed"]
Order = Literal["y-m-d", "d/m/y", "m/d/y"]
IntArray = NDArray[np.int64]

_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_SEP = r"[-/. ]"
_NOTHING, _EMPTY, _HYPHEN, _ZERO = strings([None, "", "-", "0"])
_DATES = {
    "y-m-d": rf"(?P<y>\d{{4}}|\d{{2}}){_SEP}(?P<m>\d{{1,2}}){_SEP}(?P<d>\d{{1,2}})",
    "d/m/y": rf"(?P<d>\d{{1,2}}){_SEP}(?P<m>\d{{1,2}}|[A-Za-z]{{3,9}}){_SEP}(?P<y>\d{{4}}|\d{{2}})",
    "m/d/y": rf"(?P<m>\d{{1,2}}|[A-Za-z]{{3,9}}){_SEP}(?P<d>\d{{1,2}}),?{_SEP}(?P<y>\d{{4}}|\d{{2}})",
}
_CLOCK = r"(?P<h>\d{1,2}):(?P<n>\d{1,2})(?::(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?)?\s*(?P<p>[AaPp]\.?[Mm]\.?)?"
_OFFSET = r"\s*(?P<z>Z|z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})?"
_HMS = (
    r"^\s*'?(?:(?P<D>\d+)\s*d(?:ays?)?[ ,]*)?(?P<h>\d+):(?P<n>\d{1,2})(?::(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?)?"
    r"\s*(?P<p>[AaPp]\.?[Mm]\.?)?\s*$"
)
_MS = r"^\s*'?(?P<n>\d+):(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?\s*$"
_DAY = r"(?:(?i:mon|tue|wed|thu|fri|sat|sun)[a-z]*,?\s+)?"
_CALENDAR = {order: rf"^\s*'?{_DAY}{date}(?:[T ,]+{_CLOCK})?{_OFFSET}\s*$" for order, date in _DATES.items()}
#: ISO 8601 without separators; kept under its own name, since its parts have fixed widths.
_BASIC = (
    r"^\s*'?(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})"
    r"(?:[T ]*(?P<h>\d{2}):?(?P<n>\d{2})(?::?(?P<s>\d{2})(?:[.,](?P<f>\d+))?)?"
    rf"(?P<p>))?{_OFFSET}\s*$"
)
#: Three numbers that could be a date in another order than they seem; the last one only if it has two digits.
_THREE = r"^\s*'?(?P<a>\d{1,2})(?P<sep>[-/. ])(?P<b>\d{1,2})[-/. ](?P<c>\d{4}|\d{2})"
_HIGHEST = {"d/m/y": (31, 12, 9999), "m/d/y": (12, 31, 9999), "y-m-d": (99, 12, 31)}
_DATE_ONLY = re.compile(
    rf"'?{_DAY}(?:"
    + "|".join(re.sub(r"\?P<\w+>", "?:", date) for date in _DATES.values())
    + r")|(?:19|20)\d\d[01]\d[0-3]\d"
)
_CLOCK_ONLY = re.compile(re.sub(r"\?P<\w+>", "?:", _CLOCK))
_UNITS_US = {"s": 1_000_000, "ms": 1_000, "us": 1, "min": 60_000_000, "h": 3_600_000_000, "days": 86_400_000_000}
#: Epoch numbers between 1990 and 2100 by unit; the four ranges do not touch.
_EPOCH_S = (6.3e8, 4.2e9)
_EPOCH_UNITS = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}
#: A spreadsheet's day numbers count from 1899-12-30; these are 1990 and 2100.
_SHEET_DAYS, _SHEET_ZERO = (32_874.0, 73_051.0), 25_569.0
#: Share of a sample's cells that must agree on a style: a damaged cell or two do not hide it.
MOST = 0.9
_TIMELY = {
    "time", "timestamp", "timestamps", "stamp", "ts", "epoch", "unix", "unixtime", "utime", "clock", "date", "datetime",
    "elapsed", "seconds", "sec", "secs", "uptime", "runtime", "millis", "milliseconds", "ms", "t", "minutes", "hours",
}  # fmt: skip
_HEAT = {"temp", "temperature", "degc", "degf", "c", "f", "k", "celsius", "fahrenheit"}
_ELAPSED_WORDS = {
    "ms": {"ms", "millis", "milliseconds"},
    "us": {"us", "micros"},
    "min": {"min", "minutes", "mins"},
    "h": {"h", "hours", "hrs"},
}


@dataclass(frozen=True)
class Style:
    """How a column of time stamps is written.

    Attributes
    ----------
    kind : {'calendar', 'epoch', 'elapsed'}
        A date and a clock; a count since 1970; a time since some start.
    order : {'y-m-d', 'd/m/y', 'm/d/y'} or None
        Of a calendar's parts; None is not yet decided between day and month first.
    unit : str
        Of an epoch (``s``, ``ms``, ``us``, ``ns``) or elapsed time (also ``min``, ``h``, ``h:m:s``, ``m:s``); of a
        calendar ``basic`` (no separators) or ``days`` (a spreadsheet's day number).
    zoned : bool
        Whether the stamps say their own offset from UTC.
    """

    kind: Kind
    order: Order | None = None
    unit: str = ""
    zoned: bool = False

    def describe(self) -> str:
        """Return the style in words."""
        if self.kind == "calendar":
            if self.unit == "days":
                return "a spreadsheet's day number"
            words = {"y-m-d": "year-month-day", "d/m/y": "day/month/year", "m/d/y": "month/day/year", None: "undecided"}
            return f"date and time, {words[self.order]}, {'with its own' if self.zoned else 'no'} offset from UTC"
        if self.kind == "epoch":
            return f"{self.unit} since 1970 (UTC)"
        return f"elapsed time in {self.unit}, counted from the start"


def find_style(cells: Sequence[str], *, header: str = "") -> Style | None:
    """Return the style that all cells of a sample share, or None if they are no time stamps.

    Parameters
    ----------
    cells : sequence of str
        Cells of one column.
    header : str
        Its name: small numbers are elapsed time only where it says so.
    """
    for order, pattern in _CALENDAR.items():
        matches = _agreeing(pattern, cells)
        if matches and not (order == "y-m-d" and len(matches[0]["y"]) < 4):
            named = any(match["m"].isalpha() for match in matches)
            decided = cast("Order", order) if order == "y-m-d" or named else order_of(strings(cells))
            return Style("calendar", decided, zoned=_mostly_zoned(matches))
    if (matches := _agreeing(_BASIC, cells)) and all(map(_is_day, matches)):
        return Style("calendar", "y-m-d", unit="basic", zoned=_mostly_zoned(matches))
    if _agreeing(_HMS, cells):
        return Style("elapsed", unit="h:m:s")
    if _agreeing(_MS, cells):  # with a fraction, or the cells would have been h:m
        return Style("elapsed", unit="m:s")
    return _numeric_style(cells, header.lower())


def _agreeing(pattern: str, cells: Sequence[str]) -> list[re.Match[str]]:
    """Return the matches if most cells of a sample match, else none."""
    match = re.compile(pattern).match
    if not any(map(match, cells[: len(cells) // 8 + 1])):  # these alone are too many to disagree
        return []
    matches = [found for found in map(match, cells) if found]
    return matches if matches and len(matches) >= MOST * len(cells) else []


def _mostly_zoned(matches: Sequence[re.Match[str]]) -> bool:
    return 2 * sum(match["z"] is not None for match in matches) > len(matches)


def _is_day(match: re.Match[str]) -> bool:
    return 1970 <= int(match["y"]) < 2100 and 1 <= int(match["m"]) <= 12 and 1 <= int(match["d"]) <= 31


def order_of(cells: pa.Array) -> Order | None:
    """Return which of a date's three numbers is which, if the cells leave one way only; see `possible_orders`."""
    orders = possible_orders(highest_numbers(cells))
    return orders[0] if len(orders) == 1 else None


@dataclass(frozen=True)
class Highest:
    """The highest of the first, second and third numbers of a column of dates, and whether hyphens part them."""

    numbers: tuple[int, int, int] = (0, 0, 0)
    hyphens: bool = False

    def with_(self, other: Highest) -> Highest:
        """Return the highest of both."""
        a, b = self.numbers, other.numbers
        return Highest((max(a[0], b[0]), max(a[1], b[1]), max(a[2], b[2])), self.hyphens or other.hyphens)


def highest_numbers(cells: pa.Array) -> Highest:
    """Return the highest numbers of a column of dates that begin with a number of one or two digits."""
    parts = pc.extract_regex(cells, _THREE)
    a, b, c = (pc.max(pc.cast(pc.struct_field(parts, name), pa.int64())).as_py() or 0 for name in "abc")
    return Highest((a, b, c), bool(pc.any(pc.equal(pc.struct_field(parts, "sep"), _HYPHEN)).as_py()))


def possible_orders(highest: Highest) -> list[Order]:
    """Return the orders that no date contradicts.

    A year of two digits stands last, as is common practice with slashes and points; with hyphens (``26-06-13``) or a
    first number above 31 it may stand first.
    """
    orders: list[Order] = [
        cast("Order", o)
        for o, top in _HIGHEST.items()
        if all(n <= t for n, t in zip(highest.numbers, top, strict=True))
    ]
    year_first = highest.hyphens or highest.numbers[0] > 31
    return [order for order in orders if order != "y-m-d" or year_first]


def is_date_only(cell: str) -> bool:
    """Tell whether a cell holds a date without a clock time."""
    return _DATE_ONLY.fullmatch(cell.strip()) is not None


def is_clock_only(cell: str) -> bool:
    """Tell whether a cell holds a clock time without a date."""
    return _CLOCK_ONLY.fullmatch(cell.strip()) is not None


def _numeric_style(cells: Sequence[str], header: str) -> Style | None:
    x = _numbers(cells)
    if x is None:
        return None
    words = set(re.findall(r"[a-z]+", header))
    low, high = np.quantile(x, [0.05, 0.95])
    steps = np.diff(x)
    rising = len(x) < 2 or (steps >= 0).mean() > 0.9  # a step counter that resets is no clock
    timely = bool(words & _TIMELY) and not words & _HEAT
    for unit, scale in _EPOCH_UNITS.items():
        if _EPOCH_S[0] * scale <= low and high <= _EPOCH_S[1] * scale and (timely or (rising and high > low)):
            return Style("epoch", unit=unit)
    if not timely or words & {"epoch", "unix"} or high > _EPOCH_S[0]:
        return None
    if _SHEET_DAYS[0] <= low and high <= _SHEET_DAYS[1] and len(x) > 1 and 0 < np.median(np.abs(steps)) < 0.02:
        return Style("calendar", "y-m-d", unit="days")
    if not rising:
        return None
    return Style("elapsed", unit=next((unit for unit, names in _ELAPSED_WORDS.items() if words & names), "s"))


def _numbers(cells: Sequence[str]) -> NDArray[np.float64] | None:
    """Return a sample's numbers if most cells are such."""
    found = []
    for cell in cells:
        with suppress(ValueError):
            found.append(float(cell.replace(",", ".")))
    x = np.array(found)
    return x if len(x) and len(x) >= MOST * len(cells) and np.isfinite(x).all() else None


def parse(cells: pa.Array, style: Style) -> IntArray:
    """Turn time stamps into microseconds.

    Parameters
    ----------
    cells : pyarrow array of strings, shape (n,)
        The stamps.
    style : Style
        How they are written, its order decided.

    Returns
    -------
    array of int64, shape (n,)
        Since 1970-01-01 00:00, UTC for absolute styles, else on the meter's own clock; since the start for elapsed
        ones. `NO_TIME` where a cell is no such stamp. Rounded to the microsecond. [us]
    """
    if style.unit == "days":
        return _sheet_days(cells)
    if style.kind == "calendar":
        return _calendar(cells, style)
    if style.unit in ("h:m:s", "m:s"):
        return _hms(cells) if style.unit == "h:m:s" else _minutes(cells)
    us = _count(cells, style.unit)
    low, high = (round(limit * 1e6) for limit in _EPOCH_S)
    return us if style.kind == "elapsed" else np.where((us < low) | (us > high), NO_TIME, us)


def _calendar(cells: pa.Array, style: Style) -> IntArray:
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
    cells = pc.utf8_trim_whitespace(cells)
    try:
        whole = pc.cast(cells, pa.int64())
    except pa.ArrowInvalid:
        whole = None
    if whole is not None:
        x = integers(whole, 0)
        fits = valid(whole) & (np.abs(x) < 2**62 // _UNITS_US.get(unit, 1))
        x = np.where(fits, x, 0)
        return np.where(fits, (x + 500) // 1000 if unit == "ns" else x * _UNITS_US[unit], NO_TIME)
    number = pc.replace_substring(cells, ",", ".")
    good = pc.match_substring_regex(number, r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")
    y = floats(pc.cast(pc.if_else(good, number, _NOTHING), pa.float64()))
    with np.errstate(over="ignore"):  # what is too large for any calendar is left out just below
        scaled = y / 1000.0 if unit == "ns" else y * _UNITS_US[unit]
    fits = np.abs(np.nan_to_num(scaled, nan=1e19)) < 2.0**62
    return np.where(fits, np.rint(np.where(fits, scaled, 0.0)).astype(np.int64), NO_TIME)


def _sheet_days(cells: pa.Array) -> IntArray:
    """Parse a spreadsheet's day numbers, which are exact to about a millisecond."""
    days_us = _count(cells, "days")
    return np.where(
        days_us == NO_TIME, NO_TIME, (days_us - round(_SHEET_ZERO * _UNITS_US["days"]) + 500) // 1000 * 1000
    )


def _hms(cells: pa.Array) -> IntArray:
    parts = pc.extract_regex(cells, _HMS)
    missing = ~valid(parts)
    day, hour, minute, second = (_part(parts, name) for name in "Dhns")
    hour, wrong = _of_24_hours(hour, parts)
    us = ((day * 24 + hour) * 60 + minute) * 60_000_000 + second * 1_000_000 + _fraction(parts)
    return np.where(missing | wrong | (minute > 59) | (second > 60), NO_TIME, us)


def _minutes(cells: pa.Array) -> IntArray:
    parts = pc.extract_regex(cells, _MS)
    second = _part(parts, "s")
    us = (_part(parts, "n") * 60 + second) * 1_000_000 + _fraction(parts)
    return np.where(~valid(parts) | (second > 59), NO_TIME, us)


def _of_24_hours(hour: IntArray, parts: pa.Array) -> tuple[IntArray, NDArray[np.bool_]]:
    """Return the hours of a clock that may say AM and PM, and where they are none of its twelve."""
    half = pc.utf8_lower(pc.struct_field(parts, "p"))
    has_half = booleans(pc.not_equal(half, _EMPTY))
    is_pm = booleans(pc.starts_with(half, "p"))
    return np.where(has_half, hour % 12 + 12 * is_pm, hour), has_half & ((hour < 1) | (hour > 12))


def _by_parts(cells: pa.Array, style: Style) -> IntArray:
    """Parse dates of any width by a regular expression; the slow way, about a million rows a second."""
    parts = pc.extract_regex(cells, _BASIC if style.unit == "basic" else _CALENDAR[style.order or "y-m-d"])
    missing = ~valid(parts)
    has_zone = booleans(pc.not_equal(pc.struct_field(parts, "z"), _EMPTY))
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
    wrong = wrong | (month < 1) | (month > 12) | (day < 1) | (day > 31) | (hour > 23) | (minute > 59) | (second > 60)
    months = np.where(wrong, 0, (year - 1970) * 12 + month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]") + np.where(wrong, 0, day - 1).astype("timedelta64[D]")
    wrong |= days.astype("datetime64[M]") != months
    us = days.astype("datetime64[us]").astype(np.int64) + ((hour * 60 + minute) * 60 + second) * 1_000_000
    return np.where(wrong, NO_TIME, us)


def _part(parts: pa.Array, name: str) -> IntArray:
    text = pc.struct_field(parts, name)
    text = pc.if_else(pc.equal(text, _EMPTY), _NOTHING, text)
    return integers(pc.cast(text, pa.int64()), 0)


def _fraction(parts: pa.Array) -> IntArray:
    """Return a fraction of a second from its digits, rounded [us]."""
    digits = pc.utf8_slice_codeunits(pc.utf8_rpad(pc.coalesce(pc.struct_field(parts, "f"), _EMPTY), 9, "0"), 0, 9)
    return (integers(pc.cast(digits, pa.int64()), 0) + 500) // 1000


def _month(text: pa.Array) -> IntArray:
    names = pc.utf8_slice_codeunits(pc.utf8_lower(text), 0, 3)
    number = integers(pc.cast(pc.index_in(names, strings(_MONTHS)), pa.int64()), -1) + 1
    digits = pc.if_else(pc.utf8_is_decimal(text), text, _ZERO)
    return np.where(number > 0, number, integers(pc.cast(digits, pa.int64()), 0))


def _offset(text: pa.Array) -> IntArray:
    """Return offsets from UTC such as ``+01:00``, ``-0700``, ``Z``; an absent one is UTC [us]."""
    coded = flat(pc.dictionary_encode(pc.coalesce(text, _EMPTY)))
    minutes = []
    for kind in coded.dictionary.to_pylist():
        found = re.fullmatch(r"([+-])(\d{2}):?(\d{2})?", kind)
        minutes.append(0 if found is None else int(found[1] + "1") * (int(found[2]) * 60 + int(found[3] or 0)))
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
    if any((raw[place] != mark).any() for place, mark in zip(places, shape, strict=False)):
        return None
    numbers = _numbers_between(raw, begins, places if half else [*places, ends])
    return None if numbers is None else _of_numbers(numbers, letters, style.order == "d/m/y")


def _numbers_between(raw: NDArray[np.uint8], start: IntArray, stops: list[IntArray]) -> list[IntArray] | None:
    """Return the numbers up to each mark, a fraction in microseconds; None where one is too wide or empty."""
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
