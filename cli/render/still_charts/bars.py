"""Charts of bars, a row each: from paper to what was measured, and the share of each source in the uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from ..wording import numbers
from . import svg
from .svg import DRAW, INK, PAPER, SOFT, WIDE, Frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from ....analysis.nameplate.plate_check import PlateCheck
    from ....analysis.nameplate.reasons import Reason
    from ....analysis.stats.interval95 import HowSure, Within

#: Height of a row, and what all rows leave above and below them. [px]
_CHANGE_PX, _CHANGES_EDGE_PX = 34, 12
_SHARE_PX, _SHARES_EDGE_PX = 30, 16
_ANSWER_PX: Final = 22
#: What stands beside a figure in large type is half as broad as a page.
BESIDE: Final = replace(WIDE, width_px=640)
#: How broad a letter is at the most, on average. [em]
_LETTER_EM: Final = 0.6
#: A bar is drawn at least this share of the chart's width wide, so that a small change or share is still seen. [1]
_THINNEST_CHANGE, _THINNEST_SHARE = 0.003, 0.002
#: The soft end of a bar is made of so many slices, each fainter than the one before. [1]
_SLICES: Final = 20


def soft_bar(
    axes: Axes, within: Within, at: tuple[float, float], colour: str, *, upright: bool = False, start: float = 0.0
) -> None:
    """Draw a figure as a bar that fades over its 95 % interval: solid up to the low end, gone at the high one.

    It begins at `start` and is as broad as `at` says, from one side to the other; a thin line stands at the value. It
    sets no ends of the axes.
    """
    from matplotlib.patches import Rectangle

    low, high, broad = start + within.low, start + within.high, at[1] - at[0]

    def slab(left: float, right: float, alpha: float) -> None:
        corner, size = (left, at[0]), (right - left, broad)
        if upright:
            corner, size = corner[::-1], size[::-1]
        # Bars of the library would each measure the axes anew, whose ends are set.
        axes.add_artist(Rectangle(corner, *size, color=colour, alpha=alpha, linewidth=0))

    slab(start, low, 1.0)
    for k in range(_SLICES if high > low else 0):
        slab(low + (high - low) * k / _SLICES, low + (high - low) * (k + 1) / _SLICES, 1.0 - (k + 0.5) / _SLICES)
    (axes.hlines if upright else axes.vlines)(start + within.value, *at, color=INK, linewidth=1.2)


@dataclass(frozen=True)
class Bar:
    """A row of the chart: a sum from 0 to ``stop_Wh``, or a change from ``start_Wh`` to ``stop_Wh``."""

    label: str
    start_Wh: float
    stop_Wh: float
    is_sum: bool
    hatch: str = ""


def bars_of(check: PlateCheck) -> list[Bar]:
    """Return the rows from paper over the nameplate's estimate to the measurement; reasons without energy are none."""
    estimate = check.estimate
    return [
        _sum("on paper", estimate.paper_Wh, "."),
        *_changes(estimate.paper_Wh, check.left_out_on_paper.reasons),
        _sum("from the nameplate", estimate.energy_Wh, "//"),
        *_changes(estimate.energy_Wh, check.why.reasons),
        _sum("measured", check.runs.energy_Wh, "", check.runs.energy_u95_Wh),
    ]


def _sum(what: str, energy_Wh: float, hatch: str, u95_Wh: float | None = None) -> Bar:
    return Bar(f"{what}: {numbers.plus_minus(energy_Wh, u95_Wh, 'Wh')}", 0.0, energy_Wh, is_sum=True, hatch=hatch)


def _changes(level_Wh: float, reasons: tuple[Reason, ...]) -> list[Bar]:
    bars = []
    for reason in reasons:
        if reason.energy_Wh:
            # Each begins where the one above ends, so that the eye goes down a stair from one sum to the next.
            stop_Wh = level_Wh + reason.energy_Wh
            label = f"{reason.source}: {numbers.signed(reason.energy_Wh, 'Wh')}"
            bars.append(Bar(label, level_Wh, stop_Wh, is_sum=False))
            level_Wh = stop_Wh
    return bars


