"""What shuntbook is measured against: plain scripts that do one thing and check nothing.

Each is run as a process of its own: ``python plain.py NAME FILE [OUT]``. The libraries are imported in the one that
uses them. The trapezoids print the Ah drawn and returned together, so that they can be seen to do the same.
"""

from __future__ import annotations

import sys
from pathlib import Path


def nothing() -> None:
    """Start the interpreter and end."""


def csv_strings_to_parquet(source: str, out: str) -> None:
    """The floor of ``convert``: read all columns as text by streaming, cast, write Parquet with zstd."""
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.csv as pcsv
    import pyarrow.parquet as pq

    reader = pcsv.open_csv(
        source,
        read_options=pcsv.ReadOptions(block_size=1 << 22),
        convert_options=pcsv.ConvertOptions(column_types=dict.fromkeys(_names(source), pa.string())),
    )
    kinds = [pa.timestamp("us"), *[pa.float64()] * (len(reader.schema) - 1)]
    schema = pa.schema(list(zip(reader.schema.names, kinds, strict=True)))
    with pq.ParquetWriter(out, schema, compression="zstd") as writer:
        for batch in reader:
            columns = [pc.cast(x, kind) for x, kind in zip(batch.columns, kinds, strict=True)]
            writer.write_batch(pa.RecordBatch.from_arrays(columns, schema=schema))


def _names(source: str) -> list[str]:
    with Path(source).open(encoding="utf-8") as file:
        return file.readline().strip().split(",")


def csv_read(source: str) -> None:
    """Read the whole CSV into memory with kinds found by pyarrow, and do nothing with it."""
    import pyarrow.csv as pcsv

    pcsv.read_csv(source)


def columns_read(log: str) -> None:
    """The floor of ``charge``: read a log's time, amps and volts, a row group at a time."""
    import pyarrow.parquet as pq

    with pq.ParquetFile(log) as file:
        for group in range(file.num_row_groups):
            file.read_row_group(group, columns=["time", "current_A", "voltage_V"])


def pandas_trapezoid(source: str) -> None:
    """Integrate the amps of a CSV with pandas and NumPy."""
    import numpy as np
    import pandas as pd

    frame = pd.read_csv(source, parse_dates=[0])
    seconds = frame.iloc[:, 0].astype("datetime64[us]").to_numpy().astype(np.int64) / 1e6
    sys.stdout.write(f"{np.trapezoid(frame.iloc[:, 1].to_numpy(), seconds) / 3600:.6f}\n")


def polars_trapezoid(source: str) -> None:
    """Integrate the amps of a CSV with polars, lazily."""
    import polars as pl

    amps, seconds = pl.nth(1), pl.nth(0).dt.epoch("us") / 1e6
    area = ((amps + amps.shift(1)) / 2 * (seconds - seconds.shift(1))).sum() / 3600
    frame = pl.scan_csv(source, try_parse_dates=True).select(area)
    sys.stdout.write(f"{frame.collect(engine='streaming').item():.6f}\n")


def duckdb_trapezoid(source: str) -> None:
    """Integrate the amps of a CSV with DuckDB, by a window over the rows in time."""
    import duckdb

    query = """
        select sum((a + b) / 2 * s) / 3600 from (
            select "current (A)" as a, lag("current (A)") over w as b,
                (epoch_us("time") - lag(epoch_us("time")) over w) / 1e6 as s
            from read_csv(?) window w as (order by "time"))
    """
    (total,) = duckdb.execute(query, [source]).fetchone() or (float("nan"),)
    sys.stdout.write(f"{total:.6f}\n")


if __name__ == "__main__":
    globals()[sys.argv[1]](*sys.argv[2:])
