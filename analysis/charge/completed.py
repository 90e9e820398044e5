"""What readings stand for, worked out once for all the windows that are to be integrated."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final, NamedTuple, Protocol, TypeAlias, TypeVar

import numpy as np

from ..readings.chunk import Chunk, FloatArray, TimeArray, after, has_missing
from ..readings.energy_signals import contradicts, energy_signals, energy_source
from ..readings.integral import Intervals, between_readings, bridged_s, charge_of, energy_of, inner, power_at
from ..readings.measured_span import HowRead
from .error_facts import IntervalSums

Window: TypeAlias = tuple[int | None, int | None]
"""Between which instants; None leaves that end open. [us]"""
_NEVER_US: Final = 1 << 62
Made = TypeVar("Made")
Split: TypeAlias = tuple[FloatArray, FloatArray]


class Integral(Protocol):
    """What splits the integral of a signal by its sign; see `Signal`."""

    def __call__(self, measured: Intervals, line: FloatArray | None = None, /) -> Split:
        """Return what is above zero and what is below it in each interval. [unit s]"""


class Signal(NamedTuple):
    """How to integrate a signal.

    ``integral`` takes intervals, and what the means of their ends amount to where somebody has worked that out, and
    gives what is above zero and what is below it in each [unit s]; ``at`` gives the signal at one end of intervals,
    from their values by name. [unit] ``name`` is what the signal is called among these where a meter gives it, and not
    two others of which it is worked out; None where its last digit matters to nobody.
    """

    name: str | None

    integral: Integral
    at: Callable[[Mapping[str, FloatArray]], FloatArray]


CURRENT: Final = Signal("i", charge_of, lambda values: values["i"])
POWER: Final = Signal("p", energy_of, power_at)


@dataclass(frozen=True)
class CompletedIntervals:
    """What the next readings of one signal complete; what follows from them is worked out once, for all who ask.

    The intervals that readings stand for (`measured`) and the gaps are in order; ``at_us`` are the new readings
    themselves [us]; a signal that is not ``linear`` stands still between readings.
    """

    signal: Signal
    measured: Intervals
    gap_start_us: TimeArray
    gap_stop_us: TimeArray
    at_us: TimeArray
    linear: bool

    @cached_property
    def split(self) -> tuple[FloatArray, FloatArray]:
        """Give what is drawn and what is returned in each interval; both positive. [unit s]"""
        return self.signal.integral(self.measured)

    @cached_property
    def last(self) -> FloatArray:
        """Give the signal at each interval's end. [unit]"""
        return self._ends()[1]

    @cached_property
    def sums(self) -> IntervalSums:
        """Sum up the intervals, at least one."""
        sums, split = self._summed(vars(self).get("split"))
        vars(self)["split"] = split
        return sums

    def _ends(self) -> tuple[FloatArray, FloatArray]:
        """Return the signal at both ends of each interval. [unit]"""
        measured, at = self.measured, self.signal.at
        if measured.joined is not None:
            x = at(measured.joined)
            return x[:-1], x[1:]
        last = at(measured.last)
        # What stands still within an interval is the same array at both ends, by which the sums know it.
        return (last if measured.first is measured.last else at(measured.first)), last

    def _summed(self, split: Split | None = None) -> tuple[IntervalSums, Split]:
        """Return the sums, and what they are split from where that was not known yet."""
        measured, ends = self.measured, self._ends()
        middle = ends[0] + ends[1] if self.linear else ends[1]
        if self.linear:
            middle *= 0.5
        amount = middle * measured.length_s
        split = split or self.signal.integral(measured, amount)
        parts = (measured.start_us, ends, measured.length_s, (middle, amount), split)
        joined, is_read = measured.joined is not None, self.signal.name in measured.last
        return IntervalSums.of(*parts, linear=self.linear, joined=joined, is_read=is_read), split

    @cached_property
    def swings(self) -> tuple[float, float]:
        """Volts x length [V s], and fall of volts x rise of amps x length [W s]; where they have volts and amps."""
        first, last, length_s = self.measured.first, self.measured.last, self.measured.length_s
        fall_V, rise_A = first["v"] - last["v"], last["i"] - first["i"]
        return inner((first["v"] + last["v"]) / 2, length_s), inner(fall_V * rise_A, length_s)

    def work_out(self) -> None:
        """Work out the sums, and hold none of the arrays that only they need."""
        # Set by hand: up to Python 3.11 a `cached_property` lets only one thread at a time work it out, whatever the
        # object, and here several threads work on several pieces.
        vars(self)["sums"], _ = self._summed()
        if "v" in self.measured.first:
            self.swings  # noqa: B018

    def once(self, work: Callable[[CompletedIntervals], Made]) -> Made:
        """Return what some work makes of these pieces, done once for all who ask: days and demos share them."""
        if work not in self._made:
            self._made[work] = work(self)
        made: Made = self._made[work]
        return made

    @cached_property
    def _made(self) -> dict[Callable[[CompletedIntervals], Any], Any]:
        return {}

    def within(self, window: Window) -> CompletedIntervals:
        """Return what lies in a window, its ends included; intervals and gaps are cut at it."""
        if _holds(window, self.ends_us):
            return self
        touching = _touching(self.measured.start_us, self.measured.stop_us, window)
        gaps = _touching(self.gap_start_us, self.gap_stop_us, window)
        part = self._part(touching, gaps, _inside(self.at_us, window))
        return replace(
            part,
            measured=part.measured.clipped(*window),
            gap_start_us=np.clip(part.gap_start_us, *window),
            gap_stop_us=np.clip(part.gap_stop_us, *window),
        )

    def apart(self, us: int) -> tuple[CompletedIntervals, CompletedIntervals]:
        """Return the intervals, gaps and readings that are over at an instant, and the others; none is cut. [us]"""
        over = [
            int(np.searchsorted(stop_us, us, side="right"))
            for stop_us in (self.measured.stop_us, self.gap_stop_us, self.at_us)
        ]
        return self._part(*(slice(None, k) for k in over)), self._part(*(slice(k, None) for k in over))

    def _part(self, intervals: slice, gaps: slice, readings: slice) -> CompletedIntervals:
        """Return some of the intervals, of the gaps, and of the readings."""
        return replace(
            self,
            measured=self.measured.part(intervals),
            gap_start_us=self.gap_start_us[gaps],
            gap_stop_us=self.gap_stop_us[gaps],
            at_us=self.at_us[readings],
        )

    @cached_property
    def ends_us(self) -> tuple[int, int]:
        """Give the first and the last instant of anything in it; the first is later where there is nothing. [us]"""
        # The first of means begins before its reading, and a gap cut by a window ends between two.
        starts = [int(x[0]) for x in (self.measured.start_us, self.gap_start_us, self.at_us) if len(x)]
        stops = [int(x[-1]) for x in (self.measured.stop_us, self.gap_stop_us, self.at_us) if len(x)]
        return min(starts, default=_NEVER_US), max(stops, default=-_NEVER_US)


