"""What readings stand for, worked out once for all the windows that are to be integrated."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass

import numpy as np

from .amounts import HowRead
from .chunk import Chunk, FloatArray, TimeArray
from .energy import energy_signals, energy_source
from .intervals import Intervals, between_readings


@dataclass(frozen=True)
class Pieces:
    """What the next readings of one signal complete.

    Parameters
    ----------
    measured : Intervals
        Intervals that readings stand for, in order.
    gap_start_us, gap_stop_us : array of int64
        Gaps, in order. [us]
    at_us : array of int64
        The new readings themselves. [us]
    """

    measured: Intervals
    gap_start_us: TimeArray
    gap_stop_us: TimeArray
    at_us: TimeArray

    def near(self, from_us: int | None, to_us: int | None) -> Pieces:
        """Return what touches a window, uncut; views, no copies."""
        kept = _touching(self.measured.start_us, self.measured.stop_us, from_us, to_us)
        gaps = _touching(self.gap_start_us, self.gap_stop_us, from_us, to_us)
        measured = self.measured
        if measured.first is measured.last:
            first = last = {name: x[kept] for name, x in measured.first.items()}
        else:
            first, last = ({name: x[kept] for name, x in ends.items()} for ends in (measured.first, measured.last))
        return Pieces(
            Intervals(measured.start_us[kept], measured.stop_us[kept], first, last),
            self.gap_start_us[gaps],
            self.gap_stop_us[gaps],
            self.at_us[inside(self.at_us, (from_us, to_us))],
        )

    @property
    def ends_us(self) -> tuple[int, int]:
        """The first and the last instant of anything in it; there is always a reading. [us]"""
        starts = [x[:1] for x in (self.measured.start_us, self.gap_start_us, self.at_us)]
        stops = [x[-1:] for x in (self.measured.stop_us, self.gap_stop_us, self.at_us)]
        return int(np.concatenate(starts).min()), int(np.concatenate(stops).max())


def _touching(start_us: TimeArray, stop_us: TimeArray, from_us: int | None, to_us: int | None) -> slice:
    first = 0 if from_us is None else int(np.searchsorted(stop_us, from_us, side="right"))
    return slice(first, len(start_us) if to_us is None else int(np.searchsorted(start_us, to_us, side="left")))


def inside(time_us: TimeArray, window: tuple[int | None, int | None]) -> slice:
    """Return which of the instants, which increase, lie in the window, its ends included."""
    low, high = window
    first = 0 if low is None else int(np.searchsorted(time_us, low, side="left"))
    return slice(first, len(time_us) if high is None else int(np.searchsorted(time_us, high, side="right")))


class PieceReader:
    """Turns the readings of one signal into pieces; carries one reading."""

    def __init__(self, how: HowRead) -> None:
        self._how = how
        self._tail: tuple[TimeArray, dict[str, FloatArray]] | None = None

    def take(self, time_us: TimeArray, values: dict[str, FloatArray]) -> Pieces | None:
        """Return what the next readings complete; those without a value are as if they had not been made."""
        there = ~np.isnan(sum(values.values()))
        if not there.all():
            time_us, values = time_us[there], {name: x[there] for name, x in values.items()}
        if not len(time_us):
            return None
        new_us, first_of_log = time_us, self._tail is None
        if self._tail is not None:
            time_us = np.concatenate([self._tail[0], time_us])
            values = {name: np.concatenate([self._tail[1][name], x]) for name, x in values.items()}
        self._tail = (time_us[-1:], {name: x[-1:] for name, x in values.items()})
        stretch = between_readings(
            time_us,
            values,
            sampling=self._how.sampling,
            gap_limit_s=self._how.gap_limit_s,
            usual_interval_s=self._how.usual_interval_s,
            first_of_log=first_of_log,
        )
        return Pieces(stretch.measured, stretch.gap_start_us, stretch.gap_stop_us, new_us)


@dataclass(frozen=True)
class Read:
    """A chunk of readings, and what it completes of current and of power; None where that is nothing."""

    chunk: Chunk
    current: Pieces | None
    power: Pieces | None

    @property
    def ends_us(self) -> tuple[int, int]:
        """The first and the last instant of anything in it. [us]"""
        parts = [part.ends_us for part in (self.current, self.power) if part is not None]
        edges = [*parts, (int(self.chunk.time_us[0]), int(self.chunk.time_us[-1]))]
        return min(low for low, _ in edges), max(high for _, high in edges)

    def near(self, from_us: int | None, to_us: int | None) -> Read:
        """Return what touches a window."""
        kept = inside(self.chunk.time_us, (from_us, to_us))
        return Read(
            self.chunk.part(kept.start, kept.stop),
            None if self.current is None else self.current.near(from_us, to_us),
            None if self.power is None else self.power.near(from_us, to_us),
        )


class Reader:
    """Reads chunks for any number of windows: carries one reading of each signal.

    Parameters
    ----------
    how : HowRead
        What a reading stands for.
    quantities : set of str
        The quantities the log has.
    """

    def __init__(self, how: HowRead, quantities: Set[str]) -> None:
        self._side = how.side
        self._current = PieceReader(how) if how.side == "dc" and "current_A" in quantities else None
        self._source = energy_source(how.side, quantities)
        self._power = PieceReader(how) if self._source else None

    def take(self, chunk: Chunk) -> Read:
        """Return what the next readings, at least one, complete."""
        q, current, power = chunk.quantities, None, None
        if self._current is not None:
            current = self._current.take(chunk.time_us, {"i": q["current_A"]})
        if self._power is not None and self._source is not None:
            power = self._power.take(chunk.time_us, energy_signals(self._side, self._source, q))
        return Read(chunk, current, power)
