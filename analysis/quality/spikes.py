"""Lone readings far off their neighbours: told apart from starts, counted, and left out only when asked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Set
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..readings.blocks import Piece, Pieces, gaps_before
from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, Chunk, FloatArray, Sampling, TimeArray
from ..readings.integral import bridged_s
from ..readings.measured_span import HowRead
from ..signal_levels.step_threshold import Threshold

#: A spike stands out by more than twice the smallest step, and by five times what its neighbours, two on either side,
#: differ among themselves, which is no step: common practice, no source.
STEPS, TIMES = 2.0, 5.0
#: The voltage answers a reading where it sags by this share of what the log's other changes bring about, as far as
#: these and the voltage move together this well; else by so many times its noise; but by no more than half: common
#: practice, no source.
ANSWERED_SHARE, TOGETHER, NOISE_TIMES, AT_MOST = 0.3, 0.5, 4.0, 0.5
#: A quarter of normally distributed values are further from nought than this many standard deviations. [1]
QUARTER_OF_SIZES: Final = 1.150
#: With readings further apart a load's run may last only one of them, so that lone ones are judged only where volts are
#: read: common practice, no source. [s]
JUDGED_ALONE_S: Final = 5.0
#: So many spikes, the largest, are told one by one.
MOST_TOLD: Final = 10


@dataclass(frozen=True)
class Spike:
    """One lone reading: its instant [us], its value and what its neighbours say instead, in the signal's unit."""

    at_us: int
    value: float
    neighbours: float


@dataclass(frozen=True)
class Spikes:
    """The lone spikes of a log; they are kept unless somebody asks to drop them.

    They were sought in `signal`, None where there is neither current nor power. Charge and energy are what they add to
    the net amounts against their neighbours. The largest of them are in order of time.
    """

    signal: str | None
    count: int
    charge_Ah: float | None
    energy_Wh: float | None
    largest: tuple[Spike, ...]


def lone_spikes(x: FloatArray, is_gap: NDArray[np.bool_], least: float) -> NDArray[np.bool_]:
    """Return which readings stand alone, far off neighbours that agree with each other. Shapes (n,).

    `x` is the signal without NaN; `is_gap` tells whether nothing was measured right before each reading; `least` is the
    smallest change that is a step and not noise.

    Never the surge of a start or the last reading of a stop: there the signal is another after than before. A run as
    short as one reading looks the same; where volts are read, see `answered`. The first and last two readings are not
    judged.
    """
    spike = np.zeros(len(x), dtype=bool)
    if len(x) < 5:
        return spike
    # Only what stands out against the reading before it can: few of many, so only those are looked at.
    at = np.flatnonzero(np.abs(x[2:-2] - x[1:-3]) > STEPS * least) + 2
    here, around = x[at], np.stack([x[at + k] for k in (-2, -1, 1, 2)])
    # How far beyond the nearest of its neighbours, so that a step, which has neighbours on either side of it, is none.
    off = np.where(here > around.max(axis=0), here - around.max(axis=0), around.min(axis=0) - here)
    whole = ~(is_gap[at - 1] | is_gap[at] | is_gap[at + 1] | is_gap[at + 2])
    apart = np.ptp(around, axis=0)
    spike[at] = whole & (off > STEPS * least) & (off > TIMES * apart) & (apart <= least)
    return spike


def answered(spike: NDArray[np.bool_], x: FloatArray, voltage_V: FloatArray) -> NDArray[np.bool_]:
    """Return which spikes the voltage answers, as it would answer a real draw: down as the draw goes up. Shapes (n,).

    Where the voltage is missing (NaN) nothing answers.
    """
    off, sag_V = np.zeros(len(x)), np.zeros(len(x))
    off[1:-1], sag_V[1:-1] = (y[1:-1] - (y[:-2] + y[2:]) / 2 for y in (x, voltage_V))
    others = ~spike & ~np.isnan(sag_V)
    least_V = _least_answer(off[others], sag_V[others], off)
    size_V = np.abs(sag_V)
    return np.asarray(spike & (off * sag_V < 0) & (size_V > least_V) & (size_V < AT_MOST * np.abs(voltage_V)))


def _least_answer(off: FloatArray, sag_V: FloatArray, asked: FloatArray) -> FloatArray:
    """Return the smallest sag that answers each change `asked`: a share of what others of its size bring about.

    `off` and `sag_V` are signal and voltage against their neighbours, where there is no spike.
    """
    strength = float(np.sqrt((off @ off) * (sag_V @ sag_V)))
    # Where the log shows how much the volts give way (a slope through nought), that says what to expect; else noise
    # does.
    if strength > 0 and -float(off @ sag_V) > TOGETHER * strength:
        return np.asarray(ANSWERED_SHARE * np.abs(asked) * -float(off @ sag_V) / float(off @ off))
    usual_V = float(np.quantile(np.abs(sag_V), 0.75)) / QUARTER_OF_SIZES if len(sag_V) else 0.0
    return np.full(len(asked), NOISE_TIMES * usual_V)


