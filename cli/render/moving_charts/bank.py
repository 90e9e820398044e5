"""The bank's voltage at each start and its state of charge, to be zoomed and read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bokeh.models import ColumnDataSource, Range1d

from ..still_charts.axis import ends
from ..still_charts.bank import range_pct, range_V, signs_of
from ..still_charts.svg import ALERT, DRAW, GAP, REST, SOFT
from ..wording import numbers
from .chart import Chart, Readout, legend, ms, of_instants, one_ms, small, texts
from .whole_log import gaps_on

if TYPE_CHECKING:
    from bokeh.models import GlyphRenderer
    from bokeh.plotting import figure

    from ....analysis.bank.state_of_charge import StateOfCharge
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.stats.interval95 import Within
    from ..still_charts.bank import Sags


def sag_at_starts(sags: Sags, log: LogReport, name: str) -> str:
    """Return the chart of the sag as JSON for the page."""
    stop_us = ends(log)[1]
    chart = of_instants(log.facts, *ends(log))
    plot = chart.plot("voltage [V]", 290, y_range=Range1d(*range_V(sags)))
    names, at = signs_of(sags), ms(sags.start_us)
    pairs = zip(sags.before_V.tolist(), sags.lowest_V.tolist(), strict=True)
    sentences = [
        f"start from {numbers.amount(before, 'V')} down to {numbers.amount(lowest, 'V')}" for before, lowest in pairs
    ]
    source = texts(at, at, sentences, before=sags.before_V, lowest=sags.lowest_V)
    chart.read(Readout(source))
    plot.segment("from", "lowest", "from", "before", source=source, line_color=DRAW, line_width=1.2)
    before = plot.scatter("from", "before", source=source, marker="square", size=7, fill_color=None, line_color=REST)
    lowest = plot.scatter("from", "lowest", source=source, size=7, color=DRAW)
    signs = [(names["before"], [before]), (names["lowest"], [lowest])]
    if sags.next_V is not None:
        signs.append((names["next"], _next(chart, plot, sags.next_V, one_ms(stop_us))))
    if (cut_off_V := sags.cut_off_V) is not None:
        line = plot.hspan([cut_off_V], line_color=ALERT, line_dash="dashed", line_width=1.6)
        signs.append((names["cut_off"], [line]))
    legend(plot, signs)
    return chart.finished(name)


def _next(chart: Chart, plot: figure, coming: Within, at: float) -> list[GlyphRenderer]:
    ends_V = f"{numbers.amount(coming.low, 'V')} to {numbers.amount(coming.high, 'V')}"
    sentence = f"the next start falls to {numbers.amount(coming.value, 'V')} ({ends_V})"
    source = texts([at], [at], [sentence], low=[coming.low], middle=[coming.value], high=[coming.high])
    chart.read(Readout(source))
    bar = plot.segment("from", "low", "from", "high", source=source, line_color=ALERT, line_width=2)
    sign = {"marker": "diamond", "size": 11, "fill_color": None, "line_color": ALERT, "line_width": 2}
    return [bar, plot.scatter("from", "middle", source=source, **sign)]


def state_over_time(state: StateOfCharge, log: LogReport, *, floor_pct: float | None, name: str) -> str:
    """Return the chart of the state as JSON for the page; it has at least one instant, and None draws no floor."""
    start_us, stop_us = ends(log)
    chart = of_instants(log.facts, start_us, stop_us)
    plot = chart.plot("state of charge [%]", 260, y_range=Range1d(*range_pct(state, floor_pct)))
    t = ms(state.time_us)
    # Two sources, since the line under the chart tells of each by its own name; the band's ends are told as one.
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
    # The state holds between its instants wherever the finger is, also in a gap: the count goes on from there.
    reach = one_ms(stop_us - start_us)
    chart.read(Readout(counted, "state of charge", "%", 0.0, reach))
    chart.read(Readout(within, "95 % interval", "%", 0.0, reach))
    gaps_on(chart, plot, log)
    return chart.finished(name)
