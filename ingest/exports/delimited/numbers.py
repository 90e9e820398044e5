"""Cells to numbers, counting what is none: decimal points and commas, grouped digits, units, missing readings."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ...errors import InputError, quoted
from ...log.arrow import booleans, floats, strings

#: Cells that say that there is no reading.
NULLS = ["", "NaN", "nan", "NAN", "N/A", "n/a", "NA", "null", "NULL", "None", "none", "-", "--", "---", "#N/A"]
#: Share of the cells that speak for a mark or a unit that must speak for the same one.
MOST_AGREE = 0.9
_NULLS = strings(NULLS)
_NOTHING, _ODD = strings([None, "?"])
_POINT = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
_BLANKS = "\u00a0\u202f '’"
_GROUPED = {mark: rf"^[+-]?\d{{1,3}}([{mark}]\d{{3}})+([^\d{mark}]\d*)?$" for mark in (",", ".", _BLANKS)}
_POINTS = bytes.maketrans(b",", b".")
_ONLY_THREES = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_CELL = re.compile(r"'?[+\-−]?[\d\u00a0\u202f .,'’]*\d[.,]?(?:[eE][+-]?\d+)?(?:\s*([A-Za-z°µμ%/·]{1,5}))?")


@dataclass(frozen=True)
class NumberForm:
    """How a column writes its numbers.

    ``grouped``: commas were seen to group thousands beside a decimal point. ``suffix`` is the unit that stands in every
    cell, such as ``A`` in ``12.5 A``; empty where there is none.
    """

    decimal: str = "."
    grouped: bool = False
    suffix: str = ""


@dataclass(frozen=True)
class Numbers:
    """Numbers read from cells; ``bad`` marks cells that hold something which is no number."""

    values: NDArray[np.float64]
    bad: NDArray[np.bool_]


def to_numbers(cells: pa.Array, form: NumberForm) -> Numbers:
    """Convert cells, strings of shape (n,), null where there is no reading; NaN where there is none or no number."""
    # Nearly all columns are plain: Arrow casts them whole, and one odd cell sends the block the careful way.
    plain = _with_points(cells) if form.decimal == "," else cells
    if plain is not None:
        try:
            values = _as_array(plain)
        except pa.ArrowInvalid:
            return _carefully(cells, form)
        endless = np.isinf(values)  # a cell that says "inf" is an instrument's overflow, no reading
        return Numbers(np.where(endless, np.nan, values) if endless.any() else values, endless)
    return _carefully(cells, form)


def _as_array(text: pa.Array) -> NDArray[np.float64]:
    return floats(pc.cast(text, pa.float64()))


def _with_points(cells: pa.Array) -> pa.Array | None:
    """Return the cells with their commas turned into points, in one go over their bytes; None if one has a point."""
    valid, ends, text = cells.buffers()
    raw = text.to_pybytes() if text is not None else b""
    if b"." in raw:
        return None
    buffers = [valid, ends, pa.py_buffer(raw.translate(_POINTS))]
    return pa.Array.from_buffers(pa.string(), len(cells), buffers, offset=cells.offset)


def _carefully(cells: pa.Array, form: NumberForm) -> Numbers:
    """Convert cell by cell: strip blanks and unit, undo grouped digits, and mark what is still no number."""
    text = pc.replace_substring_regex(pc.utf8_trim_whitespace(cells), "^'", "")
    text = pc.replace_substring(text, "−", "-")
    if form.suffix:
        text = pc.replace_substring_regex(text, rf"\s*{re.escape(form.suffix)}$", "")
    # Blanks and apostrophes group thousands beside either decimal mark (small spaces by ISO 80000-1, from memory).
    text = _ungrouped(text, _BLANKS)
    if form.decimal == ",":
        text = _ungrouped(text, ".")
        # a point that groups no thousands does not belong in a column of decimal commas
        text = pc.if_else(pc.match_substring(text, "."), _ODD, text)
        text = pc.replace_substring(text, ",", ".")
    elif form.grouped:
        text = _ungrouped(text, ",")
    filled = pc.and_not(pc.is_valid(text), pc.is_in(text, _NULLS))
    good = pc.and_(filled, pc.match_substring_regex(text, _POINT))
    values = _as_array(pc.if_else(good, text, _NOTHING))
    bad = (booleans(filled) & ~booleans(good)) | np.isinf(values)
    return Numbers(np.where(bad, np.nan, values), bad)


def _ungrouped(text: pa.Array, mark: str) -> pa.Array:
    """Take the marks between groups of three digits out of the cells that have nothing else of the kind."""
    grouped = pc.match_substring_regex(text, _GROUPED[mark])
    return pc.if_else(grouped, pc.replace_substring_regex(text, f"[{mark}]", ""), text)


def find_form(cells: Sequence[str], others: Iterable[str], *, column: str, stated: str | None = None) -> NumberForm:
    """Return how a column writes its numbers, from a sample of its cells.

    A mark before exactly three digits (``1,234``) could be a decimal comma or group thousands. What the column itself
    leaves open, the cells of the whole table, `others`, decide: one program wrote them all.

    Raises
    ------
    InputError
        If the sample leaves it open, with the option's name, or the cells carry different units.
    """
    suffix = _suffix(cells, column)
    if stated is not None:
        return NumberForm(stated, grouped=True, suffix=suffix)
    # The column first: a table may hold counts with grouped commas beside readings with points.
    votes = _votes(cells)
    if decimal := _mark_of(votes) or _mark_of(_votes(others)):
        return NumberForm(decimal, grouped=decimal == "." and bool(votes["1,234"]), suffix=suffix)
    if not votes["1,234"]:
        return NumberForm(suffix=suffix)
    example = next(cell for cell in cells if "," in cell)
    raise InputError(
        f"column {quoted(column)}: {example!r} could be a decimal comma or grouped thousands; "
        "say --decimal comma or --decimal point"
    )


def _votes(cells: Iterable[str]) -> Counter[str]:
    """Count the cells that speak for a decimal comma, for a point, or that could be grouped by commas or points."""
    votes: Counter[str] = Counter()
    for cell in cells:
        marks = [c for c in cell if c in ",."]
        if not marks or (match := _CELL.fullmatch(cell)) is None:
            continue
        number = cell[: match.start(1)] if match[1] else cell
        number = number.strip(" '").replace("−", "-")
        # Of two kinds of marks the last is the decimal one; one that comes twice groups; 1,234 may be either.
        if len(set(marks)) == 2:
            votes[marks[-1]] += 1
            votes["1,234"] += marks[-1] == "."
        elif len(marks) > 1:
            if re.match(_GROUPED[marks[0]], number):
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


def _suffix(cells: Sequence[str], column: str) -> str:
    """Return the unit that cells such as ``12.5 A`` carry; a few odd cells make none."""
    suffixes = Counter(match[1] for match in map(_CELL.fullmatch, cells) if match and match[1])
    if 2 * suffixes.total() < len(cells) or not suffixes:
        return ""
    (suffix, count), *_ = suffixes.most_common(1)
    if count < MOST_AGREE * suffixes.total():
        raise InputError(
            f"column {quoted(column)}: its cells carry different units ({', '.join(sorted(suffixes))}); "
            "export it with one unit"
        )
    return suffix
