"""How fast something goes on in a log, an hour, and how far that scatters by chance: means over even stretches.

A log is one sample of what goes on at a site. Cut into a few stretches, their differences say how far its rate would
lie from that of another log of the same length, whatever goes on in bursts within a stretch.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from .chunk import SECONDS_PER_HOUR, FloatArray
from .distribution import Component

#: Into so many stretches a log is cut (batch means; ten to thirty is usual, B. Schmeiser 1982, from memory). [1]
STRETCHES: Final = 12
#: With fewer of them measured, chance is not judged: common practice, no source. [1]
FEWEST_STRETCHES: Final = 5
#: Nor in a log shorter than this, in which most loads run once or not at all: common practice, no source. [s]
LEAST_S: Final = 900.0


@dataclass(frozen=True)
class Rate:
    """An amount an hour, and what chance does to it; None where too little was measured to tell.

    Parameters
    ----------
    per_h : float
        [unit/h]
    chance : Component or None
        Its standard uncertainty, with degrees of freedom. [unit/h]
    """

    per_h: float
    chance: Component | None


def even_cuts(first_us: int, last_us: int, count: int = STRETCHES) -> list[int]:
    """Return where even stretches of a log begin [us]; one where it has no length."""
    if last_us <= first_us:
        return [first_us]
    return [first_us + round(k * (last_us - first_us) / count) for k in range(count)]


def rate_of(amounts: FloatArray, hours: FloatArray) -> Rate | None:
    """Return the rate of an amount over stretches of a log.

    Parameters
    ----------
    amounts : array, shape (n,)
        What each stretch holds. [unit]
    hours : array, shape (n,)
        How long each was measured. [h]

    Returns
    -------
    Rate or None
        All amounts over all hours; chance by how the stretches scatter about that (a ratio estimate, Cochran, Sampling
        Techniques, from memory). None where nothing was measured.
    """
    measured = hours > 0
    amounts, hours = amounts[measured], hours[measured]
    n, whole_h = len(hours), float(hours.sum())
    if whole_h <= 0:
        return None
    per_h = float(amounts.sum()) / whole_h
    if n < FEWEST_STRETCHES or whole_h * SECONDS_PER_HOUR < LEAST_S:
        return Rate(per_h, None)
    left_over = amounts - per_h * hours
    u = sqrt(n / (n - 1) * float(left_over @ left_over)) / whole_h
    return Rate(per_h, Component("chance", u, dof=n - 1, reason="when loads ran, and the sun shone, in the log"))


def seconds_within(start_us: FloatArray, stop_us: FloatArray, cuts_us: FloatArray) -> FloatArray:
    """Return how long things lasted within each stretch between cuts.

    Parameters
    ----------
    start_us, stop_us : array, shape (m,)
        Beginnings and ends. [us]
    cuts_us : array, shape (n + 1,)
        The stretches' ends. [us]

    Returns
    -------
    array, shape (n,)
        [s]
    """
    low = np.maximum(start_us[None, :], cuts_us[:-1, None])
    high = np.minimum(stop_us[None, :], cuts_us[1:, None])
    return np.asarray(np.maximum(high - low, 0).sum(axis=1) / 1e6)
