"""The page's figures: each a chart in two sizes, with its caption and the tables that say the same in figures."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, cast

from ....analysis.charge.amounts import Charge, budget_of
from ....analysis.health.finding import is_swapped
from ....analysis.health.limits import MINIMUM_RUN_S, MINIMUM_RUN_SOURCE
from ....analysis.one_log import energy_flow as flows
from ....analysis.one_log.log_report import LogReport
from ..readouts import runs as runs_readout
from ..readouts import whole_log as whole_readout
from ..still_charts import all_starts as starts_chart
from ..still_charts import bars, run_rows, run_strip
from ..still_charts import close_up as close_up_chart
from ..still_charts import energy_flow as flow_chart
from ..still_charts import runs as runs_chart
from ..still_charts import whole_log as charts
from ..still_charts.axis import NAMES
from ..still_charts.clock_rows import clock_rows
from ..still_charts.svg import NARROW, Drawn, both_sizes
from ..wording import log_sentences, numbers
from ..wording.clock import days_named
from ..wording.sureness import of_figure
from . import answer_tables, log_tables, plate_tables

if TYPE_CHECKING:
    from ....analysis.cycles.cycle import Cycle
    from ....analysis.several_logs.over_logs import OverLogs
    from ....analysis.several_logs.report import Report
    from ....analysis.site.site import Limits
    from .log_tables import Table


@dataclass(frozen=True)
class Figure:
    """A chart drawn for a wide and for a narrow screen, its caption, the tables that say the same, and a remark.

    ``drawn`` waits for both drawings. ``readout`` is what the page's script needs to move them and to tell what is
    under a finger, as JSON; empty where that would show nothing more. ``step`` is what the five steps know it by, empty
    where they do not show it.
    """

    drawn: Drawn
    caption: str
    tables: tuple[Table, ...] = ()
    remark: str = ""
    readout: str = ""
    step: str = ""

    @property
    def wide(self) -> str:
        """The drawing for a wide screen."""
        return self.drawn()[0]

    @property
    def narrow(self) -> str:
        """The drawing for a narrow screen."""
        return self.drawn()[1]


def picture(report: Report, name: str) -> Figure | None:
    """Return the picture that carries the answer, all runs on one clock; None where no log holds a run."""
    rows = clock_rows(report.logs)
    if rows is None:
        return None
    caption = "Each mark is a run: as long as it ran, as high as it drew."
    # Signs that are not there would be looked for.
    if any(row.bracket is not None for row in rows.rows):
        caption += " Under the bracket: what was found."
    if any(row.attempts for row in rows.rows):
        caption += " Crosses: starts that failed."
    # No more goes to the process that draws than either screen shows: a year would be as many rows as it has days.
    shown = rows.shown(run_rows.MOST_WIDE)
    if run_rows.has_flags(shown):
        caption += " Dashed lines: notes."
    remarks = []
    if shown.left_out:
        days = f" Not drawn: {days_named(shown.left_out_days)}." if shown.left_out_days else ""
        remarks.append(f"Of {len(rows.rows):,} rows these are the newest, and the newest with a finding.{days}")
    if run_rows.stands_for_several(shown):
        remarks.append("Where runs stand too close to be drawn apart, a mark stands for several.")
    drawn = both_sizes(partial(run_rows.drawn, shown), name)
    return Figure(drawn, caption, (answer_tables.rows(rows),), remark=" ".join(remarks), step="picture")


def all_starts(log: LogReport, name: str) -> Figure | None:
    """Return all starts of a log's load laid over each other; None where too few were seen to their tops."""
    starts = starts_chart.of_log(log)
    if starts is None:
        return None
    caption = f"{numbers.counted(len(starts.each), 'start')} of {log_sentences.load_name(log)}, one over the other."
    caption += " The broad line is the usual start."
    return Figure(both_sizes(partial(starts_chart.drawn, starts), name), caption, (answer_tables.starts(starts),))


def energy_flow(report: Report, name: str) -> Figure | None:
    """Return where energy went in all logs of a report together; None where that is not known."""
    logs = answer_tables.apart(report)
    flow = flows.energy_flow(logs)
    if flow is None or not flow.drawn.value + flow.returned.value:
        return None
    # A longer name would leave no room for the bands between the words at both ends.
    load = numbers.shortened(next((log_sentences.load_name(log) for log in logs if log.cycles.cycles), "the load"), 20)
    # Without an array in the site file it may have been a charger; one that the file names has a band of its own.
    source = "the sun" if report.site is not None and report.site.array is not None else "what charged it"
    caption = f"Each band is as broad as the {flow_chart.what(flow)} in it; bars fade where it is not sure."
    remark = (
        f"What {source} gave to other loads directly, a meter at the bank does not see: it is not drawn."
        if flow_chart.unseen(flow)
        else ""
    )
    drawn = both_sizes(partial(flow_chart.energy_flow, flow, load, source), name)
    tables = (answer_tables.flow(flow_chart.bands_of(flow, load, source), flow.unit),)
    return Figure(drawn, caption, tables, remark=remark, step="flow")


def answer_bar(log: LogReport, name: str) -> Figure | None:
    """Return what the load took and, below it, what the bank gave, as bars that fade; None without either."""
    return None if is_swapped(log.findings) else _bar(answer_tables.answer_bars(log), name)


def answer_bar_of_all(over: OverLogs, name: str) -> Figure | None:
    """Return the same of all logs together; None without either, or where one of them seems swapped."""
    return _bar(answer_tables.answer_bars_of_all(over), name)


