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
    load was on. The height is the sum of all steps so far over what is expected.
    """

    level: int
    share: float
    good: float
    height: float


class Found(NamedTuple):
    """A run: the levels at which it begins and ends (None: not seen), and at which its own draw fell, if it did."""

    start: int
    stop: int | None
    fall: int | None = None


def overlap(a: Found, b: Found) -> bool:
    """Tell whether two runs share a moment; one whose end was not seen is taken for its start alone."""
    (first, second) = (a, b) if a.start <= b.start else (b, a)
    return first.start == second.start or (first.stop is not None and second.start < first.stop)


#: A way to explain the steps so far: how well it fits; what was found, the latest first, each with what is before it;
#: where the run that is going on began, at which level its draw fell; and the height it stands on or, once its draw has
#: fallen, what is left of it. [1]
_Path = tuple[float, "_Found", int, int | None, float]
_Found = tuple[Found, "_Found"] | None
_NOTHING: _Path = (0.0, None, 0, None, 1.0)
_NEVER: _Path = (-1e18, None, 0, None, 1.0)


def _plus(path: _Path, good: float) -> _Path:
    return (path[0] + good, *path[1:]) if good else path


def _ended(path: _Path, stop: int | None, good: float) -> _Path:
    score, found, start, fall, _ = path
    return score + good, (Found(start, stop, fall), found), 0, None, 1.0


def _better(a: _Path, b: _Path) -> _Path:
    return a if a[0] >= b[0] else b


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
    off, on, fallen, unseen = _NOTHING, _NEVER, _NEVER, _NOTHING
    for k, share, good, height in steps:
        missed = -good if good > 0 else 0.0  # what it costs to say that the step is another load's
        if math.isnan(share):
            unseen = off = _closed(off, on, fallen, unseen)
            on = fallen = _NEVER
        elif share > 0:
            begun = (off[0] + good, off[1], k, None, height - share)
            off, fallen, unseen = _plus(off, missed), _plus(fallen, missed), _plus(unseen, missed)
            on = _better(_plus(on, missed), begun)
        else:
            less = _NEVER
            if FALL[0] <= -share <= FALL[1] and min(share + at_start, height - on[4]) > LEAST_REST:
                less = (on[0] - FALL_COST, on[1], on[2], k, at_start + share)
            off = _plus(off, missed)
            if on[0] + good > off[0]:
                off = _ended(on, k, good)
            if unseen[0] + good > off[0]:
                off = _plus(unseen, good)
            if fallen is not _NEVER:
                rest = _fit_of_rest(-share, fallen[4])
                off = _better(off, _ended(fallen, k, rest)) if fallen[0] + rest > off[0] else off
                fallen = _plus(fallen, -max(rest, 0.0))
            on, unseen, fallen = _plus(on, missed), _plus(unseen, missed), _better(fallen, less)
    return _listed(_closed(off, on, fallen, unseen)[1])


def _closed(off: _Path, on: _Path, fallen: _Path, unseen: _Path) -> _Path:
    """Return the best path where nothing is known of what comes next."""
    return max(off, unseen, _ended(on, None, -OPEN_COST), _ended(fallen, None, -OPEN_COST), key=lambda path: path[0])


def _fit_of_rest(share: float, left: float) -> float:
    away = (share / left - 1.0) / TOLERANCE
    return max(1.0 - away * away, WORST)


def _listed(found: _Found) -> list[Found]:
    runs = []
    while found is not None:
        run, found = found
        runs.append(run)
    return runs[::-1]


def steps_of(changes: FloatArray, share: FloatArray, good: FloatArray) -> list[Step]:
    """Return the steps that can matter: those that fit at all, possible falls, and gaps."""
    down = -share
    matter = np.isnan(changes) | (good > WORST) | ((down >= FALL[0]) & (down <= FALL[1]))
    height = np.cumsum(np.nan_to_num(share))
    columns = np.flatnonzero(matter).tolist(), *(x[matter].tolist() for x in (share, good, height))
    return [Step(*row) for row in zip(*columns, strict=True)]
