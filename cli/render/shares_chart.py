"""The chart of the uncertainty: the share that each source has in it. It is small and still: nothing to zoom into."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import svg, words
from .svg import DRAW, WIDE, Frame

if TYPE_CHECKING:
    from ...analysis.how_sure import HowSure

_ROW_PX, _EDGE_PX = 30, 16
# A share below this could not be seen; it is still named. [1]
_THINNEST = 0.002


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
    low = Frame(frame.name, frame.width_px, _EDGE_PX + _ROW_PX * len(parts), frame.text_px, frame.points)
    with svg.drawing(low) as figure:
        axes = figure.add_subplot()
        axes.barh(range(len(parts)), [max(share, _THINNEST) for share, _ in parts], height=0.6, color=DRAW)
        for row, (share, _) in enumerate(parts):
            axes.text(share + 0.01, row, words.percent(share), va="center")
        axes.set_yticks(range(len(parts)), [source for _, source in parts])
        axes.set_xlim(0, 1.09)
        axes.set_ylim(len(parts) - 0.5, -0.5)
        axes.set_xticks([])
        svg.frame_axes(axes, grid="x")
        axes.spines["left"].set_visible(True)
        axes.spines["bottom"].set_visible(False)
        return svg.inline(figure, name=name, label="Share of each source in the uncertainty of what was drawn")
