"""Find the stretch of a log that could be a true rest, to propose it for a check of the meter's zero.

Amps near nought alone do not make a rest: a standing draw, or an array that carries the loads, reads so, too. So the
volts of the stretch must say, too, that nothing flows: they do not step, do not move as if what the meter reads did
flow, nor against its amps, and do not stand where they stand while the bank is charged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, log, sqrt
from typing import Final

import numpy as np

from ..charge.grouped_sums import HALF, SIZES, size_of, sums_by_size
from ..readings.blocks import Piece, gaps_before
from ..readings.chunk import MICROSECONDS, Chunk, FloatArray, TimeArray
from ..readings.integral import inner
from ..signal_levels.step_threshold import Threshold
from ..stats.bounded import BlockMeans
from .coverage import MostPart
from .zero_check import smallest_step

#: A rest lasts at least this long and has at least so many readings: common practice, no source.
LEAST_S: Final = 60.0
LEAST_READINGS: Final = 10
#: It is level where means of blocks of it stay within so many times what the noise from reading to reading lets them,
#: and one of the meter's smallest steps: common practice, no source; sun that balances a load wanders further. [1]
LEVEL_TIMES: Final = 10.0
#: It is near zero where it reads less than this share of what the log reads at most (`MostPart`): common practice, no
#: source; an offset is a small part of a meter's range; a standing draw may be as small. [1]
NEAR: Final = 0.01
#: The volts move where their means of the stretch's halves differ by so many standard deviations of the noise: common
#: practice, no source. [1]
MOVES: Final = 4.0
#: Amps and volts go against each other, as what flows makes them, where their correlation lies so many standard errors
#: below none: common practice, no source. [1]
AGAINST: Final = 3.0
#: An offset is known where it is at least so many of its standard uncertainties: common practice, no source. [1]
SURE: Final = 3.0
#: Rests are told apart by their volts in steps of this share: common practice, no source. [1]
VOLTS_APART: Final = 0.005
#: The bank is charged where at least this share of what the log reads at most comes back: common practice, no source.
CHARGED: Final = 0.05


@dataclass(frozen=True)
class Rest:
    """A level stretch near zero, first reading to last. Whether nothing flowed then, only the person can say.

    The mean and its standard uncertainty are from means of blocks; the latter is not less than the meter's smallest
    step over sqrt(12) (GUM F.2.2.1). `by_volts` tells whether the volts say so, too; False in a log without volts.
    """

    start_us: int
    stop_us: int
    readings: int
    mean_A: float
    u_A: float
    by_volts: bool = False
    before_A: float | None = None
    after_A: float | None = None

    def on_the_way(self, near_A: float) -> bool:
        """Tell whether the level stretches around it read a little more on one side and a little less on the other.

        Then it is a step of a current that goes through zero while other loads come and go, such as sun does.
        """
        if self.before_A is None or self.after_A is None:
            return False
        beyond = sorted((self.before_A - self.mean_A, self.after_A - self.mean_A))
        least = SURE * self.u_A
        return -near_A <= beyond[0] < -least and least < beyond[1] <= near_A


class _Level:
    """A stretch of one quantity that goes on: its block means, and its changes from reading to reading."""

    def __init__(self) -> None:
        self.means = BlockMeans()
        self._squares = 0.0

    def grow(self, x: FloatArray, change: FloatArray) -> None:
        """Take its next readings in, and the change from the one before each."""
        change = change if self.means.count else change[1:]
        self._squares += inner(change, change)
        self.means.add(x)

    @property
    def noise(self) -> float:
        """The standard deviation of its readings from one to the next. [unit]"""
        return sqrt(self._squares / (self.means.count - 1) / 2)

    def moves(self) -> float:
        """Return by how much the later half lies above the earlier one, beyond what noise and digit let it. [unit]"""
        blocks = self.means.blocks()
        half = len(blocks) // 2
        change = float(blocks[-half:].mean() - blocks[:half].mean())
        least = MOVES * self.noise * sqrt(4 / self.means.count)
        return change if abs(change) > least else 0.0


class _Together:
    """How amps and volts of a stretch that goes on move with each other."""

    def __init__(self) -> None:
        self._first: FloatArray | None = None
        self._count = 0
        self._sums, self._products = np.zeros(2), np.zeros((2, 2))

    def grow(self, both: FloatArray) -> None:
        """Take its next readings in; shape (2, readings)."""
        # Beside the first reading: volts are large beside what they move by.
        self._first = both[:, :1] if self._first is None else self._first
        beside = both - self._first
        self._count += both.shape[1]
        self._sums += beside.sum(axis=1)
        self._products += beside @ beside.T

    def go_against(self) -> bool:
        """Tell whether the volts fall when the amps rise, and rise when they fall, more than by chance."""
        if self._count < LEAST_READINGS:
            return False
        apart = self._products - np.outer(self._sums, self._sums) / self._count
        alone = sqrt(max(apart[0, 0] * apart[1, 1], 0.0))
        r = max(float(apart[0, 1]) / alone, -0.999_999) if alone > 0 else 0.0
        # Student's t of a correlation of none.
        return r * sqrt((self._count - 2) / (1 - min(r * r, 0.999_999))) < -AGAINST


class RestPart:
    """Find the best rest of pieces that have amps: level, the nearest to zero, the surest known.

    It carries the block means of the stretch that goes on, and the best one so far at each level of the volts; with
    volts among the quantities these must agree.
    """

    def __init__(self, gap_limit_s: float | None, quantities: Sequence[str] = ("current_A",)) -> None:
        self._gap_limit_s = gap_limit_s
        self._names = [name for name in ("current_A", "voltage_V") if name in quantities]
        self._thresholds = {name: Threshold() for name in self._names}
        self._levels = {name: _Level() for name in self._names}
        self._together = _Together()
        self._start_us = self._stop_us = 0
        self._most, self._most_A = MostPart("current_A"), 0.0
        self._grain_A = np.inf
        self._charging = ChargingVolts()
        self._best: dict[int, Rest] = {}
        self._newest: Rest | None = None

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        piece = piece.having(*self._names)
        q, time_us = piece.readings.quantities, piece.readings.time_us
        if not len(time_us):
            return
        marked = is_gap = gaps_before(time_us, self._gap_limit_s)
        changes = {name: np.abs(np.diff(q[name], prepend=q[name][0])) for name in self._names}
        for name, change in changes.items():
            marked = marked | (change > self._thresholds[name].of(q[name], is_gap))
        size = changes["current_A"]
        self._grain_A = min(self._grain_A, float(size[size > 0].min(initial=np.inf)))
        self._most.take(piece)
        self._most_A = self._most.result() or 0.0
        self._charging.take(piece.new())
        # A reading after a gap or a step begins a new stretch. What is over within the piece and too short for a rest
        # need not be looked at.
        edges = np.concatenate([[piece.start], piece.inside(marked), [piece.stop]])
        lasts_us = time_us[edges[1:] - 1] - time_us[edges[:-1].clip(max=len(time_us) - 1)]
        worth = (np.diff(edges) >= LEAST_READINGS) & (lasts_us >= LEAST_S * MICROSECONDS)
        worth[[0, -1]] = True
        for k in np.flatnonzero(worth).tolist():
            if k:
                self._close()
            a, b = edges[k : k + 2].tolist()
            if b > a:
                self._grow(time_us[a:b], {name: (q[name][a:b], changes[name][a:b]) for name in self._names})

    def _grow(self, time_us: TimeArray, readings: dict[str, tuple[FloatArray, FloatArray]]) -> None:
        if not self._levels["current_A"].means.count:
            self._start_us = int(time_us[0])
        self._stop_us = int(time_us[-1])
        for name, (x, change) in readings.items():
            self._levels[name].grow(x, change)
        if len(readings) > 1:
            self._together.grow(np.array([x for x, _ in readings.values()]))

    def _close(self) -> None:
        """End the stretch that goes on, and keep it if it is the best so far."""
        self._best, self._newest = self._with_candidate()
        self._levels = {name: _Level() for name in self._names}
        self._together = _Together()

    def _with_candidate(self) -> tuple[dict[int, Rest], Rest | None]:
        """Return the best rests with the stretch that goes on among them, and which level stretch is the newest."""
        rest = self._candidate()
        if rest is None:
            return self._best, self._newest
        newest, best = self._newest, self._best
        if newest is not None:
            rest = replace(rest, before_A=newest.mean_A)
            best = {at: replace(known, after_A=rest.mean_A) if known is newest else known for at, known in best.items()}
        # A rest in the sun and one at night look alike by amps: the best at each level of the volts is held until those
        # of charging are known.
        at = self._volts_step()
        held = best.get(at)
        return (best if held and _distance_A(held) <= _distance_A(rest) else {**best, at: rest}), rest

    def _volts_step(self) -> int:
        """Return which step of the volts the stretch that goes on stands on."""
        if "voltage_V" not in self._levels:
            return 0
        return round(log(max(self._levels["voltage_V"].means.mean, 1e-3)) / VOLTS_APART)

    def _candidate(self) -> Rest | None:
        """Return the stretch that goes on, if it is long enough and level."""
        amps, length_s = self._levels["current_A"], (self._stop_us - self._start_us) / MICROSECONDS
        count = amps.means.count
        if count < LEAST_READINGS or length_s < LEAST_S:
            return None
        blocks = amps.means.blocks()
        digit_A = smallest_step(self._grain_A, self._most_A)
        # What noise alone lets means of so many readings differ by, and one digit.
        if np.ptp(blocks) > LEVEL_TIMES * amps.noise / sqrt(count // len(blocks)) + digit_A:
            return None
        # A current that goes through zero on its way is near it for a while, and so are its means: it moves all the
        # same, and the volts against it, which a meter's offset never makes them.
        if abs(amps.moves()) > digit_A or self._together.go_against():
            return None
        volts, mean_A, u_A = self._levels.get("voltage_V"), amps.means.mean, amps.means.uncertainty()[0]
        if volts is not None and abs(mean_A) > 2 * u_A and mean_A * volts.moves() < 0:
            return None  # they fall as if what is read were drawn, or rise as if it came back
        return Rest(self._start_us, self._stop_us, count, mean_A, u_A, volts is not None)

    def result(self) -> Rest | None:
        """Return the best rest so far; None where no stretch is level and near zero, by amps and by volts."""
        near_A, charging_V = NEAR * self._most_A, self._charging.result(self._most_A)
        # At the volts of charging, amps near nought may be an array that carries the loads.
        below = log(charging_V) / VOLTS_APART if charging_V else inf
        best, _ = self._with_candidate()
        rests = [
            rest
            for at, rest in best.items()
            if abs(rest.mean_A) <= near_A and at < below and not rest.on_the_way(near_A)
        ]
        if not rests:
            return None
        nearest = min(rests, key=_distance_A)
        digit_A = smallest_step(self._grain_A, self._most_A) / sqrt(12)
        nearest = replace(nearest, u_A=max(nearest.u_A, digit_A))
        # An offset between two and three uncertainties is neither surely there nor surely none: nothing is proposed.
        return None if 2 * nearest.u_A < abs(nearest.mean_A) < SURE * nearest.u_A else nearest


class ChargingVolts:
    """The mean of the volts while the bank is charged: there an array may carry the loads, and amps read nought."""

    def __init__(self) -> None:
        self._sums = np.zeros((2, SIZES))

    def take(self, new: Chunk) -> None:
        """Take the next readings in."""
        if "voltage_V" in new.quantities and len(new):
            volts = new.quantities["voltage_V"]
            self._sums += sums_by_size(-new.quantities["current_A"], np.ones_like(volts), volts)

    def result(self, most_A: float) -> float | None:
        """Return it, of readings beyond `CHARGED` of what the log reads at most; None where nothing came back."""
        # Sums by size make the share known only at the end of the log.
        first = int(size_of(np.array([CHARGED * most_A]))[0])
        count, total_V = self._sums[:, first:HALF].sum(axis=1)
        return float(total_V / count) if count else None


def _distance_A(rest: Rest) -> float:
    """Return how far from zero a rest may be: the smaller, the likelier nothing flowed. [A]"""
    return abs(rest.mean_A) + 2 * rest.u_A
