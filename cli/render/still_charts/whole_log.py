"""The chart of the whole log: readings, gaps and notes over time, and the strip of runs below.

Markers are numbered, and the page says beside it what each number is; where there is room, their names stand there too.
Meaning is never carried by colour alone: it has a shape, a hatch or a word as well.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ..wording import numbers
from . import run_strip, svg
from .axis import NAMES, VOLTS, charted, ends, on_axis, span_of, time_axis, value_range, x_unit
from .lines import band, bars, pieces_of, step_of
from .svg import DRAW, GAP, INK, PAPER, REST, SOFT, WIDE, Frame
from .thinning import Span, drawable, thinned

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ....analysis.one_log.log_report import LogReport
    from ....analysis.readings.chunk import FloatArray
    from ....analysis.readings.envelope import Envelope
    from ....analysis.readings.log_facts import LogFacts

#: What the chart can show: its name and its unit.
PANELS = {**NAMES, "voltage_V": VOLTS}
#: So much of a marker's name is written, if a letter of it is so broad on average, in a chart of which the axis is such
#: a share. [characters], [em], [1]
_MOST_OF_NAME, _BOLD_EM, _SHARE = 24, 0.66, 0.85
#: Heights of the two quantities, as shares of a frame's. [1]
_HEIGHTS = (0.8, 0.35)


def shown(log: LogReport) -> list[str]:
    """Return the quantities that the chart shows, one below the other."""
    volts = log.envelopes.get("voltage_V")
    return [charted(log), *(["voltage_V"] if volts is not None and len(volts.time_us) else [])]


def whole_log(log: LogReport, *, name: str = "whole", frame: Frame = WIDE) -> str:
    """Draw the whole log: lowest to highest reading over time, gaps hatched, runs below, markers as numbers.

    Its envelope of current, or of power where there is no current, is drawn; one of them must be there.
    """
    quantities, facts = shown(log), log.facts
    start_us, stop_us = ends(log)
    heights = [*_HEIGHTS[: len(quantities)], run_strip.height(log)]
    with svg.drawing(frame.of_height(frame.height_px * sum(heights))) as figure:
        *panels, strip = figure.subplots(len(heights), 1, sharex=True, height_ratios=heights)
        time_axis(strip, facts, start_us, stop_us, frame)
        for place, (axes, quantity) in enumerate(zip(panels, quantities, strict=True)):
            draw_envelope(axes, quantity, log, frame, f"line-{place}")
            draw_gaps(axes, log, start_us, stop_us, in_words=place == 0)
            _draw_markers(axes, facts, span_of(start_us, stop_us, facts), frame if place == 0 else None)
            axes.set_ylabel("{} [{}]".format(*PANELS[quantity]))
            svg.frame_axes(axes)
            axes.spines["bottom"].set_visible(False)
        panels[0].axhline(0, color=INK, linewidth=0.8)
        run_strip.draw(strip, log)
        label = f"{PANELS[quantities[0]][0].capitalize()} over the whole log, with its gaps, runs and notes"
        return svg.inline(figure, name=name, label=label, x_unit=x_unit(facts))


def draw_envelope(axes: Axes, quantity: str, log: LogReport, frame: Frame, called: str) -> None:
    """Fill between lowest and highest, broken by gaps: what is drawn above zero, what is given back below."""
    from matplotlib.patches import Rectangle

    envelope = log.envelopes[quantity]
    bottom, top = value_range(quantity, float(envelope.low.min()), float(envelope.high.max()))
    axes.set_ylim(bottom, top)
    seen = thinned(envelope, frame.points)
    # Of buckets a screen shows no steps, which would make the drawing twice as long.
    single = np.array_equal(seen.low, seen.high)
    step = step_of(log.facts.sampling, single=single) if single else ""
    left, right = axes.get_xlim()
    edge = (top - bottom) / frame.height_px  # half a line stands beyond what it goes around
    for colour, low, high in _colours(quantity, bottom, top):
        pieces = _pieces(seen, log.facts, low, high)
        if pieces:
            least = (right - left) / frame.width_px
            style = {"color": colour, "linewidth": 1, "is_called": called}
            drawn = band(axes, pieces, step=step, least=least, **style)
            box = Rectangle((left, low - edge), right - left, high - low + 2 * edge, transform=axes.transData)
            drawn.set_clip_path(box)


def _colours(quantity: str, bottom: float, top: float) -> list[tuple[str, float, float]]:
    """Return which colour a quantity has between which heights: out of the bank, into it, or neither."""
    if quantity == "voltage_V":
        return [(SOFT, bottom, top)]
    return [(DRAW, 0.0, top), (REST, bottom, -1e-9)]


def _pieces(
    seen: Envelope, facts: LogFacts, least: float, most: float
) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
    """Return the pieces of an envelope between gaps, as far as they come between two heights."""
    x, inside = on_axis(seen.time_us, facts), (seen.high >= least) & (seen.low <= most)
    pieces = []
    for piece in pieces_of(seen, facts):
        # A line into the heights begins at the point before, outside them.
        beside = np.pad(inside[piece], 1)
        near = np.flatnonzero(beside[:-2] | beside[1:-1] | beside[2:]) + piece.start
        for part in np.split(near, np.flatnonzero(np.diff(near) > 1) + 1):
            if len(part):
                pieces.append((x[part], seen.low[part], seen.high[part]))
    return pieces


def draw_gaps(axes: Axes, log: LogReport, start_us: int, stop_us: int, *, in_words: bool = True) -> None:
    """Hatch each gap from top to bottom, and say what it is where there is room."""
    whole = span_of(start_us, stop_us, log.facts)
    gaps = drawable([span_of(gap.start_us, gap.stop_us, log.facts) for gap in log.charge.span.gaps], whole)
    if not gaps:
        return
    high = axes.get_xaxis_transform()
    hatched = {"facecolor": GAP, "edgecolor": SOFT, "hatch": "//", "linewidth": 0}
    bars(axes, gaps, 0, 1, is_called="gaps", transform=high, **hatched)
    for left, right in gaps if in_words else ():
        # The words are about a tenth of a wide chart long.
        if right - left > 0.12 * (whole[1] - whole[0]):
            patch = {"facecolor": PAPER, "edgecolor": "none", "pad": 2}
            axes.text((left + right) / 2, 0.5, "no readings", transform=high, ha="center", va="center", bbox=patch)


def _draw_markers(axes: Axes, facts: LogFacts, whole: Span, frame: Frame | None) -> None:
    """Draw a line for each marker, in a frame its number too; those that stand close share one label, ``2–4``.

    One that stands apart has its name as well, where that has room before the next.
    """
    near = 0.025 * (whole[1] - whole[0])
    groups: list[list[tuple[int, float]]] = []
    for place, (us, _) in enumerate(facts.markers, start=1):
        at = span_of(us, us, facts)[0]
        if groups and at - groups[-1][-1][1] < near:
            groups[-1].append((place, at))
        else:
            groups.append([(place, at)])
    for k, group in enumerate(groups):
        end = groups[k + 1][0][1] if k + 1 < len(groups) else whole[1]
        for _, at in group[:100]:  # more lines than this in one place are a smear, and a heavy page
            axes.axvline(at, color=INK, linewidth=0.9, dashes=(2, 2))
        if frame is None:
            continue
        (first, left), (last, right) = group[0], group[-1]
        label = str(first) if first == last else f"{first}–{last}"
        look: dict[str, Any] = {"transform": axes.get_xaxis_transform(), "va": "bottom", "weight": "bold"}
        # The number is as broad as two letters, and so is the room on its left that its neighbour may take.
        name = numbers.shortened(facts.markers[first - 1][1], _MOST_OF_NAME) if first == last else ""
        room_px = (end - left) / (whole[1] - whole[0]) * _SHARE * frame.width_px
        if name and (len(name) + len(label) + 3) * _BOLD_EM * frame.text_px < room_px:
            axes.text(left, 1.0, f"{label} {name}", ha="left", **look)
        else:
            axes.text((left + right) / 2, 1.0, label, ha="center", **look)
