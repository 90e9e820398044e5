"""What all loads take in a day, by a meter at the bank, which sees only what is left of it beside the sun.

While the sun shines the array carries part of the loads, and nobody can tell at the bank how much. In the dark it
carries nothing: then the bank gives all that is taken. So what goes on in the dark is taken to go on by day as well,
and the runs that were found, which are measured above whatever else flows, are counted where they were.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..charge.amounts import Charge
from ..charge.completed import CompletedIntervals
from ..cycles.cycle import Cycles
from ..not_known import Missing
from ..readings.blocks import firsts
from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, FloatArray, sums_of_runs
from ..readings.measured_span import HowRead
from ..stats.interval95 import Within
from .running_charge import CurrentFold

_WHAT: Final = "word on what all loads take in a day"
_HOUR_US: Final = 3600 * MICROSECONDS
_DAY_H: Final = 24
#: An hour of the day in which less came back than this share of the best hour has no sun: a meter's zero is off by as
#: much. [1]
_NO_SUN: Final = 0.02
#: At both ends of the night the array gives something, but less than the loads take: only its middle is dark. [h]
_DARK_H: Final = 8
_DUSK_H: Final = 1
#: Fewer dark hours than these, measured in whole, tell nothing of a day. [1]
_FEWEST: Final = 4
#: An hour counts as measured in whole from this share on. [1]
_WHOLE: Final = 0.9


@dataclass(frozen=True)
class ClockHours:
    """What flowed in each hour of the day, over all days of a log: shapes (24,), hours count from midnight UTC.

    Time measured, and what was drawn and returned in it; then of the hours measured in whole how many there were, and
    the sums of their net means and of the squares of these.
    """

    covered_s: FloatArray
    drawn_As: FloatArray
    returned_As: FloatArray
    count: FloatArray
    mean_A: FloatArray
    square_A2: FloatArray

    def night(self) -> list[int]:
        """Return the hours of the day that are dark: the middle of the longest stretch without sun."""
        best = float(self.returned_As.max())
        sunny = np.flatnonzero(self.returned_As > _NO_SUN * best)
        if best <= 0 or not len(sunny):
            return []
        # From each sunny hour to the next, the last one to the first of the next day: the longest of these is the
        # night.
        after = np.diff(np.append(sunny, sunny[0] + _DAY_H)) - 1
        longest = int(after.argmax())
        length, start = int(after[longest]), int(sunny[longest]) + 1
        dark = min(_DARK_H, length - 2 * _DUSK_H)
        first = start + (length - dark) // 2
        return [hour % _DAY_H for hour in range(first, first + max(dark, 0))]


class ClockHoursFold(CurrentFold):
    """Add up what flows by the hour of the day, as a fold; carries one reading and the hour that is not over yet."""

    def __init__(self, how: HowRead, quantities: Set[str]) -> None:
        super().__init__(how, quantities)
        self._closed = np.zeros((_DAY_H, 6))
        self._open: tuple[int, FloatArray] | None = None

    def take(self, pieces: CompletedIntervals) -> None:
        """Take in what the next readings of the current complete; an interval counts where it ends."""
        stop_us = pieces.measured.stop_us
        if not len(stop_us):
            return
        first = firsts(stop_us, _HOUR_US)
        parts = [sums_of_runs(x, first) for x in (pieces.measured.length_s, *pieces.split)]
        for hour, sums in zip((stop_us[first] // _HOUR_US).tolist(), np.stack(parts, axis=1), strict=True):
            if self._open is not None and self._open[0] == hour:
                self._open = (hour, self._open[1] + sums)
                continue
            self._closed = self._with_open()
            self._open = (hour, sums)

    def _with_open(self) -> FloatArray:
        """Return the sums with the open hour among them."""
        closed = self._closed.copy()
        if self._open is not None:
            hour, (covered_s, drawn, returned) = self._open
            # An hour with gaps tells what flowed in it, but its mean is of another stretch than its neighbours' means.
            whole = covered_s >= _WHOLE * SECONDS_PER_HOUR
            mean_A = (drawn - returned) / covered_s if whole else 0.0
            closed[hour % _DAY_H] += (covered_s, drawn, returned, float(whole), mean_A, mean_A**2)
        return closed

    def result(self) -> ClockHours:
        """Return the hours of the day so far."""
        return ClockHours(*self._with_open().T)


@dataclass(frozen=True)
class LoadsUse:
    """What all loads take in a day.

    ``day_Wh`` is at the bank; missing where the sun may have carried part of it, and no dark hours show what is taken
    without it. ``from_bank_Wh`` is what the bank gave of it in a day of the log: the loads take no less. The
    assumptions are plain sentences.
    """

    day_Wh: Within | Missing
    from_bank_Wh: float
    assumptions: tuple[str, ...] = ()


def loads_use(
    charge: Charge, cycles: Cycles, hours: ClockHours | None, from_bank_Wh: float, *, sun: bool = True
) -> LoadsUse:
    """Return what all loads take in a day, with the bank's voltage by the log's energy over its charge.

    By the runs that were found, by what flowed by the hour of the day (None without amps at the bank), by what was
    drawn from the bank in a day, and whether the site has an array.
    """
    moved, energy = charge.charge, charge.energy
    if hours is None or moved is None or energy is None:
        return LoadsUse(Missing(_WHAT, (), "the log has no amps and volts measured at the bank"), from_bank_Wh)
    # Without an array, and with nothing given back, there is no other source: the meter saw all.
    if not moved.returned and not sun:
        drawn = Within(from_bank_Wh, from_bank_Wh, from_bank_Wh)
        return LoadsUse(drawn, from_bank_Wh, ("Nothing came back in this log: the bank gave all that was taken.",))
    night = hours.night()
    if hours.count[night].sum() < _FEWEST:
        few = "the sun may have carried part of it, and the log has too few dark hours to tell the rest by"
        return LoadsUse(Missing(_WHAT, (), few), from_bank_Wh)
    covered_h = float(hours.covered_s.sum()) / SECONDS_PER_HOUR
    dark_A, off_A = _in_the_dark(hours, night, cycles)
    runs_Ah = sum(cycle.charge_Ah or 0.0 for cycle in cycles.cycles) * _DAY_H / covered_h
    volts = (energy.drawn + energy.returned) / (moved.drawn + moved.returned)
    day_Wh, off_Wh = (dark_A * _DAY_H + runs_Ah) * volts, off_A * _DAY_H * volts
    # The loads took at least what the bank gave, whatever the nights say.
    value = max(day_Wh, from_bank_Wh)
    return LoadsUse(
        Within(value, max(day_Wh - off_Wh, from_bank_Wh), max(day_Wh + off_Wh, value)),
        from_bank_Wh,
        (
            f"In the dark, when the sun carries nothing, {dark_A:.3g} A are drawn beside the runs found; this was "
            "taken to go on by day, where the array carries part of it unseen.",
            f"The runs found take {runs_Ah:.3g} Ah a day, by day and by night; the interval is that from hour to hour.",
        ),
    )


def _in_the_dark(hours: ClockHours, night: list[int], cycles: Cycles) -> tuple[float, float]:
    """Return what is drawn in the dark beside the runs that were found, and how far it may be off, 95 % [A]."""
    from scipy import stats

    # The level is that of all dark time, gaps beside; how far it may be off is told by whole hours alone, which are
    # like each other: Student's t of their mean, since a log of a day has hardly ten of them.
    covered_s, count = float(hours.covered_s[night].sum()), float(hours.count[night].sum())
    net_As = float((hours.drawn_As - hours.returned_As)[night].sum())
    runs_As = sum(
        (cycle.charge_Ah or 0.0) * SECONDS_PER_HOUR
        for cycle in cycles.cycles
        if cycle.start_us // _HOUR_US % _DAY_H in night
    )
    mean_A = float(hours.mean_A[night].sum()) / count
    spread_A2 = max(float(hours.square_A2[night].sum()) - count * mean_A**2, 0.0) / (count - 1)
    off_A = float(stats.t.ppf(0.975, count - 1)) * (spread_A2 / count) ** 0.5
    return max(net_As - runs_As, 0.0) / covered_s, off_A
