"""Fit digits to all pixels of a box, by least squares: so they are placed to a small part of a pixel."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .geometry import ORDER, TOO_SMALL, UNUSUAL, USUAL, Figures, Geometry, geometry_of, limited
from .straighten import HIGH, MARGIN_Y, Box, Patch

#: How blurred the picture is [pixels of the patch], and where segments end from the digit's edge, which differs between
#: pointed, mitred and square ones [strokes]: at first, how far around it usually, at least and at most.
_BLUR, _CUT = (1.5, 1.0, 0.6, 4.0), (0.75, 0.2, 0.3, 1.0)
#: The figures of a fit are those of a candidate, blur and cut, and how far each digit stands aside. So much each of the
#: first is changed to see what that does.
_PLACE, _FORM = len(ORDER), len(ORDER) + 2
_CHANGE = np.r_[np.full(6, 0.25), 0.01, 0.01, 0.01, 0.1, 0.05]
#: Steps of the fit at most, and what the last ones must explain more, in parts of the variance.
_STEPS, _ENOUGH = 9, 2e-4
#: Segments that a blur cannot tell apart share what there is, by a hair of damping. The step is damped to begin with,
#: and given up where it is damped more than that.
_SHARED, _DAMPED, _GIVEN_UP = 1e-2, 1e-3, 1.0
#: How far what has no usual value may move from where it began, and a digit stand aside, in heights.
_MOVED, _ASIDE = 0.15, 0.02
#: An exponent so far beyond all edges that nothing of a digit is there, whose exponential is still a number.
_FAR = 600.0


class _FitSoFar(NamedTuple):
    """A fit so far: its figures, what is left unexplained, and the pictures of its parts with how bright each is."""

    row: Figures
    cost: float
    parts: Figures
    weights: Figures


class PixelFit:
    """Fits digits to all pixels of a box: segments as bars with soft edges, each as bright as it may be."""

    def __init__(self, patch: Patch, box: Box) -> None:
        self._box, self._n = box, box.digits
        edge = round(TOO_SMALL * HIGH)
        rows = slice(MARGIN_Y - edge, MARGIN_Y + HIGH + edge)
        columns = slice(max(box.margin_x - edge, 0), box.margin_x + box.wide + edge)
        self._y, self._x = np.arange(patch.shape[0])[rows], np.arange(patch.shape[1])[columns]
        self._light = np.asarray(patch[rows, columns], dtype=np.float64).ravel()
        self._total = max(float(np.var(self._light) * len(self._light)), 1e-6)
        self._usual, self._spread = _usual_about(np.ones(_PLACE), self._n)

    def fitted(self, start: Figures) -> tuple[Figures, float]:
        """Return a candidate moved to where it explains most, and which share of the variance that is.

        Each step looks at how the digits' picture changes with each figure, and goes where the least would be left if
        that went on; where more is left than before, it goes less far.
        """
        self._usual, self._spread = _usual_about(start[:_PLACE], self._n)
        state = self._state(np.r_[start[:_PLACE], _BLUR[0], _CUT[0], np.zeros(self._n)])
        damping, gain = _DAMPED, 1.0
        for _ in range(_STEPS):
            tried = self._state(self._limited(state.row + self._step(state, damping)))
            if tried.cost < state.cost:
                damping, gain, state = damping / 3, state.cost - tried.cost, tried
            else:
                damping *= 10
            if gain < _ENOUGH or damping > _GIVEN_UP:
                break
        return self._place(state.row), 1.0 - state.cost

    def _limited(self, row: Figures) -> Figures:
        blur, cut = np.clip(row[_PLACE], *_BLUR[2:]), np.clip(row[_PLACE + 1], *_CUT[2:])
        return np.asarray(np.r_[limited(row[None, :_PLACE], self._box)[0], blur, cut, row[_FORM:]])

    def _state(self, row: Figures) -> _FitSoFar:
        """Return what figures explain: of parts as bright as fits best, but no segment darker than the ground."""
        parts = np.concatenate([self._segments(row), self._grounds(row)])
        segment = np.arange(len(parts)) < self._n * 8
        square, by_light = parts @ parts.T, parts @ self._light
        square += np.diag(np.where(segment, _SHARED * np.diag(square), 0.0) + 1e-3)
        used, weights = np.ones(len(parts), dtype=bool), np.zeros(len(parts))
        for _ in range(2):
            weights[~used] = 0.0
            weights[used] = np.linalg.solve(square[np.ix_(used, used)], by_light[used])
            used &= ~segment | (weights > 0)
        weights[segment] = np.maximum(weights[segment], 0.0)
        left = self._light - weights @ parts
        unusual = UNUSUAL * float((((row - self._usual) / self._spread) ** 2).sum())
        return _FitSoFar(row, float(left @ left) / self._total + unusual, parts, weights)

    def _step(self, state: _FitSoFar, damping: float) -> Figures:
        """Return by how much to change each figure."""
        row, _, parts, weights = state
        count, m = self._n * 8, len(parts)
        picture, slopes = weights @ parts, []
        for k, change in enumerate(_CHANGE):
            beside = row.copy()
            beside[k] += change
            slope = weights[:count, None] * (self._segments(beside) - parts[:count]) / change
            slopes.append(slope.sum(axis=0))
            if k == 0:
                # To move all is to move each.
                each = slope.reshape(self._n, 8, -1).sum(axis=1)
        slopes += list(each)
        # The parts may become brighter or darker at the same time.
        both = np.concatenate([parts, slopes])
        square, by_left = both @ both.T / self._total, both @ (self._light - picture) / self._total
        pull = UNUSUAL / self._spread**2
        by_left[m:] += pull * (self._usual - row)
        diagonal = np.diag(square).copy()
        diagonal[:m] *= _SHARED
        diagonal[m:] = damping * (diagonal[m:] + pull) + pull
        return np.asarray(np.linalg.solve(square + np.diag(diagonal + 1e-12), by_left)[m:])

    def _place(self, row: Figures) -> Figures:
        return np.asarray(np.r_[row[:_PLACE], row[_FORM:]])

    def _geometry(self, row: Figures) -> Geometry:
        return geometry_of(self._place(row), self._n)

    def _grounds(self, row: Figures) -> Figures:
        """Return a ground for each digit, one fading into the next, and one that grows downwards."""
        g = self._geometry(row)
        middles = [g.at(k, g.width / 2, g.height / 2)[0] for k in range(self._n)]
        across = np.array([np.interp(self._x, middles, one) for one in np.eye(self._n)])
        down = np.linspace(-1.0, 1.0, len(self._y))
        grounds = np.repeat(across[:, None, :], len(self._y), axis=1)
        return np.concatenate([grounds, np.repeat(down[None, :, None], len(self._x), axis=2)]).reshape(self._n + 1, -1)

    def _segments(self, row: Figures) -> Figures:
        """Return pictures of the segments and the point of each digit; shape (8 n, pixels)."""
        g, (blur, cut) = self._geometry(row), row[_PLACE:_FORM]
        parts = np.zeros((self._n, 8, len(self._y), len(self._x)))
        for k in range(self._n):
            # Of each digit only the columns about it are looked at.
            ends = [g.at(k, x, y)[0] - self._x[0] for x in (0.0, g.pitch) for y in (0.0, g.height)]
            first, last = min(ends) - 3 * blur, max(ends) + 3 * blur
            span = slice(max(int(first), 0), max(int(last) + 1, 0))
            x, y = g.upright(self._x[None, span].astype(np.float64), self._y[:, None].astype(np.float64))
            parts[k, :, :, span] = _bars(x - k * g.pitch - g.aside[k], y, g, blur, cut * g.stroke)
        return parts.reshape(self._n * 8, -1)


def _usual_about(start: Figures, digits: int) -> tuple[Figures, Figures]:
    """Return what is usual of each figure of a fit that begins at a candidate, and how far around it."""
    height = float(start[4])
    usual, spread = np.r_[start, np.zeros(2 + digits)], np.full(_FORM + digits, _MOVED * height)
    for name, (middle, by, *_) in USUAL.items():
        unit = height if name in {"width", "stroke"} else 1.0
        usual[ORDER.index(name)], spread[ORDER.index(name)] = middle * unit, by * unit
    usual[_PLACE:_FORM], spread[_PLACE:_FORM] = (_BLUR[0], _CUT[0]), (_BLUR[1], _CUT[1])
    spread[_FORM:] = _ASIDE * height
    return usual, spread


def _bars(x: Figures, y: Figures, g: Geometry, blur: float, cut: float) -> Figures:
    """Return how much of each pixel of a digit is of segment a to g or of its point; shape (8, rows, columns)."""
    w, h, s = g.width, g.height, g.stroke
    size, centre = min(s / 2, 0.42 * (g.pitch - w)), (g.pitch + w) / 2

    def bands(at: Figures, *edges: float) -> Figures:
        # Nearly how a blurred edge rises, and quicker to reckon: one exponential for all edges across the same way.
        rise = np.exp(np.minimum(1.6 / blur * at, _FAR))
        before = 1 / (1 + rise * np.exp(-1.6 / blur * np.array(edges))[:, None, None])
        return np.asarray(before[1::2] - before[::2])

    flat, left, right, across = bands(x, cut, w - cut, 0.0, s, w - s, w, centre - size, centre + size)
    a, middle, d, upper, lower, low = bands(
        *(y, 0.0, s, (h - s) / 2, (h + s) / 2, h - s, h),
        *(cut, (h + s) / 2 - cut, (h - s) / 2 + cut, h - cut, h - s / 2 - size, h - s / 2 + size),
    )
    return np.stack(
        [flat * a, right * upper, right * lower, flat * d, left * lower, left * upper, flat * middle, across * low]
    )
