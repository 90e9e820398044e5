"""What one frame shows of a display, and frames in a row that show the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .field_reader import Glimpse
from .figures import DisplayValue
from .patterns import BLANK


@dataclass
class Seen:
    """A frame of one display: what was glimpsed, and once it is judged the figure that stood, or why there is none."""

    number: int
    time_s: float
    glimpse: Glimpse
    figure: DisplayValue | None = None
    reason: str = ""


@dataclass
class Stand:
    """Frames in a row that show the same."""

    frames: list[Seen]
    text: str
    point: int | None
    first: int
    figure: DisplayValue | None = None
    reason: str = ""
    sure: int = 0

    @property
    def from_s(self) -> float:
        """When its first frame was taken. [s]"""
        return self.frames[0].time_s

    @property
    def to_s(self) -> float:
        """When its last frame was taken. [s]"""
        return self.frames[-1].time_s

    @property
    def strays(self) -> float:
        """How far the segment strays that comes nearest to being taken for the contrary (see `Glimpse`)."""
        return max(max(seen.glimpse.strays, default=1.0) for seen in self.frames)

    @property
    def lit(self) -> int:
        """How many places are lit; a minus counts, which may be covered like a digit."""
        return len(self.text.replace(BLANK, ""))


def unread_between_s(one: Stand, other: Stand, unread_s: NDArray[np.float64]) -> float:
    """Return how long nothing was read between two stands. [s]"""
    one, other = sorted((one, other), key=lambda stand: stand.first)
    return float(unread_s[other.first] - unread_s[one.first + len(one.frames)])
