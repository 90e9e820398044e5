"""The log: the readings of one meter in Parquet and what is known about them; read some at a time, written whole."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias, TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from ..errors import InputError
from ..quantities import LARGEST_READING
from ..safe_files.whole_file import whole_file
from ..zone import zone_named
from .arrow import column, floats, integers, new_file, parquet_file
from .meta import METADATA_KEY, LogMeta, is_instant

if TYPE_CHECKING:
    import pandas as pd

Item = TypeVar("Item")
Extremes: TypeAlias = tuple[float, float]
#: What spacings are called among extremes. [us]
SPACINGS: Final = "spacings_us"
#: So many items wait at most, beside the one that is worked on: the next, and the one after where that took long.
MOST: Final = 2


def ahead(items: Iterable[Item]) -> Iterator[Item]:
    """Yield the same items in the same order, none of which is None, while a thread works out those that follow.

    Only that thread ever touches `items`, and it is never more than `MOST` of them ahead, so memory stays bounded. What
    goes wrong in it is raised here, in its place among the items. A generator is closed in the end, also where nobody
    asks for all of it.
    """
    source = iter(items)
    pool = ThreadPoolExecutor(1, thread_name_prefix="ahead")
    try:
        waiting = deque(pool.submit(next, source, None) for _ in range(MOST))
        while (item := waiting.popleft().result()) is not None:
            waiting.append(pool.submit(next, source, None))
            yield item
    finally:
        pool.shutdown(cancel_futures=True)
        if isinstance(source, Generator):
            with suppress(ValueError):  # a signal came while the thread began, so the pool did not wait for it
                source.close()


class Readings(NamedTuple):
    """A stretch of readings: instants [us] and quantities by name, NaN where the meter gave none.

    ``extremes`` are the lowest and the highest of each quantity, and of the spacings, where reading them showed these.
    """

    time_us: NDArray[np.int64]
    quantities: dict[str, NDArray[np.float64]]
    extremes: dict[str, Extremes] | None = None


#: An end of a stretch: a date and time, as text in ISO 8601, too; in a log without dates the time since its start.
When = str | datetime | timedelta


def frame_of(log: Log, quantities: Sequence[str] | None, start: When | None, stop: When | None) -> pd.DataFrame:
    """Return a log, or a stretch of it, as `Log.to_pandas` says."""
    import pandas as pd

    names = list(log.quantities if quantities is None else quantities)
    if unknown := [name for name in names if name not in log.quantities]:
        raise InputError(f"{log.path}: has no {unknown[0]}; it holds {', '.join(log.quantities)}")
    from_us, to_us = (None if when is None else _microseconds(when, log) for when in (start, stop))
    parts = list(log.scan(names, from_us=from_us, to_us=to_us))
    time_us = np.concatenate([np.empty(0, np.int64), *(part.time_us for part in parts)])
    columns = {name: np.concatenate([np.empty(0), *(part.quantities[name] for part in parts)]) for name in names}
    if log.meta.undated:
        index: pd.Index = pd.TimedeltaIndex(time_us.astype("timedelta64[us]"), name="elapsed")
    else:
        index = pd.DatetimeIndex(time_us.astype("datetime64[us]"), name="time").tz_localize("UTC")
    # `scan` passes over whole row groups; the rows at both ends are cut here.
    inside = np.ones(len(time_us), dtype=bool)
    inside &= True if from_us is None else time_us >= from_us
    inside &= True if to_us is None else time_us <= to_us
    return pd.DataFrame(columns, index=index)[inside]


def _microseconds(when: When, log: Log) -> int:
    """Return an end of a stretch as the log counts its time; a clock time without a zone is one of the log's. [us]."""
    if log.meta.undated:
        if not isinstance(when, timedelta):
            raise InputError(f"{log.path}: has no dates; give start and stop as timedelta since its start")
        return when // timedelta(microseconds=1)
    try:
        moment = datetime.fromisoformat(when) if isinstance(when, str) else when
    except ValueError:
        moment = None
    if not isinstance(moment, datetime):
        raise InputError(f"{log.path}: {when!r} is no date and time; write it like 2026-06-13T10:30")
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone_named(log.meta.zone, what="the log's zone"))
    return (moment - datetime.fromisoformat("1970-01-01T00:00:00Z")) // timedelta(microseconds=1)


TIME_TYPE = pa.timestamp("us", tz="UTC")
ROWS_A_GROUP = 1 << 18
#: Readings handed on at once, or half as many more: enough that NumPy's calls cost little, few enough to stay in a
#: processor's cache.
ROWS_AT_ONCE = 1 << 17
#: What a Parquet file begins and ends with.
FILE_MARK: Final = b"PAR1"
#: What a capture writes beside its log, until that is finished, is called like the log and ends so.
JOURNAL_SUFFIX: Final = ".journal"
DAMAGED = "this log is damaged or cut short; copy it again from where it came, or convert its source again"
#: Quantities that show that a load switched, the better one first.
LEVELS: Final = ("current_A", "power_W")


def level_of(quantities: Mapping[str, NDArray[np.float64]]) -> NDArray[np.float64] | None:
    """Return what shows that a load switched: the current, else the power; None where there is neither. [A or W]"""
    return next((_credible(quantities[name])[0] for name in LEVELS if name in quantities), None)


def schema_for(quantities: Sequence[str]) -> pa.Schema:
    """Return the Parquet schema of a log with these quantities."""
    return pa.schema([pa.field("time", TIME_TYPE, nullable=False), *(pa.field(q, pa.float64()) for q in quantities)])


