"""What an inverter's modified sine does to a motor, by Fourier's sum of its steps.

Such a wave stands at one voltage for a part of each half cycle and at nought for the rest. Where its peak is that of
the sine it stands in for, it stands for 90 of 180 degrees; as the bank sinks the steps get longer, up to some 120
degrees, where a third of the harmonics is gone. The sums are of any handbook of power electronics (N. Mohan and others,
Power Electronics, on the square wave; from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot, pi, radians, sin, sqrt
from typing import Final

from ..stats.interval95 import Within

#: For how much of a half cycle it stands at its voltage. [deg]
LONGEST_DEG: Final = 120.0
SHORTEST_DEG: Final = 90.0
SOURCE: Final = "harmonics of the steps by Fourier, through the motor's inductance; the trade says some 20 %, no source"

#: The share of a small motor's watts that heats its windings, where nothing tells it: from memory. [1]
_IN_WINDINGS: Final = Within(0.2, 0.1, 0.3)
#: Harmonics beyond this hardly drive a current. [1]
_HIGHEST: Final = 99


def fundamental(stands_deg: float) -> float:
    """Return the voltage of the sine within the steps over that of the steps, both effective. [1]"""
    half = radians(stands_deg) / 2
    return 4 / pi * sin(half) / sqrt(2) / sqrt(stands_deg / 180)


def torque(phases: int = 1) -> Within:
    """Return a motor's torque at standstill over that on a sine of the same voltage: with the square of it. [1]"""
    shortest_deg = LONGEST_DEG if phases == 3 else SHORTEST_DEG
    ends = sorted(fundamental(each) ** 2 for each in (shortest_deg, LONGEST_DEG))
    return Within(sum(ends) / 2, *ends)


def more_amps(start_times: Within, phases: int = 1) -> Within:
    """Return the amps of a running motor over those on a sine, by what it draws at standstill over running. [1]"""
    # Steps of three phases, a third of a turn apart, are as long as the longest: there are no others.
    shortest_deg = LONGEST_DEG if phases == 3 else SHORTEST_DEG
    # At standstill a motor is little more than its inductance: it bears the n-th harmonic n times as well.
    ends = (_amps(LONGEST_DEG, start_times.low), _amps(shortest_deg, start_times.high))
    return Within(sum(ends) / 2, *ends)


def more_heat(start_times: Within, phases: int = 1) -> Within:
    """Return the heat of a running motor's windings over that on a sine: with the square of the amps. [1]"""
    return more_amps(start_times, phases).map(lambda share: share**2)


def more_watts(start_times: Within, phases: int = 1) -> Within:
    """Return the watts of a running motor over those on a sine: what heats its windings grows. [1]"""
    heat = more_heat(start_times, phases)
    ends = (1 + _IN_WINDINGS.low * (heat.low - 1), 1 + _IN_WINDINGS.high * (heat.high - 1))
    return Within(sum(ends) / 2, *ends)


def _amps(stands_deg: float, start_times: float) -> float:
    return hypot(1.0, *(start_times * share / n for n, share in _harmonics(stands_deg)))


def _harmonics(stands_deg: float) -> Iterator[tuple[int, float]]:
    """Yield the harmonics and their voltages over that of the fundamental [1]."""
    half = radians(stands_deg) / 2
    for n in range(3, _HIGHEST + 1, 2):
        yield n, sin(n * half) / (n * sin(half))
