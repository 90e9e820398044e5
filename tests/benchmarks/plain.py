"""What shuntbook is measured against: plain scripts that do one thing and check nothing.

Each is run as a process of its own: ``python plain.py NAME FILE [OUT]``. The libraries are imported in the one that
uses them. Those called ``..._export`` write a CSV of amps and volts as Parquet with zstd and print its Ah. Those called
``..._log`` print the Ah of a log and, where it has volts, its Wh: drawn and returned together, by straight lines from
reading to reading of amps and of volts, so that ``charge`` prints the same as its net amounts.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy as np

LIBRARIES = {"pandas": "pandas", "polars": "polars", "duckdb": "DuckDB", "pyarrow": "Arrow"}
#: The amounts of an interval of readings (a, v) after (b, w) that lasted s seconds, for SQL and polars alike.
_AH = "(a + b) / 2 * s / 3600"
_WH = "((a + b) * (v + w) + a * v + b * w) / 6 * s / 3600"


def nothing() -> None:
    """Start the interpreter and end."""


def text_cast_to_parquet(source: str, out: str) -> None:
    """The floor of ``convert``: read all columns as text by streaming, cast, write Parquet with zstd."""
    import pyarrow as pa
    import pyarrow.compute as pc
    import pyarrow.csv as pcsv
    import pyarrow.parquet as pq

    with Path(source).open(encoding="utf-8") as file:
        names = file.readline().strip().split(",")
    reader = pcsv.open_csv(
        source,
        read_options=pcsv.ReadOptions(block_size=1 << 22),
        convert_options=pcsv.ConvertOptions(column_types=dict.fromkeys(names, pa.string())),
    )
    kinds = [pa.timestamp("us"), *[pa.float64()] * (len(names) - 1)]
    schema = pa.schema(list(zip(names, kinds, strict=True)))
    with pq.ParquetWriter(out, schema, compression="zstd") as writer:
        for batch in reader:
            columns = [pc.cast(x, kind) for x, kind in zip(batch.columns, kinds, strict=True)]
            writer.write_batch(pa.RecordBatch.from_arrays(columns, schema=schema))


def pandas_export(source: str, out: str) -> None:
    """Read it whole, write it, integrate with NumPy."""
    import pandas as pd

    frame = pd.read_csv(source, parse_dates=[0])
    frame.to_parquet(out, compression="zstd")
    _print_sums(frame.iloc[:, 0].to_numpy(), frame.iloc[:, 1].to_numpy())


def pandas_log(log: str) -> None:
    """Read it whole and integrate with NumPy."""
    import pandas as pd

    frame = pd.read_parquet(log)
    time = frame.pop("time").dt.tz_localize(None)
    _print_sums(time.to_numpy(), *(frame[name].to_numpy() for name in frame))


def pyarrow_export(source: str, out: str) -> None:
    """Read it whole with kinds found by Arrow, write it, integrate with NumPy."""
    import pyarrow.csv as pcsv
    import pyarrow.parquet as pq

    table = pcsv.read_csv(source)
    pq.write_table(table, out, compression="zstd")
    _print_sums(*(table[k].to_numpy() for k in (0, 1)))


def pyarrow_log(log: str) -> None:
    """Read it whole and integrate with NumPy."""
    import pyarrow.parquet as pq

    _print_sums(*(column.to_numpy() for column in pq.read_table(log)))


def _print_sums(time: np.ndarray, a: np.ndarray, v: np.ndarray | None = None) -> None:
    import numpy as np

    s = np.diff(time.astype("datetime64[us]").astype(np.int64)) / 1e6
    sums = [np.sum((a[1:] + a[:-1]) * s) / 7200]
    if v is not None:
        product = a * v
        sums.append(np.sum(((a[1:] + a[:-1]) * (v[1:] + v[:-1]) + product[1:] + product[:-1]) * s) / 21600)
    _say(sums)


def polars_export(source: str, out: str) -> None:
    """Stream it to Parquet, and integrate that."""
    import polars as pl

    pl.scan_csv(source, try_parse_dates=True).sink_parquet(out, compression="zstd")
    _polars_sums(out, "time", "current (A)")


def polars_log(log: str) -> None:
    """Integrate it lazily."""
    import polars as pl

    _polars_sums(log, *pl.read_parquet_schema(log))


def _polars_sums(path: str, time: str, *quantities: str) -> None:
    import polars as pl

    now = dict(zip("av", map(pl.col, quantities), strict=False))
    columns = now | {{"a": "b", "v": "w"}[name]: x.shift(1) for name, x in now.items()}
    columns["s"] = pl.col(time).dt.epoch("us").diff() / 1e6
    sums = [pl.sql_expr(amount).sum().alias(amount) for amount in (_AH, _WH)[: len(quantities)]]
    lazy = pl.scan_parquet(path).select(**columns).select(sums)
    _say(lazy.collect(engine="streaming").row(0))


def duckdb_export(source: str, out: str) -> None:
    """Copy it to Parquet, and integrate that."""
    import duckdb

    duckdb.execute(f"copy (from read_csv('{source}')) to '{out}' (format parquet, compression zstd)")
    _duckdb_sums(out, "time", "current (A)")


def duckdb_log(log: str) -> None:
    """Integrate it by a window over its rows in time."""
    import duckdb

    names = [row[0] for row in duckdb.execute(f"describe from '{log}'").fetchall()]
    _duckdb_sums(log, *names)


def _duckdb_sums(path: str, time: str, *quantities: str) -> None:
    import duckdb

    columns = [
        f'"{x}" as {now}, lag("{x}") over o as {was}' for x, now, was in zip(quantities, "av", "bw", strict=False)
    ]
    length = f'(epoch_us("{time}") - lag(epoch_us("{time}")) over o) / 1e6 as s'
    sums = ", ".join(f"sum({amount})" for amount in (_AH, _WH)[: len(quantities)])
    rows = f"""select {sums} from (
        select {", ".join([*columns, length])} from '{path}' window o as (order by "{time}"))"""
    _say(duckdb.execute(rows).fetchone() or ())


def _say(sums: Iterable[float]) -> None:
    sys.stdout.write(" ".join(f"{amount:.9f}" for amount in sums) + "\n")


if __name__ == "__main__":
    globals()[sys.argv[1]](*sys.argv[2:])
