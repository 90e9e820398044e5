"""What a log amounts to by either gap limit, where its spacings allow two."""

from __future__ import annotations

from ..analysis.amounts import Charge
from ..analysis.amounts_analysis import AmountsAnalysis
from ..analysis.refusal import Refusal
from .prepared import Prepared


def charge_if_in_doubt(ready: Prepared) -> Charge | None:
    """Return a log's charge and energy with what they would be otherwise; None where its spacings leave no doubt."""
    if ready.how.other_gap_limit_s is None:
        return None
    try:
        amounts = AmountsAnalysis(ready.how, ready.quantities, ready.figures)
    except Refusal:
        return None  # there is nothing to integrate, so nothing to be in doubt of
    ready.feed(amounts)
    charge, _ = amounts.result()
    return charge
