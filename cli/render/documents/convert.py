"""What a conversion did, as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .parts import Document, instant

if TYPE_CHECKING:
    from pathlib import Path

    from shuntbook.ingest.exports.adapter import Export
    from shuntbook.ingest.exports.convert import Converted
    from shuntbook.ingest.log.log import Log


def convert_document(done: Converted, export: Export) -> Document:
    """Return what a conversion did."""
    meta, taken = done.meta, export.layouts[0].as_document()
    return {
        "log": str(done.log),
        "rows_read": meta.rows_read,
        "rows_kept": meta.rows_kept,
        "rows_rejected": meta.rows_rejected,
        "rejects_file": str(done.rejects_file) if done.rejects_file else None,
        "rows_merged": meta.rows_merged,
        "repeated_headers": done.repeated_headers,
        "dialect": taken["dialect"],
        "quantities": taken["quantities"],
        "time": {
            **taken["time"],
            "zone": meta.zone,
            "zone_assumed": meta.zone_assumed,
            "undated": meta.undated,
            "start": instant(done.first_us),
            "stop": instant(done.last_us),
            "usual_interval_s": meta.usual_interval_s,
            "gap_limit_s": meta.gap_limit_s,
            "other_gap_limit_s": meta.other_gap_limit_s,
            "clock_steps": meta.clock_steps,
            "rows_in_a_repeated_hour": done.ambiguous,
        },
        "side": meta.side,
        "sampling": meta.sampling,
        "notes": meta.said,
    }


def again_document(out: Path, done: Log) -> Document:
    """Return what was written of a finished log, in the keys of a conversion; nothing of it was recognised."""
    meta = done.meta
    return {
        "log": str(out),
        "rows_read": done.rows,
        "rows_kept": done.rows,
        "rows_rejected": 0,
        "rejects_file": None,
        "rows_merged": 0,
        "dialect": None,
        "quantities": [{"name": name} for name in done.quantities],
        "time": {
            "zone": meta.zone,
            "undated": meta.undated,
            "usual_interval_s": meta.usual_interval_s,
            "gap_limit_s": meta.gap_limit_s,
            "other_gap_limit_s": meta.other_gap_limit_s,
        },
        "side": meta.side,
        "sampling": meta.sampling,
        "sign_applied": meta.sign_applied,
        "notes": meta.said,
    }
