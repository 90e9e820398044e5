"""Axes of a chart: what is drawn, time in the log's zone or since its start, and lengths of time."""

from __future__ import annotations

from datetime import tzinfo
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from ....analysis.readings.chunk import MICROSECONDS, FloatArray, TimeArray
from ..wording import clock
from .svg import WIDE, Frame, in_lines

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis

    from ....analysis.one_log.log_report import LogReport
    from ....analysis.readings.log_facts import LogFacts
    from .thinning import Span

#: What can be drawn: its name and its unit.
NAMES = {"current_A": ("current", "A"), "power_W": ("power", "W")}
#: What is drawn below them where it was read.
VOLTS = ("voltage", "V")
#: A chart of draws reaches at least so high: a meter's noise at rest must not look like a load. [unit of the quantity]
_LEAST_DRAW = {"current_A": 1.0, "power_W": 10.0}
#: A chart of volts spans at least this share of them, some ten times a usual meter's step: a steady bank is a line in
#: it, not a block that fills it. [1]
_LEAST_VOLTS = 0.05
#: Lengths of time that people say. [s]
LENGTHS_S = (
    *(0.01, 0.03, 0.1, 0.3, 1, 3, 10, 20, 30, 60, 120, 300, 600, 1200, 1800),
    *(3600 * h for h in (1, 2, 3, 6, 12, 24, 48, 168, 672)),
)
#: A shorter log is given this much room, so that its ticks stand at whole seconds. [us]
_LEAST_US = 2 * MICROSECONDS
#: From this length on, the time around a start is told in the larger unit. [s]
_IN_MINUTES_S, _IN_HOURS_S = 300.0, 5 * 3600.0


def charted(log: LogReport) -> str:
    """Return which quantity the chart of the whole log shows: current, or power where current has no sign."""
    # Amps behind an inverter alternate: their size says nothing of which way energy went, watts do.
    order = ("current_A", "power_W") if log.facts.side == "dc" else ("power_W", "current_A")
    return next(quantity for quantity in order if quantity in log.envelopes)


def ends(log: LogReport) -> tuple[int, int]:
    """Return where a chart of the whole log begins and ends. [us]."""
    span, drawn_us = log.charge.span, log.envelopes[charted(log)].time_us
    times = [t for t in (span.start_us, span.stop_us) if t is not None]
    if len(drawn_us):
        times += [int(drawn_us[0]), int(drawn_us[-1])]
    first = min(times, default=0)
    return first, max([*times, first + _LEAST_US])


def value_range(quantity: str, low: float, high: float) -> tuple[float, float]:
    """Return the ends of an axis for readings from `low` to `high`: from zero for draws, and of a sensible length.

    What is given back is below zero.
    """
    if quantity in _LEAST_DRAW:
        high = max(high, _LEAST_DRAW[quantity] if low >= 0 else 0.0)
        room = 0.06 * (high - min(low, 0.0))
        # The line of zero itself would else be half cut off.
        return (low - room if low < 0 else -room / 6), high + room
    span = max((high - low) * 1.16, _LEAST_VOLTS * abs(high + low) / 2)
    return (low + high - span) / 2, (low + high + span) / 2


def x_unit(facts: LogFacts) -> float:
    """Return what one of a time axis is. [ms]."""
    return 1e3 if facts.undated else 86400e3


def on_axis(us: TimeArray, facts: LogFacts) -> FloatArray:
    """Return instants on the chart's time axis: days since 1970, or seconds since the start without dates."""
    return np.asarray(us / MICROSECONDS if facts.undated else us / (86400 * MICROSECONDS), dtype=np.float64)


def span_of(start_us: int, stop_us: int, facts: LogFacts) -> Span:
    """Return a stretch of time on the chart's time axis."""
    left, right = on_axis(np.array([start_us, stop_us]), facts).tolist()
    return left, right


def time_axis(axes: Axes, facts: LogFacts, start_us: int, stop_us: int, frame: Frame) -> None:
    """Give an axis the log's span with ticks at round times of its zone, which it names, or from the log's start."""
    from matplotlib.ticker import MultipleLocator

    left, right = span_of(start_us, stop_us, facts)
    room = (right - left) * 0.01 or 1 / 86400
    axes.set_xlim(left - room, right + room)
    most = 9 if frame == WIDE else 4  # labels beyond these would touch
    if facts.undated:
        step_s = next((s for s in LENGTHS_S if s >= 1 and (right - left) / s <= most), (right - left) / most)
        axes.xaxis.set_major_locator(MultipleLocator(step_s))
        axes.xaxis.set_major_formatter(lambda seconds, _: clock.elapsed(round(seconds * MICROSECONDS)))
        axes.set_xlabel(clock.in_zone(facts))
    else:
        _dated(axes, clock.zone_of(facts)[1], most)
        words = f"time in {clock.in_zone(facts)}", f"({clock.offsets(facts, start_us, stop_us)})"
        axes.set_xlabel(in_lines(words, frame.width_px / frame.text_px))


def _dated(axes: Axes, zone: tzinfo, most: int) -> None:
    from matplotlib import dates

    # A tick that begins a larger unit (a day among hours) names that, so each date is written once.
    plain = ["%Y", "%b %Y", "%d %b", "%H:%M", "%H:%M", "%H:%M:%S"]
    first = ["", "%Y", "%b %Y", "%d %b", "%H:%M", "%H:%M"]
    untyped = cast(Any, dates)
    # The locator steps by minutes up to 120 of them, by hours up to 48 and so on, in strides of 30 and of 12 at most:
    # with fewer than five ticks it finds none that fits, and warns.
    locator = untyped.AutoDateLocator(tz=zone, minticks=2, maxticks=max(most, 5))
    fine = [1, 2, 3, 5, 10, 15, 20, 30]
    locator.intervald |= {dates.MINUTELY: fine, dates.SECONDLY: fine, dates.DAILY: [1, 2, 4, 7, 14, 21]}
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(
        untyped.ConciseDateFormatter(locator, tz=zone, formats=plain, zero_formats=first, show_offset=False)
    )
    _settle(axes.xaxis)


def _settle(along: Axis) -> None:
    """Keep the ticks of an axis whose ends are set: laying a chart out and drawing it would ask for them ten times."""
    from matplotlib import ticker

    places = along.get_majorticklocs().tolist()
    texts = along.get_major_formatter().format_ticks(places)
    along.set_major_locator(ticker.FixedLocator(places))
    along.set_major_formatter(ticker.FixedFormatter(texts))


def since(shown_s: float) -> tuple[str, float]:
    """Return the unit for a time axis that shows so many seconds, and how many seconds it has."""
    if shown_s <= _IN_MINUTES_S:
        return "seconds", 1.0
    return ("minutes", 60.0) if shown_s <= _IN_HOURS_S else ("hours", 3600.0)


def lengths_between(low_s: float, high_s: float) -> list[float]:
    """Return lengths people say, at most eight or so of them, to mark an axis with. [s]."""
    inside = [s for s in LENGTHS_S if low_s <= s <= high_s]
    return inside[:: 1 + len(inside) // 7]
