"""How bright each segment is: the patch as a sum of segments and a ground, by least squares, so that blur is undone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from ..digit_places.geometry import SEGMENTS, Geometry
from ..digit_places.straighten import Patch

#: Parts of a digit: segments a to g and the point.
PARTS = 8
#: Blurs that are tried, from a sharp picture to one out of focus. [pixels of the patch]
BLURS = (0.7, 1.5, 2.6)
#: How far a patch may still be shifted to find the digits, in each direction. [pixels of the patch]
REACH = 5
#: How far beside the digits it is looked for what may be before them, in pitches.
_BESIDE = 0.5
#: The glow of dark segments is believed where so many of them glow alike, lit ones are so much brighter, no less bright
#: than this, and it is no more, all in parts of a lit segment's light. By photographs and pictures of the tests.
_FEW_DARK, _APART, _LEAST_LIT, _MOST_GLOW = 3, 0.3, 0.72, 0.62
#: How far beyond a segment's edges light is looked for that may be this segment, of digits placed badly. [heights]
_BEYOND: Final = 0.09
#: Lines across a segment.
_ALONG: Final = 5


@dataclass(frozen=True)
class SegmentLight:
    """What a patch is made of, in its own brightness.

    ``lit`` has a row a digit and a column a part; ``ground`` and ``rest`` (what is not explained, root mean square) a
    figure a digit; ``beside`` is what is not explained beyond the first and the last digit. ``fit`` is the share of the
    variance that is explained.
    """

    lit: NDArray[np.float64]
    ground: NDArray[np.float64]
    rest: NDArray[np.float64]
    beside: float
    fit: float
    shift: tuple[int, int] = (0, 0)

    @property
    def shines(self) -> NDArray[np.float64]:
        """How much light each digit gives; shape (digits,)."""
        return np.asarray(np.maximum(self.lit, 0).sum(axis=1), dtype=np.float64)

    def without_glow(self) -> SegmentLight:
        """Return the same less the light that dark segments have, too, where it shows clearly how much that is.

        In a lit room the grey plastic of dark segments is lighter than the rest of the face, and on many LCDs they are
        darker. All dark ones have that in common, and the lit ones stand out from them.
        """
        segments = np.sort(self.lit[:, : PARTS - 1].ravel())
        if segments[-1] <= 0:
            return self  # a dark picture
        level = float(np.median(segments[segments > 0.5 * segments[-1]]))
        steps = np.diff(segments)
        k = int(np.argmax(steps)) + 1
        dark, lit = segments[:k], segments[k:]
        alike = dark[-1] - dark[0] < steps[k - 1] and lit[0] > _LEAST_LIT * level
        if k < _FEW_DARK or len(lit) < 2 or steps[k - 1] < _APART * level or not alike:
            return self
        glow = max(float(np.median(dark)), 0.0)
        return replace(self, lit=self.lit - glow) if glow < _MOST_GLOW * level else self


class SegmentModel:
    """The templates of one geometry, and the matrix that turns a patch into amounts."""

    def __init__(self, geometry: Geometry, sharp: Sequence[Patch], digits: int, blur: float) -> None:
        self.geometry, self.digits, self.blur = geometry, digits, blur
        rows, columns = shape = sharp[0].shape
        self._inner = (rows - 2 * REACH, columns - 2 * REACH)
        self._parts = parts = [cv2.GaussianBlur(part, (0, 0), blur) for part in sharp]
        grounds = self._grounds(shape)
        templates = np.stack([*parts, *grounds])[:, REACH:-REACH, REACH:-REACH].reshape(len(parts) + len(grounds), -1)
        self._templates = np.ascontiguousarray(templates, dtype=np.float32)
        self._cells = self._cell_masks()
        self._lines = self._across_lines()
        # What lies beside the digits, a bezel or a printed unit, is not to be explained by them.
        templates = templates * np.any(self._cells[:digits], axis=0)
        square = templates @ templates.T
        # A hair of damping: parts that a blur cannot tell apart share what there is.
        damping = np.full(len(templates), 1e-3 * np.trace(square[: len(parts), : len(parts)]) / len(parts))
        # A ground that is nowhere to be seen is none, and no fault.
        damping[len(parts) :] = 1e-6 * np.trace(square[len(parts) :, len(parts) :])
        # Of so few unknowns the inverse is as good as solving for each pixel, and takes a tenth of the time.
        inverse = np.linalg.inv(square.astype(np.float64) + np.diag(damping)).astype(np.float32)
        self._solve = np.ascontiguousarray(inverse @ templates, dtype=np.float32)

    def _grounds(self, shape: tuple[int, int]) -> list[Patch]:
        """Return a ground for each digit, one fading into the next, and for each one that grows downwards.

        A glare that rests on the display lies above one digit and below another.
        """
        g, x = self.geometry, np.arange(shape[1], dtype=np.float32)
        middles = np.array([g.at(k, g.width / 2, g.height / 2)[0] for k in range(self.digits)])
        each = np.eye(self.digits)
        rows = [np.interp(x, middles, weight).astype(np.float32) for weight in each]
        down = np.linspace(-1, 1, shape[0], dtype=np.float32)
        return [*(np.tile(row, (shape[0], 1)) for row in rows), *(down[:, None] * row for row in rows)]

    def _cell_masks(self) -> list[NDArray[np.bool_]]:
        """Return the pixels of each digit's cell, then those at the left and at the right of all."""
        g = self.geometry
        rows, columns = self._inner
        y, x = np.mgrid[0:rows, 0:columns] + float(REACH)
        upright, down = g.upright(x, y)
        inside = (down > -0.12 * g.height) & (down < 1.12 * g.height)
        gap = (g.pitch - g.width) / 2
        cells = [
            inside & (upright >= k * g.pitch - gap) & (upright < (k + 1) * g.pitch - gap) for k in range(self.digits)
        ]
        level = (down > 0.1 * g.height) & (down < 0.9 * g.height)
        end = self.digits * g.pitch - gap
        left = level & (upright < -gap) & (upright > -gap - _BESIDE * g.pitch)
        right = level & (upright >= end) & (upright < end + _BESIDE * g.pitch)
        return [(cell if cell.any() else inside).ravel() for cell in (*cells, left, right)]

    def segment_templates(self, shape: tuple[int, int]) -> tuple[Patch, NDArray[np.bool_]]:
        """Return templates of the segments, shape (n, rows, columns), and which pixels are about the digits."""
        about = np.zeros(shape, dtype=bool)
        about[REACH:-REACH, REACH:-REACH] = np.any(self._cells[: self.digits], axis=0).reshape(self._inner)
        return np.stack(self._parts), about

    def amounts(self, patch: Patch, shift: tuple[int, int] = (0, 0)) -> SegmentLight:
        """Return what a patch, shape (rows, columns), is made of where it lies shifted by columns and rows."""
        dx, dy = shift
        rows, columns = self._inner
        part = patch[REACH + dy : REACH + dy + rows, REACH + dx : REACH + dx + columns].ravel()
        # Not by a matrix product, whose threads wait longer for each other than such small sums take.
        weights = np.einsum("kp,p->k", self._solve, part)
        rest = part - np.einsum("k,kp->p", weights, self._templates)
        n = self.digits * PARTS
        each = [float(np.sqrt(np.mean(rest[cell] ** 2))) for cell in self._cells]
        whole = np.any(self._cells[: self.digits], axis=0)
        fit = 1.0 - float(np.mean(rest[whole] ** 2)) / max(float(np.var(part[whole])), 1e-6)
        lit = weights[:n].reshape(self.digits, PARTS).astype(np.float64)
        ground = weights[n : n + self.digits].astype(np.float64)
        return SegmentLight(lit, ground, np.array(each[: self.digits]), max(each[self.digits :]), fit, shift)

    def across(self, patch: Patch, shift: tuple[int, int]) -> NDArray[np.float64]:
        """Return how much a patch's brightness varies across the middle of each segment; shape (digits, 7).

        It is what a lit one stands out by, wherever about its place it stands, and however the others were shared out.
        """
        (x, y), (dx, dy) = self._lines, shift
        light = cv2.remap(patch, x + dx, y + dy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        profile = light.reshape(self.digits, len(SEGMENTS), _ALONG, -1).mean(axis=2)
        return np.asarray(profile.max(axis=2) - profile.min(axis=2), dtype=np.float64)

    def _across_lines(self) -> tuple[Patch, Patch]:
        """Return x and y of points on lines across each segment; one long row each for all of a digit."""
        g = self.geometry
        half, wide, high = g.stroke / 2, g.width - g.stroke, g.height - g.stroke
        reach = half + _BEYOND * g.height
        steps = np.linspace(-reach, reach, 2 * round(reach) + 1)
        # What stands beyond half the gap is the next digit's; a blur spreads it.
        outward = half + max((g.pitch - g.width) / 2 - self.blur, 0.0)
        places = []
        for k in range(self.digits):
            for (x0, y0), (x1, y1) in SEGMENTS:
                for along in np.linspace(0.3, 0.7, _ALONG):
                    x, y = half + (x0 + along * (x1 - x0)) * wide, half + (y0 + along * (y1 - y0)) * high
                    if y0 == y1:
                        places += [g.at(k, x, y + step) for step in steps]
                    else:
                        inside = np.minimum(steps, outward) if x0 else np.maximum(steps, -outward)
                        places += [g.at(k, x + step, y) for step in inside]
        points = np.array(places, dtype=np.float32).reshape(self.digits, -1, 2)
        return np.ascontiguousarray(points[..., 0]), np.ascontiguousarray(points[..., 1])

    def grounds(self, colours: Patch, shift: tuple[int, int]) -> NDArray[np.float64]:
        """Return the ground of each digit in each colour of a patch, shape (rows, columns, 3); shape (digits, 3)."""
        (dx, dy), (rows, columns) = shift, self._inner
        part = colours[REACH + dy : REACH + dy + rows, REACH + dx : REACH + dx + columns].reshape(-1, 3)
        n = self.digits * PARTS
        return np.asarray(np.einsum("kp,pc->kc", self._solve[n : n + self.digits], part), dtype=np.float64)

    def brighter(self, colours: Patch, weights: Patch) -> NDArray[np.float64]:
        """Return how many times as bright lit segments are in each colour as in the weighted sum; 1 at least.

        What they shine on is so much brighter in that colour, too, and what is before them is not.
        """
        n = self.digits * PARTS
        part = colours[REACH:-REACH, REACH:-REACH].reshape(-1, 3)
        lit = np.einsum("kp,pc->kc", self._solve[:n], part)
        light = lit @ weights
        by_light = np.asarray(light @ lit / max(float(light @ light), 1e-6), dtype=np.float64)
        return np.maximum(np.abs(by_light), 1.0)

    def followed(self, patch: Patch, start: tuple[int, int]) -> SegmentLight:
        """Return what a patch is made of where its digits fit best, looking round `start` step by step."""
        best = self.amounts(patch, start)
        while True:
            x, y = best.shift
            near = [(x + dx, y + dy) for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1))]
            tries = [self.amounts(patch, at) for at in near if max(map(abs, at)) <= REACH]
            further = max(tries, key=lambda amounts: amounts.fit)
            if further.fit <= best.fit + 1e-4:
                return best
            best = further


