"""The strip below the chart of the whole log: when a load was on, run by run or as a share of the time."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

import numpy as np

from ....analysis.readings.chunk import MICROSECONDS, FloatArray, TimeArray
from ..wording import clock, log_sentences, numbers
from . import svg
from .axis import LENGTHS_S, ends, on_axis, span_of
from .lines import bars
from .svg import ALERT, DRAW, PAPER
from .thinning import drawable, joined, within

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ....analysis.health.finding import Finding
    from ....analysis.one_log.log_report import LogReport
    from .thinning import Span

#: Runs that begin closer together than this share of the picture's width cannot be told apart on it.
TOLD_APART = 1 / 180
#: The picture is cut into about this many stretches, or fewer, where shares of time are drawn.
MOST_BUCKETS = 100
#: The strip's height as a share of a frame's, and how much higher it is with a row of findings. [1]
_HEIGHT, _ROW = 0.13, 0.9
_SIGNS = {"act": "^", "watch": "D", "note": "o"}
#: Heights of the strip that are easy to read. [1]
_TOPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0)


def draw(strip: Axes, log: LogReport) -> None:
    """Draw when the load was on: a bar for each run, or the share of time where runs are too dense for bars."""
    length_s = bucket_s(log)
    if length_s is None:
        _draw_bars(strip, log)
    else:
        _draw_shares(strip, log, length_s)
    _draw_findings(strip, log)
    svg.frame_axes(strip, grid="x")


def height(log: LogReport) -> float:
    """Return the height of the strip, as a share of a frame's. [1]."""
    return _HEIGHT * (1 + _ROW * bool(findings_of(log)))


def findings_of(log: LogReport) -> list[Finding]:
    """Return the findings that rest on runs, the gravest first."""
    return [finding for finding in log_sentences.by_severity(log) if finding.cycles]


def span_s(log: LogReport) -> float:
    """Return how long the log is. [s]."""
    start_us, stop_us = ends(log)
    return (stop_us - start_us) / MICROSECONDS


def seen_on(log: LogReport) -> list[tuple[int, int]]:
    """Return from when to when each run was seen on. [us].

    A run whose end was not seen was on at least up to the next gap, else up to the load's next start, else up to the
    end of the log: whichever comes first.
    """
    cycles, stop_us = log.cycles.cycles, ends(log)[1]
    cuts_us = sorted({stop_us, *(gap.start_us for gap in log.charge.span.gaps), *(cycle.start_us for cycle in cycles)})

    def cut_us(start_us: int) -> int:
        place = bisect_right(cuts_us, start_us)
        return cuts_us[place] if place < len(cuts_us) else start_us

    return [(c.start_us, cut_us(c.start_us) if c.stop_us is None else c.stop_us) for c in cycles]


def bucket_s(log: LogReport) -> float | None:
    """Return the length of the stretches whose share of time on is drawn; None where each run has its own bar. [s]."""
    # By the median: a few runs close together may merge into one bar, if most stand apart.
    starts_us = [cycle.start_us for cycle in log.cycles.cycles]
    start_us, stop_us = ends(log)
    if len(starts_us) < 2 or float(np.median(np.diff(starts_us))) >= TOLD_APART * (stop_us - start_us):
        return None
    least_s = (stop_us - start_us) / MICROSECONDS / MOST_BUCKETS
    return next((s for s in LENGTHS_S if s >= max(least_s, 1.0)), LENGTHS_S[-1])


def shares(log: LogReport, length_s: float) -> tuple[TimeArray, FloatArray]:
    """Return the edges of stretches of `length_s`, and the share of each one's measured time that the load was on.

    Edges stand at whole multiples of the length since midnight in the log's zone [us], n + 1 of them; the outermost are
    the ends of the log. Of the n shares (time on / time measured) those are NaN where nothing was measured. [1].
    """
    start_us, stop_us = ends(log)
    inner = np.arange(_midnight_us(log, start_us), stop_us, round(length_s * MICROSECONDS))
    edges = np.array([start_us, *inner[inner > start_us], stop_us], dtype=np.int64)
    gap_us = within(joined([(g.start_us, g.stop_us) for g in log.charge.span.gaps]), edges)
    on_us = within(joined(seen_on(log)), edges)
    # A run is cut off at a gap (`seen_on`), so no time on lies in one.
    measured_us = np.diff(edges) - gap_us
    return edges, np.where(measured_us > 0, on_us / np.maximum(measured_us, 1), np.nan)


def _midnight_us(log: LogReport, us: int) -> int:
    """Return when the day of an instant began on the log's clock; later changes of the clock are let be. [us]."""
    if log.facts.undated:
        return 0
    midnight = clock.local(us, log.facts).replace(hour=0, minute=0, second=0, microsecond=0)
    return round(midnight.timestamp() * MICROSECONDS)


def _draw_bars(strip: Axes, log: LogReport) -> None:
    """Draw a bar for each run; one whose end was not seen is low and hatched."""
    whole = span_of(*ends(log), log.facts)
    spans: dict[bool, list[Span]] = {True: [], False: []}
    for cycle, (start_us, stop_us) in zip(log.cycles.cycles, seen_on(log), strict=True):
        spans[cycle.stop_us is not None].append(span_of(start_us, stop_us, log.facts))
    if spans[True]:
        bars(strip, drawable(spans[True], whole), 0.1, 0.9, is_called="runs", facecolor=DRAW, linewidth=0)
    if spans[False]:
        style = {"facecolor": PAPER, "edgecolor": DRAW, "hatch": "//////", "linewidth": 0.9}
        bars(strip, drawable(spans[False], whole), 0.1, 0.55, is_called="cut", **style)
    strip.set_ylim(0, 1)
    strip.set_yticks([0.5], ["on" if log.cycles.cycles else ""])


def _draw_shares(strip: Axes, log: LogReport, length_s: float) -> None:
    """Draw the share of time on as a bar for each stretch, on a scale that its highest one fills."""
    edges_us, share = shares(log, length_s)
    edges, known = on_axis(edges_us, log.facts), np.flatnonzero(~np.isnan(share))
    drawn = strip.bar(edges[known], share[known], np.diff(edges)[known], align="edge", facecolor=DRAW, linewidth=0)
    for bar in drawn:
        svg.moving(bar, "shares")
    highest = float(share[known].max()) if len(known) else 1.0
    top = next((top for top in _TOPS if top >= highest), 1.0)
    strip.set_ylim(0, top * 1.02)
    strip.set_yticks([top], [f"on {numbers.percent(top)}"])


def _draw_findings(strip: Axes, log: LogReport) -> None:
    """Draw below the runs a line from the first to the last that a finding rests on, with a sign for its severity."""
    findings = findings_of(log)
    if not findings:
        return
    top = strip.get_ylim()[1]
    strip.set_ylim(-_ROW * top, top)
    for place, finding in enumerate(findings, start=1):
        # Each has a height of its own, the gravest on top: they often rest on the same runs.
        at = -_ROW * top * place / (len(findings) + 1)
        span = on_axis(np.array([finding.cycles[0], finding.cycles[-1]], dtype=np.int64), log.facts)
        strip.plot(span, [at, at], color=ALERT, linewidth=2, marker=_SIGNS[finding.severity], markersize=6)
    names = [label.get_text() for label in strip.get_yticklabels()]
    strip.set_yticks([*strip.get_yticks().tolist(), -_ROW * top / 2], [*names, "findings"])
