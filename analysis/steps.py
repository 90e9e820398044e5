"""Find where a signal is level and where it steps, as a fold.

Steady-state transitions are the classic way to see single loads in the sum of all (G. W. Hart, Nonintrusive appliance
load monitoring, Proc. IEEE 80 (1992) 1870-1891, from memory): the log becomes a list of plateaus, and what happens
between two of them is a step.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .blocks import Blocks
from .charge import HowRead
from .chunk import MICROSECONDS, Chunk, FloatArray, TimeArray
from .intervals import between_readings
from .plateau import Plateau, Trace

#: Readings looked at together when the noise is judged.
BLOCK = 4096
#: A step is a change beyond this many standard deviations of the noise, and this many of its smallest change.
NOISE_TIMES, GRAIN_TIMES = 6.0, 5.0


@dataclass(frozen=True)
class Plateaus:
    """The plateaus of a log, in order, and how much of it was measured.

    ``signal`` is the quantity in which steps were sought. The last plateau may still grow.
    """

    signal: str
    plateaus: tuple[Plateau, ...]
    covered_s: float


def signal_of(how: HowRead, quantities: set[str]) -> str | None:
    """Return the quantity in which a load's steps add up: amps at the bank, watts behind an inverter.

    RMS amps of loads with different power factors do not add; they are taken only where there are no watts.
    """
    order = ("current_A", "power_W") if how.side == "dc" else ("power_W", "current_A")
    return next((name for name in order if name in quantities), None)


class StepFold:
    """Cut a log into plateaus.

    Parameters
    ----------
    how : HowRead
        What a reading stands for, and the gap limit.
    quantities : set of str
        The quantities the log has.

    Raises
    ------
    ValueError
        If there is neither current nor power.

    Notes
    -----
    Readings are looked at in blocks of `BLOCK`, counted from the log's first, with two readings of the next one held
    back: so where chunks end makes no difference. The tail carried is one block, two readings and the open plateau.
    A lone reading far off its neighbours, which agree with each other and with the one before, is a spike: it makes no
    step.
    """

    def __init__(self, how: HowRead, quantities: set[str]) -> None:
        signal = signal_of(how, quantities)
        if signal is None:
            raise ValueError("no current and no power to find steps in")
        self.signal = signal
        self._how = how
        self._names = [n for n in ("current_A", "power_W", "voltage_V") if n in quantities]
        self._makes_power = "power_W" not in quantities and {"current_A", "voltage_V"} <= quantities and how.side == "dc"
        self._blocks = Blocks(BLOCK)
        self._state = _State(how, signal)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        for block in self._blocks.add(self._usable(chunk)):
            self._state.take(block, final=False)

    def result(self) -> Plateaus:
        """Return the plateaus so far."""
        state = self._state.twin()
        rest = self._blocks.rest()
        empty = Chunk(np.empty(0, np.int64), {})
        state.take(rest if rest is not None else empty, final=True)
        plateaus = [*state.done, *([state.open] if state.open else [])]
        return Plateaus(self.signal, tuple(plateaus), state.covered_s)

    def _usable(self, chunk: Chunk) -> Chunk:
        """Return the readings that have a signal, with power worked out where volts and amps allow it."""
        q = {name: chunk.quantities[name] for name in self._names}
        if self._makes_power:
            q["power_W"] = q["current_A"] * q["voltage_V"]
        there = ~np.isnan(q[self.signal])
        if there.all():
            return Chunk(chunk.time_us, q)
        return Chunk(chunk.time_us[there], {name: x[there] for name, x in q.items()})


@dataclass(frozen=True)
class _Cut:
    """Readings that are being cut into plateaus: those from `before` up to `keep`."""

    time_us: TimeArray
    values: dict[str, FloatArray]
    sums: dict[str, FloatArray]
    is_gap: NDArray[np.bool_]
    before: int
    keep: int

    def plateau(self, a: int, b: int) -> Plateau:
        """Return the plateau of the readings from `a` up to `b`."""
        return Plateau(
            int(self.time_us[a]),
            int(self.time_us[b - 1]),
            b - a,
            {n: Trace.of(v[a:b]) for n, v in self.values.items()},
            {n: (float(total[a]), float(total[b - 1])) for n, total in self.sums.items()},
            after_gap=bool(self.is_gap[a]) or a == 0,
            step_s=float((self.time_us[a] - self.time_us[a - 1]) / MICROSECONDS) if a else 0.0,
        )


class _State:
    """What is carried from block to block."""

    def __init__(self, how: HowRead, signal: str) -> None:
        self._how = how
        self._signal = signal
        self._held: Chunk | None = None
        self._last: Chunk | None = None
        self._sums: dict[str, float] = {}
        self.covered_s = 0.0
        self.done: list[Plateau] = []
        self.open: Plateau | None = None

    def twin(self) -> _State:
        """Return a state that can go on without changing this one."""
        twin = copy.copy(self)
        twin._sums = dict(self._sums)
        twin.done = list(self.done)
        return twin

    def take(self, block: Chunk, *, final: bool) -> None:
        """Take the next block in; the last two readings wait for the next unless it is the final one."""
        parts = [part for part in (self._held, block) if part is not None and len(part)]
        if not parts:
            return
        time_us = np.concatenate([part.time_us for part in parts])
        names = list(parts[0].quantities)
        values = {name: np.concatenate([part.quantities[name] for part in parts]) for name in names}
        keep = len(time_us) if final else len(time_us) - 2
        self._held = None if final else Chunk(time_us[keep:], {n: x[keep:] for n, x in values.items()})
        if keep > 0:
            self._cut(time_us, values, keep)

    def _cut(self, time_us: TimeArray, values: dict[str, FloatArray], keep: int) -> None:
        """Cut the first `keep` readings into plateaus, looking at those around them."""
        before = 0
        if self._last is not None:
            before = 1
            time_us = np.concatenate([self._last.time_us, time_us])
            values = {n: np.concatenate([self._last.quantities[n], x]) for n, x in values.items()}
        keep += before
        x = values[self._signal]
        is_gap = np.zeros(len(x), dtype=bool)
        if self._how.sampling != "held":
            is_gap[1:] = np.diff(time_us) > self._how.gap_limit_s * MICROSECONDS
        spikes, least = _spikes(x, is_gap)
        smooth = {n: _levelled(v, spikes) for n, v in values.items()}
        steps = np.zeros(len(x), dtype=bool)
        steps[1:] = np.abs(np.diff(smooth[self._signal])) > least
        sums = self._integrated(time_us[:keep], values, keep, first=before == 0)
        starts = np.flatnonzero((steps | is_gap)[:keep])
        starts = starts[starts >= before]
        if not before and (not len(starts) or starts[0] != 0):
            starts = np.concatenate([[0], starts])
        self._gather(_Cut(time_us, smooth, sums, is_gap, before, keep), starts)
        self._last = Chunk(time_us[keep - 1 : keep], {n: v[keep - 1 : keep] for n, v in values.items()})

    def _gather(self, cut: _Cut, starts: NDArray[np.int64]) -> None:
        """Let the open plateau grow to the first start, and open a new one at each."""
        stops = np.concatenate([starts[1:], [cut.keep]])[: len(starts)]
        first = int(starts[0]) if len(starts) else cut.keep
        if self.open is not None and first > cut.before:
            part = slice(cut.before, first)
            self.open = self.open.extended(
                cut.time_us[part],
                {n: v[part] for n, v in cut.values.items()},
                {n: float(total[first - 1]) for n, total in cut.sums.items()},
            )
        for a, b in zip(starts.tolist(), stops.tolist(), strict=True):
            if self.open is not None:
                self.done.append(self.open)
            self.open = cut.plateau(a, b)

    def _integrated(
        self, time_us: TimeArray, values: dict[str, FloatArray], keep: int, *, first: bool
    ) -> dict[str, FloatArray]:
        """Return the running integral of each quantity at each reading. [unit s]"""
        sums = {}
        for name, whole in values.items():
            x = np.nan_to_num(whole[:keep])
            stretch = between_readings(
                time_us,
                {name: x},
                sampling=self._how.sampling,
                gap_limit_s=self._how.gap_limit_s,
                usual_interval_s=self._how.usual_interval_s,
                first_of_log=first,
            )
            pieces = stretch.measured
            area = (pieces.first[name] + pieces.last[name]) / 2 * pieces.length_s
            at = np.searchsorted(time_us, pieces.stop_us)
            increments = np.zeros(keep)
            increments[at] = area
            sums[name] = self._sums.get(name, 0.0) + np.cumsum(increments)
            self._sums[name] = float(sums[name][-1])
            if name == self._signal:
                self.covered_s += float(pieces.length_s.sum())
        return sums


def _spikes(x: FloatArray, is_gap: NDArray[np.bool_]) -> tuple[NDArray[np.int64], float]:
    """Return where lone spikes stand, and the smallest change that is a step. [unit]"""
    rise = np.diff(x)
    least = _least_step(rise[~is_gap[1:]])
    if len(x) < 3:  # noqa: PLR2004 - a spike has two neighbours
        return np.empty(0, dtype=np.int64), least
    up, down = rise[:-1], rise[1:]
    smaller = np.minimum(np.abs(up), np.abs(down))
    spike = (up * down < 0) & (smaller > least) & (np.abs(x[2:] - x[:-2]) < np.maximum(least, 0.1 * smaller))
    spike &= ~(is_gap[1:-1] | is_gap[2:])
    spike[1:] &= np.abs(rise[:-2]) <= np.maximum(least, 0.1 * smaller[1:])  # the top of a start is no spike
    return np.flatnonzero(spike) + 1, least


def _levelled(x: FloatArray, spikes: NDArray[np.int64]) -> FloatArray:
    """Return a quantity with the readings at the spikes put midway between their neighbours."""
    if not len(spikes):
        return x
    smooth = x.copy()
    smooth[spikes] = (x[spikes - 1] + x[spikes + 1]) / 2
    return smooth


def _least_step(rise: FloatArray) -> float:
    """Return the smallest change that stands out from the noise of these differences.

    The noise is judged by the median of the differences, which a few steps cannot move; the grain of a meter is its
    smallest change. [unit]
    """
    size = np.abs(rise)
    if not len(size):
        return 0.0
    noise = 1.4826 * float(np.median(size)) / np.sqrt(2.0)
    moving = size[size > 0]
    grain = float(moving.min()) if len(moving) else 0.0
    return max(NOISE_TIMES * noise, GRAIN_TIMES * grain)
