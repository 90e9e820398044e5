"""Follow one load of known draw through the steps of a log: which of them are its starts and stops.

A load that is on cannot start, and one that is off cannot stop. Among all ways to explain the steps under this law, the
one is taken in which the sizes of starts and stops fit best and the fewest steps of the right size are left over (a
hidden Markov model with two states, found by Viterbi's algorithm; G. W. Hart, Nonintrusive appliance load monitoring,
Proc. IEEE 80 (1992) 1870-1891 pairs steps by size alone; both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from shuntbook.analysis.readings.chunk import FloatArray

#: A step that differs from what is expected by more than this share speaks against the load: common practice, no
#: source.
TOLERANCE = 0.25
#: No misfit counts for more than this: two loads may step at once.
WORST = -3.0
#: Draws may fall within a run by these shares (a pump that loses its water; a compressor after its start).
FALL = (0.2, 0.75)
#: And no less than this is left. [1]
LEAST_REST = 0.1
#: As long as a load runs, the signal stays above its rest by this share of the load's draw, or of what is left of it:
#: common practice, no source. [1]
STAYS = 0.5
#: What such a fall costs: it is rarer than none.
FALL_COST = 0.8
#: What it costs to leave a run without its end, at a gap or the log's end.
OPEN_COST = 0.5


class StepMatch(NamedTuple):
    """A step that may be a load's: the level it led to, its share of what is expected, and how well it fits.

    The share is positive upwards; NaN where nothing was measured before the level, so that it is not known whether the
    load was on. ``height`` and ``after`` are the signal right before and after the step, ``rest`` the least that was
    drawn up to it; all over what is expected. ``slides`` says whether what slid to its rest without a step rests, too.
    """

    level: int
    share: float
    good: float
    height: float
    after: float
    rest: float
    slides: bool


class RunLevels(NamedTuple):
    """A run: the levels at which it begins and ends (None: not seen), and at which its own draw fell, if it did."""

    start: int
    stop: int | None
    fall: int | None = None


def overlap(a: RunLevels, b: RunLevels) -> bool:
    """Tell whether two runs share a moment; one whose end was not seen is taken for its start alone."""
    (first, second) = (a, b) if a.start <= b.start else (b, a)
    return first.start == second.start or (first.stop is not None and second.start < first.stop)


class _Path(NamedTuple):
    """A way to explain the steps so far.

    ``score`` says how well it fits; ``found`` what was found, the latest first, each with what is before it. ``start``
    and ``fall`` are where the run that is going on began, and at which level its draw fell; ``base`` is the height it
    stands on, ``rest`` the least that was drawn up to its start, ``left`` what is left of its draw. [1]
    """

    score: float
    found: _Found = None
    start: int = 0
    fall: int | None = None
    base: float = math.nan
    rest: float = math.inf
    left: float = 1.0


_Found = tuple[RunLevels, "_Found"] | None
_NOTHING = _Path(0.0)
_NEVER = _Path(-1e18)


def _plus(path: _Path, good: float) -> _Path:
    return _Path(path[0] + good, *path[1:]) if good else path


def _ended(path: _Path, stop: int | None, good: float) -> _Path:
    return _Path(path.score + good, (RunLevels(path.start, stop, path.fall), path.found))


def fit(share: FloatArray, tolerance: float = TOLERANCE) -> FloatArray:
    """Return how well steps fit, by their share of what is expected: 1 is perfect, below 0 speaks against the load."""
    return np.maximum(1.0 - np.square((np.abs(share) - 1.0) / tolerance), WORST)


def follow(steps: Iterable[StepMatch], at_start: float = 1.0) -> list[RunLevels]:
    """Return the runs of a load, in order, from the steps that may be its own.

    Parameters
    ----------
    steps : iterable of StepMatch
        What may be its own.
    at_start : float
        Its draw after its start over that before its stop. [1]
    """
    off, on, fallen, unseen = _NOTHING, _NEVER, _NEVER, _NOTHING
    for step in steps:
        k, share, good = step.level, step.share, step.good
        missed = -good if good > 0 else 0.0  # what it costs to say that the step is another load's
        if step.slides and step.height - step.rest < STAYS:
            off, on, fallen = _at_rest(step.height, step, off, on, fallen)
        if math.isnan(share):
            unseen = off = _closed(off, on, fallen, unseen)
            on = fallen = _NEVER
        elif share > 0:
            begun = off[0] + good
            on = _plus(on, missed) if on[0] + missed >= begun else _Path(begun, off[1], k, None, step.height, step.rest)
            off, fallen, unseen = _plus(off, missed), _plus(fallen, missed), _plus(unseen, missed)
        else:
            less = _fallen(on, step, at_start)
            off = _plus(off, missed)
            if on[0] + good > off[0]:
                off = _ended(on, k, good)
            if unseen[0] + good > off[0]:
                off = _plus(unseen, good)
            if fallen is not _NEVER:
                rest = _fit_of_rest(-share, fallen.left)
                off = _ended(fallen, k, rest) if fallen[0] + rest > off[0] else off
                fallen = _plus(fallen, -max(rest, 0.0))
            on, unseen = _plus(on, missed), _plus(unseen, missed)
            fallen = fallen if fallen[0] >= less[0] else less
        if step.after - step.rest < STAYS:
            off, on, fallen = _at_rest(step.after, step, off, on, fallen)
    return _listed(_closed(off, on, fallen, unseen)[1])


def _at_rest(height: float, step: StepMatch, off: _Path, on: _Path, fallen: _Path) -> tuple[_Path, _Path, _Path]:
    """Return the paths where hardly more is drawn than at rest: whatever draws more has ended, at this step's level."""
    stay = [on, fallen]
    for j, path in enumerate(stay):
        least = STAYS * path.left
        if height - min(path.rest, step.rest) < least and (step.slides or -step.share >= least):
            if path.start < step.level and path[0] - OPEN_COST > off[0]:
                off = _ended(path, step.level, -OPEN_COST)
            stay[j] = _NEVER
    return off, stay[0], stay[1]


