"""Starts of a load whose runs are too brief for the readings: what rises prove, and of what size they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..cycles.choose_load import NEAR_PLATE, PLATE_SPREAD
from ..cycles.failed_starts import LIKE_RUNS
from ..readings.chunk import TimeArray
from ..signal_levels.rises import Rises
from .limits import HealthLimits
from .runs import LEAST_CYCLES, Runs, busiest_hour
from .voltage import ABOVE_CUT_OFF, USUAL_CUT_OFF, nominal_of

#: Means rise by any part of the draw of a load: by no more than that, and by less than this part is another's.
MEAN: Final = (0.2, 1.25)
#: Rises of a load that nobody named are at least so large a share of the draw of the runs that were seen. [1]
OF_SEEN: Final = 0.6
#: And so large a share of all that rises. [1]
WORTH_LOOKING: Final = 0.1
#: With more rises than so many times the runs that were seen, means have taken brief runs and rests for one run: common
#: practice, no source. [1]
AS_ONE: Final = 4.0


@dataclass(frozen=True)
class HardlySeen:
    """Rises of one load: how many an hour holds and when that begins, of all with any; all, their mean size and volts.

    Of `size` in the unit of the signal.
    """

    in_hour: NDArray[np.int64]
    hour_us: TimeArray
    count: int
    size: float
    volts: float

    @property
    def most(self) -> int:
        """The most in any hour. [1]"""
        return int(self.in_hour.max())

    @property
    def busiest_us(self) -> int:
        """When the first hour with the most begins. [us]"""
        return int(self.hour_us[self.in_hour.argmax()])


def hardly_seen(runs: Runs) -> HardlySeen | None:
    """Return the rises that are the load's, or those of the load that rises most where none was named; None without.

    Where the load's draw is known from whole runs, or by its plate, its rises are of that size. Clouds over an array
    rise and fall as well: quarters of an hour in which the bank was charged are left out where readings are means.
    Rises alone do not tell two loads of like draw apart.
    """
    rises = runs.cycles.rises
    if rises is None or runs.mixed or runs.cycles.two_kinds is not None:
        return None
    # A cloud that passes takes minutes: only means, which smear it out, take it for a rise of a load.
    usable = ~rises.charged if rises.means else np.ones(len(rises.size), dtype=bool)
    candidates = [each for size in _sizes(runs, rises) if (each := _of_size(rises, usable, size)) is not None]
    return max(candidates, default=None, key=lambda each: (_likely(each, runs), each.size))


def taken_as_one(runs: Runs) -> bool:
    """Tell whether readings are means that take brief runs, and the rests between, for one that draws less."""
    rises = runs.cycles.rises
    seen = hardly_seen(runs) if rises is not None and rises.means else None
    return seen is not None and seen.count > AS_ONE * len(runs.start_us)


def most_starts(runs: Runs, *, by_rises: bool) -> int:
    """Return the most starts in any hour: of runs that were seen, and with `by_rises` of those that rises prove."""
    seen = hardly_seen(runs) if by_rises else None
    return max(busiest_hour(runs.start_us), 0 if seen is None else seen.most)


def _sizes(runs: Runs, rises: Rises) -> list[float]:
    """Return the draws that the load may have. [unit of the signal]."""
    plate = runs.cycles.expected
    # Where a plate says what to expect, it takes a handful of runs to say otherwise; without one, any run is better.
    seen = _seen_draw(runs, 1 if plate is None else LEAST_CYCLES)
    if plate is not None and (rises.means or seen is not None):
        return [seen or plate]
    if plate is not None:
        low, high = plate / NEAR_PLATE, plate * NEAR_PLATE
    else:
        low, high = (0.0 if seen is None else OF_SEEN * seen), np.inf
    return [float(size) for size in np.unique(rises.size) if low <= size <= high]


def _seen_draw(runs: Runs, least: int) -> float | None:
    """Return the usual draw of a load's whole runs; None where so few were seen. [unit of the signal]."""
    draw = runs.of(f"run_{runs.cycles.signal[-1]}")[runs.whole]
    return float(np.nanmedian(draw)) if np.isfinite(draw).sum() >= least else None


def _of_size(rises: Rises, usable: NDArray[np.bool_], size: float) -> HardlySeen | None:
    low, high = MEAN if rises.means else LIKE_RUNS
    which = usable & (rises.size > low * size) & (rises.size < high * size)
    in_hour, hour_us = rises.by_hour(which)
    if not len(in_hour):
        return None
    count = rises.count[which]
    # What is a small part of all that rises may be the tail of another load's rises.
    if float((rises.size * rises.count)[which].sum()) < WORTH_LOOKING * float((rises.size * rises.count).sum()):
        return None
    mean_size, volts = (float(np.average(x[which], weights=count)) for x in (rises.size, rises.volts))
    return HardlySeen(in_hour, hour_us, int(count.sum()), mean_size, volts)


def _likely(each: HardlySeen, runs: Runs) -> float:
    """Return how likely rises are the load's: those that come most often, the nearest to the plate counting most."""
    plate = runs.cycles.expected
    # Counts weighed by how near the size is to the plate, as likely as a normal error of the logarithm makes it.
    return each.most * (1.0 if plate is None else float(np.exp(-((np.log(each.size / plate) / PLATE_SPREAD) ** 2))))


def at_cut_off(seen: HardlySeen, limits: HealthLimits) -> bool:
    """Tell whether the bank stands so low at the rises that its inverter may end the runs."""
    if limits.cut_off_V is not None:
        return seen.volts < ABOVE_CUT_OFF * limits.cut_off_V.value
    return seen.volts < USUAL_CUT_OFF * (limits.nominal_V or nominal_of(seen.volts))
