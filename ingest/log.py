"""The log: the readings of one meter in Parquet, with what is known about them in its metadata."""

from __future__ import annotations

import os
from collections.abc import Generator, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from .ahead import ahead
from .arrow import column, floats, integers
from .errors import InputError
from .intervals import IntervalCount
from .log_meta import METADATA_KEY, LogMeta, is_instant, meta_from
from .quantities import LARGEST_READING, QUANTITIES
from .whole_file import whole_file

if TYPE_CHECKING:
    import pandas as pd

    from .frame import When

#: With the names of `log_meta` that whoever handles logs needs, too.
__all__ = [
    "METADATA_KEY",
    "TIME_TYPE",
    "Log",
    "LogMeta",
    "LogWriter",
    "Readings",
    "new_log",
    "open_log",
    "schema_for",
    "to_batch",
]

TIME_TYPE = pa.timestamp("us", tz="UTC")
ROWS_A_GROUP = 1 << 18
#: Readings handed on at once: enough that NumPy's calls cost little, few enough to stay in a processor's cache.
ROWS_AT_ONCE = 1 << 16
#: What is the same in all files of one meter's log, and how it is called.
_OF_ONE_METER = {
    "meter": "meter",
    "side": "side",
    "sampling": "sampling",
    "counter_kind": "counter",
    "undated": "undated",
}
#: What a Parquet file begins and ends with.
FILE_MARK: Final = b"PAR1"
_DAMAGED = "this log is damaged or cut short; copy it again from where it came, or convert its source again"
#: A file, its metadata, quantities, first instant [us] and number of rows.
_Opened: TypeAlias = tuple[Path, LogMeta, tuple[str, ...], int, int]


#: Quantities that show that a load switched, the better one first.
LEVELS: Final = ("current_A", "power_W")


class Readings(NamedTuple):
    """A stretch of readings: instants [us] and quantities by name, NaN where the meter gave none."""

    time_us: NDArray[np.int64]
    quantities: dict[str, NDArray[np.float64]]


def level_of(quantities: Mapping[str, NDArray[np.float64]]) -> NDArray[np.float64] | None:
    """Return what shows that a load switched: the current, else the power; None where there is neither. [A or W]"""
    return next((_credible(quantities[name]) for name in LEVELS if name in quantities), None)


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
        self._writer = pq.ParquetWriter(
            path,
            self._schema,
            compression="zstd",
            write_page_checksum=True,
            use_dictionary=list(quantities),  # rounded readings repeat; instants never do, but are evenly spaced
            column_encoding={"time": "DELTA_BINARY_PACKED"},
        )
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
        Its metadata; of a folder that of its first file, with the rows of all and the largest gap limit.
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
        """Yield the readings in order, some at a time; the next are read while these are worked on.

        Parameters
        ----------
        quantities : sequence of str, optional
            Only these columns are read; all by default.
        from_us, to_us : int, optional
            Skip row groups that lie wholly outside; rows are not cut. [us]

        Raises
        ------
        InputError
            If a file is damaged, or its times do not increase or cannot be.
        """
        names = list(self.quantities if quantities is None else quantities)
        return ahead(self._in_order(names, from_us, to_us))

    def _in_order(self, names: list[str], from_us: int | None, to_us: int | None) -> Generator[Readings, None, None]:
        last: int | None = None
        for file in self.files:
            for readings in _readings(file, names, from_us, to_us):
                time_us = readings.time_us
                if not len(time_us):
                    continue
                if (last is not None and time_us[0] <= last) or (time_us[1:] <= time_us[:-1]).any():
                    raise InputError(f"{file}: the times in this log do not increase; convert its source again")
                last = int(time_us[-1])
                yield readings

    def to_pandas(
        self, quantities: Sequence[str] | None = None, *, start: When | None = None, stop: When | None = None
    ) -> pd.DataFrame:
        """Return the log as a DataFrame, a column each quantity, NaN where the meter gave none.

        Parameters
        ----------
        quantities : sequence of str, optional
            Only these columns are read; all by default.
        start, stop : str, datetime or timedelta, optional
            Only the readings from `start` to `stop`, both included; without a zone they are times of the log's own.
            Of a log without dates, the time since its start.

        Returns
        -------
        pandas.DataFrame
            Indexed by ``time`` in UTC, or by ``elapsed`` where the log has no dates.

        Raises
        ------
        InputError
            If a file is damaged, its times do not increase, or `quantities`, `start` or `stop` cannot be.
        """
        from .frame import frame_of  # it loads pandas, which only notebooks need

        return frame_of(self, quantities, start, stop)