def _fallen(on: _Path, step: StepMatch, at_start: float) -> _Path:
    """Return what is going on if a step down is a running load's own draw that falls."""
    left = at_start + step.share
    if FALL[0] <= -step.share <= FALL[1] and min(left, step.height + step.share - on.base) > LEAST_REST:
        return _Path(on.score - FALL_COST, on.found, on.start, step.level, on.base, on.rest, left)
    return _NEVER


def _closed(off: _Path, on: _Path, fallen: _Path, unseen: _Path) -> _Path:
    """Return the best path where nothing is known of what comes next."""
    return max(off, unseen, _ended(on, None, -OPEN_COST), _ended(fallen, None, -OPEN_COST), key=lambda path: path[0])


def _fit_of_rest(share: float, left: float) -> float:
    away = (share / left - 1.0) / TOLERANCE
    return max(1.0 - away * away, WORST)


def _listed(found: _Found) -> list[RunLevels]:
    runs = []
    while found is not None:
        run, found = found
        runs.append(run)
    return runs[::-1]


@dataclass(frozen=True)
class Heights:
    """Where the signal is at each step, in its unit, shapes (n,).

    ``before`` is the level right before it, ``after`` the lower of where it begins after it and where it stays as a
    rule (a moment, or a single reading, is neither), ``rest`` the level at which as little as ever is drawn there.
    ``gives`` says whether anything flowed back: where an array gives, the signal slides to its rest while a load runs.
    """

    before: FloatArray
    after: FloatArray
    rest: FloatArray
    gives: bool = False

    @classmethod
    def of(cls, changes: FloatArray) -> Heights:
        """Return the heights of a signal that is level between its steps."""
        after = np.cumsum(np.nan_to_num(changes))
        return cls(after - np.nan_to_num(changes), after, np.minimum.accumulate(after))


def steps_of(share: FloatArray, good: FloatArray, heights: Heights, draw: float = 1.0) -> list[StepMatch]:
    """Return the steps that can matter: those that fit at all, possible falls, gaps, and those at which all may rest.

    Of levels at rest in a row only those matter that are lower than the one before.
    """
    before, after, rest = (x / draw for x in (heights.before, heights.after, heights.rest))
    above_before, above, down = before - rest, after - rest, -share
    matter = np.isnan(share) | (good > WORST) | ((down >= FALL[0]) & (down <= FALL[1]))
    previous = np.append(np.inf, above[:-1])
    matter |= (above < STAYS) & (above < previous)
    matter |= (above_before < STAYS) & (above_before < previous)
    rows = (x[matter].tolist() for x in (share, good, before, after, rest))
    slides = [not heights.gives] * int(matter.sum())
    return [StepMatch(*row) for row in zip(np.flatnonzero(matter).tolist(), *rows, slides, strict=True)]
