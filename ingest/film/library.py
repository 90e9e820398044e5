"""The library that opens films and straightens pictures: an extra, since most logs come without one."""

from __future__ import annotations

import os

from ..errors import InputError


def require_opencv() -> None:
    """Refuse to go on where the library is missing.

    Raises
    ------
    InputError
        With what to install.
    """
    # What a decoder says of a damaged film would stand on the terminal between our lines, raw bytes of it too.
    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
    try:
        import cv2  # noqa: F401
    except ImportError:
        raise InputError(
            "films and pictures of a display need the library OpenCV: install it with  pip install 'shuntbook[film]'"
        ) from None
