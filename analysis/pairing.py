"""Pair steps up with steps down of like size: the runs of all loads that a signal shows."""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from .levels import Level

#: A step down ends a run whose draw it equals to within this share.
LIKE_SIZE = 0.35
#: A run is over when the level is back within this share of its size above where it began.
BACK_AT_BASE = 0.3
#: A load's draw may fall by this share of its start's within a run.
OWN_FALL = 0.5
#: As many runs are held open at once; beyond that the smallest is given up.
MOST_GOING = 16
#: As many steps of other loads are remembered within a run; one with more of them is given up.
MOST_OTHERS = 1000


class Step(NamedTuple):
    """A step from one level to the next: when, by how much of each quantity, and whether a run ended with it."""

    at_us: float
    changes: dict[str, float]
    ends_run: bool


@dataclass(eq=False)
class Run:
    """A load's run among the levels, which may still go on.

    Attributes
    ----------
    before : Level
        What it stands on.
    first : Level
        Its first level.
    step : Step
        The step up.
    longest : Level
        Its longest level so far, and ``before_longest`` the steps of other loads up to it.
    last_us : int
        Its last reading so far. [us]
    after : Level or None
        The level that follows its end; None where the end was not seen.
    others : list of Step
        Steps of other loads within it.
    lowest_V, highest_W : float
        Extremes; NaN where some readings, or all, are unknown.
    ended_with : list of Run
        Runs of other loads that ended with the same step.
    """

    before: Level
    first: Level
    step: Step
    size: float
    longest: Level
    last_us: int
    before_longest: int = 0
    after: Level | None = None
    others: list[Step] = field(default_factory=list)
    lowest_V: float = math.inf
    highest_W: float = -math.inf
    ended_with: list[Run] = field(default_factory=list)

    @classmethod
    def begun(cls, before: Level, first: Level, step: Step, size: float) -> Run:
        """Return a run that begins with a level."""
        run = cls(before, first, step, size, first, first.last_us)
        run._reach(first)
        return run

    def going_on(self, level: Level, other: Step | None) -> None:
        """Count a level to the run; `other` is the step of another load that led there."""
        if other is not None:
            self.others.append(other)
        self.last_us = level.last_us
        if level.length_s > self.longest.length_s:
            self.longest, self.before_longest = level, len(self.others)
        self._reach(level)

    def _reach(self, level: Level) -> None:
        self.lowest_V = math.nan if math.isnan(low_V := level.low("voltage_V")) else min(self.lowest_V, low_V)
        self.highest_W = math.nan if math.isnan(high_W := level.high("power_W")) else max(self.highest_W, high_W)

    def others_size(self, name: str) -> float:
        """Return by how much other loads' steps have changed a quantity. [unit]."""
        return sum(step.changes[name] for step in self.others)

    def settled(self, name: str) -> float:
        """Return its settled draw: its longest level's usual reading, less what others draw meanwhile. [unit]."""
        others = sum(step.changes[name] for step in self.others[: self.before_longest])
        return self.longest.usual(name) - self.before.last(name) - others

    def drift(self, name: str) -> float:
        """Return how far the baseline has moved by the end of a run that has one, other loads' steps apart. [unit]."""
        assert self.after is not None
        moved = self.after.first(name) - self.before.last(name)
        return moved - self.others_size(name) + sum(run.step.changes[name] for run in self.ended_with)

    def end(self, after: Level, ended_with: Sequence[Run], signal: str) -> None:
        """End the run before a level, and tell other loads' steps within it from the run's own.

        A step down that ended no other run may be the run's own falling draw, or a load's that was on before. Where
        the run ends, the level is back at the base plus what others switched meanwhile; a step that makes this sum
        worse was the run's own.
        """
        self.after, self.ended_with = after, list(ended_with)
        left = self.drift(signal)
        own: set[int] = set()
        for k in sorted(range(len(self.others)), key=lambda k: self.others[k].changes[signal]):
            change = self.others[k].changes[signal]
            if not self.others[k].ends_run and -OWN_FALL * self.size < change < 0 and abs(left + change) < abs(left):
                left += change
                own.add(k)
        self.before_longest -= sum(k < self.before_longest for k in own)
        self.others = [step for k, step in enumerate(self.others) if k not in own]


class Pairing:
    """Finds runs among levels, one level after the other."""

    def __init__(self, signal: str) -> None:
        self._signal = signal
        self._before: Level | None = None
        self.going: list[Run] = []

    def twin(self) -> Pairing:
        """Return a pairing that can go on without changing this one."""
        twin = copy.copy(self)
        twin.going = [_twin(run) for run in self.going]
        return twin

    def add(self, level: Level) -> list[Run]:
        """Take the next level in and return the runs that are over, those with no end seen among them."""
        before, self._before = self._before, level
        if level.after_gap or before is None:
            over, self.going = self.going, []
            return over
        changes = {name: level.first(name) - before.last(name) for name in level.names}
        change = changes[self._signal]
        if abs(change) < level.changed.least / 2:
            for run in self.going:
                run.going_on(level, None)
            return []
        over = self._ended(before, level, -changes[self._signal]) if change < 0 else []
        self.going = [run for run in self.going if run not in over]
        for run in over:
            run.end(level, [other for other in over if other is not run], self._signal)
        step = Step(level.start_us, changes, bool(over))
        for run in self.going:
            run.going_on(level, step)
        if change > 0:
            self.going.append(Run.begun(before, level, step, change))
        return over + self._given_up()

    def _given_up(self) -> list[Run]:
        """Return runs that are followed no longer, as those whose end was not seen."""
        over = [run for run in self.going if len(run.others) > MOST_OTHERS]
        if len(self.going) > MOST_GOING:
            over.append(min(self.going, key=lambda run: run.size))
        self.going = [run for run in self.going if run not in over]
        return over

    def _ended(self, before: Level, level: Level, size: float) -> list[Run]:
        """Return the runs that a step down ends.

        That is the one whose draw it equals, or all those together above whose beginning the level has fallen back,
        whichever fits better. Where nothing fits, these are over all the same if the largest run is among them.
        """
        if not self.going:
            return []
        now = level.first(self._signal)
        draws = [run.size for run in self.going]
        if len(draws) == 1:  # what it draws right before, since it is the only one
            draws = [before.last(self._signal) - self._base(run) - run.others_size(self._signal) for run in self.going]
        misfits = [_misfit(size, draw) for draw in draws]
        best = int(np.argmin(misfits))
        back = [run for run in self.going if now <= self._base(run) + BACK_AT_BASE * run.size]
        together = _misfit(size, sum(run.size for run in back))
        if misfits[best] <= min(together, LIKE_SIZE):
            return [self.going[best]]
        is_over = together <= LIKE_SIZE or max(self.going, key=lambda run: run.size) in back
        return back if is_over else []

    def _base(self, run: Run) -> float:
        return run.before.last(self._signal)


def _twin(run: Run) -> Run:
    twin = copy.copy(run)
    twin.others = list(run.others)
    return twin


def _misfit(size: float, draw: float) -> float:
    """Return by what share a step down differs from a draw. [1]."""
    return abs(size - draw) / max(draw, 1e-12)
