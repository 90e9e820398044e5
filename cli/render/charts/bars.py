"""Charts of bars: from the sum on paper to what was measured, and the share that each source has in the uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from shuntbook.cli.render.wording import numbers

from . import svg
from .svg import ALERT, DRAW, PAPER, REST, SOFT, WIDE, Frame

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from shuntbook.analysis.nameplate.plate_check import PlateCheck
    from shuntbook.analysis.nameplate.reasons import Reason
    from shuntbook.analysis.stats.interval95 import HowSure

_SHARE_ROW_PX, _SHARE_EDGE_PX = 30, 16

# A share below this could not be seen; it is still named. [1]
_THINNEST_SHARE = 0.002


def shares(sure: HowSure, *, name: str = "shares", frame: Frame = WIDE) -> str:
    """Draw a bar for each source: its squared standard uncertainty as a share of all, the largest first.

    Parameters
    ----------
    sure : HowSure
        An amount's budget.
    name : str
        Unique on the page.
    frame : Frame
        The width to draw for; the height follows from the rows.
    """
    parts = sorted(((sure.share(part), part.source) for part in sure.components), reverse=True)
    low = Frame(frame.name, frame.width_px, _SHARE_EDGE_PX + _SHARE_ROW_PX * len(parts), frame.text_px, frame.points)
    with svg.drawing(low) as figure:
        axes = figure.add_subplot()
        axes.barh(range(len(parts)), [max(share, _THINNEST_SHARE) for share, _ in parts], height=0.6, color=DRAW)
        for row, (share, _) in enumerate(parts):
            axes.text(share + 0.01, row, numbers.percent(share), va="center")
        axes.set_yticks(range(len(parts)), [source for _, source in parts])
        axes.set_xlim(0, 1.09)
        axes.set_ylim(len(parts) - 0.5, -0.5)
        axes.set_xticks([])
        svg.frame_axes(axes, grid="x")
        axes.spines["left"].set_visible(True)
        axes.spines["bottom"].set_visible(False)
        return svg.inline(figure, name=name, label="Share of each source in the uncertainty of what was drawn")


_ROW_PX, _EDGE_PX = 34, 12

#: A change is drawn at least this share of the chart's width wide, so that a small one is still seen.
_THINNEST = 0.003


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
    estimate, runs = check.estimate, check.runs
    bars = [_sum("on paper", estimate.paper_Wh, "..")]
    bars += _changes(estimate.paper_Wh, check.left_out_on_paper.reasons)
    bars.append(_sum("from the nameplate", estimate.energy_Wh, "//"))
    bars += _changes(estimate.energy_Wh, check.why.reasons)
    return [*bars, _sum("measured", runs.energy_Wh, "")]


def _sum(what: str, energy_Wh: float, hatch: str) -> Bar:
    return Bar(f"{what}: {numbers.amount(energy_Wh, 'Wh')}", 0.0, energy_Wh, is_sum=True, hatch=hatch)


def _changes(level_Wh: float, reasons: tuple[Reason, ...]) -> list[Bar]:
    bars = []
    for reason in reasons:
        if reason.energy_Wh:
            stop_Wh = level_Wh + reason.energy_Wh
            label = f"{reason.source}: {numbers.signed(reason.energy_Wh, 'Wh')}"
            bars.append(Bar(label, level_Wh, stop_Wh, is_sum=False))
            level_Wh = stop_Wh
    return bars


def waterfall(bars: Sequence[Bar], *, name: str = "plate", frame: Frame = WIDE) -> str:
    """Draw the way from the sum on paper to the measurement: full bars are sums, the short ones between are reasons.

    Parameters
    ----------
    bars : sequence of Bar
        The rows, from `bars_of`.
    name : str
        Unique on the page.
    frame : Frame
        The width to draw for; the height follows from the rows.
    """
    tall = Frame(frame.name, frame.width_px, _EDGE_PX + _ROW_PX * len(bars), frame.text_px, frame.points)
    most_Wh = max(max(bar.start_Wh, bar.stop_Wh) for bar in bars)
    least_Wh = min(0.0, *(min(bar.start_Wh, bar.stop_Wh) for bar in bars))
    with svg.drawing(tall) as figure:
        axes = figure.add_subplot()
        for row, bar in enumerate(bars):
            _draw(axes, -row, bar, (most_Wh - least_Wh) * _THINNEST)
        for row, bar in enumerate(bars[:-1]):
            axes.plot([bar.stop_Wh] * 2, [-row - 0.4, -row - 0.6], color=SOFT, linewidth=0.8, linestyle=":")
        axes.set_ylim(-len(bars) + 0.5, 0.55)
        axes.set_xlim(least_Wh, (most_Wh - least_Wh) * 1.01 + least_Wh)
        axes.axis("off")
        return svg.inline(figure, name=name, label="Energy on paper, from the nameplate and measured, with the reasons")


def _draw(axes: Axes, place: float, bar: Bar, thinnest_Wh: float) -> None:
    """Draw a sum as a tall bar, a change as a low one; by how much and which way is in its label."""
    left_Wh, width_Wh = min(bar.start_Wh, bar.stop_Wh), max(abs(bar.stop_Wh - bar.start_Wh), thinnest_Wh)
    more = bar.stop_Wh >= bar.start_Wh
    edge = DRAW if bar.is_sum else ALERT if more else REST
    face = DRAW if bar.is_sum and not bar.hatch else PAPER if bar.is_sum else edge
    height, centre = (0.4, place - 0.2) if bar.is_sum else (0.24, place - 0.2)
    axes.barh(
        centre, width_Wh, left=left_Wh, height=height, facecolor=face, edgecolor=edge, hatch=bar.hatch, linewidth=1.2
    )
    axes.text(0.0, place + 0.06, bar.label, va="bottom", ha="left")
