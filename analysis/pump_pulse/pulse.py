"""What the runs of a pump say without a flow meter: its flow, the water of a day, the longest time without a start."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ..cycles.cycle import Cycles
from ..health.draw import OVER_PLATE
from ..health.finding import Check
from ..health.health import health_of
from ..health.limits import limits_for
from ..health.runs import Runs
from ..not_known import Missing
from ..readings.measured_span import HowRead, Span
from ..site.site import Load, Site
from ..site.units import SI, DisplayUnits
from .days import PulseDay, pulse_days
from .fill_time import fill_time
from .flow import AIR_CODE, PumpFlow, pump_flow, with_flow
from .flow_trend import LEAST_FLOW_DAYS, TOO_FEW, FlowTrend, flow_falls, flow_trend
from .pumped import PumpedWater, pumped_water
from .quiet import WithoutStart, longest_without_start

if TYPE_CHECKING:
    from ..ledger.ledger import LedgerLine


@dataclass(frozen=True)
class PumpPulse:
    """What the runs of a load say of flow and water.

    ``has_tank`` tells whether the load is the pump of the site file's tank: of others no flow is to be known. ``days``
    is empty where nobody asked for them; ``falls`` is the check of their trend, None where they are too few to ask.
    ``air_doubt`` says why the air of that tank is in doubt; empty where it is not.
    """

    flow: PumpFlow | Missing
    pumped: PumpedWater | Missing
    without_start: WithoutStart | None
    has_tank: bool = False
    days: tuple[PulseDay, ...] = ()
    trend: FlowTrend | Missing = TOO_FEW
    falls: Check | None = None
    shown: DisplayUnits = SI
    air_doubt: str = ""


def pump_pulse(site: Site | None, load: Load | None, runs: Runs, span: Span, checks: Sequence[Check]) -> PumpPulse:
    """Return what the runs of a load say; flow and water only of the pump whose tank is in the site file.

    `checks` are those of health; of them the one on the tank's air counts.
    """
    air = _on_air(checks)
    flow = _flow(site, load, runs, air)
    pumped = pumped_water(flow, float(runs.lengths_s().sum()), span.covered_s)
    quiet = None
    if span.start_us is not None and span.stop_us is not None:
        quiet = longest_without_start(runs.start_us, span.start_us, span.stop_us, span.gaps)
    has_tank = site is not None and site.water is not None and load is not None and site.water.load == load.name
    doubt = _air_doubt(flow, air) if has_tank else ""
    return PumpPulse(flow, pumped, quiet, has_tank, shown=SI if site is None else site.shown, air_doubt=doubt)


def _air_doubt(flow: PumpFlow | Missing, air: Check | None) -> str:
    """Say why the tank's air is in doubt, also where no flow is to be known."""
    if isinstance(flow, PumpFlow):
        return flow.air_why if flow.air == "in doubt" else ""
    return air.remark if air is not None and air.outcome == "found" else ""


def air_doubt(site: Site, load: Load, cycles: Cycles, how: HowRead) -> str:
    """Say why the air of a load's tank is in doubt by its runs in a log; empty where it is not, or it has no tank."""
    if site.water is None or site.water.load != load.name:
        return ""
    checks = health_of(cycles, limits_for(site, load, how.side), how.usual_interval_s).checks
    nothing = Span(None, None, 0, 0.0, ())
    return pump_pulse(site, load, Runs(cycles, how.usual_interval_s), nothing, checks).air_doubt


def with_flow_seen(site: Site, load: Load, runs: Runs, checks: Sequence[Check]) -> tuple[Check, ...]:
    """Return checks of health with what the flow says against the tank's air, as a report has them."""
    return with_flow(checks, _flow(site, load, runs, _on_air(checks)))


def _on_air(checks: Sequence[Check]) -> Check | None:
    return next((check for check in checks if check.code == AIR_CODE), None)


def _flow(site: Site | None, load: Load | None, runs: Runs, air: Check | None) -> PumpFlow | Missing:
    what = "flow of the pump by its runs"
    if site is None or site.water is None:
        return Missing(what, ("water",))
    if load is None or site.water.load != load.name:
        return Missing(what, (), f"the runs of '{site.water.load}', which pumps it, were not looked for")
    return pump_flow(site.water, fill_time(runs), air, _taken_W(site, load, runs))


def _taken_W(site: Site, load: Load, runs: Runs) -> float | None:
    """Return the watts that a pump takes at the meter while it runs, else the most that its plate lets expect. [W]"""
    watts = runs.draw[np.isfinite(runs.draw)] if runs.draw_unit == "W" else ()
    if len(watts):
        return float(np.median(watts))
    plate = limits_for(site, load).plate_W
    return None if plate is None else OVER_PLATE * plate.value


def with_days(pulse: PumpPulse, runs: Runs, lines: Sequence[LedgerLine]) -> PumpPulse:
    """Return it with the days of the log's ledger, and from enough of them on with their trend."""
    days = pulse_days(pulse.flow, pulse.pumped, runs, lines)
    trend = flow_trend(days)
    asked = not isinstance(pulse.flow, Missing) and len(days) >= LEAST_FLOW_DAYS
    return replace(pulse, days=days, trend=trend, falls=flow_falls(trend, pulse.shown) if asked else None)
