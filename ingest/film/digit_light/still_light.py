"""Light that rests on a display, such as a lamp's gleam: what stands still is learnt, and taken off."""

from __future__ import annotations

from collections import deque
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from ..digit_places.straighten import HIGH, Patch
from .segments import SegmentModel
from .usual_ground import REMEMBERED

#: How far apart the light is learnt, which is less than half of a digit and more than a stroke, and how much it bends
#: less than the pixels would have it. [pixels of the patch], [1]
_APART, _STIFF = 10.0, 0.02
#: So many looks tell what rests.
_FEW_LOOKS: Final = 3
#: A segment was dark or lit where it had less or more than this of a lit one's light, so often at least.
_DARK, _BRIGHT, _OFTEN = 0.3, 0.5, 2
#: A room as light as ever, within this share; and the darkest one, in which nothing more is to be learnt.
_AS_EVER, _DARKEST = 0.1, 0.05
#: What is wider than this in both directions is no stroke. [pixels of the patch]
_WIDER = HIGH // 2 + 1


class StillLight:
    """What light rests on the digits of a display, learnt from looks at it whatever the digits show.

    It is a ground that bends more than that of a `SegmentModel`: of one look it would take for light what is before
    a digit, so what counts is what half of the looks had at least.
    """

    def __init__(self, model: SegmentModel, shape: tuple[int, int]) -> None:
        templates, about = model.segment_templates(shape)
        rows, columns = np.nonzero(about)
        self._about = about
        self._across = _hats(shape[1], columns.min(), columns.max())
        self._down = _hats(shape[0], rows.min(), rows.max())
        across, down = self._across, self._down
        grounds = np.einsum("ir,jc->ijrc", down, across)[:, :, about].reshape(len(down) * len(across), -1)
        parts = np.concatenate([templates[:, about], grounds]).astype(np.float64)
        square = parts @ parts.T
        n = len(templates)
        square[:n, :n] += np.eye(n) * 1e-3 * np.trace(square[:n, :n]) / n
        stiff = np.kron(_bends(len(down)), np.eye(len(across))) + np.kron(np.eye(len(down)), _bends(len(across)))
        square[n:, n:] += _STIFF * np.trace(square[n:, n:]) / len(grounds) * stiff
        square[n:, n:] += np.eye(len(grounds)) * 1e-6 * np.trace(square[n:, n:])
        self._solve = np.linalg.solve(square, parts)[n:].astype(np.float32)
        self._seen: deque[NDArray[np.float32]] = deque(maxlen=REMEMBERED)
        self.picture: Patch = np.zeros(shape, np.float32)

    def add(self, light: Patch) -> None:
        """Learn from a patch, shape (rows, columns), as it would be in the room's usual light."""
        self._seen.append(np.einsum("kp,p->k", self._solve, light[self._about]) / self._share(light))
        if len(self._seen) >= _FEW_LOOKS:
            usual = np.median(np.stack(self._seen), axis=0).reshape(len(self._down), -1)
            self.picture = np.asarray(self._down.T @ usual @ self._across, dtype=np.float32)

    def taken_off(self, light: Patch) -> Patch:
        """Return a patch less what rests on it; where the room is darker than usual, so much less."""
        return np.asarray(light - self._share(light) * self.picture, dtype=np.float32)

    def _share(self, light: Patch) -> np.float32:
        usual, now = (float(np.median(patch[self._about])) for patch in (self.picture, light))
        share = now / usual if usual and np.sign(now) == np.sign(usual) else 1.0
        # What is brighter may be a hand, which is no light that falls on the display.
        return np.float32(1.0 if share > 1 - _AS_EVER else max(share, _DARKEST))


class StillEdges:
    """What stands out across segments though they are dark, such as the edge of a shadow that lies there.

    Only of segments that were seen both lit and dark: where one never shows, it may stand beside its place.
    """

    def __init__(self) -> None:
        self._seen: deque[tuple[NDArray[np.float64], NDArray[np.float64]]] = deque(maxlen=2 * REMEMBERED)

    def add(self, lit: NDArray[np.float64], across: NDArray[np.float64]) -> None:
        """Remember how bright segments were and what stood out across them, in parts of a lit one's light."""
        self._seen.append((lit, across))

    def across(self) -> NDArray[np.float64] | float:
        """Return what stands out across each segment for good, in the same; shape (digits, 7)."""
        if len(self._seen) < _FEW_LOOKS:
            return 0.0
        lit, across = (np.stack(column) for column in zip(*self._seen, strict=True))
        dark = lit < _DARK
        both = (np.sum(dark, axis=0) >= _OFTEN) & (np.sum(lit > _BRIGHT, axis=0) >= _OFTEN)
        usual = np.nanmedian(np.where(dark | ~both, across, np.nan), axis=0)
        return np.where(both, np.maximum(usual, 0.0), 0.0)


def flattened(light: Patch) -> Patch:
    """Return a patch less all in it that is wider than a stroke, so that only digits and noise are left."""
    # By medians, so that the edge of the glass stays where it is.
    kernel = np.ones((_WIDER, _WIDER), np.uint8)
    return np.asarray(light - cv2.morphologyEx(cv2.medianBlur(light, 5), cv2.MORPH_OPEN, kernel), dtype=np.float32)


def _hats(count: int, first: float, last: float) -> NDArray[np.float64]:
    """Return functions that fade into each other from point to point, between two pixels and on to both ends."""
    at = np.linspace(first, last, max(round((last - first) / _APART), 1) + 1)
    return np.stack([np.interp(np.arange(count), at, one) for one in np.eye(len(at))])


def _bends(count: int) -> NDArray[np.float64]:
    """Return the square that grows as a row of values bends."""
    bend = np.diff(np.eye(count), 2, axis=0)
    return np.asarray(bend.T @ bend)
