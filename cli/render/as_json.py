"""Results as JSON: the keys scripts rely on."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from math import isfinite
from typing import TYPE_CHECKING, Any

import click

from .words import moment_of

if TYPE_CHECKING:
    from ...analysis.charge import Amounts, Charge, Span
    from ...analysis.cycle_record import Cycle
    from ...analysis.finding import Check, Finding
    from ...analysis.marked import MarkedStretch
    from ...analysis.quality import Quality
    from ...analysis.report import LogFacts, LogReport, PlateCheck, Report
    from ...ingest.convert import Converted
    from ...ingest.export import Export

Document = dict[str, Any]


def print_json(document: Mapping[str, Any]) -> None:
    """Print one document alone; what is not a finite number becomes null."""
    click.echo(json.dumps(_clean(document), indent=2, ensure_ascii=False, allow_nan=False))


def _clean(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: _clean(item) for key, item in value.items()}
    return [_clean(item) for item in value] if isinstance(value, (list, tuple)) else value


def instant(us: int | None) -> str | None:
    """Return an instant, microseconds since 1970, as ISO 8601 in UTC."""
    if us is None:
        return None
    return moment_of(us).isoformat().replace("+00:00", "Z")


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
            "clock_steps": meta.clock_steps,
            "rows_in_a_repeated_hour": done.ambiguous,
        },
        "side": meta.side,
        "sampling": meta.sampling,
        "notes": meta.said,
    }


def facts_document(facts: LogFacts) -> Document:
    """Return where a log comes from."""
    return {
        "name": facts.name,
        "meter": facts.meter,
        "side": facts.side,
        "sampling": facts.sampling,
        "zone": facts.zone,
        "zone_assumed": facts.zone_assumed,
        "undated": facts.undated,
        "gap_limit_s": facts.gap_limit_s,
        "usual_interval_s": facts.usual_interval_s,
        "source": facts.source,
        "rows_read": facts.rows_read,
        "rows_kept": facts.rows_kept,
        "rows_rejected": facts.rows_rejected,
        "rows_merged": facts.rows_merged,
        "notes": list(facts.said),
    }


def charge_document(facts: LogFacts, charge: Charge, marked: Sequence[MarkedStretch] = ()) -> Document:
    """Return charge and energy."""
    counter = charge.counter
    return {
        "log": facts_document(facts),
        "span": _span(charge.span),
        "charge": _amounts(charge.charge, "Ah"),
        "energy": {
            **_amounts(charge.energy, "Wh"),
            "from": charge.energy_by,
            "covered_s": charge.energy_span.covered_s if charge.energy_span else None,
            "uncovered_s": charge.energy_span.uncovered_s if charge.energy_span else None,
        },
        "uncertainty": [],
        "meter_counter": None
        if counter is None
        else {
            "charge_Ah": counter.charge_Ah,
            "difference_Ah": counter.difference_Ah,
            "against": counter.against,
            "resets": counter.resets,
            "counts_down": counter.counts_down,
            "in_gaps_Ah": counter.in_gaps_Ah,
        },
        "marked": marked_document(marked),
    }


def marked_document(marked: Sequence[MarkedStretch]) -> list[Document]:
    """Return what was drawn from each marker to the next."""
    return [
        {
            "text": stretch.text,
            "start": instant(stretch.start_us),
            "stop": instant(stretch.stop_us),
            "drawn_Ah": stretch.charge.drawn if stretch.charge else None,
            "drawn_u95_Ah": stretch.charge.drawn_u95 if stretch.charge else None,
            "energy_Wh": stretch.energy.drawn if stretch.energy else None,
            "energy_u95_Wh": stretch.energy.drawn_u95 if stretch.energy else None,
        }
        for stretch in marked
    ]


def _span(span: Span) -> Document:
    return {
        "start": instant(span.start_us),
        "stop": instant(span.stop_us),
        "readings": span.readings,
        "covered_s": span.covered_s,
        "uncovered_s": span.uncovered_s,
        "gaps": [{"start": instant(gap.start_us), "stop": instant(gap.stop_us)} for gap in span.gaps],
    }


def look_document(facts: LogFacts, span: Span, quality: Quality) -> Document:
    """Return what is in a log."""
    sign = quality.sign
    return {
        "log": facts_document(facts),
        "span": _span(span),
        "quantities": {name: _fields(part) for name, part in quality.ranges.items()},
        "sign": None if sign is None else _fields(sign),
    }


def _fields(item: Any) -> Document:  # noqa: ANN401 - any flat dataclass
    return {name: getattr(item, name) for name in item.__dataclass_fields__}


def _amounts(amounts: Amounts | None, unit: str) -> Document:
    keys = ("drawn", "returned", "net")
    if amounts is None:
        return {f"{key}_{suffix}": None for suffix in (unit, f"u95_{unit}") for key in keys}
    return {f"{key}_{unit}": getattr(amounts, key) for key in keys} | {
        f"{key}_u95_{unit}": getattr(amounts, f"{key}_u95") for key in keys
    }


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
            "signal": cycles.signal,
        },
        "findings": [finding_document(finding) for finding in log.findings],
        "checks": [_check(check) for check in log.checks],
        "trends": [_fields(trend) for trend in log.trends],
        "marked": marked_document(log.marked),
    }


def _cycle(cycle: Cycle) -> Document:
    document = {name: value for name, value in _fields(cycle).items() if not name.endswith("_us")}
    return {"load": document.pop("load"), "start": instant(cycle.start_us), "stop": instant(cycle.stop_us), **document}


def finding_document(finding: Finding) -> Document:
    """Return a finding; the runs it rests on by their starts."""
    return {**_fields(finding), "cycles": [instant(us) for us in finding.cycles]}


def _check(check: Check) -> Document:
    keys = ("code", "outcome", "limit", "source", "said")
    return {key: getattr(check, key) or None for key in keys}


def report_document(report: Report) -> Document:
    """Return a report: the first log's parts at the top, and every log's under ``logs``.

    Parts that are not worked out are null.
    """
    logs = [_log_parts(log) for log in report.logs]
    not_yet = dict.fromkeys(("ledger", "bank", "inverters", "conductors", "water", "solar"))
    site = report.site.name if report.site is not None else None
    return {
        **logs[0],
        **not_yet,
        "findings": [
            {**finding_document(finding), "log": log.facts.name} for log in report.logs for finding in log.findings
        ],
        "cautions": list(report.cautions),
        "site": site,
        "version": report.version,
        "logs": logs,
    }


def _log_parts(log: LogReport) -> Document:
    cycles = cycles_document(log)
    return {
        "charge": charge_document(log.facts, log.charge, log.marked),
        "cycles": cycles,
        "nameplate": _plate(log.plate),
        "findings": cycles["findings"],
        "marked": cycles["marked"],
    }


def _plate(plate: PlateCheck | None) -> Document | None:
    if plate is None:
        return None
    steps = [{"step": s.step, "value": s.value, "unit": s.unit, "from": s.origin} for s in plate.estimate.steps]
    return {
        "load": plate.estimate.load,
        "run_h": plate.estimate.run_h,
        "chain": steps,
        "assumptions": list(plate.estimate.assumptions),
        **_fields(plate.comparison),
    }
