"""Two logs side by side as JSON: the keys scripts rely on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shuntbook.analysis.not_known import Missing

from .parts import Document, facts_document, finding_document, part, span_document

if TYPE_CHECKING:
    from shuntbook.analysis.one_log.log_report import LogReport
    from shuntbook.analysis.several_logs.compare import LogComparison
    from shuntbook.analysis.several_logs.compared import Compared


def compare_document(found: LogComparison) -> Document:
    """Return both logs, each figure with its difference and whether it differs, findings, and what it rests on."""
    return {
        "before": _log(found.before),
        "after": _log(found.after),
        "one_meter": found.one_meter,
        "nothing_differs": found.nothing_differs,
        "figures": [_figure(row) for row in found.rows],
        "left_out": [{"why_not": left.sentence, "add": list(left.add)} for left in found.left_out],
        "findings": [
            {"change": each.change, "judged_in_both": each.judged, **finding_document(each.finding)}
            for each in found.findings
        ],
        "notes": list(found.said),
    }


def _log(log: LogReport) -> Document:
    return {"log": facts_document(log.facts), "span": span_document(log.charge.span), "load": log.cycles.load}


def _figure(row: Compared) -> Document:
    apart = row.difference
    return {
        "code": row.code,
        "name": row.name,
        "unit": row.unit,
        "before": part(row.before),
        "after": part(row.after),
        "difference": None if isinstance(apart, Missing) else part(apart),
        "ratio": part(row.ratio),
        "differs": row.differs,
        "why_not": apart.sentence if isinstance(apart, Missing) else None,
        "in_common": row.cancels or None,
    }
