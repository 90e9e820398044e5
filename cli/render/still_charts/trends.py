"""The chart of a site's days: one small panel a figure, a dot a day, and the line that goes through them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ....analysis.readings.chunk import FloatArray
from ....analysis.several_logs.day_trends import counts, values_of_days
from ..wording import clock, numbers
from ..wording.several_sentences import facts_of
from . import lines, svg
from .axis import on_axis, span_of, time_axis
from .svg import ALERT, DRAW, INK, SOFT, Frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ....analysis.several_logs.day_trends import DayTrend
    from ....analysis.several_logs.over_logs import OverLogs

WIDE = Frame("wide", 960, 560, 13, 1500)
NARROW = Frame("narrow", 340, 980, 12.25, 500)
#: What is drawn, as far as the days have it: of each group the first.
_SHOWN = (
    ("drawn_Wh_per_h", "drawn_Ah_per_h"),
    ("starts_per_h",),
    ("median_run_s",),
    ("median_rest_s",),
    ("run_W", "run_A"),
    # Where readings show how long a start takes, that says more of a motor than how far it pulls the volts down.
    ("start_s", "sag_V"),
)
#: A scale that need not begin at nought shows at least this share of the usual value. [1]
_LEAST_ROOM = 0.2
#: Times whose usual length is at least this are told in minutes. [s]
_IN_MINUTES_S = 300.0
_FROM_NOUGHT = ("drawn_Wh_per_h", "drawn_Ah_per_h", "starts_per_h", "median_run_s", "median_rest_s", "start_s")


def shown(over: OverLogs) -> list[list[DayTrend]]:
    """Return the figures that are drawn, each with its trends: of all days, or of those on either side of a change."""
    by_code: dict[str, list[DayTrend]] = {}
    for trend in over.trends:
        by_code.setdefault(trend.code, []).append(trend)
    picked = (next((by_code[code] for code in group if code in by_code), None) for group in _SHOWN)
    return [trends for trends in picked if trends is not None]


def days(over: OverLogs, *, name: str, frame: Frame) -> str:
    """Draw the days, a panel a figure: two beside each other where it is wide; at least one figure must be there."""
    figures = shown(over)
    columns = 1 if frame.width_px < 600 else 2
    rows = -(-len(figures) // columns)
    full = -(-len(_SHOWN) // columns)
    # A frame is for all panels: with fewer of them each keeps its height.
    with svg.drawing(frame.of_height(frame.height_px * rows / full)) as figure:
        grid = figure.subplots(rows, columns, sharex=True, squeeze=False)
        for axes, trends in zip(grid.ravel(), figures, strict=False):
            _panel(axes, over, trends)
        for axes in grid.ravel()[len(figures) :]:
            axes.set_axis_off()
        time_axis(grid[-1, 0], facts_of(over), over.days[0].start_us, over.days[-1].stop_us, frame)
        for axes in grid[:-1, :].ravel():
            axes.tick_params(labelbottom=True)
        return svg.inline(figure, name=name, label="Figures of each day over the days, each in its own panel")


def _panel(axes: Axes, over: OverLogs, trends: list[DayTrend]) -> None:
    first = trends[0]  # its name and unit are those of all, which differ in their stretch alone
    fit, factor, unit = counts(over.days), *_scale(trends)
    at = _middles(over)
    y = values_of_days(over.days, first.code) * factor
    _dots(axes, at[fit], y[fit])
    axes.plot(at[~fit], y[~fit], "o", color=DRAW, markersize=4.5, fillstyle="none")
    for trend in trends:
        _line(axes, trend, *_of_stretch(over, trend, at, np.where(fit, y, np.nan)), factor)
    if over.change is not None and over.change.named:
        where = span_of(over.change.at_us, over.change.at_us, facts_of(over))[0]
        axes.axvline(where, color=INK, linewidth=1.2, dashes=(2, 2))
    _room(axes, first.code, y)
    axes.set_title(f"{first.name}{f' [{unit}]' if unit else ''}", loc="left", fontsize="medium")
    axes.set_title(_verdicts(trends), loc="right", fontsize="medium", color=ALERT)
    svg.frame_axes(axes)


def _dots(axes: Axes, x: FloatArray, y: FloatArray) -> None:
    """Draw points as strokes of no length with round ends, in one path: as markers a year's would be half a page."""
    known = np.isfinite(y)
    points = np.column_stack([x[known], y[known]])
    if len(points):
        strokes = [np.array([point, point]) for point in points]
        lines.lines(axes, strokes, edgecolor=DRAW, linewidth=4.5, capstyle="round")
    axes.autoscale_view()


