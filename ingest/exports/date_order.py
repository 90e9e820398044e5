"""The order of day, month and year from all rows, where the beginnings of the files leave it open."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ..log.arrow import strings
from .delimited.plan import Layout
from .texts.decode import Source, blocks
from .times.instants import rewritten
from .times.stamps import ORDER_WORDS, DateOrder, HighestNumbers, highest_numbers, possible_orders


def with_orders(layouts: list[Layout], sources: list[Source]) -> list[Layout]:
    """Decide between day and month first from all rows of all files, where their beginnings leave it open."""
    # The beginnings of two files may settle what a third leaves open: one meter wrote them all. Only where none does
    # are all rows read for it.
    open_ = [k for k, layout in enumerate(layouts) if layout.time.is_open]
    if not open_:
        return layouts
    decided = {layout.time.style.order for k, layout in enumerate(layouts) if k not in open_}
    order: DateOrder | None = decided.pop() if len(decided) == 1 else None
    if order is None:
        order = _order_of_rows([(layouts[k], sources[k]) for k in open_])
    return [layout.with_order(order) if k in open_ else layout for k, layout in enumerate(layouts)]


def _order_of_rows(files: list[tuple[Layout, Source]]) -> DateOrder:
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
        evidence = "its dates follow no one order of day, month and year"
        sentence = f"{layout.name}: {evidence}; say --dates d/m/y, m/d/y or y-m-d"
        from .questions.times import date_order

        raise date_order(evidence, sentence, {order: ORDER_WORDS[order] for order in ("d/m/y", "m/d/y", "y-m-d")})
    cell = layout.dialect.column(layout.time.indices[0])[0]
    could, options = " or ".join(ORDER_WORDS[o] for o in orders), " or ".join(f"--dates {o}" for o in orders)
    evidence = f"dates such as {cell!r} could be {could} and no row decides it"
    from .questions.times import date_order

    raise date_order(evidence, f"{layout.name}: {evidence}; say {options}", {o: ORDER_WORDS[o] for o in orders})


#: From the last row of a day to the first of the next one it takes no longer than this: common practice, no source. [s]
_OVER_MIDNIGHT_S = 2 * 3600.0


def refuse_months_for_days(
    before_us: NDArray[np.int64], after_us: NDArray[np.int64], zone: ZoneInfo | None, name: str
) -> None:
    """Ask where dates go on by a month over midnight: with the day ahead of the month it is the next day. [us]

    Raises
    ------
    InputError
        If they do.
    """
    for pair_us in zip(before_us.tolist(), after_us.tolist(), strict=True):
        earlier, later = (datetime.fromtimestamp(us / 1e6, tz=zone or UTC) for us in sorted(pair_us))
        months = (later.year - earlier.year) * 12 + later.month - earlier.month
        over_s = (
            (later.hour * 3600 + later.minute * 60 + later.second)
            + 86_400
            - (earlier.hour * 3600 + earlier.minute * 60 + earlier.second)
        )
        if later.day == earlier.day and months == 1 and over_s <= _OVER_MIDNIGHT_S:
            evidence = (
                f"its dates go on over midnight from {earlier:%Y-%m-%d %H:%M:%S} to {later:%Y-%m-%d %H:%M:%S}: "
                "a month later as year-month-day, the next day as year-day-month"
            )
            orders = {order: ORDER_WORDS[order] for order in ("y-d-m", "y-m-d")}
            from .questions.times import date_order

            raise date_order(evidence, f"{name}: {evidence}; say --dates y-d-m or --dates y-m-d", orders)


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
