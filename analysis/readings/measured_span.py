"""The time that a log's readings stand for, whatever they hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from .chunk import MICROSECONDS, Chunk, Sampling, Side, TimeArray
from .integral import between_readings, bridged_s

CounterKind = Literal["net", "moved"]


@dataclass(frozen=True)
class HowRead:
    """What a log's metadata says about its readings.

    Parameters
    ----------
    side : {'dc', 'ac'}
        Where the meter sits: at the bank, or behind an inverter.
    sampling : {'instant', 'mean', 'held'}
        What one reading stands for.
    gap_limit_s : float
        Longest spacing that is still one measurement. [s]
    usual_interval_s : float or None
        Median spacing of the readings; needed for means. [s]
    counter_kind : {'net', 'moved'}
        What the meter's own counters count.
    other_gap_limit_s : float or None
        A gap limit that the spacings allow as well; None where they leave no doubt. [s]
    noted : bool
        Whether a person noted down what a display showed and when it changed; only of ``held`` readings.
    delay_s : float or None
        How late a display that was read in a film may show what it has measured; None of all other readings. [s]
    holds_s : float
        How long such a display shows each of its values; nought where that is not known. [s]
    misread_share : float or None
        Which share of such readings may be wrong. [1]
    """

    side: Side
    sampling: Sampling
    gap_limit_s: float
    usual_interval_s: float | None = None
    counter_kind: CounterKind = "net"
    other_gap_limit_s: float | None = None
    noted: bool = False
    delay_s: float | None = None
    holds_s: float = 0.0
    misread_share: float | None = None


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch with no readings longer than the log's gap limit; never bridged."""

    start_us: int
    stop_us: int

    @property
    def length_s(self) -> float:
        """How long nothing was measured. [s]"""
        return (self.stop_us - self.start_us) / MICROSECONDS


@dataclass(frozen=True, slots=True)
class Span:
    """The time a log covers, and the time within it that was not measured."""

    start_us: int | None
    stop_us: int | None
    readings: int
    covered_s: float
    gaps: tuple[Gap, ...]

    @property
    def uncovered_s(self) -> float:
        """Time within the span that no reading stands for. [s]"""
        return float(sum(gap.length_s for gap in self.gaps))


class SpanFold:
    """Add up measured time and list the gaps, as a fold; it carries one instant."""

    def __init__(self, how: HowRead) -> None:
        self._how = how
        self._tail: TimeArray = np.empty(0, np.int64)
        self._start_us: int | None = None
        self._stop_us: int | None = None
        self._readings = 0
        self._covered_s = 0.0
        self._gaps: list[Gap] = []

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if not len(chunk):
            return
        first_of_log = not len(self._tail)
        time_us = np.concatenate([self._tail, chunk.time_us])
        stretch = between_readings(
            time_us,
            {},
            sampling=self._how.sampling,
            gap_limit_s=bridged_s(self._how),
            usual_interval_s=self._how.usual_interval_s,
            first_of_log=first_of_log,
        )
        self._readings += len(chunk)
        self._covered_s += float(stretch.measured.length_s.sum())
        pairs = zip(stretch.gap_start_us.tolist(), stretch.gap_stop_us.tolist(), strict=True)
        self._gaps += [Gap(start_us, stop_us) for start_us, stop_us in pairs if stop_us > start_us]
        if self._start_us is None:
            # The first of means stands for the time before it, so the log begins earlier than its first instant.
            self._start_us = int(np.concatenate([time_us[:1], stretch.measured.start_us[:1]]).min())
        self._stop_us = int(time_us[-1])
        self._tail = time_us[-1:]

    def result(self) -> Span:
        """Return the span so far."""
        return Span(self._start_us, self._stop_us, self._readings, self._covered_s, tuple(self._gaps))
