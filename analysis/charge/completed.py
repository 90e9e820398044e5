"""What readings stand for, worked out once for all the windows that are to be integrated."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias, TypeVar

import numpy as np

from shuntbook.analysis.readings.chunk import Chunk, FloatArray, TimeArray, has_missing
from shuntbook.analysis.readings.energy import contradicts, energy_of, energy_signals, energy_source, power_at
from shuntbook.analysis.readings.integral import inner, linear_split
from shuntbook.analysis.readings.intervals import Intervals, between_readings
from shuntbook.analysis.readings.kept import kept
from shuntbook.analysis.readings.measured_span import HowRead

from .interval_sums import IntervalSums, interval_sums

Window: TypeAlias = tuple[int | None, int | None]
"""Between which instants; None leaves that end open. [us]"""
_NEVER_US: Final = 1 << 62
Made = TypeVar("Made")


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
class CompletedIntervals:
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
    linear : bool
        Whether the signal runs linearly between readings; else it stands still.
    """

    signal: Signal
    measured: Intervals
    gap_start_us: TimeArray
    gap_stop_us: TimeArray
    at_us: TimeArray
    linear: bool

    @kept
    def split(self) -> tuple[FloatArray, FloatArray]:
        """Give what is drawn and what is returned in each interval; both positive. [unit s]"""
        return self.signal.integral(self.measured)

    @kept
    def last(self) -> FloatArray:
        """Give the signal at each interval's end. [unit]"""
        return self.signal.at(self.measured.last)

    @kept
    def first(self) -> FloatArray:
        """Give the signal at each interval's beginning. [unit]"""
        return self.last if self.measured.first is self.measured.last else self.signal.at(self.measured.first)

    @kept
    def sums(self) -> IntervalSums:
        """Sum up the intervals, at least one."""
        measured = self.measured
        return interval_sums(
            measured.start_us, (self.first, self.last), measured.length_s, self.split, linear=self.linear
        )

    @kept
    def swings(self) -> tuple[float, float]:
        """Volts x length [V s], and fall of volts x rise of amps x length [W s]; where they have volts and amps."""
        first, last, length_s = self.measured.first, self.measured.last, self.measured.length_s
        fall_V, rise_A = first["v"] - last["v"], last["i"] - first["i"]
        return inner((first["v"] + last["v"]) / 2, length_s), inner(fall_V * rise_A, length_s)

    def work_out(self) -> None:
        """Work out the sums, and forget the arrays that only they needed."""
        self.sums  # noqa: B018
        if "v" in self.measured.first:
            self.swings  # noqa: B018
        for name in ("split", "first", "last"):
            vars(self).pop(name, None)

    def once(self, work: Callable[[CompletedIntervals], Made]) -> Made:
        """Return what some work makes of these pieces, done once for all who ask."""
        if work not in self._made:
            self._made[work] = work(self)
        made: Made = self._made[work]
        return made

    @kept
    def _made(self) -> dict[Callable[[CompletedIntervals], Any], Any]:
        return {}

    def within(self, window: Window) -> CompletedIntervals:
        """Return what lies in a window, its ends included; intervals and gaps are cut at it."""
        if _holds(window, self.ends_us):
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

    def apart(self, us: int) -> tuple[CompletedIntervals, CompletedIntervals]:
        """Return the intervals, gaps and readings that are over at an instant, and the others; none is cut. [us]"""
        k, gap, at = (
            int(np.searchsorted(stop_us, us, side="right"))
            for stop_us in (self.measured.stop_us, self.gap_stop_us, self.at_us)
        )
        before, after = (
            replace(
                self,
                measured=self.measured.part(slice(*part[:2])),
                gap_start_us=self.gap_start_us[slice(*part[2:4])],
                gap_stop_us=self.gap_stop_us[slice(*part[2:4])],
                at_us=self.at_us[slice(*part[4:])],
            )
            for part in ((None, k, None, gap, None, at), (k, None, gap, None, at, None))
        )
        return before, after

    @kept
    def ends_us(self) -> tuple[int, int]:
        """Give the first and the last instant of anything in it; the first is later where there is nothing. [us]"""
        starts = [int(x[0]) for x in (self.measured.start_us, self.gap_start_us, self.at_us) if len(x)]
        stops = [int(x[-1]) for x in (self.measured.stop_us, self.gap_stop_us, self.at_us) if len(x)]
        return min(starts, default=_NEVER_US), max(stops, default=-_NEVER_US)


