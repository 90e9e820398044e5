"""How sure the charge and energy of each cycle are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..charge.amounts import Charge
from ..cycles.cycle import Cycle, Cycles
from ..readings.chunk import SECONDS_PER_HOUR, FloatArray
from ..readings.measured_span import HowRead
from ..site.motor_tables import USUAL_START_S
from ..stats.interval95 import EVEN, WITHIN
from .meter_figures import Accuracy, MeterFigures
from .too_brief import too_brief, with_lower_bounds, without_clouds

#: The level a run stands on is known from about so many readings: common practice, no source. [1]
_BASE_READINGS = 10
#: Coverage factors for 95 %: of a normal distribution, of two like even parts, and of one.
_FACTORS = (1.959964, 1.901766, 1.645448)
#: Excess kurtosis of the same; one even part has -6/5.
_KURTOSES = (0.0, -0.6, -1.2)


def sure_cycles(cycles: Cycles, charge: Charge | None, figures: MeterFigures, how: HowRead) -> Cycles:
    """Return the cycles of a log with their intervals, by the noise that `charge`, all of the log, shows."""
    evidence = None if charge is None else charge.evidence
    by_amps = cycles.signal == "current_A"
    facts = None if evidence is None else evidence.current if by_amps else evidence.power
    accuracy = figures.current if by_amps else figures.power or Accuracy()
    # Noise is in each reading by itself, so a short run averages less of it away; noted figures have none to see.
    noise = 0.0
    if facts is not None and not how.noted:
        noise = facts.noise(accuracy.resolution, of_means=how.sampling == "mean")
    return cycles_with_intervals(cycles, figures, how, noise=noise)


def cycles_with_intervals(cycles: Cycles, figures: MeterFigures, how: HowRead, *, noise: float) -> Cycles:
    """Return cycles with half of the 95 % interval of their charge and energy.

    An offset of the meter's zero cancels, since a cycle counts above the level before it; the instants of both edges,
    the meter's gain, its last digit and the noise do not. There are none where clouds step by about the load's
    draw: some runs may be theirs, and others missing. `noise` is a standard deviation in the unit of the signal.
    """
    count = too_brief(cycles)
    if cycles.in_clouds and not count:
        return cycles
    cycles = without_clouds(cycles) if count else cycles
    runs, volts = _CycleColumns(cycles.cycles), _volts(cycles)
    noise_A = noise if cycles.signal == "current_A" else noise / volts
    current, power = figures.current, figures.power
    amps = _CycleErrors(_gain(current), noise_A, current.resolution)
    if power is not None:
        watts = _CycleErrors(_gain(power), noise_A * volts, power.resolution)
    else:
        gain = math.hypot(_gain(current), _gain(figures.voltage))
        watts = _CycleErrors(gain, noise_A * volts, current.resolution * volts)
    charge = _Amounts.of(
        runs, how, amps, runs.known("charge_Ah", "so_far_Ah"), runs["run_A"], runs["base_drift_A"], 1.0
    )
    energy = _Amounts.of(
        runs, how, watts, runs.known("energy_Wh", "so_far_Wh"), runs["run_W"], runs["base_drift_W"], volts
    )
    of_each = zip(cycles.cycles, charge.each(), energy.each(), strict=True)
    summary = replace(
        cycles.summary,
        charge_u95_Ah=None if cycles.summary.charge_Ah is None else charge.together(),
        energy_u95_Wh=None if cycles.summary.energy_Wh is None else energy.together(),
    )
    return replace(
        cycles,
        cycles=tuple(
            replace(cycle, charge_u95_Ah=of_charge, energy_u95_Wh=of_energy)
            if cycle.complete
            else replace(cycle, so_far_u95_Ah=of_charge, so_far_u95_Wh=of_energy)
            for cycle, of_charge, of_energy in of_each
        ),
        summary=with_lower_bounds(summary, count),
    )


@dataclass(frozen=True)
class _CycleColumns:
    """Figures of cycles as columns, shapes (n,): NaN where one is not known."""

    cycles: Sequence[Cycle]

    def __getitem__(self, name: str) -> FloatArray:
        return np.array([getattr(cycle, name) for cycle in self.cycles], dtype=np.float64)

    def known(self, whole: str, so_far: str) -> FloatArray:
        """Return a figure, of runs without an end as far as they were seen."""
        of_whole = self[whole]
        return np.where(np.isnan(of_whole), self[so_far], of_whole)

    @cached_property
    def length_s(self) -> FloatArray:
        """How long they were seen running. [s]."""
        return self.known("run_s", "so_far_s")

    @cached_property
    def surge_A(self) -> FloatArray:
        """What a start was seen to draw above the settled run. [A]."""
        return np.maximum(np.nan_to_num(self["surge_A"]) - np.nan_to_num(self["run_A"]), 0.0)


@dataclass(frozen=True)
class _Amounts:
    """Half of the 95 % intervals of what cycles took, and what of it is each one's alone; NaN where not known."""

    u95: FloatArray
    own: FloatArray

    @classmethod
    def of(
        cls,
        runs: _CycleColumns,
        how: HowRead,
        errors: _CycleErrors,
        amount: FloatArray,
        draw: FloatArray,
        drift: FloatArray,
        per_A: float,
    ) -> _Amounts:
        """Return it for an amount [unit h] of runs of a draw, over a base that drifts, one amp of which is `per_A`."""
        unseen = _Unseen.of(runs, how, np.abs(np.nan_to_num(drift)), per_A)
        return cls(errors.u95(runs.length_s, amount, draw, unseen), unseen.moments95(draw))

    def each(self) -> list[float | None]:
        """Return that of each cycle."""
        return [None if math.isnan(u95) else u95 for u95 in self.u95.tolist()]

    def together(self) -> float | None:
        """Return half of the interval of the sum; None where that of one is not known. [unit h]."""
        if not len(self.u95) or np.isnan(self.u95).any():
            return None
        # What one cycle is off the others may be off the same way (gain, digit): halves add up and not their squares.
        alike = sum(np.sqrt(np.maximum(self.u95**2 - self.own**2, 0.0)).tolist())
        return math.hypot(alike, *self.own.tolist())


