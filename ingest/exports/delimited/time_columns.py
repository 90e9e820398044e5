"""Where the time of an export stands, and how it is written."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple, cast, get_args

from ...errors import InputError, quoted
from ..times.stamps import (
    EPOCH_UNITS,
    MOST,
    DateOrder,
    StampKind,
    Style,
    TimeStyle,
    find_style,
    is_clock_only,
    is_date_only,
)
from .dialect import Dialect
from .header import all_named
from .plan import TimePlan
from .stated import Stated

#: The name of a column that holds the milliseconds of a clock beside it.
_MILLISECONDS = {"ms", "msec", "millis", "millisecond", "milliseconds"}
_ENDS_WITH_SECONDS = re.compile(r":\d\d:\d\d$")
_MICROSECONDS = {"us", "usec", "µs", "micros", "microsecond", "microseconds"}
_TIME_WORDS = {
    "time", "timestamp", "date", "datetime", "utc", "local", "stamp", "and", "iso", "clock", "epoch", "unix",
    "cumulative", "total", "test", "elapsed",
}  # fmt: skip
#: A date and clock in one column come before two columns (1), an epoch, elapsed time, and dates alone (4).
_RANK = {"calendar": 0, "epoch": 2, "elapsed": 3}


class _TimeChoice(NamedTuple):
    """Where the time may stand: how good its kind is, and how many words of its name speak against it."""

    rank: int
    strangeness: int
    plan: TimePlan


def time_plan(dialect: Dialect, stated: Stated, name: str) -> TimePlan:
    """Return where the time stands and how it is written, as stated or as found.

    Raises
    ------
    InputError
        If there is none, or it can be read in more than one way and nothing says which.
    """
    entry = stated.profile.time if stated.profile is not None else None
    written = stated.times or (entry.style if entry is not None else None)
    if entry is None:
        plan = find_time(dialect, name)
        plan = plan if written is None else TimePlan(plan.indices, stated_style(dialect, plan.indices, written, name))
    else:
        places = [("column", entry.column), ("date", entry.date), ("clock", entry.clock)]
        indices = tuple(find_column(dialect, p, f"time.{key}", name) for key, p in places if p is not None)
        try:
            plan = TimePlan(indices, stated_style(dialect, indices, written, name))
        except InputError as error:
            line = stated.profile.line_of("time", "style") if stated.profile is not None else ""
            raise InputError(f"{line}: {error}") from None
    if written is None and "h:mm" not in dialect.names[plan.indices[0]].lower():
        _refuse_two_readings(dialect, plan, name)
    _refuse_rounded(dialect, plan, name)
    style = plan.style
    # A year in front leaves open only what stands behind it.
    if stated.dates is not None and style.kind == "calendar" and _has_year_first(style.order, stated.dates):
        plan = replace(plan, style=replace(style, order=stated.dates))
    return plan


def _has_year_first(written: DateOrder | None, stated: DateOrder) -> bool:
    return (written or "")[:1] != "y" or (stated == "y-d-m" and written == "y-m-d")


def stated_style(dialect: Dialect, indices: tuple[int, ...], stated: TimeStyle | None, name: str) -> Style:
    """Return the style that an option or a profile states for the time, once the cells bear it out."""
    cells = joined_cells(dialect, indices)
    header = "time " + " ".join(dialect.names[k] for k in indices)
    recognised = find_style(cells, header=header, of_columns=len(indices) > 1)
    example = f"{quoted(dialect.names[indices[0]])} ({cells[0] if cells else 'empty'})"
    if stated is None:
        if recognised is None:
            raise InputError(f"{name}: the cells of {example} are no time I know; state time.style in the profile")
        return recognised
    kind, _, unit = stated.partition(" ")
    if kind == "sheet":
        return Style("calendar", "y-m-d", unit=unit, forms=recognised.forms if recognised is not None else ())
    if kind in get_args(StampKind):
        return Style(cast("StampKind", kind), unit=unit)
    if recognised is None or recognised.kind != "calendar":
        raise InputError(
            f"{name}: the times are said to be {stated} (--times, or the profile's time.style), but the cells of "
            f"{example} are no such dates"
        )
    return replace(recognised, order=cast("DateOrder", stated))


def _refuse_two_readings(dialect: Dialect, plan: TimePlan, name: str) -> None:
    """Ask where times without a date could be of several units: the result would be many times as large."""
    if plan.style.kind != "elapsed":
        return
    cells, word = joined_cells(dialect, plan.indices), dialect.names[plan.indices[0]]
    if not plan.style.unit:
        from ..questions.times import count_unit

        raise count_unit(name, word, (cells[0], cells[1]))
    if plan.style.unit == "s" and _are_clock_digits(cells):
        from ..questions.times import clock_digits

        raise clock_digits(name, word, (cells[0], cells[-1]))
    two = plan.style.unit == "h:m:s" and all(re.fullmatch(r"'?\d+:\d\d", cell) for cell in cells)
    if two and not _passes_midnight(cells):
        from ..questions.times import two_numbers

        raise two_numbers(name, word, cells[0])


def _are_clock_digits(cells: Sequence[str]) -> bool:
    """Tell whether numbers are such as a clock's digits make: none has more than 59 seconds or minutes."""
    if not all(re.fullmatch(r"\d{1,6}(\.\d+)?", cell) for cell in cells):
        return False
    whole = [int(cell.partition(".")[0]) for cell in cells]
    if len({x % 100 for x in whole}) < 2 or not all(x % 100 < 60 > x // 100 % 100 for x in whole):
        return False
    # A count of seconds passes 60 to 99 of every hundred; a clock's leaps over them, minute by minute.
    steps = {other - one for one, other in pairwise(whole)}
    leaps = {min(steps), min(steps) + 40, min(steps) + 4040}
    return max(whole) >= 6000 or (len(steps) > 1 and min(steps) > 0 and steps <= leaps)


def _passes_midnight(cells: Sequence[str]) -> bool:
    hours = [int(cell.strip("'").partition(":")[0]) for cell in cells]
    return max(hours) == 23 and any(one == 23 and other == 0 for one, other in pairwise(hours))


def _refuse_rounded(dialect: Dialect, plan: TimePlan, name: str) -> None:
    """Refuse counts since 1970 that a spreadsheet has written in powers of ten, without their last digits."""
    if plan.style.kind != "epoch":
        return
    cell = dialect.column(plan.indices[0])[0]
    if (power := re.fullmatch(r"\d(?:[.,](\d*))?[Ee]\+?(\d+)", cell)) is None:
        return
    digit_s = 10.0 ** (int(power[2]) - len(power[1] or "")) / EPOCH_UNITS[plan.style.unit]
    if digit_s > 1.0:
        raise InputError(
            f"{name}: the times of {quoted(dialect.names[plan.indices[0]])} ({cell}) are rounded to {digit_s:,.0f} s; "
            "export them with all their digits (in a spreadsheet: format the column as a number, then save it as CSV)"
        )


def joined_cells(dialect: Dialect, indices: Sequence[int]) -> list[str]:
    """Return the sample's cells of the time column, or of date and clock joined by a blank."""
    return [cell for row in dialect.sample if (cell := " ".join(row[k] for k in indices).strip())]


def find_time(dialect: Dialect, name: str) -> TimePlan:
    """Choose the time: a full date and clock before an epoch, that before elapsed time; the plainer name first."""
    units = dialect.units or ("",) * len(dialect.names)
    choices: list[_TimeChoice] = []
    dates, clocks = [], []
    for index, word in enumerate(dialect.names):
        cells = dialect.column(index)
        if not cells:
            continue
        if _mostly(is_date_only, cells):
            dates.append(index)
            continue
        if len(cells) > 2 and len(set(cells)) == 1:
            continue  # a time that stands still is when the export was made
        if _mostly(is_clock_only, cells):
            clocks.append(index)
        style = find_style(cells, header=f"{word} {units[index]}")
        if style is not None and style.unit == "days" and _mostly(str.isdecimal, cells):
            dates.append(index)
        elif style is not None:
            choices.append(_TimeChoice(_RANK[style.kind], _time_strangeness(word), TimePlan((index,), style)))
    if not any(choice.rank == _RANK["calendar"] for choice in choices):
        choices += _of_several(dialect, dates, clocks)
    if not choices:
        raise InputError(_no_time(dialect, dates, name))
    plan = min(choices, key=lambda choice: (choice.rank, choice.strangeness)).plan
    if (plan.style.kind, plan.style.unit) == ("epoch", "s"):
        return _with_parts_of_seconds(dialect, plan)
    return _with_cells_beside(dialect, _with_names_of_two_numbers(dialect, plan))


def _mostly(test: Callable[[str], bool], cells: Sequence[str]) -> bool:
    return sum(map(test, cells)) >= MOST * len(cells)


def _of_several(dialect: Dialect, dates: list[int], clocks: list[int]) -> list[_TimeChoice]:
    """Return columns taken together for the time, or else dates alone where there is one a row."""
    from ..times.parts import put_together  # most exports have their time in one column

    pairs = [(dates[0], clocks[0])] if dates and clocks else []
    for indices in (*pairs, *put_together(dialect.names, [dialect.column(k) for k in range(len(dialect.names))])):
        style = find_style(joined_cells(dialect, indices), of_columns=True, header="date")
        if style is not None and style.kind == "calendar":
            return [_TimeChoice(1, 0, TimePlan(indices, style))]
    if not dates:
        return []
    cells = dialect.column(dates[0])
    style = find_style(cells) if len(set(cells)) == len(cells) else None
    return [_TimeChoice(4, 0, TimePlan((dates[0],), style))] if style is not None else []


def _with_cells_beside(dialect: Dialect, plan: TimePlan) -> TimePlan:
    """Return the plan with the column that holds its milliseconds or the half of its day, where there is one."""
    free = [k for k in range(len(dialect.names)) if k not in plan.indices]
    last = dialect.column(plan.indices[-1])[:50]
    halves = [
        k for k in free if all(cell.lower().replace(".", "") in {"am", "pm"} for cell in dialect.column(k) or [""])
    ]
    named = [k for k in free if dialect.names[k].lower().strip("[]() ") in _MILLISECONDS]
    parts = [k for k in named if all(re.fullmatch(r"\d{1,3}", cell) for cell in dialect.column(k))]
    if len(halves) == 1 and all(re.search(r":\d\d([.,]\d+)?$", cell) for cell in last):
        beside = halves
    elif plan.style.kind == "calendar" and len(named) == len(parts) == 1 and all(map(_ENDS_WITH_SECONDS.search, last)):
        beside = parts
    else:
        return plan
    indices = (*plan.indices, *beside)
    style = find_style(joined_cells(dialect, indices), of_columns=True)
    return plan if style is None else TimePlan(indices, style)


def _with_parts_of_seconds(dialect: Dialect, plan: TimePlan) -> TimePlan:
    """Return the plan of whole seconds since 1970 with the column of what is left of them, where there is one."""
    for form, digits, called in (("microseconds", 6, _MICROSECONDS), ("milliseconds", 3, _MILLISECONDS)):
        beside = [k for k, word in enumerate(dialect.names) if word.lower().strip("[]() ") in called]
        if len(beside) != 1 or beside[0] in plan.indices:
            continue
        indices, whole = (*plan.indices, *beside), re.compile(rf"\d{{9,10}} \d{{1,{digits}}}")
        cells = joined_cells(dialect, indices)
        if sum(whole.fullmatch(cell) is not None for cell in cells) >= MOST * len(cells):
            return TimePlan(indices, replace(plan.style, forms=(f"seconds and {form}",)))
    return plan


def _with_names_of_two_numbers(dialect: Dialect, plan: TimePlan) -> TimePlan:
    """Return the plan with minutes and seconds where the column's name says so of two numbers."""
    name, cells = dialect.names[plan.indices[0]].lower(), joined_cells(dialect, plan.indices)
    two = plan.style.unit == "h:m:s" and "mm:ss" in name and "h:mm" not in name
    minutes = two and all(re.fullmatch(r"\d+:\d\d", cell) for cell in cells)
    return replace(plan, style=replace(plan.style, unit="m:s")) if minutes else plan


def _no_time(dialect: Dialect, dates: list[int], name: str) -> str:
    if dates:
        word = dialect.names[dates[0]]
        return (
            f"{name}: column {quoted(word)} holds dates but no time of day, and no other column does; "
            "export it with the time"
        )
    words = all_named(dialect.names)
    return f"{name}: none of the columns {words} holds times; say which does in a profile ([time] column = …)"


def _time_strangeness(word: str) -> int:
    return sum(1 for part in word.lower().replace("_", " ").split() if part.strip("[]()#") not in _TIME_WORDS)


def find_column(dialect: Dialect, place: str | int, key: str, name: str) -> int:
    """Return a column's index from its name in the header, or its position counted from 1.

    Raises
    ------
    InputError
        If there is no such column; names the profile's key and what the header has.
    """
    if isinstance(place, int):
        if place > len(dialect.names):
            raise InputError(f"{name}: the profile's {key} is {place}, but there are only {len(dialect.names)} columns")
        return place - 1
    words = [word.strip() for word in dialect.names]
    for candidates, wanted in ((words, place.strip()), ([word.lower() for word in words], place.strip().lower())):
        at = [k for k, word in enumerate(candidates) if word == wanted]
        if len(at) > 1:
            numbers = " and ".join(str(k + 1) for k in at)
            raise InputError(
                f"{name}: the profile's {key} is {place!r}, but columns {numbers} are called so; name it by its number"
            )
        if at:
            return at[0]
    from difflib import get_close_matches  # a profile seldom fits no longer

    lower = {word.lower(): word for word in words if word}
    close = [quoted(lower[word]) for word in get_close_matches(place.strip().lower(), lower, n=2)]
    nearest = f"; {' and '.join(close)} {'comes' if len(close) == 1 else 'come'} nearest" if close else ""
    raise InputError(f"{name}: the profile's {key} is {place!r}, but the header has {all_named(words)}{nearest}")
