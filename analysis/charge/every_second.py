"""What a meter showed and had counted, step by step from an instant on: for a clock other than the log's own."""

from __future__ import annotations

from collections.abc import Iterator, Set
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..not_known import Refusal
from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, BoolArray, Chunk, FloatArray, TimeArray, join
from ..readings.energy_signals import energy_signals, energy_source, why_nothing
from ..readings.integral import Intervals
from ..readings.measured_span import HowRead
from .completed import CURRENT, POWER, CompletedIntervals, PieceReader, Signal

#: Volts are shown and never summed up.
_VOLTS: Final = Signal("v", lambda *_: (np.empty(0), np.empty(0)), lambda values: values["v"])

#: Rows that hold what a signal is, what is above zero so far, and what is below it.
_VALUE, _ABOVE, _BELOW = range(3)


@dataclass(frozen=True)
class EachSecond:
    """Consecutive whole seconds, or shorter steps; of each what stood at its very first moment.

    Parameters
    ----------
    at_us : array of int64, shape (n,)
        The instants, evenly apart. [us]
    current_A, voltage_V, power_W : array of float64, shape (n,)
        What the readings stand for at that instant; NaN where none does. Draw out of the bank is positive.
    drawn_Ah, returned_Ah, drawn_Wh, returned_Wh : array of float64, shape (n,)
        The integrals from the first second of all up to that instant; gaps add nothing. Nought where the log has none.
    """

    at_us: TimeArray
    current_A: FloatArray
    voltage_V: FloatArray
    power_W: FloatArray
    drawn_Ah: FloatArray
    returned_Ah: FloatArray
    drawn_Wh: FloatArray
    returned_Wh: FloatArray

    def __len__(self) -> int:
        """Return the number of seconds."""
        return len(self.at_us)

    @property
    def measured(self) -> BoolArray:
        """Where any reading stands for the instant; shape (n,)."""
        return ~(np.isnan(self.current_A) & np.isnan(self.voltage_V) & np.isnan(self.power_W))


class EverySecond:
    """Tell the seconds from one instant to another, as a stream: `add` gives what a chunk completes, `rest` the end.

    Cut the readings anywhere, and all that comes out is the same. It holds one reading of each signal, and the seconds
    that one signal has passed and another has not.

    Parameters
    ----------
    from_us, to_us : int
        The first second, and the end, which no second reaches. [us]
    step_us : int
        How far apart the instants are that are told: a second, if nothing else is said. [us]

    Raises
    ------
    Refusal
        If the log has neither current nor power, or amps and volts on side ``ac`` without a power factor.
    """

    def __init__(
        self, how: HowRead, quantities: Set[str], *, from_us: int, to_us: int, step_us: int = MICROSECONDS
    ) -> None:
        self._how, self._source = how, energy_source(how.side, quantities)
        if self._source is None and (how.side == "ac" or "current_A" not in quantities):
            raise Refusal(why_nothing(how.side, quantities))
        self._from_us, self._to_us, self._step_us = from_us, to_us, step_us
        self._tracks = {
            name: _Track(how, signal, from_us, to_us, step_us)
            for name, signal, is_read in (
                ("current", CURRENT, "current_A" in quantities),
                ("voltage", _VOLTS, "voltage_V" in quantities),
                ("power", POWER, self._source is not None),
            )
            if is_read
        }
        self._next_us = from_us
        self._first_us: int | None = None

    def add(self, chunk: Chunk) -> Iterator[EachSecond]:
        """Take the next readings in and yield the seconds that no later reading can change."""
        if not len(chunk):
            return
        if self._first_us is None:
            # The first of means stands for the time before it.
            usual_s = self._how.usual_interval_s or 0.0 if self._how.sampling == "mean" else 0.0
            self._first_us = int(chunk.time_us[0]) - round(usual_s * MICROSECONDS)
        for name, track in self._tracks.items():
            track.take(chunk.with_values(self._signals(name, chunk)))
        yield from self._passed(min(track.next_us for track in self._tracks.values()))

    def rest(self, last_us: int) -> Iterator[EachSecond]:
        """Yield the seconds that are left, where the log ends at an instant; asked for once. [us]"""
        for track in self._tracks.values():
            track.end(last_us)
        yield from self._passed(min(track.next_us for track in self._tracks.values()))

    def _signals(self, name: str, chunk: Chunk) -> dict[str, FloatArray]:
        if name == "current":
            return {"i": chunk.quantities["current_A"]}
        if name == "voltage":
            return {"v": chunk.quantities["voltage_V"]}
        return energy_signals(self._how.side, self._source or "", chunk.quantities)

    def _passed(self, before_us: int) -> Iterator[EachSecond]:
        """Yield the seconds before an instant that are not told yet, those before the log's beginning left out."""
        count = (before_us - self._next_us) // self._step_us
        if count <= 0:
            return
        at_us = self._next_us + self._step_us * np.arange(count)
        self._next_us = before_us
        unknown = np.vstack([np.full(count, np.nan), np.zeros((2, count))])
        taken = {name: track.taken(count) for name, track in self._tracks.items()}
        amps, volts, watts = (taken.get(name, unknown) for name in ("current", "voltage", "power"))
        # Amps behind an inverter are no charge of the bank.
        charge = amps if self._how.side == "dc" else unknown
        sums = [part[k] / SECONDS_PER_HOUR for part in (charge, watts) for k in (_ABOVE, _BELOW)]
        seconds = EachSecond(at_us, amps[_VALUE], volts[_VALUE], watts[_VALUE], *sums)
        begun = 0 if self._first_us is None else int(np.searchsorted(at_us, self._first_us))
        if begun < count:
            yield EachSecond(*(x[begun:] for x in vars(seconds).values()))


