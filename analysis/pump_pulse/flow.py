"""The pump's flow without a flow meter: the water of its tank from cut-in to cut-out over the time it takes to fill it.

Flow and air cannot be told apart by the lengths of runs alone: a tank that has lost air takes less water, and fills as
fast as if the pump gave more. So the flow is that of a tank in order; whether the tank is, is judged by the flow of the
site file, which no pump exceeds by much, and by what else the runs say of the air.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, hypot, log
from typing import Final, Literal, NamedTuple

from ..equipment.hydraulics import most_flow_L_per_min, most_rests_on
from ..equipment.water import (
    PRECHARGE_BELOW_KPA,
    PRECHARGE_SOURCE,
    atmosphere_kPa,
    below_cut_in,
    drawdown_L,
    no_switch,
)
from ..health.finding import Check, Finding
from ..not_known import Missing
from ..site.site import Water
from ..site.units import KPA_PER_PSI
from ..stats.interval95 import Within, judged, limit
from ..wording import figure, with_ends

#: How far a tank's stated volume may be off: a bladder and its fittings take room (common practice, no source). [1]
VOLUME_OFF: Final = 0.05
#: Gauges and switches are read to a psi: common practice, no source. [kPa]
GAUGE_OFF_KPA: Final = KPA_PER_PSI
#: How far a pre-charge that nobody measured may be off: common practice, no source. [kPa]
ASSUMED_OFF_KPA: Final = 5 * KPA_PER_PSI
#: By how much less water air takes in that is squeezed within a minute or two and has not cooled yet: it would be a
#: quarter if no heat left it at all (gas law with exponent 1.4 for 40/60 psi); from memory. [1]
WARM_OFF: Final = 0.05
#: The flow on a plate is that at one head: so far off it may be (common practice, no source). [1]
PLATE_OFF: Final = 0.25

#: The rule of health on the tank's air.
AIR_CODE: Final = "air_charge_lost"

AirWord = Literal["nothing against it", "in doubt", "not judged"]


@dataclass(frozen=True)
class PumpFlow:
    """What a pump gives, on average from cut-in to cut-out, if its tank has its air.

    Parameters
    ----------
    flow_L_per_min : Within or None
        The flow; None while the tank's air is in doubt, as all that rests on its water. [L/min]
    fill_s : Within
        How long the tank takes with nothing drawn, by the shortest runs. [s]
    drawdown_L : Within or None
        The water from cut-in to cut-out. [L]
    plate_L_per_min : float or None
        The flow of the site file. [L/min]
    of_plate : Within or None
        The flow as a share of that. [1]
    air : {'nothing against it', 'in doubt', 'not judged'}
        Whether the tank can have its air by what is known.
    air_why : str
        Why, in a sentence.
    too_much : str
        Why no such pump gives what a tank with its air would mean; empty where it may.
    assumptions : tuple of str
        What the figures rest on.
    """

    flow_L_per_min: Within | None
    fill_s: Within
    drawdown_L: Within | None
    plate_L_per_min: float | None
    of_plate: Within | None
    air: AirWord
    air_why: str
    too_much: str
    assumptions: tuple[str, ...]


def pump_flow(
    water: Water, fill_s: Within | Missing, air: Check | None = None, taken_W: float | None = None
) -> PumpFlow | Missing:
    """Return what a pump gives.

    `air` is what the rule of health says of the tank's air, None where nobody asked; `taken_W` is the power that the
    pump takes in while it runs, or the most that may be, None where that is not known.
    """
    if isinstance(fill_s, Missing):
        return fill_s
    taken = drawdown_within(water)
    if isinstance(taken, Missing):
        return taken
    flow = over(taken, fill_s).scaled(60.0)
    plate = water.pump_L_per_min
    of_plate = None if plate is None else flow.scaled(1 / plate)
    too_much = _too_much(water, _Reckoned(fill_s, taken, flow, of_plate), taken_W)
    word, why = _air(of_plate, air, too_much)
    assumptions = (
        "The tank has its air: by the lengths of runs alone a tank that lost some cannot be told from a pump that "
        "gives more.",
        "In the shortest runs nothing was drawn for nearly all of the time; the interval holds what may have been.",
        f"Boyle's law; of the site file the tank's volume may be off by {100 * VOLUME_OFF:.0f} %, each pressure by "
        f"{water.shown.of_pressure(GAUGE_OFF_KPA, digits=2)}, and air that is still warm from being squeezed takes in "
        f"{100 * WARM_OFF:.0f} % less (common practice, no source).",
        *(() if water.air_kPa is not None else (f"Pre-charge {below_cut_in(water.shown)} ({PRECHARGE_SOURCE}).",)),
    )
    if word == "in doubt":
        return PumpFlow(None, fill_s, None, plate, None, word, why, too_much, ())
    return PumpFlow(flow, fill_s, taken, plate, of_plate, word, why, too_much, assumptions)


def drawdown_within(water: Water) -> Within | Missing:
    """Return the water of a tank from cut-in to cut-out, with what volume, gauges and warm air may be off. [L]"""
    if water.switch_kPa is None:
        return no_switch("flow of the pump by its runs", water)
    air_kPa, air_off_kPa = water.air_kPa, GAUGE_OFF_KPA
    if air_kPa is None:
        air_kPa, air_off_kPa = max(water.switch_kPa[0] - PRECHARGE_BELOW_KPA, 0.0), ASSUMED_OFF_KPA
    stated = (air_kPa, *water.switch_kPa)
    outside_kPa = atmosphere_kPa(water.height_m)
    value = drawdown_L(water.volume_L, *stated, outside_kPa)
    if value <= 0:
        return Missing("flow of the pump by its runs", (), "with that pre-charge the tank takes in no water at all")
    parts = [limit("the tank's volume", VOLUME_OFF * value)]
    for k, off_kPa in enumerate((air_off_kPa, GAUGE_OFF_KPA, GAUGE_OFF_KPA)):
        moved = [_moved(stated, k, sign * off_kPa) for sign in (-1, 1)]
        ends = [abs(drawdown_L(water.volume_L, *p, outside_kPa) - value) for p in moved if p is not None]
        parts.append(limit(("pre-charge", "cut-in", "cut-out")[k], max(ends, default=0.0)))
    # Warm air takes in less than Boyle's law says, never more: half of that either way, about a middle that is lower.
    parts.append(limit("warm air", WARM_OFF / 2 * value))
    sure = judged(value, parts, shift=-WARM_OFF / 2 * value)
    return Within(value, max(sure.low, 0.0), sure.high)


def _moved(stated: tuple[float, float, float], which: int, by_kPa: float) -> tuple[float, float, float] | None:
    """Return the pressures with one of them moved; None where no switch could have such. [kPa]"""
    air, start, stop = (p + by_kPa * (k == which) for k, p in enumerate(stated))
    return (air, start, stop) if 0 <= start < stop and air >= 0 else None


def over(above: Within, below: Within) -> Within:
    """Return one figure over another, both above nought and independent of one another, with its 95 % interval."""
    value = above.value / below.value
    # By logarithms, in which a quotient is a difference and the two sides of an interval stay apart.
    down = hypot(_ln(above.value, above.low), _ln(below.high, below.value))
    up = hypot(_ln(above.high, above.value), _ln(below.value, below.low))
    return Within(value, value * exp(-down), value * exp(up))


def _ln(larger: float, smaller: float) -> float:
    # An end at nought is as far as anybody can look.
    return log(larger / max(smaller, 1e-3 * larger))


class _Reckoned(NamedTuple):
    """What the flow of a tank with its air comes of, and its share of the site file's. [s], [L], [L/min], [1]"""

    fill_s: Within
    drawdown_L: Within
    flow_L_per_min: Within
    of_plate: Within | None


