"""Find where a signal is level and where it steps, as a fold.

Steady-state transitions are the classic way to see single loads in the sum of all (G. W. Hart, Nonintrusive appliance
load monitoring, Proc. IEEE 80 (1992) 1870-1891, from memory): the log becomes a list of plateaus, and what happens
between two of them is a step.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence, Set
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..readings.blocks import Blocks, gaps_before
from ..readings.chunk import MICROSECONDS, Chunk, FloatArray, TimeArray, has_missing
from ..readings.energy_signals import contradicts
from ..readings.integral import bridged_s
from ..readings.measured_span import HowRead
from .plateau import OpenPlateau, Plateau, traces_of
from .rises import SLOW_S, RiseCounter, Rises
from .running_sums import AtStarts, RunningSums
from .step_threshold import Threshold

#: Readings looked at together when the noise is judged.
BLOCK = 16384
#: Blocks that are cut at once, as many as a log's reader hands over: NumPy's calls cost more than the work they do.
TOGETHER = 4
#: A reading's neighbours on either side that must be known before it can be judged.
AROUND = 2
#: Of a step this share is still there between the readings one further out.
STANDS = 0.6


@dataclass(frozen=True)
class Plateaus:
    """The plateaus of a log, in order, and how much of it was measured; the last of them may still grow.

    ``signal`` is the quantity in which steps were sought; ``rises`` are None where readings are close together.
    """

    signal: str
    plateaus: tuple[Plateau, ...]
    covered_s: float
    rises: Rises | None = None


def signal_of(how: HowRead, quantities: Set[str]) -> str | None:
    """Return the quantity in which a load's steps add up: amps at the bank, watts behind an inverter.

    RMS amps of loads with different power factors do not add; they are taken only where there are no watts.
    """
    order = ("current_A", "power_W") if how.side == "dc" else ("power_W", "current_A")
    return next((name for name in order if name in quantities), None)


def names_of(quantities: Set[str]) -> list[str]:
    """Return the quantities that are looked at where a log has these: no other changes the plateaus."""
    return [name for name in ("current_A", "power_W", "voltage_V") if name in quantities]


def _rows_of(how: HowRead, signal: str, quantities: Set[str]) -> list[str]:
    """Return what is kept of each reading: the signal, what else is integrated, and volts last."""
    names = {signal, *names_of(quantities)}
    # At the bank volts and amps give watts.
    if how.side == "dc" and {"current_A", "voltage_V"} <= names:
        names.add("power_W")
    return sorted(names, key=[signal, "current_A", "power_W", "voltage_V"].index)


class StepFold:
    """Cut a log that has these quantities into plateaus.

    Raises
    ------
    ValueError
        If there is neither current nor power.

    Notes
    -----
    Readings are looked at in blocks of `BLOCK`, counted from the log's first, with `AROUND` readings of the next one
    held back: so where chunks end makes no difference. The tail carried is one block and the open plateau.
    A lone reading far off its neighbours, which agree with each other and with the one before, is a spike: it makes no
    step. A reading without a signal is as if it had not been made; where only volts or watts are missing, they are
    taken from the line between those around, as far as the gap limit reaches.
    """

    def __init__(self, how: HowRead, quantities: Set[str]) -> None:
        signal = signal_of(how, quantities)
        if signal is None:
            raise ValueError("no current and no power to find steps in")
        self.signal = signal
        self._names = names_of(quantities)
        self._blocks = Blocks(BLOCK)
        self._state = _State(how, _rows_of(how, signal, quantities))

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        for blocks in self._blocks.add(self._usable(chunk), TOGETHER):
            self._state.take(blocks, final=False)

    def handed_over(self) -> list[Plateau]:
        """Return the plateaus that will not change any more, and forget them."""
        done, self._state.done = self._state.done, []
        return done

    def result(self) -> Plateaus:
        """Return the plateaus so far, without those that were handed over."""
        state = self._state.twin()
        rest = self._blocks.rest()
        state.take(rest if rest is not None else Chunk(np.empty(0, np.int64), {}), final=True)
        plateaus = [*state.done, *([state.open.closed()] if state.open else [])]
        rises = None if state.rises is None else state.rises.result()
        return Plateaus(self.signal, tuple(plateaus), state.sums.covered_s, rises)

    def _usable(self, chunk: Chunk) -> Chunk:
        """Return the readings that have a signal."""
        return Chunk(chunk.time_us, {name: chunk.quantities[name] for name in self._names}).having(self.signal)


@dataclass(frozen=True)
class _Cut:
    """Readings that are being cut into plateaus: those from `before` up to `keep`; `x` has a row for each quantity.

    ``starts`` are those that begin a plateau, ``least`` the smallest change that was a step there.
    """

    time_us: TimeArray
    names: Sequence[str]
    x: FloatArray
    is_gap: NDArray[np.bool_]
    before: int
    keep: int
    starts: NDArray[np.int64]
    least: FloatArray

    def plateaus(self, sums: AtStarts) -> list[Plateau]:
        """Return the plateaus that begin among these readings, without what is kept of the last, which is open."""
        starts, stops = self.starts, np.append(self.starts[1:], self.keep)
        traces = [*traces_of(self.names, self.x, starts), {}]
        # The log's first reading begins a plateau though nothing stepped.
        last = np.maximum(starts - 1, 0)
        step = self.x[0, starts] - self.x[0, last]
        step_s = (self.time_us[starts] - self.time_us[last]) / MICROSECONDS
        after_gap = self.is_gap[starts] | (starts == 0)
        extent = (x.tolist() for x in (self.time_us[starts], self.time_us[stops - 1], stops - starts))
        change = (x.tolist() for x in (self.least, step, after_gap, step_s))
        return list(map(Plateau, *extent, traces, sums.of_plateaus(), *change))


class _State:
    """What is carried from block to block."""

    def __init__(self, how: HowRead, names: Sequence[str]) -> None:
        self._how = how
        self._names = names
        # The last readings that were cut, and those held back; of the former there are so many.
        self._time_us, self._x, self._before = np.empty(0, np.int64), np.empty((len(names), 0)), 0
        self._threshold = Threshold()
        self.sums = RunningSums(how, [name for name in names if name != "voltage_V"])
        self.done: list[Plateau] = []
        self.open: OpenPlateau | None = None
        # Closer readings show short runs as plateaus; a meter that keeps only changes has no spacing to be too slow.
        is_slow = how.usual_interval_s is not None and how.usual_interval_s >= SLOW_S
        self.rises = RiseCounter(means=how.sampling == "mean") if is_slow and how.sampling != "held" else None

    def twin(self) -> _State:
        """Return a state that can go on without changing this one."""
        twin = copy.copy(self)
        twin.sums, twin.done, twin._threshold = self.sums.twin(), list(self.done), copy.copy(self._threshold)
        twin.rises = None if self.rises is None else self.rises.twin()
        return twin

    def take(self, new: Chunk, *, final: bool) -> None:
        """Take the next blocks in; the last readings wait for more, unless they are the final ones."""
        known = len(self._time_us)
        time_us = np.concatenate([self._time_us, new.time_us])
        if not len(time_us):
            return
        x = np.empty((len(self._names), len(time_us)))
        x[:, :known] = self._x
        _complete(x[:, known:], self._names, new, self._how)
        ends = [len(time_us)] if final else range(known + BLOCK - AROUND, len(time_us), BLOCK)
        self._cut(time_us, x, np.array([self._before, *ends]))
        self._before = min(ends[-1], AROUND)
        last = slice(ends[-1] - self._before, None)
        self._time_us, self._x = time_us[last].copy(), x[:, last].copy()

    def _cut(self, time_us: TimeArray, x: FloatArray, bounds: NDArray[np.int64]) -> None:
        """Cut the readings of some blocks, which begin and end at these bounds, into plateaus."""
        before, keep = int(bounds[0]), int(bounds[-1])
        # A value held until it changes has no gaps, however long nothing was written.
        is_gap = gaps_before(time_us, bridged_s(self._how))
        begins, least = is_gap.copy(), []
        for begin, end in pairwise(bounds.tolist()):
            steps, smallest = self._steps(time_us, x, is_gap, slice(begin, end))
            begins[steps] = True
            least.append(smallest)
        # The log's first reading begins a plateau though nothing stepped.
        begins[0] |= not before
        starts = np.flatnonzero(begins[before:keep]) + before
        since = slice(max(before - 1, 0), keep)
        summed = x[: len(self.sums.names), since]
        sums = self.sums.take(time_us[since], summed, starts - since.start, bounds[:-1] - since.start)
        least_of = np.array(least)[np.searchsorted(bounds, starts, side="right") - 1]
        self._gather(_Cut(time_us, self._names, x, is_gap, before, keep, starts, least_of), sums)

    def _steps(
        self, time_us: TimeArray, x: FloatArray, is_gap: NDArray[np.bool_], block: slice
    ) -> tuple[NDArray[np.int64], float]:
        """Return at which readings of a block the signal steps, and by how much at least; level its spikes in `x`."""
        around = slice(max(block.start - AROUND, 0), block.stop + AROUND)
        signal, gaps = x[0, around], is_gap[around]
        least = self._threshold.of(signal, gaps)
        if self.rises is not None:
            part = slice(max(block.start - 1, 0), block.stop)
            volts = x[-1, part] if self._names[-1] == "voltage_V" else np.full(part.stop - part.start, np.nan)
            self.rises.take(time_us[part], x[0, part], volts, is_gap[part])
        steps, spikes = (at + around.start for at in _steps_and_spikes(signal, gaps, least))
        # Those among the neighbours are, or will be, judged with neighbours of their own. Volts and watts are levelled
        # at the signal's spikes too: a false row is false in all its columns.
        spikes = spikes[(spikes >= block.start) & (spikes < block.stop)]
        if len(spikes):
            x[:, spikes] = (x[:, spikes - 1] + x[:, spikes + 1]) / 2
        return steps[(steps >= block.start) & (steps < block.stop)], least

    def _gather(self, cut: _Cut, sums: AtStarts) -> None:
        """Let the open plateau grow to the first start, and open a new one at the last."""
        until = int(cut.starts[0]) if len(cut.starts) else cut.keep
        if self.open is not None and until > cut.before:
            part = slice(cut.before, until)
            self.open = self.open.extended(cut.time_us[part], cut.x[:, part], sums.before_first())
        if not len(cut.starts):
            return
        if self.open is not None:
            self.done.append(self.open.closed())
        *done, last = cut.plateaus(sums)
        self.done += done
        self.open = OpenPlateau.of(last, self._names, cut.x[:, int(cut.starts[-1]) : cut.keep])


def _complete(into: FloatArray, names: Sequence[str], new: Chunk, how: HowRead) -> None:
    """Put readings into rows, short holes filled in, and watts that the current at the bank agrees with."""
    rows = dict(zip(names, into, strict=True))
    for name, x in new.quantities.items():
        rows[name][:] = x
        for begin in range(0, len(x), BLOCK) if has_missing(x) else ():
            block = slice(begin, begin + BLOCK)
            rows[name][block] = _filled(x[block], new.time_us[block], how.gap_limit_s)
    if how.side == "dc" and {"current_A", "voltage_V"} <= rows.keys():
        current_A, voltage_V, power_W = rows["current_A"], rows["voltage_V"], rows["power_W"]
        if "power_W" not in new.quantities:
            np.multiply(current_A, voltage_V, out=power_W)
        elif (wrong := contradicts(power_W, current_A)).any():
            power_W[wrong] = current_A[wrong] * voltage_V[wrong]


def _filled(x: FloatArray, time_us: TimeArray, gap_limit_s: float) -> FloatArray:
    """Return a quantity with its holes filled linearly where they are no longer than the gap limit, else NaN."""
    if not has_missing(x) or (missing := np.isnan(x)).all():
        return x
    known = np.flatnonzero(~missing)
    # At the block's ends the nearest reading stands for those that have no other side, within the same limit.
    after = np.searchsorted(known, np.flatnonzero(missing))
    left, right = known[np.maximum(after - 1, 0)], known[np.minimum(after, len(known) - 1)]
    at = time_us[missing]
    hole_us = np.maximum(at, time_us[right]) - np.minimum(at, time_us[left])
    filled = x.copy()
    filled[missing] = np.where(hole_us <= gap_limit_s * MICROSECONDS, np.interp(at, time_us[known], x[known]), np.nan)
    return filled


def _steps_and_spikes(
    x: FloatArray, is_gap: NDArray[np.bool_], least: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return at which readings a signal steps, by more than `least` and not for one reading alone; and its spikes."""
    # Few readings differ by so much from the one before: only these are looked at closely.
    at = np.flatnonzero(np.abs(x[1:] - x[:-1]) > least) + 1
    spikes = _spikes(x, at, is_gap, least)
    if len(spikes):
        x = x.copy()
        x[spikes] = (x[spikes - 1] + x[spikes + 1]) / 2
        at = at[np.abs(x[at] - x[at - 1]) > least]
    # Noise that happens to exceed it is gone one reading further out on either side; at a gap there is none to ask.
    after = np.minimum(at + 1, len(x) - 1)
    stands = np.abs(x[after] - x[at - 2]) > STANDS * least
    return at[stands | is_gap[at - 1] | is_gap[after] | (at < AROUND) | (after == at)], spikes


def _spikes(x: FloatArray, at: NDArray[np.int64], is_gap: NDArray[np.bool_], least: float) -> NDArray[np.int64]:
    """Return where lone spikes stand among the readings at which the signal changes by more than `least` [unit]."""
    at = at[:-1][at[1:] == at[:-1] + 1]
    if not len(at):
        return at
    # Up and down again, or down and up, by far more than the readings on either side differ.
    up, down = x[at] - x[at - 1], x[at + 1] - x[at]
    like = np.maximum(least, 0.1 * np.minimum(np.abs(up), np.abs(down)))
    spike = (up * down < 0) & (np.abs(x[at + 1] - x[at - 1]) < like) & ~(is_gap[at] | is_gap[at + 1])
    # The top of a start is no spike: the reading before it had stepped already.
    spike &= (at < AROUND) | (np.abs(x[at - 1] - x[at - 2]) <= like)
    return at[spike]
