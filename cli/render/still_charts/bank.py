"""The charts of the bank: how far each start pulled its voltage down, and its state of charge over time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..wording import numbers
from . import svg
from .axis import ends, on_axis, time_axis, value_range, x_unit
from .lines import band, lines
from .svg import ALERT, DRAW, GAP, INK, SOFT, WIDE, Frame
from .whole_log import draw_gaps

if TYPE_CHECKING:
    from ....analysis.bank.state_of_charge import StateOfCharge
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.readings.chunk import FloatArray, TimeArray
    from ....analysis.stats.interval95 import Within

#: Of so many stretches of equally many starts at most, the deepest start is drawn.
_STRETCHES = 400
#: Shares of a frame's height that the two charts use. [1]
_SAG_HEIGHT, _STATE_HEIGHT = 0.85, 0.7


@dataclass(frozen=True)
class Sags:
    """The bank's voltage at the starts, and what is known beside it.

    Parameters
    ----------
    start_us, before_V, lowest_V : arrays, shape (n,)
        When each start began, the voltage before it, and the lowest during the run.
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
    starts = [
        (cycle.start_us, cycle.before_V, cycle.lowest_V)
        for cycle in log.cycles.cycles
        if cycle.before_V is not None and cycle.lowest_V is not None
    ]
    if not starts:
        return None
    if len(starts) > _STRETCHES:
        # The deepest of each stretch is what may reach the cut-off: no thinning may hide it.
        parts = np.array_split(np.arange(len(starts)), _STRETCHES)
        starts = [min((starts[i] for i in part), key=lambda start: start[2]) for part in parts]
    us, before, lowest = zip(*starts, strict=True)
    return Sags(np.array(us, dtype=np.int64), np.array(before), np.array(lowest), cut_off_V, next_V)


def range_V(sags: Sags) -> tuple[float, float]:
    """Return the ends of the voltage axis: all that is drawn, and some room. [V]."""
    drawn = [*sags.before_V.tolist(), *sags.lowest_V.tolist()]
    drawn += [sags.cut_off_V] if sags.cut_off_V is not None else []
    drawn += [sags.next_V.low, sags.next_V.high] if sags.next_V is not None else []
    return value_range("voltage_V", min(drawn), max(drawn))


def signs_of(sags: Sags) -> dict[str, str]:
    """Return what the signs of the chart are called."""
    cut_off = "" if sags.cut_off_V is None else f"cut-off, {numbers.amount(sags.cut_off_V, 'V')}"
    return {"before": "before the start", "lowest": "lowest", "next": "next start, 95 %", "cut_off": cut_off}


def sag_at_starts(sags: Sags, log: LogReport, *, name: str = "sag", frame: Frame = WIDE) -> str:
    """Draw a line down from the voltage before each start to the lowest in it, and a line at the cut-off."""
    x, signs = on_axis(sags.start_us, log.facts), signs_of(sags)
    start_us, stop_us = ends(log)
    with svg.drawing(frame.of_height(frame.height_px * _SAG_HEIGHT)) as figure:
        axes = figure.add_subplot()
        time_axis(axes, log.facts, start_us, stop_us, frame)
        pairs = zip(x, sags.lowest_V, sags.before_V, strict=True)
        lines(axes, [np.array([[at, low], [at, high]]) for at, low, high in pairs], color=DRAW, linewidth=1.2)
        axes.plot(x, sags.before_V, "s", color=SOFT, fillstyle="none", markersize=4.5, label=signs["before"])
        axes.plot(x, sags.lowest_V, "o", color=DRAW, markersize=4.5, label=signs["lowest"])
        if (coming := sags.next_V) is not None:
            # The next start has no instant yet: it stands at the end of the log.
            at = float(on_axis(np.array([stop_us]), log.facts)[0])
            axes.plot([at, at], [coming.low, coming.high], "_-", color=INK, markersize=8)
            axes.plot(at, coming.value, "D", color=INK, fillstyle="none", label=signs["next"])
        if sags.cut_off_V is not None:
            axes.axhline(sags.cut_off_V, color=ALERT, linestyle="--", linewidth=1.6, label=signs["cut_off"])
        axes.set_ylim(*range_V(sags))
        axes.set_ylabel("voltage [V]")
        svg.frame_axes(axes)
        svg.legend_above(figure, 4 if frame == WIDE else 2)
        return svg.inline(
            figure,
            name=name,
            label="Voltage of the bank before and at each start, with the cut-off",
            x_unit=x_unit(log.facts),
        )


def state_over_time(
    state: StateOfCharge, log: LogReport, *, floor_pct: float | None, name: str = "state", frame: Frame = WIDE
) -> str:
    """Draw a line for the state, a band for its interval, and a line at the usable depth, down to `floor_pct`.

    The state has at least one instant; a floor of None draws no line.
    """
    start_us, stop_us = ends(log)
    x = on_axis(state.time_us, log.facts)
    with svg.drawing(frame.of_height(frame.height_px * _STATE_HEIGHT)) as figure:
        axes = figure.add_subplot()
        time_axis(axes, log.facts, start_us, stop_us, frame)
        interval = [(x, state.low_pct, state.high_pct)]
        band(axes, interval, step="", least=0.0, facecolor=GAP, edgecolor=SOFT, linewidth=0.8)
        axes.plot(x, state.state_pct, color=INK, linewidth=1.8, label="counted, with its 95 % interval")
        draw_gaps(axes, log, start_us, stop_us)
        if floor_pct is not None:
            axes.axhline(floor_pct, color=ALERT, linestyle="--", linewidth=1.6, label="usable depth")
        axes.set_ylim(*range_pct(state, floor_pct))
        axes.set_ylabel("state of charge [%]")
        svg.frame_axes(axes)
        svg.legend_above(figure, 2 if frame == WIDE else 1)
        return svg.inline(
            figure,
            name=name,
            label="State of charge over the log, with its interval and usable depth",
            x_unit=x_unit(log.facts),
        )


def range_pct(state: StateOfCharge, floor_pct: float | None) -> tuple[float, float]:
    """Return the ends of the state's axis: from below the interval and the usable depth to a full bank. [%]."""
    return min(float(state.low_pct.min()), 100.0 if floor_pct is None else floor_pct) - 4, 101
