"""Where the time of an export stands, and how it is written."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple, cast, get_args

from ...errors import InputError, quoted
from ..times.stamps import MOST, DateOrder, StampKind, Style, find_style, is_clock_only, is_date_only
from .dialect import Dialect, find_column
from .header import all_named
from .plan import Stated, TimePlan

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
    """Return where the time stands and how it is written, as stated or as found."""
    entry = stated.profile.time if stated.profile is not None else None
    if entry is None:
        plan = find_time(dialect, name)
    else:
        places = [("column", entry.column), ("date", entry.date), ("clock", entry.clock)]
        indices = tuple(find_column(dialect, p, f"time.{key}", name) for key, p in places if p is not None)
        try:
            plan = TimePlan(indices, stated_style(dialect, indices, entry.style, name))
        except InputError as error:
            line = stated.profile.line_of("time", "style") if stated.profile is not None else ""
            raise InputError(f"{line}: {error}") from None
    style = plan.style
    if stated.dates is not None and style.kind == "calendar" and style.order != "y-m-d":
        plan = replace(plan, style=replace(style, order=stated.dates))
    return plan


def stated_style(dialect: Dialect, indices: tuple[int, ...], stated: str | None, name: str) -> Style:
    """Return the style that a profile states for the time, once the cells bear it out."""
    cells = joined_cells(dialect, indices)
    recognised = find_style(cells, header="time " + " ".join(dialect.names[k] for k in indices))
    if stated is None:
        if recognised is None:
            raise InputError(
                f"{name}: the cells of {quoted(dialect.names[indices[0]])} ({cells[0] if cells else 'empty'}) "
                "are no time I know; state time.style in the profile"
            )
        return recognised
    kind, _, unit = stated.partition(" ")
    if kind in get_args(StampKind):
        return Style(cast("StampKind", kind), unit=unit)
    if recognised is None or recognised.kind != "calendar":
        raise InputError(
            f"{name}: the profile's time.style is {stated}, but the cells of {quoted(dialect.names[indices[0]])} "
            f"({cells[0] if cells else 'empty'}) are no such dates"
        )
    return replace(recognised, order=cast("DateOrder", stated))


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
        if style is not None:
            choices.append(_TimeChoice(_RANK[style.kind], _time_strangeness(word), TimePlan((index,), style)))
    choices += _dates_with_clock(dialect, dates, clocks)
    if not choices:
        raise InputError(_no_time(dialect, dates, name))
    return min(choices, key=lambda choice: (choice.rank, choice.strangeness)).plan


def _mostly(test: Callable[[str], bool], cells: Sequence[str]) -> bool:
    return sum(map(test, cells)) >= MOST * len(cells)


def _dates_with_clock(dialect: Dialect, dates: list[int], clocks: list[int]) -> list[_TimeChoice]:
    """Return a date's and a clock's column taken together, or else dates alone where there is one a row."""
    if not dates:
        return []
    if clocks and (style := find_style(joined_cells(dialect, (dates[0], clocks[0])))) is not None:
        return [_TimeChoice(1, 0, TimePlan((dates[0], clocks[0]), style))]
    cells = dialect.column(dates[0])
    style = find_style(cells) if len(set(cells)) == len(cells) else None
    return [_TimeChoice(4, 0, TimePlan((dates[0],), style))] if style is not None else []


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
