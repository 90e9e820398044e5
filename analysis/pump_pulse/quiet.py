"""The longest time without a start of a load."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..readings.chunk import MICROSECONDS, TimeArray
from ..readings.measured_span import Gap


@dataclass(frozen=True)
class WithoutStart:
    """The longest stretch without a start; ``at_least`` where the log, a gap or the day ends it and no start does."""

    start_us: int
    stop_us: int
    at_least: bool

    @property
    def lasted_s(self) -> float:
        """How long it was. [s]"""
        return (self.stop_us - self.start_us) / MICROSECONDS


def longest_without_start(
    starts_us: TimeArray, first_us: int, last_us: int, gaps: Sequence[Gap] = ()
) -> WithoutStart | None:
    """Return the longest stretch without a start that was measured all the time; None where nothing was.

    Parameters
    ----------
    starts_us : array, shape (n,)
        When runs began, in order. [us]
    first_us, last_us : int
        From when to when it is asked for: a log's ends, or a day's. [us]
    gaps : sequence of Gap
        Stretches without readings, in order: a start may hide in one.
    """
    edges = [first_us]
    for gap in gaps:
        if gap.stop_us > first_us and gap.start_us < last_us:
            edges += [max(gap.start_us, first_us), min(gap.stop_us, last_us)]
    edges.append(last_us)
    stretches: list[WithoutStart] = []
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        low, high = np.searchsorted(starts_us, [begin, end]).tolist()
        points = [begin, *starts_us[low:high].tolist(), end]
        # Only between two starts it is known to have been no longer.
        known = [False, *[True] * (len(points) - 3), False][: len(points) - 1]
        stretches += [
            WithoutStart(a, b, not both) for (a, b), both in zip(pairwise(points), known, strict=True) if b > a
        ]
    # Of equals the one that is known to have ended.
    return max(stretches, key=lambda each: (each.stop_us - each.start_us, not each.at_least), default=None)
