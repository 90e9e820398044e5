"""Find where a signal is level and where it steps, as a fold.

Steady-state transitions are the classic way to see single loads in the sum of all (G. W. Hart, Nonintrusive appliance
load monitoring, Proc. IEEE 80 (1992) 1870-1891, from memory): the log becomes a list of plateaus, and what happens
between two of them is a step.
"""

from __future__ import annotations

import copy
from collections.abc import Set
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..readings.blocks import Blocks, gaps_before
from ..readings.chunk import MICROSECONDS, Chunk, FloatArray, TimeArray, join
from ..readings.energy_signals import contradicts
from ..readings.integral import between_readings, bridged_s
from ..readings.measured_span import HowRead
from .plateau import OpenPlateau, Plateau, Trace, traces_of
from .rises import SLOW_S, RiseCounter, Rises
from .step_threshold import Threshold

#: Readings looked at together when the noise is judged.
BLOCK = 16384
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
        self._state = _State(how, signal)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        for block in self._blocks.add(self._usable(chunk)):
            self._state.take(block, final=False)

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
        return Plateaus(self.signal, tuple(plateaus), state.covered_s, rises)

    def _usable(self, chunk: Chunk) -> Chunk:
        """Return the readings that have a signal."""
        q = {name: chunk.quantities[name] for name in self._names}
        known = ~np.isnan(q[self.signal])
        if known.all():
            return Chunk(chunk.time_us, q)
        return Chunk(chunk.time_us[known], {name: x[known] for name, x in q.items()})


@dataclass(frozen=True)
class _Cut:
    """Readings that are being cut into plateaus: those from `before` up to `keep`; `x` has a row for each quantity."""

    time_us: TimeArray
    names: tuple[str, ...]
    x: FloatArray
    signal: FloatArray
    sums: dict[str, FloatArray]
    is_gap: NDArray[np.bool_]
    least: float
    before: int
    keep: int

    def plateaus(self, bounds: NDArray[np.int64]) -> list[Plateau]:
        """Return the plateaus between these readings, each of which begins one."""
        traces = traces_of(self.names, self.x, bounds) if len(bounds) > 1 else []
        ends = zip(traces, bounds[:-1].tolist(), bounds[1:].tolist(), strict=True)
        return [self._plateau(trace, a, b) for trace, a, b in ends]

    def opened(self, a: int) -> OpenPlateau:
        """Return the plateau that begins at `a` and may go on after the last reading."""
        return OpenPlateau.of(self._plateau({}, a, self.keep), self.names, self.x[:, a : self.keep])

    def grown(self, plateau: OpenPlateau, stop: int) -> OpenPlateau:
        """Return a plateau from before with the readings up to `stop`."""
        part = slice(self.before, stop)
        at_end = {name: float(total[stop - 1]) for name, total in self.sums.items()}
        return plateau.extended(self.time_us[part], self.x[:, part], at_end)

    def _plateau(self, traces: dict[str, Trace], a: int, b: int) -> Plateau:
        sums = {name: (total.item(a), total.item(b - 1)) for name, total in self.sums.items()}
        step, after_gap, step_s = 0.0, True, 0.0
        if a:
            step, after_gap = self.signal.item(a) - self.signal.item(a - 1), self.is_gap.item(a)
            step_s = (self.time_us.item(a) - self.time_us.item(a - 1)) / MICROSECONDS
        times = self.time_us.item(a), self.time_us.item(b - 1)
        return Plateau(*times, b - a, traces, sums, self.least, step, after_gap, step_s)


