"""Other loads that step at the very moment a run begins or ends, told by how the run's step differs from the usual."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from shuntbook.analysis.levels.level_record import LevelList
from shuntbook.analysis.readings.chunk import FloatArray

from .on_off_path import RunLevels

#: Fewer runs do not show what a load's steps usually are.
ENOUGH_RUNS = 4

#: A step is strange if it differs from the usual by this share, and by this many times what others differ.
STRANGE_SHARE, STRANGE_TIMES = 0.05, 4.0


@dataclass(frozen=True)
class Coincidence:
    """What other loads switched on (positive) or off at a run's start, and at its stop, by quantity. [unit]."""

    at_start: Mapping[str, float]
    at_stop: Mapping[str, float]


def coincidences(levels: LevelList, runs: Sequence[RunLevels]) -> dict[RunLevels, Coincidence]:
    """Return what other loads seem to have switched at the moments of a load's starts and stops, where they did.

    Whether they did is for the level after the run to say: a load may draw more at its start for once by itself.
    """
    whole = [run for run in runs if run.stop is not None and run.fall is None]
    starts, stops = ([getattr(run, name) for run in whole] for name in ("start", "stop"))
    if len(whole) < ENOUGH_RUNS:
        return {}
    names = sorted(levels.names - {"voltage_V"})
    changes = {name: levels.changes(name) for name in names}
    at_start = {name: _strange(changes[name][starts]) for name in names}
    at_stop = {name: _strange(changes[name][stops]) for name in names}
    return {
        run: Coincidence({n: float(at_start[n][k]) for n in names}, {n: float(at_stop[n][k]) for n in names})
        for k, run in enumerate(whole)
        if at_start[levels.signal][k] or at_stop[levels.signal][k]
    }


def _strange(steps: FloatArray) -> FloatArray:
    """Return by how much steps are strange, nought for those that are not or are unknown. [unit]."""
    if np.isnan(steps).all():
        return np.zeros_like(steps)
    usual = float(np.nanmedian(steps))
    away = np.nan_to_num(steps - usual)
    least = max(STRANGE_SHARE * abs(usual), STRANGE_TIMES * float(np.median(np.abs(away))))
    return np.where(np.abs(away) > least, away, 0.0)
