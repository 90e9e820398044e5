"""A matplotlib figure as one inline ``<svg>`` that takes its colours and its type from the page around it.

A function that draws takes a ``name``, unique on the page, and a `Frame`, and returns the element; `both_sizes` has it
draw for a wide and for a narrow screen.
"""

from __future__ import annotations

import io
import json
import re
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from functools import partial
from html import escape
from typing import TYPE_CHECKING, Any, cast

from ...parallel.worker_process import HERE, Second

if TYPE_CHECKING:
    from matplotlib.artist import Artist
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
#: What each is where no style sheet is: the style sheet's own for a light page.
LIGHT = {
    INK: "#1d2422",
    SOFT: "#55605c",
    GRID: "#d9d8d0",
    DRAW: "#0072b2",
    REST: "#007d5b",
    ALERT: "#c24f00",
    GAP: "#ebe9e1",
    PAPER: "#fbfaf7",
}


def load_library() -> None:
    """Load what drawing takes longest to load, before there is anything to draw."""
    import matplotlib.backends.backend_svg
    import matplotlib.dates
    import matplotlib.figure  # noqa: F401


@contextmanager
def real_colours(palette: Mapping[str, str]) -> Iterator[None]:
    """Let what is drawn and written to a file within the block have the colours of a palette, such as `LIGHT`."""
    from matplotlib.colors import get_named_colors_mapping

    # To the library a colour that has a name is that name's: so each of ours is, for as long as the block lasts.
    names: dict[str, Any] = get_named_colors_mapping()
    # One by one: only so does the library forget what it took a colour for that it has drawn with before.
    for name, colour in palette.items():
        names[name] = colour
    try:
        yield
    finally:
        for name in palette:
            del names[name]


@dataclass(frozen=True)
class Frame:
    """The size a chart is drawn for: CSS pixels, and how many points across are worth drawing."""

    name: str
    width_px: int
    height_px: int
    text_px: float
    points: int

    def of_height(self, height_px: float) -> Frame:
        """Return the same frame with another height."""
        return replace(self, height_px=round(height_px))


WIDE = Frame("wide", 1100, 280, 14, 1200)
NARROW = Frame("narrow", 340, 290, 12.25, 500)


#: How broad a letter is, on average. [em]
_LETTER_EM = 0.58
_STYLE = re.compile(r' style="[^"]*"')
_SIGNS = re.compile(r'(<g clip-path="[^"]*")>((?:<use [^>]*/>)+)</g>')
_LONG = re.compile(r"\d+\.\d{2,}")
#: What the ids of parts begin with that the page's script redraws.
_OURS = "moves-"

#: What waits for a drawing in both sizes, the wide one first.
Drawn = Callable[[], tuple[str, str]]

_drawn_by: ContextVar[Second] = ContextVar("drawn_by", default=HERE)


@contextmanager
def drawn_by(second: Second) -> Iterator[None]:
    """Let what is drawn in the block be drawn there."""
    token = _drawn_by.set(second)
    try:
        yield
    finally:
        _drawn_by.reset(token)


def both_sizes(draw: Callable[..., str], name: str, frames: tuple[Frame, Frame] = (WIDE, NARROW)) -> Drawn:
    """Begin a drawing in two sizes; `name` is what the names of both begin with.

    `draw` may be sent to another process: a function of a module with all else that it needs bound by
    `functools.partial`.
    """
    return _drawn_by.get().begin(partial(_drawn, draw, name, frames))


def _drawn(draw: Callable[..., str], name: str, frames: tuple[Frame, Frame]) -> tuple[str, str]:
    wide, narrow = (draw(name=f"{name}-{frame.name}", frame=frame) for frame in frames)
    return wide, narrow


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


def moving(artist: Artist, name: str) -> None:
    """Give a part of a drawing the name by which the page's script redraws it from what it knows closer."""
    artist.set_gid(_OURS + name)


def inline(figure: Figure, *, name: str, label: str, x_unit: float | None = None) -> str:
    """Return a figure as an ``<svg>`` element to stand inside a page: the same bytes for the same drawing, no address.

    Colours named above become variables of the style sheet; `label` says what is drawn to those who do not see it. With
    `x_unit`, what one of the x axis is on the readout's scale, the page's script can move the drawing along that axis.
    """
    import matplotlib as mpl

    out = io.StringIO()
    if x_unit is not None:
        for axes in figure.axes:
            for part, called in ((axes, "panel"), (axes.xaxis, "x-axis"), (axes.yaxis, "y-axis")):
                moving(part, called)
    # Ids of clips and hatches are hashed with the name, else two drawings of a page could share one.
    with mpl.rc_context({"svg.hashsalt": name}):
        _draw(figure, out)
    return _opening(figure, label, x_unit) + _body(out.getvalue(), name)


