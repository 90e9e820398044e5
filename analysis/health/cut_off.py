"""Runs that end because the inverter switches itself off at a low voltage: they say nothing about the tank."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from shuntbook.analysis.readings.chunk import BoolArray, FloatArray
from shuntbook.analysis.wording import figure

from .limits import Bound, HealthLimits
from .runs import LEAST_CYCLES, Runs

#: The bank may stand so much above the inverter's cut-off when that switches off: meters and cables differ by some
#: percent (common practice, no source). [1]
ABOVE_CUT_OFF: Final = 1.02
#: Without a site file: inverters switch off at 10 to 11 V for 12 V nominal (data sheets, from memory), and the meter
#: may be off by a percent. [V per nominal V]
USUAL_CUT_OFF: Final = 1.01 * 11.0 / 12.0
#: Nominal voltages of banks, and by how much a bank usually stands above its own: 12.5 V for 12 V. [V], [1]
NOMINAL_V: Final = (12.0, 24.0, 36.0, 48.0)
STANDS: Final = 12.5 / 12.0
#: Runs are pinned to a voltage if nine of ten end within this share of it, once they have fallen by so much. [1]
PINNED: Final = 0.01
#: Where no cut-off is known, so many of the runs that are too short must end so. [1]
MOST: Final = 0.75


@dataclass(frozen=True)
class CutOff:
    """Which runs ended with the bank at the voltage at which their inverter switches off; `at` is None where none."""

    which: BoolArray
    at: Bound | None = None


def cut_off_of(runs: Runs, limits: HealthLimits) -> CutOff:
    """Tell which runs ended at the inverter's cut-off.

    Only runs that are shorter than a motor, or the tank, lets one expect are asked. They end at the cut-off of the
    site file; else most of them must end where inverters usually switch off, or all at one voltage to which they fell.
    """
    end_V, enough_s = runs.of("end_V"), limits.minimum_run_s.value
    enough_s = max(enough_s, limits.tank_run_s.value) if limits.tank_run_s is not None else enough_s
    brief = (runs.run_s < enough_s) & ~np.isnan(end_V)
    if limits.cut_off_V is not None:
        return _at(brief & (end_V < ABOVE_CUT_OFF * limits.cut_off_V.value), limits.cut_off_V)
    none = CutOff(np.zeros(len(end_V), dtype=bool))
    if brief.sum() < LEAST_CYCLES:
        return none
    nominal_V = limits.nominal_V or nominal_of(float(np.median(runs.of("before_V")[brief])))
    low = brief & (end_V < USUAL_CUT_OFF * nominal_V)
    if low.sum() >= MOST * brief.sum():
        said = f"where inverters on {figure(nominal_V, 'V')} usually switch off, from memory: the site file gives none"
        return _at(low, Bound(round(USUAL_CUT_OFF * nominal_V, 2), said))
    pinned_V = _pinned_V(end_V[brief], runs.of("begin_V")[brief])
    if pinned_V is None:
        return none
    said = "the voltage at which the runs end, one like the other"
    return _at(brief & (np.abs(end_V / pinned_V - 1) < PINNED), Bound(round(pinned_V, 2), said))


def _at(which: BoolArray, at: Bound) -> CutOff:
    return CutOff(which, at if which.any() else None)


def nominal_of(stands_V: float) -> float:
    """Return the nominal voltage of a bank that stands at so much. [V]."""
    return min(NOMINAL_V, key=lambda nominal_V: abs(np.log(stands_V / (STANDS * nominal_V))))


def _pinned_V(end_V: FloatArray, begin_V: FloatArray) -> float | None:
    """Return the voltage to which all of these runs fell and at which they ended; None if they did not. [V]."""
    low, middle, high = np.quantile(end_V, [0.05, 0.5, 0.95])
    fallen_V = float(np.nanmedian(begin_V - end_V))
    is_pinned = high - low < PINNED * middle and fallen_V > max(PINNED * middle, 2 * (high - low))
    return float(middle) if is_pinned else None


def without(runs: Runs, which: BoolArray) -> Runs:
    """Return the runs without some of them; what came before the next one is not known then."""
    if not which.any():
        return runs
    after = np.concatenate([[False], which[:-1]])
    cycles = [
        replace(cycle, off_before_s=None) if follows else cycle
        for cycle, out, follows in zip(runs.cycles.cycles, which, after, strict=True)
        if not out
    ]
    return replace(runs, cycles=replace(runs.cycles, cycles=tuple(cycles)), left_out=int(which.sum()))
