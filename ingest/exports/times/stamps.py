"""Time stamps: what they look like, style by style, and which style a column has."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Literal, cast

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ...log.arrow import strings

StampKind = Literal["calendar", "epoch", "elapsed"]
DateOrder = Literal["y-m-d", "d/m/y", "m/d/y", "y-d-m"]
#: How a profile or an option may say that times are written.
TimeStyle = Literal[
    "y-m-d", "d/m/y", "m/d/y", "y-d-m", "epoch s", "epoch ms", "epoch us", "epoch ns", "sheet days", "sheet days 1904",
    "elapsed us", "elapsed ms", "elapsed s", "elapsed min", "elapsed h", "elapsed days", "elapsed h:m:s", "elapsed m:s",
]  # fmt: skip
IntArray = NDArray[np.int64]
_LETTERS = r"[A-Za-zÀ-ÖØ-öø-ÿ]"
SEP = r"[-/. ]"
NOTHING, EMPTY, HYPHEN, POINT = strings([None, "", "-", "."])
DATES = {
    "y-m-d": rf"(?P<y>\d{{4}}|\d{{2}}){SEP}(?P<m>\d{{1,2}}){SEP}(?P<d>\d{{1,2}})",
    "d/m/y": rf"(?P<d>\d{{1,2}}){SEP}(?P<m>\d{{1,2}}|{_LETTERS}{{3,10}}\.?){SEP}(?P<y>\d{{4}}|\d{{2}})",
    "m/d/y": rf"(?P<m>\d{{1,2}}|{_LETTERS}{{3,10}}\.?){SEP}(?P<d>\d{{1,2}}),?{SEP}(?P<y>\d{{4}}|\d{{2}})",
    "y-d-m": rf"(?P<y>\d{{4}}){SEP}(?P<d>\d{{1,2}}){SEP}(?P<m>\d{{1,2}})",
}
CLOCK = r"(?P<h>\d{1,2}):(?P<n>\d{1,2})(?::(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?)?\s*(?P<p>[AaPp]\.?[Mm]\.?)?"
OFFSET = r"\s*(?P<z>Z|z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})?"
HMS = (
    r"^\s*'?(?:(?P<D>\d+)\s*d(?:ays?)?[ ,]*)?(?P<h>\d+):(?P<n>\d{1,2})(?::(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?)?"
    r"\s*(?P<p>[AaPp]\.?[Mm]\.?)?\s*$"
)
MS = r"^\s*'?(?P<n>\d+):(?P<s>\d{1,2})(?:[.,](?P<f>\d+))?\s*$"
DAY = r"(?:(?i:mon|tue|wed|thu|fri|sat|sun)[a-z]*,?\s+)?"
CALENDAR = {order: rf"^\s*'?{DAY}{date}(?:[T ,]+{CLOCK})?{OFFSET}\s*$" for order, date in DATES.items()}
#: ISO 8601 without separators; kept under its own name, since its parts have fixed widths.
BASIC = (
    r"^\s*'?(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})"
    r"(?:[T ]*(?P<h>\d{2}):?(?P<n>\d{2})(?::?(?P<s>\d{2})(?:[.,](?P<f>\d+))?)?"
    rf"(?P<p>))?{OFFSET}\s*$"
)
#: Three numbers that could be a date in another order than they seem; the last one only if it has two digits.
THREE = r"^\s*'?(?P<a>\d{1,2})(?P<sep>[-/. ])(?P<b>\d{1,2})[-/. ](?P<c>\d{4}|\d{2})"
HIGHEST: dict[DateOrder, tuple[int, int, int]] = {
    "d/m/y": (31, 12, 9999),
    "m/d/y": (12, 31, 9999),
    "y-m-d": (99, 12, 31),
}
DATE_ONLY = re.compile(
    rf"'?{DAY}(?:"
    + "|".join(re.sub(r"\?P<\w+>", "?:", date) for date in DATES.values())
    + r")|(?:19|20)\d\d[01]\d[0-3]\d"
)
CLOCK_ONLY = re.compile(re.sub(r"\?P<\w+>", "?:", CLOCK))
#: Epoch numbers between 1990 and 2100 by unit; the four ranges do not touch.
EPOCH_S = (6.3e8, 4.2e9)
EPOCH_UNITS = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}
#: A spreadsheet's day numbers count from 1899-12-30; these are 1990 and 2100.
SHEET_DAYS = (32_874.0, 73_051.0)
#: Day numbers of 1970-01-01: counted from 1899-12-30, and from 1904-01-01 as some spreadsheets can.
SHEET_ZEROS = {"days": 25_569.0, "days 1904": 24_107.0}
ORDER_WORDS: dict[DateOrder, str] = {
    **{"d/m/y": "day/month/year", "m/d/y": "month/day/year", "y-m-d": "year-month-day", "y-d-m": "year-day-month"}
}
#: What stamps have that may be in a form of their own: letters beside those of ISO 8601 and of AM and PM, marks that
#: nobody sees, milliseconds after a colon, points in a clock, a mark throughout, a half of the day in front or short.
_ODD = re.compile(
    r"[^\W\dTZAPMapm]|[\u200e\u200f\u202a-\u202e]|:\d{3}$|[T ,]\d\d?\.\d\d(\.\d\d|$)|([-._]\d\d){4}"
    r"|-\d\d-\d\d:|\d\. ?\d+\. |^\d+\.\d+:|\d [ap]?[ap]\.\s|\d ?[ap]$| [ap]m \d",
    re.IGNORECASE,
)
#: So many of a sample's cells are looked at for it: one program wrote them all.
_LOOKED_AT = 40
#: Share of a sample's cells that must agree on a style: a damaged cell or two do not hide it.
MOST = 0.9
_DATED = {"date", "datetime", "timestamp", "timestamps", "datum", "zeitstempel", "horodatage"}
_TIMELY = _DATED | {
    "time", "stamp", "ts", "epoch", "unix", "unixtime", "utime", "clock", "zeit", "uhrzeit", "laufzeit", "temps",
    "heure", "elapsed", "seconds", "sec", "secs", "uptime", "runtime", "millis", "milliseconds", "ms", "t", "minutes",
    "hours", "days", "mins", "hrs", "micros", "microseconds", "usec", "msec", "sekunden", "minuten", "stunden",
    "tick", "ticks", "jiffies",
}  # fmt: skip
_HEAT = {"temp", "temperature", "degc", "degf", "c", "f", "k", "celsius", "fahrenheit"}
#: Times half a second or more apart with more decimals are rather minutes or hours (common practice, no source).
_DECIMALS_OF_SECONDS = 3
#: Spacings from 100 s on that loggers are set to, within `_NEAR`: others are rather milliseconds. Common practice, no
#: source. [s]
_LONG_SPACINGS_S, _NEAR = (120.0, 300.0, 600.0, 900.0, 1200.0, 1800.0, 3600.0), 0.02


@dataclass(frozen=True)
class Style:
    """How a column of time stamps is written.

    ``order`` is that of a calendar's parts, None while day and month first are both possible. ``unit`` is that of an
    epoch (``s``, ``ms``, ``us``, ``ns``) or elapsed time (also ``min``, ``h``, ``h:m:s``, ``m:s``); of a calendar
    ``basic`` (no separators) or ``days`` (a spreadsheet's day number), ``days 1904`` counted from that year. Empty in
    elapsed time while its unit is not known. ``zoned``: the stamps say their own offset. ``forms`` are those that are
    rewritten first; ``word`` is the zone's as the stamps say it, such as CET, and ``offsets`` those of its words.
    """

    kind: StampKind
    order: DateOrder | None = None
    unit: str = ""
    zoned: bool = False
    forms: tuple[str, ...] = ()
    word: str = ""
    offsets: tuple[tuple[str, str], ...] = ()

    def describe(self) -> str:
        """Return the style in words."""
        if self.kind == "calendar":
            if self.unit.startswith("days"):
                return f"a spreadsheet's day number, counted from {'1904' if '1904' in self.unit else '1900'}"
            order = ORDER_WORDS[self.order] if self.order else "undecided"
            zone = f"zone word {self.word}," if self.word else "with its own" if self.zoned else "no"
            return f"date and time, {order}, {zone} offset from UTC"
        if self.kind == "epoch":
            return f"{self.unit} since 1970 (UTC)"
        return f"elapsed time in {self.unit}, counted from the start"


def find_style(cells: Sequence[str], *, header: str = "", of_columns: bool = False) -> Style | None:
    """Return the style that all cells of a sample share, or None if they are no time stamps.

    The first recogniser that fits decides, so the stricter come first. A new style is a form that is rewritten, or a
    recogniser in `_RECOGNISERS`, a branch of `instants.parse` and, for profiles to state it, a word of `TimeStyle`. Of
    small numbers the column's name, `header`, must say that they are time. `of_columns`: the cells are those of
    several columns, joined by blanks.
    """
    if not of_columns and not any(map(_ODD.search, cells[:: len(cells) // _LOOKED_AT + 1])):
        return _recognised(cells, header)
    from .forms import find_forms, in_usual_form, zone_word  # most stamps are plain

    forms = find_forms(cells[:: len(cells) // _LOOKED_AT + 1], of_columns=of_columns)
    style = _recognised([in_usual_form(cell, forms) for cell in cells], header)
    return replace(style, forms=forms, word=zone_word(cells, forms)) if style is not None else None


def _recognised(cells: Sequence[str], header: str) -> Style | None:
    recognised = (recognise(cells, header.lower()) for recognise in _RECOGNISERS)
    return next((style for style in recognised if style is not None), None)


def _calendar(cells: Sequence[str], _: str) -> Style | None:
    decided: DateOrder | None
    for order, pattern in CALENDAR.items():
        matches = _agreeing(pattern, cells)
        # Two digits in front fit a year as well as a day or month: `order_of` weighs all three orders for them.
        if matches and not (order == "y-m-d" and len(matches[0]["y"]) < 4):
            # A month by its name, and a year of four digits in front, leave one order only; other cells may not.
            named = any(match["m"][0].isalpha() for match in matches)
            if order == "y-m-d":
                decided = "y-d-m" if _are_days_first(matches) else "y-m-d"
            else:
                decided = cast("DateOrder", order) if named else order_of(strings(cells))
            return Style("calendar", decided, zoned=_mostly_zoned(matches))
    return None


def _are_days_first(matches: Sequence[re.Match[str]]) -> bool:
    """Tell whether dates with the year in front can only have the day before the month."""
    above = [(int(match["m"]) > 12, int(match["d"]) > 12) for match in matches]
    return any(m for m, _ in above) and not any(d for _, d in above)


def _basic(cells: Sequence[str], _: str) -> Style | None:
    # Eight digits may be any number: each must be a day between 1970 and 2100 as well.
    if (matches := _agreeing(BASIC, cells)) and all(map(_is_day, matches)):
        return Style("calendar", "y-m-d", unit="basic", zoned=_mostly_zoned(matches))
    return None


def _clock(cells: Sequence[str], _: str) -> Style | None:
    # 10:02 is hours and minutes, as clocks have it. Only a fraction (12:30.5) shows minutes and seconds: HMS has none
    # after two numbers.
    units = ((HMS, "h:m:s"), (MS, "m:s"))
    return next((Style("elapsed", unit=unit) for pattern, unit in units if _agreeing(pattern, cells)), None)


def _agreeing(pattern: str, cells: Sequence[str]) -> list[re.Match[str]]:
    """Return the matches if most cells of a sample match, else none."""
    fits = re.compile(pattern).match
    if not any(map(fits, cells[: len(cells) // 8 + 1])):  # an eighth that fits nothing is more than may disagree
        return []
    matches = [match for match in map(fits, cells) if match]
    return matches if matches and len(matches) >= MOST * len(cells) else []


def _mostly_zoned(matches: Sequence[re.Match[str]]) -> bool:
    return 2 * sum(match["z"] is not None for match in matches) > len(matches)


def _is_day(match: re.Match[str]) -> bool:
    return 1970 <= int(match["y"]) < 2100 and 1 <= int(match["m"]) <= 12 and 1 <= int(match["d"]) <= 31


def order_of(cells: pa.Array) -> DateOrder | None:
    """Return which of a date's three numbers is which, if the cells leave one way only; see `possible_orders`."""
    orders = possible_orders(highest_numbers(cells))
    return orders[0] if len(orders) == 1 else None


@dataclass(frozen=True)
class HighestNumbers:
    """The highest of the first, second and third numbers of a column of dates, and what marks part them."""

    numbers: tuple[int, int, int] = (0, 0, 0)
    hyphens: bool = False
    points: bool = False

    def with_(self, other: HighestNumbers) -> HighestNumbers:
        """Return the highest of both."""
        a, b = self.numbers, other.numbers
        highest = (max(a[0], b[0]), max(a[1], b[1]), max(a[2], b[2]))
        return HighestNumbers(highest, self.hyphens or other.hyphens, self.points or other.points)


def highest_numbers(cells: pa.Array) -> HighestNumbers:
    """Return the highest numbers of a column of dates that begin with a number of one or two digits."""
    parts = pc.extract_regex(cells, THREE)
    a, b, c = (pc.max(pc.cast(pc.struct_field(parts, name), pa.int64())).as_py() or 0 for name in "abc")
    mark = pc.struct_field(parts, "sep")
    hyphens, points = (bool(pc.any(pc.equal(mark, one)).as_py()) for one in (HYPHEN, POINT))
    return HighestNumbers((a, b, c), hyphens, points)


def possible_orders(highest: HighestNumbers) -> list[DateOrder]:
    """Return the orders that no date contradicts.

    A year of two digits stands last, as is common practice with slashes and points; with hyphens (``26-06-13``) or a
    first number above 31 it may stand first. Dates with points are day.month.year wherever that can be (common
    practice where points are used, and DIN 5008, from memory).
    """
    orders = [o for o, top in HIGHEST.items() if all(n <= t for n, t in zip(highest.numbers, top, strict=True))]
    if highest.points and not highest.hyphens and "d/m/y" in orders:
        return ["d/m/y"]
    # Common practice, no source: 26-06-13 is written year first, 26/06/13 hardly ever.
    year_first = highest.hyphens or highest.numbers[0] > 31
    return [order for order in orders if order != "y-m-d" or year_first]


def is_date_only(cell: str) -> bool:
    """Tell whether a cell holds a date without a clock time."""
    return DATE_ONLY.fullmatch(_in_ascii(cell.strip())) is not None


def is_clock_only(cell: str) -> bool:
    """Tell whether a cell holds a clock time without a date."""
    return CLOCK_ONLY.fullmatch(_in_ascii(cell.strip())) is not None


def _in_ascii(cell: str) -> str:
    if cell.isascii():
        return cell
    from .forms import in_usual_form  # most are

    return in_usual_form(cell, ("Japanese",))


def _numeric_style(cells: Sequence[str], header: str) -> Style | None:
    x = _numbers(cells)
    if x is None:
        return None
    header = header.replace("µ", "u").replace("μ", "u")
    words = set(re.findall(r"[a-zà-ÿ]+", header))
    # Twentieths at either end are left out: a damaged cell would push the range out of every epoch.
    low, high = np.sort(x)[[len(x) // 20, len(x) - 1 - len(x) // 20]]
    steps = np.diff(x)
    rising = len(x) < 2 or (steps >= 0).mean() > MOST  # a step counter that resets is no clock
    timely = bool(words & _TIMELY) and not words & _HEAT
    # The four epochs do not touch, so numbers that rise within one hardly mean anything else.
    inside = (u for u, scale in EPOCH_UNITS.items() if EPOCH_S[0] * scale <= low and high <= EPOCH_S[1] * scale)
    epoch = next(inside, "") if timely or (rising and high > low) else ""
    return _counted(x, cells, header, words, epoch) if epoch or timely else None


def _counted(x: NDArray[np.float64], cells: Sequence[str], header: str, words: set[str], epoch: str) -> Style | None:
    """Return the style of numbers that may be of an `epoch` by their size, or that their name calls a time."""
    from .count_units import unit_of_name, unit_us  # most columns of numbers are readings

    named, high = unit_of_name(header, words), np.quantile(x, 0.95)
    rising = len(x) < 2 or (np.diff(x) >= 0).mean() > MOST
    # A count of microseconds is as large after an hour as that of seconds since 1970. Elapsed seconds never get so far:
    # they would be twenty years.
    reach = EPOCH_S[0] * 1_000_000 / unit_us(named or "s")
    is_epoch = bool(words & {"epoch", "unix"})
    if epoch and (not named or named == epoch or high >= reach or is_epoch):
        return Style("epoch", unit=epoch)
    if epoch:
        return Style("elapsed", unit=named or "") if rising else None
    if is_epoch or high > reach:
        return None
    days = SHEET_DAYS[0] <= np.quantile(x, 0.05) and high <= SHEET_DAYS[1] and len(x) > 1
    if days and _are_days(x, named or "", bool(words & _DATED)):
        return Style("calendar", "y-m-d", unit="days")
    # What is counted is never said to be seconds by its size.
    return Style("elapsed", unit="s" if named == "" and _are_seconds(x, cells) else named or "") if rising else None


def _are_days(x: NDArray[np.float64], unit: str, dated: bool) -> bool:
    """Tell a spreadsheet's day numbers from seconds: numbers of today's days are plausible seconds, too (12 hours)."""
    # Steps of less than 0.02 days, half an hour, are hardly seconds; of longer ones the decimals tell, or the name.
    if 0 < np.median(np.abs(np.diff(x))) < 0.02:
        return True
    return not unit and (dated or _are_fine(x))


def _are_fine(x: NDArray[np.float64]) -> bool:
    """Tell whether most numbers have more than three decimals."""
    return bool((np.abs(x * 1000 - np.rint(x * 1000)) > 1e-3).mean() > 0.5)


def _are_seconds(x: NDArray[np.float64], cells: Sequence[str]) -> bool:
    """Tell whether elapsed time whose unit nothing names can only be meant in seconds."""
    steps = np.diff(x)
    steps = steps[steps > 0]
    if not len(steps):
        return True
    step = float(np.median(steps))
    if step >= 100.0:
        return any(abs(step - usual) <= _NEAR * usual for usual in _LONG_SPACINGS_S)
    if step >= 0.5 and re.search(rf"[.,]\d{{{_DECIMALS_OF_SECONDS + 1}}}", cells[-1]):
        return False
    # An even step that is no whole milliseconds is a part of a minute, an hour or a day.
    even = bool(np.abs(steps - step).max() < 1e-3 * step) and abs(step * 1000 - round(step * 1000)) > 0.01
    return step >= 0.05 and not (_are_fine(x) and (even or step < 0.2))


#: In this order: dates with separators hold marks that nothing else has; dates without look like plain numbers, which
#: come last since any column of readings is some; clocks hold colons, and no date is left that does.
_RECOGNISERS = (_calendar, _basic, _clock, _numeric_style)


def _numbers(cells: Sequence[str]) -> NDArray[np.float64] | None:
    """Return a sample's numbers if most cells are such."""
    numbers = []
    for cell in cells:
        with suppress(ValueError):
            numbers.append(float(cell.replace(",", ".")))
    x = np.array(numbers)
    return x if len(x) and len(x) >= MOST * len(cells) and np.isfinite(x).all() else None
