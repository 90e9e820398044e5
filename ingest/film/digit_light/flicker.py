"""Displays that flicker: a camera takes row after row, and the light of a digit is another one in each of its rows.

How bright a row is lit is told by the strokes that run down through it. A segment is dark only where the light of its
own rows is there and it has none of it; where there is no light nobody can say.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Final, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from ..digit_places.geometry import SEGMENTS, Geometry
from ..digit_places.straighten import Patch

#: A display flickers where a quarter of the steps of its segments' light, from look to look, are larger than this, of
#: segments that are lit in both to the one share, and in one to the other; in parts of a lit one's light. Looks further
#: apart than this [s] tell nothing; so many are known, at most so many count. By films of the tests.
_STEP, _LIT_BOTH, _LIT_ONE, _APART_S, _LOOKS, _MOST_LOOKS = 0.12, 0.08, 0.3, 0.15, 8, 40
#: Where so many looks are clear, each digit is read as one whose rows are lit alike. [1]
_MOST_CLEAR: Final = 0.6
#: A light that stands still against the frames: so many looks in a row are not clear; and of digits that show some
#: of it the dimmest has no more than so much of the brightest one's.
_LONG, _UNEVEN = 30, 0.75
IN_STEP: Final = "the display flickers in step with the camera: film with another frame rate or a longer exposure"
#: Light of so many parts of a whole pulse's shows what is lit and what is dark; less than the other is none. [1]
_SHOWS, NO_LIGHT = 0.18, 0.12
#: A segment is dark below the one share of its rows' light and lit above the other; both of two in the same rows are
#: lit where they are so much alike. What is more than the light of its rows, and lit rows that do not go on into each
#: other, are of two figures. [1]
_DARK, _LIT, _ALIKE, _MORE, _BREAK = 0.3, 0.5, 0.62, 1.6, 0.25
#: Strokes that run down, in pairs that have their rows in common: upper and lower half; and those that lie across.
_UPPER, _LOWER, _DOWN = (1, 5), (2, 4), (1, 2, 4, 5)
_TOP, _FOOT, _MIDDLE, _POINT = 0, 3, 6, 7
#: Where along a stroke its light is taken, and how far beyond the last of these the next stroke across lies, in parts
#: of what is between the outer ones.
_ALONG, _BEYOND = (0.25, 0.5, 0.75), 0.5


class Flicker:
    """The last looks at one display that shines, and whether it flickers."""

    def __init__(self) -> None:
        self._steps: deque[NDArray[np.float64]] = deque(maxlen=_MOST_LOOKS)
        self._clear: deque[bool] = deque(maxlen=_MOST_LOOKS)
        self._brightest: deque[float] = deque(maxlen=_MOST_LOOKS)
        self._before: tuple[float, NDArray[np.float64]] | None = None

    def add(self, time_s: float, lit: NDArray[np.float64], *, is_clear: bool) -> None:
        """Take a look in: how bright each segment is, shape (digits, 7), and whether all digits could be told."""
        self._brightest.append(float(lit.max()))
        self._clear.append(is_clear)
        if self._before is not None and 0 < time_s - self._before[0] < _APART_S:
            low, high = np.sort([lit, self._before[1]], axis=0)
            is_lit = (low > _LIT_BOTH * self.full) & (high > _LIT_ONE * self.full)
            self._steps.append((high - low)[is_lit] / self.full)
        self._before = time_s, lit

    @property
    def full(self) -> float:
        """How bright a segment is that is lit by a whole pulse."""
        return max(max(self._brightest, default=0.0), 1e-6)

    @property
    def is_seen(self) -> bool:
        """Whether the display flickers, and so much that too few looks are clear."""
        if len(self._steps) < _LOOKS or np.mean(self._clear) > _MOST_CLEAR:
            return False
        return self._usual_step > _STEP

    @property
    def is_still(self) -> bool:
        """Whether for long no look was clear, though its light hardly changes from one to the next."""
        return len(self._clear) >= _LONG and not any(list(self._clear)[-_LONG:]) and self._usual_step <= _STEP

    def is_uneven(self, lit: NDArray[np.float64]) -> bool:
        """Tell whether of digits that show some light one shows far less than another; shape (digits, 7)."""
        brightest = lit.max(axis=1) / self.full
        return float(brightest[brightest > NO_LIGHT].min(initial=1.0)) < _UNEVEN

    @property
    def _usual_step(self) -> float:
        steps = np.concatenate(list(self._steps)) if self._steps else np.zeros(0)
        return float(np.percentile(steps, 75)) if len(steps) else 0.0


class RowsTold(NamedTuple):
    """What a digit's segments show for sure, as bits, segment a the lowest: which are lit, and which are known.

    ``strays`` is how far the one strays that comes nearest to being taken for the contrary. ``point`` is None where
    there is no light to tell it by.
    """

    lit: int
    known: int
    strays: float
    point: bool | None


def light_down(
    patch: Patch, geometry: Geometry, shift: tuple[int, int], lit: NDArray[np.float64], ground: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how bright strokes b, c, e and f of each digit are near their upper and lower ends; (digits, 4, 2)."""
    g, half = geometry, geometry.stroke / 2
    places = []
    for k in range(len(lit)):
        for part in _DOWN:
            (x0, y0), _ = SEGMENTS[part]
            x = half + x0 * (g.width - g.stroke)
            places += [g.at(k, x, half + (y0 + 0.5 * along) * (g.height - g.stroke)) for along in _ALONG]
    points = (np.array(places) + shift).astype(np.float32)
    light = cv2.remap(patch, points[:, :1], points[:, 1:], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    profile = np.maximum(light.reshape(len(lit), len(_DOWN), len(_ALONG)) - ground[:, None, None], 0.0)
    # As bright as the whole stroke at the mean: a blur takes as much from each place.
    profile *= (lit[:, _DOWN] / np.maximum(profile.mean(axis=2), 1e-6))[:, :, None]
    return np.asarray(np.maximum(profile[:, :, (0, -1)], 0.0), dtype=np.float64)


def told_by_rows(row: NDArray[np.float64], down: NDArray[np.float64], full: float) -> RowsTold | None:
    """Return what a digit shows by its segments and point, and the light down its strokes; None where it is mixed."""
    telling = _Telling(row / full)
    upper, lower = (telling.pair(pair, down / full) for pair in (_UPPER, _LOWER))
    if upper is not None and lower is not None and abs(_next(*upper) - _next(*lower[::-1])) > _BREAK:
        return None
    middles = [ends for ends in (upper, lower[::-1] if lower else None) if ends is not None]
    telling.across(_MIDDLE, middles)
    telling.across(_TOP, [upper[::-1]] if upper else [])
    telling.across(_FOOT, [lower] if lower else [])
    return None if telling.is_mixed else RowsTold(telling.lit, telling.known, telling.strays, telling.point(lower))


def point_by_rows(rows: Sequence[RowsTold | None]) -> int | None:
    """Return after which digit a point is lit; -1 if after none, None if that cannot be told."""
    points = [one.point if one else None for one in rows]
    if True in points:
        return points.index(True)
    return None if None in points else -1


def _next(far: float, near: float) -> float:
    """Return how bright a row is that lies beyond the nearer of two, as light grows or falls evenly."""
    return max(near + _BEYOND * (near - far), 0.0)


class _Telling:
    """Gathers which segments of a digit are lit, and which are known, in parts of a whole pulse's light."""

    def __init__(self, row: NDArray[np.float64]) -> None:
        self._row = row
        self.lit = self.known = 0
        self.strays, self.is_mixed = 0.0, False

    def pair(self, pair: tuple[int, int], down: NDArray[np.float64]) -> tuple[float, float] | None:
        """Tell two strokes in the same rows by each other; return the light at their upper and lower ends."""
        dim, bright = sorted(pair, key=lambda part: float(self._row[part]))
        if self._row[bright] < _SHOWS:
            return None
        self._tell(bright, self._row[bright], self._row[bright], _ALIKE)
        self._tell(dim, self._row[dim], self._row[bright], _ALIKE)
        upper, lower = down[_DOWN.index(bright)]
        return float(upper), float(lower)

    def across(self, part: int, ends: list[tuple[float, float]]) -> None:
        """Tell a stroke that lies across, by the light of those beside it, the far end first."""
        amount = float(self._row[part])
        least = min((min(near, _next(far, near)) for far, near in ends), default=0.0)
        most = max((max(near, _next(far, near)) for far, near in ends), default=np.inf)
        if amount > _MORE * most + NO_LIGHT:
            self.is_mixed = True
        elif least >= _SHOWS:
            self._tell(part, amount, least, _LIT)
        elif amount >= _SHOWS:
            self._tell(part, amount, amount, _LIT)

    def _tell(self, part: int, amount: float, light: float, alike: float) -> None:
        share = float(amount / light)
        self.is_mixed |= _DARK <= share < alike
        self.known |= 1 << part
        self.lit |= (share >= alike) << part
        self.strays = max(self.strays, abs(share) if share < _DARK else 1 - share)

    def point(self, lower: tuple[float, float] | None) -> bool | None:
        """Tell whether the point is lit, by the light at the foot."""
        amount = float(self._row[_POINT])
        if amount >= _SHOWS:
            return True
        if lower is not None and (least := min(lower[1], _next(*lower))) > 0.5 and amount < _DARK * least:
            return False
        return None
