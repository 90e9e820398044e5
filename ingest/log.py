"""The log: the readings of one meter in Parquet, with what is known about them in its metadata."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from .arrow import column, flat, floats, integers
from .errors import InputError
from .intervals import IntervalCount
from .quantities import QUANTITIES
from .whole_file import whole_file

if TYPE_CHECKING:
    import pandas as pd

FORMAT_MAJOR, FORMAT_MINOR = 1, 0
METADATA_KEY = b"shuntbook"
TIME_TYPE = pa.timestamp("us", tz="UTC")
ROWS_A_GROUP = 1 << 18


@dataclass(frozen=True)
class LogMeta:
    """What a log's metadata says; everything but the readings themselves.

    Parameters
    ----------
    side, sampling, counter_kind : str
        ``dc`` or ``ac``; ``instant``, ``mean`` or ``held``; ``net`` or ``moved``.
    sign_applied : int
        -1 where the source counted return as positive and the signs were turned, else 1.
    gap_limit_s, usual_interval_s : float or None
        Longest spacing that is still one measurement, and the median spacing. [s]
    markers : list of [int, str]
        Instants [us] and what was noted at them.
    clock_steps : list of dict
        ``at_us`` and ``step_s`` of each jump of the meter's clock that was taken out.
    said : list of str
        What was assumed or noticed while reading, in sentences.
    capture_id : str or None
        Of a captured log: the mark that its journal carries too.
    """

    meter: str | None = None
    side: str = "dc"
    sampling: str = "instant"
    counter_kind: str = "net"
    profile: str | None = None
    zone: str = "UTC"
    zone_assumed: bool = False
    undated: bool = False
    sign_applied: int = 1
    source: list[dict[str, Any]] = field(default_factory=list)
    rows_read: int = 0
    rows_kept: int = 0
    rows_rejected: int = 0
    rows_merged: int = 0
    gap_limit_s: float | None = None
    usual_interval_s: float | None = None
    markers: list[tuple[int, str]] = field(default_factory=list)
    clock_steps: list[dict[str, float]] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    tool_version: str = ""
    capture_id: str | None = None

    def to_json(self) -> bytes:
        """Return the metadata as it stands in the file."""
        return json.dumps({"format": f"{FORMAT_MAJOR}.{FORMAT_MINOR}", **asdict(self)}, ensure_ascii=False).encode()


class Readings(NamedTuple):
    """A stretch of readings: instants [us] and quantities by name, NaN where the meter gave none."""

    time_us: NDArray[np.int64]
    quantities: dict[str, NDArray[np.float64]]


def schema_for(quantities: Sequence[str]) -> pa.Schema:
    """Return the Parquet schema of a log with these quantities."""
    return pa.schema([pa.field("time", TIME_TYPE, nullable=False), *(pa.field(q, pa.float64()) for q in quantities)])


def to_batch(readings: Readings) -> pa.RecordBatch:
    """Return readings as a record batch of the log's schema; NaN becomes null."""
    columns = [column(readings.time_us, TIME_TYPE)]
    columns += [column(x, pa.float64(), ~np.isnan(x)) for x in readings.quantities.values()]
    return pa.RecordBatch.from_arrays(columns, schema=schema_for(list(readings.quantities)))


class LogWriter:
    """Writes one log file in row groups; memory does not grow with its length."""

    def __init__(self, path: Path, quantities: Sequence[str]) -> None:
        self._schema = schema_for(quantities)
        self._writer = pq.ParquetWriter(path, self._schema, compression="zstd", write_page_checksum=True)
        self._waiting: list[pa.RecordBatch] = []
        self._rows = 0

    def write(self, batch: pa.RecordBatch) -> None:
        """Add readings, which follow those before in time."""
        self._waiting.append(batch)
        self._rows += len(batch)
        if self._rows >= ROWS_A_GROUP:
            self._flush()

    def _flush(self) -> None:
        if self._waiting:
            table = pa.Table.from_batches(self._waiting, schema=self._schema)
            self._writer.write_table(table, row_group_size=max(self._rows, 1))
        self._waiting, self._rows = [], 0

    def finish(self, meta: LogMeta) -> None:
        """Write what is left, the metadata and the file's end."""
        self._flush()
        self._writer.add_key_value_metadata({METADATA_KEY: meta.to_json()})
        self._writer.close()

    def abandon(self) -> None:
        """Close the file without having finished it."""
        self._writer.close()


