"""The chart of the bank: its state of charge over time, how sure that is, and how far it may be run down."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import svg
from .axis import ends, on_axis, time_axis
from .charts import draw_gaps
from .svg import ALERT, DRAW, GAP, SOFT, WIDE, Frame

if TYPE_CHECKING:
    from ...analysis.report import LogReport
    from ...analysis.state_of_charge import StateOfCharge


def state_over_time(
    state: StateOfCharge, log: LogReport, *, floor_pct: float | None, name: str = "state", frame: Frame = WIDE
) -> str:
    """Draw a line for the state, a band for its interval, and a line at the usable depth.

    Parameters
    ----------
    state : StateOfCharge
        At least one instant.
    log : LogReport
        Its span, zone and gaps.
    floor_pct : float or None
        Down to where the owner runs the bank; None draws no line. [%]
    name : str
        Unique on the page.
    frame : Frame
        The width to draw for; two thirds of its height are used.
    """
    low = Frame(frame.name, frame.width_px, round(frame.height_px * 0.7), frame.text_px, frame.points)
    start_us, stop_us = ends(log)
    x = on_axis(state.time_us, log.facts)
    with svg.drawing(low) as figure:
        axes = figure.add_subplot()
        time_axis(axes, log.facts, start_us, stop_us, frame)
        axes.fill_between(x, state.low_pct, state.high_pct, facecolor=GAP, edgecolor=SOFT, linewidth=0.8)
        axes.plot(x, state.state_pct, color=DRAW, linewidth=1.8, label="counted, with its 95 % interval")
        draw_gaps(axes, log, start_us, stop_us)
        if floor_pct is not None:
            axes.axhline(floor_pct, color=ALERT, linestyle="--", linewidth=1.6, label="usable depth")
        axes.set_ylim(lowest_shown_pct(state, floor_pct), 101)
        axes.set_ylabel("state of charge [%]")
        svg.frame_axes(axes)
        figure.legend(loc="outside upper left", ncols=2, handlelength=1.6)
        return svg.inline(figure, name=name, label="State of charge over the log, with its interval and usable depth")


def lowest_shown_pct(state: StateOfCharge, floor_pct: float | None) -> float:
    """Return where the axis of the state begins: below the interval and the usable depth. [%]."""
    return min(float(state.low_pct.min()), 100.0 if floor_pct is None else floor_pct) - 4
