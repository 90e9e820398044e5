"""The fleet's charts: how many logs lie where on a scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from shuntbook.cli.render.charts import svg
from shuntbook.cli.render.charts.svg import ALERT, DRAW, PAPER, WIDE, Frame

#: So many bars are told apart at a glance, on a phone, too. [1]
_BARS: Final = 20


def histogram(groups: Sequence[tuple[str, Sequence[float]]], what: str, *, name: str, frame: Frame = WIDE) -> str:
    """Draw how many logs lie in each stretch of a scale, one group upon the other.

    Parameters
    ----------
    groups : sequence of (str, sequence of float)
        What each group is called, and its logs' figures; at least one figure in all.
    what : str
        What the scale shows, with its unit.
    name : str
        Unique on the page.
    frame : Frame
        The size to draw for; two thirds of its height are used.

    Returns
    -------
    str
        An ``<svg>`` element.
    """
    from matplotlib.ticker import MaxNLocator

    every = np.concatenate([np.asarray(figures, dtype=float) for _, figures in groups])
    edges = np.linspace(0.0, max(float(every.max()), 1e-9), _BARS + 1)
    low = Frame(frame.name, frame.width_px, round(frame.height_px * 0.7), frame.text_px, frame.points)
    looks = [(ALERT, ALERT, ""), (PAPER, ALERT, "///"), (DRAW, DRAW, "")]
    with svg.drawing(low) as figure:
        axes = figure.add_subplot()
        base = np.zeros(_BARS)
        for (called, figures), (face, edge, hatch) in zip(groups, looks, strict=True):
            count = np.histogram(figures, edges)[0]
            look: dict[str, Any] = {"facecolor": face, "edgecolor": edge, "hatch": hatch, "label": called}
            there = count > 0
            if not there.any():  # what no bar shows would stand in the legend in another colour
                continue
            axes.bar(edges[:-1][there], count[there], (np.diff(edges) * 0.9)[there], base[there], align="edge", **look)
            base += count
        axes.set_xlim(edges[0], edges[-1])  # from nought on, also where no log lies near it
        axes.set_xlabel(what)
        axes.set_ylabel("logs")
        axes.yaxis.set_major_locator(MaxNLocator(integer=True))
        svg.frame_axes(axes)
        figure.legend(loc="outside upper left", ncols=3, handlelength=1.4)
        return svg.inline(figure, name=name, label=f"How many logs there are by {what}")