def waterfall(bars: Sequence[Bar], *, name: str = "plate", frame: Frame = WIDE) -> str:
    """Draw the rows of `bars_of`: tall bars are sums, the low ones between are reasons."""
    most_Wh = max(max(bar.start_Wh, bar.stop_Wh) for bar in bars)
    least_Wh = min(0.0, *(min(bar.start_Wh, bar.stop_Wh) for bar in bars))
    width_Wh = most_Wh - least_Wh
    with svg.drawing(frame.of_height(_CHANGES_EDGE_PX + _CHANGE_PX * len(bars))) as figure:
        axes = figure.add_subplot()
        for row, bar in enumerate(bars):
            _draw(axes, -row, bar, width_Wh * _THINNEST_CHANGE)
        for row, bar in enumerate(bars[:-1]):
            axes.plot([bar.stop_Wh] * 2, [-row - 0.4, -row - 0.6], color=SOFT, linewidth=0.8, linestyle=":")
        axes.set_ylim(-len(bars) + 0.5, 0.55)
        axes.set_xlim(least_Wh, width_Wh * 1.01 + least_Wh)
        axes.axis("off")
        return svg.inline(figure, name=name, label="Energy on paper, from the nameplate and measured, with the reasons")


def _draw(axes: Axes, place: float, bar: Bar, thinnest_Wh: float) -> None:
    """Draw a sum as a tall bar, a change as a low one; by how much and which way is in its label."""
    left_Wh, width_Wh = min(bar.start_Wh, bar.stop_Wh), max(abs(bar.stop_Wh - bar.start_Wh), thinnest_Wh)
    edge = DRAW if bar.is_sum else SOFT
    # What is reckoned is hatched on the ground of the page; only what was measured is a full bar of the draw's colour.
    face = PAPER if bar.is_sum and bar.hatch else edge
    axes.barh(
        place - 0.2,
        width_Wh,
        left=left_Wh,
        height=0.4 if bar.is_sum else 0.24,
        facecolor=face,
        edgecolor=edge,
        hatch=bar.hatch,
        linewidth=1.2,
    )
    axes.text(0.0, place + 0.06, bar.label, va="bottom", ha="left")


@dataclass(frozen=True)
class AnswerBar:
    """A figure of the answer: what took or gave it, how it is written, its 95 % interval, and where its bar begins."""

    who: str
    text: str
    within: Within
    start: float = 0.0


def answer_bars(amounts: Sequence[AnswerBar], *, name: str = "answer", frame: Frame = BESIDE) -> str:
    """Draw figures of one unit under each other, each as a bar that fades over its interval, on one scale."""
    with svg.drawing(frame.of_height(len(amounts) * _ANSWER_PX)) as figure:
        axes = figure.add_subplot()
        most = max(bar.start + bar.within.high for bar in amounts)
        for row, bar in enumerate(amounts):
            soft_bar(axes, bar.within, (row - 0.42, row + 0.42), DRAW, start=bar.start)
            # In a bar that is too short the words would run out on to the paper, of which they have the colour.
            fits = _LETTER_EM * frame.text_px * (len(bar.who) + 2) < bar.within.low / most * frame.width_px
            x, colour = (0.0, PAPER) if fits else (bar.within.high, INK)
            axes.text(bar.start + x + 0.012 * most, row, bar.who, color=colour, va="center", ha="left")
        axes.set_ylim(len(amounts) - 0.5, -0.5)
        axes.set_xlim(0, 1.01 * most)
        axes.axis("off")
        label = "; ".join(f"{bar.who}: {bar.text}" for bar in amounts)
        return svg.inline(figure, name=name, label=label)


def shares(sure: HowSure, *, name: str = "shares", frame: Frame = WIDE) -> str:
    """Draw a bar for each source: its squared standard uncertainty as a share of all, the largest first."""
    parts = sorted(((sure.share(part), part.source) for part in sure.components), reverse=True)
    with svg.drawing(frame.of_height(_SHARES_EDGE_PX + _SHARE_PX * len(parts))) as figure:
        axes = figure.add_subplot()
        axes.barh(range(len(parts)), [max(share, _THINNEST_SHARE) for share, _ in parts], height=0.6, color=SOFT)
        for row, (share, _) in enumerate(parts):
            axes.text(share + 0.01, row, numbers.percent(share), va="center")
        axes.set_yticks(range(len(parts)), [source for _, source in parts])
        # Room for the figure beside a bar of 100 %; rows run down, the largest at the top.
        axes.set_xlim(0, 1.09)
        axes.set_ylim(len(parts) - 0.5, -0.5)
        axes.set_xticks([])
        svg.frame_axes(axes, grid="x")
        axes.spines["left"].set_visible(True)
        axes.spines["bottom"].set_visible(False)
        return svg.inline(figure, name=name, label="Share of each source in the uncertainty of what was drawn")
