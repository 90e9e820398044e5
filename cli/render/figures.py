"""The page's figures: each a chart in two sizes, with its caption and the tables that say the same in figures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from . import charts, sentences, svg, tables, words

if TYPE_CHECKING:
    from ...analysis.report import LogReport
    from ...analysis.site import Limits
    from .tables import Table

# One minute for any motor, so that the heat of the start is carried off: a submersible-motor manual's table of starts.
MINIMUM_RUN_S = 60.0


@dataclass(frozen=True)
class Figure:
    """A chart drawn for a wide and for a narrow screen, its caption, what else is to be said, and its tables."""

    wide: str
    narrow: str
    caption: str
    said: str
    tables: tuple[Table, ...]


def whole_log(log: LogReport, name: str) -> Figure | None:
    """Return the chart of the whole log; None where there is nothing to draw."""
    if not any(len(seen.time_us) for seen in log.envelopes.values()):
        return None
    caption = "Lowest to highest reading over the whole log."
    if log.cycles.cycles:
        caption += f" The bars below it are the runs of {sentences.load_name(log)}."
    if log.charge.span.gaps:
        caption += " Hatched from top to bottom: no readings."
    if log.facts.markers:
        caption += " Numbered lines: the markers listed beside it."
    shown = (tables.ranges(log), tables.gaps(log), tables.markers(log))
    wide, narrow = _both(lambda frame, unique: charts.whole_log(log, name=unique, frame=frame), name)
    return Figure(wide, narrow, f"{caption} {_times(log)}", "", shown)


def start(log: LogReport, name: str) -> Figure | None:
    """Return the chart of one start; None where no start was seen."""
    close_up = log.close_up
    if close_up is None or not charts.quantity_of(close_up.readings):
        return None
    draw = charts.start_close_up
    wide, narrow = _both(lambda frame, unique: draw(close_up, log.facts, name=unique, frame=frame), name)
    caption = f"One start close up, at {words.clock(close_up.cycle.start_us, log.facts)}. Each dot is a reading."
    shown = (tables.start(close_up, log.facts),)
    return Figure(wide, narrow, caption, sentences.surge(close_up, log.facts), shown)


def runs(log: LogReport, limits: Limits | None, name: str) -> Figure | None:
    """Return the chart of runs and rests; None where no run was seen whole."""
    if not any(cycle.run_s for cycle in log.cycles.cycles):
        return None
    own_run_s, minimum_off_s = (limits.minimum_run_s, limits.minimum_off_s) if limits else (None, None)
    minimum_run_s = own_run_s or MINIMUM_RUN_S
    draw = charts.run_and_rest
    wide, narrow = _both(
        lambda frame, unique: draw(
            log, minimum_run_s=minimum_run_s, minimum_off_s=minimum_off_s, name=unique, frame=frame
        ),
        name,
    )
    whose = "the owner's own limit" if own_run_s else "a submersible-motor manual's table of starts"
    caption = "How long each run (dots) and the rest before it (open squares) lasted."
    caption += f" Shortest good run: {words.duration(minimum_run_s)}, {whose}."
    return Figure(wide, narrow, f"{caption} {_times(log)}", "", (tables.usual_run(log),))


def plate(log: LogReport, name: str) -> Figure | None:
    """Return the bars of paper, nameplate and measurement; None where they were not compared."""
    check = log.plate
    if check is None:
        return None
    wide, narrow = _both(lambda frame, unique: charts.plate_bars(check, name=unique, frame=frame), name)
    caption = (
        f"Energy out of the bank for {words.shortened(check.estimate.load)}. Dotted, hatched: reckoned. Full: measured."
    )
    return Figure(
        wide, narrow, caption, words.shortened(check.comparison.sentence, 600), (tables.plate_compared(check),)
    )


def _both(draw: Callable[[svg.Frame, str], str], name: str) -> tuple[str, str]:
    wide, narrow = (draw(frame, f"{name}-{frame.name}") for frame in (svg.WIDE, svg.NARROW))
    return wide, narrow


def _times(log: LogReport) -> str:
    if log.facts.undated:
        return "Times count from the log's start."
    return f"Times are those of the zone {words.zone_of(log.facts)[0]}."
