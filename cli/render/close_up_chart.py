"""The chart of one start: the readings around it, as they were read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...analysis.chunk import MICROSECONDS, Chunk, FloatArray
from ...analysis.levels import START_S
from . import svg, words
from .axis import NAMES, STEPS, since
from .svg import ALERT, DRAW, INK, REST, WIDE, Frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ...analysis.cycle_record import Cycle
    from ...analysis.report import CloseUp, LogFacts

# Fewer readings than these show no level.
_LEAST_READINGS = 3


def start_close_up(close_up: CloseUp, facts: LogFacts, *, name: str = "start", frame: Frame = WIDE) -> str:
    """Draw the readings around one start: each reading a dot, the settled level a line, the highest reading ringed.

    All is drawn as read: what other loads drew meanwhile is in it.

    Parameters
    ----------
    close_up : CloseUp
        The cycle and its readings; they must hold current or power.
    facts : LogFacts
        The log it is from.
    name : str
        Unique on the page.
    frame : Frame
        The size to draw for.
    """
    quantity = quantity_of(close_up.readings)
    seconds, x = _around(close_up)
    title, unit = NAMES[quantity]
    told_in, unit_s = since(float(seconds[-1] - seconds[0]))
    with svg.drawing(frame) as figure:
        axes = figure.add_subplot()
        step = STEPS[facts.sampling]
        axes.plot(seconds / unit_s, x, drawstyle=f"steps-{step}" if step else "default", color=DRAW, linewidth=1.0)
        axes.plot(seconds / unit_s, x, "o", color=DRAW, markersize=3.5, label="a reading")
        _draw_settled(axes, settled(close_up), unit)
        _draw_highest(axes, close_up.cycle, seconds, x, unit_s, unit)
        axes.axhline(0, color=INK, linewidth=0.8)
        axes.set_xlabel(f"{told_in} from the start")
        axes.set_ylabel(f"{title} as read [{unit}]")
        svg.frame_axes(axes)
        axes.spines["bottom"].set_visible(False)
        figure.legend(loc="outside upper left", ncols=3 if frame is WIDE else 1, handlelength=1.6)
        return svg.inline(figure, name=name, label=f"{title.capitalize()} as read around one start")


def quantity_of(readings: Chunk) -> str:
    """Return which quantity the chart of a start shows; empty where the readings hold none to draw."""
    return next((q for q in NAMES if q in readings.quantities and not np.isnan(readings.quantities[q]).all()), "")


def before(close_up: CloseUp) -> float | None:
    """Return what was read before the start, in the chart's unit; None where the chart shows nothing of it."""
    seconds, x = _around(close_up)
    earlier = x[seconds < 0]
    return float(np.median(earlier)) if len(earlier) else None


def settled(close_up: CloseUp) -> float | None:
    """Return the level at which the readings of the chart settle, in its unit; None where they show none.

    That is their median once the start is over, up to the stop. A draw that falls as the run goes on settles lower
    over the whole run than in the first seconds that the chart shows, so the run's own figure would miss its dots.
    """
    seconds, x = _around(close_up)
    running = _during(close_up.cycle, seconds)
    later = running[seconds[running] > START_S]
    if len(later) < _LEAST_READINGS:
        later = running[len(running) // 2 :]
    return float(np.median(x[later])) if len(later) >= _LEAST_READINGS else None


def _around(close_up: CloseUp) -> tuple[FloatArray, FloatArray]:
    """Return the readings that are there, each with its seconds since the start."""
    readings = close_up.readings
    x = readings.quantities[quantity_of(readings)]
    there = ~np.isnan(x)
    return (readings.time_us[there] - close_up.cycle.start_us) / MICROSECONDS, x[there]


def _during(cycle: Cycle, seconds: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    stop_s = np.inf if cycle.run_s is None else cycle.run_s
    return np.flatnonzero((seconds >= 0) & (seconds <= stop_s))


def _draw_settled(axes: Axes, level: float | None, unit: str) -> None:
    if level is not None:
        said = f"settles here at {words.amount(level, unit)}"
        axes.axhline(level, color=REST, linewidth=2, dashes=(5, 3), label=said)


def _draw_highest(axes: Axes, cycle: Cycle, seconds: FloatArray, x: FloatArray, unit_s: float, unit: str) -> None:
    during = _during(cycle, seconds)
    if len(during):
        top = during[x[during].argmax()]
        said = f"highest, {words.amount(float(x[top]), unit)}"
        axes.plot(seconds[top] / unit_s, x[top], "o", color=ALERT, markersize=11, fillstyle="none", mew=2, label=said)
