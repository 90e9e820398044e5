"""A matplotlib figure as one inline ``<svg>`` that takes its colours and its type from the page around it."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# The drawing library is imported only where something is drawn, which may be in another process.

# Colours that stand for a variable of the style sheet, so that one drawing serves light, dark and paper.
INK, SOFT, GRID, GAP, PAPER = "#010101", "#020202", "#030303", "#040404", "#050505"
DRAW, REST, ALERT = "#060606", "#070707", "#080808"
#: What each stands for.
VARIABLES = {
    INK: "var(--ink)",
    SOFT: "var(--soft)",
    GRID: "var(--rule)",
    DRAW: "var(--draw)",
    REST: "var(--rest)",
    ALERT: "var(--alert)",
    GAP: "var(--gap)",
    PAPER: "var(--paper)",
}


@dataclass(frozen=True)
class Frame:
    """The size a chart is drawn for: CSS pixels, and how many points across are worth drawing."""

    name: str
    width_px: int
    height_px: int
    text_px: float
    points: int


WIDE = Frame("wide", 960, 250, 13, 1500)
NARROW = Frame("narrow", 340, 290, 11.5, 500)


@contextmanager
def drawing(frame: Frame) -> Iterator[Figure]:
    """Give a figure of the frame's size, with our own settings and nobody else's in force."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(), warnings.catch_warnings():
        # A sign the drawing library's own font lacks is set by the reader's fonts, as all text here is.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        mpl.rcdefaults()
        mpl.rcParams.update(_settings(frame))
        yield Figure(figsize=(frame.width_px / 72, frame.height_px / 72), dpi=72, layout="constrained")


def _settings(frame: Frame) -> dict[Any, Any]:
    return {
        "svg.fonttype": "none",
        "text.parse_math": False,
        "font.size": frame.text_px,
        "axes.labelsize": frame.text_px,
        "text.color": INK,
        "axes.labelcolor": INK,
        "axes.edgecolor": GRID,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.grid": True,
        "axes.axisbelow": True,
        "grid.color": GRID,
        "grid.linewidth": 0.8,
        "xtick.color": GRID,
        "ytick.color": GRID,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "hatch.linewidth": 0.7,
        "legend.frameon": False,
        "axes.unicode_minus": True,
        "figure.constrained_layout.h_pad": 0.04,
        "figure.constrained_layout.w_pad": 0.04,
    }


def inline(figure: Figure, *, name: str, label: str) -> str:
    """Return a figure as an ``<svg>`` element to stand inside a page.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The drawing; colours named above become variables of the style sheet.
    name : str
        Unique on the page: keeps the ids of one drawing apart from those of another.
    label : str
        What the drawing shows, for those who do not see it.

    Returns
    -------
    str
        The element, the same bytes for the same drawing, and no address anywhere in it.
    """
    import matplotlib as mpl

    out = io.StringIO()
    _laid_out(figure)
    with mpl.rc_context({"svg.hashsalt": name}):
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        figure.savefig(out, format="svg", metadata=nothing, transparent=True)
    return _opening(figure, label) + _body(out.getvalue(), name)


def _laid_out(figure: Figure) -> None:
    """Place all parts for good: `savefig` would do so by drawing the whole once more and throwing that away."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    FigureCanvasSVG(figure)
    engine = figure.get_layout_engine()
    if engine is not None:
        engine.execute(figure)
    figure.set_layout_engine(None)


def _opening(figure: Figure, label: str) -> str:
    width, height = (round(72 * inches) for inches in figure.get_size_inches())
    return f'<svg viewBox="0 0 {width} {height}" role="img" aria-label="{escape(label)}">'


def _body(text: str, name: str) -> str:
    body = text[text.index(">", text.index("<svg")) + 1 :]
    body = re.sub(r"<style.*?</style>", "", body, flags=re.DOTALL)
    body = body.replace("xlink:href", "href")
    body = re.sub(r"; font-family: [^;\"]*|font-family: [^;\"]*; ", "", body)
    body = _own_ids(body, name)
    for colour, variable in VARIABLES.items():
        body = body.replace(colour, variable)
    body = re.sub(r"<[^>]*>", lambda tag: re.sub(r"(\d\.\d{2})\d+", r"\1", tag[0]), body)  # not in the texts
    return re.sub(r"\s*\n\s*", " ", body).replace("> <", "><").strip()


def _own_ids(body: str, name: str) -> str:
    """Drop the ids that nothing refers to, and put the drawing's name before the others."""
    used = set(re.findall(r'(?:url\(#|href="#)([\w.-]+)', body))
    body = re.sub(r' id="([\w.-]+)"', lambda m: f' id="{name}-{m[1]}"' if m[1] in used else "", body)
    return re.sub(r'(url\(#|href="#)', rf"\g<1>{name}-", body)


def frame_axes(axes: Axes, *, grid: str = "y") -> None:
    """Give axes our quiet look: a few rules, no box."""
    axes.grid(visible=False)
    axes.grid(visible=True, axis=grid)  # type: ignore[arg-type]
    axes.tick_params(length=0, pad=5)
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(side == "bottom")
