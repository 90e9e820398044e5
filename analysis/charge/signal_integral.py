"""Integrate one signal of a log, current or power, with what its uncertainty will need; the working parts of a fold."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass, field, replace

import numpy as np

from shuntbook.analysis.readings.chunk import SECONDS_PER_HOUR
from shuntbook.analysis.readings.energy import POWER, energy_source
from shuntbook.analysis.readings.integral import inner
from shuntbook.analysis.readings.measured_span import Gap, HowRead, Span

from .amounts import Amounts
from .completed import CompletedIntervals, CompletedReadings
from .error_facts import ErrorFacts, ErrorSums
from .gap_guess import Hours
from .noted import NoteSums

#: From this share of all that the power column says on, it is told that its sign contradicts the current's: common
#: practice, no source; readings about zero disagree by noise alone. [1]
WORTH_TELLING = 0.01


@dataclass
class SignalIntegral:
    """One integral: sums the two directions, lists the gaps.

    Parameters
    ----------
    how : HowRead
        What a reading stands for.
    """

    how: HowRead
    positive: float = 0.0
    negative: float = 0.0
    covered_s: float = 0.0
    readings: int = 0
    start_us: int | None = None
    stop_us: int | None = None
    gaps: list[Gap] = field(default_factory=list)
    hours: Hours = field(default_factory=Hours)

    def __post_init__(self) -> None:
        """Make what gathers the evidence for the uncertainty."""
        self.errors = ErrorSums(linear=self.how.sampling == "instant")
        self._notes = NoteSums() if self.how.noted else None

    def take(self, pieces: CompletedIntervals) -> None:
        """Integrate what the next readings complete."""
        if len(pieces.measured.start_us):
            self._sum_up(pieces)
        if self._notes is not None:
            self._notes.add(pieces.at_us, pieces.last, pieces.measured.length_s)
        gaps = zip(pieces.gap_start_us.tolist(), pieces.gap_stop_us.tolist(), strict=True)
        new = [Gap(start_us, stop_us) for start_us, stop_us in gaps if stop_us > start_us]
        self.gaps += new
        at_us, measured = pieces.at_us, pieces.measured
        self.readings += len(at_us)
        edges = [at_us[:1], at_us[-1:], measured.start_us[:1], measured.stop_us[-1:]]
        self._widen([int(t) for edge in edges for t in edge] + [t for gap in new for t in (gap.start_us, gap.stop_us)])

    def _sum_up(self, pieces: CompletedIntervals) -> None:
        """Add the sums of the next intervals, at least one."""
        drawn, returned, covered_s = pieces.sums.hours.total
        self.positive += drawn
        self.negative += returned
        self.covered_s += covered_s
        self.hours.add(pieces.sums.hours)
        self.errors.add(pieces.sums)

    def _widen(self, instants: list[int]) -> None:
        for t in instants:
            self.start_us = t if self.start_us is None else min(self.start_us, t)
            self.stop_us = t if self.stop_us is None else max(self.stop_us, t)

    def error_facts(self) -> ErrorFacts:
        """Return what the readings so far say of their errors."""
        return replace(self.errors.result(), notes=self._notes.result() if self._notes is not None else None)

    def span(self) -> Span:
        """Return the time that was measured so far."""
        return Span(self.start_us, self.stop_us, self.readings, self.covered_s, tuple(self.gaps))

    def amounts(self) -> Amounts | None:
        """Return the two sums; None where no reading stands for any time that they could come from."""
        if self.covered_s <= 0:
            return None
        return Amounts(self.positive / SECONDS_PER_HOUR, self.negative / SECONDS_PER_HOUR)

    def in_gaps(self) -> Amounts | None:
        """Return what the gaps may have held, had they been like the hours around them; None where that is unknown."""
        guess = self.hours.like_around(self.gaps) if self.gaps else None
        return None if guess is None else Amounts(guess[0] / SECONDS_PER_HOUR, guess[1] / SECONDS_PER_HOUR)


class PowerIntegral(SignalIntegral):
    """The integral of power, which also weighs how much of the power column contradicts the current."""

    def __init__(self, how: HowRead, quantities: Set[str]) -> None:
        super().__init__(how)
        self.source = energy_source(how.side, quantities) or ""
        self._checks = self.source == POWER and how.side == "dc" and "current_A" in quantities
        self._replaced_by = "volts x amps instead" if "voltage_V" in quantities else "left out"
        self._all_W = self._wrong_W = 0.0
        self._volt_seconds = self._swing_Ws = 0.0
        self._means = np.empty((2, 0))

    def weigh(self, read: CompletedReadings) -> None:
        """Weigh how much of the next readings' power contradicts their current."""
        if self._checks:
            all_W, wrong_W = read.weighed
            self._all_W += all_W
            self._wrong_W += wrong_W

    def _sum_up(self, pieces: CompletedIntervals) -> None:
        super()._sum_up(pieces)
        if "v" not in pieces.measured.first:
            return
        volt_seconds, swing_Ws = pieces.swings
        self._volt_seconds += volt_seconds
        if self.how.sampling == "instant":
            self._swing_Ws += swing_Ws
        elif self.how.sampling == "mean":
            last, length_s = pieces.measured.last, pieces.measured.length_s
            means = np.concatenate([self._means, [last["v"], last["i"]]], axis=1)
            self._means = means[:, -1:].copy()
            change = np.diff(means, axis=1)
            self._swing_Ws += inner(-change[0] * change[1], length_s[-change.shape[1] :]) if change.size else 0.0

    @property
    def mean_V(self) -> float | None:
        """Mean voltage over the measured time [V]; None where volts were not needed."""
        return self._volt_seconds / self.covered_s if self.covered_s > 0 and self._volt_seconds else None

    @property
    def swing_Ws(self) -> float:
        """Fall of volts x rise of amps x length, summed from reading to reading. [W s]"""
        return self._swing_Ws

    def source_in_words(self) -> str:
        """Return what the power was taken from, and what replaced it where it cannot be trusted."""
        if self._wrong_W <= WORTH_TELLING * self._all_W:
            return self.source
        return f"{self.source} ({self._replaced_by} where its sign contradicts the current's)"
