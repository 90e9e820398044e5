"""The page's figures: each a chart in two sizes, with its caption and the tables that say the same in figures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...analysis.health_limits import MINIMUM_RUN_S, MINIMUM_RUN_SOURCE
from . import (
    budget_table,
    charts,
    close_up_chart,
    close_up_plot,
    on_strip,
    plate_tables,
    runs_plot,
    sentences,
    shares_chart,
    svg,
    tables,
    waterfall_chart,
    whole_log_plot,
    words,
)
from .axis import NAMES

if TYPE_CHECKING:
    from ...analysis.report import LogReport
    from ...analysis.site import Limits
    from .tables import Table


@dataclass(frozen=True)
class Figure:
    """A chart drawn for a wide and for a narrow screen, its caption, what else is to be said, and its tables.

    ``plot`` is the same as JSON for the page's script, which takes the drawings' place; empty where moving and zooming
    would show nothing more.
    """

    wide: str
    narrow: str
    caption: str
    said: str
    tables: tuple[Table, ...]
    plot: str = ""


def whole_log(log: LogReport, name: str) -> Figure | None:
    """Return the chart of the whole log; None where there is nothing to draw."""
    if not any(len(seen.time_us) for seen in log.envelopes.values()):
        return None
    caption = "Lowest to highest reading over the whole log."
    if log.cycles.cycles:
        caption += _strip(log)
    if log.charge.span.gaps:
        caption += " Hatched from top to bottom: no readings."
    if log.facts.markers:
        caption += " Numbered lines: the notes listed under it."
    shown = (tables.ranges(log), tables.gaps(log), tables.markers(log))
    wide, narrow = both_sizes(lambda frame, unique: charts.whole_log(log, name=unique, frame=frame), name)
    plot = whole_log_plot.whole_log(log, f"{name}-plot")
    return Figure(wide, narrow, caption, "", shown, plot)


def start(log: LogReport, name: str) -> Figure | None:
    """Return the chart of one start; None where no start was seen."""
    close_up = log.close_up
    if close_up is None or not (quantity := close_up_chart.quantity_of(close_up.readings)):
        return None
    draw = close_up_chart.start_close_up
    wide, narrow = both_sizes(lambda frame, unique: draw(close_up, log.facts, name=unique, frame=frame), name)
    before = words.amount(close_up_chart.before(close_up), NAMES[quantity][1])
    caption = sentences.start_as_read(close_up, log.facts, before)
    shown = (tables.start(close_up, log.facts),)
    if close_up_chart.unseen_s(close_up) is not None:
        caption += " Hatched: there a higher draw could come and go between two readings."
    plot = close_up_plot.start_close_up(close_up, log.facts, f"{name}-plot")
    return Figure(wide, narrow, caption, sentences.surge(close_up, log.facts), shown, plot)


def runs(log: LogReport, limits: Limits | None, name: str) -> Figure | None:
    """Return the chart of runs and rests; None where no run was seen whole."""
    if not any(cycle.run_s for cycle in log.cycles.cycles):
        return None
    own_run_s, minimum_off_s = (limits.minimum_run_s, limits.minimum_off_s) if limits else (None, None)
    minimum_run_s = own_run_s or MINIMUM_RUN_S
    draw = charts.run_and_rest
    wide, narrow = both_sizes(
        lambda frame, unique: draw(
            log, minimum_run_s=minimum_run_s, minimum_off_s=minimum_off_s, name=unique, frame=frame
        ),
        name,
    )
    whose = "the owner's own limit" if own_run_s else MINIMUM_RUN_SOURCE
    caption = "How long each run (dots) and the rest before it (open squares) lasted."
    caption += " The scale is logarithmic: a step up multiplies the length."
    caption += f" Shortest good run: {words.duration(minimum_run_s)}, {whose}."
    plot = runs_plot.run_and_rest(log, minimum_run_s=minimum_run_s, minimum_off_s=minimum_off_s, name=f"{name}-plot")
    return Figure(wide, narrow, caption, "", (tables.usual_run(log),), plot)


def plate(log: LogReport, name: str) -> Figure | None:
    """Return the way from paper over nameplate to measurement; None where they were not compared."""
    check = log.plate
    if check is None:
        return None
    wide, narrow = both_sizes(lambda frame, unique: waterfall_chart.waterfall(check, name=unique, frame=frame), name)
    caption = (
        f"Energy that the {words.shortened(check.estimate.load)} took while it ran. Tall bars are sums: dotted and "
        "hatched reckoned, full measured. The low bars between them are the reasons, each beginning where the one "
        "above ends."
    )
    return Figure(wide, narrow, caption, "", (plate_tables.compared(check),))


def sureness(log: LogReport, name: str) -> Figure | None:
    """Return the chart of what the uncertainty is made of; None where nothing is known of it."""
    leading, table = log.charge.charge or log.charge.energy, budget_table.budget(log)
    if leading is None or leading.sure is None or table is None:
        return None
    sure = leading.sure.drawn
    wide, narrow = both_sizes(lambda frame, unique: shares_chart.shares(sure, name=unique, frame=frame), name)
    caption = "What the ± is made of: each source's squared standard uncertainty as a share of all together."
    return Figure(wide, narrow, caption, "", (table,))


def _strip(log: LogReport) -> str:
    """Say what the strip below the chart shows."""
    name, length_s = sentences.load_name(log), on_strip.bucket_s(log)
    if length_s is not None:
        each = f"the share of each {_length(length_s)} that {name} was on"
        return f" Below it: {each}, or, where there is room to zoom in, its runs one by one."
    text = f" The bars below it are the runs of {name}."
    if any(cycle.stop_us is None for cycle in log.cycles.cycles):
        text += " A low, hatched bar is a run whose end was not seen, up to where it last was."
    return text


def _length(length_s: float) -> str:
    return {3600.0: "hour", 86400.0: "day", 7 * 86400.0: "week"}.get(length_s, words.duration(length_s))


def both_sizes(draw: Callable[[svg.Frame, str], str], name: str) -> tuple[str, str]:
    """Return a drawing for a wide and for a narrow screen."""
    wide, narrow = (draw(frame, f"{name}-{frame.name}") for frame in (svg.WIDE, svg.NARROW))
    return wide, narrow
