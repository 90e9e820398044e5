"""One log as JSON: charge and energy, a load's cycles, the nameplate beside the measurement."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, Literal

from ....analysis.charge.amounts import budget_of
from ....analysis.cycles.taken_by_load import taken_by_load
from ....analysis.health.finding import is_swapped
from ....analysis.not_known import Missing
from ....analysis.one_log.from_array import sure_from_array
from ..wording.answer import first_answer
from ..wording.lesson import reason_said
from ..wording.log_sentences import usual_bursts
from .parts import Document, document_of, named

if TYPE_CHECKING:
    from ....analysis.charge.amounts import Amounts, Budget, Charge
    from ....analysis.charge.between_notes import MarkedStretch
    from ....analysis.cycles.cycle import Cycle, Cycles
    from ....analysis.nameplate.lesson import Lesson
    from ....analysis.nameplate.plate_check import PlateCheck
    from ....analysis.nameplate.reasons import Explained
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.readings.log_facts import LogFacts
    from ....analysis.sureness.meter_figures import MeterFigures

UNITS: Final[tuple[Literal["Ah", "Wh"], ...]] = ("Ah", "Wh")
_AMOUNTS = ("drawn", "returned", "net")


def charge_document(
    facts: LogFacts, charge: Charge, marked: Sequence[MarkedStretch], figures: MeterFigures
) -> Document:
    """Return charge and energy, with their intervals and budget."""
    budget = budget_of(charge)
    return {
        "log": document_of(facts),
        "span": document_of(charge.span),
        "charge": amounts_document(charge.charge, "Ah"),
        "energy": {
            **amounts_document(charge.energy, "Wh"),
            **named(charge, "from=energy_by covered_s=energy_span.covered_s uncovered_s=energy_span.uncovered_s"),
        },
        # Which figure the budget and the factor belong to.
        "uncertainty_of": f"{budget.part}_{'Ah' if budget.quantity == 'charge' else 'Wh'}" if budget else None,
        "uncertainty": _budget(budget),
        "coverage_factor": budget.sure.factor if budget else None,
        "meter_assumed": list(figures.assumed),
        "zero_check": document_of(figures.zero_check),
        "in_gaps": _in_gaps(charge),
        "other_gap_limit": _by_other_limit(charge),
        "meter_counter": document_of(charge.counter),
        "marked": document_of(marked),
    }


def amounts_document(amounts: Amounts | None, unit: str) -> Document:
    """Return drawn, returned and net with the ends of their intervals; keys end in the unit."""
    # Keys are there whether or not anything was measured, so that a script need not ask for them.
    document: Document = {f"{key}_{unit}": getattr(amounts, key) if amounts else None for key in _AMOUNTS}
    sure = amounts.sure if amounts else None
    for what in ("u95", "low", "high"):
        document |= {f"{key}_{what}_{unit}": getattr(getattr(sure, key), what) if sure else None for key in _AMOUNTS}
    return document


def _budget(budget: Budget | None) -> list[Document]:
    """Return what the uncertainty of a figure is made of, beside that of the other quantity."""
    if budget is None:
        return []
    return [
        {
            "source": source,
            **{
                f"u_{unit}": of[source].u if source in of else None
                for of, unit in ((budget.charge, "Ah"), (budget.energy, "Wh"))
            },
            "share": budget.share(source),
            "reason": component.reason,
        }
        for source, component in budget.sources.items()
    ]


def _in_gaps(charge: Charge) -> Document | None:
    unit = "Ah" if charge.charge is not None else "Wh"
    return None if charge.in_gaps is None else {f"{key}_{unit}": getattr(charge.in_gaps, key) for key in _AMOUNTS}


def _by_other_limit(charge: Charge) -> Document | None:
    """Return the amounts by the other gap limit that the spacings allow."""
    other = charge.otherwise
    if other is None:
        return None
    return {
        **named(other, "gap_limit_s=how.gap_limit_s covered_s=span.covered_s"),
        "in_doubt": charge.doubtful,
        **amounts_document(other.charge, "Ah"),
        **amounts_document(other.energy, "Wh"),
    }


def load_total_or_why(log: LogReport) -> Document:
    """Return the answer, what the load took by itself, or why nobody can tell: a wrong figure is worse than none."""
    if is_swapped(log.findings):
        return {"load_total": None, "load_total_why_not": first_answer(log)}
    return {"load_total": _load_total(log), "load_total_why_not": None}


def _load_total(log: LogReport) -> Document:
    """Return what the load took by itself, and what of it surely did not come out of the bank."""
    return {
        "load": log.cycles.load,
        **document_of(taken_by_load(log.cycles)),
        **{f"from_array_at_least_{unit}": sure_from_array(log, unit) for unit in UNITS},
    }


def cycles_document(log: LogReport) -> Document:
    """Return the load's total, the cycles, their summary, the findings, all limits that were checked, and trends."""
    return {
        **load_total_or_why(log),
        "log": document_of(log.facts),
        "cycles": [_cycle(cycle, log.cycles) for cycle in log.cycles.cycles],
        "summary": {**named(log.cycles, "*summary signal"), **_speeds(log.cycles)},
        "two_kinds": document_of(log.cycles.two_kinds),
        "bursts": document_of(usual_bursts(log)),
        **named(log, "findings checks trends starts=load_starts marked"),
        "pump_pulse": document_of(log.pulse),
    }


def _speeds(cycles: Cycles) -> Document:
    """Return the draws of a load of several speeds; nothing of one that is on or off."""
    return {**named(cycles, "fixed_speeds"), "speeds": document_of(cycles.speeds)} if cycles.speeds else {}


def _cycle(cycle: Cycle, cycles: Cycles) -> Document:
    """Return a run; one at several speeds with its levels and the time at each."""
    document: Document = document_of(cycle)
    lasted_s = document.pop("at_speeds")
    if not cycles.speeds:
        return document
    at_each = zip(cycles.speeds, lasted_s, strict=True)
    levels = [{**named(speed, "draw_A draw_W"), "lasted_s": each_s} for speed, each_s in at_each if each_s > 0]
    return {**document, "levels": levels}


def plate_document(check: PlateCheck | None) -> Document | None:
    """Return the chain, the comparison, and why they differ; None where nothing was compared."""
    if check is None:
        return None
    return {
        **document_of(check),
        **lesson_document(check.lesson),
        "paper_to_estimate": _explained(check.left_out_on_paper),
        "estimate_to_measured": _explained(check.why),
        "by_habit": _by_habit(check),
    }


def lesson_document(lesson: Lesson) -> Document:
    """Return the sum on paper beside what is taken, step by step; and back again, or why not."""
    back = lesson.back
    # An empty list and the reason: a script finds its keys anyhow.
    return {
        "steps": document_of(lesson.steps),
        "steps_back": [] if isinstance(back, Missing) else document_of(back),
        "steps_back_why_not": back.sentence if isinstance(back, Missing) else None,
    }


def _by_habit(check: PlateCheck) -> Document | None:
    habit = check.habit
    if habit is None or check.by_habit is None:
        return None
    return {
        "hours": habit.hours,
        "duty_cycle_estimated": habit.run_h / habit.hours,
        "duty_cycle_measured": check.runs.run_h / habit.hours,
        **named(habit, "paper_energy_Wh=paper_Wh paper_charge_Ah=paper_Ah"),
        **_explained(check.by_habit),
    }


def _explained(between: Explained) -> Document:
    """Return a difference and its reasons, which sum to it."""
    parts = [document_of(reason) | {"sentence": reason_said(reason)} for reason in between.reasons]
    return {**document_of(between), "parts": parts}
