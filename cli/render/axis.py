"""Axes of a chart: time in the log's zone or since its start, and lengths of time."""

from __future__ import annotations

from datetime import tzinfo
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from matplotlib import dates, ticker

from ...analysis.chunk import MICROSECONDS, FloatArray, TimeArray
from . import words
from .svg import WIDE, Frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ...analysis.report import LogFacts
    from .thinning import Span

# Lengths of time that people say.
_LENGTHS_S = (
    *(0.01, 0.03, 0.1, 0.3, 1, 3, 10, 20, 30, 60, 120, 300, 600, 1200, 1800),
    *(3600 * h for h in (1, 2, 3, 6, 12, 24, 48, 168, 672)),
)


def on_axis(us: TimeArray, facts: LogFacts) -> FloatArray:
    """Return instants on the chart's time axis: days since 1970, or seconds since the start without dates."""
    return np.asarray(us / MICROSECONDS if facts.undated else us / (86400 * MICROSECONDS), dtype=np.float64)


def span_of(start_us: int, stop_us: int, facts: LogFacts) -> Span:
    """Return a stretch of time on the chart's time axis."""
    left, right = on_axis(np.array([start_us, stop_us]), facts).tolist()
    return left, right


def time_axis(axes: Axes, facts: LogFacts, start_us: int, stop_us: int, frame: Frame) -> None:
    """Give an axis the log's span with ticks at round times of its zone, or at round times from its start."""
    left, right = span_of(start_us, stop_us, facts)
    room = (right - left) * 0.01 or 1 / 86400
    axes.set_xlim(left - room, right + room)
    most = 9 if frame is WIDE else 4
    if facts.undated:
        step_s = next((s for s in _LENGTHS_S if s >= 1 and (right - left) / s <= most), (right - left) / most)
        axes.xaxis.set_major_locator(ticker.MultipleLocator(step_s))
        axes.xaxis.set_major_formatter(lambda seconds, _: words.elapsed(round(seconds * MICROSECONDS)))
    else:
        _dated(axes, words.zone_of(facts)[1], most)


def _dated(axes: Axes, zone: tzinfo, most: int) -> None:
    plain = ["%Y", "%b %Y", "%d %b", "%H:%M", "%H:%M", "%H:%M:%S"]
    first = ["", "%Y", "%b %Y", "%d %b", "%H:%M", "%H:%M"]
    untyped = cast(Any, dates)
    locator = untyped.AutoDateLocator(tz=zone, minticks=2, maxticks=most)
    said = untyped.ConciseDateFormatter(locator, tz=zone, formats=plain, zero_formats=first, show_offset=False)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(said)


def duration_axis(axes: Axes) -> None:
    """Mark a logarithmic axis of seconds at lengths people say, within what it shows."""
    low, high = axes.get_ylim()
    low, high = low / 1.3, high * 1.3
    axes.set_ylim(low, high)
    inside = [s for s in _LENGTHS_S if low <= s <= high]
    inside = inside[:: 1 + len(inside) // 7]
    axes.set_yticks(inside, [words.duration(s) for s in inside])
    axes.set_yticks([], minor=True)
