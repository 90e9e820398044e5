"""The nameplate's estimate, the measurement and the reasons between them as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from shuntbook.analysis.not_known import Missing
from shuntbook.cli.render.wording.log_sentences import reason_said

if TYPE_CHECKING:
    from shuntbook.analysis.both_sides.loss_fit import LossFit
    from shuntbook.analysis.nameplate.estimate import Estimate
    from shuntbook.analysis.nameplate.plate_check import PlateCheck
    from shuntbook.analysis.nameplate.reasons import Explained, Reason
    from shuntbook.analysis.several_logs.report import PairedLogs
    from shuntbook.analysis.stats.interval95 import Within

Document = dict[str, Any]


def plate_document(check: PlateCheck | None) -> Document | None:
    """Return the chain, the comparison, and why they differ; None where nothing was compared."""
    if check is None:
        return None
    seen, runs = check.comparison, check.runs
    return {
        "load": check.estimate.load,
        "run_h": check.estimate.run_h,
        "runs": runs.runs,
        "runs_left_out": runs.left_out,
        "chain": chain_document(check.estimate),
        "assumptions": list(check.estimate.assumptions),
        **{name: getattr(seen, name) for name in seen.__dataclass_fields__},
        "measured_energy_u95_Wh": runs.energy_u95_Wh,
        "measured_charge_u95_Ah": runs.charge_u95_Ah,
        "paper_to_estimate": _explained(check.left_out_on_paper),
        "estimate_to_measured": _explained(check.why),
        "by_habit": _by_habit(check),
        "remarks": list(check.remarks),
    }


def chain_document(estimate: Estimate) -> list[Document]:
    """Return the steps of an estimate, each with where its figure is from."""
    return [{"step": s.step, "value": s.value, "unit": s.unit, "from": s.origin} for s in estimate.steps]


def _by_habit(check: PlateCheck) -> Document | None:
    if check.habit is None or check.by_habit is None:
        return None
    return {
        "hours": check.habit.hours,
        "duty_cycle_estimated": check.habit.run_h / check.habit.hours,
        "duty_cycle_measured": check.runs.run_h / check.habit.hours,
        "paper_energy_Wh": check.habit.paper_Wh,
        "paper_charge_Ah": check.habit.paper_Ah,
        **_explained(check.by_habit),
    }


def _explained(found: Explained) -> Document:
    """Return a difference and its reasons, which sum to it."""
    charge = found.charge
    return {
        "energy_from_Wh": found.energy.estimated,
        "energy_to_Wh": found.energy.measured,
        "energy_difference_Wh": found.energy.difference,
        "charge_from_Ah": None if charge is None else charge.estimated,
        "charge_to_Ah": None if charge is None else charge.measured,
        "charge_difference_Ah": None if charge is None else charge.difference,
        "parts": [_part(reason) for reason in found.reasons],
    }


def _part(reason: Reason) -> Document:
    return {name: getattr(reason, name) for name in reason.__dataclass_fields__} | {"sentence": reason_said(reason)}


def paired_document(pair: PairedLogs) -> Document:
    """Return what a log at the bank and one behind an inverter say together, or why they do not."""
    found = pair.measured
    document: Document = {"at_bank": pair.at_bank, "behind": pair.behind, "why_not": pair.why_not}
    if found is None:
        return document
    clocks = found.clocks
    return document | {
        "clock_offset": {
            "offset_s": clocks.offset_s,
            "offset_u95_s": clocks.u95_s,
            "drift_ppm": clocks.drift_ppm,
            "drift_u95_ppm": clocks.u95_ppm,
            "steps_matched": clocks.steps_matched,
            "steps_missed": clocks.steps_missed,
        },
        "load_W": found.load_W,
        "efficiency": _within(found.efficiency),
        "steps": found.steps,
        "idle_W": _within(found.idle_W),
        "losses": _losses(found.losses),
        "said": list(found.said),
    }


def _within(figure: Within | Missing) -> Document:
    if isinstance(figure, Missing):
        return {"value": None, "low": None, "high": None, "why_not": figure.sentence}
    return {"value": figure.value, "low": figure.low, "high": figure.high, "why_not": None}


def _losses(losses: LossFit | Missing) -> Document:
    if isinstance(losses, Missing):
        return {"why_not": losses.sentence}
    terms = {name: _within(getattr(losses, name)) for name in ("idle_W", "proportional", "square_per_W")}
    return {"why_not": None, **terms, "assumptions": list(losses.assumptions)}
