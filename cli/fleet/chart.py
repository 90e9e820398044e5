"""The fleet's charts: how many logs lie where on a scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from ..render.still_charts import svg
from ..render.still_charts.svg import ALERT, DRAW, PAPER, WIDE, Frame

#: So many bars are told apart at a glance, on a phone, too. [1]
_BARS: Final = 20


def histogram(groups: Sequence[tuple[str, Sequence[float]]], what: str, *, name: str, frame: Frame = WIDE) -> str:
    """Draw as an ``<svg>`` how many logs lie in each stretch of a scale, one group upon the other.

    Each of the `groups` has what it is called and its logs' figures, at least one in all; `what` is what the scale
    shows, with its unit; `name` is unique on the page. Two thirds of the frame's height are used.
    """
    from matplotlib.ticker import MaxNLocator

    # One scale and the same bars for all groups: what is compared is how they lie among each other.
    every = np.concatenate([np.asarray(figures, dtype=float) for _, figures in groups])
    edges = np.linspace(0.0, max(float(every.max()), 1e-9), _BARS + 1)
    low = Frame(frame.name, frame.width_px, round(frame.height_px * 0.7), frame.text_px, frame.points)
    # Hatched as well as coloured: red and blue are one grey on many a printer.
    looks = [(ALERT, ALERT, ""), (PAPER, ALERT, "///"), (DRAW, DRAW, "")]
    with svg.drawing(low) as figure:
        axes = figure.add_subplot()
        base = np.zeros(_BARS)
        for (called, figures), (face, edge, hatch) in zip(groups, looks, strict=True):
            count = np.histogram(figures, edges)[0]
            look: dict[str, Any] = {"facecolor": face, "edgecolor": edge, "hatch": hatch, "label": called}
            filled = count > 0
            if not filled.any():  # what no bar shows would stand in the legend in another colour
                continue
            axes.bar(
                edges[:-1][filled], count[filled], (np.diff(edges) * 0.9)[filled], base[filled], align="edge", **look
            )
            base += count
        axes.set_xlim(edges[0], edges[-1])  # from nought on, also where no log lies near it
        axes.set_xlabel(what)
        axes.set_ylabel("logs")
        axes.yaxis.set_major_locator(MaxNLocator(integer=True))
        svg.frame_axes(axes)
        figure.legend(loc="outside upper left", ncols=3, handlelength=1.4)
        return svg.inline(figure, name=name, label=f"How many logs there are by {what}")
