"""The whole log, to be moved, zoomed and read: every quantity over time, and below it runs, findings and notes."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from bokeh.core.properties import value
from bokeh.models import BooleanFilter, CDSView, ColumnDataSource, GlyphRenderer, Range1d
from bokeh.transform import dodge

from ....analysis.readings.chunk import MICROSECONDS
from ..still_charts import run_strip
from ..still_charts.axis import NAMES, charted, ends
from ..still_charts.svg import ALERT, DRAW, INK, PAPER, REST
from ..still_charts.thinning import breaks, drawable
from ..wording import log_sentences, numbers
from .chart import (
    BOKEH_STEPS,
    FACE,
    TEXT_PX,
    UNKNOWN_TIME,
    Chart,
    Readout,
    ms,
    of_instants,
    one_ms,
    rows_on,
    small,
    texts,
    zero,
)

if TYPE_CHECKING:
    from bokeh.plotting import figure

    from ....analysis.cycles.cycle import Cycle
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.readings.envelope import Envelope

#: More runs than these are shown as shares of time, in so many stretches; more gaps are put together.
_MOST_RUNS, _STRETCHES, _MOST_GAPS = 4000, 1000, 4000
#: More notes than these have dots without numbers; longer texts are cut.
_MOST_NUMBERS, _MOST_TEXT = 12, 120
_SIGNS = {"act": "triangle", "watch": "diamond", "note": "circle"}
_VOLTS = ("voltage", "V")


def whole_log(log: LogReport, name: str) -> str:
    """Return the chart of the whole log as JSON for the page; it must have something to draw."""
    # Four readings are the least in which a line shows anything.
    chart = of_instants(log.facts, *ends(log), closest_ms=4e3 * (log.facts.usual_interval_s or 1.0))
    leading = charted(log)
    _quantity(chart, log, leading, NAMES[leading], 250)
    if "voltage_V" in log.envelopes and len(log.envelopes["voltage_V"].time_us):
        _quantity(chart, log, "voltage_V", _VOLTS, 150)
    _events(chart, log)
    return chart.finished(name)


def gaps_on(chart: Chart, plot: figure, log: LogReport, *, readable: bool = True) -> None:
    """Hatch the gaps of a log on a plot."""
    spans = [(one_ms(gap.start_us), one_ms(gap.stop_us)) for gap in log.charge.span.gaps]
    whole = (one_ms(ends(log)[0]), one_ms(ends(log)[1]))
    if len(spans) > _MOST_GAPS:
        spans = drawable(spans, whole, 1 / _MOST_GAPS)
    if spans:
        left, right = np.array(spans).T
        source = texts(left, right, [f"no readings for {numbers.duration((b - a) / 1e3)}" for a, b in spans])
        plot.vstrip("from", "to", source=source, **UNKNOWN_TIME)
        if readable:
            chart.read(Readout(source))


def _quantity(chart: Chart, log: LogReport, quantity: str, name: tuple[str, str], height_px: int) -> None:
    """Add a plot of a quantity: its readings, or the lowest and the highest of each bucket of them."""
    envelope, (title, unit) = log.envelopes[quantity], name
    plot = chart.plot(f"{title} [{unit}]", height_px)
    # The gaps are those of the whole log: the line under the chart tells of each once.
    gaps_on(chart, plot, log, readable=quantity == charted(log))
    if quantity != "voltage_V":
        zero(plot)
    reach = log.facts.gap_limit_s * 1e3
    if np.array_equal(envelope.low, envelope.high):
        source, drawn = _readings(plot, log, envelope)
        chart.read(Readout(source, title, unit, 0.0, reach))
    else:
        source, drawn = _buckets(plot, envelope)
        chart.read(Readout(source, title, unit, one_ms(envelope.width_us), reach))
    plot.y_range.renderers = [drawn]
    _note_lines(plot, log)


def _readings(plot: figure, log: LogReport, envelope: Envelope) -> tuple[ColumnDataSource, GlyphRenderer]:
    """Draw a line through the readings, broken at gaps; a reading alone between two gaps is a dot."""
    cuts = breaks(envelope, log.facts)
    # A NaN half way into each gap breaks the line there.
    between = (envelope.time_us[cuts - 1] + envelope.time_us[cuts]) // 2
    t = ms(np.insert(envelope.time_us, cuts, between))
    x = small(np.insert(envelope.low, cuts, np.nan))
    source = ColumnDataSource({"t": t, "low": x, "high": x})
    is_read = np.concatenate([[False], ~np.isnan(x), [False]])
    alone = np.flatnonzero(is_read[1:-1] & ~is_read[:-2] & ~is_read[2:])
    if len(alone):
        plot.scatter(t[alone], x[alone], size=4, color=DRAW)
    if how := BOKEH_STEPS[log.facts.sampling]:
        return source, plot.step("t", "low", source=source, mode=how, color=DRAW, line_width=1.3)
    return source, plot.line("t", "low", source=source, color=DRAW, line_width=1.3)


def _buckets(plot: figure, envelope: Envelope) -> tuple[ColumnDataSource, GlyphRenderer]:
    """Draw a bar from the lowest to the highest reading of each bucket."""
    t, width = ms(envelope.time_us), one_ms(envelope.width_us)
    source = ColumnDataSource({"t": t, "low": small(envelope.low), "high": small(envelope.high)})
    middle = dodge("t", width / 2)
    return source, plot.vbar(middle, width, "high", "low", source=source, color=DRAW, line_width=1)


def _note_lines(plot: figure, log: LogReport) -> None:
    if log.facts.markers:
        at = ms(np.array([us for us, _ in log.facts.markers], dtype=np.int64))
        plot.vspan(at, line_color=INK, line_dash="dotted", line_width=0.9)


def _events(chart: Chart, log: LogReport) -> None:
    """Add a plot of what happened: a row each for runs, findings and notes."""
    rows: list[tuple[Callable[[figure, LogReport, float], ColumnDataSource], str]] = []
    rows += [(_runs, "on")] if log.cycles.cycles else []
    rows += [(_findings, "findings")] if any(finding.cycles for finding in log.findings) else []
    rows += [(_notes, "notes")] if log.facts.markers else []
    if not rows:
        return
    plot = chart.plot("", 34 + 26 * len(rows), y_range=Range1d(0, len(rows)))
    plot.title.visible = False
    plot.ygrid.grid_line_color = None
    for place, (draw, _) in enumerate(rows):
        chart.read(Readout(draw(plot, log, float(place))))
    rows_on(plot, {place + 0.5: row for place, (_, row) in enumerate(rows)})


def _runs(plot: figure, log: LogReport, row: float) -> ColumnDataSource:
    """Draw a bar for each run, low and hatched where its end was not seen; shares of time where there are too many."""
    if len(log.cycles.cycles) > _MOST_RUNS:
        return _shares(plot, log, row)
    spans = np.array(run_strip.seen_on(log), dtype=np.int64)
    sentences = [_run(number, cycle) for number, cycle in enumerate(log.cycles.cycles, start=1)]
    whole = np.array([cycle.stop_us is not None for cycle in log.cycles.cycles])
    top = np.where(whole, row + 0.8, row + 0.5)
    source = texts(ms(spans[:, 0]), ms(spans[:, 1]), sentences, top=top)
    # One source, so that the line below the chart tells of all runs in their order; two looks, each of its part of it.
    for those, style in (
        (whole, {"fill_color": REST}),
        (~whole, {"fill_color": PAPER, "hatch_pattern": "/", "hatch_color": REST}),
    ):
        if those.any():
            view = CDSView(filter=BooleanFilter(those.tolist()))
            plot.quad("from", "to", "top", row + 0.15, source=source, view=view, line_color=REST, **style)
    return source


def _shares(plot: figure, log: LogReport, row: float) -> ColumnDataSource:
    span_s = (ends(log)[1] - ends(log)[0]) / MICROSECONDS
    edges_us, share = run_strip.shares(log, span_s / _STRETCHES)
    known = ~np.isnan(share)
    share, edges = share[known], ms(edges_us)
    sentences = [f"on {numbers.percent(x)} of {numbers.duration(span_s / _STRETCHES)}" for x in share]
    source = texts(edges[:-1][known], edges[1:][known], sentences, top=row + 0.1 + 0.8 * share / max(share.max(), 1e-9))
    plot.quad("from", "to", "top", row + 0.1, source=source, fill_color=REST, line_color=None)
    return source


def _run(number: int, cycle: Cycle) -> str:
    length = numbers.duration(cycle.run_s) if cycle.run_s is not None else "its end was not seen"
    return f"run {number}: {length}"


def _findings(plot: figure, log: LogReport, row: float) -> ColumnDataSource:
    """Draw a line from the first to the last run that a finding rests on, a sign for its severity at either end."""
    findings = [finding for finding in log_sentences.by_severity(log) if finding.cycles]
    start, stop = (ms(np.array([finding.cycles[end] for finding in findings], dtype=np.int64)) for end in (0, -1))
    # Each has a height of its own, the gravest on top: they often rest on the same runs.
    height = row + 0.85 - 0.7 * (np.arange(len(findings)) + 0.5) / len(findings)
    sentences = [f"{finding.severity}: {numbers.shortened(finding.title, _MOST_TEXT)}" for finding in findings]
    source = texts(start, stop, sentences, height=height, sign=[_SIGNS[finding.severity] for finding in findings])
    plot.segment("from", "height", "to", "height", source=source, line_color=ALERT, line_width=2)
    for end in ("from", "to"):
        plot.scatter(end, "height", source=source, marker="sign", size=9, color=ALERT)
    return source


def _notes(plot: figure, log: LogReport, row: float) -> ColumnDataSource:
    """Draw the number of each note; the text of it is only told."""
    at = ms(np.array([us for us, _ in log.facts.markers], dtype=np.int64))
    sentences = [
        f"note {number}: {numbers.shortened(text, _MOST_TEXT)}"
        for number, (_, text) in enumerate(log.facts.markers, start=1)
    ]
    number = [str(n) if len(at) <= _MOST_NUMBERS else "" for n in range(1, len(at) + 1)]
    source = texts(at, at, sentences, number=number)
    if len(at) <= _MOST_NUMBERS:
        text = {"text_color": INK, "text_align": "center", "text_baseline": "middle", "text_font_style": "bold"}
        plot.text("from", row + 0.5, "number", source=source, text_font=value(FACE), text_font_size=TEXT_PX, **text)
    else:
        plot.scatter("from", row + 0.5, source=source, size=5, color=INK)
    return source
