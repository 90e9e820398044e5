"""What the runs of a pump say without a flow meter: its flow, the water of a day, the longest time without a start."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ..health.finding import Check
from ..health.runs import Runs
from ..not_known import Missing
from ..readings.measured_span import Span
from ..site.site import Load, Site
from ..site.units import SI, DisplayUnits
from .days import PulseDay, pulse_days
from .fill_time import fill_time
from .flow import PumpFlow, pump_flow
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
    """

    flow: PumpFlow | Missing
    pumped: PumpedWater | Missing
    without_start: WithoutStart | None
    has_tank: bool = False
    days: tuple[PulseDay, ...] = ()
    trend: FlowTrend | Missing = TOO_FEW
    falls: Check | None = None
    shown: DisplayUnits = SI


def pump_pulse(site: Site | None, load: Load | None, runs: Runs, span: Span, checks: Sequence[Check]) -> PumpPulse:
    """Return what the runs of a load say; flow and water only of the pump whose tank is in the site file.

    `checks` are those of health; of them the one on the tank's air counts.
    """
    air = next((check for check in checks if check.code == "air_charge_lost"), None)
    flow = _flow(site, load, runs, air)
    pumped = pumped_water(flow, float(runs.lengths_s().sum()), span.covered_s)
    quiet = None
    if span.start_us is not None and span.stop_us is not None:
        quiet = longest_without_start(runs.start_us, span.start_us, span.stop_us, span.gaps)
    has_tank = site is not None and site.water is not None and load is not None and site.water.load == load.name
    return PumpPulse(flow, pumped, quiet, has_tank, shown=SI if site is None else site.shown)


def _flow(site: Site | None, load: Load | None, runs: Runs, air: Check | None) -> PumpFlow | Missing:
    what = "flow of the pump by its runs"
    if site is None or site.water is None:
        return Missing(what, ("water",))
    if load is None or site.water.load != load.name:
        return Missing(what, (), f"the runs of '{site.water.load}', which pumps it, were not looked for")
    return pump_flow(site.water, fill_time(runs), air)


def with_days(pulse: PumpPulse, runs: Runs, lines: Sequence[LedgerLine]) -> PumpPulse:
    """Return it with the days of the log's ledger, and from enough of them on with their trend."""
    days = pulse_days(pulse.flow, pulse.pumped, runs, lines)
    trend = flow_trend(days)
    asked = not isinstance(pulse.flow, Missing) and len(days) >= LEAST_FLOW_DAYS
    return replace(pulse, days=days, trend=trend, falls=flow_falls(trend, pulse.shown) if asked else None)
