"""Pair steps up with steps down of like size: the runs of all loads that a signal shows."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .chunk import MICROSECONDS
from .levels import Level, levels_of
from .steps import Plateaus

#: A step down ends a run whose draw it equals to within this share.
LIKE_SIZE = 0.35
#: A run is over when the level is back within this share of its size above where it began.
BACK_AT_BASE = 0.3
#: A load's draw may fall by this share of its start's within a run.
OWN_FALL = 0.5
#: As many runs are held open at once; beyond that the smallest is given up.
MOST_GOING = 16
#: What draws less is no load worth a run: common practice, no source.
LEAST_LOAD = {"current_A": 0.15, "power_W": 2.5}


@dataclass(eq=False)
class Run:
    """A load's run among the levels.

    Attributes
    ----------
    inside : int
        Index of its first level; the one before is what it stands on.
    size : float
        The step up, in the unit of the signal.
    last : int
        Index of its last level.
    after : int or None
        Index of the level that follows its end; None where the end was not seen.
    others : list of int
        Indices of levels within it at which another load stepped.
    others_size : float
        The sum of these steps, in the unit of the signal.
    ended_with : list of int
        Indices of the first levels of other loads' runs that ended at the same level.
    """

    inside: int
    size: float
    last: int
    after: int | None = None
    others: list[int] = field(default_factory=list)
    others_size: float = 0.0
    ended_with: list[int] = field(default_factory=list)


class Levels:
    """The levels of a signal, and the runs of loads among them."""

    def __init__(self, plateaus: Plateaus) -> None:
        self.signal = plateaus.signal
        self.levels = levels_of(plateaus.plateaus, plateaus.signal)
        self.runs: list[Run] = []
        self._ends: set[int] = set()  # levels at which a run ended
        self._pair()

    def before(self, run: Run) -> Level:
        """Return the level that a run stands on."""
        return self.levels[run.inside - 1]

    def change(self, k: int, name: str) -> float:
        """Return the step at the beginning of a level. [unit]."""
        return self.levels[k].first(name) - self.levels[k - 1].last(name)

    def start_us(self, run: Run) -> float:
        """Return when a run began. [us]."""
        return self.levels[run.inside].start_us

    def stop_us(self, run: Run) -> float | None:
        """Return when a run ended; None where that was not seen. [us]."""
        return None if run.after is None else self.levels[run.after].start_us

    def length_s(self, run: Run) -> float:
        """Return how long a run was seen running. [s]."""
        stop = self.stop_us(run)
        return ((self.levels[run.last].last_us if stop is None else stop) - self.start_us(run)) / MICROSECONDS

    def gaps_s(self, first: int, last: int) -> list[float]:
        """Return how long nothing was measured right before each of the levels from `first` to `last`. [s]."""
        pairs = [(self.levels[k - 1], self.levels[k]) for k in range(first, last + 1) if self.levels[k].after_gap]
        return [(level.first_us - before.last_us) / MICROSECONDS for before, level in pairs]

    def settled(self, run: Run, name: str) -> float:
        """Return a run's settled draw: its longest level's usual reading, less what others draw meanwhile. [unit]."""
        longest = max(range(run.inside, run.last + 1), key=lambda k: self.levels[k].length_s)
        others = sum(self.change(k, name) for k in run.others if k <= longest)
        return self.levels[longest].usual(name) - self.before(run).last(name) - others

    def drift(self, run: Run, name: str) -> float:
        """Return how far the baseline has moved by the end of a run that has one, other loads' steps apart. [unit]."""
        assert run.after is not None
        moved = self.levels[run.after].first(name) - self.before(run).last(name)
        switched = sum(self.change(j, name) for j in run.others)
        return moved - switched + sum(self.change(j, name) for j in run.ended_with)

    def _pair(self) -> None:
        going: list[Run] = []
        for k in range(1, len(self.levels)):
            if self.levels[k].after_gap:
                going = []
                continue
            change = self.change(k, self.signal)
            if abs(change) < self._least(k):
                for run in going:
                    run.last = k
                continue
            self._end(going, k, change)
            for run in going:
                run.last = k
                run.others.append(k)
                run.others_size += change
            if change > 0:
                going.append(Run(k, change, k))
                self.runs.append(going[-1])
            if len(going) > MOST_GOING:
                going.remove(min(going, key=lambda run: run.size))

    def _least(self, k: int) -> float:
        """Return the smallest change at a level that is a load's. [unit]."""
        return max(LEAST_LOAD[self.signal], self.levels[k].changed.least / 2)

    def _end(self, going: list[Run], k: int, change: float) -> None:
        """End the runs that a step down ends."""
        ended = self._ended(going, k, -change) if change < 0 else []
        for run in ended:
            run.after = k
            run.ended_with = [other.inside for other in ended if other is not run]
            self._ends.add(k)
            run.others = self._of_others(run)
            going.remove(run)

    def _of_others(self, run: Run) -> list[int]:
        """Return at which levels within a run that has ended another load stepped, rather than the run itself.

        A step down that ended no other run may be the run's own falling draw, or a load's that was on before. Where
        the run ends, the level is back at the base plus what others switched meanwhile; a step that makes this sum
        worse was the run's own.
        """
        left = self.drift(run, self.signal)
        theirs = set(run.others)
        changes = {j: self.change(j, self.signal) for j in run.others if j not in self._ends}
        for j in sorted(changes, key=changes.__getitem__):
            if -OWN_FALL * run.size < changes[j] < 0 and abs(left + changes[j]) < abs(left):
                left += changes[j]
                theirs.remove(j)
        return sorted(theirs)

    def _ended(self, going: list[Run], k: int, size: float) -> list[Run]:
        """Return the runs that a step down ends.

        That is the one whose draw it equals, or all those together above whose beginning the level has fallen back,
        whichever fits better. Where nothing fits, these are over all the same if the largest run is among them.
        """
        if not going:
            return []
        level = self.levels[k].first(self.signal)
        draws = [self._draw(run, k) if len(going) == 1 else run.size for run in going]
        misfits = [_misfit(size, draw) for draw in draws]
        best = int(np.argmin(misfits))
        back = [run for run in going if level <= self._base(run) + BACK_AT_BASE * run.size]
        together = _misfit(size, sum(run.size for run in back))
        if misfits[best] <= min(together, LIKE_SIZE):
            return [going[best]]
        is_over = together <= LIKE_SIZE or max(going, key=lambda run: run.size) in back
        return back if is_over else []

    def _base(self, run: Run) -> float:
        return self.before(run).last(self.signal)

    def _draw(self, run: Run, k: int) -> float:
        """Return what a run draws right before level `k`, when it is the only one going."""
        return self.levels[k - 1].last(self.signal) - self._base(run) - run.others_size


def _misfit(size: float, draw: float) -> float:
    """Return by what share a step down differs from a draw. [1]."""
    return abs(size - draw) / max(draw, 1e-12)
