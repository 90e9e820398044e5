"""The summaries of a fleet as rows of a table: one for JSON, Parquet and whoever reads these."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any, Final

import pyarrow as pa

from ...analysis.finding import Finding
from ...analysis.fleet import LogSummary
from ...ingest.log import TIME_TYPE
from ...ingest.summary_table import write_table
from ..render.words import moment_of

#: What the file's metadata says it is.
KIND: Final = "summary of a fleet by shuntbook"
_OF_FINDINGS: Final = [field.name for field in fields(Finding) if field.name != "cycles"]
_KINDS: Final = {
    "int": pa.int64(),
    "float": pa.float64(),
    "tuple[str, ...]": pa.list_(pa.string()),
    "tuple[Finding, ...]": pa.list_(pa.struct([(name, pa.string()) for name in _OF_FINDINGS])),
}


def rows_of(ranking: Sequence[LogSummary]) -> list[dict[str, Any]]:
    """Return a row for each log, the first in the ranking first; instants are those of a calendar."""
    return [{"rank": place, **_row(summary)} for place, summary in enumerate(ranking, start=1)]


def _row(summary: LogSummary) -> dict[str, Any]:
    row = {name.removesuffix("_us"): _instant(name, value) for name, value in asdict(summary).items()}
    return row | {"findings": [{name: finding[name] for name in _OF_FINDINGS} for finding in row["findings"]]}


def _instant(name: str, value: Any) -> Any:  # noqa: ANN401 - any value of a summary
    return moment_of(value) if name.endswith("_us") and value is not None else value


def write_summaries(path: Path, ranking: Sequence[LogSummary]) -> None:
    """Write the table as Parquet, whole or not at all; the same summaries give the same bytes."""
    write_table(path, rows_of(ranking), _schema(), KIND)


def _schema() -> pa.Schema:
    columns = [("rank", pa.int64())]
    for field in fields(LogSummary):
        kind = str(field.type).removesuffix(" | None")
        is_instant = field.name.endswith("_us")
        columns.append((field.name.removesuffix("_us"), TIME_TYPE if is_instant else _KINDS.get(kind, pa.string())))
    return pa.schema(columns)