@contextmanager
def new_log(path: Path, quantities: Sequence[str]) -> Iterator[LogWriter]:
    """Write a log that is whole or absent: it takes its name only when the block ends well and was finished."""
    with whole_file(path) as hidden:
        writer = LogWriter(hidden, quantities)
        try:
            yield writer
        except BaseException:
            writer.abandon()
            raise


@dataclass(frozen=True)
class Log:
    """An opened log: a file, or a folder of files read as one.

    Attributes
    ----------
    path : Path
        What was opened.
    meta : LogMeta
        Its metadata; of a folder that of its first file, with the rows of all.
    quantities : tuple of str
        The quantities it holds, in the file's order.
    completed : str or None
        What is to be said of an unfinished capture that opening it completed.
    """

    path: Path
    files: tuple[Path, ...]
    meta: LogMeta
    quantities: tuple[str, ...]
    rows: int
    completed: str | None = None

    def scan(
        self, quantities: Sequence[str] | None = None, *, from_us: int | None = None, to_us: int | None = None
    ) -> Iterator[Readings]:
        """Yield the readings in order, a row group at a time.

        Parameters
        ----------
        quantities : sequence of str, optional
            Only these columns are read; all by default.
        from_us, to_us : int, optional
            Skip row groups that lie wholly outside; rows are not cut. [us]

        Raises
        ------
        InputError
            If a file is damaged or its times do not increase.
        """
        names = list(self.quantities if quantities is None else quantities)
        last: int | None = None
        for file in self.files:
            for readings in _row_groups(file, names, from_us, to_us):
                time_us = readings.time_us
                if not len(time_us):
                    continue
                if (last is not None and time_us[0] <= last) or not (np.diff(time_us) > 0).all():
                    raise InputError(f"{file}: the times in this log do not increase; convert its source again")
                last = int(time_us[-1])
                yield readings

    def to_pandas(self) -> pd.DataFrame:
        """Return the whole log as a DataFrame indexed by time (UTC), a column a quantity."""
        parts = [pq.read_table(file, columns=["time", *self.quantities]) for file in self.files]
        frame: pd.DataFrame = pa.concat_tables(parts).to_pandas()
        return frame.set_index("time")


def open_log(path: str | Path) -> Log:
    """Open a log.

    Parameters
    ----------
    path : str or Path
        A Parquet file, or a folder of them. An unfinished capture found there is completed first.

    Raises
    ------
    InputError
        If there is none, it cannot be read, is not a log, or was written by a newer format version.
    """
    from .compaction import settle_unfinished  # it writes logs, and so knows this module

    path = Path(path)
    completed = settle_unfinished(path)
    files = [path]
    if path.is_dir():
        files = sorted(path.glob("*.parquet"))
        if not files:
            raise InputError(f"{path}: this folder holds no log (*.parquet)")
    opened = [(file, *_open_file(file)) for file in files]
    opened.sort(key=lambda item: item[3])
    first = opened[0]
    for other in opened[1:]:
        if set(other[2]) != set(first[2]) or other[1].side != first[1].side:
            raise InputError(
                f"{other[0]}: holds other quantities than {first[0].name}; a folder must hold one meter's log"
            )
    rows = sum(item[4] for item in opened)
    return Log(path, tuple(item[0] for item in opened), _with_limits(opened), first[2], rows, completed)


def _open_file(path: Path) -> tuple[LogMeta, tuple[str, ...], int, int]:
    """Return a file's metadata, quantities, first instant [us] and number of rows."""
    if not path.exists():
        raise InputError(f"{path}: there is no such log")
    try:
        with pq.ParquetFile(path) as file:
            schema, raw, rows = file.schema_arrow, file.metadata.metadata or {}, file.metadata.num_rows
            _check_schema(path, schema)
            first, empty = _first_instant(file), _never_filled(file)
    except (pa.ArrowInvalid, OSError) as error:
        kind = "is not a log (Parquet); make one from an export with 'shuntbook convert'"
        raise InputError(
            f"{path}: {kind if isinstance(error, pa.ArrowInvalid) else 'cannot be read: ' + str(error)}"
        ) from None
    quantities = tuple(name for name in schema.names if name in QUANTITIES and name not in empty)
    return _meta_from(path, raw.get(METADATA_KEY)), quantities, first, rows


