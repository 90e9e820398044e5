"""Which segments are on their way from lit to dark or back, frame by frame: an LCD in the cold takes long over it.

Meanwhile it shows what is still lit of one value together with what is lit already of the next one, which may look like
a third. All figures are in parts of a lit segment's light, and by films of the tests.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

#: A segment above this is taken for lit.
_LIT: Final = 0.46
#: So long a frame is held against those before it [s], and the mean of how many frames; and against those after it. [s]
_BEFORE, _AFTER_S = ((0.25, 1), (0.5, 2)), 0.15
#: A segment moves if its light goes by more than this, and than so many times what it strays by for no reason.
_MOVES, _CHANCE = 0.06, 6.0
#: One that has lost so much of what it has once it is wholly lit is going out; it must have been lit in so many frames.
_LOST, _OFTEN = 0.2, 10
#: A display is quick if segments go from much of their light to little within this [s], or from one frame to the next,
#: in most of the changes that were seen, and back; so many of each must have been seen.
_MUCH, _LITTLE, _QUICK_S, _MOST, _SEEN = 0.8, 0.2, 0.2, 0.6, 4
#: So long before and after a frame it is asked how far light strays. [s]
_ABOUT_S: Final = 1.0
#: What white noise gives at the median for second differences.
_OF_BENDS: Final = 1.65
#: The light of a lit segment is that of the second brightest, if the brightest one has no more than so many times it.
_BRIGHTER: Final = 2.0


class MovingLight:
    """How the light of a display's segments changes over frames, and how much of that is chance."""

    def __init__(self, light: NDArray[np.float64], times: Sequence[float]) -> None:
        """Take the light of segments, shape (frames, digits, segments), NaN where nothing was read, and times. [s]"""
        self._light = _evened(light)
        self._apart_s = float(np.median(np.diff(times))) if len(times) > 1 else 1.0
        self._strays = self._usual_strays()

    def is_quick(self, read: NDArray[np.bool_]) -> bool:
        """Tell whether this display was seen to change at once: how its light moves otherwise is the camera's doing.

        Asked are the frames in which a digit was read, shape (frames, digits).
        """
        most = max(self._frames(_QUICK_S), 1)
        took: dict[int, list[bool]] = {1: [], -1: []}
        for digit, numbers in enumerate(map(np.flatnonzero, read.T)):
            for light in self._light[numbers, digit].T:
                for way, frames in _changes(light, numbers):
                    took[way].append(frames <= most)
        return all(len(each) >= _SEEN and sum(each) >= _MOST * len(each) for each in took.values())

    def goes_away(self, digit: int, glyphs: Sequence[str]) -> NDArray[np.bool_]:
        """Tell of each frame whether a segment of a digit is on its way to the contrary of what it is taken for.

        One that comes nearer to that is only late.
        """
        light = self._light[:, digit]
        sign = np.where(light > _LIT, 1.0, -1.0)
        away = (light > _LIT) & (light < _wholly_lit(light) - np.maximum(_LOST, _CHANCE * self._strays))
        for span_s, frames in _BEFORE:
            away |= self._has_gone(light, sign, self._frames(span_s), frames)
        return np.asarray((away | self._will_go(light, sign, np.array(glyphs))).any(axis=1), dtype=np.bool_)

    def _has_gone(
        self, light: NDArray[np.float64], sign: NDArray[np.float64], reach: int, frames: int
    ) -> NDArray[np.bool_]:
        """Tell of which segments the mean of some frames is further away than it was, and does not come back."""
        limit = self._limit(frames)
        mean = np.mean([_earlier(light, k) for k in range(frames)], axis=0)
        gone = np.fmax.reduce([(_earlier(mean, k) - mean) * sign for k in range(1, reach + 1)])
        back = (mean - _earlier(mean, frames)) * sign
        return np.asarray((gone > limit) & ~(back > limit / 2), dtype=np.bool_)

    def _will_go(
        self, light: NDArray[np.float64], sign: NDArray[np.float64], glyphs: NDArray[np.str_]
    ) -> NDArray[np.bool_]:
        """Tell which segments are further away soon after, while the glyph is still the same."""
        away, same = np.zeros(light.shape, dtype=bool), np.ones(len(light), dtype=bool)
        for k in range(1, min(self._frames(_AFTER_S), len(light) - 1) + 1):
            same[:-k] &= glyphs[k:] == glyphs[:-k]
            away[:-k] |= same[:-k, None] & ((light[:-k] - light[k:]) * sign[:-k] > self._limit(1)[:-k])
        return away

    def _usual_strays(self) -> NDArray[np.float64]:
        """Return how far the light of lit segments strays for no reason about each frame; shape (frames, 1)."""
        lit = np.where(self._light > _LIT, self._light, np.nan).reshape(len(self._light), -1)
        strays, about = np.zeros(len(lit)), np.ones(2 * self._frames(_ABOUT_S) + 1)
        # A light that flickers may be after some frames as it was; one that goes out slowly does so evenly.
        for k in range(1, min(self._frames(_BEFORE[0][0]), (len(lit) - 1) // 2) + 1):
            bends = np.abs(lit[2 * k :] - 2 * lit[k:-k] + lit[: -2 * k])
            known = np.zeros(len(lit), dtype=bool)
            known[k:-k] = np.isfinite(bends).any(axis=1)
            each = np.zeros(len(lit))
            each[known] = np.nanmedian(bends[known[k:-k]], axis=1)
            usual = float(np.median(each[known])) if known.any() else 0.0
            # In less light there is more noise.
            near = np.convolve(each, about, "same") / np.maximum(np.convolve(known, about, "same"), 1)
            strays = np.maximum(strays, np.maximum(near[: len(lit)], usual))
        return np.asarray(strays[:, None] / _OF_BENDS, dtype=np.float64)

    def _limit(self, frames: int) -> NDArray[np.float64]:
        return np.asarray(np.maximum(_MOVES, _CHANCE * self._strays / frames**0.5), dtype=np.float64)

    def _frames(self, span_s: float) -> int:
        return max(round(span_s / self._apart_s), 1)


def _evened(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return light in parts of the brightest segments, each one held against what it usually has.

    Which digits are lit changes what others are compared with.
    """
    each = light.reshape(len(light), -1)
    each = each / _second(each, each)[:, None]
    usual = _wholly_lit(each)
    own = np.divide(each, usual, out=np.zeros_like(each), where=usual > 0)
    return np.asarray((each / _second(own, each)[:, None]).reshape(light.shape), dtype=np.float64)


def _second(light: NDArray[np.float64], otherwise: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the second brightest of each frame; where one alone is bright, half of what that has."""
    *_, second, first = np.sort(light, axis=1).T
    of_first = np.where(first > 0, first, otherwise.max(axis=1))
    return np.asarray(np.maximum(second, of_first / _BRIGHTER), dtype=np.float64)


def _changes(light: NDArray[np.float64], numbers: NDArray[np.intp]) -> Iterator[tuple[int, int]]:
    """Yield each change of a segment: 1 where it was lit, -1 where it went out, and how many frames it took."""
    levels = (light >= _MUCH).astype(int) - (light <= _LITTLE)
    at = np.flatnonzero(levels)
    turns = np.flatnonzero(np.diff(levels[at]))
    for before, after in zip(at[turns], at[turns + 1], strict=True):
        yield int(levels[after]), int(numbers[after] - numbers[before])


def _earlier(light: NDArray[np.float64], frames: int) -> NDArray[np.float64]:
    """Return what was so many frames before each one; before the first one, as it was in that."""
    return np.concatenate([np.repeat(light[:1], frames, axis=0), light])[: len(light)]


def _wholly_lit(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how bright each segment is once it is wholly lit; nought where it was lit too seldom to tell."""
    lit = np.where(light > _LIT, light, np.nan)
    often = np.isfinite(lit).sum(axis=0) >= _OFTEN
    whole = np.zeros(light.shape[1])
    if often.any():
        whole[often] = np.nanpercentile(lit[:, often], 75, axis=0)
    return whole
