"""The time that a log's readings stand for, whatever they hold."""

from __future__ import annotations

import numpy as np

from .amounts import Gap, HowRead, Span
from .chunk import Chunk, TimeArray
from .intervals import between_readings


class SpanFold:
    """Add up measured time and list the gaps, as a fold; it carries one instant.

    Parameters
    ----------
    how : HowRead
        What a reading stands for, and the gap limit.
    """

    def __init__(self, how: HowRead) -> None:
        self._how = how
        self._tail: TimeArray | None = None
        self._start_us: int | None = None
        self._stop_us: int | None = None
        self._readings = 0
        self._covered_s = 0.0
        self._gaps: list[Gap] = []

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if not len(chunk):
            return
        first_of_log = self._tail is None
        time_us = chunk.time_us if self._tail is None else np.concatenate([self._tail, chunk.time_us])
        stretch = between_readings(
            time_us,
            {},
            sampling=self._how.sampling,
            gap_limit_s=self._how.gap_limit_s,
            usual_interval_s=self._how.usual_interval_s,
            first_of_log=first_of_log,
        )
        self._readings += len(chunk)
        self._covered_s += float(stretch.measured.length_s.sum())
        pairs = zip(stretch.gap_start_us.tolist(), stretch.gap_stop_us.tolist(), strict=True)
        self._gaps += [Gap(start, stop) for start, stop in pairs if stop > start]
        if self._start_us is None:
            self._start_us = int(np.concatenate([time_us[:1], stretch.measured.start_us[:1]]).min())
        self._stop_us = int(time_us[-1])
        self._tail = time_us[-1:]

    def result(self) -> Span:
        """Return the span so far."""
        return Span(self._start_us, self._stop_us, self._readings, self._covered_s, tuple(self._gaps))
