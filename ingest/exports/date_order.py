"""The order of day, month and year from all rows, where the beginnings of the files leave it open."""

from __future__ import annotations

from collections.abc import Iterator

import pyarrow as pa

from ..errors import InputError
from ..log.arrow import strings
from .delimited.plan import Layout
from .texts.decode import Source, blocks
from .times.instants import rewritten
from .times.stamps import ORDER_WORDS, DateOrder, HighestNumbers, highest_numbers, possible_orders


def order_of_rows(files: list[tuple[Layout, Source]]) -> DateOrder:
    """Return the one order that no date of these files contradicts.

    Raises
    ------
    InputError
        If there are several, or none.
    """
    highest = HighestNumbers()
    for layout, source in files:
        for cells in _first_cells(layout, source):
            highest = highest.with_(highest_numbers(rewritten(cells, layout.time.style)))
    orders = possible_orders(highest)
    if len(orders) == 1:
        return orders[0]
    # 5 June or 6 May: a guess could move every reading by months, so the person is asked.
    layout = files[0][0]
    if not orders:
        raise InputError(
            f"{layout.name}: its dates follow no one order of day, month and year; say --dates d/m/y, m/d/y or y-m-d"
        )
    cell = layout.dialect.column(layout.time.indices[0])[0]
    could, options = " or ".join(ORDER_WORDS[o] for o in orders), " or ".join(f"--dates {o}" for o in orders)
    raise InputError(f"{layout.name}: dates such as {cell!r} could be {could} and no row decides it; say {options}")


def _first_cells(layout: Layout, source: Source) -> Iterator[pa.Array]:
    """Yield the column that holds the dates, as it is written."""
    index = layout.time.indices[0]
    for block in blocks(source, layout.encoding):
        yield strings(_nth_cells(block.text, layout.dialect.delimiter, index))


def _nth_cells(text: bytes, delimiter: str, index: int) -> list[str]:
    # By hand and not by Arrow: a damaged row must not stop the look at dates.
    mark = delimiter.encode()
    cells = []
    for line in text.split(b"\n"):
        parts = line.split(mark, index + 1)
        if len(parts) > index:
            cells.append(parts[index].strip(b' "').decode(errors="replace"))
    return cells
