"""Find the digits in a straightened box, be it drawn well or badly.

First many candidates are held against a few hundred points each, which is quick and finds every place that could be
it. The best that differ are then fitted to all pixels by least squares, which tells narrow digits from wide ones: a
stroke of a wide digit may lie where no point of a narrow one looks.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .fitting import PixelFit
from .geometry import SEGMENTS, TOO_LARGE, TOO_SMALL, UNUSUAL, USUAL, Figures, Geometry, geometry_of, length_of, limited
from .straighten import HIGH, MARGIN_Y, Box, Patch

#: So many candidates are looked at, the best few of them improved in so many rounds, each by so many others, of which
#: the best are kept.
_SCANNED, _IMPROVED, _ROUNDS, _TRIES, _BEST = 2400, 6, 4, 120, 12
#: So many are fitted, which are at least so far apart at some corner, in heights; and so far once they are fitted.
_FITTED, _APART, _SAME = 3, 0.1, 0.04
#: How far the ends of a long box may lie outside its digits, in parts of its length.
_TOO_LONG = 0.15


def find_geometries(patch: Patch, box: Box, seed: int = 1) -> list[Geometry]:
    """Return the few places of digits that explain best what is bright in a patch, the best one first.

    The patch has shape (rows, columns). Where the second scores nearly as much as the first, either may be true.
    """
    fit = PixelFit(patch, box)
    fitted = [fit.fitted(row) for row in _starts(patch, box, np.random.default_rng(seed))]
    rows, scores = np.array([row for row, _ in fitted]), np.array([score for _, score in fitted])
    chosen = _that_differ(rows, scores, box, _SAME, len(rows))
    return [geometry_of(rows[k], box.digits, scores[k]) for k in chosen]


def refined_geometry(patch: Patch, box: Box, known: Geometry) -> Geometry:
    """Return where digits are that were known to stand about there; quicker than looking for them anew."""
    row, score = PixelFit(patch, box).fitted(known.row())
    return geometry_of(row, box.digits, score)


def quick_score(patch: Patch, box: Box, seed: int = 1) -> float:
    """Return about how well digits explain what is bright in a patch, without fitting them."""
    return float(_scores(patch, _drawn_anywhere(box, np.random.default_rng(seed)), box).max())


def _points() -> tuple[Patch, NDArray[np.int64]]:
    """Return points in and around segments: along and across each one, and to which of 7 segments or 7 (none) each is.

    Columns: x and y on the middle line (1 is the width or height less a stroke), x and y in strokes, x in gaps between
    digits.
    """
    rows, which = [], []
    for k, ((x0, y0), (x1, y1)) in enumerate(SEGMENTS):
        flat = y0 == y1
        for along in (0.22, 0.41, 0.59, 0.78):
            x, y = x0 + along * (x1 - x0), y0 + along * (y1 - y0)
            for across, segment in ((-0.32, k), (0.0, k), (0.32, k), (-0.95, 7), (0.95, 7)):
                rows.append((x, y, 0.0, across, 0.0) if flat else (x, y, across, 0.0, 0.0))
                which.append(segment)
    for y in (0.25, 0.75):
        rows += [(x, y + dy, 0.0, 0.0, 0.0) for x in (0.35, 0.5, 0.65) for dy in (-0.06, 0.06)]
        which += [7] * 6
    # Nothing is lit between digits, the point's place left out.
    for y in (0.0, 0.15, 0.32, 0.5, 0.68, 0.82):
        rows += [(0.0, y, -0.5, 0.0, -0.5), (1.0, y, 0.5, 0.0, 0.5)]
        which += [7] * 2
    return np.array(rows, dtype=np.float32), np.array(which)


_PLACES, _WHICH = _points()


def _starts(patch: Patch, box: Box, rng: np.random.Generator) -> Figures:
    """Return a few candidates that explain the points of a patch well, each near no other; shape (n, 9).

    Each of the best of many is improved: others are drawn round it, the best of them kept, and others round these.
    """
    tries = _drawn_anywhere(box, rng)
    seeds = tries[_that_differ(tries, _scores(patch, tries, box), box, _APART, _IMPROVED)]
    best = np.array([_improved(patch, box, row, rng) for row in seeds])
    return np.asarray(best[_that_differ(best, _scores(patch, best, box), box, _APART, _FITTED)])


def _drawn_anywhere(box: Box, rng: np.random.Generator) -> Figures:
    """Return candidates all over a box, whose edges may be too far out or in; shape (n, 9)."""
    out = rng.uniform(-TOO_SMALL / TOO_LARGE, 1.0, (_SCANNED, 4)) * HIGH * TOO_LARGE
    out[:, [0, 2]] *= max(_TOO_LONG * box.wide / (TOO_LARGE * HIGH), 1.0)
    # Most boxes are drawn close.
    out[: _SCANNED // 2] = rng.normal(0.0, 0.04, (_SCANNED // 2, 4)) * HIGH
    left, top = box.margin_x + out[:, 0], MARGIN_Y + out[:, 1]
    right, foot = box.margin_x + box.wide - out[:, 2], MARGIN_Y + HIGH - out[:, 3]
    width, stroke, slant = rng.uniform((0.44, 0.07, -0.03), (0.7, 0.21, 0.29), (_SCANNED, 3)).T
    tilt, taper = rng.normal(0.0, 0.03, (2, _SCANNED))
    # Some are drawn level round a display that is not.
    tilt[1::2] *= 4
    height = foot - top
    # The box holds the lean as well: the last digit's head ends at its right edge.
    pitch = (right - left - (width + np.abs(slant)) * height) / max(box.digits - 1, 1)
    return limited(np.stack([left, pitch, width * height, top, height, stroke * height, slant, tilt, taper], 1), box)


def _improved(patch: Patch, box: Box, row: Figures, rng: np.random.Generator) -> Figures:
    centre, best, most = row, row, -np.inf
    spread = np.array([0.05, 0.03, 0.04, 0.05, 0.06, 0.02, 0.05, 0.03, 0.03])
    spread[:6] *= row[4]
    for _ in range(_ROUNDS):
        tries = limited(rng.normal(centre, spread, (_TRIES, len(row))), box)
        tries[0] = best
        scores = _scores(patch, tries, box)
        order = np.argsort(scores)[::-1][:_BEST]
        if scores[order[0]] > most:
            most, best = float(scores[order[0]]), tries[order[0]]
        centre, spread = tries[order].mean(axis=0), tries[order].std(axis=0) * 1.1 + 1e-3
    return best


def _that_differ(rows: Figures, scores: Figures, box: Box, apart: float, count: int) -> list[int]:
    """Return which candidates to keep, the best first: those that differ at some corner by so much of the height."""
    chosen: list[int] = []
    ends: list[Figures] = []
    for k in np.argsort(scores)[::-1]:
        corners = geometry_of(rows[k], box.digits).ends(box.digits)
        if all(np.abs(corners - other).max() > apart * HIGH for other in ends):
            chosen.append(int(k))
            ends.append(corners)
        if len(chosen) == count:
            break
    return chosen


def _scores(patch: Patch, rows: Figures, box: Box) -> Figures:
    """Return how well candidates explain the light at their points; shape (n,)."""
    return np.concatenate([_scores_of_few(patch, part, box) for part in np.array_split(rows, len(rows) // 400 + 1)])


def _scores_of_few(patch: Patch, rows: Figures, box: Box) -> Figures:
    left, pitch, width, top, height, stroke, slant, tilt, taper = (
        part[:, None, None] for part in rows.astype(np.float32).T
    )
    digit = np.arange(box.digits, dtype=np.float32)[None, :, None]
    x_mid, y_mid, x_off, y_off, x_gap = (column[None, None, :] for column in _PLACES.T)
    y = stroke / 2 + y_mid * (height - stroke) + y_off * stroke
    x = digit * pitch + stroke / 2 + x_mid * (width - stroke) + x_off * stroke + x_gap * (pitch - width)
    x = x + slant * (height - y)
    along = x / length_of(rows, box.digits).astype(np.float32)[:, None, None] - np.float32(0.5)
    y = height / 2 + (y - height / 2) * (1 + taper * along) + tilt * height * along
    x = x * (1 + taper * (along - np.float32(0.5)))
    yi = np.clip(np.rint(y + top), 0, patch.shape[0] - 1).astype(np.intp)
    xi = np.clip(np.rint(x + left), 0, patch.shape[1] - 1).astype(np.intp)
    light = patch[yi, xi]
    segment = np.stack([light[:, :, k == _WHICH].mean(axis=2) for k in range(7)], axis=2)
    # A segment is taken for lit above the middle between the ground and the brightest.
    dark = np.median(light[:, :, _WHICH == 7].reshape(len(rows), -1), axis=1)
    bright = np.percentile(segment.reshape(len(rows), -1), 92, axis=1)
    lit = segment > ((dark + bright) / 2)[:, None, None]
    on = np.concatenate([lit, np.zeros_like(lit[:, :, :1])], axis=2)[:, :, _WHICH]
    share = _explained(light.reshape(len(rows), -1), on.reshape(len(rows), -1))
    return np.asarray(share - UNUSUAL * _unusual(rows), dtype=np.float64)


def _explained(light: Patch, on: NDArray[np.bool_]) -> Figures:
    """Return which share of the variance lies between lit and unlit points; shape (n,)."""
    n = light.shape[1]
    mean, square = light.mean(axis=1), (light**2).mean(axis=1)
    count = on.sum(axis=1)
    high = np.where(on, light, 0).sum(axis=1) / np.maximum(count, 1)
    low = np.where(on, 0, light).sum(axis=1) / np.maximum(n - count, 1)
    between = count / n * (1 - count / n) * (high - low) ** 2
    return np.asarray(between / np.maximum(square - mean**2, 1e-6), dtype=np.float64)


def _unusual(rows: Figures) -> Figures:
    """Return how far from the usual digits are, by the square of spreads; shape (n,)."""
    height = rows[:, 4]
    parts = {"width": rows[:, 2] / height, "stroke": rows[:, 5] / height, "slant": rows[:, 6]}
    parts |= {"tilt": rows[:, 7], "taper": rows[:, 8]}
    return np.asarray(sum(((part - USUAL[name][0]) / USUAL[name][1]) ** 2 for name, part in parts.items()))
