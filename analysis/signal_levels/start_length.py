"""How long a motor's start takes: from its step up until half of what it draws beyond its running draw is gone.

The way down from a start's top is steepest about there, so that moment is known best: to a part of the spacing of the
readings, whatever the noise. When a draw has quite settled is seen far worse.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import chain, takewhile
from typing import Final, NamedTuple

from ..readings.chunk import MICROSECONDS
from .levels import Level
from .plateau import Plateau

#: The top of a start is at least so many times the running draw; noise and a draw that settles slowly stay below:
#: common practice, no source. [1]
STANDS_OUT: Final = 1.5
#: Readings further apart show nothing of a start, which is over within seconds. [s]
_MOST_SPACING_S: Final = 2.0
#: No start is looked at for longer: an overload opens in about 10 s (motor protection of class 10, IEC 60947-4-1, from
#: memory). [s]
_LONGEST_S: Final = 10.0


class _Reading(NamedTuple):
    """One reading of a start: the how manieth it is, when it was made [us], and what it is [unit]."""

    number: int
    at_us: float
    x: float


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
    readings = list(_readings(level, signal))
    top = max(range(len(readings)), key=lambda k: readings[k].x)
    if readings[top].x < least:
        return math.nan
    half = (readings[top].x + settled) / 2
    after = next((k for k in range(top + 1, len(readings)) if readings[k].x < half), None)
    # Of a long plateau only the first and the last readings are known: the end must not lie between them.
    if after is None or readings[after].number != readings[after - 1].number + 1:
        return math.nan
    (_, from_us, high), (_, to_us, low) = readings[after - 1], readings[after]
    end_us = from_us + (high - half) / (high - low) * (to_us - from_us)
    return (end_us - level.start_us) / MICROSECONDS


def _readings(level: Level, signal: str) -> Iterator[_Reading]:
    """Yield the readings that are known from the change on, as long as a start may take."""
    changed, count = level.changed, 0
    plateaus = [*level.between, *level.parts]
    first = next(k for k, plateau in enumerate(plateaus) if plateau is changed)
    until_us = changed.first_us + _LONGEST_S * MICROSECONDS
    for plateau in takewhile(lambda plateau: plateau.first_us <= until_us, plateaus[first:]):
        yield from (each for each in _of_plateau(plateau, signal, count) if each.at_us <= until_us)
        count += plateau.count


def _of_plateau(plateau: Plateau, signal: str, count: int) -> Iterator[_Reading]:
    trace, most = plateau.traces[signal], plateau.count
    # Its first readings and its last ones are known, which may be the same. They are taken to be evenly apart.
    behind = max(most - len(trace.tail), len(trace.head))
    last = zip(range(behind, most), trace.tail[behind - most :], strict=True) if behind < most else ()
    each_us = (plateau.last_us - plateau.first_us) / max(most - 1, 1)
    for k, x in chain(enumerate(trace.head), last):
        yield _Reading(count + k, plateau.first_us + k * each_us, x)
