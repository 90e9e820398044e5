"""What a lead-acid bank gives at another current, and in the cold: capacity is not one number.

Peukert's law and the cold change what a bank can give. They never change the amp-hours that flowed: measured charge is
counted as it is, and what stands here is a separate estimate of what remains.
"""

from __future__ import annotations

from math import isfinite

import numpy as np

from ..not_known import Refusal
from ..site.battery_kinds import COLD_MULTIPLIER


def peukert_h(capacity_Ah: float, hour_rate_h: float, current_A: float, exponent: float) -> float:
    """Return how long a full bank lasts at a steady current, by Peukert's law from an hour-rated capacity.

    Refusal if a figure is not above 0, or the exponent is not from 1 to 2.

    Parameters
    ----------
    capacity_Ah : float
        Rated capacity C, at the rate of `hour_rate_h`. [Ah]
    hour_rate_h : float
        The hours H over which it was rated. [h]
    current_A : float
        Steady draw I. [A]
    exponent : float
        Peukert's k, 1 or more. [1]

    Returns
    -------
    float
        t = H (C / (I H))^k. At the rated current C/H it is H, whatever the exponent. [h]

    Notes
    -----
    The form t = C / I^k, often printed, holds only where C is the capacity at one ampere; with an hour-rated C it
    gives 5.1 h for 250 Ah at 20 A and k = 1.3, where 10.9 h is right. Poor for loads that come and go: a resting bank
    recovers (from memory).
    """
    for what, value in (("capacity_Ah", capacity_Ah), ("hour_rate_h", hour_rate_h), ("the current", current_A)):
        if not (isfinite(value) and value > 0):
            raise Refusal(f"{what} must be a number above 0, not {value:g}")
    # Below 1 a harder draw would give more; above 2 no table of the trade goes (from memory).
    if not 1 <= exponent <= 2:
        raise Refusal(f"a Peukert exponent lies from 1 to 2, not {exponent:g}; correct peukert_exponent")
    return float(hour_rate_h * (capacity_Ah / (current_A * hour_rate_h)) ** exponent)


def peukert_Ah(capacity_Ah: float, hour_rate_h: float, current_A: float, exponent: float) -> float:
    """Return the charge a full bank gives at a steady current: `peukert_h` times the current [Ah]."""
    return peukert_h(capacity_Ah, hour_rate_h, current_A, exponent) * current_A


def cold_multiplier(temperature_degC: float) -> float:
    """Return how much larger a lead-acid bank must be to give the same charge with its cells so cold. [1]

    Linear between the rows of the table; 1 above 80 F, the last row below 20 F.
    """
    rows_degF, multiplier = zip(*COLD_MULTIPLIER, strict=True)
    return float(np.interp(fahrenheit(temperature_degC), rows_degF, multiplier))


def fahrenheit(temperature_degC: float) -> float:
    """Return a temperature in the unit of the trade's tables. [degF]"""
    return temperature_degC * 1.8 + 32