def _gain(accuracy: Accuracy) -> float:
    """Return the standard uncertainty of an accuracy's gain. [1]"""
    return math.hypot(accuracy.reading_pct, accuracy.class_pct) / 100 / EVEN


def _volts(cycles: Cycles) -> float:
    """Return volts that turn amps into watts; of the runs themselves. [V]"""
    ratios = [cycle.run_W / cycle.run_A for cycle in cycles.cycles if cycle.run_W and cycle.run_A]
    return abs(float(np.median(ratios))) if ratios else 1.0


@dataclass(frozen=True)
class _CycleErrors:
    """Standard uncertainty of the gain [1], of the noise, and the last digit, in the unit of a signal."""

    gain: float
    noise: float
    resolution: float

    def u95(self, length_s: FloatArray, amount: FloatArray, draw: FloatArray, unseen: _Unseen) -> FloatArray:
        """Return half of the 95 % interval of what each cycle took [unit h]; NaN where the amount is not known."""
        mean = amount * SECONDS_PER_HOUR / np.maximum(length_s, 1e-9)
        settled = np.abs(np.where(np.isnan(draw), mean, draw))
        # The level below the run and the run itself are means of readings, each with the noise of so many.
        readings = np.maximum(length_s / unseen.interval_s, 1.0) if unseen.interval_s else 1.0
        base = self.noise * length_s * np.sqrt(1 / _BASE_READINGS + 1 / readings)
        # The last digit of both levels, even within a digit; each edge even within its spacing.
        digit = math.sqrt(2) * self.resolution / WITHIN * length_s
        edges = (edge_s * settled / WITHIN for edge_s in unseen.edges_s)
        apart = (limit / EVEN for limit in unseen.apart)
        return _half([self.gain * np.abs(amount) * SECONDS_PER_HOUR, digit, *edges, *apart], base) / SECONDS_PER_HOUR


@dataclass(frozen=True)
class _Unseen:
    """What the readings of cycles, of a usual spacing, do not show; shapes (n,).

    ``edges_s`` are the spacings of the readings around start and stop (means know what was drawn meanwhile), ``apart``
    the limits of what the start's surge, and a level below that moved at an unknown instant, can do [unit s].
    ``of_display`` tells that the edges are those of a display, each late by its own.
    """

    interval_s: float
    edges_s: tuple[FloatArray | float, ...]
    apart: tuple[FloatArray, ...]
    of_display: bool = False

    @classmethod
    def of(cls, runs: _CycleColumns, how: HowRead, drift: FloatArray, per_A: float) -> _Unseen:
        """Return it for amounts above a base that drifts by so much, in a unit of which one amp is `per_A`."""
        interval_s = how.usual_interval_s or 0.0
        # Where a run has no end its draw was taken over all its length, and what drifts may have been its draw.
        moved = drift * (np.nan_to_num(runs["run_s"]) / 2 + np.nan_to_num(runs["so_far_s"]))
        if how.delay_s is not None:
            late_s = how.delay_s + interval_s
            return cls(interval_s, (late_s,) * 2, (moved, runs.surge_A * per_A * late_s / 2), of_display=True)
        if how.sampling == "mean":
            return cls(interval_s, (), (moved,))
        # An edge is known to so much on either side, half of the spacing it fell into; else that is a usual one.
        within_s = (runs["start_within_s"], runs["stop_within_s"])
        edges_s = tuple(np.where(np.isnan(x), interval_s, 2 * x) for x in within_s)
        # A surge that a reading caught counts for a whole spacing; one that none caught lasted for less than that, and
        # what one start was seen to draw others may have drawn between readings.
        caught, highest_A = runs.surge_A * interval_s, float(runs.surge_A.max(initial=0.0))
        surge = np.maximum(caught, highest_A * min(interval_s, USUAL_START_S)) * per_A
        return cls(interval_s, edges_s, (moved, np.where(runs["surge_resolved"], 0.0, surge)))

    def moments95(self, draw: FloatArray) -> FloatArray:
        """Return half of the 95 % intervals of what a display's delay does to each cycle alone. [unit h]"""
        if not self.of_display:
            return np.zeros_like(draw)
        known = np.abs(np.nan_to_num(draw))
        return _half([known * edge_s / WITHIN for edge_s in self.edges_s], np.zeros_like(draw)) / SECONDS_PER_HOUR


def _half(even: Sequence[FloatArray], normal: FloatArray) -> FloatArray:
    """Return half of the 95 % intervals of even parts and a normal one, by the kurtosis of their sum; shapes (n,)."""
    # `combine` would convolve the parts for each of hundreds of cycles. The excess kurtosis of a sum is that of its
    # parts, weighed by their squared shares of the variance; between the three factors known exactly (one even part,
    # two like ones, a normal distribution) the coverage factor is taken to lie on a parabola.
    squares = [u * u for u in even]
    u2 = sum(squares) + normal**2
    kurtosis = -1.2 * sum(u * u for u in squares) / np.where(u2 > 0, u2, 1.0) ** 2
    bent, sloping, at_0 = _PARABOLA
    return ((bent * kurtosis + sloping) * kurtosis + at_0) * np.sqrt(u2)


_PARABOLA: list[float] = np.polyfit(_KURTOSES, _FACTORS, 2).tolist()
