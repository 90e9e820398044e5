"""Charge and energy as JSON, with their intervals and budget."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from .parts import Document, facts_document, instant, span_document

if TYPE_CHECKING:
    from shuntbook.analysis.charge.amounts import Amounts, Charge
    from shuntbook.analysis.charge.between_notes import MarkedStretch
    from shuntbook.analysis.readings.log_facts import LogFacts
    from shuntbook.analysis.sureness.meter_figures import MeterFigures


def charge_document(
    facts: LogFacts, charge: Charge, marked: Sequence[MarkedStretch], figures: MeterFigures
) -> Document:
    """Return charge and energy, with their intervals and budget."""
    counter, amounts = charge.counter, charge.charge or charge.energy
    return {
        "log": facts_document(facts),
        "span": span_document(charge.span),
        "charge": amounts_document(charge.charge, "Ah"),
        "energy": {
            **amounts_document(charge.energy, "Wh"),
            "from": charge.energy_by,
            "covered_s": charge.energy_span.covered_s if charge.energy_span else None,
            "uncovered_s": charge.energy_span.uncovered_s if charge.energy_span else None,
        },
        "uncertainty": _budget(charge),
        "coverage_factor": amounts.sure.drawn.factor if amounts and amounts.sure else None,
        "meter_assumed": list(figures.assumed),
        "zero_check": _zero_check(figures),
        "in_gaps": _in_gaps(charge),
        "other_gap_limit": _otherwise(charge),
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


def amounts_document(amounts: Amounts | None, unit: str) -> Document:
    """Return drawn, returned and net with the ends of their intervals; keys end in the unit."""
    keys = ("drawn", "returned", "net")
    document: Document = {f"{key}_{unit}": getattr(amounts, key) if amounts else None for key in keys}
    sure = amounts.sure if amounts else None
    for what in ("u95", "low", "high"):
        document |= {f"{key}_{what}_{unit}": getattr(getattr(sure, key), what) if sure else None for key in keys}
    return document


def _budget(charge: Charge) -> list[Document]:
    """Return what the uncertainty of the drawn charge is made of; of the drawn energy where there is no charge."""
    of_charge, of_energy = (
        {part.source: part for part in amounts.sure.drawn.components} if amounts and amounts.sure else {}
        for amounts in (charge.charge, charge.energy)
    )
    leading = charge.charge or charge.energy
    sure = leading.sure.drawn if leading and leading.sure else None
    own = of_charge if charge.charge else of_energy
    return [
        {
            "source": source,
            "u_Ah": of_charge[source].u if source in of_charge else None,
            "u_Wh": of_energy[source].u if source in of_energy else None,
            "share": sure.share(own[source]) if sure and source in own else None,
            "reason": part.reason,
        }
        for source, part in (of_charge | {key: part for key, part in of_energy.items() if key not in of_charge}).items()
    ]


def _zero_check(figures: MeterFigures) -> Document | None:
    check = figures.zero_check
    if check is None:
        return None
    return {
        "from": instant(check.from_us),
        "to": instant(check.to_us),
        "readings": check.readings,
        "offset_A": check.offset_A,
        "u_A": check.u_A,
    }


def _in_gaps(charge: Charge) -> Document | None:
    guess = charge.in_gaps
    if guess is None:
        return None
    unit = "Ah" if charge.charge is not None else "Wh"
    return {f"{key}_{unit}": getattr(guess, key) for key in ("drawn", "returned", "net")}


def _otherwise(charge: Charge) -> Document | None:
    """Return the amounts by the other gap limit that the spacings allow."""
    other = charge.otherwise
    if other is None:
        return None
    return {
        "gap_limit_s": other.how.gap_limit_s,
        "covered_s": other.span.covered_s,
        "in_doubt": charge.doubtful,
        **amounts_document(other.charge, "Ah"),
        **amounts_document(other.energy, "Wh"),
    }
