"""Time stamps: recognise their style, and turn whole columns of them into microseconds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ..zone import NO_TIME

Kind = Literal["calendar", "epoch", "elapsed"]
Order = Literal["y-m-d", "d/m/y", "m/d/y"]
IntArray = NDArray[np.int64]

_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_SEP = r"[-/. ]"
_DATES = {
    "y-m-d": rf"(?P<y>\d{{4}}){_SEP}(?P<m>\d{{1,2}}){_SEP}(?P<d>\d{{1,2}})",
    "d/m/y": rf"(?P<d>\d{{1,2}}){_SEP}(?P<m>\d{{1,2}}|[A-Za-z]{{3,9}}){_SEP}(?P<y>\d{{4}}|\d{{2}})",
    "m/d/y": rf"(?P<m>\d{{1,2}}|[A-Za-z]{{3,9}}){_SEP}(?P<d>\d{{1,2}}),?{_SEP}(?P<y>\d{{4}}|\d{{2}})",
}
_CLOCK = r"(?P<h>\d{1,2}):(?P<n>\d{1,2})(?::(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?)?\s*(?P<p>[AaPp]\.?[Mm]\.?)?"
_OFFSET = r"\s*(?P<z>Z|z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})?"
_HMS = r"^\s*(?:(?P<D>\d+)\s*d(?:ays?)?[ ,]*)?(?P<h>\d+):(?P<n>\d{1,2})(?::(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?)?\s*$"
_CALENDAR = {order: rf"^\s*{date}(?:[T ,]+{_CLOCK})?{_OFFSET}\s*$" for order, date in _DATES.items()}
_TWO_FIRST = re.compile(r"\s*(\d{1,2})[-/. ](\d{1,2})[-/. ]\d")
_DATE_ONLY = re.compile("|".join(re.sub(r"\?P<\w+>", "?:", date) for date in _DATES.values()))
_CLOCK_ONLY = re.compile(re.sub(r"\?P<\w+>", "?:", _CLOCK))
_UNITS_US = {"s": 1_000_000, "ms": 1_000, "us": 1, "min": 60_000_000, "h": 3_600_000_000}
#: Epoch numbers between 1990 and 2100 by unit; the four ranges do not touch.
_EPOCH_S = (6.3e8, 4.2e9)


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
        Of an epoch (``s``, ``ms``, ``us``, ``ns``) or elapsed time (also ``min``, ``h``, ``h:m:s``).
    zoned : bool
        Whether the stamps say their own offset from UTC.
    """

    kind: Kind
    order: Order | None = None
    unit: str = ""
    zoned: bool = False

    @property
    def absolute(self) -> bool:
        """Whether the stamps need no zone."""
        return self.kind == "epoch" or self.zoned

    def describe(self) -> str:
        """Return the style in words."""
        if self.kind == "calendar":
            words = {"y-m-d": "year-month-day", "d/m/y": "day/month/year", "m/d/y": "month/day/year", None: "undecided"}
            return f"date and time, {words[self.order]}" + (", with its own offset from UTC" if self.zoned else "")
        if self.kind == "epoch":
            return f"{self.unit} since 1970 (UTC)"
        return f"elapsed time in {self.unit}"


def find_style(cells: Sequence[str], *, header: str = "") -> Style | None:
    """Return the style that all cells of a sample share, or None if they are no time stamps.

    Parameters
    ----------
    cells : sequence of str
        Cells of one column.
    header : str
        Its name: small numbers are elapsed time only where it says so.
    """
    if not cells:
        return None
    for order, pattern in _CALENDAR.items():
        matches = [re.match(pattern, cell) for cell in cells]
        if all(matches):
            zoned = all(match and match["z"] for match in matches)
            decided: Order | None = order  # type: ignore[assignment]
            if order == "d/m/y" and not any(match and match["m"].isalpha() for match in matches):
                decided = order_from([m for m in (_TWO_FIRST.match(cell) for cell in cells) if m])
            return Style("calendar", decided, zoned=zoned)
    if all(re.match(_CALENDAR["m/d/y"], cell) for cell in cells):
        return Style("calendar", "m/d/y")
    if all(re.match(_HMS, cell) for cell in cells):
        return Style("elapsed", unit="h:m:s")
    return _numeric_style(cells, header.lower())


