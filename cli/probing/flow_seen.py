"""Which way amps or watts flowed: the bank's volts fall when it gives, and rise when it takes."""

from __future__ import annotations

import numpy as np

from ...ingest.modbus.find import Candidate, SeenRound
from ..render.wording.numbers import amount
from .kept_profile import BankFlow
from .meter_search import MeterSearch

#: What volts must move by to say anything. Common practice, no source. [V]
_LEAST_V = 0.05
_VOLTS = "voltage_V"


def flow_seen(search: MeterSearch, quantity: str) -> tuple[BankFlow, str] | None:
    """Return which way a quantity flows as it grows, and the evidence; None where nothing tells it.

    It takes two values of it, and volts that are known by a value of the display.
    """
    seen = [] if search.display is None else search.display.rounds.get(quantity, [])
    rounds = sorted(seen, key=lambda each: abs(each.shown.value))
    volts = search.settled(_VOLTS)
    if volts is None or len({each.shown.value for each in rounds}) < 2:
        return None
    # Whatever the sign: a load that grows pulls the bank's volts down, a charger that does lifts them.
    less, more = _volts_in(volts, rounds[0]), _volts_in(volts, rounds[-1])
    # A bank that is large beside the load hardly moves: then the person is asked without a hint.
    if abs(more - less) < _LEAST_V:
        return None
    falls = more < less
    evidence = (
        f"The volts {'fell' if falls else 'rose'} from {amount(less, 'V')} to {amount(more, 'V')} as the display went "
        f"from {rounds[0].shown.text} to {rounds[-1].shown.text}."
    )
    return ("out" if falls else "in"), evidence


def _volts_in(volts: Candidate, seen: SeenRound) -> float:
    return float(np.mean(volts.values(seen.looks)))
