"""How digits stand in a straightened box: how wide, how far apart, how leant, how thick their segments."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .straighten import HIGH, Box

Figures = NDArray[np.float64]
#: What digits are like as meters build them, in parts of their height (common practice, no source): the middle, how far
#: around it they usually are, the least and the most. Tilt and taper are of boxes whose corners were set by hand.
USUAL: Final = {
    "width": (0.56, 0.08, 0.4, 0.75),
    "stroke": (0.135, 0.05, 0.06, 0.24),
    "slant": (0.1, 0.1, -0.08, 0.33),
    "tilt": (0.0, 0.06, -0.3, 0.3),
    "taper": (0.0, 0.06, -0.3, 0.3),
}
#: What an unusual digit must explain more to be believed, in parts of the variance, one spread away from what is usual.
UNUSUAL: Final = 0.002
#: How near to each other digits stand at least, and how far apart one alone is from its neighbours, in widths.
_NEAREST, _ALONE = 1.06, 1.4
#: How far the edges of a box drawn by hand may lie outside and inside of its digits, in parts of its height.
TOO_LARGE: Final = 0.3
TOO_SMALL: Final = 0.1
#: Segments a to g between the corners of a digit's middle line: from (x, y) to (x, y), 1 is its width or height.
SEGMENTS: Final = (
    ((0, 0), (1, 0)),
    ((1, 0), (1, 0.5)),
    ((1, 0.5), (1, 1)),
    ((0, 1), (1, 1)),
    ((0, 0.5), (0, 1)),
    ((0, 0), (0, 0.5)),
    ((0, 0.5), (1, 0.5)),
)
#: A candidate is a row of a geometry's figures in this order, all lengths in pixels of the patch.
ORDER: Final = ("left", "pitch", "width", "top", "height", "stroke", "slant", "tilt", "taper")


@dataclass(frozen=True)
class Geometry:
    """The digits in a patch: in its pixels, but `slant`, which is lean per height. ``score`` is 1 for a perfect fit.

    ``left`` is where the first digit's foot begins. In a box drawn askew the row of digits falls by ``tilt`` and grows
    by ``taper`` of its height over its length ``long``, both to the right; what grows to one side is nearer there, so
    digits stand further apart there, too. ``aside`` is by how much each digit stands
    further right than in an even row, as where two modules are put side by side.
    """

    left: float
    pitch: float
    width: float
    top: float
    height: float
    stroke: float
    slant: float
    score: float
    tilt: float = 0.0
    taper: float = 0.0
    long: float = 1.0
    aside: tuple[float, ...] = ()

    def at(self, digit: float, x: float, y: float) -> tuple[float, float]:
        """Return where in the patch a point of a digit is: `x` from its left edge, `y` from its top. [pixels]"""
        aside = self.aside[int(digit)] if 0 <= digit < len(self.aside) else 0.0
        across = digit * self.pitch + aside + x + self.slant * (self.height - y)
        along = across / self.long - 0.5
        down = (y - self.height / 2) * (1 + self.taper * along) + self.tilt * self.height * along
        return self.left + across * (1 + self.taper * (along - 0.5)), self.top + self.height / 2 + down

    def upright(self, x: Figures, y: Figures) -> tuple[Figures, Figures]:
        """Return, of points in the patch, how far they are from the first digit's left edge and from its top."""
        seen = x - self.left
        across = seen / (1 + self.taper * (seen / self.long - 1))
        across = across + seen - across * (1 + self.taper * (across / self.long - 1))
        along = across / self.long - 0.5
        down = (y - self.top - self.height / 2 - self.tilt * self.height * along) / (1 + self.taper * along)
        return across - self.slant * (self.height / 2 - down), down + self.height / 2

    def ends(self, digits: int) -> Figures:
        """Return the corners of the first and the last digit; shape (8, 2)."""
        return np.array([self.at(k, x, y) for k in (0, digits - 1) for x in (0, self.width) for y in (0, self.height)])

    def row(self) -> Figures:
        """Return its figures as those of a candidate; shape (9,)."""
        return np.array([getattr(self, name) for name in ORDER])


def geometry_of(row: Figures, digits: int, score: float = 0.0) -> Geometry:
    """Return a candidate as a geometry; what stands behind its figures is how far each digit stands aside."""
    aside = tuple(row[len(ORDER) :].tolist())
    figures = dict(zip(ORDER, row.tolist(), strict=False))
    return Geometry(**figures, score=float(score), long=float(length_of(row, digits)), aside=aside)


def length_of(rows: Figures, digits: int) -> Figures:
    """Return how long the rows of digits of candidates are. [pixels of the patch]"""
    return np.asarray((digits - 1) * rows[..., 1] + rows[..., 2] + np.abs(rows[..., 6]) * rows[..., 4])


def limited(rows: Figures, box: Box) -> Figures:
    """Return candidates made such as digits can be; shape (n, 9)."""
    left, pitch, width, top, height, stroke, slant, tilt, taper = rows.T
    height = np.clip(height, 0.9 * HIGH / (1 + 2 * TOO_LARGE), HIGH * (1 + 2 * TOO_SMALL))

    def within(part: Figures, name: str, unit: Figures | float) -> Figures:
        *_, least, most = USUAL[name]
        return np.clip(part, least * unit, most * unit)

    width, stroke = within(width, "width", height), within(stroke, "stroke", height)
    pitch = np.maximum(pitch, _NEAREST * width) if box.digits > 1 else _ALONE * width
    lean = (within(part, name, 1.0) for part, name in ((slant, "slant"), (tilt, "tilt"), (taper, "taper")))
    return np.stack([left, pitch, width, top, height, stroke, *lean], axis=1)
