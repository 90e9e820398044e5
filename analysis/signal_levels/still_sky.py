"""Levels as they would be under a sky that stands still: what an array gives slowly is taken out of them.

A bank's meter sees what loads draw less what the array gives. The sun moves the signal within levels, and clouds have
edges that last: only a change that is over soon is a load's. So the levels are put together again from such changes
alone.
"""

from __future__ import annotations

from array import array

import numpy as np

from ..readings.chunk import MICROSECONDS, FloatArray
from .level_record import LevelList
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
    still, name = levels.part(0, len(levels)), levels.signal
    if not len(levels):
        return still
    step = levels.changes(name) - _meanwhile(levels, interval_s)
    step[list(_slow_changes(levels, interval_s))] = 0.0
    # Each stands at one height throughout.
    at = array("d", levels.first[name][0] + np.cumsum(step))
    still.first, still.last, still.usual = ({**x, name: at} for x in (levels.first, levels.last, levels.usual))
    return still


def sky_drift(levels: LevelList) -> float:
    """Return how fast the base may move for all that is taken out; nought where nothing shows it. [unit/s]."""
    if not len(levels):
        return 0.0
    shows, within = levels.lengths_s > MINUTE_S, _within(levels)
    return LEFT * float(np.quantile(np.abs(within[shows]) / levels.lengths_s[shows], MOST)) if shows.any() else 0.0


def _within(levels: LevelList) -> FloatArray:
    """Return by how much the signal moved within each level. [unit]."""
    within: FloatArray = np.array(levels.last[levels.signal]) - np.array(levels.first[levels.signal])
    return within


def _meanwhile(levels: LevelList, interval_s: float) -> FloatArray:
    """Return what the sun moved from the readings that stand for a level's end to those for the next's beginning."""
    length_s = levels.lengths_s
    edge_s = np.minimum(EDGE * interval_s, length_s)
    shows = length_s >= max(SHOWS * interval_s, SHOWS_S)
    slope = np.where(shows, _within(levels) / np.maximum(length_s - edge_s, 1e-9), np.nan)
    known = np.flatnonzero(shows)
    if not len(known):
        return np.zeros(len(levels))
    first_us, last_us = np.array(levels.first_us), np.array(levels.last_us)
    middle_s = (first_us + last_us) / 2 / MICROSECONDS
    slope = np.where(shows, slope, np.interp(middle_s, middle_s[known], slope[known]))
    between_s = np.concatenate([[0], first_us[1:] - last_us[:-1]]) / MICROSECONDS
    before = np.concatenate([[0.0], slope[:-1] * edge_s[:-1] / 2])
    moved: FloatArray = before + slope * edge_s / 2 + between_s * (slope + np.concatenate([slope[:1], slope[:-1]])) / 2
    return moved


def _slow_changes(levels: LevelList, interval_s: float) -> set[int]:
    """Return the levels to which a slow change led: by one level after the other that does not hold, all one way."""
    slow, way, hold_s = set[int](), list[int](), HELD * interval_s
    for k in range(1, len(levels)):
        step = levels.change(k, levels.signal)
        goes_on = way and levels.length_s(k - 1) < hold_s and step * levels.change(way[-1], levels.signal) > 0
        way = [*way, k] if goes_on else [k]
        at_once = levels.reached_us[k] - levels.left_us[k]
        lasted = levels.reached_us[k] - levels.left_us[way[0]] if len(way) >= EDGE_LEVELS else at_once
        if lasted > SOON_S * MICROSECONDS or levels.after_gap[k]:
            slow.update(way if lasted > at_once else [k])
    return slow
