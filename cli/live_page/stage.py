"""What the stage shows of a meter: few figures, each with its words, for people some metres away."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ...analysis.health.finding import is_swapped
from ..capture.screen import LARGE, live_number, live_value, load_called, run_state, stretch_called, taken_so_far
from ..render.wording import numbers
from ..render.wording.answer import UNTIL_TURNED

if TYPE_CHECKING:
    from ...analysis.charge.amounts import Charge
    from ..capture.live_meter import Snapshot

#: What stands in the place of a figure that is not known yet.
_NONE = "–"
#: A current that is shown as less than this flows neither way. [A]
_NO_CURRENT = 0.005


@dataclass(frozen=True)
class ShownAmount:
    """What went out and what came back in one unit, in words; at the bank, or behind an inverter."""

    unit: str
    drawn: str
    returned: str
    has_returned: bool
    at_bank: bool


def both_ways(charge: Charge | None) -> list[ShownAmount]:
    """Return the charge and the energy of a stretch, those of them that there are."""
    kinds = [] if charge is None else [(charge.charge, "Ah"), (charge.energy, "Wh")]
    at_bank = charge is not None and charge.charge is not None
    return [
        ShownAmount(
            unit,
            numbers.plus_minus(amounts.drawn, amounts.drawn_u95, unit),
            numbers.plus_minus(amounts.returned, amounts.returned_u95, unit),
            amounts.returned > 0,
            at_bank,
        )
        for amounts, unit in kinds
        if amounts is not None
    ]


def stage(snapshot: Snapshot) -> dict[str, Any]:
    """Return what is shown large: the amount since the last note, what flows now, and what the load does and took."""
    cycles = snapshot.cycles
    total = taken_so_far(snapshot)
    return {
        "amount": _amount(snapshot),
        "flow": _flow(snapshot),
        "load": "" if cycles is None else f"{numbers.capital(load_called(cycles))} {_state(snapshot)}",
        "took": "" if total is None else total.sentence,
    }


def _state(snapshot: Snapshot) -> str:
    state, how_long = run_state(snapshot)
    return f"has been {state} {how_long}" if how_long else f"is {state}"


def _amount(snapshot: Snapshot) -> dict[str, str]:
    """Return the large figure with its unit, what it is, and what stands beside it."""
    since = snapshot.since_mark is not None
    when = stretch_called(snapshot, 40 if snapshot.ended_by is None else 24) if since else "since the start"
    if is_swapped(snapshot.findings):
        return {"value": _NONE, "unit": "", "what": when, "beside": f"not known {UNTIL_TURNED}"}
    ways = both_ways(snapshot.since_mark if since else snapshot.charge)
    if not ways:
        return {"value": _NONE, "unit": "", "what": when, "beside": "nothing to add up yet"}
    first, *others = ways
    value, unit, sure = _parted(first.drawn)
    # One interval is enough from afar; the page has them all.
    beside = [sure, *(_without_u95(other.drawn) for other in others)]
    if first.has_returned:
        beside.append(f"{_without_u95(first.returned)} into the bank")
    out = "out of the bank" if first.at_bank else "taken"
    return {"value": value, "unit": unit, "what": f"{out} {when}", "beside": ", ".join(x for x in beside if x)}


def _parted(amount: str) -> tuple[str, str, str]:
    """Return the figure, its unit and its interval of an amount such as ``31.4 Ah ± 0.6``."""
    shown, _, u95 = amount.partition(" ± ")
    value, _, unit = shown.partition(" ")
    return value, unit, f"± {u95} {unit}" if u95 else ""


def _without_u95(amount: str) -> str:
    return amount.partition(" ± ")[0]


def readings_now(snapshot: Snapshot) -> list[dict[str, str]]:
    """Return what the meter shows now; which way it flows stands in words beside the one that tells it, not as a sign.

    At the bank those are the amps, else the watts; behind an inverter amps say little without their volts.
    """
    known = [(*each, x) for each in LARGE if (x := live_value(snapshot, each[0])) is not None]
    at_bank = snapshot.side == "dc"
    by_amps = at_bank and any(quantity == "current_A" for quantity, *_ in known)
    leading = "current_A" if by_amps else "power_W"
    return [
        {
            "word": word,
            "value": live_number(quantity, abs(x) if at_bank else x),
            "unit": unit,
            "way": _way(snapshot, x) if quantity == leading else "",
        }
        for quantity, word, unit, x in known
    ]


def _way(snapshot: Snapshot, x: float) -> str:
    if snapshot.side != "dc":
        return "behind an inverter"
    if is_swapped(snapshot.findings):
        return "which way is not known"
    return "no current" if abs(x) < _NO_CURRENT else "out of the bank" if x > 0 else "into the bank"


def _flow(snapshot: Snapshot) -> dict[str, str]:
    """Return what flows now, which way, and the other readings beside it."""
    readings = readings_now(snapshot)
    beside = ", ".join(f"{each['value']} {each['unit']}" for each in readings if not each["way"])
    for each in readings:
        if each["way"]:
            return {"value": each["value"], "unit": each["unit"], "way": each["way"], "beside": beside}
    return {"value": _NONE, "unit": "", "way": "no reading yet", "beside": beside}
