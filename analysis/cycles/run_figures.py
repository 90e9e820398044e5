"""A run among levels: what it draws, with other loads' steps told from its own."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, chain, combinations
from typing import NamedTuple

import numpy as np

from ..readings.chunk import MICROSECONDS, FloatArray
from ..signal_levels.level_record import LevelList
from ..stats.few import weighted_median
from .on_off_path import RunLevels

#: A load's draw may fall by this share of its start's within a run.
OWN_FALL = 0.5
#: Of two ways to explain a run the one is taken that leaves least unexplained; an own fall counts by this share of it,
#: another load's step at the very moment of a start or stop by this share of the run's: common practice, no source.
FALL_COST, COINCIDENCE_COST = 0.3, 0.05
#: Others cannot draw less than nothing: an explanation in which they do, by so much, is that many times as far-fetched.
IMPOSSIBLE_COST = 100.0
#: So much of a run's draw its other steps may be off, as a start's end and a slow fall leave them. [1]
ABOUT = 0.1
#: So many steps down within a run may be its own.
MOST_FALLS = 6
#: A run's draw is that of its first so long: the base wanders away meanwhile, with the sun: common practice, no source.
#: [s]
SETTLED_S = 1800.0
#: Steps within a run that are smaller than this share of it are its own unrest.
OWN_WOBBLE = 0.04
#: Fewer runs do not show what a load's steps usually are.
ENOUGH_RUNS = 4
#: A step is strange if it differs from the usual by this share, and by this many times what others differ.
STRANGE_SHARE, STRANGE_TIMES = 0.05, 4.0


@dataclass(frozen=True)
class Coincidence:
    """What other loads switched on (positive) or off at a run's start, and at its stop, by quantity. [unit]."""

    at_start: Mapping[str, float]
    at_stop: Mapping[str, float]


NOTHING = Coincidence({}, {})


@dataclass(frozen=True, slots=True)
class SeenRun:
    """A run among all levels, by their index: its first and last, and the one after its end, None if that was not seen.

    ``others`` are levels within it to which another load's step led, ``coincidence`` what others switched at its start
    and stop. ``shared``: the array may have given part of its draw. ``less``: it drew less than the load's other runs,
    from its start on, or from the level ``fall`` at which its own draw fell to a dry pump's.
    """

    levels: LevelList
    start: int
    stop: int | None
    last: int
    others: list[int]
    shared: bool = False
    less: bool = False
    fall: int | None = None
    coincidence: Coincidence = NOTHING

    @property
    def start_us(self) -> float:
        """When it began. [us]."""
        return self.levels.start_us[self.start]

    @property
    def stop_us(self) -> float:
        """When it ended, or was last seen running. [us]."""
        return self.levels.last_us[self.last] if self.stop is None else self.levels.start_us[self.stop]

    @property
    def within_s(self) -> tuple[float, float | None]:
        """How well its edges are known: half the spacing of the readings around them. [s]."""
        spacing_s, stop = self.levels.spacing_s, self.stop
        return spacing_s[self.start] / 2, None if stop is None else spacing_s[stop] / 2

    @property
    def length_s(self) -> float:
        """How long it was seen running. [s]."""
        return (self.stop_us - self.start_us) / MICROSECONDS

    def before(self, name: str) -> float:
        """Return the level that it stands on. [unit]."""
        return self.levels.last[name][self.start - 1]

    def settled(self, name: str) -> float:
        """Return its settled draw: the median of its levels by their length, less what others draw then. [unit]."""
        if self.start == self.last:
            return self.draw(name)
        levels, usual, others = self.levels, self.levels.usual[name], 0.0
        until_us = self.start_us + SETTLED_S * MICROSECONDS
        readings: list[tuple[float, float]] = []
        for k in range(self.start, self.last + 1):
            if readings and levels.first_us[k] > until_us:
                break
            # A level counts by its length, and what others draw is known from their steps since the run's start.
            others += levels.change(k, name) if k in self.others else 0.0
            readings.append((usual[k] - others, min(levels.length_s(k), SETTLED_S)))
        return weighted_median(readings) - self.before(name) - self.coincidence.at_start.get(name, 0.0)

    def drift(self, name: str) -> float:
        """Return how far the baseline has moved by a run's end, or within one that goes on, others' steps apart."""
        if self.stop is None:
            return self._lowest_moved(name)
        moved = self.levels.first[name][self.stop] - self.before(name)
        switched = self.coincidence.at_start.get(name, 0.0) + self.coincidence.at_stop.get(name, 0.0)
        return moved - switched - sum(self.levels.change(k, name) for k in self.others)

    def _lowest_moved(self, name: str) -> float:
        """Return how far the least that others draw has moved within a run that still goes on. [unit]."""
        levels, signal = self.levels, self.levels.signal
        first = self.start if self.fall is None else self.fall
        if len(levels) - first < 2:
            return 0.0
        draw = self.draw(signal) + (0.0 if self.fall is None else levels.change(self.fall, signal))
        moved = float(levels.after[first : self.last + 1].min() - levels.rest[self.start - 1]) - draw
        return moved * (self.draw(name) / self.draw(signal) if name != signal else 1.0)

    def draw(self, name: str) -> float:
        """Return what it drew on its first level. [unit]."""
        first = self.levels.usual[name][self.start]
        return first - self.before(name) - self.coincidence.at_start.get(name, 0.0)


