"""The steps of a log in watts, each with its instant: what two logs of the same load have in common."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np

from ..not_known import Refusal
from ..readings.chunk import MICROSECONDS, Sampling
from ..signal_levels.levels import Level, LevelMaker
from ..signal_levels.steps import Plateaus

#: Smaller steps are not looked at: common practice, no source. [W]
LEAST_STEP_W: Final = 2.5


@dataclass(frozen=True)
class LogStep:
    """A step that a log shows: when by its own clock, the time between the readings around it, how large.

    The size is positive for a load that comes on.
    """

    at_us: float
    spacing_s: float
    size_W: float


def steps_of(plateaus: Plateaus, sampling: Sampling) -> tuple[LogStep, ...]:
    """Return the steps of a log in watts, in order of time.

    Raises
    ------
    Refusal
        If the log has no watts.
    """
    levels = _levels(plateaus)
    if levels and "power_W" not in levels[0].parts[0].traces:
        raise Refusal("one of the two logs has no watts (nor volts and amps), so their steps cannot be matched by size")
    steps = []
    for before, level in pairwise(levels):
        size_W = level.first("power_W") - before.last("power_W")
        if not level.after_gap and abs(size_W) >= LEAST_STEP_W:
            at_us = _in_means_us(before, level, plateaus.signal) if sampling == "mean" else level.start_us
            steps.append(LogStep(at_us, level.spacing_s, size_W))
    return tuple(steps)


def _levels(plateaus: Plateaus) -> list[Level]:
    maker = LevelMaker(plateaus.signal)
    done = [level for plateau in plateaus.plateaus for level in maker.add(plateau)]
    return [*done, *maker.rest()]


def _in_means_us(before: Level, level: Level, signal: str) -> float:
    """Return when a step happened within readings that are means. [us]"""
    # A mean that the step falls into lies between both levels, as far as the new one held within it. Without such a
    # mean the step fell on the edge of two; a mean is stamped at its end, so that edge is one spacing before the first.
    base, rise = before.last(signal), level.first(signal) - before.last(signal)
    changed = level.changed
    spacing_us = level.spacing_s * MICROSECONDS
    partial = changed
    if changed is level.parts[0]:
        if not (level.between and level.between[-1].count == 1):
            return changed.first_us - spacing_us
        partial = level.between[-1]
    share = np.clip((partial.traces[signal].first - base) / rise, 0.0, 1.0) if rise else 1.0
    return float(partial.first_us - share * spacing_us)
