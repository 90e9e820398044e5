"""How a column writes its numbers, told from a sample of its cells and of the whole table's."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace

from ...errors import InputError, quoted
from .numbers import GROUPED, NULLS, NumberForm, like_unit, tidied

#: Share of the cells that speak for a mark or a unit that must speak for the same one.
MOST_AGREE = 0.9
_ONLY_THREES = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_CELL = re.compile(r"[+\-]?[\d\u00a0\u202f .,'’]*\d[.,]?(?:[eE][+-]?\d+)?(?:\s*([A-Za-z°µμ%/·]{1,5}))?")
_MARKED_HEX, _BARE_HEX = re.compile(r"[+-]?0[xX][0-9A-Fa-f]+"), re.compile(r"[0-9A-F]{2,8}|[0-9a-f]{2,8}")
_NULLS = frozenset(NULLS)
#: Letters of prefixes, and how many cells must end with one: a single one may be a damaged digit.
_PREFIXES, _LEAST_PREFIXED = "uµμmkM", 3


def find_form(
    cells: Sequence[str],
    others: Iterable[str],
    *,
    column: str,
    stated: str | None = None,
    stays_large: bool = True,
    points_group: bool = True,
    unit: str = "",
) -> NumberForm:
    """Return how a column writes its numbers, from a sample of its cells; `unit` is the column's.

    A mark before exactly three digits (``1,234``) could be a decimal or group thousands. What the column itself leaves
    open, the cells of the whole table, `others`, decide: one program wrote them all. `stays_large` says whether all
    readings could be above a thousand of their unit, `points_group` whether such a file may group by points.

    Raises
    ------
    InputError
        If the sample leaves it open, with the option's name, or the cells carry units of several kinds.
    """
    _refuse_hexadecimal(cells, column)
    if prefixes := _prefixes(cells, unit):
        bare = [cell.rstrip(_PREFIXES) for cell in cells]
        form = find_form(bare, others, column=column, stated=stated, stays_large=stays_large, points_group=points_group)
        return replace(form, suffix=unit, prefixes=prefixes)
    suffix, ranges = _suffix(cells, column)
    if stated is not None:
        return NumberForm(stated, grouped=True, suffix=suffix, ranges=ranges)
    # The column first: a table may hold counts with grouped commas beside readings with points.
    votes = _votes(cells)
    if decimal := _mark_of(votes) or _mark_of(_votes(others)):
        # A column of whole numbers says nothing of commas that come later; the table's points do.
        grouped = decimal == "." and (bool(votes["1,234"]) or not votes["."])
        return NumberForm(decimal, grouped=grouped, suffix=suffix, ranges=ranges)
    if not votes["1,234"] and not votes["1.234"]:
        return NumberForm(suffix=suffix, ranges=ranges, open=not votes["."] and not votes[","])
    if (decimal := _by_size(cells, votes, stays_large=stays_large, points_group=points_group)) is not None:
        return NumberForm(decimal, suffix=suffix, ranges=ranges)
    from ..questions.columns import decimal_mark

    raise decimal_mark(column, next(cell for cell in cells if _ONLY_THREES.search(cell)))


def _by_size(cells: Sequence[str], votes: Counter[str], *, stays_large: bool, points_group: bool) -> str | None:
    """Return the decimal mark of cells that have three digits behind it throughout, or None if they may be groups."""
    mark = "," if votes["1,234"] else "."
    threes = votes["1,234"] + votes["1.234"]
    numbers = sum(_CELL.fullmatch(tidied(cell)) is not None for cell in cells)
    # Whole numbers beside them are those below a thousand, where the marks group.
    throughout = threes >= MOST_AGREE * numbers and votes[f"1{mark}234"] == threes
    if throughout and (not stays_large or (mark == "." and not points_group)):
        return mark
    return None


def _votes(cells: Iterable[str]) -> Counter[str]:
    """Count the cells that speak for a decimal comma, for a point, or that could be grouped by commas or points."""
    votes: Counter[str] = Counter()
    for cell in cells:
        marks = [c for c in cell if c in ",."]
        if not marks or (match := _CELL.fullmatch(plain := tidied(cell))) is None:
            continue
        number = (plain[: match.start(1)] if match[1] else plain).strip()
        # Of two kinds of marks the last is the decimal one; one that comes twice groups; 1,234 may be either.
        if len(set(marks)) == 2:
            votes[marks[-1]] += 1
            votes["1,234"] += marks[-1] == "."
        elif len(marks) > 1:
            if re.match(GROUPED[marks[0]], number):
                votes["." if marks[0] == "," else ","] += 1
                votes["1,234"] += marks[0] == ","
        elif _ONLY_THREES.fullmatch(number):
            votes["1,234" if marks[0] == "," else "1.234"] += 1
        else:
            votes[marks[0]] += 1
    return votes


def _mark_of(votes: Counter[str]) -> str | None:
    """Return the decimal mark that the cells agree on, or None: a damaged cell or two do not decide it."""
    mark, most = max(((mark, votes[mark]) for mark in ".,"), key=lambda vote: vote[1])
    agree = most >= MOST_AGREE * (votes[","] + votes["."]) and most > (1 - MOST_AGREE) * votes.total()
    return mark if agree else None


def _prefixes(cells: Sequence[str], unit: str) -> frozenset[str]:
    """Return the letters that cells such as ``510m`` end with, where each is a prefix of the unit; else none."""
    at_end = [cell for cell in cells if cell[-1:] in _PREFIXES and cell[-1:]]
    if not unit or len(at_end) < _LEAST_PREFIXED:
        return frozenset()
    ends = Counter(match[1] for match in map(_CELL.fullmatch, map(tidied, at_end)) if match)
    prefixes = {end for end, count in ends.items() if count >= _LEAST_PREFIXED and end in _PREFIXES}
    # In its own case: 5M in a column of amps is not 5 mA.
    known = all((like := like_unit(end + unit, unit)) and like.symbol[0] in ("u", end) for end in prefixes)
    return frozenset(prefixes if known else ())


def _suffix(cells: Sequence[str], column: str) -> tuple[str, bool]:
    """Return the unit that cells such as ``12.5 A`` carry, and whether others of its kind do; a few make none."""
    suffixes = Counter(match[1] for match in map(_CELL.fullmatch, map(tidied, cells)) if match and match[1])
    if 2 * suffixes.total() < len(cells) or not suffixes:
        return "", False
    suffix = suffixes.most_common(1)[0][0]
    alike = {word: count for word, count in suffixes.items() if word == suffix or like_unit(word, suffix) is not None}
    if sum(alike.values()) < MOST_AGREE * suffixes.total():
        raise InputError(
            f"column {quoted(column)}: its cells carry different units ({', '.join(sorted(suffixes))}); "
            "export it with one unit"
        )
    return suffix, len(alike) > 1


def _refuse_hexadecimal(cells: Sequence[str], column: str) -> None:
    """Refuse a column whose cells are hexadecimal, marked so or by their letters."""
    filled = [cell for cell in cells if cell not in _NULLS]
    marked = sum(_MARKED_HEX.fullmatch(cell) is not None for cell in filled)
    if filled and (2 * marked > len(filled) or _is_bare_hexadecimal(filled)):
        raise InputError(
            f"column {quoted(column)}: {quoted(filled[0])} and the like are hexadecimal; "
            "export it in decimal numbers (what their bits mean, only the meter's document says)"
        )


def _is_bare_hexadecimal(cells: Sequence[str]) -> bool:
    hexes = [cell for cell in cells if _BARE_HEX.fullmatch(cell)]
    if len(hexes) < MOST_AGREE * len(cells) or len({len(cell) for cell in hexes}) > 1:
        return False
    # A letter that all end with is a unit (12A, 5C), and an E between digits an exponent.
    letters = {c.upper() for cell in hexes for c in cell if c.isalpha()}
    ends = {cell[-1] for cell in hexes if cell[-1].isalpha()}
    return len(letters) > 1 or (bool(letters) and letters != {"E"} and not ends) or (letters == {"E"} and bool(ends))
