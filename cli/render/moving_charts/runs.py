"""Runs and rests over time, to be zoomed and read, with the shortest that do a motor no harm."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from bokeh.models import Range1d

from ..still_charts.axis import lengths_between
from ..still_charts.runs import limit_sign, run_lengths
from ..still_charts.svg import ALERT, DRAW, REST
from ..still_charts.thinning import extremes
from ..wording import numbers
from .chart import Chart, Readout, legend, ms, of_instants, rows_on, texts

if TYPE_CHECKING:
    from bokeh.models import GlyphRenderer
    from bokeh.plotting import figure

    from ....analysis.one_log.log_report import LogReport

#: At most so many stretches have their shortest and longest shown.
_STRETCHES = 2000


def run_and_rest(log: LogReport, *, minimum_run_s: float | None, minimum_off_s: float | None, name: str) -> str:
    """Return the chart of runs and rests as JSON for the page; None for a limit draws no line.

    At least one of the log's cycles must have a run time.
    """
    lengths = run_lengths(log, minimum_run_s, minimum_off_s)
    points = lengths.runs + lengths.rests
    starts_us = [us for us, _ in points]
    # A lone run has no stretch of time: the axis is then two seconds long.
    chart = of_instants(log.facts, min(starts_us), max([*starts_us, min(starts_us) + 2_000_000]))
    lengths_s = [s for _, s in points] + [limit_s for limit_s in lengths.limits_s.values() if limit_s]
    low_s, high_s = min(lengths_s) / 1.5, max(lengths_s) * 1.5
    plot = chart.plot("length, logarithmic", 300, y_range=Range1d(low_s, high_s), logarithmic=True)
    rows_on(plot, {s: numbers.duration(s) for s in lengths_between(low_s, high_s)})
    runs, rests = lengths.runs, lengths.rests
    signs = [
        ("run", [_points(chart, plot, runs, "run of", marker="circle", fill_color=DRAW, line_color=DRAW)]),
        ("rest before it", [_points(chart, plot, rests, "rest of", marker="square", fill_color=None, line_color=REST)]),
    ]
    for what, limit_s in lengths.limits_s.items():
        dash = "dashed" if what == "run" else "dotted"
        line = plot.hspan([limit_s], line_color=ALERT, line_dash=dash, line_width=1.6)
        signs.append((limit_sign(what, limit_s), [line]))
    legend(plot, signs)
    return chart.finished(name)


def _points(
    chart: Chart, plot: figure, points: Sequence[tuple[int, float]], says: str, **style: str | None
) -> GlyphRenderer:
    us, length_s = extremes(points, _STRETCHES)
    at = ms(us)
    source = texts(at, at, [f"{says} {numbers.duration(s)}" for s in length_s], length=length_s)
    chart.read(Readout(source))
    return plot.scatter("from", "length", source=source, size=7, **style)
