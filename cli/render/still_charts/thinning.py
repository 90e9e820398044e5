"""Fewer things to draw, with nothing lost that could be seen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from ....analysis.readings.chunk import MICROSECONDS, FloatArray, TimeArray
from ....analysis.readings.envelope import Envelope

if TYPE_CHECKING:
    from ....analysis.readings.log_facts import LogFacts

Span = tuple[float, float]
#: Instants [us], and a value at each.
Points = tuple[TimeArray, FloatArray]
IndexArray = np.ndarray[tuple[int], np.dtype[np.intp]]
#: Narrower stretches than this share of the chart's width could not be seen, so they are drawn this wide.
LEAST_SHARE = 1 / 600


def thinned(envelope: Envelope, most: int, *, least_width_us: int = 0) -> Envelope:
    """Put neighbouring buckets together until at most `most` are left and each is so wide; no peak is lost."""
    width, bucket = envelope.width_us, envelope.time_us // envelope.width_us
    low, high = envelope.low, envelope.high
    # By halves, so that edges stay at multiples of the width since 1970: the same readings fall into the same buckets.
    while len(bucket) > most or width < least_width_us:
        width, bucket = width * 2, bucket // 2
        first = np.flatnonzero(np.diff(bucket, prepend=bucket[0] - 1))
        bucket, low, high = bucket[first], np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)
    return Envelope(bucket * width, width, low, high)


def breaks(envelope: Envelope, facts: LogFacts) -> IndexArray:
    """Return before which buckets an envelope is broken by a gap; what stands until the next reading never is."""
    if not facts.has_gaps:
        return np.empty(0, dtype=np.intp)
    # Buckets begin at multiples of their width, so two readings a gap limit apart may be a width further apart here.
    longest_us = facts.gap_limit_s * MICROSECONDS + envelope.width_us
    return np.flatnonzero(np.diff(envelope.time_us) > longest_us) + 1


def drawable(spans: Sequence[Span], whole: Span, least_share: float = LEAST_SHARE) -> list[Span]:
    """Return stretches wide enough to be seen, those that then touch put together."""
    least = (whole[1] - whole[0]) * least_share
    drawn: list[Span] = []
    for left, right in sorted(spans):
        far = max(right, left + least)
        # A space of a quarter of the least width would look like none.
        if drawn and left <= drawn[-1][1] + least / 4:
            drawn[-1] = (drawn[-1][0], max(far, drawn[-1][1]))
        else:
            drawn.append((left, far))
    return drawn


def joined(spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the same stretches in order, those that overlap or touch put together."""
    apart: list[tuple[int, int]] = []
    for left, right in sorted(spans):
        if apart and left <= apart[-1][1]:
            apart[-1] = (apart[-1][0], max(right, apart[-1][1]))
        else:
            apart.append((left, right))
    return apart


def within(spans: Sequence[tuple[int, int]], edges_us: TimeArray) -> FloatArray:
    """Return how much of each stretch between neighbouring edges lies within `spans`, which do not overlap. [us]."""
    if not spans:
        return np.zeros(len(edges_us) - 1)
    left, right = np.array(spans, dtype=np.int64).T
    so_far = np.cumsum(right - left)
    # The time within all spans up to an instant rises along each of them, and stands still between.
    at = np.column_stack([left, right]).ravel()
    total = np.column_stack([so_far - (right - left), so_far]).ravel()
    return np.diff(np.interp(edges_us - edges_us[0], at - edges_us[0], total))


def points_of(pairs: Iterable[tuple[int, float]]) -> Points:
    """Return instants and values in two arrays: as pairs, tens of thousands of them would fill megabytes."""
    pair = np.dtype([("us", np.int64), ("value", np.float64)])
    points = np.fromiter(pairs, dtype=pair)
    return points["us"], points["value"]


def extremes(points: Points, buckets: int) -> Points:
    """Return at most the lowest and the highest value in each of `buckets` stretches of equally many points."""
    us, values = points
    if len(us) <= 2 * buckets:
        return us, values
    places = set()
    for part in np.array_split(np.arange(len(us)), buckets):
        places |= {int(part[values[part].argmin()]), int(part[values[part].argmax()])}
    order = sorted(places)
    return us[order], values[order]
