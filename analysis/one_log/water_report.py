"""The tank as it should be and as the pump's runs show it, and what the water costs: its part of a log's report."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from shuntbook.analysis.cycles.cycle import Cycles
from shuntbook.analysis.equipment.hydraulics import WireToWater, wire_to_water
from shuntbook.analysis.equipment.water import SeenCycle, TankPlan, WaterCost, seen_cycle, tank_plan, water_cost
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.site import Water
from shuntbook.analysis.site.units import SI, DisplayUnits


@dataclass(frozen=True)
class WaterReport:
    """The pump's water, by its site file and a log.

    Parameters
    ----------
    plan : TankPlan or Missing
        What the tank should do.
    seen : SeenCycle or Missing
        The drawdown that the usual run and rest amount to, beside what it should be.
    run_s, off_s : float or None
        Usual run and rest. [s]
    cycle_Wh : float or None
        Energy of a usual run, at the meter. [Wh]
    cost : WaterCost or Missing
        Energy for the water.
    lifting : WireToWater or Missing
        How much of the power ends up in the water.
    shown : DisplayUnits
        The units to show it in.
    """

    plan: TankPlan | Missing
    seen: SeenCycle | Missing
    run_s: float | None
    off_s: float | None
    cycle_Wh: float | None
    cost: WaterCost | Missing
    lifting: WireToWater | Missing
    shown: DisplayUnits = SI

    @property
    def missing(self) -> tuple[Missing, ...]:
        """What is left out."""
        parts = (self.plan, self.seen, self.cost, self.lifting)
        return tuple(part for part in parts if isinstance(part, Missing))


def water_report(water: Water, cycles: Cycles, *, power_W: float | None) -> WaterReport:
    """Return what a pump's runs say about its tank and its water.

    Parameters
    ----------
    water : Water
        The site's; its pump is the load whose runs were sought.
    cycles : Cycles
        The pump's runs.
    power_W : float or None
        Into the motor while it runs. [W]
    """
    run_s, off_s = cycles.summary.median_run_s, cycles.summary.median_off_s
    taken_Wh = [cycle.energy_Wh for cycle in cycles.cycles if cycle.complete and cycle.energy_Wh is not None]
    cycle_Wh = median(taken_Wh) if taken_Wh else None
    none = "no run of the pump was seen whole, with its watts"
    return WaterReport(
        tank_plan(water),
        Missing("drawdown by the times seen", (), "the pump was not seen to run and to rest")
        if not run_s or not off_s
        else seen_cycle(water, run_s=run_s, off_s=off_s),
        run_s,
        off_s,
        cycle_Wh,
        Missing("energy for the water", (), none)
        if cycle_Wh is None or not run_s
        else water_cost(water, energy_Wh=cycle_Wh, run_s=run_s),
        Missing("wire-to-water efficiency", (), none)
        if power_W is None or power_W <= 0
        else wire_to_water(water, power_W),
        water.shown,
    )
