"""How sure the charge and energy of each cycle are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..charge.amounts import Charge
from ..cycles.cycle import Cycle, Cycles
from ..readings.chunk import SECONDS_PER_HOUR
from ..readings.measured_span import HowRead
from ..site.motor_tables import USUAL_START_S
from ..stats.interval95 import EVEN, WITHIN
from .meter_figures import Accuracy, MeterFigures

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
    the meter's gain, its last digit and the noise do not. `noise` is a standard deviation in the unit of the signal.
    """
    volts = _volts(cycles)
    noise_A = noise if cycles.signal == "current_A" else noise / volts
    current, power = figures.current, figures.power
    amps = _CycleErrors(_gain(current), noise_A, current.resolution)
    if power is not None:
        watts = _CycleErrors(_gain(power), noise_A * volts, power.resolution)
    else:
        gain = math.hypot(_gain(current), _gain(figures.voltage))
        watts = _CycleErrors(gain, noise_A * volts, current.resolution * volts)
    # What one start was seen to draw others may have drawn between readings.
    highest_A = max((_surge(cycle) for cycle in cycles.cycles), default=0.0)
    u95s, moments = [], []
    for cycle in cycles.cycles:
        of_amps, of_watts = _Unseen.of(cycle, how, highest_A), _Unseen.of(cycle, how, highest_A, volts)
        u95s.append(
            (
                amps.u95(cycle, _taken(cycle.charge_Ah, cycle.so_far_Ah), cycle.run_A, of_amps),
                watts.u95(cycle, _taken(cycle.energy_Wh, cycle.so_far_Wh), cycle.run_W, of_watts),
            )
        )
        moments.append((of_amps.moments95(cycle.run_A), of_watts.moments95(cycle.run_W)))
    return replace(
        cycles,
        cycles=tuple(
            replace(cycle, charge_u95_Ah=amps_u95, energy_u95_Wh=watts_u95) if cycle.complete else cycle
            for cycle, (amps_u95, watts_u95) in zip(cycles.cycles, u95s, strict=True)
        ),
        summary=replace(
            cycles.summary,
            charge_u95_Ah=None if cycles.summary.charge_Ah is None else _together(u95s, moments, 0),
            energy_u95_Wh=None if cycles.summary.energy_Wh is None else _together(u95s, moments, 1),
        ),
    )


def _taken(whole: float | None, so_far: float | None) -> float | None:
    return so_far if whole is None else whole


def _together(
    u95s: Sequence[tuple[float | None, float | None]], moments: Sequence[tuple[float, float]], which: int
) -> float | None:
    """Return half of the interval of a sum, of charge (0) or energy (1); `moments` are each cycle's own. [unit h]"""
    known = [u95[which] for u95 in u95s if u95[which] is not None]
    if not known or len(known) < len(u95s):
        return None
    own = [each[which] for each in moments]
    # What one cycle is off the others may be off the same way (gain, digit), so halves add up and not their squares.
    alike = sum(math.sqrt(max((u95 or 0.0) ** 2 - x**2, 0.0)) for u95, x in zip(known, own, strict=True))
    return math.hypot(alike, *own)


def _surge(cycle: Cycle) -> float:
    """Return what a start was seen to draw above the settled run. [A]"""
    return max((cycle.surge_A or 0.0) - (cycle.run_A or 0.0), 0.0)


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

    def u95(self, cycle: Cycle, amount: float | None, run: float | None, unseen: _Unseen) -> float | None:
        """Return half of the 95 % interval of one amount of a cycle [unit h]; None where the amount is not known."""
        run_s = _taken(cycle.run_s, cycle.so_far_s)
        if amount is None or run_s is None:
            return None
        settled = abs(run if run is not None else amount * SECONDS_PER_HOUR / max(run_s, 1e-9))
        # The level below the run and the run itself are means of readings, each with the noise of so many.
        readings = max(run_s / unseen.interval_s, 1.0) if unseen.interval_s else 1.0
        base = self.noise * run_s * math.sqrt(1 / _BASE_READINGS + 1 / readings)
        # The last digit of both levels, even within a digit; each edge even within its spacing.
        digit = math.sqrt(2) * self.resolution / WITHIN * run_s
        edges = (edge_s * settled / WITHIN for edge_s in unseen.edges_s)
        apart = (limit / EVEN for limit in unseen.apart)
        return _half([self.gain * abs(amount) * SECONDS_PER_HOUR, digit, *edges, *apart], base) / SECONDS_PER_HOUR


@dataclass(frozen=True)
class _Unseen:
    """What a cycle's readings, of a usual spacing, do not show.

    ``edges_s`` are the spacings of the readings around start and stop (means know what was drawn meanwhile), ``apart``
    the limits of what the start's surge, and a level below that moved at an unknown instant, can do [unit s].
    ``of_display`` tells that the edges are those of a display, each late by its own.
    """

    interval_s: float
    edges_s: tuple[float, ...]
    apart: tuple[float, ...]
    of_display: bool = False

    @classmethod
    def of(cls, cycle: Cycle, how: HowRead, highest_A: float, volts: float | None = None) -> _Unseen:
        """Return it for the charge of a cycle; with `volts` for its energy."""
        interval_s = how.usual_interval_s or 0.0
        drift = (cycle.base_drift_A if volts is None else cycle.base_drift_W) or 0.0
        # Where a run has no end its draw was taken over all its length, and what drifts may have been its draw.
        moved = abs(drift) * ((cycle.run_s or 0.0) / 2 + (cycle.so_far_s or 0.0))
        if how.delay_s is not None:
            late_s = how.delay_s + interval_s
            return cls(interval_s, (late_s,) * 2, (moved, _surge(cycle) * (volts or 1.0) * late_s / 2), of_display=True)
        if how.sampling == "mean":
            return cls(interval_s, (), (moved,))
        # An edge is known to so much on either side, half of the spacing it fell into; else that is a usual one.
        edges_s = tuple(interval_s if s is None else 2 * s for s in (cycle.start_within_s, cycle.stop_within_s))
        # A surge that a reading caught counts for a whole spacing; one that none caught lasted for less than that.
        caught, missed = _surge(cycle) * interval_s, highest_A * min(interval_s, USUAL_START_S)
        surge = 0.0 if cycle.surge_resolved else max(caught, missed) * (volts or 1.0)
        return cls(interval_s, edges_s, (moved, surge))

    def moments95(self, run: float | None) -> float:
        """Return half of the 95 % interval of what a display's delay does to a cycle alone. [unit h]"""
        if not self.of_display:
            return 0.0
        return _half([abs(run or 0.0) * edge_s / WITHIN for edge_s in self.edges_s], 0.0) / SECONDS_PER_HOUR


def _half(even: Sequence[float], normal: float) -> float:
    """Return half of the 95 % interval of even parts and a normal one, by the kurtosis of their sum."""
    # `combine` would convolve the parts for each of hundreds of cycles. The excess kurtosis of a sum is that of its
    # parts, weighed by their squared shares of the variance; between the three factors known exactly (one even part,
    # two like ones, a normal distribution) the coverage factor is taken to lie on a parabola.
    squares = [u * u for u in even]
    u2 = sum(squares) + normal**2
    if u2 <= 0:
        return 0.0
    kurtosis = -1.2 * sum(u * u for u in squares) / u2**2
    bent, sloping, at_0 = _PARABOLA
    return ((bent * kurtosis + sloping) * kurtosis + at_0) * math.sqrt(u2)


_PARABOLA: list[float] = np.polyfit(_KURTOSES, _FACTORS, 2).tolist()
