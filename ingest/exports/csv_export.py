"""The adapter for CSV exports: one file or several, in order, to readings in canonical quantities."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.exports.delimited.decode import Source, blocks
from shuntbook.ingest.exports.delimited.instants import parse
from shuntbook.ingest.exports.delimited.layout import find_layout
from shuntbook.ingest.exports.delimited.plan import Layout, Wishes
from shuntbook.ingest.exports.delimited.rows import RowBatch, RowReader
from shuntbook.ingest.exports.delimited.stamp_patterns import DateOrder
from shuntbook.ingest.exports.delimited.stamps import HighestNumbers, highest_numbers, possible_orders
from shuntbook.ingest.exports.delimited.time_columns import joined_cells
from shuntbook.ingest.log.arrow import strings
from shuntbook.ingest.safe_files.ahead import ahead
from shuntbook.ingest.zone import NO_TIME, LocalClock, zone_named

_DAY_US = 86_400_000_000
_ORDER_WORDS: dict[DateOrder, str] = {"d/m/y": "day/month/year", "m/d/y": "month/day/year", "y-m-d": "year-month-day"}


@dataclass
class StampClock:
    """Turns a source's stamps into UTC: by a zone, from a start, or not at all.

    A clock of hours, minutes and seconds without a date that falls from the end of a day to its beginning has passed
    midnight: a day is added from there on.
    """

    local: LocalClock | None
    start_us: int
    wraps: bool
    _days_us: int = 0
    _last_us: int | None = None

    def to_utc(self, time_us: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return UTC; shape (n,) [us]."""
        if self.local is not None:
            return self.local.to_utc(time_us)
        if self.wraps and len(time_us):
            before = np.concatenate([[time_us[0] if self._last_us is None else self._last_us], time_us[:-1]])
            midnights = (before - time_us > _DAY_US * 9 // 10) & (before <= _DAY_US)
            self._last_us = int(time_us[-1])
            days = self._days_us + np.cumsum(midnights) * _DAY_US
            self._days_us = int(days[-1])
            time_us = time_us + days
        return time_us + self.start_us


class CsvExport:
    """One meter's export in delimited text.

    Parameters
    ----------
    sources : sequence of Source
        The files, in order; all must hold the same quantities.
    wishes : Wishes
        What is stated about them.
    zone : str
        The zone of stamps without an offset, an IANA name.
    start : datetime, optional
        When elapsed time began; without it the log is undated.

    Raises
    ------
    InputError
        If a file is no such export, or what it is cannot be decided.
    """

    def __init__(self, sources: Sequence[Source], wishes: Wishes, *, zone: str, start: datetime | None) -> None:
        self.sources = list(sources)
        self.layouts = _with_orders([find_layout(source, wishes) for source in self.sources], self.sources)
        first = self.layouts[0]
        for layout in self.layouts[1:]:
            if layout.quantities != first.quantities:
                raise InputError(f"{layout.name}: holds other columns than {first.name}; convert them one at a time")
            if _kind(layout) != _kind(first):
                raise InputError(
                    f"{layout.name}: tells the time in another way than {first.name}; convert them one at a time"
                )
        style = first.time.style
        self.undated = style.kind == "elapsed" and start is None
        by_zone = style.kind == "calendar" and not style.zoned
        self.needs_zone = by_zone or (style.kind == "elapsed" and start is not None and start.tzinfo is None)
        local = LocalClock(zone_named(zone, what="--zone"), newest_first=_is_newest_first(first)) if by_zone else None
        start_us = _start_us(start, zone) if style.kind == "elapsed" and start is not None else 0
        self.clock = StampClock(local, start_us, wraps=style.unit == "h:m:s")

    #: A table holds no notes.
    markers: Sequence[tuple[int, str]] = ()

    @property
    def quantities(self) -> tuple[str, ...]:
        """The quantities it holds."""
        return self.layouts[0].quantities

    def batches(self) -> Iterator[RowBatch]:
        """Yield the readings in the order they were written, and the rows that could not be read."""
        for source, layout in zip(self.sources, self.layouts, strict=True):
            reader = RowReader(layout, self.clock.to_utc)
            for block in ahead(blocks(source, layout.encoding)):
                yield reader.read(block)


def _kind(layout: Layout) -> tuple[str, bool, bool]:
    style = layout.time.style
    return style.kind, style.zoned, style.unit == "h:m:s"


def _is_newest_first(layout: Layout) -> bool:
    time_us = parse(strings(joined_cells(layout.dialect, layout.time.indices)), layout.time.style)
    steps = np.diff(time_us[time_us != NO_TIME])
    return bool((steps < 0).sum() > (steps > 0).sum())


def _start_us(start: datetime, zone: str) -> int:
    if start.tzinfo is None:
        start = start.replace(tzinfo=zone_named(zone, what="--zone"))
    delta = start - datetime(1970, 1, 1, tzinfo=UTC)
    return (delta.days * 86_400 + delta.seconds) * 1_000_000 + delta.microseconds


def _with_orders(layouts: list[Layout], sources: list[Source]) -> list[Layout]:
    """Decide between day and month first from all rows of all files, where their beginnings leave it open."""
    open_ = [k for k, layout in enumerate(layouts) if _is_open(layout)]
    if not open_:
        return layouts
    decided = {layout.time.style.order for k, layout in enumerate(layouts) if k not in open_}
    order: DateOrder | None = decided.pop() if len(decided) == 1 else None
    if order is None:
        order = _order_of_rows([(layouts[k], sources[k]) for k in open_])
    return [layout.with_order(order) if k in open_ else layout for k, layout in enumerate(layouts)]


def _is_open(layout: Layout) -> bool:
    return layout.time.style.kind == "calendar" and layout.time.style.order is None


def _order_of_rows(files: list[tuple[Layout, Source]]) -> DateOrder:
    highest = HighestNumbers()
    for layout, source in files:
        for cells in _first_cells(layout, source):
            highest = highest.with_(highest_numbers(cells))
    orders = possible_orders(highest)
    if len(orders) == 1:
        return orders[0]
    layout = files[0][0]
    if not orders:
        raise InputError(
            f"{layout.name}: its dates follow no one order of day, month and year; say --dates d/m/y, m/d/y or y-m-d"
        )
    cell = layout.dialect.column(layout.time.indices[0])[0]
    could, options = " or ".join(_ORDER_WORDS[o] for o in orders), " or ".join(f"--dates {o}" for o in orders)
    raise InputError(f"{layout.name}: dates such as {cell!r} could be {could} and no row decides it; say {options}")


def _first_cells(layout: Layout, source: Source) -> Iterator[pa.Array]:
    """Yield the column that holds the dates, as it is written."""
    index = layout.time.indices[0]
    for block in blocks(source, layout.encoding):
        yield strings(_nth_cells(block.text, layout.dialect.delimiter, index))


def _nth_cells(text: bytes, delimiter: str, index: int) -> list[str]:
    mark = delimiter.encode()
    cells = []
    for line in text.split(b"\n"):
        parts = line.split(mark, index + 1)
        if len(parts) > index:
            cells.append(parts[index].strip(b' "').decode(errors="replace"))
    return cells