def order_from(matches: Sequence[re.Match[str]]) -> Order | None:
    """Return which of two leading numbers is the day, if any is above twelve; None if none is, or both kinds are."""
    first, second = (any(int(m[k]) > 12 for m in matches) for k in (1, 2))  # noqa: PLR2004 - months in a year
    if first == second:
        return None
    return "d/m/y" if first else "m/d/y"


def leading_numbers(cells: pa.Array) -> tuple[int, int]:
    """Return the highest of the first and of the second numbers of a column of dates."""
    parts = pc.extract_regex(cells, r"^\s*(?P<a>\d{1,2})[-/. ](?P<b>\d{1,2})[-/. ]\d")
    highest = [pc.max(pc.cast(pc.struct_field(parts, name), pa.int64())).as_py() or 0 for name in ("a", "b")]
    return highest[0], highest[1]


def is_date_only(cell: str) -> bool:
    """Tell whether a cell holds a date without a clock time."""
    return _DATE_ONLY.fullmatch(cell.strip()) is not None


def is_clock_only(cell: str) -> bool:
    """Tell whether a cell holds a clock time without a date."""
    return _CLOCK_ONLY.fullmatch(cell.strip()) is not None


def _numeric_style(cells: Sequence[str], header: str) -> Style | None:
    try:
        x = np.array([float(cell.replace(",", ".")) for cell in cells])
    except ValueError:
        return None
    words = set(re.findall(r"[a-z]+", header))
    timely = words & {"time", "timestamp", "epoch", "unix", "date", "datetime", "elapsed", "seconds", "sec", "t", "secs", "uptime"}
    if not timely:
        return None
    for unit, scale in (("s", 1.0), ("ms", 1e3), ("us", 1e6), ("ns", 1e9)):
        if _EPOCH_S[0] * scale <= x.min() and x.max() <= _EPOCH_S[1] * scale:
            return Style("epoch", unit=unit)
    rising = len(x) < 2 or (np.diff(x) >= 0).mean() > 0.9  # noqa: PLR2004 - a step counter that resets is no clock
    if not rising or words & {"epoch", "unix"}:
        return None
    for unit, names in (("ms", {"ms", "millis"}), ("us", {"us"}), ("min", {"min", "minutes", "mins"}), ("h", {"h", "hours", "hrs"})):
        if words & names:
            return Style("elapsed", unit=unit)
    return Style("elapsed", unit="s")


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
    if style.kind == "calendar":
        return _calendar(cells, style)
    if style.unit == "h:m:s":
        return _hms(cells)
    return _count(cells, style.unit)


def _calendar(cells: pa.Array, style: Style) -> IntArray:
    if style.order == "y-m-d" and (fast := _iso(cells, style)) is not None:
        return fast
    if not style.zoned and (fixed := _fixed_width(cells, style)) is not None:
        return fixed
    return _by_parts(cells, style)


def _iso(cells: pa.Array, style: Style) -> IntArray | None:
    """Parse ISO 8601 by Arrow's own cast; None where some cell is written otherwise."""
    kind = pa.timestamp("us", tz="UTC") if style.zoned else pa.timestamp("us")
    try:
        return _integers(pc.cast(cells, kind))
    except pa.ArrowInvalid:
        return None


def _integers(array: pa.Array) -> IntArray:
    return np.asarray(pc.fill_null(pc.cast(array, pa.int64()), NO_TIME).to_numpy(zero_copy_only=False), dtype=np.int64)