def _too_much(water: Water, reckoned: _Reckoned, taken_W: float | None) -> str:
    """Say why no such pump gives what a tank with its air would mean; empty where it may."""
    flow, of_plate = reckoned.flow_L_per_min, reckoned.of_plate
    if of_plate is not None and of_plate.low > 1 + PLATE_OFF:
        # The site file's flow in the same time is that share of the water turned round.
        share = _ends(Within(100 / of_plate.value, 100 / of_plate.high, 100 / of_plate.low), (1.0, "%"))
        return (
            f"{_would(water, reckoned)}, {100 * of_plate.value:.0f} % of the site file's "
            f"{water.shown.of_flow(flow.value / of_plate.value)}, and no pump gains so much; at that flow it takes "
            f"{share} of the water it should"
        )
    if taken_W is None or flow.low <= (most := most_flow_L_per_min(water, taken_W)):
        return ""
    return (
        f"{_would(water, reckoned)}, more than this pump can lift with {figure(taken_W, 'W')}: "
        f"{water.shown.of_flow(most)} at most ({most_rests_on(water)})"
    )


def _would(water: Water, reckoned: _Reckoned) -> str:
    """Say what flow a tank with its air would mean, with the figures that it is the quotient of."""
    fill, flow = _ends(reckoned.fill_s, (1.0, "s")), _ends(reckoned.flow_L_per_min, water.shown.flow_scale)
    taken = _ends(reckoned.drawdown_L, water.shown.volume_scale)
    return f"the shortest runs fill the tank in {fill}; {taken} of a tank with its air would mean {flow} from the pump"


def _ends(x: Within, unit: tuple[float, str]) -> str:
    shown = x.scaled(unit[0])
    return with_ends(shown.value, shown.low, shown.high, unit[1])


def _air(of_plate: Within | None, check: Check | None, too_much: str) -> tuple[AirWord, str]:
    if check is not None and check.outcome == "found":
        seen = "; ".join(filter(None, [check.remark, too_much]))
        return "in doubt", f"the tank has possibly lost its air ({seen})"
    if too_much:
        return "in doubt", f"{too_much}: more likely the tank has lost air"
    if of_plate is None:
        return (
            "not judged",
            "a tank that has lost some of its air fills as fast as if the pump gave more; with the pump's flow in the "
            "site file (water.flow_L_per_min or water.flow_gal_per_min) that would show",
        )
    return (
        "nothing against it",
        "the flow is not more than the site file's by more than plates are off; a tank that lost some air while the "
        "pump lost some flow would look the same",
    )


def with_flow(checks: Sequence[Check], flow: PumpFlow | Missing) -> tuple[Check, ...]:
    """Return checks; what the flow says against the tank's air is then among the evidence of the finding on it."""
    too_much = "" if isinstance(flow, Missing) else flow.too_much
    return tuple(
        check
        if not too_much or check.code != AIR_CODE or check.finding is None
        else _with_evidence(check, check.finding, f"{check.remark}; {too_much}")
        for check in checks
    )


def _with_evidence(check: Check, finding: Finding, evidence: str) -> Check:
    return replace(check, remark=evidence, finding=replace(finding, evidence=evidence))