def _holds(window: Window, ends_us: tuple[int, int]) -> bool:
    """Tell whether all from one instant to the other lies in a window."""
    (low, high), (first_us, last_us) = window, ends_us
    return (low is None or low <= first_us) and (high is None or high >= last_us)


def _touching(start_us: TimeArray, stop_us: TimeArray, window: Window) -> slice:
    # What only touches an end of the window lasts no time in it: hence the sides, which differ from those of instants.
    low, high = window
    first = 0 if low is None else int(np.searchsorted(stop_us, low, side="right"))
    return slice(first, len(start_us) if high is None else int(np.searchsorted(start_us, high, side="left")))


def _inside(time_us: TimeArray, window: Window) -> slice:
    """Return which of the instants, which increase, lie in the window, its ends included."""
    low, high = window
    first = 0 if low is None else int(np.searchsorted(time_us, low, side="left"))
    return slice(first, len(time_us) if high is None else int(np.searchsorted(time_us, high, side="right")))


class PieceReader:
    """Turns the readings of one signal into pieces; carries one reading."""

    def __init__(self, how: HowRead, signal: Signal) -> None:
        self._how, self._signal = how, signal
        self._tail: Chunk | None = None

    def take(self, readings: Chunk) -> CompletedIntervals | None:
        """Return what the next readings complete; those without a value are as if they had not been made."""
        new = readings.having(*readings.quantities)
        if not len(new):
            return None
        readings = new if self._tail is None else after(self._tail, new)
        first_of_log, self._tail = self._tail is None, readings.part(len(readings) - 1, len(readings))
        stretch = between_readings(
            readings.time_us,
            readings.quantities,
            sampling=self._how.sampling,
            gap_limit_s=bridged_s(self._how),
            usual_interval_s=self._how.usual_interval_s,
            first_of_log=first_of_log,
            known=readings,
        )
        linear = self._how.sampling == "instant"
        return CompletedIntervals(
            self._signal, stretch.measured, stretch.gap_start_us, stretch.gap_stop_us, new.time_us, linear
        )

    @property
    def tail_us(self) -> int | None:
        """The reading that it carries; None before the first. [us]"""
        return None if self._tail is None else int(self._tail.time_us[0])

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

    @cached_property
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

    @cached_property
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
            # One cut at the instant and one at the next reading leave the interval that holds the instant by itself.
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
        # Sums, highest draws and demos ask for the same window one after the other: cut, and then added up, once.
        if window not in self._cut:
            self._cut[window] = self._within(window)
        return self._cut[window]

    @cached_property
    def _cut(self) -> dict[Window, CompletedReadings]:
        return {}

    def _within(self, window: Window) -> CompletedReadings:
        inside = _inside(self.chunk.time_us, window)
        return CompletedReadings(
            self.chunk.part(inside.start, inside.stop) if inside.stop - inside.start < len(self.chunk) else self.chunk,
            None if self.current is None else self.current.within(window),
            None if self.power is None else self.power.within(window),
        )


class Reader:
    """Reads chunks for any number of windows: carries one reading of each signal.

    Runs of equal readings tell only what a meter's last `digits` do, where these are known.
    """

    def __init__(self, how: HowRead, quantities: Set[str], *, digits: bool = True) -> None:
        self._side = how.side
        current, power = (each if digits else each._replace(name=None) for each in (CURRENT, POWER))
        self._current = PieceReader(how, current) if how.side == "dc" and "current_A" in quantities else None
        self._source = energy_source(how.side, quantities)
        self._power = PieceReader(how, power) if self._source else None

    def take(self, chunk: Chunk) -> CompletedReadings:
        """Return what the next readings, at least one, complete."""
        if self._power is None or self._source is None:
            return CompletedReadings(chunk, self._amps(chunk), None)
        signals, before_us = energy_signals(self._side, self._source, chunk.quantities), self._power.tail_us
        power = self._power.take(chunk.with_values(signals))
        if self._current is None or power is None or len(power.at_us) < len(chunk):
            return CompletedReadings(chunk, self._amps(chunk), power)
        # With the same readings behind both, the amps of the energy are those of the charge: joined once for both.
        same = signals.get("i") is chunk.quantities["current_A"] and self._current.tail_us == before_us
        return CompletedReadings(chunk, self._current.also(self._power, power) if same else self._amps(chunk), power)

    def _amps(self, chunk: Chunk) -> CompletedIntervals | None:
        if self._current is None:
            return None
        return self._current.take(chunk.with_values({"i": chunk.quantities["current_A"]}))
