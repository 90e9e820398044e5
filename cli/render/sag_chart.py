"""The chart of the sag: how far each start pulled the bank's voltage down, against what switches the inverter off."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from . import svg, words
from .axis import ends, on_axis, time_axis
from .svg import ALERT, DRAW, REST, WIDE, Frame

if TYPE_CHECKING:
    from ...analysis.chunk import FloatArray, TimeArray
    from ...analysis.report import LogReport
    from ...analysis.within import Within

# Of so many stretches of equally many starts at most, the deepest start is drawn.
_STRETCHES = 400


@dataclass(frozen=True)
class Sags:
    """The bank's voltage at the starts, and what is known beside it.

    Parameters
    ----------
    start_us : array of int64, shape (n,)
        When each began. [us]
    before_V, lowest_V : array of float64, shape (n,)
        Voltage before it, and the lowest during the run. [V]
    cut_off_V : float or None
        The inverter switches off below this. [V]
    next_V : Within or None
        Lowest voltage at the next start, from the log's end. [V]
    """

    start_us: TimeArray
    before_V: FloatArray
    lowest_V: FloatArray
    cut_off_V: float | None
    next_V: Within | None


def sags_of(log: LogReport, cut_off_V: float | None, next_V: Within | None) -> Sags | None:
    """Return the starts whose voltages are known, of many the deepest; None where there is none."""
    seen = [
        (cycle.start_us, cycle.before_V, cycle.lowest_V)
        for cycle in log.cycles.cycles
        if cycle.before_V is not None and cycle.lowest_V is not None
    ]
    if not seen:
        return None
    if len(seen) > _STRETCHES:
        parts = np.array_split(np.arange(len(seen)), _STRETCHES)
        seen = [min((seen[i] for i in part), key=lambda start: start[2]) for part in parts]
    us, before, lowest = zip(*seen, strict=True)
    return Sags(np.array(us, dtype=np.int64), np.array(before), np.array(lowest), cut_off_V, next_V)


def range_V(sags: Sags) -> tuple[float, float]:
    """Return the ends of the voltage axis: all that is drawn, and some room. [V]."""
    drawn = [*sags.before_V.tolist(), *sags.lowest_V.tolist()]
    drawn += [sags.cut_off_V] if sags.cut_off_V is not None else []
    drawn += [sags.next_V.low, sags.next_V.high] if sags.next_V is not None else []
    room = (max(drawn) - min(drawn)) * 0.08 or 0.1
    return min(drawn) - room, max(drawn) + room


def signs_of(sags: Sags) -> dict[str, str]:
    """Return what the signs of the chart are called."""
    cut_off = "" if sags.cut_off_V is None else f"cut-off, {words.amount(sags.cut_off_V, 'V')}"
    return {"before": "before the start", "lowest": "lowest", "next": "next start, 95 %", "cut_off": cut_off}


def sag_at_starts(sags: Sags, log: LogReport, *, name: str = "sag", frame: Frame = WIDE) -> str:
    """Draw a line down from the voltage before each start to the lowest in it, and a line at the cut-off.

    Parameters
    ----------
    sags : Sags
        The starts.
    log : LogReport
        Its span and zone.
    name : str
        Unique on the page.
    frame : Frame
        The width to draw for; most of its height is used.
    """
    low = Frame(frame.name, frame.width_px, round(frame.height_px * 0.85), frame.text_px, frame.points)
    x, said = on_axis(sags.start_us, log.facts), signs_of(sags)
    start_us, stop_us = ends(log)
    with svg.drawing(low) as figure:
        axes = figure.add_subplot()
        time_axis(axes, log.facts, start_us, stop_us, frame)
        axes.vlines(x, sags.lowest_V, sags.before_V, color=DRAW, linewidth=1.2)
        axes.plot(x, sags.before_V, "s", color=REST, fillstyle="none", markersize=4.5, label=said["before"])
        axes.plot(x, sags.lowest_V, "o", color=DRAW, markersize=4.5, label=said["lowest"])
        if (coming := sags.next_V) is not None:
            at, off = (
                on_axis(np.array([stop_us]), log.facts),
                [[coming.value - coming.low], [coming.high - coming.value]],
            )
            axes.errorbar(at, [coming.value], yerr=off, fmt="D", color=ALERT, capsize=4, mfc="none", label=said["next"])
        if sags.cut_off_V is not None:
            axes.axhline(sags.cut_off_V, color=ALERT, linestyle="--", linewidth=1.6, label=said["cut_off"])
        axes.set_ylim(*range_V(sags))
        axes.set_ylabel("voltage [V]")
        svg.frame_axes(axes)
        figure.legend(loc="outside upper left", ncols=4 if frame == WIDE else 2, handlelength=1.6)
        return svg.inline(figure, name=name, label="Voltage of the bank before and at each start, with the cut-off")
