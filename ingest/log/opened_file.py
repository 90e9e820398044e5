"""The files of a log: opened, found to be of one meter, and what their metadata does not say counted."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import pyarrow as pa
import pyarrow.parquet as pq

from ..errors import InputError
from ..quantities import QUANTITIES
from .arrow import integers, parquet_file
from .gap_limit import IntervalCount
from .log import DAMAGED, FILE_MARK, LEVELS, TIME_TYPE, level_of, readings_of, why_not
from .meta import METADATA_KEY, LogMeta, meta_from

#: What is the same in all files of one meter's log, and how it is called.
_OF_ONE_METER = {
    "meter": "meter", "side": "side", "sampling": "sampling", "counter_kind": "counter", "undated": "undated",
}  # fmt: skip


class OpenedFile(NamedTuple):
    """A file of a log, and what is known of it before its readings are read."""

    path: Path
    meta: LogMeta
    quantities: tuple[str, ...]
    first_us: int
    rows: int


def check_same_meter(first: OpenedFile, other: OpenedFile) -> None:
    """Stop where two files of a folder cannot be one log."""
    apart = [
        f"{word} {_shown(getattr(other.meta, name))}, not {_shown(getattr(first.meta, name))}"
        for name, word in _OF_ONE_METER.items()
        if getattr(other.meta, name) != getattr(first.meta, name)
    ]
    if set(other.quantities) != set(first.quantities):
        apart.append(f"quantities {', '.join(other.quantities)}, not {', '.join(first.quantities)}")
    if apart:
        raise InputError(
            f"{other.path}: holds another meter's log ({'; '.join(apart)}) than {first.path.name}; name one file"
        )


def _shown(value: str | bool | None) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value or "unnamed"


def open_file(path: Path) -> OpenedFile:
    """Return what a file's end says, and its first instant."""
    if not path.exists():
        raise InputError(f"{path}: there is no such log")
    try:
        with parquet_file(path) as file:
            schema, raw, rows = file.schema_arrow, file.metadata.metadata or {}, file.metadata.num_rows
            _check_schema(path, schema)
            first_us, empty = _first_instant(file), _never_filled(file)
    except (pa.ArrowException, UnicodeDecodeError, OSError) as error:
        raise InputError(f"{path}: {DAMAGED if _is_part_of_one(path, error) else why_not(error)}") from None
    quantities = tuple(name for name in schema.names if name in QUANTITIES and name not in empty)
    return OpenedFile(path, meta_from(path, raw.get(METADATA_KEY)), quantities, first_us, rows)


def _is_part_of_one(path: Path, error: Exception) -> bool:
    """Tell whether a file that Arrow does not take for Parquet begins or ends as one does."""
    if not isinstance(error, pa.ArrowInvalid) or not path.is_file():
        return False
    with path.open("rb") as file:
        first = file.read(len(FILE_MARK))
        file.seek(-min(len(FILE_MARK), path.stat().st_size), os.SEEK_END)
        return bool(first) and (FILE_MARK.startswith(first) or file.read() == FILE_MARK)


def _never_filled(file: pq.ParquetFile) -> set[str]:
    """Return the quantities that no row holds, as the file's statistics tell; none if that would be all of them."""
    names = [name for name in file.schema_arrow.names if name in QUANTITIES]
    filled = set()
    for group in range(file.metadata.num_row_groups):
        # Where the file's end is damaged, asking for a column's statistics would end the process; reading is refused.
        next(file.iter_batches(1, row_groups=[group], columns=["time", *names], use_threads=False), None)
        row_group = file.metadata.row_group(group)
        for name in names:
            column = row_group.column(file.schema_arrow.get_field_index(name))
            statistics = column.statistics
            if statistics is None or not statistics.has_null_count or statistics.null_count < column.num_values:
                filled.add(name)
    return set(names) - filled if filled else set()


def _check_schema(path: Path, schema: pa.Schema) -> None:
    twice = [name for name in ("time", *QUANTITIES) if schema.names.count(name) > 1]
    if twice:
        raise InputError(f"{path}: has more than one column {twice[0]!r}; convert its source again")
    if "time" not in schema.names or not pa.types.is_timestamp(schema.field("time").type):
        raise InputError(f"{path}: is a Parquet file but not a log: it has no column 'time' with time stamps")
    if schema.field("time").type != TIME_TYPE:
        raise InputError(f"{path}: column 'time' must be microseconds in UTC; convert its source again")
    for name in schema.names:
        if name in QUANTITIES and not pa.types.is_float64(schema.field(name).type):
            raise InputError(f"{path}: column {name!r} must hold numbers (float64); convert its source again")
    if not any(name in QUANTITIES for name in schema.names):
        raise InputError(f"{path}: holds none of the quantities {', '.join(QUANTITIES)}")


def _first_instant(file: pq.ParquetFile) -> int:
    for batch in file.iter_batches(batch_size=1, columns=["time"]):
        if len(batch):
            return int(integers(batch.column(0), 0)[0])
    return 0


def with_limits(opened: list[OpenedFile]) -> LogMeta:
    """Return the metadata of all files as one, with the largest gap limit."""
    metas = [_counted(file) for file in opened]
    totals = {
        name: sum(getattr(m, name) for m in metas)
        for name in ("rows_read", "rows_kept", "rows_rejected", "rows_merged")
    }
    return replace(
        metas[0],
        **totals,
        markers=sorted(marker for m in metas for marker in m.markers) if len(metas) > 1 else metas[0].markers,
        remarks=list(dict.fromkeys(s for m in metas for s in m.remarks)) if len(metas) > 1 else metas[0].remarks,
        moved=list(dict.fromkeys(sentence for m in metas for sentence in m.moved)),
        # The largest: what one file takes for one measurement, all do.
        gap_limit_s=max(m.gap_limit_s for m in metas if m.gap_limit_s is not None),
        other_gap_limit_s=max((m.other_gap_limit_s for m in metas if m.other_gap_limit_s is not None), default=None),
    )


def _counted(file: OpenedFile) -> LogMeta:
    """Return a file's metadata with its gap limit; where it has none its times and levels are read once."""
    meta = file.meta
    if meta.gap_limit_s is not None and meta.usual_interval_s is not None:
        return meta
    count = IntervalCount()
    for readings in readings_of(file.path, [name for name in LEVELS if name in file.quantities][:1], None, None):
        count.add(readings.time_us, level_of(readings.quantities))
    if meta.gap_limit_s is not None:
        return replace(meta, usual_interval_s=count.median_s())
    limit = count.gap_limit()
    sentences = [*meta.remarks, *([limit.sentence] if limit.sentence else [])]
    return replace(
        meta,
        gap_limit_s=limit.limit_s,
        other_gap_limit_s=limit.other_s,
        usual_interval_s=count.median_s(),
        remarks=sentences,
    )
