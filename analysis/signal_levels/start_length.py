"""How long a motor's start takes: from its step up until half of what it draws beyond its running draw is gone.

The way down from a start's top is steepest about there, so that moment is known best: to a part of the spacing of the
readings, whatever the noise. When a draw has quite settled is seen far worse.
"""

from __future__ import annotations

import math
from itertools import chain, dropwhile
from typing import Final

from ..readings.chunk import MICROSECONDS
from .levels import Level

#: The top of a start is at least so many times the running draw; noise and a draw that settles slowly stay below:
#: common practice, no source. [1]
STANDS_OUT: Final = 1.5
#: Readings further apart show nothing of a start, which is over within seconds. [s]
_MOST_SPACING_S: Final = 2.0
#: No start is looked at for longer: an overload opens in about 10 s (motor protection of class 10, IEC 60947-4-1, from
#: memory). [s]
_LONGEST_S: Final = 10.0


def start_length_s(level: Level, before: Level | None, signal: str) -> float:
    """Return how long the start took that led to a level; NaN where none shows. [s]

    Between the two readings around the end the draw is taken as straight.
    """
    changed = level.changed
    if before is None or level.after_gap or changed.step <= 0 or not 0 < changed.step_s <= _MOST_SPACING_S:
        return math.nan
    below, settled = before.last(signal), level.usual(signal)
    least = below + STANDS_OUT * (settled - below)
    # Most steps up are no motor's: these are told by what is known of their top already.
    if not settled > below or level.peak(signal) < least:
        return math.nan
    readings = _readings(level, signal)
    x = [each[-1] for each in readings]
    if (top := max(x)) < least:
        return math.nan
    half = (top + settled) / 2
    after = next((k for k in range(x.index(top) + 1, len(x)) if x[k] < half), None)
    # Of a long plateau only the first and the last readings are known: the end must not lie between them.
    if after is None:
        return math.nan
    (before_it, from_us, high), (number, to_us, low) = readings[after - 1], readings[after]
    if number != before_it + 1:
        return math.nan
    end_us = from_us + (high - half) / (high - low) * (to_us - from_us)
    return (end_us - level.start_us) / MICROSECONDS


def _readings(level: Level, signal: str) -> list[tuple[int, float, float]]:
    """Return the readings that are known from the change on, as long as a start may take.

    Each is the how manieth it is, when it was made [us], and what it is [unit].
    """
    changed, count, readings = level.changed, 0, list[tuple[int, float, float]]()
    until_us = changed.first_us + _LONGEST_S * MICROSECONDS
    for plateau in dropwhile(lambda plateau: plateau is not changed, (*level.between, *level.parts)):
        trace, first_us = plateau.traces[signal], plateau.first_us
        # Its first readings and its last ones are known, which may be the same. They are taken to be evenly apart.
        behind = max(plateau.count - len(trace.tail), len(trace.head))
        last = trace.tail[behind - plateau.count :] if behind < plateau.count else ()
        each_us = (plateau.last_us - first_us) / max(plateau.count - 1, 1)
        for k, x in chain(enumerate(trace.head), enumerate(last, behind)):
            at_us = first_us + k * each_us
            if at_us > until_us:
                return readings
            readings.append((count + k, at_us, x))
        count += plateau.count
    return readings
