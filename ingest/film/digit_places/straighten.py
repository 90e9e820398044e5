"""A display's box straightened: from its four corners in the picture to an upright patch of one size."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]
Patch = NDArray[np.float32]
#: How high a straightened box is, and how much is kept round it: digits of 20 pixels are about the least that can be
#: read, more than 40 show nothing more. [pixels]
HIGH, MARGIN_Y = 40, 12
#: No box is longer than so many times its height; it would be none of digits.
_LONGEST = 12.0


@dataclass(frozen=True)
class Box:
    """A box of digits in the first picture: ``corners`` clockwise from the top left, shape (4, 2) [pixels]."""

    corners: NDArray[np.float64]
    digits: int

    @property
    def wide(self) -> int:
        """Its width once straightened. [pixels of the patch]"""
        c = self.corners
        across = float(np.linalg.norm(c[1] - c[0]) + np.linalg.norm(c[2] - c[3]))
        down = float(np.linalg.norm(c[3] - c[0]) + np.linalg.norm(c[2] - c[1]))
        return int(np.clip(round(HIGH * across / max(down, 1e-6)), 8, _LONGEST * HIGH))

    @property
    def margin_x(self) -> int:
        """How much is kept at each side of it: a digit, so that one that was left out is seen. [pixels of the patch]"""
        return max(round(1.3 * self.wide / self.digits), 8)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the patch."""
        return HIGH + 2 * MARGIN_Y, self.wide + 2 * self.margin_x

    def matrix(self) -> NDArray[np.float64]:
        """Return the way from the picture to the patch; shape (3, 3)."""
        left, top = self.margin_x, MARGIN_Y
        right, foot = left + self.wide, top + HIGH
        target = np.array([[left, top], [right, top], [right, foot], [left, foot]], dtype=np.float32)
        return np.asarray(cv2.getPerspectiveTransform(self.corners.astype(np.float32), target), dtype=np.float64)

    def shared(self, other: Box) -> float:
        """Return which share of the smaller of two boxes lies in the other, too."""
        one, two = (np.asarray(box.corners, dtype=np.float32) for box in (self, other))
        common, _ = cv2.intersectConvexConvex(one, two)
        return float(common) / max(min(cv2.contourArea(one), cv2.contourArea(two)), 1e-6)

    def scale(self) -> float:
        """Return how many pixels of the picture one of the patch covers."""
        c = self.corners
        return float((np.linalg.norm(c[3] - c[0]) + np.linalg.norm(c[2] - c[1])) / 2 / HIGH)


def straightened(picture: Image, box: Box, moved: NDArray[np.float64]) -> Patch:
    """Return the patch of a box in a picture whose camera has moved by `moved`, shape (3, 3); shape (rows, columns, 3).

    A large display is averaged first, so that no pixel of it is passed over.
    """
    rows, columns = box.shape
    matrix = box.matrix() @ np.linalg.inv(moved)
    if (scale := box.scale()) > 1.5:
        wide = max(round(scale), 2)
        left, top, right, foot = _seen_by(matrix, (rows, columns), picture, 2 * wide)
        picture = cv2.blur(picture[top:foot, left:right], (wide, wide))  # type: ignore[assignment]
        matrix = matrix @ np.array([[1, 0, left], [0, 1, top], [0, 0, 1]], dtype=np.float64)
    patch = cv2.warpPerspective(
        picture, matrix, (columns, rows), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(patch, dtype=np.float32)


def _seen_by(
    matrix: NDArray[np.float64], shape: tuple[int, int], picture: Image, margin: int
) -> tuple[int, int, int, int]:
    """Return left, top, right and foot of what a patch shows of a picture, which is never all of it nor nothing."""
    rows, columns = shape
    ends = np.array([[0, 0, 1], [columns, 0, 1], [columns, rows, 1], [0, rows, 1]]) @ np.linalg.inv(matrix).T
    at = ends[:, :2] / ends[:, 2:]
    high, wide = picture.shape[:2]
    left, top = np.clip(np.floor(at.min(axis=0)).astype(int) - margin, 0, [wide - 1, high - 1])
    right, foot = np.clip(np.ceil(at.max(axis=0)).astype(int) + margin, [left + 1, top + 1], [wide, high])
    return int(left), int(top), int(right), int(foot)
