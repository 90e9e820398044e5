"""Results as JSON: the keys scripts rely on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .charge_json import charge_document, marked_document
from .json_parts import Document, facts_document, fields, instant
from .plate_json import paired_document, plate_document
from .site_json import site_documents

if TYPE_CHECKING:
    from ...analysis.cycle_record import Cycle, TwoKinds
    from ...analysis.finding import Check, Finding
    from ...analysis.report import LogReport, Report


def cycles_document(log: LogReport) -> Document:
    """Return the cycles, their summary, the findings, all limits that were checked, and trends."""
    cycles, summary = log.cycles, log.cycles.summary
    return {
        "log": facts_document(log.facts),
        "cycles": [_cycle(cycle) for cycle in cycles.cycles],
        "summary": {
            "count": summary.count,
            "starts_per_hour": summary.starts_per_hour,
            "duty_cycle": summary.duty_cycle,
            "median_run_s": summary.median_run_s,
            "median_off_s": summary.median_off_s,
            "other_runs": summary.other_runs,
            "charge_Ah": summary.charge_Ah,
            "charge_u95_Ah": summary.charge_u95_Ah,
            "energy_Wh": summary.energy_Wh,
            "energy_u95_Wh": summary.energy_u95_Wh,
            "signal": cycles.signal,
        },
        "two_kinds": None if cycles.two_kinds is None else _two_kinds(cycles.two_kinds),
        "findings": [finding_document(finding) for finding in log.findings],
        "checks": [_check(check) for check in log.checks],
        "trends": [fields(trend) for trend in log.trends],
        "marked": marked_document(log.marked),
    }


def _two_kinds(two: TwoKinds) -> Document:
    return {"kinds": [fields(kind) for kind in two.kinds], "own": two.own}


def _cycle(cycle: Cycle) -> Document:
    document = {name: value for name, value in fields(cycle).items() if not name.endswith("_us")}
    return {"load": document.pop("load"), "start": instant(cycle.start_us), "stop": instant(cycle.stop_us), **document}


def finding_document(finding: Finding) -> Document:
    """Return a finding; the runs it rests on by their starts."""
    return {**fields(finding), "cycles": [instant(us) for us in finding.cycles]}


def _check(check: Check) -> Document:
    keys = ("code", "outcome", "limit", "source", "said")
    return {key: getattr(check, key) or None for key in keys}


def report_document(report: Report) -> Document:
    """Return a report: the first log's parts at the top, and every log's under ``logs``.

    Parts that need a site file are null without one, and ``over_logs`` for one log in which nobody named a change.
    """
    from .over_json import over_document  # it takes parts from here

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