def open_log(path: str | Path, *, complete: bool = True) -> Log:
    """Open a log.

    Parameters
    ----------
    path : str or Path
        A Parquet file, or a folder of them. An unfinished capture found there is completed first.
    complete : bool, optional
        False leaves unfinished captures as they are: nothing is written.

    Raises
    ------
    InputError
        If there is none, it cannot be read, is not a log, was written by a newer format version, or is a folder with
        the logs of several meters.
    """
    from .compaction import settle_unfinished  # it writes logs, and so knows this module

    path = Path(path)
    completed = settle_unfinished(path) if complete else None
    files = [path]
    if path.is_dir():
        files = sorted(path.glob("*.parquet"))
        if not files:
            raise InputError(f"{path}: this folder holds no log (*.parquet)")
    opened = [(file, *_open_file(file)) for file in files]
    opened.sort(key=lambda item: item[3])
    first = opened[0]
    for other in opened[1:]:
        _check_same_meter(first, other)
    rows = sum(item[4] for item in opened)
    return Log(path, tuple(item[0] for item in opened), _with_limits(opened), first[2], rows, completed)


def _check_same_meter(first: _Opened, other: _Opened) -> None:
    """Stop where two files of a folder cannot be one log."""
    apart = [
        f"{word} {_told(getattr(other[1], name))}, not {_told(getattr(first[1], name))}"
        for name, word in _OF_ONE_METER.items()
        if getattr(other[1], name) != getattr(first[1], name)
    ]
    if set(other[2]) != set(first[2]):
        apart.append(f"quantities {', '.join(other[2])}, not {', '.join(first[2])}")
    if apart:
        raise InputError(
            f"{other[0]}: holds another meter's log ({'; '.join(apart)}) than {first[0].name}; name one file"
        )


def _told(value: str | bool | None) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value or "unnamed"


def _open_file(path: Path) -> tuple[LogMeta, tuple[str, ...], int, int]:
    """Return a file's metadata, quantities, first instant [us] and number of rows."""
    if not path.exists():
        raise InputError(f"{path}: there is no such log")
    try:
        with pq.ParquetFile(path) as file:
            schema, raw, rows = file.schema_arrow, file.metadata.metadata or {}, file.metadata.num_rows
            _check_schema(path, schema)
            first, empty = _first_instant(file), _never_filled(file)
    except (pa.ArrowException, UnicodeDecodeError, OSError) as error:
        raise InputError(f"{path}: {_DAMAGED if _is_part_of_one(path, error) else _why_not(error)}") from None
    quantities = tuple(name for name in schema.names if name in QUANTITIES and name not in empty)
    return meta_from(path, raw.get(METADATA_KEY)), quantities, first, rows


def _is_part_of_one(path: Path, error: Exception) -> bool:
    """Tell whether a file that Arrow does not take for Parquet begins or ends as one does."""
    if not isinstance(error, pa.ArrowInvalid) or not path.is_file():
        return False
    with path.open("rb") as file:
        first = file.read(len(FILE_MARK))
        file.seek(-min(len(FILE_MARK), path.stat().st_size), os.SEEK_END)
        return bool(first) and (FILE_MARK.startswith(first) or file.read() == FILE_MARK)


def _why_not(error: Exception) -> str:
    """Return in words why a file cannot be read; Arrow's own, which may hold bytes of the file, help nobody."""
    if isinstance(error, pa.ArrowInvalid):
        return "is not a log (Parquet); make one from an export with 'shuntbook convert'"
    why = getattr(error, "strerror", None)
    return f"cannot be read ({why})" if why else _DAMAGED


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


