"""Which columns of an export hold the time, and in which style."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import cast, get_args

from shuntbook.ingest.errors import InputError, quoted

from .dialect import Dialect, find_column
from .header import all_named
from .plan import TimePlan, Wishes
from .stamp_patterns import DateOrder, StampKind
from .stamps import MOST, Style, find_style, is_clock_only, is_date_only

_TIME_WORDS = {
    "time", "timestamp", "date", "datetime", "utc", "local", "stamp", "and", "iso", "clock", "epoch", "unix",
    "cumulative", "total", "test", "elapsed",
}  # fmt: skip

_RANK = {"calendar": 0, "epoch": 2, "elapsed": 3}


def time_plan(dialect: Dialect, wishes: Wishes, name: str) -> TimePlan:
    """Return where the time stands and how it is written, as stated or as found."""
    stated = wishes.profile.time if wishes.profile is not None else None
    if stated is None:
        plan = find_time(dialect, name)
    else:
        places = [("column", stated.column), ("date", stated.date), ("clock", stated.clock)]
        indices = tuple(find_column(dialect, p, f"time.{key}", name) for key, p in places if p is not None)
        plan = TimePlan(indices, stated_style(dialect, indices, stated.style, name))
    style = plan.style
    if wishes.dates is not None and style.kind == "calendar" and style.order != "y-m-d":
        plan = replace(plan, style=replace(style, order=wishes.dates))
    return plan


def stated_style(dialect: Dialect, indices: tuple[int, ...], stated: str | None, name: str) -> Style:
    """Return the style that a profile states for the time, once the cells bear it out."""
    cells = joined_cells(dialect, indices)
    found = find_style(cells, header="time " + " ".join(dialect.names[k] for k in indices))
    if stated is None:
        if found is None:
            raise InputError(
                f"{name}: the cells of {quoted(dialect.names[indices[0]])} ({cells[0] if cells else 'empty'}) "
                "are no time I know; state time.style in the profile"
            )
        return found
    kind, _, unit = stated.partition(" ")
    if kind in get_args(StampKind):
        return Style(cast("StampKind", kind), unit=unit)
    if found is None or found.kind != "calendar":
        raise InputError(
            f"{name}: the profile's time.style is {stated}, but the cells of {quoted(dialect.names[indices[0]])} "
            f"({cells[0] if cells else 'empty'}) are no such dates"
        )
    return replace(found, order=cast("DateOrder", stated))


def joined_cells(dialect: Dialect, indices: Sequence[int]) -> list[str]:
    """Return the sample's cells of the time column, or of date and clock joined by a blank."""
    return [cell for row in dialect.sample if (cell := " ".join(row[k] for k in indices).strip())]


def find_time(dialect: Dialect, name: str) -> TimePlan:
    """Choose the time: a full date and clock before an epoch, that before elapsed time; the plainer name first."""
    units = dialect.units or ("",) * len(dialect.names)
    ranked: list[tuple[int, int, TimePlan]] = []
    dates, clocks = [], []
    for index, word in enumerate(dialect.names):
        cells = dialect.column(index)
        if not cells:
            continue
        if _mostly(is_date_only, cells):
            dates.append(index)
            continue
        if len(cells) > 2 and len(set(cells)) == 1:
            continue  # stands still
        if _mostly(is_clock_only, cells):
            clocks.append(index)
        style = find_style(cells, header=f"{word} {units[index]}")
        if style is not None:
            ranked.append((_RANK[style.kind], _time_strangeness(word), TimePlan((index,), style)))
    ranked += _dates_with_clock(dialect, dates, clocks)
    if not ranked:
        raise InputError(_no_time(dialect, dates, name))
    return min(ranked, key=lambda item: item[:2])[2]


def _mostly(test: Callable[[str], bool], cells: Sequence[str]) -> bool:
    return sum(map(test, cells)) >= MOST * len(cells)


def _dates_with_clock(dialect: Dialect, dates: list[int], clocks: list[int]) -> list[tuple[int, int, TimePlan]]:
    """Return a date's and a clock's column taken together, or else dates alone where there is one a row."""
    if not dates:
        return []
    if clocks and (style := find_style(joined_cells(dialect, (dates[0], clocks[0])))) is not None:
        return [(1, 0, TimePlan((dates[0], clocks[0]), style))]
    cells = dialect.column(dates[0])
    style = find_style(cells) if len(set(cells)) == len(cells) else None
    return [(4, 0, TimePlan((dates[0],), style))] if style is not None else []


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
