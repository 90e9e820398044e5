"""Light, shadow and dust that rest on the displays of the tests' films for as long as these last."""

from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True)
class AlongLine:
    """What lies along a line: through `x`, `y` (shares of the picture) at an angle, and how `wide` it is in pixels."""

    x: float
    y: float
    angle_deg: float
    wide: float

    def away(self, picture: np.ndarray) -> np.ndarray:
        """Return how far each pixel lies to the right of the line. [pixels]"""
        high, wide = picture.shape[:2]
        along, down = np.meshgrid(np.arange(wide) - self.x * wide, np.arange(high) - self.y * high)
        turn = np.radians(self.angle_deg)
        return (along * np.cos(turn) + down * np.sin(turn)).astype(np.float32)


@dataclass(frozen=True)
class Streak(AlongLine):
    """A gleam, `wide` pixels to either side."""

    peak: float

    def on(self, picture: np.ndarray) -> None:
        """Add it to a picture."""
        away = self.away(picture)
        picture += self.peak * np.exp(-0.5 * (away / self.wide) ** 2)[..., None]


@dataclass(frozen=True)
class Window(AlongLine):
    """A window that is mirrored: light from the line on, that grows over `wide` pixels and thins out beyond."""

    peak: float

    def on(self, picture: np.ndarray) -> None:
        """Add it to a picture."""
        away = self.away(picture)
        picture += self.peak * (np.clip(away / self.wide, 0, 1) * np.exp(-np.maximum(away, 0) / 400))[..., None]


@dataclass(frozen=True)
class Shade(AlongLine):
    """A shadow with an edge: beyond the line a share of the room's light is left, which an LCD has no other than."""

    left: float

    def on(self, picture: np.ndarray) -> None:
        """Take it from a picture."""
        away = self.away(picture)
        picture *= (1 - (1 - self.left) * np.clip(away / self.wide + 0.5, 0, 1))[..., None]


@dataclass(frozen=True)
class Dust:
    """Specks and hairs on the glass: so many, lighter by `peak` or darker where that is negative."""

    count: int
    peak: float
    seed: int = 1

    def on(self, picture: np.ndarray) -> None:
        """Draw them on a picture."""
        rng, (high, wide) = np.random.default_rng([self.seed, 23]), picture.shape[:2]
        specks = np.zeros((high, wide), np.uint8)
        for _ in range(self.count):
            at = (rng.uniform(0.15, 0.85, 2) * [wide, high] * 16).astype(int)
            cv2.circle(specks, at.tolist(), int(rng.uniform(8, 26)), 255, -1, cv2.LINE_AA, 4)
        for _ in range(self.count // 8):
            at = rng.uniform(0.15, 0.85, 2) * [wide, high]
            curl = np.cumsum(rng.normal(0, 2.5, (8, 2)) + rng.normal(0, 2, 2), axis=0)
            cv2.polylines(specks, [((at + curl) * 16).astype(np.int32)], False, 255, 1, cv2.LINE_AA, 4)
        picture += self.peak * (specks.astype(np.float32) / 255)[..., None]
