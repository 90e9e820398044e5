"""What the chart of the whole log tells: its quantities, gaps, runs, findings and notes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..still_charts import run_strip
from ..still_charts.axis import ends
from ..still_charts.thinning import drawable
from ..still_charts.whole_log import PANELS, shown
from ..wording import numbers
from .readout import Readout, ms, of_instants, one_ms

if TYPE_CHECKING:
    from ....analysis.cycles.cycle import Cycle
    from ....analysis.one_log.log_report import LogReport

#: More runs than these are told as shares of time, in so many stretches; more gaps are put together.
_MOST_RUNS, _STRETCHES, _MOST_GAPS = 4000, 1000, 4000
#: Longer texts are cut. [characters]
_MOST_TEXT = 120


def whole_log(log: LogReport) -> str:
    """Return what the chart tells, as JSON for the page; it must have something to draw."""
    # Four readings are the least in which a line shows anything.
    readout = of_instants(log.facts, *ends(log), closest_ms=4e3 * (log.facts.usual_interval_s or 1.0))
    for panel, quantity in enumerate(shown(log)):
        readout.line(panel, *PANELS[quantity], log.envelopes[quantity], log.facts)
    gaps_of(readout, log)
    _runs(readout, log)
    _findings(readout, log)
    _notes(readout, log)
    return readout.as_json()


def gaps_of(readout: Readout, log: LogReport) -> None:
    """Let the gaps of a log be told."""
    spans = [(one_ms(gap.start_us), one_ms(gap.stop_us)) for gap in log.charge.span.gaps]
    if len(spans) > _MOST_GAPS:
        start_us, stop_us = ends(log)
        spans = drawable(spans, (one_ms(start_us), one_ms(stop_us)), 1 / _MOST_GAPS)
    if spans:
        left, right = zip(*spans, strict=True)
        readout.span(
            left, right, [f"no readings for {numbers.duration((b - a) / 1e3)}" for a, b in spans], drawn="gaps"
        )


def _runs(readout: Readout, log: LogReport) -> None:
    """Tell each run, or shares of time where there are too many."""
    cycles = log.cycles.cycles
    if len(cycles) > _MOST_RUNS:
        edges_us, share = run_strip.shares(log, run_strip.span_s(log) / _STRETCHES)
        known, edges = np.flatnonzero(~np.isnan(share)).tolist(), ms(edges_us)
        length = numbers.duration(run_strip.span_s(log) / _STRETCHES)
        sentences = [f"on {numbers.percent(float(share[i]))} of {length}" for i in known]
        readout.span([edges[i] for i in known], [edges[i + 1] for i in known], sentences)
        return
    spans = list(zip(range(1, len(cycles) + 1), cycles, run_strip.seen_on(log), strict=True))
    # Runs whose end was not seen look otherwise, and so are a part of the drawing by themselves.
    for whole, drawn in ((True, "runs"), (False, "cut")):
        those = [each for each in spans if (each[1].stop_us is not None) is whole]
        if those:
            start, stop = ([one_ms(span[end]) for _, _, span in those] for end in (0, 1))
            readout.span(start, stop, [_run(number, cycle) for number, cycle, _ in those], drawn=drawn)


def _run(number: int, cycle: Cycle) -> str:
    length = numbers.duration(cycle.run_s) if cycle.run_s is not None else "its end was not seen"
    return f"run {number}: {length}"


def _findings(readout: Readout, log: LogReport) -> None:
    findings = run_strip.findings_of(log)
    if findings:
        start, stop = ([one_ms(finding.cycles[end]) for finding in findings] for end in (0, -1))
        sentences = [f"{finding.severity}: {numbers.shortened(finding.title, _MOST_TEXT)}" for finding in findings]
        readout.span(start, stop, sentences)


def _notes(readout: Readout, log: LogReport) -> None:
    if log.facts.markers:
        at = [one_ms(us) for us, _ in log.facts.markers]
        texts = (numbers.shortened(text, _MOST_TEXT) for _, text in log.facts.markers)
        readout.span(at, at, [f"note {number}: {text}" for number, text in enumerate(texts, start=1)])
