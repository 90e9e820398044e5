"""Blocks of lines to readings, with every row that cannot be read kept beside, its line number and the reason."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ...errors import InputError, placed, quoted
from ...log.arrow import flat, strings
from ...log.log import Readings
from ...quantities import scaled
from ...safe_files.rejects import Reject
from ...zone import NO_TIME
from ..amounts.around import Around
from ..amounts.closing_row import ClosingRow
from ..amounts.numbers import NULLS, first_doubtful, kinds_of, over_range, says_point, to_numbers
from ..texts.block_rows import BlockRows, shown
from ..texts.decode import Block
from ..times.instants import parse
from ..times.marked_halves import lost_marks, marks_halves
from .dialect import split_line
from .directions import question_of, question_of_sign, way_of
from .plan import ColumnPlan, Layout, in_canonical, one_less_other
from .time_columns import joined_cells

if TYPE_CHECKING:
    from ..times.second_clock import SecondClock

#: A date, year first, that can only have the day ahead of the month.
_DAY_AHEAD = re.compile(r"\d{4}[-/. ](1[3-9]|[23]\d)[-/. ](0?\d|1[0-2])\b")
#: Names of columns that may be another clock, at a first glance.
_CLOCK_NAME = re.compile(r"(?i)time|elapsed|utc|local|millis|epoch|unix|sec|min|zeit|temps|[(\[_ ]m?s\b")
#: So many are no slips: common practice, no source.
_SOME = 3
_BLANK, _EMPTY = strings([" ", ""])
ToUtc = Callable[[NDArray[np.int64]], NDArray[np.int64]]


@dataclass
class RowBatch:
    """The readings of a block, in the order they were written, and what was left out.

    ``headers`` holds, for each header that came again, how many of the readings stand above it. ``torn`` is 1 where a
    last line without a line end was left out: it is among the rejects, but speaks for nothing but itself.
    """

    readings: Readings
    rejects: list[Reject] = field(default_factory=list)
    headers: list[int] = field(default_factory=list)
    torn: int = 0


class RowReader:
    """Reads the rows of one export.

    `to_utc` takes its stamps in the order they were written, and gives `NO_TIME` where a clock time never was.
    """

    def __init__(self, layout: Layout, to_utc: ToUtc) -> None:
        self._layout = layout
        self._to_utc = to_utc
        self._needed = layout.indices
        self._names = [str(k) for k in range(len(layout.dialect.names))]
        #: Columns without a mark in the sample that have shown since that they write decimal points.
        self._with_points: set[int] = set()
        self._is_signed = False
        self._closing = ClosingRow()
        names = layout.dialect.names
        #: What was met among the readings so far.
        self.around = Around(layout.name, {column.quantity: names[column.index] for column in layout.columns})

        self._has_halves = marks_halves(joined_cells(layout.dialect, layout.time.indices), layout.time.style)
        self._second = self._second_clock()
        self._at_odds: str | None = None
        if self._second is not None:
            self._needed = sorted({*self._needed, self._second.index})

    def _second_clock(self) -> SecondClock | None:
        dialect = self._layout.dialect
        free = [k for k, name in enumerate(dialect.names) if k not in self._needed and _CLOCK_NAME.search(name)]
        if not free:
            return None
        from ..times.second_clock import second_clock  # most rows hold one clock

        return second_clock(dialect.names, {k: dialect.column(k) for k in free})

    def sentences(self) -> list[str]:
        """Return what was met among the rows so far and must be known before relying on any amount."""
        return [*self.around.sentences(), *([self._at_odds] if self._at_odds else [])]

    def _look_at_second(self, time_us: NDArray[np.int64], table: pa.Table, rows: BlockRows) -> None:
        """Note from where on another clock in the rows does not go with the first."""
        if self._second is None or self._second.is_over:
            return
        if (at := self._second.first_apart(time_us, flat(table.column(str(self._second.index))))) is not None:
            names, columns = self._layout.dialect.names, self._layout.time.indices
            own, place = (
                " and ".join(quoted(names[k]) for k in columns),
                f"{self._layout.name}, line {rows.line_of(at)}",
            )
            self._at_odds = self._second.at_odds(own, quoted(names[self._second.index]), place)

    def read(self, block: Block) -> RowBatch:
        """Read a block's rows."""
        # Preamble and header stand before the first line of the readings, at most in a few blocks.
        skip = max(self._layout.dialect.first_line - block.first_line, 0)
        text = block.text
        for _ in range(skip):
            text = text[text.find(b"\n") + 1 :] if b"\n" in text else b""
        delimiter = self._layout.dialect.delimiter
        rows = BlockRows(text, block.first_line + skip, name=self._layout.name, delimiter=delimiter)
        batch = RowBatch(Readings(np.empty(0, np.int64), {q: np.empty(0) for q in self._layout.quantities}))
        if block.unfinished and (why := self._cut_short(text)):
            batch.rejects.append(Reject(self._layout.name, block.first_line, why, shown(text)))
            batch.torn = 1
            return batch
        if not text or text.isspace():
            return batch
        table = rows.parse(self._names, self._needed)
        if table is not None and table.num_rows:
            self._convert(table, rows, batch)
        batch.rejects += rows.rejects()
        batch.rejects.sort(key=lambda reject: reject.line)
        return batch

    def _convert(self, table: pa.Table, rows: BlockRows, batch: RowBatch) -> None:
        stamps = self._stamps(table)
        time_us = parse(stamps, self._layout.time.style)
        # Only real stamps go to the clock, which goes by their order: a damaged one would look like a step back.
        known = time_us != NO_TIME
        if known.all():
            time_us = self._to_utc(time_us)
        else:
            time_us = time_us.copy()
            time_us[known] = self._to_utc(time_us[known])
        self._look_at_second(time_us, table, rows)
        reasons = self._without_half(stamps, known, rows)
        for k in np.flatnonzero(time_us == NO_TIME).tolist():
            reasons[k] = self._why_no_time(stamps[k].as_py(), parsed=bool(known[k]))
        self._refuse_days_ahead([stamps[k].as_py() for k in reasons])
        quantities = {}
        for column in self._layout.columns:
            self._refuse_doubtful(column, table, rows)
            quantities[column.quantity] = self._quantity(column, table, rows, reasons)
        self._watch(table, rows, quantities)
        for k, why in self.around.changed(quantities, rows.line_of, rows.first_line).items():
            reasons.setdefault(k, why)
        self._without_reading(quantities, reasons)
        if self._closing.closes(quantities):
            reasons[len(time_us) - 1] = "holds the sums of the rows above it, and is no reading"
        # A header that comes again, where exports were put behind one another, is no damage.
        headers = {k for k in reasons if self._is_header(stamps[k].as_py())}
        for k in sorted(reasons.keys() - headers):
            rows.reject_parsed(k, reasons[k])
        keep = np.ones(len(time_us), dtype=bool)
        keep[list(reasons)] = False
        batch.headers = [int(np.count_nonzero(keep[:k])) for k in sorted(headers)]
        ordered = {q: quantities[q] if keep.all() else quantities[q][keep] for q in self._layout.quantities}
        batch.readings = Readings(time_us if keep.all() else time_us[keep], ordered)

    def _without_half(self, stamps: pa.Array, known: NDArray[np.bool_], rows: BlockRows) -> dict[int, str]:
        """Return why rows are rejected whose clock has lost its AM or PM, and stop where several have."""
        lost = np.flatnonzero(known & lost_marks(stamps, self._layout.time.style)).tolist() if self._has_halves else []
        if len(lost) >= _SOME:
            raise InputError(
                f"{self._layout.name}, line {rows.line_of(lost[0])}: the time {quoted(stamps[lost[0]].as_py())} has no "
                "AM or PM, as others have, so it may be of the morning or of the afternoon (or of a clock of "
                "24 hours); export it with one clock, or part the file there"
            )
        return {k: f"found {quoted(stamps[k].as_py())}, expected a time with AM or PM" for k in lost}

    def _stamps(self, table: pa.Table) -> pa.Array:
        columns = [_cells(table, k) for k in self._layout.time.indices]
        return columns[0] if len(columns) == 1 else pc.binary_join_element_wise(*columns, _BLANK)

    def _quantity(
        self, plan: ColumnPlan, table: pa.Table, rows: BlockRows, reasons: dict[int, str]
    ) -> NDArray[np.float64]:
        x = self._numbers(plan, plan.index, table, rows, reasons)
        if plan.minus is not None:
            less = self._numbers(plan, plan.minus, table, rows, reasons)
            x = one_less_other(x, less)
        with np.errstate(over="ignore"):
            units = None if plan.units_at is None else _cells(table, plan.units_at)
            y = in_canonical(plan, scaled(x, plan.scale, plan.offset), units)
            if units is not None:
                self._refuse_unknown_units(np.isnan(y) & ~np.isnan(x), plan, units, reasons)
            x = y
        # Where each cell has a unit of its own, cells of another are written otherwise and are no damage.
        by_row = plan.minus is not None or plan.units_at is not None or bool(plan.form.suffix)
        cells = None if by_row else _cells(table, plan.index)
        # A sum is far from all others, too.
        self._closing.last[plan.quantity] = float(x[-1])
        for k, why in self.around.damaged(x, plan.quantity, cells).items():
            reasons.setdefault(k, f"column {quoted(self._layout.dialect.names[plan.index])}: {why}")
            x[k] = np.nan
        return x if plan.directions is None else self._signed(x, plan, table, reasons)

    def _numbers(
        self, plan: ColumnPlan, index: int, table: pa.Table, rows: BlockRows, reasons: dict[int, str]
    ) -> NDArray[np.float64]:
        cells = _cells(table, index)
        numbers = to_numbers(cells, plan.form)
        name = self._layout.dialect.names[index]
        for k in np.flatnonzero(numbers.bad).tolist():
            cell = cells[k].as_py()
            hint = " (is its comma a decimal mark? then say --decimal comma)" if "," in cell else ""
            why = over_range(cell, k, numbers.values) or f"found {quoted(cell)}, expected a number{hint}"
            reasons.setdefault(k, f"column {quoted(name)}: {why}")
        if plan.units_at is not None:
            return numbers.values
        return self.around.as_written(numbers.values, index, plan.quantity, name, rows.line_of)

    def _watch(self, table: pa.Table, rows: BlockRows, quantities: dict[str, NDArray[np.float64]]) -> None:
        """Stop where a column begins to say which way a current flows that had no sign, or names another meter."""
        flow = quantities.get("current_A", quantities.get("power_W", np.empty(0)))
        for column in self._layout.watched:
            kinds, inverse = kinds_of(_cells(table, column.index))
            self._is_signed = self._is_signed or bool((flow < 0).any())
            # It may have a sign of its own by now, which the words may contradict.
            if not column.meter and self._is_signed:
                question = question_of_sign(column, kinds, inverse, flow)
                if question is not None:
                    raise question.asked.at(f"{self._layout.name}, line {rows.line_of(question.row)}, ")
                continue
            for k, word in enumerate(kinds):
                # A name or two that no other row has are damaged.
                if column.meter and np.count_nonzero(inverse == k) < 3:
                    continue
                if (error := question_of(column, word)) is not None:
                    line = rows.line_of(int(np.flatnonzero(inverse == k)[0]))
                    raise placed(error, f"{self._layout.name}, line {line}, ")

    def _refuse_doubtful(self, plan: ColumnPlan, table: pa.Table, rows: BlockRows) -> None:
        """Stop at a mark that could be a decimal or group thousands, where the column had none so far."""
        if not plan.form.open:
            return
        columns = {plan.index, plan.index if plan.minus is None else plan.minus}
        for index in columns - self._with_points:
            cells = _cells(table, index)
            if (at := first_doubtful(cells, plan.form)) is not None:
                from ..questions.columns import decimal_mark

                question = decimal_mark(self._layout.dialect.names[index], cells[at].as_py())
                raise question.at(f"{self._layout.name}, line {rows.line_of(at)}, ")
            if says_point(cells):
                self._with_points.add(index)

    def _refuse_unknown_units(
        self, bad: NDArray[np.bool_], plan: ColumnPlan, units: pa.Array, reasons: dict[int, str]
    ) -> None:
        name = self._layout.dialect.names[plan.units_at or 0]
        for k in np.flatnonzero(bad).tolist():
            word = units[k].as_py() or ""
            reasons.setdefault(k, f"column {quoted(name)}: {quoted(word)} is no unit of {plan.unit.dimension}")

    def _signed(
        self, x: NDArray[np.float64], plan: ColumnPlan, table: pa.Table, reasons: dict[int, str]
    ) -> NDArray[np.float64]:
        """Give an unsigned reading the sign its direction letter says."""
        assert plan.directions is not None  # only called with directions
        cells = pc.coalesce(pc.utf8_trim_whitespace(_cells(table, plan.directions.index)), _EMPTY)
        kinds, inverse = kinds_of(cells)
        ways = ((plan.directions.none, 0.0), (plan.directions.returned, -1.0), (plan.directions.draw, 1.0))
        # a letter that stands for "nothing" elsewhere, such as a hyphen, has become an empty cell
        sign = {"" if letter in NULLS else letter: way for letters, way in ways for letter in letters}
        if plan.directions.recognised:
            known = {"draw": 1.0, "return": -1.0}
            sign |= {kind: known.get(way_of(kind) or "", sign.get(kind.lower(), np.nan)) for kind in kinds}
        factor = np.array([sign.get(letter, np.nan) for letter in kinds], dtype=np.float64)[inverse]
        name = self._layout.dialect.names[plan.directions.index]
        whose = "the words known for" if plan.directions.recognised else "the profile's"
        for k in np.flatnonzero(np.isnan(factor)).tolist():
            reasons.setdefault(
                k, f"column {quoted(name)}: {quoted(kinds[inverse[k]])} is none of {whose} draw, return and none"
            )
        return np.asarray(np.abs(x) * factor + 0.0)  # no negative zeros

    @staticmethod
    def _without_reading(quantities: dict[str, NDArray[np.float64]], reasons: dict[int, str]) -> None:
        empty = np.logical_and.reduce([np.isnan(x) for x in quantities.values()])
        for k in np.flatnonzero(empty).tolist():
            reasons.setdefault(k, "no reading in any column")

    def _why_no_time(self, cell: str | None, *, parsed: bool) -> str:
        names = " and ".join(quoted(self._layout.dialect.names[k]) for k in self._layout.time.indices)
        if not cell:
            return f"column {names}: no time"
        if parsed:
            return f"column {names}: {quoted(cell)} never was on the clocks of this zone (they went forward)"
        return f"column {names}: found {quoted(cell)}, expected {self._layout.time.style.describe()}"

    def _refuse_days_ahead(self, cells: list[str | None]) -> None:
        """Ask where rows can only have the day ahead of the month: the order came from rows that left it open."""
        ahead = (
            [cell for cell in cells if cell and _DAY_AHEAD.match(cell)] if self._layout.time.may_be_day_first else []
        )
        if len(ahead) >= _SOME:
            from ..questions.times import day_ahead

            raise day_ahead(self._layout.name, quoted(ahead[0]))

    def _is_header(self, stamp: str | None) -> bool:
        dialect = self._layout.dialect
        for cells in (dialect.names if dialect.header_line else (), dialect.units):
            if cells and (stamp or "").strip() == " ".join(cells[k] for k in self._layout.time.indices).strip():
                return True
        return False

    def _cut_short(self, text: bytes) -> str | None:
        """Return why a last line without a line end is not trusted; None where it is surely whole."""
        dialect = self._layout.dialect
        cells = split_line(text.decode(errors="replace"), dialect.delimiter)
        why = "the last line has no line end and may have been cut short"
        if len(cells) != len(dialect.names):
            return why
        if text.rstrip().endswith(b'"'):
            return None  # a closing quote
        last = cells[-1].strip()
        seen = [row[-1] for row in dialect.sample]
        # A last column that the sample leaves empty says nothing about how long its cells are.
        if not any(seen):
            return None
        return None if last and _is_whole(last, seen) else why


def _cells(table: pa.Table, index: int) -> pa.Array:
    return flat(table.column(str(index)))


def _is_whole(last: str, seen: list[str]) -> bool:
    """Tell whether a cell is surely uncut: as many decimals as the column ever has, and no shorter than usual."""
    decimals = [_decimals(cell) for cell in seen]
    if _decimals(last) < max(decimals):
        return False
    return max(decimals) > 0 or len(last) >= min(len(cell) for cell in seen if cell)


def _decimals(cell: str) -> int:
    for mark in ".,":
        if mark in cell:
            return len(cell) - cell.rfind(mark) - 1
    return 0