def _sharp_part(g: Geometry, digit: int, part: int, shape: tuple[int, int]) -> Patch:
    """Return a segment, or the point, of a digit as a sharp picture of one size."""
    half = g.stroke / 2
    if part == PARTS - 1:
        gap = g.pitch - g.width
        centre = g.at(digit, g.width + gap / 2, g.height - half)
        size = min(half, 0.42 * gap)
        outline = [(centre[0] + size * dx, centre[1] + size * dy) for dx, dy in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    else:
        outline = _outline(g, digit, part)
    fine = np.zeros((shape[0] * 4, shape[1] * 4), np.uint8)
    cv2.fillPoly(fine, [np.round((np.array(outline) + 0.5) * 64 - 8).astype(np.int32)], 255, cv2.LINE_8, 4)
    coarse = cv2.resize(fine, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return np.asarray(coarse / 255.0, dtype=np.float32)


def _outline(g: Geometry, digit: int, part: int) -> list[tuple[float, float]]:
    (x0, y0), (x1, y1) = SEGMENTS[part]
    half, wide, high = g.stroke / 2, g.width - g.stroke, g.height - g.stroke
    a = np.array([half + x0 * wide, half + y0 * high])
    b = np.array([half + x1 * wide, half + y1 * high])
    along = (b - a) / np.linalg.norm(b - a)
    across = np.array([-along[1], along[0]]) * half
    # Ends taper: of pointed, mitred and square ones this is the middle.
    tip, base = along * half * 0.25, along * half * 0.95
    points = [a + tip, a + base + across, b - base + across, b - tip, b - base - across, a + base - across]
    return [g.at(digit, float(x), float(y)) for x, y in points]


def model_for(patch: Patch, geometry: Geometry, digits: int) -> SegmentModel:
    """Return the model whose blur explains a patch best."""
    shape = (patch.shape[0], patch.shape[1])
    # What is drawn is the same for every blur.
    sharp = [_sharp_part(geometry, k, part, shape) for k in range(digits) for part in range(PARTS)]
    models = [SegmentModel(geometry, sharp, digits, blur) for blur in BLURS]
    return max(models, key=lambda model: model.amounts(patch).fit)
