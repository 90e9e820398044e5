"""Where in a straightened box the digits stand: how wide, how far apart, how leant, how thick their segments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .straighten import HIGH, MARGIN_Y, Box, Patch

#: Digits as meters build them, in parts of their height (common practice, no source): the middle of what is searched
#: and how far around it.
_WIDTH, _WIDTH_BY = 0.55, 0.06
_STROKE, _STROKE_BY = 0.135, 0.025
_SLANT, _SLANT_BY = 0.08, 0.07
#: How far a box drawn by hand may miss its digits at each side, in parts of its height.
_MISSES = 0.08
_ROUNDS, _TRIES, _BEST = 8, 420, 28


@dataclass(frozen=True)
class Geometry:
    """The digits in a patch: in its pixels, but `slant`, which is lean per height. ``score`` is 1 for a perfect fit.

    ``left`` is where the first digit's foot begins.
    """

    left: float
    pitch: float
    width: float
    top: float
    height: float
    stroke: float
    slant: float
    score: float

    def at(self, digit: float, x: float, y: float) -> tuple[float, float]:
        """Return where in the patch a point of a digit is: `x` from its left edge, `y` from its top. [pixels]"""
        return self.left + digit * self.pitch + x + self.slant * (self.height - y), self.top + y


#: Segments a to g between the corners of a digit's middle line: from (x, y) to (x, y), 1 is its width or height.
SEGMENTS = (
    ((0, 0), (1, 0)),
    ((1, 0), (1, 0.5)),
    ((1, 0.5), (1, 1)),
    ((0, 1), (1, 1)),
    ((0, 0.5), (0, 1)),
    ((0, 0), (0, 0.5)),
    ((0, 0.5), (1, 0.5)),
)


def _points() -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return points in and around segments: along and across each one, and to which of 7 segments or 7 (none) each is.

    Columns: x and y on the middle line (1 is the width or height less a stroke), and x and y in strokes.
    """
    rows, which = [], []
    for k, ((x0, y0), (x1, y1)) in enumerate(SEGMENTS):
        flat = y0 == y1
        for along in np.linspace(0.22, 0.78, 5):
            x, y = x0 + along * (x1 - x0), y0 + along * (y1 - y0)
            for across in (-0.32, 0.0, 0.32):
                rows.append((x, y, 0.0, across) if flat else (x, y, across, 0.0))
                which.append(k)
            for across in (-0.95, 0.95):
                rows.append((x, y, 0.0, across) if flat else (x, y, across, 0.0))
                which.append(7)
    for y in (0.25, 0.75):
        rows += [(x, y + dy, 0.0, 0.0) for x in (0.35, 0.5, 0.65) for dy in (-0.06, 0.06)]
        which += [7] * 6
    return np.array(rows), np.array(which)


_PLACES, _WHICH = _points()


def find_geometry(patch: Patch, box: Box, seed: int = 1) -> Geometry:
    """Return the digits' places that explain best what is bright in a patch, shape (rows, columns).

    Candidates are drawn round what is usual, the best of them kept, and others drawn round these, until they agree.
    """
    rng = np.random.default_rng(seed)
    centre, spread = _usual(box)
    best: NDArray[np.float64] = centre
    most = -1.0
    for _ in range(_ROUNDS):
        tries = rng.normal(centre, spread, (_TRIES, len(centre)))
        tries[0] = best
        scores = _scores(patch, tries, box)
        order = np.argsort(scores)[::-1][:_BEST]
        if scores[order[0]] > most:
            most, best = float(scores[order[0]]), tries[order[0]]
        centre, spread = tries[order].mean(axis=0), tries[order].std(axis=0) * 1.1 + 1e-3
    return _as_geometry(best, box, most)


