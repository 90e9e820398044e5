"""Water from a pressure tank: what one cycle gives, how long it should take, and what the water costs in energy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ..not_known import Missing, Refusal
from ..site.units import KPA_PER_PSI, L_PER_GAL, DisplayUnits
from ..site.water import Water

#: How far below cut-in the air in the tank should be with no water in it. [kPa]
PRECHARGE_BELOW_KPA: Final = 2 * KPA_PER_PSI
PRECHARGE_SOURCE: Final = "Water Systems Council, wellcare sheet 'Pressure Tanks', January 2007"
SEA_LEVEL_KPA: Final = 101.325  # standard atmosphere, ISO 2533


def below_cut_in(shown: DisplayUnits) -> str:
    """Return in words where the air pressure of an empty tank should be: ``2 psi below cut-in``."""
    return f"{shown.of_pressure(PRECHARGE_BELOW_KPA, digits=2)} below cut-in"


def atmosphere_kPa(altitude_m: float) -> float:
    """Return the usual air pressure at an altitude, absolute, by the standard atmosphere.

    Weather moves it by a few percent. Refusal if the altitude is not on the ground or in the lower atmosphere, below
    which the formula holds.

    References
    ----------
    ISO 2533:1975, layer up to 11 km: 288.15 K at the sea, 6.5 K/km, exponent 5.2559 (from memory).
    """
    if not -1000 <= altitude_m <= 11_000:
        raise Refusal(f"an altitude of {altitude_m:g} m is not one a pump stands at; correct altitude_m")
    return float(SEA_LEVEL_KPA * (1 - 0.0065 * altitude_m / 288.15) ** 5.2559)


def drawdown_L(
    volume_L: float,
    precharge_kPa: float,
    cut_in_kPa: float,
    cut_out_kPa: float,
    atmosphere_kPa: float = SEA_LEVEL_KPA,
) -> float:
    """Return the water a pressure tank gives between cut-out and cut-in. [L]

    The air that filled the whole tank at pre-charge is squeezed by Boyle's law, at one temperature: the water given is
    volume x (P1/P2 - P1/P3), with absolute pressures P1 pre-charge, P2 cut-in, P3 cut-out. Where the pre-charge is
    above cut-in, the tank runs empty at pre-charge and gives only what it holds above that. A bladder may allow less.
    Refusal if the tank has no volume, or the pressures cannot be so.

    Parameters
    ----------
    volume_L : float
        The whole tank, air and water. [L]
    precharge_kPa, cut_in_kPa, cut_out_kPa : float
        Gauge pressures; pre-charge is that of the tank empty of water. [kPa]
    atmosphere_kPa : float
        Absolute air pressure at the place. [kPa]

    References
    ----------
    National Driller, 2004-2008 (B. Pelikan): 28/30/50 psi gives 0.295 of the volume.
    """
    if not volume_L > 0:
        raise Refusal("a tank without volume gives no water; correct the tank's volume")
    if not precharge_kPa >= 0 or not 0 <= cut_in_kPa < cut_out_kPa or not atmosphere_kPa > 0:
        raise Refusal("the tank's pressures cannot be so: pre-charge at least 0, cut-in below cut-out")
    # Boyle holds for absolute pressures; gauges read above the air outside.
    air, low, high = (p + atmosphere_kPa for p in (precharge_kPa, cut_in_kPa, cut_out_kPa))
    if air >= high:
        return 0.0  # the air alone stands above cut-out: no water ever gets in
    return volume_L * (air / max(low, air) - air / high)


@dataclass(frozen=True)
class CycleTimes:
    """Running and resting time of a pump while water is drawn steadily; ``off_s`` infinite where none is. [s]"""

    on_s: float
    off_s: float

    @property
    def cycle_s(self) -> float:
        """From start to start [s]."""
        return self.on_s + self.off_s


def cycle_times(drawdown_L: float, pump_L_per_min: float, draw_L_per_min: float) -> CycleTimes:
    """Return how long a pump runs and rests while water is drawn: on = D / (Qp - Qd), off = D / Qd.

    Where no less is drawn than the pump gives, it never stops. Refusal if the drawdown or the pump's flow is not above
    0, or the draw is below 0.
    """
    if not (drawdown_L > 0 and pump_L_per_min > 0 and draw_L_per_min >= 0):
        raise Refusal("cycle times need a drawdown and a pump flow above 0, and a draw of at least 0")
    # While it runs the tank takes what the pump gives beyond the use; while it rests the use empties it.
    over = pump_L_per_min - draw_L_per_min
    on_s = 60 * drawdown_L / over if over > 0 else float("inf")
    return CycleTimes(on_s, 60 * drawdown_L / draw_L_per_min if draw_L_per_min > 0 else float("inf"))


def shortest_cycle_s(drawdown_L: float, pump_L_per_min: float) -> float:
    """Return the shortest time from start to start, 4 D / Qp, when half the pump's flow is drawn. [s]

    References
    ----------
    The usual result for pumped sumps (from memory); it is the least of `cycle_times` over all draws.
    """
    return cycle_times(drawdown_L, pump_L_per_min, pump_L_per_min / 2).cycle_s


def seen_drawdown_L(pump_L_per_min: float, run_s: float, off_s: float) -> float:
    """Return the drawdown that running and resting times at one steady draw come to: Qp x run x off / (run + off) [L].

    Refusal if a figure is not above 0.
    """
    if not (pump_L_per_min > 0 and run_s > 0 and off_s > 0):
        raise Refusal("a drawdown from times needs a flow, a run and a rest above 0")
    return pump_L_per_min / 60 * run_s / (1 + run_s / off_s)


def tank_volume_L(pump_L_per_min: float, run_s: float, factor: float) -> float:
    """Return the tank that lets the pump run so long when nothing is drawn: flow x time / drawdown factor [L].

    `factor` is drawdown over the tank's volume, as `drawdown_L` gives it for 1 L; Refusal if not between 0 and 1. [1]
    """
    if not 0 < factor < 1:
        raise Refusal(f"a drawdown factor lies between 0 and 1, not at {factor:g}")
    return pump_L_per_min * run_s / 60 / factor


@dataclass(frozen=True)
class TankPlan:
    """What the tank of a site file should do: the water from cut-out to cut-in, and how long the pump runs for it.

    `fill_s` is when nothing is drawn; `shortest_cycle_s`, from start to start, when half the pump's flow is: no steady
    draw makes it shorter.
    """

    drawdown_L: float
    fill_s: float | None
    shortest_cycle_s: float | None
    assumptions: tuple[str, ...]


def no_switch(what: str, water: Water) -> Missing:
    """Return what stands in the place of a figure that needs the pressures at which the pump starts and stops."""
    key, when = ("cut_in", "starts") if water.start_kPa is None else ("cut_out", "stops")
    because = f"the pressure at which the pump {when} is not given"
    return Missing(what, (f"water.{key}_kPa", f"water.{key}_psi"), because)


def tank_plan(water: Water | None) -> TankPlan | Missing:
    """Return what a tank should do by the figures of the site file."""
    if water is None:
        return Missing("word on the pressure tank", ("water",))
    if water.switch_kPa is None:
        return no_switch("word on the pressure tank", water)
    if water.air_kPa is None:
        return Missing("word on the pressure tank", ("water.precharge_kPa", "water.precharge_psi"))
    drawn_L = drawdown_L(water.volume_L, water.air_kPa, *water.switch_kPa, atmosphere_kPa(water.height_m))
    flow = water.pump_L_per_min
    assumptions = (
        "Boyle's law at one temperature, with the pre-charge of the site file; a bladder may allow less.",
        f"Air pressure as usual at {water.shown.of_length(water.height_m)} above the sea.",
        *(("The pump gives the same flow at any pressure.",) if flow else ()),
    )
    # Without a flow there is no time, and a tank that takes in no water has none either.
    if flow is None or drawn_L <= 0:
        return TankPlan(drawn_L, None, None, assumptions)
    return TankPlan(drawn_L, cycle_times(drawn_L, flow, 0).on_s, shortest_cycle_s(drawn_L, flow), assumptions)


@dataclass(frozen=True)
class SeenCycle:
    """The drawdown that the pump's times show [L], beside what it should be by Boyle's law [L], and their ratio [1]."""

    seen_L: float
    expected_L: float
    share: float
    assumptions: tuple[str, ...]


def seen_cycle(water: Water | None, *, run_s: float, off_s: float) -> SeenCycle | Missing:
    """Set the pump's usual run and rest, best of one spell of steady drawing, beside what the tank should give."""
    plan = tank_plan(water)
    if isinstance(plan, Missing):
        return plan
    flow = None if water is None else water.pump_L_per_min
    if flow is None:
        return Missing("drawdown by the times seen", ("water.flow_L_per_min", "water.flow_gal_per_min"))
    if plan.drawdown_L <= 0:
        return Missing("drawdown by the times seen", (), "with that pre-charge the tank takes in no water at all")
    seen_L = seen_drawdown_L(flow, run_s, off_s)
    assumptions = ("Water was drawn as steadily while the pump ran as while it rested.", *plan.assumptions)
    return SeenCycle(seen_L, plan.drawdown_L, seen_L / plan.drawdown_L, assumptions)


