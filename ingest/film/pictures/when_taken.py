"""When a still was taken: as its camera wrote it into the file (EXIF), or as its name tells."""

from __future__ import annotations

import re
import struct
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

#: Tags of EXIF (CIPA DC-008, from memory): the part with the camera's own times, and what of it is asked for.
_EXIF_PART, _TAKEN, _OFFSET, _PARTS_OF_SECOND = 0x8769, 36867, 36881, 37521
#: ISO 8601, basic or extended, as a name may hold it: 20261105_143000, 2026-11-05T14.30.00.250, Z for UTC.
_IN_NAME: Final = re.compile(
    r"(?<!\d)(\d{4})-?(\d\d)-?(\d\d)[T_ -]?(\d\d)[-.:_]?(\d\d)[-.:_]?(\d\d)((?:[.,]\d{1,6}|\d{3})?)(Z?)(?!\d)"
)
_OF_EXIF: Final = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d):(\d\d)")
_OFFSET_OF_EXIF: Final = re.compile(r"[+-]\d\d:\d\d")


def time_in_name(name: str) -> datetime | None:
    """Return the time that stands in a file's name, without an offset but for Z; None where none does."""
    for match in _IN_NAME.finditer(name):
        *parts, fraction, utc = match.groups()
        taken = _datetime(parts, fraction.lstrip(".,"), "+00:00" if utc else "")
        if taken is not None:
            return taken
    return None


def time_in_file(path: Path) -> datetime | None:
    """Return when a camera says that it took a still, with an offset where it wrote one; None where it does not say."""
    # Drawing brings this library along; nothing but stills asks for it.
    from PIL import Image

    try:
        with Image.open(path) as picture:
            tags = picture.getexif().get_ifd(_EXIF_PART)
    except (OSError, ValueError, SyntaxError, TypeError, KeyError, struct.error):
        return None
    match = _OF_EXIF.fullmatch(_text(tags.get(_TAKEN)))
    if match is None:
        return None
    offset = _OFFSET_OF_EXIF.fullmatch(_text(tags.get(_OFFSET)))
    fraction = _text(tags.get(_PARTS_OF_SECOND))
    return _datetime(match.groups(), fraction if fraction.isdecimal() else "", offset[0] if offset else "")


def _text(value: object) -> str:
    # Cameras fill up with blanks or zero bytes.
    return value.strip(" \0") if isinstance(value, str) else ""


def _datetime(parts: list[str] | tuple[str, ...], fraction: str, offset: str) -> datetime | None:
    year, month, day, hour, minute, second = parts
    try:
        whole = datetime.fromisoformat(f"{year}-{month}-{day}T{hour}:{minute}:{second}{offset}")
    except ValueError:
        return None
    return whole + timedelta(microseconds=int(fraction.ljust(6, "0")[:6] or 0))
