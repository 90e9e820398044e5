"""Write a log: whole or not at all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from shuntbook.ingest.safe_files.whole_file import whole_file

from .arrow import column
from .log import ROWS_A_GROUP, TIME_TYPE, schema_for
from .meta import METADATA_KEY, LogMeta
from .readings import Readings


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
