"""A log at the bank and one behind an inverter together: what the inverter really loses.

The two are set beside each other by the steps that both saw. From the sizes of the same step on either side follows
the efficiency at the load, whatever else draws at the bank or shines on the array; from mean powers over stretches
where both are level follow the losses from idle upwards, if nothing else switched at the bank.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import fsum, sqrt
from typing import Final

import numpy as np

from ..cycles.cycle import Cycle
from ..not_known import Missing
from ..readings.chunk import MICROSECONDS, FloatArray
from ..stats.interval95 import Component, Within, combine, limit
from .clock_offset import ClockOffset, clock_offset
from .log_steps import LogStep
from .loss_fit import LossFit, fit_losses
from .stretch_means import Stretch

#: Steps of at least this share of the largest are those of the running load.
RUNNING_SHARE: Final = 0.7
#: A stretch shorter than this is left out: a few readings say little. [s]
SHORTEST_S: Final = 5.0
#: Behind the inverter less than this is nothing: a meter's own noise. Common practice, no source. [W]
NOTHING_W: Final = 5.0


@dataclass(frozen=True)
class CommonLevels:
    """Stretches in which both logs are level, the same by the clock of either; [us].

    ``other_steps`` are steps at the bank, while both logs ran, that are not the inverter's.
    """

    at_bank: tuple[Stretch, ...]
    behind: tuple[Stretch, ...]
    other_steps: int


@dataclass(frozen=True)
class InverterMeasured:
    """What a log at the bank and one behind the inverter say together, and in plain sentences what that rests on.

    ``load_W`` is the load's step behind the inverter; the efficiency is AC watts over what the same step takes at the
    bank, the idle draw apart, and rests on so many steps. ``idle_W`` is the draw with nothing running, with whatever
    else drew steadily at the bank; Missing where other loads or the array hide it.
    """

    clocks: ClockOffset
    load_W: float
    efficiency: Within
    steps: int
    idle_W: Within | Missing
    losses: LossFit | Missing
    sentences: tuple[str, ...]


def common_levels(
    at_bank: Sequence[LogStep], behind: Sequence[LogStep], clocks: ClockOffset, spans_us: Sequence[Stretch]
) -> CommonLevels:
    """Return the stretches in which neither log steps; `spans_us` is where both measured, by the clock at the bank."""
    # A margin away from every step: within a spacing of it, and within what the clocks are unsure, it may lie anywhere.
    edges = [(step.at_us, step.spacing_s) for step in at_bank]
    edges += [(clocks.at_bank_us(step.at_us), step.spacing_s + clocks.u95_at_s(step.at_us)) for step in behind]
    stretches = []
    for low_us, high_us in spans_us:
        inside = sorted((us, margin_s) for us, margin_s in edges if low_us < us < high_us)
        bounds = [(float(low_us), 0.0), *inside, (float(high_us), 0.0)]
        for (a_us, a_s), (b_us, b_s) in pairwise(bounds):
            stretch = round(a_us + a_s * MICROSECONDS), round(b_us - b_s * MICROSECONDS)
            if stretch[1] - stretch[0] >= SHORTEST_S * MICROSECONDS:
                stretches.append(stretch)
    matched = {pair.at_bank for pair in clocks.pairs}
    others = [k for k, s in enumerate(at_bank) if k not in matched and any(a < s.at_us < b for a, b in spans_us)]
    theirs = tuple((_behind_us(clocks, a), _behind_us(clocks, b)) for a, b in stretches)
    return CommonLevels(tuple(stretches), theirs, len(others))


def _behind_us(clocks: ClockOffset, bank_us: float) -> int:
    """Return an instant at the bank by the clock of the log behind the inverter. [us]."""
    drift = clocks.drift_ppm * 1e-6
    return round(clocks.at_us + (bank_us - clocks.offset_s * MICROSECONDS - clocks.at_us) / (1 + drift))


def set_beside(
    at_bank: Sequence[LogStep], behind: Sequence[LogStep], bank_spans_us: Sequence[Stretch], behind_span_us: Stretch
) -> tuple[ClockOffset, CommonLevels]:
    """Return how far the clocks of two logs are apart, and the stretches in which both are level; Refusal as there."""
    clocks = clock_offset(at_bank, behind, bank_spans_us=bank_spans_us)
    low_us, high_us = (round(clocks.at_bank_us(us)) for us in behind_span_us)
    both = [(max(a, low_us), min(b, high_us)) for a, b in bank_spans_us if max(a, low_us) < min(b, high_us)]
    return clocks, common_levels(at_bank, behind, clocks, both)


def inverter_measured(
    at_bank: Sequence[LogStep],
    behind: Sequence[LogStep],
    clocks: ClockOffset,
    levels: CommonLevels,
    bank_W: FloatArray,
    behind_W: FloatArray,
    *,
    bank_gain_pct: float,
    behind_gain_pct: float,
    bank_zero_W: float = 0.0,
) -> InverterMeasured:
    """Return the inverter's efficiency at its load, its idle draw and its losses, with 95 % intervals.

    `bank_W` and `behind_W` are mean powers over each of the common stretches, NaN where not measured. The limits of
    error of the watts of either meter [%] enter the interval of the efficiency, that of the zero at the bank enters the
    interval of the idle draw; those of the fitted losses hold the scatter alone.
    """
    step_W = np.array([behind[pair.behind].size_W for pair in clocks.pairs])
    taken_W = np.array([at_bank[pair.at_bank].size_W for pair in clocks.pairs])
    # Smaller steps are part of a start, or another load's behind the same inverter: not the ratio of the running load.
    running = np.abs(step_W) >= RUNNING_SHARE * np.abs(step_W).max()
    step_W, taken_W = np.abs(step_W[running]), np.abs(taken_W[running])
    efficiency = _ratio(step_W / taken_W, bank_gain_pct, behind_gain_pct)
    basis = (
        f"The efficiency is the mean over {len(step_W)} starts and stops; its interval holds their scatter and both "
        f"meters' limits of error (± {bank_gain_pct:.2g} % at the bank, ± {behind_gain_pct:.2g} % behind the inverter)."
    )
    idle_W, losses = _losses(levels, bank_W, behind_W, (bank_gain_pct, bank_zero_W))
    return InverterMeasured(
        clocks, float(np.mean(step_W)), efficiency, len(step_W), idle_W, losses, (clocks.sentence, basis)
    )


def same_runs_W(
    at_bank: Sequence[Cycle], behind: Sequence[Cycle], clocks: ClockOffset, within_s: float
) -> float | None:
    """Return the settled draw [W] behind the inverter in the runs that the log at the bank has, too; None without any.

    It is the mean over running time; starts as close to each other as the readings are, `within_s`, are the same.
    """
    ours = np.array([cycle.start_us for cycle in at_bank if cycle.complete])
    same = []
    for cycle in behind:
        near_us = (within_s + clocks.u95_at_s(cycle.start_us)) * MICROSECONDS
        if cycle.run_W and cycle.run_s and np.any(np.abs(ours - clocks.at_bank_us(cycle.start_us)) <= near_us):
            same.append((cycle.run_W, cycle.run_s))
    return None if not same else fsum(w * s for w, s in same) / fsum(s for _, s in same)


def _ratio(ratios: FloatArray, bank_gain_pct: float, behind_gain_pct: float) -> Within:
    """Return the mean of ratios, with their scatter and both meters' gains in its interval. [1]."""
    mean = float(ratios.mean())
    bank, behind = (limit("gain", mean * pct / 100) for pct in (bank_gain_pct, behind_gain_pct))
    return _within(ratios, bank, behind)


