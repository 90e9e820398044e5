"""A load's runs and what was checked of them as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .charge import marked_document
from .parts import Document, facts_document, fields, finding_document, instant

if TYPE_CHECKING:
    from shuntbook.analysis.cycles.cycle import Cycle, TwoKinds
    from shuntbook.analysis.health.finding import Check
    from shuntbook.analysis.one_log.log_report import LogReport


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


def _check(check: Check) -> Document:
    keys = ("code", "outcome", "limit", "source", "said")
    return {key: getattr(check, key) or None for key in keys}
