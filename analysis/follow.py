"""Follow one load of known draw through the steps of a log: which of them are its starts and stops.

A load that is on cannot start, and one that is off cannot stop. Among all ways to explain the steps under this law, the
one is taken in which the sizes of starts and stops fit best and the fewest steps of the right size are left over (a
hidden Markov model with two states, found by Viterbi's algorithm; G. W. Hart, Nonintrusive appliance load monitoring,
Proc. IEEE 80 (1992) 1870-1891 pairs steps by size alone; both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from .chunk import FloatArray

#: A step that differs from what is expected by more than this share speaks against the load: common practice, no
#: source.
TOLERANCE = 0.25
#: No misfit counts for more than this: two loads may step at once.
WORST = -3.0
#: Draws may fall within a run by these shares (a pump that loses its water; a compressor after its start).
FALL = (0.2, 0.75)
#: And no less than this is left. [1]
LEAST_REST = 0.1
#: What such a fall costs: it is rarer than none.
FALL_COST = 0.8
#: What it costs to leave a run without its end, at a gap or the log's end.
OPEN_COST = 0.5


class Step(NamedTuple):
    """A step that may be a load's: the level it led to, its share of what is expected, and how well it fits.

    The share is positive upwards; NaN where nothing was measured before the level, so that it is not known whether the
    load was on.
    """

    level: int
    share: float
    good: float


class Found(NamedTuple):
    """A run: the levels at which it begins and ends (None: not seen), and at which its own draw fell, if it did."""

    start: int
    stop: int | None
    fall: int | None = None


class _Chain(NamedTuple):
    latest: Found
    before: _Chain | None


class _Path(NamedTuple):
    """A way to explain the steps so far: how well it fits, what was found (the latest first), what is going on."""

    score: float
    found: _Chain | None = None
    start: int = 0
    fall: int | None = None
    left: float = 1.0

    def skipping(self, good: float) -> _Path:
        """Return the path if a step is another load's: the better it would fit, the less likely that is."""
        return self if good <= 0 else _Path(self.score - good, *self[1:])

    def ending(self, stop: int | None, good: float = 0.0) -> _Path:
        """Return the path with its run ended."""
        return _Path(self.score + good, _Chain(Found(self.start, stop, self.fall), self.found))


_NEVER = _Path(-1e18)


def _best(*paths: _Path) -> _Path:
    return max(paths, key=_score)


def _score(path: _Path) -> float:
    return path.score


def fit(share: FloatArray, tolerance: float = TOLERANCE) -> FloatArray:
    """Return how well steps fit, by their share of what is expected: 1 is perfect, below 0 speaks against the load."""
    return np.maximum(1.0 - np.square((np.abs(share) - 1.0) / tolerance), WORST)


def follow(steps: Iterable[Step], at_start: float = 1.0) -> list[Found]:
    """Return the runs of a load, in order, from the steps that may be its own.

    Parameters
    ----------
    steps : iterable of Step
        What may be its own.
    at_start : float
        Its draw after its start over that before its stop. [1]
    """
    off, on, fallen, unseen = _Path(0.0), _NEVER, _NEVER, _Path(0.0)
    for k, share, good in steps:
        if math.isnan(share):
            unseen = off = _best(off, unseen, on.ending(None, -OPEN_COST), fallen.ending(None, -OPEN_COST))
            on = fallen = _NEVER
        elif share > 0:
            begun = _Path(off.score + good, off.found, k)
            off, fallen, unseen = off.skipping(good), fallen.skipping(good), unseen.skipping(good)
            on = _best(on.skipping(good), begun)
        else:
            rest = _fit_of_rest(-share, fallen.left)
            ended = on.ending(k, good), fallen.ending(k, rest), _Path(unseen.score + good, unseen.found)
            falls = FALL[0] <= -share <= FALL[1] and share + at_start > LEAST_REST
            less = _Path(on.score - FALL_COST, on.found, on.start, k, at_start + share) if falls else _NEVER
            off, on, unseen = _best(off.skipping(good), *ended), on.skipping(good), unseen.skipping(good)
            fallen = _best(fallen.skipping(rest), less)
    return _listed(_best(off, unseen, on.ending(None, -OPEN_COST), fallen.ending(None, -OPEN_COST)).found)[::-1]


def _fit_of_rest(share: float, left: float) -> float:
    away = (share / left - 1.0) / TOLERANCE
    return max(1.0 - away * away, WORST)


def _listed(chain: _Chain | None) -> list[Found]:
    found = []
    while chain is not None:
        found.append(chain.latest)
        chain = chain.before
    return found


def steps_of(changes: FloatArray, share: FloatArray, good: FloatArray) -> list[Step]:
    """Return the steps that can matter: those that fit at all, possible falls, and gaps."""
    down = -share
    matter = np.isnan(changes) | (good > WORST) | ((down >= FALL[0]) & (down <= FALL[1]))
    columns = np.flatnonzero(matter).tolist(), share[matter].tolist(), good[matter].tolist()
    return [Step(*row) for row in zip(*columns, strict=True)]