def _bar(amounts: list[bars.AnswerBar], name: str) -> Figure | None:
    if not amounts:
        return None
    drawn = both_sizes(partial(bars.answer_bars, amounts), name, (bars.BESIDE, NARROW))
    return Figure(drawn, f"The bar fades where it is not sure. {numbers.PLUS_MINUS_MEANS}")


def whole_log(log: LogReport, name: str) -> Figure | None:
    """Return the chart of the whole log; None where there is nothing to draw."""
    if not any(len(seen.time_us) for seen in log.envelopes.values()):
        return None
    caption = "Lowest to highest reading over the whole log."
    if log.cycles.cycles:
        caption += _strip(log)
    # A sign is explained only where it can be seen.
    if log.charge.span.gaps:
        caption += " Hatched from top to bottom: no readings."
    if log.facts.markers:
        caption += " Numbered lines: the notes listed under it."
    shown = (log_tables.ranges(log), log_tables.gaps(log), log_tables.markers(log))
    drawn = both_sizes(partial(charts.whole_log, to_draw(log, with_runs=True)), name)
    return Figure(drawn, caption, shown, readout=whole_readout.whole_log(log))


def start(log: LogReport, name: str) -> Figure | None:
    """Return the chart of one start; None where no start was seen."""
    close_up = log.close_up
    # The readings around a start may hold neither amps nor watts.
    if close_up is None or not (quantity := close_up_chart.quantity_of(close_up.readings)):
        return None
    drawn = both_sizes(partial(close_up_chart.start_close_up, close_up, log.facts), name)
    before = numbers.amount(close_up_chart.before(close_up), NAMES[quantity][1])
    caption = log_sentences.start_as_read(close_up, log.facts, before)
    shown = (log_tables.start(close_up, log.facts),)
    if close_up_chart.unseen_s(close_up) is not None:
        caption += " Hatched: there a higher draw could come and go between two readings."
    remark = log_sentences.surge(close_up, log.facts)
    return Figure(drawn, caption, shown, remark, runs_readout.start_close_up(close_up, log.facts))


def runs(log: LogReport, limits: Limits | None, name: str) -> Figure | None:
    """Return the chart of runs and rests; None where no run was seen whole."""
    if not any(cycle.run_s for cycle in log.cycles.cycles):
        return None
    # For a shortest run there is a common figure with a source, for a shortest rest only the owner's.
    own_run_s, minimum_off_s = (limits.minimum_run_s, limits.minimum_off_s) if limits else (None, None)
    # It is one for motors that are switched straight on.
    minimum_run_s = own_run_s or (None if log.cycles.by_drive else MINIMUM_RUN_S)
    seen = to_draw(log, with_runs=True)
    drawn = both_sizes(
        partial(runs_chart.run_and_rest, seen, minimum_run_s=minimum_run_s, minimum_off_s=minimum_off_s), name
    )
    whose = "the owner's own limit" if own_run_s else MINIMUM_RUN_SOURCE
    caption = "How long each run (dots) and the rest before it (open squares) lasted."
    caption += " The scale is logarithmic: a step up multiplies the length."
    if minimum_run_s is not None:
        caption += f" Shortest good run: {numbers.duration(minimum_run_s)}, {whose}."
    return Figure(drawn, caption, (log_tables.usual_run(log),), readout=runs_readout.run_and_rest(log))


def plate(log: LogReport, name: str) -> Figure | None:
    """Return the way from paper over nameplate to measurement; None where they were not compared."""
    check = log.plate
    if check is None:
        return None
    drawn = both_sizes(partial(bars.waterfall, bars.bars_of(check)), name)
    caption = (
        f"Energy that the {numbers.shortened(check.estimate.load)} took while it ran. Tall bars are sums: crossed and "
        "hatched reckoned, full measured. The low bars between them are the reasons, each beginning where the one "
        "above ends."
    )
    return Figure(drawn, caption, (plate_tables.compared(check),))


def sureness(log: LogReport, name: str) -> Figure | None:
    """Return the chart of what the uncertainty is made of; None where nothing is known of it."""
    known, table = budget_of(log.charge), plate_tables.budget(log)
    if known is None or table is None:
        return None
    drawn = both_sizes(partial(bars.shares, known.sure), name)
    what = f"What the ± {of_figure(known)} is made of"
    caption = f"{what}: each source's squared standard uncertainty as a share of all together."
    return Figure(drawn, caption, (table,))


def to_draw(log: LogReport, *, with_runs: bool = False) -> LogReport:
    """Return what drawings look at, and no more: another process would have to load whatever else is in it."""
    charge = Charge(log.charge.how, log.charge.span, charge=None, energy=None, energy_by=None, counter=None)
    runs = cast("tuple[Cycle, ...]", runs_chart.DrawnRuns(log.cycles.cycles if with_runs else ()))
    return LogReport(log.facts, charge, replace(log.cycles, cycles=runs, stairs=()), log.findings, log.envelopes)


def _strip(log: LogReport) -> str:
    """Say what the strip below the chart shows."""
    name, length_s = log_sentences.load_name(log), run_strip.bucket_s(log)
    if length_s is not None:
        each = f"the share of each {_length(length_s)} that {name} was on"
        return f" Below it: {each}, or, where there is room to zoom in, its runs one by one."
    text = f" The bars below it are the runs of {name}."
    if any(cycle.stop_us is None for cycle in log.cycles.cycles):
        text += " A low, hatched bar is a run whose end was not seen, up to where it last was."
    return text


def _length(length_s: float) -> str:
    # One hour is "each hour", not "each 1 h".
    return {3600.0: "hour", 86400.0: "day", 7 * 86400.0: "week"}.get(length_s, numbers.duration(length_s))
