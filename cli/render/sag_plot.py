"""The bank's voltage at each start, to be zoomed and read, against what switches the inverter off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bokeh.models import Range1d

from . import words
from .axis import ends
from .plot import Chart, Read, clock_of, legend, ms, one_ms, texts
from .sag_chart import range_V, signs_of
from .svg import ALERT, DRAW, REST

if TYPE_CHECKING:
    from bokeh.models import GlyphRenderer
    from bokeh.plotting import figure

    from ...analysis.report import LogReport
    from ...analysis.within import Within
    from .sag_chart import Sags


def sag_at_starts(sags: Sags, log: LogReport, name: str) -> str:
    """Return the chart of the sag as JSON for the page."""
    start_us, stop_us = ends(log)
    chart = Chart(one_ms(start_us), one_ms(stop_us), closest=60e3, clock=clock_of(log.facts, start_us, stop_us))
    plot = chart.plot("voltage [V]", 290, y_range=Range1d(*range_V(sags)))
    said, at = signs_of(sags), ms(sags.start_us)
    pairs = zip(sags.before_V.tolist(), sags.lowest_V.tolist(), strict=True)
    told = [f"start from {words.amount(before, 'V')} down to {words.amount(lowest, 'V')}" for before, lowest in pairs]
    source = texts(at, at, told, before=sags.before_V, lowest=sags.lowest_V)
    chart.read(Read(source))
    plot.segment("from", "lowest", "from", "before", source=source, line_color=DRAW, line_width=1.2)
    before = plot.scatter("from", "before", source=source, marker="square", size=7, fill_color=None, line_color=REST)
    lowest = plot.scatter("from", "lowest", source=source, size=7, color=DRAW)
    signs = [(said["before"], [before]), (said["lowest"], [lowest])]
    if sags.next_V is not None:
        signs.append((said["next"], _next(chart, plot, sags.next_V, one_ms(stop_us))))
    if (cut_off_V := sags.cut_off_V) is not None:
        line = plot.hspan([cut_off_V], line_color=ALERT, line_dash="dashed", line_width=1.6)
        signs.append((said["cut_off"], [line]))
    legend(plot, signs)
    return chart.finished(name)


def _next(chart: Chart, plot: figure, coming: Within, at: float) -> list[GlyphRenderer]:
    ends_V = f"{words.amount(coming.low, 'V')} to {words.amount(coming.high, 'V')}"
    said = [f"the next start falls to {words.amount(coming.value, 'V')} ({ends_V})"]
    source = texts([at], [at], said, low=[coming.low], middle=[coming.value], high=[coming.high])
    chart.read(Read(source))
    bar = plot.segment("from", "low", "from", "high", source=source, line_color=ALERT, line_width=2)
    sign = {"marker": "diamond", "size": 11, "fill_color": None, "line_color": ALERT, "line_width": 2}
    return [bar, plot.scatter("from", "middle", source=source, **sign)]
