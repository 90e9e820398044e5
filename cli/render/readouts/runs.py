"""What the charts of runs and rests and of one start tell."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..still_charts import close_up as close_up_chart
from ..still_charts.axis import NAMES, since
from ..still_charts.runs import run_lengths
from ..still_charts.thinning import extremes
from ..wording import numbers
from .readout import Readout, ms, of_instants

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import CloseUp, LogReport
    from ....analysis.readings.log_facts import LogFacts

#: At most so many stretches have their shortest and longest told.
_STRETCHES = 2000


def run_and_rest(log: LogReport) -> str:
    """Return what the chart tells, as JSON for the page; at least one of the log's cycles must have a run time."""
    lengths = run_lengths(log, None, None)
    readout = of_instants(log.facts, *lengths.ends_us)
    for points, says in ((lengths.runs, "run of"), (lengths.rests, "rest of")):
        us, length_s = extremes(points, _STRETCHES)
        readout.span(ms(us), ms(us), [f"{says} {numbers.duration(s)}" for s in length_s.tolist()])
    return readout.as_json()


def start_close_up(close_up: CloseUp, facts: LogFacts) -> str:
    """Return what the chart tells, as JSON for the page; its readings must hold current or power."""
    title, unit = NAMES[close_up_chart.quantity_of(close_up.readings)]
    seconds, x = close_up_chart.around(close_up)
    time_unit, unit_s = since(float(seconds[-1] - seconds[0]))
    readout = Readout({"since": time_unit}, 4 * (facts.usual_interval_s or 1.0) / unit_s)
    readout.reading(f"{title} as read", unit, seconds / unit_s, x, facts.gap_limit_s / unit_s)
    return readout.as_json()