class _State:
    """What is carried from block to block."""

    def __init__(self, how: HowRead, signal: str) -> None:
        self._how = how
        self._signal = signal
        self._carried: Chunk | None = None  # the last readings that were cut, and those held back
        self._before = 0  # how many of these were cut
        self._threshold = Threshold()
        self._sums: dict[str, float] = {}
        self.covered_s = 0.0
        self.done: list[Plateau] = []
        self.open: OpenPlateau | None = None
        # Closer readings show short runs as plateaus; a meter that keeps only changes has no spacing to be too slow.
        is_slow = how.usual_interval_s is not None and how.usual_interval_s >= SLOW_S
        self.rises = RiseCounter(means=how.sampling == "mean") if is_slow and how.sampling != "held" else None

    def twin(self) -> _State:
        """Return a state that can go on without changing this one."""
        twin = copy.copy(self)
        twin._sums, twin.done, twin._threshold = dict(self._sums), list(self.done), copy.copy(self._threshold)
        twin.rises = None if self.rises is None else self.rises.twin()
        return twin

    def take(self, block: Chunk, *, final: bool) -> None:
        """Take the next block in; its last readings wait for the next unless it is the final one."""
        parts = [self._carried] if self._carried is not None else []
        parts += [_completed(block, self._how)] if len(block) else []
        if not parts:
            return
        readings = join(parts)
        keep = len(readings) if final else len(readings) - AROUND
        if keep > self._before:
            level = self._cut(readings, keep)
            self._before = min(keep, AROUND)
            self._carried = join([level.part(keep - self._before, keep), readings.part(keep, len(readings))])

    def _cut(self, readings: Chunk, keep: int) -> Chunk:
        """Cut the readings up to `keep` into plateaus, looking at those around them; return them without spikes."""
        x = readings.quantities[self._signal]
        # A value held until it changes has no gaps, however long nothing was written.
        is_gap = gaps_before(readings.time_us, bridged_s(self._how))
        least = self._threshold.of(x, is_gap)
        if self.rises is not None:
            part = slice(max(self._before - 1, 0), keep)
            volts = readings.quantities.get("voltage_V", np.full(len(x), np.nan))
            self.rises.take(readings.time_us[part], x[part], volts[part], is_gap[part])
        # Volts and watts are levelled at the signal's spikes too: a false row is false in all its columns.
        spikes = _spikes(x, is_gap, least)
        level = Chunk(readings.time_us, {n: _levelled(v, spikes) for n, v in readings.quantities.items()})
        smooth = level.quantities[self._signal]
        starts = np.flatnonzero((_steps(smooth, is_gap, least) | is_gap)[:keep])
        # The log's first reading begins a plateau though nothing stepped.
        if not self._before:
            starts = np.unique(np.append(starts, 0))
        names, rows = tuple(level.quantities), np.array(list(level.quantities.values()))
        sums = self._integrated(level, keep)
        self._gather(_Cut(level.time_us, names, rows, smooth, sums, is_gap, least, self._before, keep), starts)
        return level

    def _gather(self, cut: _Cut, starts: NDArray[np.int64]) -> None:
        """Let the open plateau grow to the first start, and open a new one at the last."""
        starts = starts[starts >= cut.before]
        until = int(starts[0]) if len(starts) else cut.keep
        if self.open is not None and until > cut.before:
            self.open = cut.grown(self.open, until)
        if not len(starts):
            return
        if self.open is not None:
            self.done.append(self.open.closed())
        self.done += cut.plateaus(starts)
        self.open = cut.opened(int(starts[-1]))

    def _integrated(self, readings: Chunk, keep: int) -> dict[str, FloatArray]:
        """Return the running integral of amps and of watts at each reading [unit s], and of the time unknown [s]."""
        # It goes on from the last reading that was cut before; up to there all is counted already.
        first = max(self._before - 1, 0)
        time_us = readings.time_us[first:keep]
        values: dict[str, FloatArray] = {}
        for name, x in readings.part(first, keep).quantities.items():
            if name != "voltage_V":
                unknown = np.isnan(x)
                values[name] = np.where(unknown, 0.0, x) if unknown.any() else x
                # How long watts were unknown is summed beside them: so a run knows whether its energy is whole.
                if name != self._signal:
                    values[unknown_of(name)] = unknown.astype(np.float64)
        pieces = between_readings(
            time_us,
            values,
            sampling=self._how.sampling,
            gap_limit_s=bridged_s(self._how),
            usual_interval_s=self._how.usual_interval_s,
            first_of_log=not self._before,
        ).measured
        # Gaps give no piece: only then each piece's reading must be searched for.
        at: slice | NDArray[np.int64] = slice(1, None)
        if len(pieces.stop_us) != len(time_us) - 1:
            at = np.searchsorted(time_us, pieces.stop_us)
        length_s, sums = pieces.length_s, {}
        for name in values:
            increments = np.zeros(keep)
            increments[first:][at] = (pieces.first[name] + pieces.last[name]) / 2 * length_s
            sums[name] = self._sums.get(name, 0.0) + np.cumsum(increments)
            self._sums[name] = float(sums[name][-1])
        self.covered_s += float(length_s.sum())
        return sums


def unknown_of(name: str) -> str:
    """Return the name of the running time for which a quantity was not known."""
    return f"{name} unknown"


def _completed(block: Chunk, how: HowRead) -> Chunk:
    """Return a block with short holes filled in, and with watts that the current at the bank agrees with."""
    q = {name: _filled(x, block.time_us, how.gap_limit_s) for name, x in block.quantities.items()}
    if how.side == "dc" and {"current_A", "voltage_V"} <= q.keys():
        product_W = q["current_A"] * q["voltage_V"]
        power_W = q.get("power_W", product_W)
        q["power_W"] = np.where(contradicts(power_W, q["current_A"]), product_W, power_W)
    return Chunk(block.time_us, q)


def _filled(x: FloatArray, time_us: TimeArray, gap_limit_s: float) -> FloatArray:
    """Return a quantity with its holes filled linearly where they are no longer than the gap limit, else NaN."""
    missing = np.isnan(x)
    if not missing.any() or missing.all():
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


def _steps(x: FloatArray, is_gap: NDArray[np.bool_], least: float) -> NDArray[np.bool_]:
    """Return at which readings the signal has stepped: by more than `least`, and not because one reading stands out."""
    steps = np.zeros(len(x), dtype=bool)
    steps[1:] = np.abs(np.diff(x)) > least
    # Noise that happens to exceed it is gone one reading further out on either side; at a gap there is none to ask.
    stands = np.abs(x[3:] - x[:-3]) > STANDS * least
    steps[2:-1] &= stands | is_gap[1:-2] | is_gap[3:]
    return steps


def _spikes(x: FloatArray, is_gap: NDArray[np.bool_], least: float) -> NDArray[np.int64]:
    """Return where lone spikes stand; `least` is the smallest change that is a step. [unit]."""
    if len(x) < 3:
        return np.empty(0, dtype=np.int64)
    rise = np.diff(x)
    up, down = rise[:-1], rise[1:]
    # Up and down again, or down and up, by far more than the readings on either side differ.
    smaller = np.minimum(np.abs(up), np.abs(down))
    spike = (up * down < 0) & (smaller > least) & (np.abs(x[2:] - x[:-2]) < np.maximum(least, 0.1 * smaller))
    spike &= ~(is_gap[1:-1] | is_gap[2:])
    # The top of a start is no spike: the reading before it had stepped already.
    spike[1:] &= np.abs(rise[:-2]) <= np.maximum(least, 0.1 * smaller[1:])
    return np.flatnonzero(spike) + 1


def _levelled(x: FloatArray, spikes: NDArray[np.int64]) -> FloatArray:
    """Return a quantity with the readings at the spikes put midway between their neighbours."""
    if not len(spikes):
        return x
    smooth = x.copy()
    smooth[spikes] = (x[spikes - 1] + x[spikes + 1]) / 2
    return smooth
