"""Output to a stream whose encoding lacks some of our characters, such as a file that Windows redirects to."""

from __future__ import annotations

import codecs
import io
from typing import TextIO

#: What stands for a character that an encoding may lack; any other becomes a question mark.
_PLAIN = {"−": "-", "×": "x", "≥": ">=", "±": "+-", "“": '"', "”": '"', "‘": "'", "’": "'", "…": "...", "°": "deg"}
_HANDLER = "shuntbook.plain"


def write_what_can_be(*streams: TextIO) -> None:
    """Have streams write a plain character in place of one that their encoding lacks, and not fail for it."""
    codecs.register_error(_HANDLER, _plainly)
    for stream in streams:
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=_HANDLER)


def _plainly(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    return "".join(_PLAIN.get(character, "?") for character in lacking), error.end
