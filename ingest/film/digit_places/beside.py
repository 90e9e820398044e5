"""What stands beside the digits that were found: one that the box leaves out, or the rest of larger ones."""

from __future__ import annotations

import cv2
import numpy as np

from .geometry import SEGMENTS, Figures, Geometry
from .straighten import Patch

#: Of what lit segments have, a segment has more where it is lit, less where it is not; more than the last is no segment
#: but something brighter. By pictures of the tests.
_LIT, _UNLIT, _BRIGHTER = 0.55, 0.35, 1.8
#: How far above and below a digit nothing is lit, in heights: a line that goes on there is an edge and no 1.
_BEYOND = 0.16
#: What is lit within the digits and goes on further from them than this, in heights, is part of something larger; so
#: many pixels at least on either side.
_ABOUT, _FEW = 0.14, 12
#: So much of a place beside the digits may lie beyond the patch, which is of its ground. [pixels of the patch]
_CUT = 3
#: What is wider than so many strokes is no stroke.
_WIDER = 3.5


def pattern_beside(patch: Patch, geometry: Geometry, place: int, level: float, shift: tuple[int, int]) -> int | None:
    """Return which segments are lit at a place beside the digits, as bits, segment a the lowest.

    Place -1 is before the first digit. Lit segments have about `level` more than the ground. None where no digit can
    stand there, or where the patch does not reach.
    """
    groups = _points_of(geometry)
    points = np.array([geometry.at(place, x, y) for x, y in np.concatenate(groups)]) + shift
    x, y = np.rint(points).astype(np.intp).T
    inside = np.clip(x, 0, patch.shape[1] - 1)
    if np.abs(x - inside).max() > _CUT:
        return None
    light = np.asarray(patch[np.clip(y, 0, patch.shape[0] - 1), inside], dtype=np.float64)
    along, ground, beyond = np.split(light, np.cumsum([len(group) for group in groups])[:-1])
    dark = float(np.median(ground))
    segments = (along.reshape(len(SEGMENTS), -1).mean(axis=1) - dark) / level
    lit, unlit = segments > _LIT, segments < _UNLIT
    is_edge = bool(((beyond - dark) / level > (_LIT + _UNLIT) / 2).any())
    if not (lit | unlit).all() or is_edge or (segments > _BRIGHTER).any():
        return None
    return int(np.sum(lit * (1 << np.arange(len(SEGMENTS)))))


def is_crossed(patch: Patch, geometry: Geometry, digits: int) -> bool:
    """Tell whether what is lit within the digits goes on outside: then these are parts of larger ones."""
    inside = np.zeros(patch.shape, np.uint8)
    ends = np.round(geometry.ends(digits)).astype(np.int32)
    cv2.fillConvexPoly(inside, cv2.convexHull(ends), 1)
    size = 2 * round(_ABOUT * geometry.height) + 1
    about = cv2.dilate(inside, np.ones((size, size), np.uint8))
    # A glare or a shadow is wider than a stroke, also of digits that are larger by half or twice as large.
    width = 2 * round(_WIDER * geometry.stroke / 2) + 1
    strokes = cv2.morphologyEx(patch, cv2.MORPH_TOPHAT, np.ones((width, width), np.uint8))
    dark, bright = np.percentile(strokes[inside > 0], [30, 95])
    count, pieces = cv2.connectedComponents((strokes > (dark + bright) / 2).astype(np.uint8))
    within, beyond = (np.bincount(pieces[part], minlength=count)[1:] for part in (inside > 0, about == 0))
    return bool(((within > _FEW) & (beyond > _FEW)).any())


def _points_of(g: Geometry) -> tuple[Figures, Figures, Figures]:
    """Return points of an upright digit along its segments, on its ground, and above and below it; shapes (n, 2)."""
    half, wide, high = g.stroke / 2, g.width - g.stroke, g.height - g.stroke
    ends = np.array(SEGMENTS, dtype=np.float64) * [wide, high] + half
    share = np.linspace(0.22, 0.78, 5)[None, :, None]
    along = ends[:, :1] + share * (ends[:, 1:] - ends[:, :1])
    inside = [(g.width / 2 + dx * wide, high * y + half) for dx in (-0.15, 0.0, 0.15) for y in (0.25, 0.75)]
    gap = (g.pitch - g.width) / 2
    between = [(x, high * y + half) for x in (-gap, g.width + gap) for y in (0.0, 0.3, 0.7)]
    beyond = [(x, y) for x in (half, half + wide) for y in (-_BEYOND * g.height, (1 + _BEYOND) * g.height)]
    return along.reshape(-1, 2), np.array([*inside, *between]), np.array(beyond)
