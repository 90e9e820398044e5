"""Cells to numbers, counting what is none: decimal points and commas, grouped digits, missing readings."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ..errors import InputError

#: Cells that say that there is no reading.
NULLS = ["", "NaN", "nan", "NAN", "N/A", "n/a", "NA", "null", "NULL", "None", "-", "--", "---", "#N/A"]
_GROUPS = "[  '’ ]"
_POINT = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
_GROUPED_BY_COMMA = r"^[+-]?\d{1,3}(,\d{3})+(\.\d*)?$"
_GROUPED_BY_POINT = r"^[+-]?\d{1,3}(\.\d{3})+(,\d*)?$"
_ONLY_THREES = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")


@dataclass(frozen=True)
class Numbers:
    """Numbers read from cells; ``bad`` marks cells that hold something which is no number."""

    values: NDArray[np.float64]
    bad: NDArray[np.bool_]


def to_numbers(cells: pa.Array, decimal: str) -> Numbers:
    """Convert cells to numbers.

    Parameters
    ----------
    cells : pyarrow array of strings, shape (n,)
        The cells; null where there is no reading.
    decimal : {'.', ','}
        The decimal mark of this column.

    Returns
    -------
    Numbers
        NaN where there is no reading or no number.
    """
    text = cells if decimal == "." else pc.replace_substring(cells, ",", ".")
    if decimal == "." or not pc.any(pc.match_substring(cells, ".")).as_py():
        try:
            values = _as_array(text)
        except pa.ArrowInvalid:
            pass
        else:
            if np.isinf(values).any():  # a cell that says "inf" is an instrument's overflow, no reading
                return Numbers(np.where(np.isinf(values), np.nan, values), np.isinf(values))
            return Numbers(values, np.zeros(len(values), dtype=bool))
    return _carefully(cells, decimal)


def _as_array(text: pa.Array) -> NDArray[np.float64]:
    return np.asarray(pc.cast(text, pa.float64()).to_numpy(zero_copy_only=False), dtype=np.float64)


def _carefully(cells: pa.Array, decimal: str) -> Numbers:
    """Convert cell by cell: strip blanks, undo grouped digits, and mark what is still no number."""
    text = pc.replace_substring_regex(pc.utf8_trim_whitespace(cells), _GROUPS, "")
    grouped, mark = (_GROUPED_BY_COMMA, ",") if decimal == "." else (_GROUPED_BY_POINT, ".")
    is_grouped = pc.fill_null(pc.match_substring_regex(text, grouped), False)
    text = pc.if_else(is_grouped, pc.replace_substring(text, mark, ""), text)
    if decimal == ",":
        has_point = pc.fill_null(pc.match_substring(text, "."), False)
        text = pc.if_else(has_point, text, pc.replace_substring(text, ",", "."))
        # a lone point in a column of decimal commas is a number only if it cannot be a group
        text = pc.if_else(pc.and_(has_point, pc.fill_null(pc.match_substring(text, ","), False)), pa.scalar("?"), text)
    empty = pc.fill_null(pc.is_in(text, pa.array(NULLS)), True)
    good = pc.and_(pc.fill_null(pc.match_substring_regex(text, _POINT), False), pc.invert(empty))
    values = _as_array(pc.if_else(good, text, pa.scalar(None, pa.string())))
    bad = pc.invert(pc.or_(good, empty)).to_numpy(zero_copy_only=False).astype(bool)
    return Numbers(values, bad)


def find_decimal(cells: Sequence[str], *, delimiter: str, column: str) -> str:
    """Return the decimal mark of a column from a sample of its cells.

    A comma that always stands before exactly three digits could also group thousands. With a semicolon, tab or bar
    between fields and no other sign either way, that cannot be decided.

    Raises
    ------
    InputError
        If the sample leaves it open; names the option.
    """
    commas = [cell for cell in cells if "," in cell]
    if not commas:
        return "."
    both = [cell for cell in commas if "." in cell]
    if both:
        return "," if both[0].rfind(",") > both[0].rfind(".") else "."
    if any("." in cell for cell in cells) and all(_ONLY_THREES.fullmatch(cell) for cell in commas):
        return "."
    if any(not _ONLY_THREES.fullmatch(cell) for cell in commas):
        return "."  if all(re.fullmatch(_GROUPED_BY_COMMA, cell) for cell in commas) else ","
    raise InputError(
        f"column {column!r}: {commas[0]!r} could be a decimal comma or grouped thousands; say --decimal comma or --decimal point"
    )