def _within(x: FloatArray, *more: Component) -> Within:
    """Return the mean of some values, its interval made of their scatter and of what else may be wrong."""
    mean = float(x.mean())
    scatter = [Component("scatter", float(x.std(ddof=1)) / sqrt(len(x)), dof=len(x) - 1)] if len(x) > 1 else []
    half = combine([*scatter, *more]).half
    return Within(mean, mean - half, mean + half)


def _losses(
    levels: CommonLevels, bank_W: FloatArray, behind_W: FloatArray, bank_limits: tuple[float, float]
) -> tuple[Within | Missing, LossFit | Missing]:
    # What others draw meanwhile would be taken for the inverter's own.
    if levels.other_steps:
        why = (
            f"{levels.other_steps} steps of other loads are seen at the bank; log a while with nothing else switched "
            "on and the array covered or disconnected"
        )
        return Missing("idle draw of the inverter", (), why), Missing("losses of the inverter", (), why)
    rest = np.abs(behind_W) < NOTHING_W
    at_rest_W = bank_W[rest & ~np.isnan(bank_W)]
    losses = fit_losses(np.maximum(behind_W, 0.0), bank_W)
    if len(at_rest_W) < 2:
        return Missing("idle draw of the inverter", (), "the load never rested twice while both logs ran"), losses
    gain_pct, zero_W = bank_limits
    gain_W = abs(float(at_rest_W.mean())) * gain_pct / 100
    idle_W = _within(at_rest_W, limit("gain at the bank", gain_W), limit("zero at the bank", zero_W))
    if at_rest_W.mean() <= 0:
        why = (
            f"with nothing running the bank gave {idle_W.value:.3g} W, so the array shared in it; log a while without "
            "sun"
        )
        return Missing("idle draw of the inverter", (), why), Missing("losses of the inverter", (), why)
    return idle_W, losses