def is_apart(run: SeenRun, own: Sequence[SeenRun]) -> bool:
    """Return whether none of a load's own runs, in their order, goes on while this one does."""
    ended = bisect_right(own, run.start_us, key=lambda other: other.stop_us)
    return ended == bisect_left(own, run.stop_us, key=lambda other: other.start_us)


def coincidences(levels: LevelList, runs: Sequence[RunLevels]) -> dict[RunLevels, Coincidence]:
    """Return what other loads seem to have switched at the moments of a load's starts and stops, where they did.

    Whether they did is for `seen` to say: a load may draw more at its start for once by itself.
    """
    whole = [run for run in runs if run.stop is not None and run.fall is None]
    starts, stops = ([getattr(run, name) for run in whole] for name in ("start", "stop"))
    if len(whole) < ENOUGH_RUNS:
        return {}
    names = sorted(levels.names - {"voltage_V"})
    changes = {name: levels.changes(name) for name in names}
    at_start = {name: _strange(changes[name][starts]) for name in names}
    at_stop = {name: _strange(changes[name][stops]) for name in names}
    return {
        run: Coincidence({n: float(at_start[n][k]) for n in names}, {n: float(at_stop[n][k]) for n in names})
        for k, run in enumerate(whole)
        if at_start[levels.signal][k] or at_stop[levels.signal][k]
    }


def _strange(steps: FloatArray) -> FloatArray:
    """Return by how much steps differ strangely from the usual, nought for those that do not or are unknown. [unit]."""
    if np.isnan(steps).all():
        return np.zeros_like(steps)
    usual = float(np.nanmedian(steps))
    away = np.nan_to_num(steps - usual)
    least = max(STRANGE_SHARE * abs(usual), STRANGE_TIMES * float(np.median(np.abs(away))))
    return np.where(np.abs(away) > least, away, 0.0)


class _Explained(NamedTuple):
    """A run with the steps within it told apart, and how far-fetched that is. [unit of the signal]"""

    far_fetched: float
    run: SeenRun


def seen(levels: LevelList, bounds: RunLevels, coincidence: Coincidence = NOTHING) -> SeenRun:
    """Return a run between these levels, with other loads' steps told from its own.

    A step down within a run may be the run's own falling draw, or a load's that was on before; a strange step at its
    start or stop may be its own as well, or hide another load's. Where the run ends, the level is back at the base plus
    what others switched meanwhile: that is taken which leaves least to be explained there, and is least far-fetched.
    """
    signal, end = levels.signal, _end(levels, bounds)
    size = levels.change(bounds.start, signal)
    steps = {k: levels.change(k, signal) for k in range(bounds.start + 1, end)}
    others = {k: x for k, x in steps.items() if abs(x) >= max(levels.least[k] / 2, OWN_WOBBLE * size)}
    run = SeenRun(levels, bounds.start, bounds.stop, end - 1, list(others))
    if not others and coincidence is NOTHING:
        return run
    ways = [_with_own_falls(run, others, size, 0.0, bounds.fall)]
    if coincidence is not NOTHING:
        hidden = replace(run, coincidence=coincidence)
        ways.append(_with_own_falls(hidden, others, size, COINCIDENCE_COST * size, bounds.fall))
    return min(ways, key=lambda way: way.far_fetched).run


def _with_own_falls(run: SeenRun, others: dict[int, float], size: float, cost: float, fall: int | None) -> _Explained:
    """Return a run with those steps down that are its own, and how far-fetched that is."""
    left = 0.0 if run.stop is None else run.drift(run.levels.signal)
    # Its own draw falls by a part of it; by more only where others would have to draw less than nothing. All ways to
    # choose among the deepest few falls are tried: 64 at the most.
    deepest = size if _below_rest(run, others) else OWN_FALL * size
    falls = [k for k in others if -deepest < others[k] < 0 or k == fall]
    falls = sorted(sorted(falls, key=others.__getitem__)[:MOST_FALLS])

    def far_fetched(own: tuple[int, ...]) -> float:
        # Where its end was not seen, only the step at which it was found to draw less can be its own.
        fallen = sum(others[k] for k in own)
        unexplained = abs(left + fallen) if run.stop is not None else size * (fall in others and fall not in own)
        impossible = _below_rest(run, {k: x for k, x in others.items() if k not in own})
        return unexplained - FALL_COST * fallen + IMPOSSIBLE_COST * impossible

    own = min(chain.from_iterable(combinations(falls, n) for n in range(len(falls) + 1)), key=far_fetched)
    explained = replace(run, others=[k for k in others if k not in own]) if own else run
    return _Explained(far_fetched(own) + cost, explained)


def _below_rest(run: SeenRun, others: dict[int, float]) -> float:
    """Return by how much less than at rest other loads would draw within a run; nought if they need not. [unit]."""
    # Where anything flows back there is no telling: then an array gives, which may give more at any time.
    levels, signal = run.levels, run.levels.signal
    if levels.gives:
        return 0.0
    base = run.before(signal) + run.coincidence.at_start.get(signal, 0.0)
    lowest = min(accumulate(others.values(), initial=base))
    within = max(levels.least[run.start], ABOUT * levels.change(run.start, signal))
    rest = min(levels.rest[run.start], levels.rest[run.last if run.stop is None else run.stop])
    return max(float(rest) - within - lowest, 0.0)


def _end(levels: LevelList, bounds: RunLevels) -> int:
    """Return the level that follows a run's last."""
    if bounds.stop is not None:
        return bounds.stop
    return levels.next_gap(bounds.start + 1)
