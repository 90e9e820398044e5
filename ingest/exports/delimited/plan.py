"""What was decided about an export: which column is what, in which unit, form and sign, and where its time is."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ...errors import NamedColumn, quoted
from ...quantities import QUANTITIES, Unit
from ..amounts.numbers import NumberForm, kinds_of, like_unit
from ..times.stamps import DateOrder, StampKind, Style
from .dialect import Dialect
from .header import stated_unit


@dataclass(frozen=True)
class Directions:
    """The column of letters that gives an unsigned current its sign; ``recognised``: by words that are known."""

    index: int
    draw: frozenset[str]
    returned: frozenset[str]
    none: frozenset[str]
    recognised: bool = False

    def describe(self, names: tuple[str, ...]) -> str:
        """Return in words which letters mean what."""
        ways = (("draw", self.draw), ("return", self.returned), ("none", self.none))
        words = [f"{word} {' or '.join(map(repr, sorted(letters)))}" for word, letters in ways if letters]
        return f"direction by {quoted(names[self.index])} ({', '.join(words)})"


@dataclass(frozen=True)
class ColumnPlan:
    """How one column becomes one quantity.

    ``minus`` is the index of a column that is taken off, ``units_at`` that of one that says each row's unit. ``turned``
    says that ``scale`` and ``offset`` carry a turned sign, since the source counts return as positive.
    """

    quantity: str
    index: int
    unit: Unit
    form: NumberForm = field(default_factory=NumberForm)
    scale: float = 1.0
    offset: float = 0.0
    turned: bool = False
    directions: Directions | None = None
    minus: int | None = None
    units_at: int | None = None

    @property
    def decimal(self) -> str:
        """The decimal mark."""
        return self.form.decimal

    @property
    def indices(self) -> set[int]:
        """The columns that it is made of."""
        more = {self.minus, self.units_at, self.directions.index if self.directions else None} - {None}
        return {self.index} | {index for index in more if index is not None}

    def describe(self, names: tuple[str, ...]) -> str:
        """Return in words how the column is read, in the order in which it is worked out."""
        sign = -1.0 if self.turned else 1.0
        scale, offset = sign * self.scale, sign * self.offset
        words = f"{quoted(names[self.index])}"
        words += f" less {quoted(names[self.minus])}" if self.minus is not None else ""
        words += f" in {self._units(names)}"
        words += f", times {scale:.10g}" if scale != 1.0 else ""
        words += f", {'plus' if offset > 0 else 'less'} {abs(offset):.10g}" if offset else ""
        words += ", sign turned (return is positive there)" if self.turned else ""
        words += f", {self.directions.describe(names)}" if self.directions else ""
        return words + (", decimal comma" if self.decimal == "," else "")

    def _units(self, names: tuple[str, ...]) -> str:
        if self.units_at is not None:
            return f"the unit of {quoted(names[self.units_at])}"
        if self.form.prefixes:
            return f"{self.unit.symbol}, {' and '.join(sorted(self.form.prefixes))} in a cell as its prefix"
        return f"the unit of each cell ({self.unit.symbol} and others)" if self.form.ranges else self.unit.symbol


@dataclass(frozen=True)
class WatchedColumn:
    """A column that may yet say which way the current flows, the words seen in it, and the current's own name.

    ``named`` tells whether its own name speaks of a way or a state; ``meter`` that it names the meter instead;
    ``reverse`` that the person turns the sign. The words are ``seen`` in small letters; ``cells`` are as they stand.
    """

    index: int
    seen: frozenset[str]
    name: str
    current: NamedColumn
    named: bool
    meter: bool = False
    reverse: bool = False
    cells: frozenset[str] = frozenset()


@dataclass(frozen=True)
class TimePlan:
    """The column, or the date's and the clock's, that hold the time."""

    indices: tuple[int, ...]
    style: Style

    @property
    def is_open(self) -> bool:
        """Whether it is open which of a date's numbers is which."""
        return self.style.kind == "calendar" and self.style.order is None

    @property
    def may_be_day_first(self) -> bool:
        """Whether its dates, year first and with marks, could have the day ahead of the month."""
        return (self.style.kind, self.style.order, self.style.unit) == ("calendar", "y-m-d", "")

    @property
    def way(self) -> tuple[StampKind, bool, bool]:
        """What must be the same for rows to follow each other: kind, offsets, and whether it begins anew each day."""
        return self.style.kind, self.style.zoned, self.style.unit == "h:m:s"