def _verdicts(trends: list[DayTrend]) -> str:
    """Return in words what can be told of a panel's trends; empty where nothing can."""
    moving = [trend for trend in trends if trend.verdict in ("rising", "falling")]
    return "; ".join(t.verdict if t.stretch == "all" else f"{t.verdict} {t.stretch}" for t in moving)


def _of_stretch(over: OverLogs, trend: DayTrend, at: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the points of known days on a trend's side of the change."""
    side = np.isfinite(y)
    if over.change is not None and trend.stretch == "before":
        side &= np.array([day.stop_us <= over.change.at_us for day in over.days])
    if over.change is not None and trend.stretch == "after":
        side &= np.array([day.start_us >= over.change.at_us for day in over.days])
    return at[side], y[side]


def _scale(trends: list[DayTrend]) -> tuple[float, str]:
    """Return what values are multiplied with, and the unit they then have."""
    unit = trends[0].unit
    if unit == "s":
        return (1 / 60, "min") if max(trend.usual or 0.0 for trend in trends) >= _IN_MINUTES_S else (1.0, "s")
    return 1.0, unit


def _middles(over: OverLogs) -> FloatArray:
    middles = [(day.start_us + day.stop_us) // 2 for day in over.days]
    return on_axis(np.array(middles, dtype=np.int64), facts_of(over))


def _line(axes: Axes, trend: DayTrend, at: FloatArray, y: FloatArray, factor: float) -> None:
    """Draw the median slope through the middle of the dots: full where it is sure, dotted where chance may make it."""
    if trend.per_day is None:
        return
    # The line of a median slope goes through the median of what is left when the slope is taken off (Theil and Sen).
    slope = trend.per_day.value * factor
    level = float(np.median(y - slope * at))
    ends = at[[0, -1]]
    sure = trend.verdict in ("rising", "falling")
    colour, width, style = (ALERT, 2.2, "-") if sure else (SOFT, 1.2, ":")
    axes.plot(ends, level + slope * ends, color=colour, linewidth=width, linestyle=style)


def _room(axes: Axes, code: str, y: FloatArray) -> None:
    low, high = float(np.nanmin(y)), float(np.nanmax(y))
    if code in _FROM_NOUGHT:
        axes.set_ylim(0, high * 1.08 or 1.0)
        return
    # Figures that hardly vary would fill the panel with their noise: it shows at least a fifth of what is usual.
    room = max(high - low, _LEAST_ROOM * abs(float(np.nanmedian(y))) or 1.0)
    middle = (low + high) / 2
    axes.set_ylim(middle - 0.55 * room, middle + 0.55 * room)


def caption(over: OverLogs) -> str:
    """Return what the chart shows and how to read it."""
    text = (
        "Each dot is a day. The line is the median slope of all pairs of days: full where it can be told from chance, "
        "dotted where it cannot."
    )
    if not counts(over.days).all():
        text += " Open dots: days of which much less was measured than of the others; they take no part in the line."
    if over.change is not None and over.change.named:
        text += f" Dashed from top to bottom: {clock.clock(over.change.at_us, facts_of(over))}"
        text += f", {numbers.shortened(over.change.text)}." if over.change.text else ", the change."
    return f"{text} Days are those of the zone {over.zone}."