class _Track:
    """One signal at every second: what it is, and its integral so far above and below zero."""

    def __init__(self, how: HowRead, signal: Signal, from_us: int, to_us: int, step_us: int) -> None:
        self._reader, self._signal = PieceReader(how, signal), signal
        self._from_us, self._to_us, self._step_us = from_us, to_us, step_us
        self._sums = np.zeros(2)
        self._last: Chunk | None = None
        self._waiting: list[FloatArray] = []
        self.next_us = from_us

    def take(self, readings: Chunk) -> None:
        """Take in the next readings."""
        pieces = self._reader.take(readings)
        if pieces is None:
            return
        new = readings.having(*readings.quantities)
        readings = new if self._last is None else join([self._last, new])
        self._last = new.part(len(new) - 1, len(new))
        # Up to its last reading, and not at it: what stands from there on the next reading tells.
        self._pass(pieces, readings, min(int(new.time_us[-1]), self._to_us))

    def end(self, last_us: int) -> None:
        """Take it that no more comes: at its last reading that reading stands, and after it nothing does."""
        end_us = min(last_us + 1, self._to_us)
        at_us = self._seconds_before(end_us)
        rows = np.vstack([np.full(len(at_us), np.nan), np.repeat(self._sums[:, None], len(at_us), axis=1)])
        if self._last is not None:
            self._fill(rows, at_us, self._last)
        self._put(at_us, rows)

    def taken(self, count: int) -> FloatArray:
        """Return the first so many seconds that wait, and hold them no longer; shape (3, count)."""
        whole = self._waiting[0] if len(self._waiting) == 1 else np.concatenate(self._waiting, axis=1)
        self._waiting = [whole[:, count:]]
        return whole[:, :count]

    def _seconds_before(self, us: int) -> TimeArray:
        return self.next_us + self._step_us * np.arange(max(-((self.next_us - us) // self._step_us), 0))

    def _put(self, at_us: TimeArray, rows: FloatArray) -> None:
        if len(at_us):
            self._waiting.append(rows)
            self.next_us = int(at_us[-1]) + self._step_us

    def _pass(self, pieces: CompletedIntervals, readings: Chunk, before_us: int) -> None:
        """Tell the seconds that these intervals complete, and add the intervals up."""
        measured = pieces.measured.clipped(self._from_us, self._to_us)
        at_us = self._seconds_before(before_us)
        split = self._split(measured)
        # The sums at the beginning of each interval, and after the last of them.
        sums = self._sums[:, None] + np.concatenate([np.zeros((2, 1)), np.cumsum(split, axis=1)], axis=1)
        if len(at_us):
            rows = self._at(measured, sums, at_us)
            self._fill(rows, at_us, readings)
            self._put(at_us, rows)
        self._sums = sums[:, -1]

    def _at(self, measured: Intervals, sums: FloatArray, at_us: TimeArray) -> FloatArray:
        """Return what the signal is at some instants, and its sums there; shape (3, n)."""
        # An interval holds its beginning, and its end where no other begins there.
        which = np.searchsorted(measured.start_us, at_us, side="right") - 1
        inside = which >= 0
        inside[inside] = at_us[inside] <= measured.stop_us[which[inside]]
        rows = np.vstack([np.full(len(at_us), np.nan), sums[:, which + 1]])
        cut = measured.parts(which[inside], measured.start_us[which[inside]], at_us[inside])
        rows[_VALUE, inside] = self._signal.at(cut.last)
        rows[_ABOVE:, inside] = sums[:, which[inside]] + self._split(cut)
        return rows

    def _fill(self, rows: FloatArray, at_us: TimeArray, readings: Chunk) -> None:
        """Give instants at which a reading was made, and from which no interval goes on, that reading."""
        k = np.minimum(np.searchsorted(readings.time_us, at_us), len(readings) - 1)
        alone = np.flatnonzero(np.isnan(rows[_VALUE]) & (readings.time_us[k] == at_us))
        rows[_VALUE, alone] = self._signal.at({name: x[k[alone]] for name, x in readings.quantities.items()})

    def _split(self, measured: Intervals) -> FloatArray:
        """Return what is above zero and what is below it in each interval; shape (2, n)."""
        if self._signal is _VOLTS:
            return np.zeros((2, len(measured.start_us)))
        return np.vstack(self._signal.integral(measured))
