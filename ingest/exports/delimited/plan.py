"""What is stated and what was decided about an export, its side, and what a person should look at twice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ...errors import quoted
from ...log.arrow import strings
from ...quantities import QUANTITIES, Unit
from ..amounts.numbers import NumberForm, kinds_of, like_unit, to_numbers
from ..times.stamps import DateOrder, Style, TimeStyle
from .dialect import Dialect
from .header import not_watts, stated_unit, words_of
from .header_words import AC, AC_ANYWHERE, AVERAGES, DC, NOT_WATTS, REQUIRED

if TYPE_CHECKING:
    from ...profiles.model import Profile


@dataclass(frozen=True)
class Stated:
    """What a person states about an export; None leaves it to the profile, and then to be recognised."""

    profile: Profile | None = None
    zone: str | None = None
    start: datetime | None = None
    dates: DateOrder | None = None
    times: TimeStyle | None = None
    decimal: str | None = None
    side: str | None = None
    sampling: str | None = None
    gap_s: float | None = None
    meter: str | None = None
    sheet: str | None = None
    reverse_sign: bool = False

    def filled(self) -> Stated:
        """Return it with the profile's words on decimal mark, sheet, side and sampling where the person said none."""
        if (profile := self.profile) is None:
            return self
        return replace(
            self,
            decimal=self.decimal or profile.file.decimal,
            sheet=self.sheet or profile.file.sheet,
            side=self.side or profile.side,
            sampling=self.sampling or profile.sampling,
        )


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
        return f"the unit of each cell ({self.unit.symbol} and others)" if self.form.ranges else self.unit.symbol


@dataclass(frozen=True)
class WatchedColumn:
    """A column that may yet say which way the current flows, the words seen in it, and the current's own name.

    ``named`` tells whether its own name speaks of a way or a state.
    """

    index: int
    seen: frozenset[str]
    name: str
    current: str
    named: bool


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


def ac_column(names: Sequence[str], units: Sequence[str], taken: Mapping[str, int]) -> str | None:
    """Return a column that speaks of alternating current; None where none does.

    RMS, a power factor, apparent and reactive power (VA, var) do, wherever they stand, and AC in the name of the
    current or voltage that is `taken` (its index by quantity), or of the power if it is alone; unless what is taken is
    the bank's, or DC, by its name. `units` are the units row's cells, empty where there is none.
    """
    own = {names[taken[quantity]] for quantity in REQUIRED if quantity in taken}
    # The name of what is taken is nearer than a word elsewhere: a meter at the bank may show an inverter's volts, too.
    if any(words_of(name) & DC for name in own):
        return None
    # Watts of the AC side beside amps of the bank are common; the amps are what is integrated.
    if len(own) > 1 and "power_W" in taken:
        own.discard(names[taken["power_W"]])
    if "power_factor" in taken:
        return names[taken["power_factor"]]
    for name, cell in zip(names, units or [""] * len(names), strict=True):
        words = words_of(name)
        if words & AC_ANYWHERE or not_watts(name, cell) or (name in own and words & AC):
            return name
    return None


def looks_ac(names: Sequence[str], quantities: Iterable[str]) -> bool:
    """Tell whether names that are all taken speak of alternating current."""
    return "power_factor" in set(quantities) or ac_column(names, (), {}) is not None


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


#: Above it a voltage is more likely an inverter's output than a bank's: mains are 100 V and more, most banks of small
#: places 48 V and less (common practice, no source). Only a remark hangs on it. [V]
HIGH_V = 100.0


def remarks(
    dialect: Dialect, time: TimePlan, columns: Iterable[ColumnPlan], stated: Stated, ac_column: str | None
) -> list[str]:
    """Return in sentences what was assumed and can be stated; nothing about what is stated already."""
    by_quantity = {plan.quantity: plan for plan in columns}
    return [
        *_about_side(dialect, by_quantity, stated, ac_column),
        *_about_averages(dialect, by_quantity, stated),
        *_about_units(dialect, by_quantity.values()),
        *_about_start(time, stated),
    ]


