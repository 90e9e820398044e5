"""A picture's file, in memory, as a picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...errors import InputError
from ...hushed import hushed


def decoded(raw: bytes, name: str) -> NDArray[np.uint8]:
    """Return a picture, turned as its camera was held; shape (high, wide, 3), blue first.

    Raises
    ------
    InputError
        If it is none, or damaged.
    """
    import cv2

    picture = None
    if raw:
        try:
            with hushed():
                picture = cv2.imdecode(np.frombuffer(raw, np.uint8), cv2.IMREAD_COLOR)
        except cv2.error:
            picture = None  # what claims to be larger than any picture
    if picture is None:
        raise InputError(f"{name}: is no picture that can be read; it may be damaged or cut short")
    return np.asarray(picture, dtype=np.uint8)
