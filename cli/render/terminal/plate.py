"""A load's nameplate beside what was measured of it, as lines for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..wording.lesson import by_habit, reason_said
from ..wording.numbers import amount, duration, plus_minus, shortened

if TYPE_CHECKING:
    from ....analysis.nameplate.plate_check import PlateCheck
    from ....analysis.nameplate.reasons import Explained
    from ....analysis.one_log.log_report import LogReport


def plate_in_short(log: LogReport) -> list[str]:
    """Say what paper and nameplate make of the time that a load ran; empty where no plate was to be compared."""
    if log.plate is None:
        return []
    estimate = log.plate.estimate
    return [
        f"For the {duration(estimate.hours * 3600)} it ran, the sum on paper says {amount(estimate.paper_Wh, 'Wh')}, "
        f"its nameplate {amount(estimate.energy_Wh, 'Wh')}."
    ]


def plate_lines(log: LogReport) -> list[str]:
    """Return paper, nameplate and measurement with the reasons between; empty where no plate was to be compared."""
    if log.plate is None:
        return [] if log.no_plate is None else ["", f"nameplate: not compared: {log.no_plate}"]
    check = log.plate
    estimate = check.estimate
    lines = [
        "",
        f"nameplate of {shortened(estimate.load)}, over the {duration(estimate.hours * 3600)} it ran",
        f"  on paper: {_both(estimate.paper_Wh, estimate.paper_Ah)}",
        *_reasons(check.left_out_on_paper),
        f"  from the nameplate: {_both(estimate.energy_Wh, estimate.charge_Ah)}",
        *_reasons(check.why),
        f"  measured: {_measured(check)}",
    ]
    habit = by_habit(check)
    lines += [f"  {habit}"] if habit else []
    lines += [f"  assumed: {text}" for text in estimate.assumptions]
    return lines + [f"  note: {text}" for text in check.remarks]


def _both(energy_Wh: float, charge_Ah: float) -> str:
    return f"{amount(energy_Wh, 'Wh')}, {amount(charge_Ah, 'Ah')}"


def _measured(check: PlateCheck) -> str:
    runs = check.runs
    energy = plus_minus(runs.energy_Wh, runs.energy_u95_Wh, "Wh")
    return energy if runs.charge_Ah is None else f"{energy}, {plus_minus(runs.charge_Ah, runs.charge_u95_Ah, 'Ah')}"


def _reasons(explained: Explained) -> list[str]:
    """Return a line for each reason, the amounts first."""
    return [f"      {reason_said(reason)} ({reason.basis})" for reason in explained.reasons]
