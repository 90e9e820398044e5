"""What ground the digits of a display usually have, so that what is before them is seen."""

from __future__ import annotations

from collections import deque
from typing import Final

import numpy as np
from numpy.typing import NDArray

#: So many looks tell what ground is usual; so many are remembered. Far off is beyond so many times their scatter.
_FEW_LOOKS, REMEMBERED, _FAR = 5, 21, 4.0
#: A lit segment gives its digit's ground, and that beside it, no more than so much of its light: what seems to be
#: more came at the same moment as a digit changed. By films of the tests.
_MOST_SHONE = 0.03
#: So much of the light beside a dark digit may fall on its ground that was not lit when its usual ground was learnt.
_NOT_LEARNT: Final = 0.015
#: How far a digit's ground may move against that of lit ones, in parts of a lit segment's light: of a lit digit, of a
#: dark one, which may be covered, and at most; between, so many times what is usual. And all of them together.
_GROUND_LIT, _GROUND_DARK, _GROUND_MOST, _SCATTERS, _GROUND_MOVED = 0.15, 0.04, 0.35, 6.0, 1.0


class UsualGround:
    """What ground the digits of a display usually have: something before them changes it, and so does their own light.

    Lit segments shine on what is beside them. How much is learnt, so that less than that is seen, too.
    """

    def __init__(self) -> None:
        self._seen: deque[tuple[NDArray[np.float64], NDArray[np.float64], float]] = deque(maxlen=REMEMBERED)
        self._slopes = np.zeros((2, 3))
        self._usual: NDArray[np.float64] | None = None
        self._shone: NDArray[np.float64] = np.zeros((0, 2))
        self._scatter, self._level = 0.0, 1.0

    def clear(self) -> None:
        """Forget all."""
        self._seen.clear()
        self._usual = None

    def add(self, ground: NDArray[np.float64], light: NDArray[np.float64], level: float) -> None:
        """Remember the ground of digits, shape (digits, 3), how much light each gives, and how much a lit segment."""
        self._seen.append((ground, _shone_by(light), level))
        if len(self._seen) < _FEW_LOOKS:
            return
        grounds, shone, levels = (np.stack(column) for column in zip(*self._seen, strict=True))
        slopes = _slopes(np.diff(shone, axis=0).reshape(-1, 2), np.diff(grounds, axis=0).reshape(-1, 3))
        self._slopes = np.clip(slopes, -_MOST_SHONE, _MOST_SHONE)
        left = grounds - shone @ self._slopes
        self._usual, self._level = np.median(left, axis=0), float(np.median(levels))
        self._shone = np.median(shone, axis=0)
        # From look to look, since a lamp that is switched on moves all that is after.
        self._scatter = 1.05 * float(np.median(np.abs(np.diff(left, axis=0)).max(axis=2)))

    def moved(
        self,
        ground: NDArray[np.float64],
        light: NDArray[np.float64],
        level: float,
        lit: NDArray[np.bool_],
        *,
        shines: bool,
    ) -> NDArray[np.bool_]:
        """Tell of which digits the ground is not what it was: something is before them; shape (digits,).

        ``lit`` says which of them show anything. An LCD `shines` on nothing.
        """
        limits = np.clip(_SCATTERS * self._scatter / level, np.where(lit, _GROUND_LIT, _GROUND_DARK), _GROUND_MOST)
        if shines:
            own, beside = self._not_learnt(light).T / level
            limits = np.where(lit, np.minimum(limits + own, _GROUND_MOST), limits + beside)
        doubts = []
        for away in self._away(ground, light, level):
            # Lit digits are not covered: what moves their ground is a change of the room's light, or their own.
            together = np.median(away[lit], axis=0) if lit.any() else np.zeros(away.shape[1])
            for room in (together, 0 * together):
                apart = np.abs(away - room).max(axis=1) / level
                doubts.append((apart > limits) | (np.abs(room).max() > _GROUND_MOVED * level))
        return min(doubts, key=np.count_nonzero, default=np.zeros(len(ground), dtype=bool))

    def _away(self, ground: NDArray[np.float64], light: NDArray[np.float64], level: float) -> list[NDArray[np.float64]]:
        """Return how far each digit's ground is from its usual one, shape (digits, 3); nothing while that is not known.

        Light that falls on a display is added to all of it. A camera that exposes more, or an LCD in less light, has
        more or less of all, the digits' own light too: by that it may be far from the one, and near the other.
        """
        if self._usual is None:
            return []
        own = ground - _shone_by(light) @ self._slopes
        return [own - gain * self._usual for gain in (1.0, level / self._level)]

    def _not_learnt(self, light: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return how far grounds may move by other light of their own than usual, and by more beside; (digits, 2)."""
        if self._usual is None:
            return np.zeros((len(light), 2))
        own, beside = (_shone_by(light) - self._shone).T
        return _NOT_LEARNT * np.stack([2 * np.abs(own), np.maximum(beside, 0.0)], axis=1)


def _shone_by(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the light of each digit itself and of those beside it; shape (digits, 2)."""
    beside = np.r_[0.0, light, 0.0]
    return np.stack([light, beside[:-2] + beside[2:]], axis=1)


def _slopes(shone: NDArray[np.float64], ground: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how much ground there is for each light shone on it, shape (2, 3); what lies far off does not count."""
    slopes: NDArray[np.float64] = np.zeros((shone.shape[1], ground.shape[1]))
    near = np.ones(len(shone), dtype=bool)
    for _ in range(3):
        square = shone[near].T @ shone[near]
        square += np.eye(len(square)) * (1e-3 * np.trace(square) + 1e-6)
        slopes = np.asarray(np.linalg.solve(square, shone[near].T @ ground[near]), dtype=np.float64)
        rest = np.abs(ground - shone @ slopes).max(axis=1)
        near = rest <= _FAR * np.median(rest)
    return slopes