def _draw(figure: Figure, out: io.StringIO) -> None:
    """Lay a figure out and draw it by one renderer, which so measures each text once; `savefig` takes one for each."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG, RendererSVG

    for patch in (figure.patch, *(axes.patch for axes in figure.axes)):
        patch.set(facecolor="none", edgecolor="none")
    nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    width_px, height_px = figure.get_size_inches() * 72
    renderer = cast(Any, RendererSVG)(width_px, height_px, out, metadata=nothing)
    # The layout asks the canvas for what it measures with.
    cast(Any, FigureCanvasSVG(figure)).get_renderer = lambda: renderer
    figure.draw(renderer)
    renderer.finalize()


def _opening(figure: Figure, label: str, x_unit: float | None) -> str:
    width, height = (round(72 * inches) for inches in figure.get_size_inches())
    scale = ""
    if x_unit is not None:
        ends = [float(end) * x_unit for end in figure.axes[0].get_xlim()]
        panels = [[*_box(axes, width, height), *axes.get_ylim()] for axes in figure.axes]
        scale = f' data-x="{json.dumps(ends)}" data-panels="{json.dumps(panels)}"'
    return f'<svg viewBox="0 0 {width} {height}" role="img" aria-label="{escape(label)}"{scale}>'


def _box(axes: Axes, width: float, height: float) -> list[float]:
    """Return the left, top, right and bottom of axes in the drawing. [px]."""
    at = axes.get_position()
    return [round(x, 2) for x in (at.x0 * width, (1 - at.y1) * height, at.x1 * width, (1 - at.y0) * height)]


def _body(text: str, name: str) -> str:
    # Type, sizes of type and addresses are the page's; and a tenth of a pixel is all that a screen can show.
    body = text[text.index(">", text.index("<svg")) + 1 :]
    body = re.sub(r"<style.*?</style>", "", body, flags=re.DOTALL)
    body = body.replace("xlink:href", "href")
    body = re.sub(r' transform="rotate\(-0 [^"]*\)"', "", body)
    body = re.sub(r"; font-family: [^;\"]*|font-family: [^;\"]*; ", "", body)
    body = _own_ids(body, name)
    for colour, variable in VARIABLES.items():
        body = body.replace(colour, variable)
    body = re.sub(r"<[^>]*>", lambda tag: _LONG.sub(_tenth, tag[0]), body)  # not in the texts
    body = re.sub(r"\s*\n\s*", " ", body).replace("> <", "><").strip()
    return _SIGNS.sub(_styled_once, body)


def _styled_once(signs: re.Match[str]) -> str:
    """Give the same look of many signs to their group: it is two thirds of what each of them takes."""
    styles = set(_STYLE.findall(signs[2]))
    return f"{signs[1]}{styles.pop()}>{_STYLE.sub('', signs[2])}</g>" if len(styles) == 1 else signs[0]


def _tenth(number: re.Match[str]) -> str:
    return f"{float(number[0]):.1f}".removesuffix(".0")


def _own_ids(body: str, name: str) -> str:
    """Drop the ids that nothing refers to, and put the drawing's name before the others; ours are names of parts."""
    body = re.sub(r' id="xtick_\d+"', f' id="{_OURS}tick"', body)
    body = re.sub(rf' id="{_OURS}([\w-]+)"', r' data-is="\1"', body)
    used = set(re.findall(r'(?:url\(#|href="#)([\w.-]+)', body))
    body = re.sub(r' id="([\w.-]+)"', lambda m: f' id="{name}-{m[1]}"' if m[1] in used else "", body)
    return re.sub(r'(url\(#|href="#)', rf"\g<1>{name}-", body)


def in_lines(parts: Sequence[str], room_em: float) -> str:
    """Return the parts of a text in one line where that has room, else each in a line of its own."""
    text = " ".join(parts)
    return text if _LETTER_EM * len(text) <= room_em else "\n".join(parts)


def legend_above(figure: Figure, columns: int) -> None:
    """Say above a drawing what its signs are."""
    figure.legend(loc="outside upper left", ncols=columns, handlelength=1.6)


def frame_axes(axes: Axes, *, grid: str = "y") -> None:
    """Give axes our quiet look: a few rules, no box."""
    axes.grid(visible=False)
    axes.grid(visible=True, axis=grid)  # type: ignore[arg-type]
    axes.tick_params(length=0, pad=5)
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(side == "bottom")