@dataclass(frozen=True)
class Layout:
    """Everything needed to read the rows of one export."""

    name: str
    encoding: str
    dialect: Dialect
    time: TimePlan
    columns: tuple[ColumnPlan, ...]
    ac: bool
    remarks: tuple[str, ...] = field(default=())
    watched: tuple[WatchedColumn, ...] = ()

    @property
    def quantities(self) -> tuple[str, ...]:
        """The quantities the export holds, in the glossary's order."""
        names = {column.quantity for column in self.columns}
        return tuple(name for name in QUANTITIES if name in names)

    @property
    def indices(self) -> list[int]:
        """The columns that are read."""
        watched = {column.index for column in self.watched}
        return sorted({*self.time.indices, *watched}.union(*(column.indices for column in self.columns)))

    def with_order(self, order: DateOrder) -> Layout:
        """Return the layout with day or month first decided."""
        return replace(self, time=replace(self.time, style=replace(self.time.style, order=order)))

    def with_words_of(self, other: Layout) -> Layout:
        """Return the layout with words for a zone read as in `other`."""
        style = replace(self.time.style, zoned=True, offsets=other.time.style.offsets)
        return replace(self, time=replace(self.time, style=style)) if style.word and style.offsets else self

    def as_document(self) -> dict[str, Any]:
        """Return what was taken for what, for JSON."""
        names = self.dialect.names
        return {
            "dialect": {
                "encoding": self.encoding,
                "delimiter": self.dialect.delimiter,
                "header_line": self.dialect.header_line,
                "units_row": bool(self.dialect.units),
                "first_line": self.dialect.first_line,
                "decimal": {column.quantity: column.decimal for column in self.columns},
            },
            "quantities": [{"name": c.quantity, "column": names[c.index], "unit": c.unit.symbol} for c in self.columns],
            "time": {"columns": [names[k] for k in self.time.indices], "style": self.time.style.describe()},
        }

    def describe(self) -> list[str]:
        """Return in words, a line each, what was taken for what, and what was left out."""
        names = self.dialect.names
        places = " and ".join(quoted(names[k]) for k in self.time.indices)
        lines = [f"layout: {self.dialect.describe()}, {self.encoding}", f"time: {places}, {self.time.style.describe()}"]
        lines += [f"{column.quantity}: {column.describe(names)}" for column in self.columns]
        used = {*self.time.indices}.union(*(column.indices for column in self.columns))
        unused = [quoted(name) for k, name in enumerate(names) if name and k not in used]
        return lines + ([f"not used: {', '.join(unused)}"] if unused else [])


@dataclass
class LayoutDraft:
    """What is known of an export so far, while it is being recognised."""

    encoding: str = ""
    text: str = ""
    dialect: Dialect | None = None
    columns: list[ColumnPlan] = field(default_factory=list)
    time: TimePlan | None = None


Draft = LayoutDraft | None


def one_less_other(x: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return one way of a current less the other; NaN where neither was read."""
    return np.where(np.isnan(x) & np.isnan(other), np.nan, np.nan_to_num(x) - np.nan_to_num(other))


def in_canonical(plan: ColumnPlan, x: NDArray[np.float64], units: pa.Array | None) -> NDArray[np.float64]:
    """Return readings in the quantity's own unit, by the column's or each by its row's; NaN where that is none."""
    if units is None:
        return np.asarray(plan.unit.to_canonical(x))
    y = np.full(len(x), np.nan)
    kinds, inverse = kinds_of(units)
    for k, word in enumerate(kinds):
        if (unit := like_unit(word, plan.unit.symbol)) is not None:
            y[inverse == k] = unit.to_canonical(x[inverse == k])
    return y


def unit_in_header(dialect: Dialect, index: int) -> Unit | None:
    """Return the unit that a column's name or the units row says; None where neither does, or they do not agree."""
    return stated_unit(dialect.names[index], dialect.units[index] if dialect.units else "")


def named(dialect: Dialect, plan: ColumnPlan) -> NamedColumn:
    """Return the place and the name of a plan's column, as questions tell them."""
    return NamedColumn(plan.index + 1, dialect.names[plan.index], None if plan.minus is None else plan.minus + 1)


def is_bare(dialect: Dialect, plan: ColumnPlan) -> bool:
    """Tell whether no unit stands in the header, the units row or the cells."""
    return not plan.form.suffix and plan.units_at is None and unit_in_header(dialect, plan.index) is None