def _with_limits(opened: list[_Opened]) -> LogMeta:
    """Return the metadata of all files as one, with the largest gap limit."""
    metas = [_counted(file, meta, quantities) for file, meta, quantities, *_ in opened]
    totals = {
        name: sum(getattr(m, name) for m in metas)
        for name in ("rows_read", "rows_kept", "rows_rejected", "rows_merged")
    }
    return replace(
        metas[0],
        **totals,
        markers=sorted(marker for m in metas for marker in m.markers) if len(metas) > 1 else metas[0].markers,
        said=list(dict.fromkeys(s for m in metas for s in m.said)) if len(metas) > 1 else metas[0].said,
        gap_limit_s=max(m.gap_limit_s for m in metas if m.gap_limit_s is not None),
        other_gap_limit_s=max((m.other_gap_limit_s for m in metas if m.other_gap_limit_s is not None), default=None),
    )


def _counted(file: Path, meta: LogMeta, quantities: Sequence[str]) -> LogMeta:
    """Return a file's metadata with its gap limit; where it has none its times and levels are read once."""
    if meta.gap_limit_s is not None and meta.usual_interval_s is not None:
        return meta
    count = IntervalCount()
    for readings in _readings(file, [name for name in LEVELS if name in quantities][:1], None, None):
        count.add(readings.time_us, level_of(readings.quantities))
    if meta.gap_limit_s is not None:
        return replace(meta, usual_interval_s=count.median_s())
    limit = count.gap_limit()
    said = [*meta.said, *([limit.said] if limit.said else [])]
    return replace(
        meta,
        gap_limit_s=limit.limit_s,
        other_gap_limit_s=limit.other_s,
        usual_interval_s=count.median_s(),
        said=said,
    )


def _readings(path: Path, names: list[str], from_us: int | None, to_us: int | None) -> Iterator[Readings]:
    try:
        with pq.ParquetFile(path, page_checksum_verification=True) as file:
            for group in range(file.num_row_groups):
                if _outside(file, group, from_us, to_us):
                    continue
                # One group at a time: the reader of several keeps all that it has read.
                for batch in file.iter_batches(
                    ROWS_AT_ONCE, row_groups=[group], columns=["time", *names], use_threads=False
                ):
                    yield Readings(
                        _on_a_calendar(integers(batch.column("time"), 0), path),
                        {name: _credible(floats(batch.column(name))) for name in names},
                    )
    except (pa.ArrowException, UnicodeDecodeError, OSError) as error:
        why = _DAMAGED if isinstance(error, pa.ArrowInvalid) else _why_not(error)
        raise InputError(f"{path}: {why}") from None


def _on_a_calendar(time_us: NDArray[np.int64], path: Path) -> NDArray[np.int64]:
    if len(time_us) and not (is_instant(int(time_us.min())) and is_instant(int(time_us.max()))):
        raise InputError(f"{path}: a time in this log is in no year from 1 to 9999; convert its source again")
    return time_us


def _credible(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return readings with NaN for infinity and the like, which only a foreign file can hold and no meter meant."""
    if x.min(initial=0.0) >= -LARGEST_READING and x.max(initial=0.0) <= LARGEST_READING:  # neither holds with a NaN
        return x
    return np.where(np.abs(x) <= LARGEST_READING, x, np.nan)


def _outside(file: pq.ParquetFile, index: int, from_us: int | None, to_us: int | None) -> bool:
    if from_us is None and to_us is None:
        return False
    statistics = file.metadata.row_group(index).column(file.schema_arrow.get_field_index("time")).statistics
    if statistics is None or not statistics.has_min_max:
        return False
    low, high = int(statistics.min_raw), int(statistics.max_raw)  # as stored: as instants, pyarrow asks pandas for them
    return (to_us is not None and low > to_us) or (from_us is not None and high < from_us)
