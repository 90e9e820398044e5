"""What look, convert, compare, forecast and fleet print as JSON: the keys scripts rely on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Any

from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.several_logs.fleet import RULE
from shuntbook.cli.render.terminal.look import verdict_line

from .parts import Document, facts_document, fields, finding_document, instant, part, span_document, told
from .site import bank_check_document, conductor_document

if TYPE_CHECKING:
    from pathlib import Path

    from shuntbook.analysis.forecast.bank_use import BankForecast
    from shuntbook.analysis.forecast.forecast import Forecast
    from shuntbook.analysis.one_log.log_report import LogReport
    from shuntbook.analysis.quality.fitness import Verdict
    from shuntbook.analysis.quality.quality import Quality
    from shuntbook.analysis.readings.log_facts import LogFacts
    from shuntbook.analysis.several_logs.compare import Comparison
    from shuntbook.analysis.several_logs.compared import Compared
    from shuntbook.analysis.several_logs.fleet import Counts
    from shuntbook.ingest.exports.adapter import Export
    from shuntbook.ingest.exports.convert import Converted
    from shuntbook.ingest.log.log import Log


def compare_document(found: Comparison) -> Document:
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


def fleet_document(
    rows: Sequence[Mapping[str, Any]], counts: Counts, work: Mapping[str, Any], version: str
) -> Document:
    """Return a fleet's document; `work` says what the run took, and is all in it that another run may say otherwise."""
    ranking = [{name: _told(value) for name, value in row.items()} for row in rows]
    return {"counts": asdict(counts), "rule": RULE, "ranking": ranking, "work": dict(work), "version": version}


def _told(value: Any) -> Any:  # noqa: ANN401 - any value of a row
    return value.isoformat().replace("+00:00", "Z") if isinstance(value, datetime) else value


def forecast_document(found: Forecast, log: str | None = None) -> Document:
    """Return a forecast; ``low``, ``high`` and ``u95`` of Ah and Wh are null where nothing was measured."""
    taken = found.taken
    amounts: Document = {}
    for unit, within in (("charge_Ah", taken.charge_Ah), ("energy_Wh", taken.energy_Wh)):
        name, symbol = unit.split("_")
        ends = (within.low, within.high) if taken.measured else (None, None)
        half = max(within.high - within.value, within.value - within.low) if taken.measured else None
        amounts |= {unit: within.value, f"{name}_u95_{symbol}": half}
        amounts |= {f"{name}_low_{symbol}": ends[0], f"{name}_high_{symbol}": ends[1]}
    plate = found.by_plate
    return {
        "load": found.load,
        "hours": found.hours,
        "measured": log if taken.measured else None,
        "chain": [{"step": s.step, "value": s.value, "unit": s.unit, "from": s.origin} for s in taken.chain],
        **amounts,
        "duty_cycle": taken.duty,
        "running_W": taken.running_W,
        "running_A": taken.running_A,
        "bank_voltage_V": taken.voltage_V,
        "without_a_break": {"charge_Ah": taken.unbroken_Ah, "energy_Wh": taken.unbroken_Wh},
        "as_measured": part(found.seen),
        "by_plate": None if plate is None else {"charge_Ah": plate.charge_Ah, "energy_Wh": plate.energy_Wh},
        "system": part(found.word),
        "bank": _bank(found.bank),
        "inverter": part(found.inverter),
        "conductors": [conductor_document(each) for each in found.conductors],
        "assumptions": list(taken.assumptions),
        "cautions": list(found.cautions),
    }


def _bank(found: BankForecast) -> Document:
    together = None if found.together is None else bank_check_document(found.together)
    kept = {name: part(value) for name, value in fields(found).items() if name not in ("check", "together")}
    return bank_check_document(found.check) | kept | {"sag": part(found.sag), "together": together}


def look_document(facts: LogFacts, quality: Quality, verdict: Verdict) -> Document:
    """Return what is in a log, what it is good for, and what is the matter with it."""
    return {
        "log": facts_document(facts),
        "span": span_document(quality.span),
        "availability": quality.availability,
        "spacing": told(quality.spacing) | {"irregularity": quality.spacing.irregularity},
        "quantities": {name: fields(part) for name, part in quality.ranges.items()},
        "verdict": {"text": verdict_line(verdict)} | told(verdict),
        "sign": told(quality.sign),
        "spikes": told(quality.spikes),
        "stuck": told(quality.stuck),
        "clipping": told(quality.clipping),
        "power_against_volts_amps": told(quality.agreement),
        "counter_resets": quality.counter_resets,
        "rest": told(quality.rest),
        "doubts": told(quality.doubts),
    }
