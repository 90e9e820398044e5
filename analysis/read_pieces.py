"""What readings stand for, worked out once for all the windows that are to be integrated."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, TypeAlias

import numpy as np

from .amounts import HowRead
from .chunk import Chunk, FloatArray, TimeArray, has_missing
from .energy import energy_of, energy_signals, energy_source, power_at
from .integral import linear_split
from .intervals import Intervals, between_readings

Window: TypeAlias = tuple[int | None, int | None]
"""Between which instants; None leaves that end open. [us]"""
_NEVER_US: Final = 1 << 62


@dataclass(frozen=True)
class Signal:
    """How to integrate a signal.

    Parameters
    ----------
    integral : callable
        Intervals in, what is above zero and what is below it out, for each. [unit s]
    at : callable
        The signal at one end of intervals, from their values by name. [unit]
    """

    integral: Callable[[Intervals], tuple[FloatArray, FloatArray]]
    at: Callable[[Mapping[str, FloatArray]], FloatArray]


def _charge_of(measured: Intervals) -> tuple[FloatArray, FloatArray]:
    return linear_split(measured.first["i"], measured.last["i"], measured.length_s)


CURRENT: Final = Signal(_charge_of, lambda values: values["i"])
POWER: Final = Signal(energy_of, power_at)


@dataclass(frozen=True)
class Pieces:
    """What the next readings of one signal complete; what follows from them is worked out once, for all who ask.

    Parameters
    ----------
    signal : Signal
        What is integrated.
    measured : Intervals
        Intervals that readings stand for, in order.
    gap_start_us, gap_stop_us : array of int64
        Gaps, in order. [us]
    at_us : array of int64
        The new readings themselves. [us]
    """

    signal: Signal
    measured: Intervals
    gap_start_us: TimeArray
    gap_stop_us: TimeArray
    at_us: TimeArray

    @cached_property
    def split(self) -> tuple[FloatArray, FloatArray]:
        """What is drawn and what is returned in each interval; both positive. [unit s]"""
        return self.signal.integral(self.measured)

    @cached_property
    def last(self) -> FloatArray:
        """The signal at each interval's end. [unit]"""
        return self.signal.at(self.measured.last)

    @cached_property
    def first(self) -> FloatArray:
        """The signal at each interval's beginning. [unit]"""
        return self.last if self.measured.first is self.measured.last else self.signal.at(self.measured.first)

    def within(self, window: Window) -> Pieces:
        """Return what lies in a window, its ends included; intervals and gaps are cut at it."""
        low, high = self.ends_us
        if (window[0] is None or window[0] <= low) and (window[1] is None or window[1] >= high):
            return self
        touching = _touching(self.measured.start_us, self.measured.stop_us, window)
        gaps = _touching(self.gap_start_us, self.gap_stop_us, window)
        return replace(
            self,
            measured=self.measured.part(touching).clipped(*window),
            gap_start_us=np.clip(self.gap_start_us[gaps], *window),
            gap_stop_us=np.clip(self.gap_stop_us[gaps], *window),
            at_us=self.at_us[inside(self.at_us, window)],
        )

    @cached_property
    def ends_us(self) -> tuple[int, int]:
        """The first and the last instant of anything in it; the first is later where there is nothing. [us]"""
        starts = [x[:1] for x in (self.measured.start_us, self.gap_start_us, self.at_us)]
        stops = [x[-1:] for x in (self.measured.stop_us, self.gap_stop_us, self.at_us)]
        return int(np.concatenate(starts).min(initial=_NEVER_US)), int(np.concatenate(stops).max(initial=-_NEVER_US))


def _touching(start_us: TimeArray, stop_us: TimeArray, window: Window) -> slice:
    low, high = window
    first = 0 if low is None else int(np.searchsorted(stop_us, low, side="right"))
    return slice(first, len(start_us) if high is None else int(np.searchsorted(start_us, high, side="left")))


def inside(time_us: TimeArray, window: Window) -> slice:
    """Return which of the instants, which increase, lie in the window, its ends included."""
    low, high = window
    first = 0 if low is None else int(np.searchsorted(time_us, low, side="left"))
    return slice(first, len(time_us) if high is None else int(np.searchsorted(time_us, high, side="right")))


class PieceReader:
    """Turns the readings of one signal into pieces; carries one reading."""

    def __init__(self, how: HowRead, signal: Signal) -> None:
        self._how, self._signal = how, signal
        self._tail: tuple[TimeArray, dict[str, FloatArray]] | None = None

    def take(self, time_us: TimeArray, values: dict[str, FloatArray]) -> Pieces | None:
        """Return what the next readings complete; those without a value are as if they had not been made."""
        if any(has_missing(x) for x in values.values()):
            there = ~np.isnan(sum(values.values()))
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
        return Pieces(self._signal, stretch.measured, stretch.gap_start_us, stretch.gap_stop_us, new_us)

    @property
    def tail_us(self) -> int | None:
        """The reading that it carries; None before the first. [us]"""
        return None if self._tail is None else int(self._tail[0][0])

    def also(self, other: PieceReader, pieces: Pieces) -> Pieces:
        """Return what it would have taken of the readings that another reader has just taken, which holds its signal.

        Both must have carried the same reading, and none of the readings may lack a value.
        """
        self._tail = other._tail
        return replace(pieces, signal=self._signal)


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

    def within(self, window: Window) -> Read:
        """Return what lies in a window."""
        kept = inside(self.chunk.time_us, window)
        return Read(
            self.chunk.part(kept.start, kept.stop) if kept.stop - kept.start < len(self.chunk) else self.chunk,
            None if self.current is None else self.current.within(window),
            None if self.power is None else self.power.within(window),
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
        self._current = PieceReader(how, CURRENT) if how.side == "dc" and "current_A" in quantities else None
        self._source = energy_source(how.side, quantities)
        self._power = PieceReader(how, POWER) if self._source else None

    def take(self, chunk: Chunk) -> Read:
        """Return what the next readings, at least one, complete."""
        if self._power is None or self._source is None:
            return Read(chunk, self._amps(chunk), None)
        signals, before_us = energy_signals(self._side, self._source, chunk.quantities), self._power.tail_us
        power = self._power.take(chunk.time_us, signals)
        if self._current is None or power is None or len(power.at_us) < len(chunk):
            return Read(chunk, self._amps(chunk), power)
        same = signals.get("i") is chunk.quantities["current_A"] and self._current.tail_us == before_us
        return Read(chunk, self._current.also(self._power, power) if same else self._amps(chunk), power)

    def _amps(self, chunk: Chunk) -> Pieces | None:
        if self._current is None:
            return None
        return self._current.take(chunk.time_us, {"i": chunk.quantities["current_A"]})
