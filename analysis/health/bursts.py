"""Starts that come in bursts: many with short rests between them, then a rest of another kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

#: Shortest rest that pump makers ask for, up to 3/4 hp; a trade figure. [s]
MINIMUM_REST_S: Final = 180.0
#: The shortest rest between bursts is so many times the longest within one; no rest lies between: common practice, no
#: source. [1]
APART: Final = 2.5
#: So many rests of the longer kind there must be, and so many starts in a usual burst. [1], [1]
LEAST_BETWEEN: Final = 3
LEAST_STARTS: Final = 3.0


@dataclass(frozen=True)
class Bursts:
    """How many starts a usual burst has, the usual rest within it, the shortest and longest rest between. [1], [s]"""

    starts: float
    within_s: float
    between_s: tuple[float, float]


def bursts_of(rests_s: Sequence[float]) -> Bursts | None:
    """Return the bursts of a load's starts by the rests before its runs; None where it has none. [s]

    Its rests are then of two kinds with a gap between them, the one shorter than a pump's should be, and one usual rest
    would hide both.
    """
    rests = np.array([rest_s for rest_s in rests_s if rest_s > 0])
    known = np.sort(rests)
    most = len(known) - LEAST_BETWEEN
    if most < 1:
        return None
    # The widest gap, as a ratio, that leaves enough of the longer kind above it.
    split = 1 + int(np.argmax(known[1 : most + 1] / known[:most]))
    within_s, between_s = known[:split], known[split:]
    if between_s[0] < APART * within_s[-1] or within_s[-1] > MINIMUM_REST_S:
        return None
    # A burst goes from one long rest to the next; the first and the last may be cut.
    starts = float(np.median(np.diff(np.flatnonzero(rests > within_s[-1]))))
    if starts < LEAST_STARTS:
        return None
    return Bursts(starts, float(np.median(within_s)), (float(between_s[0]), float(between_s[-1])))