class SpikeFinder:
    """Finds the lone spikes of one piece after another; the noise it has seen is all it carries."""

    def __init__(self, how: HowRead, quantities: Set[str]) -> None:
        order = ("current_A", "power_W") if how.side == "dc" else ("power_W", "current_A")
        self.signal = next((name for name in order if name in quantities), None)
        self._sees_volts = "voltage_V" in quantities
        self._limit_s = bridged_s(how)
        # A reading by eye stands as long as the load does, so a lone one is a short run.
        close = self._sees_volts or (how.usual_interval_s or 0.0) <= JUDGED_ALONE_S
        self._judges = self.signal is not None and how.sampling != "held" and close
        self._threshold = Threshold()

    def usable(self, piece: Piece) -> Piece:
        """Return the piece without readings that lack the signal."""
        return piece if self.signal is None else piece.having(self.signal)

    def find(self, piece: Piece) -> NDArray[np.int64]:
        """Return the indices of the spikes among the readings of a usable piece that are looked at now."""
        if not self._judges or self.signal is None or len(piece.readings) < 3:
            return np.empty(0, dtype=np.int64)
        x = piece.readings.quantities[self.signal]
        is_gap = gaps_before(piece.readings.time_us, self._limit_s)
        spike = lone_spikes(x, is_gap, self._threshold.of(x, is_gap))
        if self._sees_volts and spike.any():
            # What the volts answer did flow, however short it was: a load that ran for one reading.
            spike &= ~answered(spike, x, piece.readings.quantities["voltage_V"])
        return piece.inside(spike)


class SpikePart:
    """Flag lone spikes and state what they add, piece by piece."""

    def __init__(self, how: HowRead, quantities: Set[str]) -> None:
        self._finder = SpikeFinder(how, quantities)
        self._sampling = how.sampling
        added = ("current_A", "power_W") if how.side == "dc" else ("power_W",)
        self._added = {name: 0.0 for name in added if name in quantities}
        self._count = 0
        self._largest: list[Spike] = []

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        piece = self._finder.usable(piece)
        at = self._finder.find(piece)
        if not len(at):
            return
        time_us, q = piece.readings.time_us, piece.readings.quantities
        self._count += len(at)
        for name in self._added:
            self._added[name] += float(np.nansum(_added(time_us, q[name], at, self._sampling))) / SECONDS_PER_HOUR
        x = q[self._finder.signal or ""]
        # Told beside what stands there if it is left out.
        beside = (x[at - 1] + x[at + 1]) / 2
        spikes = zip(time_us[at].tolist(), x[at].tolist(), beside.tolist(), strict=True)
        largest = [*self._largest, *(Spike(*each) for each in spikes)]
        self._largest = sorted(largest, key=lambda spike: -abs(spike.value - spike.neighbours))[:MOST_TOLD]

    def result(self) -> Spikes:
        """Return the spikes so far."""
        by_time = tuple(sorted(self._largest, key=lambda spike: spike.at_us))
        charge_Ah, energy_Wh = self._added.get("current_A"), self._added.get("power_W")
        return Spikes(self._finder.signal, self._count, charge_Ah, energy_Wh, by_time)


def without_spikes(chunks: Iterable[Chunk], how: HowRead, quantities: Set[str]) -> Iterator[Chunk]:
    """Yield the readings of a log without its lone spikes, to be fed to any fold in their place.

    `SpikePart` counts exactly the readings that are left out here. Where the chunks end makes no difference to the
    readings that come out: a piece and its neighbours are held back until it is known whether they are spikes, and the
    end of `chunks` releases the last.
    """
    finder, pieces = SpikeFinder(how, quantities), Pieces()
    for chunk in chunks:
        for piece in pieces.add(chunk):
            yield _passed_on(finder, piece)
    if (rest := pieces.rest()) is not None:
        yield _passed_on(finder, rest)


def _passed_on(finder: SpikeFinder, piece: Piece) -> Chunk:
    usable = finder.usable(piece)
    spikes_us = usable.readings.time_us[finder.find(usable)]
    new = piece.new()
    if not len(spikes_us):
        return new
    keep = ~np.isin(new.time_us, spikes_us)
    return Chunk(new.time_us[keep], {name: x[keep] for name, x in new.quantities.items()})


def _added(time_us: TimeArray, x: FloatArray, at: NDArray[np.int64], sampling: Sampling) -> FloatArray:
    """Return what each reading adds to the integral against the log without it. [unit s]"""
    before_s, after_s = ((time_us[at + k] - time_us[at + k - 1]) / MICROSECONDS for k in (0, 1))
    here, left, right = x[at], x[at - 1], x[at + 1]
    # A mean stands for the spacing before it, a reading by eye for the one after, an instant for half of either.
    if sampling == "mean":
        return np.asarray((here - right) * before_s)
    if sampling == "held":
        return np.asarray((here - left) * after_s)
    return np.asarray(here * (before_s + after_s) - left * after_s - right * before_s) / 2