@dataclass(frozen=True)
class Log:
    """An opened log: a file, or a folder of files read as one.

    ``meta`` is of a folder that of its first file, with the rows of all and the largest gap limit. ``completed`` tells
    of an unfinished capture that opening it completed.
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

        Only `quantities` are read, all by default. Row groups that lie wholly before `from_us` or after `to_us` are
        passed over; rows are not cut. [us]

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
            for readings in readings_of(file, names, from_us, to_us):
                time_us = readings.time_us
                if not len(time_us):
                    continue
                assert readings.extremes is not None
                # Every fold relies on it; a foreign file, or a folder of files that overlap, may not keep it.
                if (last is not None and time_us[0] <= last) or readings.extremes[SPACINGS][0] <= 0:
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
        return frame_of(self, quantities, start, stop)


def why_not(error: Exception) -> str:
    """Return in words why a file cannot be read; Arrow's own, which may hold bytes of the file, help nobody."""
    if isinstance(error, pa.ArrowInvalid):
        return "is not a log (Parquet); make one from an export with 'shuntbook convert'"
    why = getattr(error, "strerror", None)
    return f"cannot be read ({why})" if why else DAMAGED


def readings_of(path: Path, names: Sequence[str], from_us: int | None, to_us: int | None) -> Iterator[Readings]:
    """Yield a file's readings within two instants; its times must increase."""
    try:
        with parquet_file(path, checked=True) as file:
            for group in range(file.num_row_groups):
                if _outside(file, group, from_us, to_us):
                    continue
                # One group at a time: the reader of several keeps all that it has read.
                rows = file.metadata.row_group(group).num_rows
                # Evenly: a last few of a group would cost as many calls as all others.
                at_once = -(-rows // max(round(rows / ROWS_AT_ONCE), 1))
                for batch in file.iter_batches(
                    max(at_once, 1), row_groups=[group], columns=["time", *names], use_threads=False
                ):
                    time_us = integers(batch.column("time"), 0)
                    # All that is looked for is looked for while it lies in the processor's cache.
                    extremes = {SPACINGS: _spacings_us(time_us)}
                    _refuse_beyond_calendar(time_us, path, rises=extremes[SPACINGS][0] > 0)
                    quantities = {name: floats(batch.column(name)) for name in names}
                    for name, x in quantities.items():
                        quantities[name], extremes[name] = _credible(x)
                    yield Readings(time_us, quantities, extremes)
    except (pa.ArrowException, UnicodeDecodeError, OSError) as error:
        why = DAMAGED if isinstance(error, pa.ArrowInvalid) else why_not(error)
        raise InputError(f"{path}: {why}") from None


def _refuse_beyond_calendar(time_us: NDArray[np.int64], path: Path, *, rises: bool) -> None:
    ends = (time_us[:1], time_us[-1:]) if rises else (time_us,)
    if not all(is_instant(int(x.min(initial=0))) and is_instant(int(x.max(initial=0))) for x in ends):
        raise InputError(f"{path}: a time in this log is in no year from 1 to 9999; convert its source again")


def _spacings_us(time_us: NDArray[np.int64]) -> Extremes:
    """Return the shortest and the longest time between two readings; infinity and nought of a single one. [us]"""
    if len(time_us) < 2:
        return math.inf, 0
    spacing_us = time_us[1:] - time_us[:-1]
    return int(spacing_us.min()), int(spacing_us.max())


def _credible(x: NDArray[np.float64]) -> tuple[NDArray[np.float64], Extremes]:
    """Return readings with NaN for infinity and the like, which only a foreign file can hold and no meter meant.

    Also their extremes, which are NaN where one is missing.
    """
    low, high = float(x.min(initial=math.inf)), float(x.max(initial=-math.inf))
    if low >= -LARGEST_READING and high <= LARGEST_READING:  # neither holds with a NaN
        return x, (low, high)
    x = np.where(np.abs(x) <= LARGEST_READING, x, np.nan)
    return x, (math.nan, math.nan)


def _outside(file: pq.ParquetFile, index: int, from_us: int | None, to_us: int | None) -> bool:
    if from_us is None and to_us is None:
        return False
    statistics = file.metadata.row_group(index).column(file.schema_arrow.get_field_index("time")).statistics
    if statistics is None or not statistics.has_min_max:
        return False
    low, high = int(statistics.min_raw), int(statistics.max_raw)  # as stored: as instants, pyarrow asks pandas for them
    return (to_us is not None and low > to_us) or (from_us is not None and high < from_us)


def to_batch(readings: Readings) -> pa.RecordBatch:
    """Return readings as a record batch of the log's schema; NaN becomes null."""
    columns = [column(readings.time_us, TIME_TYPE)]
    columns += [column(x, pa.float64(), ~np.isnan(x)) for x in readings.quantities.values()]
    return pa.RecordBatch.from_arrays(columns, schema=schema_for(list(readings.quantities)))


class LogWriter:
    """Writes one log file in row groups; memory does not grow with its length."""

    def __init__(self, path: Path, quantities: Sequence[str]) -> None:
        self._schema = schema_for(quantities)
        self._file = new_file(path)
        self._writer = pq.ParquetWriter(
            self._file,
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
        # Batches are gathered, for a row group each would compress badly and be slow to read.
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
        self.abandon()

    def abandon(self) -> None:
        """Close the file, also without having finished it."""
        try:
            self._writer.close()
        finally:
            self._file.close()


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