def _count(cells: pa.Array, unit: str) -> IntArray:
    """Parse a count of a unit since some instant."""
    cells = pc.utf8_trim_whitespace(cells)
    try:
        whole = pc.cast(cells, pa.int64())
    except pa.ArrowInvalid:
        whole = None
    missing = pc.is_null(cells).to_numpy(zero_copy_only=False)
    if whole is not None:
        x = pc.fill_null(whole, 0).to_numpy(zero_copy_only=False)
        us = (x + 500) // 1000 if unit == "ns" else x * _UNITS_US[unit]
        return np.where(missing, NO_TIME, us)
    number = pc.replace_substring(cells, ",", ".")
    good = pc.fill_null(pc.match_substring_regex(number, r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"), False)
    y = pc.cast(pc.if_else(good, number, pa.scalar(None, pa.string())), pa.float64()).to_numpy(zero_copy_only=False)
    scaled = y / 1000.0 if unit == "ns" else y * _UNITS_US[unit]
    fits = np.abs(np.nan_to_num(scaled, nan=1e19)) < 2.0**62
    return np.where(fits, np.rint(np.where(fits, scaled, 0.0)).astype(np.int64), NO_TIME)


def _hms(cells: pa.Array) -> IntArray:
    parts = pc.extract_regex(cells, _HMS)
    missing = pc.is_null(parts).to_numpy(zero_copy_only=False)
    day, hour, minute, second = (_part(parts, name) for name in "Dhns")
    us = ((day * 24 + hour) * 60 + minute) * 60_000_000 + second * 1_000_000 + _fraction(parts)
    return np.where(missing | (minute > 59) | (second > 60), NO_TIME, us)


def _by_parts(cells: pa.Array, style: Style) -> IntArray:
    """Parse dates of any width by a regular expression; the slow way, about a million rows a second."""
    parts = pc.extract_regex(cells, _CALENDAR[style.order or "y-m-d"])
    missing = pc.is_null(parts).to_numpy(zero_copy_only=False)
    year, day = _part(parts, "y"), _part(parts, "d")
    year = np.where(year < 70, year + 2000, np.where(year < 100, year + 1900, year))  # POSIX's rule for two digits
    month = _month(pc.struct_field(parts, "m"))
    hour, minute, second = (_part(parts, name) for name in "hns")
    half = pc.utf8_lower(pc.fill_null(pc.struct_field(parts, "p"), ""))
    has_half = pc.not_equal(half, "").to_numpy(zero_copy_only=False)
    is_pm = pc.starts_with(half, "p").to_numpy(zero_copy_only=False)
    wrong = missing | (has_half & ((hour < 1) | (hour > 12)))
    hour = np.where(has_half, hour % 12 + 12 * is_pm, hour)
    us = _assemble(year, month, day, hour, minute, second, wrong)
    us = np.where(us == NO_TIME, us, us + _fraction(parts))
    return us if not style.zoned else np.where(us == NO_TIME, us, us - _offset(pc.struct_field(parts, "z")))


def _assemble(
    year: IntArray, month: IntArray, day: IntArray, hour: IntArray, minute: IntArray, second: IntArray, wrong: NDArray[np.bool_]
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
    text = pc.if_else(pc.equal(text, ""), pa.scalar(None, pa.string()), text)
    return np.asarray(pc.fill_null(pc.cast(text, pa.int64()), 0).to_numpy(zero_copy_only=False), dtype=np.int64)


def _fraction(parts: pa.Array) -> IntArray:
    """Return a fraction of a second from its digits, rounded. [us]"""
    digits = pc.utf8_slice_codeunits(pc.utf8_rpad(pc.fill_null(pc.struct_field(parts, "f"), ""), 9, "0"), 0, 9)
    return (np.asarray(pc.cast(digits, pa.int64()).to_numpy(zero_copy_only=False)) + 500) // 1000


def _month(text: pa.Array) -> IntArray:
    if pc.any(pc.utf8_is_alpha(text)).as_py():
        name = pc.utf8_slice_codeunits(pc.utf8_lower(text), 0, 3)
        number = pc.add(pc.index_in(name, pa.array(_MONTHS)), 1)
        digits = pc.if_else(pc.utf8_is_decimal(text), text, pa.scalar("0"))
        text = pc.if_else(pc.is_valid(number), pc.cast(number, pa.string()), digits)
    return np.asarray(pc.fill_null(pc.cast(text, pa.int64()), 0).to_numpy(zero_copy_only=False), dtype=np.int64)


def _offset(text: pa.Array) -> IntArray:
    """Return offsets from UTC such as ``+01:00``, ``-0700``, ``Z``; an absent one is UTC. [us]"""
    kinds, inverse = np.unique(pc.fill_null(text, "").to_numpy(zero_copy_only=False).astype(str), return_inverse=True)
    minutes = []
    for kind in kinds:
        found = re.fullmatch(r"([+-])(\d{2}):?(\d{2})?", kind)
        minutes.append(0 if found is None else int(found[1] + "1") * (int(found[2]) * 60 + int(found[3] or 0)))
    return np.asarray(minutes, dtype=np.int64)[inverse] * 60_000_000


_FIXED = re.compile(r"(\d{2})([-/. ])(\d{2})\2(\d{4})([T ])(\d{2}):(\d{2}):(\d{2})(?:([.,])(\d{1,6}))?( [AaPp][Mm])?")


def _fixed_width(cells: pa.Array, style: Style) -> IntArray | None:
    """Parse stamps that all have the first one's width and marks by their digits' places; None where one has not."""
    if cells.null_count or not len(cells) or style.order == "y-m-d":
        return None
    if (first := _FIXED.fullmatch(cells[0].as_py())) is None:
        return None
    text = cells.combine_chunks() if isinstance(cells, pa.ChunkedArray) else cells
    width, n = len(first[0]), len(text)
    bounds = np.frombuffer(text.buffers()[1], np.int32)[text.offset : text.offset + n + 1]
    if not (np.diff(bounds) == width).all():
        return None
    grid = np.frombuffer(text.buffers()[2], np.uint8)[bounds[0] : bounds[-1]].reshape(n, width)
    return _by_places(grid, first, style.order == "d/m/y")


def _by_places(grid: NDArray[np.uint8], first: re.Match[str], day_first: bool) -> IntArray | None:
    shape = np.frombuffer(first[0].encode(), np.uint8)
    is_digit = (shape >= 48) & (shape <= 57)
    half = first.span(11) if first[11] else None
    fixed = ~is_digit
    if half:
        fixed[half[0] : half[1]] = False
    if not (grid[:, fixed] == shape[fixed]).all() or ((grid[:, is_digit] < 48) | (grid[:, is_digit] > 57)).any():
        return None
    a, b, year, hour, minute, second = (_digits(grid, first.span(k)) for k in (1, 3, 4, 6, 7, 8))
    day, month = (a, b) if day_first else (b, a)
    wrong = np.zeros(len(grid), dtype=bool)
    if half:
        letter = grid[:, half[0] + 1] | 32
        if ((letter != 97) & (letter != 112)).any() or ((grid[:, half[0] + 2] | 32) != 109).any():
            return None
        wrong = (hour < 1) | (hour > 12)
        hour = hour % 12 + 12 * (letter == 112)
    us = _assemble(year, month, day, hour, minute, second, wrong)
    if first[10]:
        us = np.where(us == NO_TIME, us, us + _digits(grid, first.span(10)) * 10 ** (6 - len(first[10])))
    return us


def _digits(grid: NDArray[np.uint8], span: tuple[int, int]) -> IntArray:
    value = np.zeros(len(grid), dtype=np.int64)
    for k in range(*span):
        value = value * 10 + (grid[:, k].astype(np.int64) - 48)
    return value
