"""What is wished for and what was decided about an export: which column is what, and how it is read."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from shuntbook.ingest.errors import quoted
from shuntbook.ingest.quantities import QUANTITIES, Unit

from .dialect import Dialect
from .numbers import NumberForm
from .stamp_patterns import DateOrder
from .stamps import Style

if TYPE_CHECKING:
    from shuntbook.ingest.profiles.model import Profile


@dataclass(frozen=True)
class Wishes:
    """What the person or a profile states about an export; None leaves it to be recognised.

    ``started`` says whether a beginning of elapsed time is stated.
    """

    profile: Profile | None = None
    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    header_line: int | None = None
    dates: DateOrder | None = None
    side: str | None = None
    sampling: str | None = None
    started: bool = False


@dataclass(frozen=True)
class Directions:
    """The column of letters that gives an unsigned current its sign."""

    index: int
    draw: frozenset[str]
    returned: frozenset[str]
    none: frozenset[str]

    def describe(self, names: tuple[str, ...]) -> str:
        """Return in words which letters mean what."""
        ways = (("draw", self.draw), ("return", self.returned), ("none", self.none))
        said = [f"{word} {' or '.join(map(repr, sorted(letters)))}" for word, letters in ways if letters]
        return f"direction by {quoted(names[self.index])} ({', '.join(said)})"


@dataclass(frozen=True)
class ColumnPlan:
    """How one column becomes one quantity.

    ``minus`` is the index of a column that is taken off. ``turned`` says that ``scale`` and ``offset`` carry a turned
    sign, since the source counts return as positive.
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

    @property
    def decimal(self) -> str:
        """The decimal mark."""
        return self.form.decimal

    @property
    def indices(self) -> set[int]:
        """The columns that it is made of."""
        more = {self.minus, self.directions.index if self.directions else None} - {None}
        return {self.index} | {index for index in more if index is not None}

    def describe(self, names: tuple[str, ...]) -> str:
        """Return in words how the column is read, in the order in which it is worked out."""
        sign = -1.0 if self.turned else 1.0
        scale, offset = sign * self.scale, sign * self.offset
        words = f"{quoted(names[self.index])}"
        words += f" less {quoted(names[self.minus])}" if self.minus is not None else ""
        words += f" in {self.unit.symbol}"
        words += f", times {scale:.10g}" if scale != 1.0 else ""
        words += f", {'plus' if offset > 0 else 'less'} {abs(offset):.10g}" if offset else ""
        words += ", sign turned (return is positive there)" if self.turned else ""
        words += f", {self.directions.describe(names)}" if self.directions else ""
        return words + (", decimal comma" if self.decimal == "," else "")


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

    @property
    def indices(self) -> list[int]:
        """The columns that are read."""
        return sorted({*self.time.indices}.union(*(column.indices for column in self.columns)))

    def with_order(self, order: DateOrder) -> Layout:
        """Return the layout with day or month first decided."""
        return replace(self, time=replace(self.time, style=replace(self.time.style, order=order)))

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
        lines = [f"layout: {self.dialect.describe()}, {self.encoding}"]
        places = " and ".join(quoted(names[k]) for k in self.time.indices)
        lines.append(f"time: {places}, {self.time.style.describe()}")
        lines += [f"{column.quantity}: {column.describe(names)}" for column in self.columns]
        unused = [quoted(name) for k, name in enumerate(names) if name and k not in self.indices]
        return lines + ([f"not used: {', '.join(unused)}"] if unused else [])
