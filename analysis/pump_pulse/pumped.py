"""The water that a pump gave: its flow over the time it ran."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import Final

from ..not_known import Missing
from ..stats.interval95 import Within
from .flow import PumpFlow

DAY_S: Final = 86400.0
#: A pump gives less the higher the pressure; while much is drawn it stays low, and the flow above its mean from cut-in
#: to cut-out: by so much at most (from memory, of small submersibles between 40 and 60 psi). [1]
PRESSURE_OFF: Final = 0.06
#: So much of a day at least is measured before it stands for a day. [1]
WHOLE_DAY: Final = 0.98
_WHAT: Final = "water of a day"


@dataclass(frozen=True)
class PumpedWater:
    """The water that was pumped while the log was measured, and in a day; None where that was less than a day."""

    pumped_L: Within
    per_day_L: Within | None
    running_s: float
    measured_s: float


def pumped_water(flow: PumpFlow | Missing, running_s: float, measured_s: float) -> PumpedWater | Missing:
    """Return the water of runs that lasted so long together, within so much time that was measured."""
    if isinstance(flow, Missing):
        return Missing(_WHAT, flow.add, flow.because)
    if flow.flow_L_per_min is None:
        return Missing(_WHAT, (), flow.air_why)
    litres = water_of(flow.flow_L_per_min, running_s)
    a_day = litres.scaled(DAY_S / measured_s) if measured_s >= WHOLE_DAY * DAY_S else None
    return PumpedWater(litres, a_day, running_s, measured_s)


def water_of(flow_L_per_min: Within, running_s: float) -> Within:
    """Return the water of so long a time of running, from the mean flow. [L]"""
    mean = flow_L_per_min.scaled(running_s / 60)
    off = PRESSURE_OFF * mean.value
    return Within(
        mean.value,
        max(mean.value - hypot(mean.value - mean.low, off), 0.0),
        mean.value + hypot(mean.high - mean.value, off),
    )
