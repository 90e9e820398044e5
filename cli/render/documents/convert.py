"""What a conversion did, as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .parts import Document, instant, named

if TYPE_CHECKING:
    from pathlib import Path

    from ....analysis.readings.first_look import FirstLook, ReadingShown
    from ....ingest.errors import Question
    from ....ingest.exports.adapter import Export
    from ....ingest.exports.convert import Converted
    from ....ingest.log.log import Log

_LIMITS = "usual_interval_s gap_limit_s other_gap_limit_s"


def convert_document(done: Converted, export: Export, look: FirstLook) -> Document:
    """Return what a conversion did, and the readings as they were taken."""
    meta, recognised = done.meta, export.layouts[0].as_document()
    return {
        "log": str(done.log),
        "as_taken": _as_taken(look),
        **named(meta, "rows_read rows_kept rows_rejected"),
        "rejects_file": str(done.rejects_file) if done.rejects_file else None,
        "rows_merged": meta.rows_merged,
        "repeated_headers": done.repeated_headers,
        "dialect": recognised["dialect"],
        "quantities": recognised["quantities"],
        "time": {
            **recognised["time"],
            **named(meta, "zone zone_assumed undated"),
            **named(done, "start=first_us stop=last_us"),
            **named(meta, f"{_LIMITS} clock_steps"),
            "rows_in_a_repeated_hour": done.ambiguous,
        },
        **named(meta, "side sampling notes=remarks"),
        "misread": _misread(export),
        "left_out": None if (left := getattr(export, "left_out", None)) is None else left._asdict(),
    }


def _misread(export: Export) -> Document | None:
    """Return how many values of a film may be wrong; of text None."""
    misread = getattr(export, "misread", None)
    return None if misread is None else named(misread, "share at_most seconds no_figures")


def _as_taken(look: FirstLook) -> Document:
    """Return what is shown first on a terminal; the sums are without intervals, which `charge` has."""
    sums = {f"{way}_Ah": getattr(look.charge, way, None) for way in ("drawn", "returned")}
    sums |= {f"{way}_Wh": getattr(look.energy, way, None) for way in ("drawn", "returned")}
    last = None if look.last is None else _reading(look.last)
    return {
        "first": [_reading(reading) for reading in look.first],
        "last": last,
        "lowest": dict(look.lowest),
        "highest": dict(look.highest),
        **sums,
    }


def _reading(reading: ReadingShown) -> Document:
    return {"time": instant(reading.time_us), **reading.values}


def question_document(question: Question) -> Document:
    """Return what is asked of an export and the choices that settle it: options, and lines of a profile."""
    choices = [
        {"label": choice.label, "sets": dict(choice.sets), "unused": list(choice.unused)} for choice in question.choices
    ]
    return {"question": {"what": question.what, "evidence": question.evidence, "choices": choices}}


def again_document(out: Path, done: Log) -> Document:
    """Return what was written of a finished log, in the keys of a conversion; nothing of it was recognised."""
    return {
        "log": str(out),
        "rows_read": done.rows,
        "rows_kept": done.rows,
        "rows_rejected": 0,
        "rejects_file": None,
        "rows_merged": 0,
        "dialect": None,
        "quantities": [{"name": name} for name in done.quantities],
        "time": named(done.meta, f"zone undated {_LIMITS}"),
        **named(done.meta, "side sampling sign_applied notes=remarks"),
    }
