"""What the stage shows of a meter: few figures, each with its words, for people some metres away."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, log10
from typing import TYPE_CHECKING, Any

from ...analysis.health.finding import is_swapped
from ..capture.screen import (
    LARGE,
    live_number,
    live_value,
    load_called,
    newest_called,
    part_called,
    run_state,
    taken_so_far,
)
from ..render.wording import numbers
from ..render.wording.answer import UNTIL_TURNED

if TYPE_CHECKING:
    from ...analysis.charge.amounts import Amounts, Charge
    from ..capture.live_meter import Part, Snapshot

#: What stands in the place of a figure that is not known yet.
_NONE = "–"
_NOTHING = {"value": _NONE, "unit": "", "second": "", "second_unit": ""}
#: A current that is shown as less than this flows neither way. [A]
_NO_CURRENT = 0.005
#: Decimals of a large amount below 10, where some amps flow; a meter of small currents needs more, up to the last. [1]
_DECIMALS, _MOST_DECIMALS = {"Ah": 3, "Wh": 2}, 6
#: So many of the newest stretches that have ended stand there, each called by so many letters.
_MOST_PARTS, _PART = 3, 24


@dataclass(frozen=True)
class ShownAmount:
    """What went out and what came back in one unit, in words; at the bank, or behind an inverter.

    ``amounts`` are the figures themselves.
    """

    unit: str
    amounts: Amounts
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
            amounts,
            numbers.plus_minus(amounts.drawn, amounts.drawn_u95, unit),
            numbers.plus_minus(amounts.returned, amounts.returned_u95, unit),
            amounts.returned > 0,
            at_bank,
        )
        for amounts, unit in kinds
        if amounts is not None
    ]


def out_called(way: ShownAmount) -> str:
    """Say what an amount is, so that nobody takes it for that of the load alone."""
    return "out of the bank to all loads" if way.at_bank else "taken by all loads"


def whole_called(snapshot: Snapshot) -> str:
    """Say that an amount is that of all of the capture."""
    return "from start to end" if snapshot.is_over else "since the start"


def stage(snapshot: Snapshot) -> dict[str, Any]:
    """Return what is shown large: the amount since the last note, what flows now, and what the load does and took.

    After the end it is the amount of the whole capture, and every part.
    """
    parts = snapshot.parts if snapshot.is_over else snapshot.parts[-_MOST_PARTS:]
    return {
        "amount": _amount(snapshot),
        "flow": _flow(snapshot),
        "load": _state(snapshot),
        "took": _took(snapshot),
        "parts": [_part(part, snapshot) for part in parts],
    }


def _took(snapshot: Snapshot) -> str:
    """Say what the load took by itself; empty where that is not known."""
    total = taken_so_far(snapshot)
    if total is None:
        return ""
    # The amount above it may be since the last note.
    return total.sentence if snapshot.is_over else f"Since the start: {numbers.uncapital(total.sentence)}"


def _state(snapshot: Snapshot) -> str:
    """Say whether the load runs; nothing where that is not known yet."""
    state, how_long = run_state(snapshot)
    if snapshot.cycles is None or not state:
        return ""
    load = numbers.capital(load_called(snapshot.cycles))
    return f"{load} has been {state} {how_long}" if how_long else f"{load} is {state}"


def _part(part: Part, snapshot: Snapshot) -> dict[str, str]:
    """Return what a stretch is called that has ended, and what went out in it."""
    return {"what": part_called(part, _PART), "value": part_total(part, snapshot)}


def part_total(part: Part, snapshot: Snapshot) -> str:
    """Return what went out in a stretch that has ended, as short as it stands beside its flag; empty if not known."""
    ways = [] if is_swapped(snapshot.findings) else both_ways(part.charge)
    return " ".join(_steady(ways[0], snapshot)[::2]) if ways else ""


def _steady(way: ShownAmount, snapshot: Snapshot) -> tuple[str, str, str]:
    """Return what went out, half its 95 % interval and the unit; its width stays while it grows."""
    # What is small beside an amp is measured by meters that show more decimals.
    amps = snapshot.peak_A if snapshot.peak_A is not None else (snapshot.peak_W or 0.0) / 10.0
    more = -floor(log10(amps)) if 0 < amps < 1 else 0
    decimals = min(_DECIMALS[way.unit] + more, _MOST_DECIMALS)
    return *numbers.steady(way.amounts.drawn, way.amounts.drawn_u95, decimals), way.unit


def _amount(snapshot: Snapshot) -> dict[str, str]:
    """Return the large figure with its unit, what it is, the same in the other unit, and what stands beside it."""
    newest = snapshot.newest
    charge, when = snapshot.charge, whole_called(snapshot)
    if newest is not None and newest.charge is not None:
        charge, when = newest.charge, newest_called(newest, 40 if newest.ended_by is None else 24)
    if is_swapped(snapshot.findings):
        return {**_NOTHING, "what": when, "beside": f"not known {UNTIL_TURNED}"}
    ways = both_ways(charge)
    if not ways:
        return {**_NOTHING, "what": when, "beside": "nothing to add up yet"}
    first, *others = ways
    value, sure, unit = _steady(first, snapshot)
    # One interval is enough from afar; the page has them all.
    beside = [f"± {sure} {unit}" if sure else ""]
    if first.has_returned:
        beside.append(f"{first.returned.partition(' ± ')[0]} into the bank")
    out = out_called(first)
    shown = {"value": value, "unit": unit, "what": f"{out} {when}", "beside": ", ".join(x for x in beside if x)}
    second, _, second_unit = _steady(others[0], snapshot) if others else ("", "", "")
    return {**shown, "second": second, "second_unit": second_unit}


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
    """Return what flows now, which way, the watts where they do not lead, and the other readings beside it."""
    readings = readings_now(snapshot)
    first = next((each for each in readings if each["way"]), None)
    others = [each for each in readings if each is not first]
    second = next((each for each in others if each["unit"] == "W"), {"value": "", "unit": ""})
    beside = ", ".join(f"{each['value']} {each['unit']}" for each in others if each is not second)
    shown = {"second": second["value"], "second_unit": second["unit"], "beside": beside}
    if first is None:
        return {**_NOTHING, "way": "no reading yet", **shown}
    return {"value": first["value"], "unit": first["unit"], "way": first["way"], **shown}
