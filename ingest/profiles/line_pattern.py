"""A regular expression for lines, fitted in a time that grows with the line's length and no faster.

Arrow brings RE2, whose automata never go back: the worst expression refuses the worst line at once, where those that go
back, such as Python's own, may take longer than anybody waits. Looking ahead or back, and repeating what a group found,
are therefore not known.
"""

from __future__ import annotations

import re
from itertools import count

import pyarrow as pa

from shuntbook.ingest.log.arrow import strings

#: What begins a group without a name; brackets that are escaped or stand in a class of characters are passed over.
_BRACKET = re.compile(r"\\.|\[\^?\]?(?:\\.|[^\]\\])*\]|(?P<unnamed>\((?!\?))", re.DOTALL)
#: RE2 names all groups or none, as Arrow uses it.
_UNNAMED = "without_a_name_"


class LinePattern:
    """An expression that must fit a whole line; ``names`` are its groups', '' for one without.

    Raises
    ------
    ValueError
        If it is no such expression; with the reason in words.
    """

    def __init__(self, pattern: str) -> None:
        numbers = count(1)
        named = _BRACKET.sub(
            lambda bracket: f"(?P<{_UNNAMED}{next(numbers)}>" if bracket["unnamed"] else bracket[0], pattern
        )
        _extract("", named)  # by itself, or what follows could be closed by its brackets
        self._whole = rf"\A(?:{named})\z"
        groups = [field.name for field in _extract("", self._whole).type]
        self.names = tuple("" if name.startswith(_UNNAMED) else name for name in groups)

    def values(self, line: str) -> list[str] | None:
        """Return what the groups found in a line, '' where one took no part; None if it does not fit."""
        groups = _extract(line, self._whole)[0].as_py()
        return None if groups is None else list(groups.values())


def _extract(line: str, pattern: str) -> pa.Array:
    import pyarrow.compute as pc  # sources that need no pattern start without it

    try:
        return pc.extract_regex(strings([line]), pattern)
    except (pa.ArrowInvalid, UnicodeEncodeError) as error:
        why = str(error).partition("\n")[0].removeprefix("Invalid regular expression: ")
        raise ValueError(
            "the pattern is no regular expression that can be used here "
            f"(RE2: nothing that looks ahead or back or repeats what a group found): {why}"
        ) from None