def _about_side(dialect: Dialect, columns: dict[str, ColumnPlan], stated: Stated, ac_column: str | None) -> list[str]:
    lines = []
    if stated.side is None and ac_column is not None:
        lines.append(
            f"column {quoted(ac_column)} speaks of alternating current: taken as a meter behind an inverter (side ac); "
            "if it sits at the bank, add --side dc"
        )
    elif stated.side is None and (voltage_V := _median(dialect, columns.get("voltage_V"))) > HIGH_V:
        lines.append(f"volts of about {round(voltage_V, -1):.0f}: if this meter sits behind an inverter, add --side ac")
    elif stated.side is None and "power_W" in columns and "current_A" not in columns:
        lines.append("watts only, taken as at the bank (side dc); behind an inverter add --side ac")
    is_ac = stated.side == "ac" or (stated.side is None and ac_column is not None)
    if is_ac and not _tells_energy(columns):
        lines.append(
            "behind an inverter volts times amps are VA, not W: without a column in W, or one of the power factor, "
            "no energy can be worked out"
        )
    return lines


def _tells_energy(columns: dict[str, ColumnPlan]) -> bool:
    return "power_W" in columns or {"voltage_V", "current_A", "power_factor"} <= columns.keys()


def _median(dialect: Dialect, plan: ColumnPlan | None) -> float:
    """Return the median size of the sample's readings in the canonical unit; 0 where there are none."""
    if plan is None:
        return 0.0
    x = to_numbers(strings(dialect.column(plan.index)), plan.form).values
    x = plan.unit.to_canonical(x[~np.isnan(x)] * plan.scale + plan.offset)
    # By hand: np.median would load numpy's masked arrays, which takes as long as to read a small export.
    return float(np.sort(np.abs(x))[len(x) // 2]) if len(x) else 0.0


def _about_averages(dialect: Dialect, columns: dict[str, ColumnPlan], stated: Stated) -> list[str]:
    if stated.sampling is not None:
        return []
    taken = [dialect.names[columns[q].index] for q in ("current_A", "voltage_V", "power_W") if q in columns]
    averages = [name for name in taken if words_of(name) & AVERAGES]
    if not averages:
        return []
    return [
        f"{' and '.join(map(repr, averages))}: if each reading is the average since the one before, add --sampling mean"
    ]


def unit_in_header(dialect: Dialect, index: int) -> Unit | None:
    """Return the unit that a column's name or the units row says; None where neither does, or they do not agree."""
    return stated_unit(dialect.names[index], dialect.units[index] if dialect.units else "")


def is_bare(dialect: Dialect, plan: ColumnPlan) -> bool:
    """Tell whether no unit stands in the header, the units row or the cells."""
    return not plan.form.suffix and plan.units_at is None and unit_in_header(dialect, plan.index) is None


def _about_units(dialect: Dialect, columns: Iterable[ColumnPlan]) -> list[str]:
    """Return a remark on each column whose name says another unit than it is taken in, where no scale is stated."""
    lines = []
    for plan in columns:
        for index in (plan.index, plan.minus):
            if index is None or abs(plan.scale) != 1.0:
                continue
            stated = unit_in_header(dialect, index)
            if stated is not None and _is_another(stated, plan.unit):
                lines.append(
                    f"{quoted(dialect.names[index])} is taken in {plan.unit.symbol}, "
                    f"but the header says {stated.symbol}: check the unit in the profile"
                )
    return lines


def _is_another(stated: Unit, taken: Unit) -> bool:
    like = stated.dimension == taken.dimension or (taken.dimension == "power" and stated.dimension in NOT_WATTS)
    return like and stated != taken


def _about_start(time: TimePlan, stated: Stated) -> list[str]:
    if stated.start is not None and time.style.kind != "elapsed":
        return ["the times say their dates themselves, so --start is not used"]
    if time.style.unit == "days" and stated.times is None:
        return ["day numbers are counted from 1900; if that spreadsheet counts from 1904, --times 'sheet days 1904'"]
    return []
