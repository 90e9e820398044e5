"""A whole report as JSON: the keys scripts rely on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .charge import charge_document
from .cycles import cycles_document
from .nameplate import paired_document, plate_document
from .parts import Document, finding_document
from .site import site_documents

if TYPE_CHECKING:
    from shuntbook.analysis.one_log.log_report import LogReport
    from shuntbook.analysis.several_logs.report import Report


def report_document(report: Report) -> Document:
    """Return a report: the first log's parts at the top, and every log's under ``logs``.

    Parts that need a site file are null without one, and ``over_logs`` for one log in which nobody named a change.
    """
    from .several import over_document  # it takes parts from here

    logs = [_log_parts(log) for log in report.logs]
    site = report.site.name if report.site is not None else None
    return {
        **logs[0],
        "findings": [
            {**finding_document(finding), "log": log.facts.name} for log in report.logs for finding in log.findings
        ],
        "over_logs": over_document(report.over),
        "paired": [paired_document(pair) for pair in report.paired],
        "cautions": list(report.cautions),
        "site": site,
        "version": report.version,
        "logs": logs,
    }


def _log_parts(log: LogReport) -> Document:
    cycles = cycles_document(log)
    return {
        "charge": charge_document(log.facts, log.charge, log.marked, log.figures),
        "cycles": cycles,
        "nameplate": plate_document(log.plate),
        "findings": cycles["findings"],
        "marked": cycles["marked"],
        **site_documents(log),
    }
