"""Rows left out that are all of one kind: a minus, a group or a word that is not known takes all its readings along."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from ..safe_files.rejects import Reject

#: So many rows are no chance, if they are so large a share of those whose cells could not be read: damage is seldom
#: twice the same. Common practice, no source.
_LEAST, _SHARE = 3, 0.5
#: Damage never makes a number that is grouped throughout: of such one is enough, the only surge that there was.
_GROUPED = re.compile(r"'[+-]?\d{1,3}(?P<mark>[,.' ])\d{2,3}((?P=mark)\d{2,3})*(?P=mark)\d{3}'")
#: Of so many kinds is kept count; damage makes no end of them.
_MOST = 1000
_CELL = re.compile(r"(column .*): found (.*), expected (a number)?", re.DOTALL)
_UNKNOWN_WORD = re.compile(r" is no unit of | is none of ")
#: What is above a meter's range is no damage: beside the highest readings it is the surges that are lost.
_OVER = " is above the meter's range"
#: So many rows behind one another with as many fields as each other, and not as many as all others, are no damage: a
#: column came or went. Common practice, no source.
_LONG_RUN = 12
_FIELDS, _MARK = re.compile(r"has (\d+) fields, expected \d+"), re.compile(r"[,;|\t]")
#: Dates whose month is beyond twelve, and would be the day in the other order: another file's, or another program's.
_DATE, _ORDER = (
    re.compile(r"['\"]*(\d{1,2})[-/. ](\d{1,2})[-/. ]\d"),
    re.compile(r"expected .*(day/month|month/day)/year"),
)
_DIGITS, _LETTER = re.compile(r"\d+"), re.compile(r"[^\W\d_]{2}")


class RejectKinds:
    """Counts rejects by what their cells look like, their digits apart."""

    def __init__(self) -> None:
        self._counts: Counter[str] = Counter()
        self._firsts: dict[str, Reject] = {}
        self._grouped: set[str] = set()
        self._run: tuple[Reject, Reject] | None = None
        self._long_run: tuple[int, Reject] | None = None

    def add(self, rejects: Iterable[Reject]) -> None:
        """Take rejects."""
        for reject in rejects:
            self._add_to_run(reject)
            kind = _kind(reject.reason)
            if kind is not None and (kind in self._counts or len(self._counts) < _MOST):
                self._counts[kind] += 1
                self._firsts.setdefault(kind, reject)
                if _GROUPED.search(reject.reason):
                    self._grouped.add(kind)

    def most(self) -> tuple[int, Reject] | None:
        """Return how many are of the kind that most are, and the first of them; None where they are of any kind."""
        if self._long_run is not None:
            return self._long_run
        for kind, count in self._counts.most_common(1):
            least = 1 if kind in self._grouped else _LEAST
            if count >= least and count >= _SHARE * self._counts.total() and not kind.endswith(_OVER):
                return count, self._firsts[kind]
        return None

    def _add_to_run(self, reject: Reject) -> None:
        if not _is_row_of_another_width(reject):
            self._run = None
            return
        first, last = self._run or (reject, reject)
        # A blank line may stand between two rows.
        if (reject.file, reject.reason) != (last.file, last.reason) or reject.line > last.line + 2:
            first = reject
        self._run = first, reject
        if reject.line - first.line >= _LONG_RUN - 1:
            self._long_run = reject.line - first.line + 1, first


def _is_row_of_another_width(reject: Reject) -> bool:
    """Tell whether nearly all cells of a row with too many or too few are numbers, as no remark's are."""
    match = _FIELDS.match(reject.reason)
    if match is None:
        return False
    fields = int(match[1])
    with_digits = sum(_DIGITS.search(cell) is not None for cell in _MARK.split(reject.text))
    return fields > 1 and with_digits >= (fields if fields <= 3 else fields - 1)


def _has_other_order(cell: str, reason: str) -> bool:
    date, order = _DATE.match(cell), _ORDER.search(reason)
    if date is None or order is None:
        return False
    month, day = (int(date[k]) for k in ((2, 1) if order[1] == "day/month" else (1, 2)))
    return day <= 12 < month <= 31


def _kind(reason: str) -> str | None:
    """Return what a cell looks like that was understood but for its form; None where it says nothing or is torn."""
    if _UNKNOWN_WORD.search(reason) or _OVER in reason:
        return reason
    match = _CELL.match(reason)
    if match is None or not _DIGITS.search(match[2]):
        return None
    if _has_other_order(match[2], reason):
        return f"{match[1]} dates of another order"
    # A time that is torn is still one of digits; one with letters has a word that is not known.
    if match[3] is None and not _LETTER.search(match[2]):
        return None
    return f"{match[1]} {_DIGITS.sub('0', match[2])}"
