"""A fleet as JSON: how many logs are how, and the ranking with everything known of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Any

from shuntbook.analysis.several_logs.fleet import RULE
from shuntbook.cli.render.documents.parts import Document

if TYPE_CHECKING:
    from shuntbook.analysis.several_logs.fleet import Counts


def fleet_document(
    rows: Sequence[Mapping[str, Any]], counts: Counts, work: Mapping[str, Any], version: str
) -> Document:
    """Return a fleet's document; `work` says what the run took, and is all in it that another run may say otherwise."""
    ranking = [{name: _in_json(value) for name, value in row.items()} for row in rows]
    return {"counts": asdict(counts), "rule": RULE, "ranking": ranking, "work": dict(work), "version": version}


def _in_json(value: Any) -> Any:  # noqa: ANN401 - any value of a row
    return value.isoformat().replace("+00:00", "Z") if isinstance(value, datetime) else value