def _holds(window: Window, ends_us: tuple[int, int]) -> bool:
    """Tell whether all from one instant to the other lies in a window."""
    (low, high), (first_us, last_us) = window, ends_us
    return (low is None or low <= first_us) and (high is None or high >= last_us)


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

    def take(self, time_us: TimeArray, values: dict[str, FloatArray]) -> CompletedIntervals | None:
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
        linear = self._how.sampling == "instant"
        return CompletedIntervals(
            self._signal, stretch.measured, stretch.gap_start_us, stretch.gap_stop_us, new_us, linear
        )

    @property
    def tail_us(self) -> int | None:
        """The reading that it carries; None before the first. [us]"""
        return None if self._tail is None else int(self._tail[0][0])

    def also(self, other: PieceReader, pieces: CompletedIntervals) -> CompletedIntervals:
        """Return what it would have taken of the readings that another reader has just taken, which holds its signal.

        Both must have carried the same reading, and none of the readings may lack a value.
        """
        self._tail = other._tail
        return replace(pieces, signal=self._signal)


@dataclass(frozen=True)
class CompletedReadings:
    """A chunk of readings, and what it completes of current and of power; None where that is nothing."""

    chunk: Chunk
    current: CompletedIntervals | None
    power: CompletedIntervals | None

    @kept
    def ends_us(self) -> tuple[int, int]:
        """Give the first and the last instant of anything in it. [us]"""
        time_us = self.chunk.time_us
        edges = [(int(time_us[0]), int(time_us[-1]))] if len(time_us) else [(_NEVER_US, -_NEVER_US)]
        edges += [part.ends_us for part in (self.current, self.power) if part is not None]
        return min(low for low, _ in edges), max(high for _, high in edges)

    def work_out(self) -> None:
        """Work out what windows that hold all of it will ask for, and keep nothing else."""
        for pieces in (self.current, self.power):
            if pieces is not None and len(pieces.measured.start_us):
                pieces.work_out()
        if self.current is not None and "power_W" in self.chunk.quantities:
            self.weighed  # noqa: B018

    @kept
    def weighed(self) -> tuple[float, float]:
        """All that the power column says without its sign, and how much of that contradicts the current. [W], [W]"""
        p, i = (self.chunk.quantities[name] for name in ("power_W", "current_A"))
        size_W, wrong = np.abs(p), contradicts(p, i)
        all_W = float((np.nan_to_num(size_W) if has_missing(p) else size_W).sum())
        return all_W, float(size_W[wrong].sum()) if wrong.any() else 0.0

    def parts(self, instants: Iterable[int]) -> Iterator[CompletedReadings]:
        """Yield the same in parts, so that windows which begin or end at these instants hold whole ones. [us]

        Intervals stay whole: one that an instant cuts is a part of its own.
        """
        rest, time_us = self, self.chunk.time_us
        low_us, high_us = self.ends_us
        for us in sorted(us for us in instants if low_us < us < high_us):
            after = int(np.searchsorted(time_us, us, side="right"))
            for cut_us in (us, *time_us[after : after + 1].tolist()):
                part, rest = rest._apart(cut_us)
                if len(part.chunk):
                    yield part
        if len(rest.chunk):
            yield rest

    def _apart(self, us: int) -> tuple[CompletedReadings, CompletedReadings]:
        """Return what is complete at an instant, and the rest; both are all of it together."""
        k = int(np.searchsorted(self.chunk.time_us, us, side="right"))
        if k in (0, len(self.chunk)):
            nothing = CompletedReadings(self.chunk.part(0, 0), None, None)
            return (self, nothing) if k else (nothing, self)
        current, power = (pair if pair is None else pair.apart(us) for pair in (self.current, self.power))
        chunks = self.chunk.part(0, k), self.chunk.part(k, len(self.chunk))
        before, after = (CompletedReadings(c, current and current[j], power and power[j]) for j, c in enumerate(chunks))
        return before, after

    def within(self, window: Window) -> CompletedReadings:
        """Return what lies in a window."""
        if _holds(window, self.ends_us):
            return self
        kept = inside(self.chunk.time_us, window)
        return CompletedReadings(
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

    def take(self, chunk: Chunk) -> CompletedReadings:
        """Return what the next readings, at least one, complete."""
        if self._power is None or self._source is None:
            return CompletedReadings(chunk, self._amps(chunk), None)
        signals, before_us = energy_signals(self._side, self._source, chunk.quantities), self._power.tail_us
        power = self._power.take(chunk.time_us, signals)
        if self._current is None or power is None or len(power.at_us) < len(chunk):
            return CompletedReadings(chunk, self._amps(chunk), power)
        same = signals.get("i") is chunk.quantities["current_A"] and self._current.tail_us == before_us
        return CompletedReadings(chunk, self._current.also(self._power, power) if same else self._amps(chunk), power)

    def _amps(self, chunk: Chunk) -> CompletedIntervals | None:
        if self._current is None:
            return None
        return self._current.take(chunk.time_us, {"i": chunk.quantities["current_A"]})
