"""What the array gave of a run's draw: the least of it where it charged the bank, and whether it may be more."""

from __future__ import annotations

import math

import numpy as np

from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR
from ..signal_levels.level_record import LevelList
from .run_figures import SeenRun

#: The bank stands at its regulation voltage if it is within this share of the highest level while charging.
AT_TOP = 0.01

#: The array had power to spare if the bank takes more by this share of the run's step right after it than before.
TAKES_MORE = 0.1

#: It gave part of the draw if the volts fell by less than this share of what the bank's resistance would make them.
HARDLY_FALLS = 0.5


def regulation_V(levels: LevelList) -> float:
    """Return the highest voltage at which the bank was held while it was charged; NaN if there is none. [V]."""
    if not {"voltage_V", "current_A"} <= levels.names:
        return math.nan
    volts, amps = np.array(levels.usual["voltage_V"]), np.array(levels.usual["current_A"])
    return max(volts[(amps < 0) & ~np.isnan(volts)].tolist(), default=math.nan)


def at_regulation(levels: LevelList) -> list[bool]:
    """Return, for the step that led to each level, whether the bank was held at its regulation voltage before."""
    top_V = regulation_V(levels)
    if math.isnan(top_V):
        return [False] * len(levels)
    amps, volts = (np.array(levels.last[name])[:-1] for name in ("current_A", "voltage_V"))
    return [False, *((amps < 0) & (volts >= (1 - AT_TOP) * top_V)).tolist()]


def may_share(run: SeenRun, top_V: float, ohm: float) -> bool:
    """Tell whether the array may have given part of a run's draw.

    `top_V` is what `regulation_V` says, `ohm` how far the volts fall for each amp in runs on the bank alone, NaN if
    unknown.
    """
    # Only a bank that was charged at its regulation voltage held the array back. One that is still filling passes on to
    # the load what it no longer takes: that is seen.
    levels = run.levels
    if math.isnan(top_V) or run.before("current_A") >= 0 or not run.before("voltage_V") >= (1 - AT_TOP) * top_V:
        return False
    # The array gave more when the load asked: the volts hardly fell at the start, or the bank takes much more right
    # after the stop than before the start.
    step_A = levels.change(run.start, "current_A")
    falls_V = -levels.change(run.start, "voltage_V")
    if not math.isnan(ohm) and falls_V < HARDLY_FALLS * ohm * step_A:
        return True
    return run.stop is not None and run.drift("current_A") < -TAKES_MORE * step_A


def straight(run: SeenRun, name: str, taken: float | None) -> float | None:
    """Return the least of what a run took, `taken`, that the array gave; None where the run was not measured. [unit h].

    What charged the bank before the run went on flowing and was taken by the load. Steps of others, clouds among them,
    count from where they are seen; of what the level moves slowly meanwhile, all counts against the array.
    """
    if taken is None or name not in run.levels.names:
        return None
    base = run.before(name) + run.coincidence.at_start.get(name, 0.0)
    drift = 0.0 if run.shared else max(run.drift(name), 0.0)
    given, levels = 0.0, run.levels
    for k in range(run.start, run.last + 1):
        base += run.levels.change(k, name) if k in run.others else 0.0
        until_us = run.stop_us if k == run.last else levels.start_us[k + 1]
        # At no moment more than the load then drew: what it leaves goes on into the bank.
        draws = max(levels.usual[name][k] - base, 0.0)
        given += (
            min(max(-(base + drift), 0.0), draws) * (until_us - levels.start_us[k]) / MICROSECONDS / SECONDS_PER_HOUR
        )
    return None if math.isnan(given) else min(given, max(taken, 0.0))


def prompt_ohm(runs: list[SeenRun]) -> float:
    """Return how far the volts fall for each amp at starts while the bank gives: the median; NaN if unknown. [ohm]."""
    ohms = sorted(
        -run.levels.change(run.start, "voltage_V") / run.levels.change(run.start, "current_A")
        for run in runs
        if {"voltage_V", "current_A"} <= run.levels.names
        and run.before("current_A") > 0
        and run.levels.change(run.start, "current_A") > 0
        and not math.isnan(run.levels.change(run.start, "voltage_V"))
    )
    return ohms[len(ohms) // 2] if ohms else math.nan
