"""The chart of one start: the readings around it, as they were read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ....analysis.readings.chunk import MICROSECONDS, Chunk, FloatArray
from ....analysis.signal_levels.levels import START_S
from ..wording import numbers
from . import svg
from .axis import NAMES, since
from .lines import step_of
from .svg import DRAW, GAP, INK, SOFT, WIDE, Frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ....analysis.cycles.cycle import Cycle
    from ....analysis.one_log.log_report import CloseUp
    from ....analysis.readings.log_facts import LogFacts

#: What lies between two readings of a start.
UNSEEN = "a higher draw would go unseen"
#: Fewer readings than these show no level.
_LEAST_READINGS = 3


def start_close_up(close_up: CloseUp, facts: LogFacts, *, name: str = "start", frame: Frame = WIDE) -> str:
    """Draw the readings around one start: each reading a dot, the settled level a line, the highest reading ringed.

    All is drawn as read: what other loads drew meanwhile is in it. The readings must hold current or power.
    """
    quantity = quantity_of(close_up.readings)
    seconds, x = around(close_up)
    title, unit = NAMES[quantity]
    time_unit, unit_s = since(float(seconds[-1] - seconds[0]))
    with svg.drawing(frame) as figure:
        axes = figure.add_subplot()
        step = step_of(facts.sampling, single=True)
        axes.plot(seconds / unit_s, x, drawstyle=f"steps-{step}" if step else "default", color=DRAW, linewidth=1.0)
        axes.plot(seconds / unit_s, x, "o", color=DRAW, markersize=3.5, label="a reading")
        _draw_settled(axes, settled(close_up), unit)
        _draw_highest(axes, highest(close_up), unit_s, unit)
        if (unseen := unseen_s(close_up)) is not None:
            left, right = unseen[0] / unit_s, unseen[1] / unit_s
            axes.axvspan(left, right, facecolor=GAP, edgecolor=SOFT, hatch="//", linewidth=0, zorder=0, label=UNSEEN)
        axes.axhline(0, color=INK, linewidth=0.8)
        axes.set_xlabel(f"{time_unit} from the start")
        axes.set_ylabel(f"{title} as read [{unit}]")
        svg.frame_axes(axes)
        axes.spines["bottom"].set_visible(False)
        svg.legend_above(figure, 4 if frame == WIDE else 1)
        return svg.inline(figure, name=name, label=f"{title.capitalize()} as read around one start", x_unit=1.0)


def quantity_of(readings: Chunk) -> str:
    """Return which quantity the chart of a start shows; empty where the readings hold none to draw."""
    return next((q for q in NAMES if q in readings.quantities and not np.isnan(readings.quantities[q]).all()), "")


def before(close_up: CloseUp) -> float | None:
    """Return what was read before the start, in the chart's unit; None where the chart shows nothing of it."""
    seconds, x = around(close_up)
    earlier = x[seconds < 0]
    return float(np.median(earlier)) if len(earlier) else None


def settled(close_up: CloseUp) -> float | None:
    """Return the level at which the readings of the chart settle, in its unit; None where they show none.

    That is their median once the start is over, up to the stop. A draw that falls as the run goes on settles lower
    over the whole run than in the first seconds that the chart shows, so the run's own figure would miss its dots.
    """
    seconds, x = around(close_up)
    running = _during(close_up.cycle, seconds)
    later = running[seconds[running] > START_S]
    # A run hardly longer than its start settles, if anywhere, in its second half.
    if len(later) < _LEAST_READINGS:
        later = running[len(running) // 2 :]
    return float(np.median(x[later])) if len(later) >= _LEAST_READINGS else None


def highest(close_up: CloseUp) -> tuple[float, float] | None:
    """Return when the run's highest reading came, in seconds since its start, and what it was; None without one."""
    seconds, x = around(close_up)
    during = _during(close_up.cycle, seconds)
    if not len(during):
        return None
    top = during[x[during].argmax()]
    return float(seconds[top]), float(x[top])


def unseen_s(close_up: CloseUp) -> tuple[float, float] | None:
    """Return from when to when a higher draw may have come and gone between readings; None where the surge was seen.

    That is from the last reading before the start to the first after the highest one, in seconds since the start.
    """
    top = highest(close_up)
    if close_up.cycle.surge_resolved or top is None:
        return None
    seconds, _ = around(close_up)
    # Without a reading before the start nothing is known from the start itself on.
    earlier, later = seconds[seconds < 0], seconds[seconds > top[0]]
    return (float(earlier[-1]) if len(earlier) else 0.0, float(later[0]) if len(later) else float(seconds[-1]))


def around(close_up: CloseUp) -> tuple[FloatArray, FloatArray]:
    """Return the seconds since the start of each reading that is there, and what was read."""
    readings = close_up.readings
    x = readings.quantities[quantity_of(readings)]
    is_read = ~np.isnan(x)
    return (readings.time_us[is_read] - close_up.cycle.start_us) / MICROSECONDS, x[is_read]


def _during(cycle: Cycle, seconds: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    stop_s = np.inf if cycle.run_s is None else cycle.run_s
    return np.flatnonzero((seconds >= 0) & (seconds <= stop_s))


def _draw_settled(axes: Axes, level: float | None, unit: str) -> None:
    if level is not None:
        label = f"settles here at {numbers.amount(level, unit)}"
        axes.axhline(level, color=SOFT, linewidth=2, dashes=(5, 3), label=label)


def _draw_highest(axes: Axes, top: tuple[float, float] | None, unit_s: float, unit: str) -> None:
    if top is not None:
        at, x = top
        label = f"highest reading, {numbers.amount(x, unit)}"
        axes.plot(at / unit_s, x, "o", color=INK, markersize=11, fillstyle="none", mew=2, label=label)
