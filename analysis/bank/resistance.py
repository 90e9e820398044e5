"""The bank's internal resistance from how far its voltage sags when a load comes on: robust, with an interval."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import hypot
from typing import Final

import numpy as np

from ..cycles.cycle import Cycle
from ..equipment.short_circuit import stated_mohm
from ..not_known import Missing
from ..readings.chunk import FloatArray
from ..site.tables import Bank
from ..stats.interval95 import Within, combine, limit
from ..stats.ranks import FEWEST, middle
from ..sureness.meter_figures import Accuracy


@dataclass(frozen=True)
class Resistance:
    """Internal resistance of the bank with its cables up to where the voltage is measured.

    Parameters
    ----------
    steps : int
        Steps it is from; 0 where it was stated.
    """

    mohm: Within
    steps: int
    assumptions: tuple[str, ...]


_ASSUMPTIONS: Final = (
    "Volts and amps of one step were read at the same moment; a slow fall of the voltage during a run counts in part.",
    "The interval holds the scatter of the steps and the meter's factors; a warm bank at the same state is supposed.",
)


def resistance(
    dI_A: FloatArray, dV_V: FloatArray, *, current: Accuracy | None = None, voltage: Accuracy | None = None
) -> Resistance | Missing:
    """Return the resistance that steps of current and the sags they made amount to.

    Parameters
    ----------
    dI_A : array, shape (n,)
        Rise of the draw at each step; those that are not above 0 are left out. [A]
    dV_V : array, shape (n,)
        Fall of the voltage at the same step. [V]
    current, voltage : Accuracy, optional
        The meter's: its factors do not average out. An offset does not matter to a difference.

    Returns
    -------
    Resistance or Missing
        Missing with fewer than six steps, or where the voltage does not sag at all.

    Notes
    -----
    Each step gives a ratio; the estimate is the middle of the means of all pairs of ratios (Hodges and Lehmann 1963),
    and its interval those means that the signed-rank test does not refuse (Hollander and Wolfe, from memory). Both
    hold for errors of any shape as likely up as down, and stand more than a quarter of wild steps.
    """
    dI, dV = np.asarray(dI_A, dtype=np.float64), np.asarray(dV_V, dtype=np.float64)
    use = (dI > 0) & np.isfinite(dI) & np.isfinite(dV)
    ratios = dV[use] / dI[use]
    if len(ratios) < FEWEST:
        return Missing(
            "internal resistance",
            ("bank.resistance_mohm",),
            f"it needs {FEWEST} starts seen in both volts and amps, and there are {len(ratios)}",
        )
    ohm = middle(ratios)
    if ohm.value <= 0:
        return Missing("internal resistance", ("bank.resistance_mohm",), "the voltage does not fall at a start")
    # Scatter and the meter's factors are independent, so they add as the sides of a right angle do.
    share = combine([limit("gain", accuracy.gain) for accuracy in (current, voltage) if accuracy is not None]).half
    up, down = (hypot(end - ohm.value, share * ohm.value) for end in (ohm.high, ohm.low))
    return Resistance(
        Within(1000 * ohm.value, 1000 * max(ohm.value - down, 0.0), 1000 * (ohm.value + up)), len(ratios), _ASSUMPTIONS
    )


def stated_resistance(bank: Bank) -> Resistance | Missing:
    """Return the resistance that the site file states, for a forecast without a log.

    It is taken as within a quarter, since cold, age and state move it (common practice, no source).
    """
    mohm = stated_mohm(bank)
    if mohm is None:
        return Missing("internal resistance", ("bank.resistance_mohm",), "no log of starts shows it")
    assumption = (
        "The resistance is bank.resistance_mohm, taken as within a quarter: cold, age and state of charge move it."
    )
    return Resistance(mohm, 0, (assumption,))


def resistance_of_cycles(
    cycles: Iterable[Cycle], *, current: Accuracy | None = None, voltage: Accuracy | None = None
) -> Resistance | Missing:
    """Return the resistance that the starts of a load show.

    Runs whose draw the array may have shared, or without volts, are left out. ``sag_V``, from before the start to the
    lowest, is divided by the highest reading of the start: the two were read together, also where the readings are too
    far apart to show the whole start.
    """
    pairs = [(cycle.surge_A, cycle.sag_V) for cycle in cycles if not cycle.array_may_share]
    dI, dV = np.array(pairs, dtype=np.float64).reshape(-1, 2).T  # None becomes NaN, which is left out
    return resistance(dI, dV, current=current, voltage=voltage)