def _never_filled(file: pq.ParquetFile) -> set[str]:
    """Return the quantities that no row holds, as the file's statistics tell; none if that would be all of them."""
    names = [name for name in file.schema_arrow.names if name in QUANTITIES]
    filled = set()
    for group in range(file.metadata.num_row_groups):
        row_group = file.metadata.row_group(group)
        for name in names:
            column = row_group.column(file.schema_arrow.get_field_index(name))
            statistics = column.statistics
            if statistics is None or not statistics.has_null_count or statistics.null_count < column.num_values:
                filled.add(name)
    return set(names) - filled if filled else set()


def _check_schema(path: Path, schema: pa.Schema) -> None:
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


def _meta_from(path: Path, raw: bytes | None) -> LogMeta:
    if raw is None:
        return LogMeta(
            said=["this file carries no notes of ours: side dc, instant readings and draw positive are assumed"]
        )
    try:
        stored = json.loads(raw)
        version = str(stored.pop("format"))
        major = int(version.partition(".")[0])
    except (ValueError, KeyError, AttributeError):
        raise InputError(f"{path}: the log's notes (metadata) are damaged; convert its source again") from None
    if major > FORMAT_MAJOR:
        raise InputError(
            f"{path}: was written by a newer shuntbook (format {version}, "
            f"this one reads up to {FORMAT_MAJOR}); update shuntbook"
        )
    known = {name: value for name, value in stored.items() if name in LogMeta.__dataclass_fields__}
    meta = LogMeta(**known)
    if meta.side not in ("dc", "ac") or meta.sampling not in ("instant", "mean", "held"):
        raise InputError(f"{path}: the log's notes (metadata) are damaged; convert its source again")
    return replace(meta, markers=[(int(at), str(text)) for at, text in meta.markers])


def _with_limits(opened: list[tuple[Path, LogMeta, tuple[str, ...], int, int]]) -> LogMeta:
    """Return the metadata with a gap limit; where a file has none its time column is read once."""
    metas = [meta for _, meta, *_ in opened]
    meta = metas[0]
    if len(metas) > 1:
        totals = {
            name: sum(getattr(m, name) for m in metas)
            for name in ("rows_read", "rows_kept", "rows_rejected", "rows_merged")
        }
        markers = sorted(marker for m in metas for marker in m.markers)
        meta = replace(meta, **totals, markers=markers, said=list(dict.fromkeys(s for m in metas for s in m.said)))
    if meta.gap_limit_s is not None and meta.usual_interval_s is not None:
        return meta
    count = IntervalCount()
    for file, *_ in opened:
        for readings in _row_groups(file, [], None, None):
            count.add(readings.time_us)
    gap = meta.gap_limit_s if meta.gap_limit_s is not None else count.gap_limit_s()
    return replace(meta, gap_limit_s=gap, usual_interval_s=count.median_s())


def _row_groups(path: Path, names: list[str], from_us: int | None, to_us: int | None) -> Iterator[Readings]:
    try:
        with pq.ParquetFile(path, page_checksum_verification=True) as file:
            for index in range(file.num_row_groups):
                if _outside(file, index, from_us, to_us):
                    continue
                table = file.read_row_group(index, columns=["time", *names])
                yield Readings(integers(flat(table["time"]), 0), {name: floats(flat(table[name])) for name in names})
    except (pa.ArrowException, OSError) as error:
        raise InputError(
            f"{path}: this log is damaged ({str(error).splitlines()[0]}); convert its source again"
        ) from None


def _outside(file: pq.ParquetFile, index: int, from_us: int | None, to_us: int | None) -> bool:
    if from_us is None and to_us is None:
        return False
    statistics = file.metadata.row_group(index).column(file.schema_arrow.get_field_index("time")).statistics
    if statistics is None or not statistics.has_min_max:
        return False
    low, high = (_microseconds(x) for x in (statistics.min, statistics.max))
    return (to_us is not None and low > to_us) or (from_us is not None and high < from_us)


def _microseconds(x: Any) -> int:  # noqa: ANN401 - what the statistics hold
    return int(pa.scalar(x, TIME_TYPE).cast(pa.int64()).as_py())
