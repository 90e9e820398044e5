"""How the camera has moved since the boxes were drawn, by what stands still in the picture: corners and edges."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from .digit_places.straighten import Box, Image

#: Marks that are followed, and how many must agree for a movement to be believed.
_MARKS, _ENOUGH = 120, 10
_SHARE: Final = 0.45
#: How far marks that agree may still lie apart. [pixels]
_AGREE = 1.5
#: Pictures are looked at no wider than this: edges are found there to a tenth of a pixel. [pixels]
_WIDE: Final = 640
#: A camera that is touched moves by some per cent; what seems to move by more is something else.
_MOST = 0.15


class CameraFollower:
    """Follows the camera: every frame is compared with the first, so that no error grows."""

    def __init__(self, boxes: Sequence[Box]) -> None:
        self._boxes = boxes
        self._first: Image | None = None
        self._marks: NDArray[np.float32] | None = None
        self._moved: NDArray[np.float64] = np.eye(3)
        self._scale = 1.0

    def moved(self, picture: Image) -> NDArray[np.float64]:
        """Return how a picture has moved against the first one, shape (3, 3); as before where that cannot be told."""
        grey = self._small(picture)
        if self._first is None:
            self._begin(grey)
        elif self._marks is not None and (moved := self._compare(grey)) is not None:
            self._moved = moved
        scale = np.diag([self._scale, self._scale, 1.0])
        return np.asarray(np.linalg.inv(scale) @ self._moved @ scale, dtype=np.float64)

    def _small(self, picture: Image) -> Image:
        self._scale = min(_WIDE / picture.shape[1], 1.0)
        grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
        if self._scale < 1.0:
            grey = cv2.resize(grey, None, fx=self._scale, fy=self._scale, interpolation=cv2.INTER_AREA)
        return np.asarray(grey, dtype=np.uint8)

    def _begin(self, grey: Image) -> None:
        """Choose marks outside the boxes, whose digits change."""
        self._first = grey
        mask = np.full(grey.shape, 255, np.uint8)
        for box in self._boxes:
            cv2.fillPoly(mask, [np.round(box.corners * self._scale).astype(np.int32)], 0)
        mask = cv2.erode(mask, np.ones((9, 9), np.uint8))  # type: ignore[assignment]
        marks = cv2.goodFeaturesToTrack(grey, _MARKS, 0.02, 8, mask=mask)
        self._marks = None if marks is None or len(marks) < _ENOUGH else np.asarray(marks, dtype=np.float32)

    def _compare(self, grey: Image) -> NDArray[np.float64] | None:
        assert self._marks is not None and self._first is not None
        marks = self._marks.reshape(-1, 2)
        guess = (marks @ self._moved[:2, :2].T + self._moved[:2, 2]).astype(np.float32)
        flow = {"winSize": (19, 19), "maxLevel": 3, "flags": cv2.OPTFLOW_USE_INITIAL_FLOW}
        places, status, _ = cv2.calcOpticalFlowPyrLK(self._first, grey, self._marks, guess.reshape(-1, 1, 2), **flow)  # type: ignore[call-overload]
        good = status.ravel() == 1
        if good.sum() < _ENOUGH:
            return None
        way, agree = cv2.estimateAffinePartial2D(marks[good], places.reshape(-1, 2)[good], ransacReprojThreshold=_AGREE)
        if way is None or agree.sum() < max(_ENOUGH, _SHARE * len(marks)):
            return None
        moved = np.vstack([way, [0, 0, 1]])
        return moved if self._is_small(moved, grey) else None

    def _is_small(self, moved: NDArray[np.float64], grey: Image) -> bool:
        middle = np.array([grey.shape[1] / 2, grey.shape[0] / 2, 1])
        away = np.linalg.norm((moved @ middle - middle)[:2])
        return bool(away < _MOST * grey.shape[1] and abs(np.linalg.det(moved[:2, :2]) - 1) < 2 * _MOST)