def _usual(box: Box) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return where candidates lie at first: left, right, top, foot [pixels], width, stroke, slant [heights]."""
    left, top = float(box.margin_x), float(MARGIN_Y)
    centre = [left, left + box.wide, top, top + HIGH, _WIDTH, _STROKE, _SLANT]
    edge = _MISSES * HIGH
    return np.array(centre), np.array([edge, edge, edge, edge, _WIDTH_BY, _STROKE_BY, _SLANT_BY])


def _parts(tries: NDArray[np.float64], digits: int) -> tuple[NDArray[np.float64], ...]:
    """Return left, pitch, width, top, height, stroke and slant of candidates; shapes (n,)."""
    left, right, top, foot, width, stroke, slant = tries.T
    height = np.maximum(foot - top, 8.0)
    width, stroke = np.clip(width, 0.38, 0.75) * height, np.clip(stroke, 0.07, 0.22) * height
    slant = np.clip(slant, -0.08, 0.32)
    # The box holds the lean as well: the last digit's head ends at its right edge.
    last = right - np.maximum(slant, 0.0) * height - width
    pitch = (last - left) / (digits - 1) if digits > 1 else width * 1.4
    return left, pitch, width, top, height, stroke, slant


def _as_geometry(one: NDArray[np.float64], box: Box, score: float) -> Geometry:
    left, pitch, width, top, height, stroke, slant = (float(part[0]) for part in _parts(one[None], box.digits))
    return Geometry(left, pitch, width, top, height, stroke, slant, score)


def _scores(patch: Patch, tries: NDArray[np.float64], box: Box) -> NDArray[np.float64]:
    left, pitch, width, top, height, stroke, slant = (part[:, None, None] for part in _parts(tries, box.digits))
    digit = np.arange(box.digits)[None, :, None]
    x_mid, y_mid, x_off, y_off = (column[None, None, :] for column in _PLACES.T)
    y = stroke / 2 + y_mid * (height - stroke) + y_off * stroke
    x = left + digit * pitch + stroke / 2 + x_mid * (width - stroke) + x_off * stroke + slant * (height - y)
    rows, columns = patch.shape
    yi = np.clip(np.rint(y + top), 0, rows - 1).astype(np.intp)
    xi = np.clip(np.rint(x), 0, columns - 1).astype(np.intp)
    light = patch[np.broadcast_to(yi, xi.shape), xi]
    segment = np.stack([light[:, :, k == _WHICH].mean(axis=2) for k in range(7)], axis=2)
    ground = light[:, :, _WHICH == 7]
    # A segment is taken for lit above the middle between the ground and the brightest.
    dark = np.median(ground.reshape(len(tries), -1), axis=1)
    bright = np.percentile(segment.reshape(len(tries), -1), 92, axis=1)
    lit = segment > ((dark + bright) / 2)[:, None, None]
    on = np.take_along_axis(np.concatenate([lit, np.zeros_like(lit[:, :, :1])], axis=2), _columns(lit.shape), axis=2)
    share = _explained(light.reshape(len(tries), -1), on.reshape(len(tries), -1))
    pitch_odd = np.maximum(1.08 - (pitch / width)[:, 0, 0], 0) * 4
    usual = ((width / height)[:, 0, 0] - _WIDTH) ** 2 / 0.2 + ((stroke / height)[:, 0, 0] - _STROKE) ** 2 / 0.1
    return np.asarray(share - pitch_odd - usual, dtype=np.float64)


def _columns(shape: tuple[int, ...]) -> NDArray[np.int64]:
    return np.broadcast_to(_WHICH, (*shape[:2], len(_WHICH)))


def _explained(light: Patch, on: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return which share of the variance lies between lit and unlit points; shape (n,)."""
    n = light.shape[1]
    mean, square = light.mean(axis=1), (light**2).mean(axis=1)
    count = on.sum(axis=1)
    high = np.where(on, light, 0).sum(axis=1) / np.maximum(count, 1)
    low = np.where(on, 0, light).sum(axis=1) / np.maximum(n - count, 1)
    between = count / n * (1 - count / n) * (high - low) ** 2
    return np.asarray(between / np.maximum(square - mean**2, 1e-6), dtype=np.float64)
