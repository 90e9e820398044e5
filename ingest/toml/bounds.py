"""How much a settings file may ask for: told before it is parsed, and before its values are held against a model."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, Final

from ..errors import InputError
from .places import Where, without_texts

#: What reads TOML, and what looks for mistakes in it, takes time by the square of a line's length and of the parts of a
#: key; within these it stays below a second. No line or key of a person's comes near. [characters], [1]
LINE_MOST: Final = 4_000
PARTS_MOST: Final = 16
#: Quoted parts are blank where this is looked for. It begins at the beginning of a word alone, so that no place is
#: looked at twice.
_DEEP: Final = re.compile(rf"(?<![\w. \t-])[ \t]*(?:[\w-]*[ \t]*\.[ \t]*){{{PARTS_MOST},}}")
#: TOML 1.0.0, "Integer": 64 bits are to be expected, and a register has no more; what is beyond is a slip of the hand.
_BITS_MOST: Final = 64
BEYOND: Final = "must be a figure of at most 19 digits"


def refuse_unbounded(path: Path, text: str) -> None:
    """Stop before a text is parsed that would take longer than anybody waits.

    Raises
    ------
    InputError
        If a line, or a key of many parts, is longer than any of a settings file.
    """
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LINE_MOST:
            raise InputError(
                f"{path}:{number}: this line is longer than {LINE_MOST:,} characters, which no line of a settings file "
                "needs; break it, or name the right file"
            )
    for number, line in enumerate(without_texts(text).split("\n"), 1):
        if _DEEP.search(line):
            raise InputError(
                f"{path}:{number}: this key has more than {PARTS_MOST} parts with points between them, which no key of "
                "a settings file has"
            )


def beyond_bounds(data: dict[str, Any]) -> list[Where]:
    """Return where whole numbers stand that no computer counts with."""
    beyond: list[Where] = []
    waiting: list[tuple[Where, Any]] = [((), data)]
    while waiting:
        where, value = waiting.pop()
        if isinstance(value, int) and value.bit_length() > _BITS_MOST:
            beyond.append(where)
        # Not by a function that calls itself: what a file nests may be deeper than that.
        inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
        waiting += [((*where, step), held) for step, held in inner if isinstance(held, (dict, list, int))]
    return beyond
