"""The tank as it should be and as the pump's runs show it, and what the water costs: its part of a log's report."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from ..cycles.cycle import Cycles
from ..equipment.hydraulics import WireToWater, wire_to_water
from ..equipment.water import SeenCycle, TankPlan, WaterCost, seen_cycle, tank_plan, water_cost
from ..not_known import Missing
from ..site.site import Water
from ..site.units import SI, DisplayUnits


@dataclass(frozen=True)
class WaterReport:
    """The pump's water, by its site file and a log.

    `plan` is what the tank should do, `seen` the drawdown that the usual run (`run_s`) and rest (`off_s`) amount to;
    `cycle_Wh` is the energy of a usual run at the meter. `lifting` tells how much of the power ends up in the water.
    Where the tank's air is in doubt (`air_in_doubt`), nothing is said that rests on the water it gives.
    """

    plan: TankPlan | Missing
    seen: SeenCycle | Missing
    run_s: float | None
    off_s: float | None
    cycle_Wh: float | None
    cost: WaterCost | Missing
    lifting: WireToWater | Missing
    shown: DisplayUnits = SI
    air_in_doubt: bool = False

    @property
    def missing(self) -> tuple[Missing, ...]:
        """What is left out."""
        parts = (self.plan, self.seen, self.cost, self.lifting)
        return tuple(part for part in parts if isinstance(part, Missing))


def water_report(water: Water, cycles: Cycles, *, power_W: float | None, air_in_doubt: bool = False) -> WaterReport:
    """Return what the runs of the pump say about tank and water; `power_W` goes into its motor while it runs."""
    run_s, off_s = cycles.summary.median_run_s, cycles.summary.median_off_s
    # Usual means the median: one long watering must not make every litre dear.
    taken_Wh = [cycle.energy_Wh for cycle in cycles.cycles if cycle.complete and cycle.energy_Wh is not None]
    cycle_Wh = median(taken_Wh) if taken_Wh else None
    none = "no run of the pump was seen whole, with its watts"
    seen: SeenCycle | Missing = Missing("drawdown by the times seen", (), "the pump was not seen to run and to rest")
    if run_s and off_s:
        seen = seen_cycle(water, run_s=run_s, off_s=off_s)
    cost: WaterCost | Missing = Missing("energy for the water", (), none)
    if air_in_doubt and water.pump_L_per_min is None:
        because = "the tank's air is in doubt, and with it the water of a run"
        cost = Missing("energy for the water", ("water.flow_L_per_min", "water.flow_gal_per_min"), because)
    elif cycle_Wh is not None and run_s:
        cost = water_cost(water, energy_Wh=cycle_Wh, run_s=run_s)
    lifting: WireToWater | Missing = Missing("wire-to-water efficiency", (), none)
    if power_W is not None and power_W > 0:
        lifting = wire_to_water(water, power_W)
    return WaterReport(tank_plan(water), seen, run_s, off_s, cycle_Wh, cost, lifting, water.shown, air_in_doubt)
