"""How a pump's flow changes from day to day, and whether it has fallen so far that somebody should look."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from ..health.finding import Advice, Check, Rule
from ..not_known import Missing
from ..readings.chunk import MICROSECONDS
from ..site.units import SI, DisplayUnits
from ..stats.interval95 import Within
from ..stats.ranks import theil_sen, widened
from .days import PulseDay

#: From so many days on there is a trend to speak of: common practice, no source. [1]
LEAST_FLOW_DAYS: Final = 8
#: So many of them must tell a flow; a worn pump runs long, and so seldom. [1]
LEAST_TELLING: Final = 5
#: Less than this over all the days is not told: where use grows or falls the shortest runs move by as much (tried on
#: simulated months). [1]
LEAST_CHANGE: Final = 0.05
#: The less a pump gives, the larger the part of each run that is drawn meanwhile: the shortest runs tell a change short
#: by so much of it (tried on simulated months). [1]
SHARE_OFF: Final = 0.1
#: A well or pump that has lost a quarter of what it gave is to be looked after: the usual advice of well drillers for
#: the yield at one drawdown (from memory). [1]
FALLEN: Final = 0.25
FALLEN_SOURCE: Final = "a quarter lost: usual advice of well drillers for a well's yield, from memory"
#: Where no days were asked for.
TOO_FEW: Final = Missing("trend of the pump's flow", (), f"at least {LEAST_FLOW_DAYS} days are needed")
_DAY_US: Final = 86400 * MICROSECONDS

FLOW_ADVICE: Final = Advice(
    "The pump gives less than it did: a clogged screen or filter, a worn impeller, a falling well, a leak in the pipe "
    "to the tank. A switch that is set to other pressures, or a tank that was filled with air again, looks the same.",
    "Read at the gauge at which pressures the pump starts and stops and compare them with the site file. Before a "
    "filter is opened the pump is isolated and locked off and the pressure relieved; work in the well is for a "
    "licensed pump installer.",
    "Read the pressures at which the pump starts and stops, then look at filters before the tank.",
)

FlowVerdict = Literal["rising", "falling", "no change to be told"]


@dataclass(frozen=True)
class FlowTrend:
    """How the flow changes over days.

    `change` is what it gains (loses, below nought) over all of them, as a share of what it was; `first_L_per_min` and
    `last_L_per_min` are the flow on the first and on the last day by the line through all. The tank's water is the same
    in each, so that what is not known of it does not matter here.
    """

    change: Within
    first_L_per_min: float
    last_L_per_min: float
    days: int
    span_d: float
    verdict: FlowVerdict


def flow_trend(days: Sequence[PulseDay]) -> FlowTrend | Missing:
    """Return how the flow of a pump changes over the days of one log or several, in order of time."""
    known = [(day, day.flow_L_per_min.value) for day in days if day.flow_L_per_min is not None]
    at_d = np.array([(day.start_us + day.stop_us) / 2 / _DAY_US for day, _ in known])
    if len(known) < LEAST_TELLING or round(at_d[-1] - at_d[0]) + 1 < LEAST_FLOW_DAYS:
        count = "no day" if not known else "one day" if len(known) == 1 else f"{len(known)} days"
        because = f"{count} had enough whole runs; at least {LEAST_TELLING} in {LEAST_FLOW_DAYS} days are needed"
        return Missing("trend of the pump's flow", (), because)
    flows = np.array([flow for _, flow in known])
    slopes = theil_sen(at_d, flows)
    span_d = float(at_d[-1] - at_d[0])
    middle = float(np.median(flows - slopes[0] * at_d))
    # A line through days of a pump that dies down may lie below nought at an end; the pump does not.
    least = 0.1 * float(flows.min())
    first, last = (max(middle + slopes[0] * float(at_d[k]), least) for k in (0, -1))
    change = Within(*(slope * span_d / first for slope in slopes))
    change = widened(change, SHARE_OFF * abs(change.value))
    # What is left is at least nothing, however steeply it fell.
    change = change.map(lambda share: max(share, -1.0))
    small = change.holds(0.0) or abs(change.value) < LEAST_CHANGE
    verdict: FlowVerdict = "no change to be told" if small else "rising" if change.value > 0 else "falling"
    return FlowTrend(change, first, last, len(known), span_d, verdict)


def flow_falls(trend: FlowTrend | Missing, shown: DisplayUnits = SI) -> Check:
    """Judge whether the pump's flow has fallen over the days by as much as asks for a look."""
    rule = Rule("flow_falls", f"the pump's flow does not fall by {100 * FALLEN:.0f} % or more", FALLEN_SOURCE)
    if isinstance(trend, Missing):
        return rule.not_judged(trend.because)
    change = trend.change
    seen = (
        f"over {trend.span_d:.0f} days the flow changes by {_percent(change.value)} ({_percent(change.low)} to "
        f"{_percent(change.high)}), by the shortest runs of {trend.days} days"
    )
    if trend.verdict != "falling" or change.value > -FALLEN:
        return rule.passed(seen)
    first, last = shown.of_flow(trend.first_L_per_min), shown.of_flow(trend.last_L_per_min)
    return rule.found(
        "watch",
        "The pump gives less and less water",
        seen,
        FLOW_ADVICE,
        f"Its flow went from {first} to {last} in {trend.span_d:.0f} days. A loss of {100 * FALLEN:.0f} % asks for a "
        "look.",
    )


def _percent(share: float) -> str:
    return f"{100 * share:+.0f} %".replace("-", "−")
