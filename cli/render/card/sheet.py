"""A sheet of given size on which texts are written within a width: what is too long is shortened, never cut off."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, cast

from ...door import NO_ISOLATES
from ..still_charts.svg import INK
from .signs import families, readable

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

#: From one line of text to the next, and from the top of a line to what its letters stand on. [em]
_LEADING, _ASCENT = 1.3, 0.95
_ELLIPSIS: Final = "…"


@dataclass(frozen=True)
class Pen:
    """How a text looks: its size [px], its weight and its colour."""

    size_px: float
    bold: bool = False
    colour: str = INK

    @property
    def line_px(self) -> float:
        """From one line to the next. [px]"""
        return _LEADING * self.size_px


@dataclass
class Sheet:
    """A figure whose places are counted in pixels from its upper left corner; ``texts`` is what stands on it."""

    figure: Figure
    width_px: float
    height_px: float
    texts: list[Text] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Give the figure what texts are measured by."""
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        # The library says nothing of what its renderer returns.
        self._renderer: Any = cast(Any, FigureCanvasAgg(self.figure)).get_renderer()
        self.figure.set_layout_engine("none")

    def width_of(self, text: str, pen: Pen) -> float:
        """Return how wide a line of text is. [px]"""
        from matplotlib.font_manager import FontProperties

        weight = "bold" if pen.bold else "normal"
        font = FontProperties(family=list(families(text)), size=pen.size_px, weight=weight)
        return float(self._renderer.get_text_width_height_descent(text, font, ismath=False)[0])

    def write(self, text: str, at: tuple[float, float], pen: Pen, *, width_px: float, lines: int = 1) -> float:
        """Write a text within a width from a place on, its upper left corner; return where the next may begin. [px]

        It takes `lines` at most; what then is too long ends with an ellipsis.
        """
        x, y = at
        for line in self._lines(_plain(text), pen, width_px, lines):
            self.put(line, (x, y), pen)
            y += pen.line_px
        return y

    def put(self, line: str, at: tuple[float, float], pen: Pen, *, align: str = "left") -> None:
        """Put a line of text in a place, as it is."""
        x, y = at
        # What letters stand on is where lines of different sizes agree; their boxes do not.
        written = self.figure.text(
            x / self.width_px,
            1 - (y + _ASCENT * pen.size_px) / self.height_px,
            line,
            family=list(families(line)),
            size=pen.size_px,
            weight="bold" if pen.bold else "normal",
            color=pen.colour,
            ha=align,
            va="baseline",
        )
        self.texts.append(written)

    def cut(self, text: str, pen: Pen, width_px: float) -> str:
        """Return a text as one line that is no wider; with an ellipsis where something is left out."""
        text = _plain(text)
        if self.width_of(text, pen) <= width_px:
            return text
        # By halves: widths rise with the letters that stay.
        low, high = 0, len(text)
        while low < high:
            middle = (low + high + 1) // 2
            fits = self.width_of(text[:middle].rstrip() + _ELLIPSIS, pen) <= width_px
            low, high = (middle, high) if fits else (low, middle - 1)
        return text[:low].rstrip() + _ELLIPSIS

    def axes(self, left_px: float, top_px: float, width_px: float, height_px: float) -> Axes:
        """Return axes in a place, whose ticks and their words lie outside it."""
        return self.figure.add_axes(
            (
                left_px / self.width_px,
                1 - (top_px + height_px) / self.height_px,
                width_px / self.width_px,
                height_px / self.height_px,
            )
        )

    def _lines(self, text: str, pen: Pen, width_px: float, most: int) -> list[str]:
        """Return a text in lines that fit, broken between words."""
        words, lines = text.split(" "), [""]
        for k, word in enumerate(words):
            longer = f"{lines[-1]} {word}".strip()
            if self.width_of(longer, pen) <= width_px:
                lines[-1] = longer
            elif len(lines) == most:
                # All that is left, so that the ellipsis stands where it no longer fits.
                lines[-1] = f"{lines[-1]} {' '.join(words[k:])}".strip()
                break
            else:
                lines.append(word)
        return [self.cut(line, pen, width_px) for line in lines if line]


def _plain(text: str) -> str:
    """Return a text on one line, of signs that can be set; a figure and its ± are never parted."""
    return " ".join(readable(text.translate(NO_ISOLATES)).split()).replace(
        " ± ", "\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}"
    )
