"""Rows left out that are all of one kind: a minus, a group or a word that is not known takes all its readings along."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from ..safe_files.rejects import Reject

#: So many rows are no chance, if they are so large a share of those whose cells could not be read: damage is seldom
#: twice the same. Common practice, no source.
_LEAST, _SHARE = 3, 0.5
#: Of so many kinds is kept count; damage makes no end of them.
_MOST = 1000
_CELL = re.compile(r"(column .*): found (.*), expected (a number)?", re.DOTALL)
_UNKNOWN_WORD = re.compile(r" is no unit of | is none of ")
_DIGITS, _LETTER = re.compile(r"\d+"), re.compile(r"[^\W\d_]{2}")


class RejectKinds:
    """Counts rejects by what their cells look like, their digits apart."""

    def __init__(self) -> None:
        self._counts: Counter[str] = Counter()
        self._firsts: dict[str, Reject] = {}

    def add(self, rejects: Iterable[Reject]) -> None:
        """Take rejects."""
        for reject in rejects:
            kind = _kind(reject.reason)
            if kind is not None and (kind in self._counts or len(self._counts) < _MOST):
                self._counts[kind] += 1
                self._firsts.setdefault(kind, reject)

    def most(self) -> tuple[int, Reject] | None:
        """Return how many are of the kind that most are, and the first of them; None where they are of any kind."""
        for kind, count in self._counts.most_common(1):
            if count >= _LEAST and count >= _SHARE * self._counts.total():
                return count, self._firsts[kind]
        return None


def _kind(reason: str) -> str | None:
    """Return what a cell looks like that was understood but for its form; None where it says nothing or is torn."""
    if _UNKNOWN_WORD.search(reason):
        return reason
    match = _CELL.match(reason)
    if match is None or not _DIGITS.search(match[2]):
        return None
    # A time that is torn is still one of digits; one with letters has a word that is not known.
    if match[3] is None and not _LETTER.search(match[2]):
        return None
    return f"{match[1]} {_DIGITS.sub('0', match[2])}"
