"""What each column of an export is: the dialect, the header's words and a profile brought together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from ..errors import InputError
from ..quantities import QUANTITIES, Unit, unit_of
from .decode import Source, find_encoding
from .dialect import DELIMITERS, Dialect, find_dialect
from .header import choose, looks_ac
from .numbers import find_decimal
from .stamps import Order, Style, find_style, is_clock_only, is_date_only

if TYPE_CHECKING:
    from ..profiles.model import ColumnEntry, Profile

_TIME_WORDS = {"time", "timestamp", "date", "datetime", "utc", "local", "stamp", "and", "iso", "clock", "epoch", "unix", "cumulative", "total", "test", "elapsed"}  # fmt: skip


@dataclass(frozen=True)
class Wishes:
    """What the person or a profile states about an export; None leaves it to be recognised."""

    profile: Profile | None = None
    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    header_line: int | None = None
    dates: Order | None = None


@dataclass(frozen=True)
class Directions:
    """The column of letters that gives an unsigned current its sign."""

    index: int
    draw: frozenset[str]
    returned: frozenset[str]
    none: frozenset[str]


@dataclass(frozen=True)
class ColumnPlan:
    """How one column becomes one quantity."""

    quantity: str
    index: int
    unit: Unit
    decimal: str = "."
    scale: float = 1.0
    offset: float = 0.0
    directions: Directions | None = None


@dataclass(frozen=True)
class TimePlan:
    """The column, or the date's and the clock's, that hold the time."""

    indices: tuple[int, ...]
    style: Style


@dataclass(frozen=True)
class Layout:
    """Everything needed to read the rows of one export."""

    name: str
    encoding: str
    dialect: Dialect
    time: TimePlan
    columns: tuple[ColumnPlan, ...]
    ac: bool
    said: tuple[str, ...] = field(default=())

    @property
    def quantities(self) -> tuple[str, ...]:
        """The quantities the export holds, in the glossary's order."""
        there = {column.quantity for column in self.columns}
        return tuple(name for name in QUANTITIES if name in there)

    def with_order(self, order: Order) -> Layout:
        """Return the layout with day or month first decided."""
        return replace(self, time=replace(self.time, style=replace(self.time.style, order=order)))

    def describe(self) -> list[str]:
        """Return in words, a line each, what was taken for what."""
        names = self.dialect.names
        lines = [f"layout: {self.dialect.describe()}, {self.encoding}"]
        places = " and ".join(repr(names[k]) for k in self.time.indices)
        lines.append(f"time: {places}, {self.time.style.describe()}")
        for column in self.columns:
            comma = ", decimal comma" if column.decimal == "," else ""
            lines.append(f"{column.quantity}: {names[column.index]!r} in {column.unit.symbol}{comma}")
        return lines


def find_layout(source: Source, wishes: Wishes) -> Layout:
    """Recognise an export from its beginning, as far as nothing else is stated.

    Raises
    ------
    InputError
        If there is no table, no time or no quantity in it, or a stated column is missing.
    """
    head = source.head()
    encoding = wishes.encoding or find_encoding(head, source.name)
    dialect = find_dialect(
        _head_text(head, encoding, source.name),
        name=source.name,
        delimiter=DELIMITERS.get(wishes.delimiter or ""),
        header_line=wishes.header_line,
    )
    profile = wishes.profile
    said: list[str] = []
    if profile is not None and profile.quantities:
        columns = [_stated(dialect, quantity, entry, source.name) for quantity, entry in profile.quantities.items()]
    else:
        columns, said = _recognised(dialect, source.name)
    columns = [replace(c, decimal=_decimal(dialect, c, wishes.decimal, source.name)) for c in columns]
    time = _time_plan(dialect, wishes, source.name)
    ac = looks_ac(dialect.names, [c.quantity for c in columns])
    return Layout(source.name, encoding, dialect, time, tuple(columns), ac, tuple(said))


def _head_text(head: bytes, encoding: str, name: str) -> str:
    try:
        text = head.decode(encoding, errors="replace")
    except LookupError:
        raise InputError(f"{name}: encoding {encoding!r} is not known; utf-8, utf-16, latin-1 and cp1252 are") from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    # the last line of a long head was cut by us, that of a short file perhaps by a power cut; a row or two are enough
    whole = text[: text.rfind("\n")] if text.count("\n") > 2 else text  # noqa: PLR2004
    return whole.replace("\x00", "")


def _recognised(dialect: Dialect, name: str) -> tuple[list[ColumnPlan], list[str]]:
    units = dialect.units or ("",) * len(dialect.names)
    if not dialect.header_line:
        raise InputError(f"{name}: has no header that says what its columns are; say so in a profile (--profile, see README)")
    try:
        chosen, said = choose(dialect.names, units)
    except InputError as error:
        raise InputError(f"{name}, line {dialect.header_line}, {error}") from None
    if not chosen:
        words = ", ".join(repr(word) for word in dialect.names if word)
        raise InputError(f"{name}, line {dialect.header_line}: none of the columns {words} is a quantity I know; name them in a profile")
    return [ColumnPlan(quantity, index, unit) for quantity, (index, unit) in chosen.items()], said


