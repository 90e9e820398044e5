"""Levels as they would be under a sky that stands still: what an array gives slowly is taken out of them.

A bank's meter sees what loads draw less what the array gives. The sun moves the signal within levels, and clouds have
edges that last: only a change that is over soon is a load's. So the levels are put together again from such changes
alone.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from ..readings.chunk import MICROSECONDS, FloatArray
from .level_record import LevelList, LevelRecord
from .plateau import EDGE

#: A change that takes longer is the sky's. Makers' drives take 2 to 10 s to full speed, from memory; the edge of a
#: cloud takes several seconds to a minute to pass over an array, common practice, no source. [s]
SOON_S = 10.0
#: A level of so many usual intervals is more than the way to the next; so many that are less, all one way, are an edge.
#: [1], [1]
HELD, EDGE_LEVELS = 4, 4
#: Levels of a minute and more show how fast the sun moves them, most of them slower than this share of all; and half
#: of that is taken out of them: common practice, no source. [s], [1], [1]
MINUTE_S, MOST, LEFT = 60.0, 0.75, 0.45
#: So many intervals and so long a level shows how fast the sun moves it. [1], [s]
SHOWS, SHOWS_S = 3 * EDGE, 20.0


def still_sky(levels: LevelList, interval_s: float) -> LevelList:
    """Return the levels with the slow changes between and within them taken out, in the signal alone."""
    name, every = levels.signal, levels.levels
    step = levels.changes(name) - _meanwhile(levels, interval_s)
    step[list(_slow_changes(levels, interval_s))] = 0.0
    at = every[0].first[name] + np.cumsum(step) if every else step
    return LevelList(name, [_at(level, name, float(x)) for level, x in zip(every, at, strict=True)])


def _at(level: LevelRecord, name: str, x: float) -> LevelRecord:
    """Return a level that stands at one height throughout. [unit]."""
    first, last, usual = ({**of_each, name: x} for of_each in (level.first, level.last, level.usual))
    return replace(level, first=first, last=last, usual=usual)


def sky_drift(levels: LevelList) -> float:
    """Return how fast the base may move for all that is taken out; nought where nothing shows it. [unit/s]."""
    rates = [
        abs(x.last[levels.signal] - x.first[levels.signal]) / x.length_s for x in levels.levels if x.length_s > MINUTE_S
    ]
    return LEFT * float(np.quantile(rates, MOST)) if rates else 0.0


def _meanwhile(levels: LevelList, interval_s: float) -> FloatArray:
    """Return what the sun moved from the readings that stand for a level's end to those for the next's beginning."""
    name, every = levels.signal, levels.levels
    edge_s = np.array([min(EDGE * interval_s, level.length_s) for level in every])
    length_s = np.array([level.length_s for level in every])
    within = np.array([level.last[name] - level.first[name] for level in every])
    shows = length_s >= max(SHOWS * interval_s, SHOWS_S)
    slope = np.where(shows, within / np.maximum(length_s - edge_s, 1e-9), np.nan)
    known = np.flatnonzero(shows)
    if not len(known):
        return np.zeros(len(every))
    middle_s = np.array([(level.first_us + level.last_us) / 2 / MICROSECONDS for level in every])
    slope = np.where(shows, slope, np.interp(middle_s, middle_s[known], slope[known]))
    between_s = np.array([0.0, *(b.first_us - a.last_us for a, b in pairwise(every))]) / MICROSECONDS
    before = np.concatenate([[0.0], slope[:-1] * edge_s[:-1] / 2])
    moved: FloatArray = before + slope * edge_s / 2 + between_s * (slope + np.concatenate([slope[:1], slope[:-1]])) / 2
    return moved


def _slow_changes(levels: LevelList, interval_s: float) -> set[int]:
    """Return the levels to which a slow change led: by one level after the other that does not hold, all one way."""
    slow, way, every = set[int](), list[int](), levels.levels
    for k in range(1, len(every)):
        step = levels.change(k, levels.signal)
        goes_on = way and every[k - 1].length_s < HELD * interval_s and step * levels.change(way[-1], levels.signal) > 0
        way = [*way, k] if goes_on else [k]
        at_once = every[k].reached_us - every[k].left_us
        lasted = every[k].reached_us - every[way[0]].left_us if len(way) >= EDGE_LEVELS else at_once
        if lasted > SOON_S * MICROSECONDS or every[k].after_gap:
            slow.update(way if lasted > at_once else [k])
    return slow
