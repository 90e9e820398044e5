"""Follow one load of known draw through the steps of a log: which of them are its starts and stops.

A load that is on cannot start, and one that is off cannot stop. Among all ways to explain the steps under this law, the
one is taken in which the sizes of starts and stops fit best and the fewest steps of the right size are left over (a
hidden Markov model with two states, found by Viterbi's algorithm; G. W. Hart, Nonintrusive appliance load monitoring,
Proc. IEEE 80 (1992) 1870-1891 pairs steps by size alone; both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import repeat
from typing import NamedTuple

import numpy as np

from ..readings.chunk import BoolArray, FloatArray

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

    The share is positive upwards; NaN where nothing was measured before the level. ``height`` and ``after`` are the
    signal right before and after the step, ``rest`` the least that was drawn up to it; all over what is expected.
    ``slides`` says whether what slid to its rest without a step rests, too.
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


_Runs = tuple[RunLevels, "_Runs"] | None


class _Going(NamedTuple):
    """A run that is going on: where it began, and the level at which its draw fell, if it did.

    ``base`` is the height it stands on, ``rest`` the least that was drawn up to its start, ``left`` what is left of its
    draw. [1]
    """

    start: int = 0
    fall: int | None = None
    base: float = math.nan
    rest: float = math.inf
    left: float = 1.0


class _Path(NamedTuple):
    """A way to explain the steps so far, and how well it fits: the runs that have ended, and what is going on.

    ``runs`` has the latest first, each with what is before it: so that paths share their past.
    """

    score: float
    runs: _Runs = None
    going: _Going = _Going()

    def plus(self, good: float) -> _Path:
        return _Path(self.score + good, self.runs, self.going) if good and self is not _NEVER else self

    def ended(self, stop: int | None, good: float) -> _Path:
        return _Path(self.score + good, (RunLevels(self.going.start, stop, self.going.fall), self.runs))


_NOTHING = _Path(0.0)
_NEVER = _Path(-1e18)


class _Paths(NamedTuple):
    """The best path to each state: off, on, on with what is left after a fall, and not known since a gap."""

    off: _Path = _NOTHING
    on: _Path = _NEVER
    fallen: _Path = _NEVER
    unseen: _Path = _NOTHING

    def best(self) -> _Path:
        """Return the best path where nothing is known of what comes next."""
        on, fallen = self.on.ended(None, -OPEN_COST), self.fallen.ended(None, -OPEN_COST)
        return max(self.off, self.unseen, on, fallen, key=lambda path: path.score)


def fit(share: FloatArray, tolerance: FloatArray | float = TOLERANCE) -> FloatArray:
    """Return how well steps fit, by their share of what is expected: 1 is perfect, below 0 speaks against the load."""
    return np.maximum(1.0 - np.square((np.abs(share) - 1.0) / tolerance), WORST)


def follow(steps: Iterable[StepMatch], at_start: float = 1.0) -> list[RunLevels]:
    """Return the runs of a load, in order, from the steps that may be its own.

    `at_start` is its draw after its start over that before its stop. [1]
    """
    paths = _Paths()
    for step in steps:
        # Where nothing flows back, the signal may have slid to its rest before this step: a run ended unseen.
        if step.slides and step.height - step.rest < STAYS:
            paths = _at_rest(paths, step.height, step)
        if math.isnan(step.share):
            paths = _after_gap(paths)
        elif step.share > 0:
            paths = _after_rise(paths, step)
        else:
            paths = _after_drop(paths, step, at_start)
        # The step may have led to rest itself, as two loads that stop at once do.
        if step.after - step.rest < STAYS:
            paths = _at_rest(paths, step.after, step)
    return _listed(paths.best().runs)


def _after_gap(paths: _Paths) -> _Paths:
    # It may have started and stopped unseen: whatever was going on is left open, and a stop may come without a start.
    best = paths.best()
    return _Paths(best, unseen=best)


def _after_rise(paths: _Paths, step: StepMatch) -> _Paths:
    missed = -max(step.good, 0.0)  # what it costs to say that a step that fits is another load's
    begun = paths.off.score + step.good
    # A load that is on cannot start: either it started here and was off, or this is another load's and it stays on.
    if paths.on.score + missed >= begun:
        on = paths.on.plus(missed)
    else:
        on = _Path(begun, paths.off.runs, _Going(step.level, None, step.height, step.rest))
    return _Paths(paths.off.plus(missed), on, paths.fallen.plus(missed), paths.unseen.plus(missed))


def _after_drop(paths: _Paths, step: StepMatch, at_start: float) -> _Paths:
    missed = -max(step.good, 0.0)
    # It is off: it was so before and the step is another load's, or its run ends here, or one whose start a gap hid. On
    # a tie it was off before: a run is not made of nothing.
    off = paths.off.plus(missed)
    if paths.on.score + step.good > off.score:
        off = paths.on.ended(step.level, step.good)
    if paths.unseen.score + step.good > off.score:
        off = paths.unseen.plus(step.good)
    fallen = paths.fallen
    if fallen is not _NEVER:
        # What has fallen stops by what is left of it, and is left over where another load's step would fit that.
        rest = _fit_of_rest(-step.share, fallen.going.left)
        if fallen.score + rest > off.score:
            off = fallen.ended(step.level, rest)
        fallen = fallen.plus(-max(rest, 0.0))
    # A run whose draw has fallen may be the one that fell before, or the one that is on and falls here.
    less = _fallen(paths.on, step, at_start)
    fallen = fallen if fallen.score >= less.score else less
    return _Paths(off, paths.on.plus(missed), fallen, paths.unseen.plus(missed))


def _at_rest(paths: _Paths, height: float, step: StepMatch) -> _Paths:
    """Return the paths where hardly more is drawn than at rest: whatever draws more has ended, at this step's level."""
    if paths.on is _NEVER and paths.fallen is _NEVER:
        return paths
    off, stay = paths.off, [paths.on, paths.fallen]
    for k, path in enumerate(stay):
        if path is _NEVER:
            continue
        going = path.going
        least = STAYS * going.left
        # Where an array gives, the signal also slides to rest while a load runs: only a step as large as that tells.
        if height - min(going.rest, step.rest) < least and (step.slides or -step.share >= least):
            # A run that begins and ends with one step is none; as its end was not seen, it costs what an open one does.
            if going.start < step.level and path.score - OPEN_COST > off.score:
                off = path.ended(step.level, -OPEN_COST)
            stay[k] = _NEVER
    return _Paths(off, stay[0], stay[1], paths.unseen)