def _stated(dialect: Dialect, quantity: str, entry: ColumnEntry, name: str) -> ColumnPlan:
    index = find_column(dialect, entry.column, f"quantities.{quantity}.column", name)
    directions = None
    if entry.direction is not None:
        at = find_column(dialect, entry.direction.column, f"quantities.{quantity}.direction.column", name)
        directions = Directions(
            at, frozenset(entry.direction.draw), frozenset(entry.direction.returned), frozenset(entry.direction.none)
        )
    unit = unit_of(quantity, entry.unit, column=dialect.names[index])
    sign = -1.0 if entry.sign == "return_positive" else 1.0
    return ColumnPlan(quantity, index, unit, scale=entry.scale * sign, offset=entry.offset * sign, directions=directions)


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
    for candidates in (words, [word.lower() for word in words]):
        wanted = place.strip() if candidates is words else place.strip().lower()
        if wanted in candidates:
            return candidates.index(wanted)
    there = ", ".join(repr(word) for word in words if word)
    raise InputError(f"{name}: the profile's {key} is {place!r}, but the header has {there}")


def _decimal(dialect: Dialect, column: ColumnPlan, stated: str | None, name: str) -> str:
    if stated is not None:
        return {"comma": ",", "point": "."}[stated]
    try:
        return find_decimal(
            dialect.column(column.index), delimiter=dialect.delimiter, column=dialect.names[column.index]
        )
    except InputError as error:
        raise InputError(f"{name}, {error}") from None


def _time_plan(dialect: Dialect, wishes: Wishes, name: str) -> TimePlan:
    stated = wishes.profile.time if wishes.profile is not None else None
    if stated is None:
        plan = _find_time(dialect, name)
    else:
        places = [("column", stated.column), ("date", stated.date), ("clock", stated.clock)]
        indices = tuple(find_column(dialect, p, f"time.{key}", name) for key, p in places if p is not None)
        plan = TimePlan(indices, _stated_style(dialect, indices, stated.style, name))
    style = plan.style
    if wishes.dates is not None and style.kind == "calendar" and style.order != "y-m-d":
        plan = replace(plan, style=replace(style, order=wishes.dates))
    return plan


def _stated_style(dialect: Dialect, indices: tuple[int, ...], stated: str | None, name: str) -> Style:
    cells = joined_cells(dialect, indices)
    found = find_style(cells, header="time " + " ".join(dialect.names[k] for k in indices))
    if stated is None:
        if found is None:
            raise InputError(f"{name}: the cells of {dialect.names[indices[0]]!r} ({cells[0] if cells else 'empty'}) are no time I know; state time.style in the profile")
        return found
    kind, _, unit = stated.partition(" ")
    if kind in ("epoch", "elapsed"):
        return Style(kind, unit=unit)  # type: ignore[arg-type]
    return Style("calendar", stated, zoned=bool(found and found.zoned))  # type: ignore[arg-type]


def joined_cells(dialect: Dialect, indices: Sequence[int]) -> list[str]:
    """Return the sample's cells of the time column, or of date and clock joined by a blank."""
    return [cell for row in dialect.sample if (cell := " ".join(row[k] for k in indices).strip())]


def _find_time(dialect: Dialect, name: str) -> TimePlan:
    """Choose the time: a full date and clock before an epoch, that before elapsed time; the plainer name first."""
    units = dialect.units or ("",) * len(dialect.names)
    ranked: list[tuple[int, int, TimePlan]] = []
    dates, clocks = [], []
    for index, word in enumerate(dialect.names):
        cells = dialect.column(index)
        if not cells or (len(cells) > 2 and len(set(cells)) == 1 and not is_date_only(cells[0])):  # noqa: PLR2004
            continue
        if all(map(is_date_only, cells)):
            dates.append(index)
        elif all(map(is_clock_only, cells)):
            clocks.append(index)
        style = find_style(cells, header=f"{word} {units[index]}")
        if style is not None and not all(map(is_date_only, cells)):
            rank = {"calendar": 0, "epoch": 2, "elapsed": 3}[style.kind]
            ranked.append((rank, _time_strangeness(word), TimePlan((index,), style)))
    if dates and clocks:
        pair = (dates[0], clocks[0])
        if (style := find_style(joined_cells(dialect, pair))) is not None:
            ranked.append((1, 0, TimePlan(pair, style)))
    elif dates:
        style = find_style(dialect.column(dates[0]))
        ranked += [(4, 0, TimePlan((dates[0],), style))] if style else []
    if not ranked:
        words = ", ".join(repr(word) for word in dialect.names if word)
        raise InputError(f"{name}: none of the columns {words} holds times; say which does in a profile ([time] column = …)")
    return min(ranked, key=lambda item: item[:2])[2]


def _time_strangeness(word: str) -> int:
    return sum(1 for part in word.lower().replace("_", " ").split() if part.strip("[]()") not in _TIME_WORDS)
