"""The chart of the whole log: readings, gaps and notes over time, and the strip of runs below.

No text of the user's goes into a drawing: markers are numbered, and the page says beside it what each number is.
Meaning is never carried by colour alone: it has a shape, a hatch or a word as well.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ....analysis.readings.chunk import MICROSECONDS
from . import run_strip, svg
from .axis import NAMES, STEPS, charted, ends, on_axis, span_of, time_axis
from .svg import DRAW, GAP, INK, PAPER, SOFT, WIDE, Frame
from .thinning import Span, breaks, drawable, thinned

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ....analysis.one_log.log_report import LogReport
    from ....analysis.readings.envelope import Envelope
    from ....analysis.readings.log_facts import LogFacts


def whole_log(log: LogReport, *, name: str = "whole", frame: Frame = WIDE) -> str:
    """Draw the whole log: lowest to highest reading over time, gaps hatched, runs below, markers as numbers.

    Its envelope of current, or of power where there is no current, is drawn; one of them must be there.
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


def _draw_envelope(axes: Axes, envelope: Envelope, log: LogReport) -> None:
    """Fill between lowest and highest; a gap breaks it, and a reading alone between gaps is a dot."""
    time_us, low, high = envelope.time_us, envelope.low, envelope.high
    cuts = breaks(envelope, log.facts)
    # A piece of one reading has no line to draw; without a dot it would not be seen.
    pieces = np.split(np.arange(len(time_us)), cuts)
    alone = np.array([piece[0] for piece in pieces if len(piece) == 1], dtype=np.intp)
    middle = on_axis(time_us, log.facts)
    x, low_cut, high_cut = (np.insert(v, cuts, np.nan) for v in (middle, low, high))
    # A bucket of a second or more is drawn from its lowest to its highest reading, wherever in it they stood: only
    # single readings show how they hold until the next.
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
        # The words are about a tenth of a wide chart long.
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
        for _, at in group[:100]:  # more lines than this in one place are a smear, and a heavy page
            axes.axvline(at, color=INK, linewidth=0.9, dashes=(2, 2))
        (first, left), (last, right) = group[0], group[-1]
        label = str(first) if first == last else f"{first}–{last}"
        middle = (left + right) / 2
        axes.text(middle, 1.0, label, transform=axes.get_xaxis_transform(), ha="center", va="bottom", weight="bold")