def _fallen(on: _Path, step: StepMatch, at_start: float) -> _Path:
    """Return what is going on if a step down is a running load's own draw that falls."""
    going, left = on.going, at_start + step.share
    if on is _NEVER or not FALL[0] <= -step.share <= FALL[1]:
        return _NEVER
    # Something must be left above the base as well: else the load has stopped, and others have stepped at once.
    if min(left, step.height + step.share - going.base) <= LEAST_REST:
        return _NEVER
    return _Path(on.score - FALL_COST, on.runs, going._replace(fall=step.level, left=left))


def _fit_of_rest(share: float, left: float) -> float:
    away = (share / left - 1.0) / TOLERANCE
    return max(1.0 - away * away, WORST)


def _listed(runs: _Runs) -> list[RunLevels]:
    listed = []
    while runs is not None:
        run, runs = runs
        listed.append(run)
    return listed[::-1]


@dataclass(frozen=True)
class Heights:
    """Where the signal is at each step, in its unit, shapes (n,).

    ``before`` is the level right before it, ``after`` the lower of where it begins after it and where it stays as a
    rule (a moment, or a single reading, is neither), ``rest`` the level at which as little as ever is drawn there.
    ``charged`` says whether anything flowed back around it: clouds step as well then, and where an array gives at any
    time the signal slides to its rest while a load runs.
    """

    before: FloatArray
    after: FloatArray
    rest: FloatArray
    charged: BoolArray

    @classmethod
    def of(cls, changes: FloatArray) -> Heights:
        """Return the heights of a signal that is level between its steps."""
        after = np.cumsum(np.nan_to_num(changes))
        return cls(
            after - np.nan_to_num(changes), after, np.minimum.accumulate(after), np.zeros(len(after), dtype=bool)
        )

    @property
    def gives(self) -> bool:
        """Whether anything flowed back at any time."""
        return bool(self.charged.any())


def steps_of(share: FloatArray, good: FloatArray, heights: Heights, draw: float = 1.0) -> Iterator[StepMatch]:
    """Yield the steps that can matter: those that fit, possible falls, gaps, and those at which all may rest."""
    before, after, rest = (x / draw for x in (heights.before, heights.after, heights.rest))
    above_before, above, down = before - rest, after - rest, -share
    matter = np.isnan(share) | (good > WORST) | ((down >= FALL[0]) & (down <= FALL[1]))
    previous = np.append(np.inf, above[:-1])
    # Of levels at rest in a row only those that are lower than the one before: the others end nothing that is left.
    matter |= (above < STAYS) & (above < previous)
    matter |= (above_before < STAYS) & (above_before < previous)
    rows = (x[matter].tolist() for x in (share, good, before, after, rest))
    slides = repeat(not heights.gives, int(matter.sum()))
    return map(StepMatch._make, zip(np.flatnonzero(matter).tolist(), *rows, slides, strict=True))
