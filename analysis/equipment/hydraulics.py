"""Lifting water: the power it takes, and whether a pump's watts can be so."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final

from ..not_known import Missing, Refusal
from ..site.water import Water
from .judged import Judgement
from .water import no_switch

#: Weight of a litre of water: 9.81 N, as course notes on pumping use it.
N_PER_L: Final = 9.81
#: A metre of it on a square metre weighs a thousand times as much. [kPa/m]
KPA_PER_M: Final = N_PER_L
#: Wire-to-water efficiency of a small domestic submersible (from memory; 0.55 pump x 0.60 motor = 0.33). [1]
PLAUSIBLE: Final = (0.25, 0.45)
#: Beyond this no small pump and motor come: pump up to 0.85 (trade), small motor up to 0.83 (10 CFR 431.446). [1]
HIGHEST: Final = 0.70


@dataclass(frozen=True)
class WireToWater:
    """How much of the power taken in ends up in the water.

    The head is lift, and the pressure it works against at the middle of the switch's band. The verdict is ``holds`` in
    the usual band, ``fails`` where no small pump comes.
    """

    head_m: float
    water_W: float
    efficiency: float
    verdict: Judgement
    sentence: str
    assumptions: tuple[str, ...]


def water_power_W(flow_L_per_min: float, head_m: float) -> float:
    """Return the power in lifted water: kW = 9.81 x L/s x m / 1000, the head being lift, friction and pressure [W]."""
    return N_PER_L * flow_L_per_min / 60 * head_m


def total_head_m(water: Water) -> float | None:
    """Return lift plus the mean of cut-in and cut-out as metres of water; None where one of them is not given [m]."""
    pressure_m = _pressure_m(water)
    return None if water.lift_m is None or pressure_m is None else water.lift_m + pressure_m


def _pressure_m(water: Water) -> float | None:
    # The pressure rises from cut-in to cut-out in each run; the middle stands for all of it.
    return None if water.switch_kPa is None else sum(water.switch_kPa) / 2 / KPA_PER_M


def most_flow_L_per_min(water: Water, power_W: float) -> float:
    """Return the flow that no small pump exceeds which takes in so much power [L/min]; infinite where nothing is given.

    It is lifted against the switch's pressure and the lift; one that is not given is left out, which allows more.
    """
    head_m = (water.lift_m or 0.0) + (_pressure_m(water) or 0.0)
    return HIGHEST * power_W / water_power_W(1.0, head_m) if head_m else inf


def most_rests_on(water: Water) -> str:
    """Say what the most that is lifted rests on: ``70 % of the watts in the water, against 50 psi``."""
    pressure = "" if water.switch_kPa is None else water.shown.of_pressure(sum(water.switch_kPa) / 2)
    lift = f"{water.shown.of_length(water.lift_m)} of lift" if water.lift_m else ""
    return f"{100 * HIGHEST:.0f} % of the watts in the water, against {' and '.join(filter(None, [pressure, lift]))}"


def wire_to_water(water: Water | None, power_W: float) -> WireToWater | Missing:
    """Return a pump's wire-to-water efficiency by the site's flow and head, and whether it can be so.

    `power_W` goes into the motor while it runs; Refusal if it is not above 0. [W]
    """
    if not power_W > 0:
        raise Refusal(f"a running pump takes more than {power_W:g} W")
    what = "wire-to-water efficiency"
    if water is None or water.pump_L_per_min is None:
        return Missing(what, ("water.flow_L_per_min", "water.flow_gal_per_min"))
    lift_m, head_m = water.lift_m, total_head_m(water)
    if lift_m is None:
        return Missing(what, ("water.head_m", "water.head_ft"))
    if head_m is None:
        return no_switch(what, water)
    useful_W = water_power_W(water.pump_L_per_min, head_m)
    share = useful_W / power_W
    low, high = PLAUSIBLE
    # Too little may be friction that was not entered; more than any pump gives is a wrong figure.
    verdict: Judgement = "holds" if low <= share <= high else "fails" if share > HIGHEST else "doubtful"
    sentence = (
        f"{useful_W:.0f} W of {power_W:.0f} W end up in the water, {100 * share:.0f} %; "
        f"{100 * low:.0f} to {100 * high:.0f} % is usual for a small submersible"
        + ("." if verdict == "holds" else ", so look at flow, head and power again.")
    )
    assumptions = (
        f"Head is {water.shown.of_length(lift_m)} of lift and friction, and the mean of cut-in and cut-out.",
        "The usual band is from memory; no standard gives one.",
    )
    return WireToWater(head_m, useful_W, share, verdict, sentence, assumptions)