@dataclass(frozen=True)
class WaterCost:
    """What the water of a cycle costs in energy, at the side where that was measured."""

    water_L: float
    Wh_per_1000_L: float
    Wh_per_gal: float
    assumptions: tuple[str, ...]


def water_cost(water: Water | None, *, energy_Wh: float, run_s: float | None = None) -> WaterCost | Missing:
    """Return the energy for the water of a usual cycle, whose energy and running time are given.

    With the pump's flow, water is flow x time; else it is the drawdown, the least it can be.
    """
    # What is drawn while the pump runs is in its flow, but not in the drawdown.
    if water is not None and water.pump_L_per_min is not None and run_s is not None:
        water_L = water.pump_L_per_min * run_s / 60
        assumptions: tuple[str, ...] = (
            "Water is the flow of the site file x running time; in truth it falls as pressure rises.",
        )
    else:
        plan = tank_plan(water)
        if isinstance(plan, Missing):
            return plan
        water_L = plan.drawdown_L
        assumptions = (
            "Water is the tank's drawdown alone; what is drawn while the pump runs is extra.",
            *plan.assumptions,
        )
    if water_L <= 0:
        return Missing("energy for the water", (), "a cycle with no water has no cost for each litre")
    return WaterCost(water_L, 1000 * energy_Wh / water_L, energy_Wh / water_L * L_PER_GAL, assumptions)
