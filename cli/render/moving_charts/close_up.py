"""One start, to be zoomed and read: each reading around it, where it settles, and what may lie between two readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bokeh.models import ColumnDataSource

from ..still_charts import close_up as close_up_chart
from ..still_charts.axis import NAMES, since
from ..still_charts.svg import ALERT, DRAW, REST
from ..wording import numbers
from .chart import BOKEH_STEPS, UNKNOWN_TIME, Chart, Readout, legend, small, zero

if TYPE_CHECKING:
    from bokeh.models import GlyphRenderer
    from bokeh.plotting import figure

    from ....analysis.one_log.log_report import CloseUp
    from ....analysis.readings.log_facts import LogFacts

_Sign = tuple[str, list["GlyphRenderer"]]


def start_close_up(close_up: CloseUp, facts: LogFacts, name: str) -> str:
    """Return the chart of one start as JSON for the page; its readings must hold current or power."""
    title, unit = NAMES[close_up_chart.quantity_of(close_up.readings)]
    seconds, x = close_up_chart.around(close_up)
    time_unit, unit_s = since(float(seconds[-1] - seconds[0]))
    t = seconds / unit_s
    spacing = (facts.usual_interval_s or 1.0) / unit_s
    chart = Chart(float(t[0]), float(t[-1]), closest=4 * spacing, clock={"since": time_unit})
    plot = chart.plot(f"{title} as read [{unit}]", 340)
    plot.xaxis.axis_label = f"{time_unit} from the start"
    source = ColumnDataSource({"t": t, "low": small(x), "high": small(x)})
    chart.read(Readout(source, f"{title} as read", unit, 0.0, facts.gap_limit_s / unit_s))
    signs = _unseen(plot, close_up, unit_s)
    signs += [("a reading", _readings(plot, source, facts))]
    zero(plot)
    legend(plot, [*signs, *_levels(plot, close_up, unit_s, unit)])
    plot.y_range.renderers = signs[-1][1]
    return chart.finished(name)


def _readings(plot: figure, source: ColumnDataSource, facts: LogFacts) -> list[GlyphRenderer]:
    how = BOKEH_STEPS[facts.sampling]
    if how:
        line = plot.step("t", "low", source=source, mode=how, color=DRAW)
    else:
        line = plot.line("t", "low", source=source, color=DRAW)
    return [line, plot.scatter("t", "low", source=source, size=5, color=DRAW)]


def _unseen(plot: figure, close_up: CloseUp, unit_s: float) -> list[_Sign]:
    """Hatch the time between readings in which a higher draw could have come and gone."""
    unseen = close_up_chart.unseen_s(close_up)
    if unseen is None:
        return []
    left, right = unseen[0] / unit_s, unseen[1] / unit_s
    return [(close_up_chart.UNSEEN, [plot.vstrip([left], [right], **UNKNOWN_TIME)])]


def _levels(plot: figure, close_up: CloseUp, unit_s: float, unit: str) -> list[_Sign]:
    """Draw where the readings settle, and ring the highest."""
    signs: list[_Sign] = []
    if (settled := close_up_chart.settled(close_up)) is not None:
        line = plot.hspan([settled], line_color=REST, line_width=2, line_dash="dashed")
        signs.append((f"settles at {numbers.amount(settled, unit)}", [line]))
    if (highest := close_up_chart.highest(close_up)) is not None:
        ring = plot.scatter(
            [highest[0] / unit_s], [highest[1]], size=13, fill_color=None, line_color=ALERT, line_width=2
        )
        signs.append((f"highest, {numbers.amount(highest[1], unit)}", [ring]))
    return signs
