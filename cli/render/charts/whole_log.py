"""The page's charts: the whole log, and runs and rests.

No text of the user's goes into a drawing: markers are numbered, and the page says beside it what each number is.
Meaning is never carried by colour alone: it has a shape, a hatch or a word as well.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from shuntbook.analysis.readings.chunk import MICROSECONDS
from shuntbook.cli.render.wording import numbers

from . import run_strip, svg
from .axis import NAMES, STEPS, charted, duration_axis, ends, on_axis, span_of, time_axis
from .svg import ALERT, DRAW, GAP, INK, PAPER, REST, SOFT, WIDE, Frame
from .thinning import Span, breaks, drawable, extremes, thinned

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from shuntbook.analysis.one_log.log_report import LogReport
    from shuntbook.analysis.readings.envelope import Envelope
    from shuntbook.analysis.readings.log_facts import LogFacts


def whole_log(log: LogReport, *, name: str = "whole", frame: Frame = WIDE) -> str:
    """Draw the whole log: lowest to highest reading over time, gaps hatched, runs below, markers as numbers.

    Parameters
    ----------
    log : LogReport
        Its envelope of current, or of power where there is no current, is drawn; neither may be missing.
    name : str
        Unique on the page.
    frame : Frame
        The size to draw for.

    Returns
    -------
    str
        An ``<svg>`` element.
    """
    quantity = charted(log)
    envelope, facts = thinned(log.envelopes[quantity], frame.points), log.facts
    start_us, stop_us = ends(log)
    with svg.drawing(frame) as figure:
        axes, strip = figure.subplots(2, 1, sharex=True, height_ratios=[7, 1])
        time_axis(strip, facts, start_us, stop_us, frame)
        _draw_envelope(axes, envelope, log)
        draw_gaps(axes, log, start_us, stop_us)
        _draw_markers(axes, facts, span_of(start_us, stop_us, facts))
        axes.set_ylabel("{} [{}]".format(*NAMES[quantity]))
        axes.axhline(0, color=INK, linewidth=0.8)
        svg.frame_axes(axes)
        axes.spines["bottom"].set_visible(False)
        run_strip.draw(strip, log)
        label = f"{NAMES[quantity][0].capitalize()} over the whole log, with its gaps, runs and notes"
        return svg.inline(figure, name=name, label=label)


def run_and_rest(
    log: LogReport,
    *,
    minimum_run_s: float | None = None,
    minimum_off_s: float | None = None,
    name: str = "runs",
    frame: Frame = WIDE,
) -> str:
    """Draw how long each run and the rest before it lasted, over time, with the limits for both.

    Parameters
    ----------
    log : LogReport
        At least one of its cycles must have a run time.
    minimum_run_s, minimum_off_s : float or None
        Shortest run and shortest rest that do a motor no harm; None draws no line. [s]
    name : str
        Unique on the page.
    frame : Frame
        The size to draw for.
    """
    runs = [(c.start_us, c.run_s) for c in log.cycles.cycles if c.run_s]
    rests = [(c.start_us, c.off_before_s) for c in log.cycles.cycles if c.off_before_s]
    starts = [us for us, _ in runs + rests]
    with svg.drawing(frame) as figure:
        axes = figure.add_subplot()
        axes.set_yscale("log")
        time_axis(axes, log.facts, min(starts), max(starts), frame)
        for points, colour, marker, label in ((rests, REST, "s", "rest before it"), (runs, DRAW, "o", "run")):
            us, length_s = extremes(points, frame.points // 4)
            filled = "full" if marker == "o" else "none"
            axes.plot(
                on_axis(us, log.facts), length_s, marker, color=colour, fillstyle=filled, markersize=4.5, label=label
            )
        for limit_s, style, what in ((minimum_run_s, "--", "run"), (minimum_off_s, ":", "rest")):
            if limit_s is not None:
                said = f"shortest good {what}, {numbers.duration(limit_s)}"
                axes.axhline(limit_s, color=ALERT, linestyle=style, linewidth=1.6, label=said)
        duration_axis(axes)
        svg.frame_axes(axes)
        figure.legend(loc="outside upper left", ncols=4 if frame == WIDE else 2, handlelength=1.6)
        return svg.inline(figure, name=name, label="Length of each run and of the rest before it, over time")


def _draw_envelope(axes: Axes, envelope: Envelope, log: LogReport) -> None:
    """Fill between lowest and highest; a gap breaks it, and a reading alone between gaps is a dot."""
    time_us, low, high = envelope.time_us, envelope.low, envelope.high
    cuts = breaks(envelope, log.facts)
    pieces = np.split(np.arange(len(time_us)), cuts)
    alone = np.array([piece[0] for piece in pieces if len(piece) == 1], dtype=np.intp)
    middle = on_axis(time_us, log.facts)
    x, low_cut, high_cut = (np.insert(v, cuts, np.nan) for v in (middle, low, high))
    stepped = log.facts.sampling == "held" or envelope.width_us < MICROSECONDS
    step = STEPS[log.facts.sampling] if stepped else None
    axes.fill_between(x, low_cut, high_cut, step=step, color=DRAW, linewidth=1.0)  # type: ignore[arg-type]
    axes.plot(middle[alone], high[alone], ".", color=DRAW, markersize=4)


def draw_gaps(axes: Axes, log: LogReport, start_us: int, stop_us: int) -> None:
    """Hatch each gap from top to bottom, and say what it is where there is room."""
    whole = span_of(start_us, stop_us, log.facts)
    gaps = drawable([span_of(gap.start_us, gap.stop_us, log.facts) for gap in log.charge.span.gaps], whole)
    high = axes.get_xaxis_transform()
    for left, right in gaps:
        axes.axvspan(left, right, facecolor=GAP, edgecolor=SOFT, hatch="//", linewidth=0)
        if right - left > 0.12 * (whole[1] - whole[0]):
            patch = {"facecolor": PAPER, "edgecolor": "none", "pad": 2}
            axes.text((left + right) / 2, 0.5, "no readings", transform=high, ha="center", va="center", bbox=patch)


def _draw_markers(axes: Axes, facts: LogFacts, whole: Span) -> None:
    """Draw a line for each marker, and its number; those that stand close share one label, ``2–4``."""
    near = 0.025 * (whole[1] - whole[0])
    groups: list[list[tuple[int, float]]] = []
    for place, (us, _) in enumerate(facts.markers, start=1):
        at = span_of(us, us, facts)[0]
        if groups and at - groups[-1][-1][1] < near:
            groups[-1].append((place, at))
        else:
            groups.append([(place, at)])
    for group in groups:
        for _, at in group[:100]:
            axes.axvline(at, color=INK, linewidth=0.9, dashes=(2, 2))
        (first, left), (last, right) = group[0], group[-1]
        label = str(first) if first == last else f"{first}–{last}"
        middle = (left + right) / 2
        axes.text(middle, 1.0, label, transform=axes.get_xaxis_transform(), ha="center", va="bottom", weight="bold")
