"""The beginning of an export as an export of its own: what is asked of a sample need not wait for the whole file."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from ..errors import ReadAnew
from ..log.log import Readings
from ..zone import zone_of_computer
from .intake import CsvExport, opened, zone_stated
from .log_again import turned
from .texts.decode import Source

if TYPE_CHECKING:
    from .delimited.plan import Layout, LayoutDraft
    from .delimited.stated import Stated


def as_export(source: Source, stated: Stated, draft: LayoutDraft | None = None) -> CsvExport:
    """Return one file as an export; what is known of it where something is asked stands in the `draft`."""
    filled, zone = stated.filled(), zone_stated(stated) or zone_of_computer()
    return CsvExport([source], filled, zone=zone, start=stated.start, draft=draft)


def excerpt(source: Source, least_bytes: int = 0) -> Source:
    """Return the beginning of an export as an export of its own: what is looked at, or so many bytes if more."""
    head = source.head()
    if least_bytes > len(head):
        head, chunks = b"", source.chunks()
        while len(head) < least_bytes and (chunk := next(chunks, b"")):
            head += chunk
    part = Source(source.name, None, io.BytesIO(head))
    part.delimiter, part.remarks = source.delimiter, source.remarks
    # What was unpacked is packed no more, whatever its first bytes look like.
    part.compression, part.is_container = None, False
    return part


def _parts(export: CsvExport, stated: Stated, rows: int) -> list[Readings]:
    parts, count = [], 0
    for batch in export.batches():
        parts.append(turned(batch.readings) if stated.reverse_sign else batch.readings)
        count += len(batch.readings.time_us)
        if count >= rows:
            break
    return parts


#: Rows are seldom longer. [bytes]
_ROW_BYTES: Final = 40


def first_readings(name: str, stated: Stated, rows: int) -> tuple[Layout, Readings]:
    """Return what an export is taken for, and about so many of its first readings in order of time.

    Raises
    ------
    InputError
        If it cannot be read; a `Question` where something has to be answered first.
    """
    source = excerpt(opened(name, stated, most_lines=rows), rows * _ROW_BYTES)
    export = as_export(source, stated)
    layout = export.layouts[0]
    try:
        parts = _parts(export, stated, rows)
    except ReadAnew:
        parts = _parts(export, stated, rows)
    return layout, in_order_of_time(parts)


def in_order_of_time(parts: Sequence[Readings]) -> Readings:
    """Return parts of an export, all with the same quantities, as one stretch of readings in order of time."""
    if not parts:
        return Readings(np.empty(0, np.int64), {})
    # Of the rows of one instant the first: the order of the rows is not the order of time everywhere.
    time_us, order = np.unique(np.concatenate([part.time_us for part in parts]), return_index=True)
    columns = {q: np.concatenate([part.quantities[q] for part in parts])[order] for q in parts[0].quantities}
    return Readings(time_us, columns)
