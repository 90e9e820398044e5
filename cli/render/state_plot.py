"""The bank's state of charge over time, to be zoomed and read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bokeh.models import ColumnDataSource, Range1d

from .axis import ends
from .plot import Chart, Read, clock_of, legend, ms, one_ms, small
from .state_chart import lowest_shown_pct
from .svg import ALERT, DRAW, GAP, SOFT
from .whole_log_plot import gaps_on

if TYPE_CHECKING:
    from ...analysis.report import LogReport
    from ...analysis.state_of_charge import StateOfCharge


def state_over_time(state: StateOfCharge, log: LogReport, *, floor_pct: float | None, name: str) -> str:
    """Return the chart of the state as JSON for the page; it has at least one instant, and None draws no floor."""
    start_us, stop_us = ends(log)
    chart = Chart(one_ms(start_us), one_ms(stop_us), closest=60e3, clock=clock_of(log.facts, start_us, stop_us))
    range_pct = Range1d(lowest_shown_pct(state, floor_pct), 101)
    plot = chart.plot("state of charge [%]", 260, y_range=range_pct)
    t = ms(state.time_us)
    within = ColumnDataSource({"t": t, "low": small(state.low_pct), "high": small(state.high_pct)})
    counted = ColumnDataSource({"t": t, "low": small(state.state_pct), "high": small(state.state_pct)})
    band = plot.varea("t", "low", "high", source=within, fill_color=GAP)
    for edge in ("low", "high"):
        plot.line("t", edge, source=within, color=SOFT, line_width=0.8)
    line = plot.line("t", "low", source=counted, color=DRAW, line_width=1.8)
    signs = [("counted", [line]), ("95 % interval", [band])]
    if floor_pct is not None:
        signs.append(("usable depth", [plot.hspan([floor_pct], line_color=ALERT, line_dash="dashed", line_width=1.6)]))
    legend(plot, signs)
    reach = one_ms(stop_us - start_us)
    chart.read(Read(counted, "state of charge", "%", 0.0, reach))
    chart.read(Read(within, "95 % interval", "%", 0.0, reach))
    gaps_on(chart, plot, log)
    return chart.finished(name)
