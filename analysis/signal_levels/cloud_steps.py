"""Clouds over an array, told from a load: they step by any amount, a load again and again by its own draw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..readings.chunk import BoolArray, FloatArray

#: Steps within this share of a draw may be the load's, those within this one of each other are alike. [1]
LIKE: Final = 0.25
ALIKE: Final = 0.05
#: Clouds also step by what differs by up to this share: so many of these against those that may be the load's show
#: some clouds, and so many that clouds may have made all. Common practice, no source. [1]
AROUND: Final = 0.6
SOME: Final = 0.25
ALL: Final = 0.8
#: Fewer are a morning's loads, each switched once or twice: common practice, no source. [1]
MANY: Final = 12
#: A load's own steps are this near to its draw, more of them than chance has there by so many standard deviations:
#: common practice, no source. [1]
NEAR: Final = 0.06
BEYOND_CHANCE: Final = 3.0


def alike(sizes: FloatArray) -> BoolArray:
    """Tell which of some sizes, as shares of a draw, are those that most are alike to; shape (n,)."""
    if not len(sizes):
        return np.zeros(0, dtype=bool)
    ordered = np.sort(sizes)
    # Other loads step beside the same readings: these scatter by a share of the draw, however small the step.
    low, high = ordered - ALIKE * np.maximum(ordered, 1.0), ordered + ALIKE * np.maximum(ordered, 1.0)
    k = int(np.argmax(np.searchsorted(ordered, high) - np.searchsorted(ordered, low)))
    return np.asarray((sizes >= low[k]) & (sizes < high[k]))


@dataclass(frozen=True)
class StepsBySize:
    """How many steps, while an array gives, are like a load's draw, near to it, and around it but not like it. [1]."""

    like: int
    near: int
    around: int

    @classmethod
    def of(cls, share: FloatArray) -> StepsBySize:
        """Count steps by their share of what is expected of a load; NaN where nothing was measured. [1]."""
        size = np.abs(share)
        away = np.abs(size - 1.0)
        sizes = size[(away >= LIKE) & (away < AROUND)]
        # What is alike is another load's, or this one's when it drew less.
        return cls(int(np.sum(away < LIKE)), int(np.sum(away < NEAR)), int(np.sum(~alike(sizes))))

    @property
    def stand_out(self) -> bool:
        """Whether those of a load's draw are more than chance would have there."""
        chance = NEAR / LIKE
        return bool(self.near > chance * self.like + BEYOND_CHANCE * np.sqrt(chance * (1 - chance) * self.like))

    @property
    def some_clouds(self) -> bool:
        """Whether clouds are among them."""
        return self.around > SOME * self.like

    @property
    def many_clouds(self) -> bool:
        """Whether so many steps are unlike each other that a load's may be hidden among them."""
        return self.around >= MANY and self.around > ALL * self.like

    @property
    def doubtful(self) -> bool:
        """Whether clouds may have made those that are like a load's: all of them, or some beside its own."""
        return self.some_clouds if self.stand_out else self.around > ALL * self.like
