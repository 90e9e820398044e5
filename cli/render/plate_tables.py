"""The page's tables of the nameplate: the estimate step by step, three sums side by side, and the reasons between."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import words
from .tables import Table

if TYPE_CHECKING:
    from ...analysis.plate_check import PlateCheck
    from ...analysis.reasons import Explained


def steps(check: PlateCheck) -> Table:
    """Return the steps of the estimate from the nameplate, each with where it comes from."""
    rows = tuple(
        (words.shortened(step.step, 200), words.amount(step.value, step.unit), words.shortened(step.origin, 300))
        for step in check.estimate.steps
    )
    return Table("The estimate, step by step", ("Step", "Value", "Where it comes from"), rows, prose=True)


def compared(check: PlateCheck) -> Table:
    """Return paper, estimate and measurement beside each other."""
    estimate, seen = check.estimate, check.comparison
    rows = (
        ("On paper", estimate.paper_Wh, estimate.paper_Ah, seen.paper_energy_ratio),
        ("From the nameplate", estimate.energy_Wh, estimate.charge_Ah, seen.energy_ratio),
        ("Measured", seen.measured_energy_Wh, seen.measured_charge_Ah, 1.0),
    )
    return Table(
        f"The same {words.duration(estimate.hours * 3600)}, three ways",
        ("", "Energy", "Charge", "Measured / this"),
        tuple(
            (what, words.amount(Wh, "Wh"), words.amount(Ah, "Ah"), words.percent(ratio)) for what, Wh, Ah, ratio in rows
        ),
    )


def left_out_on_paper(check: PlateCheck) -> Table:
    """Return what lies between the sum on paper and the estimate."""
    return _reasons("From the sum on paper to the estimate", check.left_out_on_paper)


def why(check: PlateCheck) -> Table:
    """Return what lies between the estimate and the measurement, for the time the load ran."""
    return _reasons("From the estimate to the measurement", check.why)


def by_habit(check: PlateCheck) -> Table | None:
    """Return what lies between the estimate for all the time measured and what was taken; None where not known."""
    if check.by_habit is None:
        return None
    return _reasons("All the time measured: from the estimate to the measurement", check.by_habit)


def _reasons(caption: str, found: Explained) -> Table:
    rows = [
        (
            f"{words.capital(reason.source)} ({reason.basis}): {words.shortened(reason.because, 300)}.",
            words.signed(reason.energy_Wh, "Wh"),
            words.signed(reason.charge_Ah, "Ah"),
            words.percent(reason.share),
        )
        for reason in found.reasons
    ]
    charge = words.signed(None if found.charge is None else found.charge.difference, "Ah")
    rows.append(("Together", words.signed(found.energy.difference, "Wh"), charge, ""))
    return Table(caption, ("Reason", "Energy", "Charge", "Share of the energy"), tuple(rows), prose=True)
