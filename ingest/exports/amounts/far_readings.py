"""Readings far from all others: numbers that stand for none, and single ones that damage has blown up.

Loaded where something looks like it.
"""

from __future__ import annotations

import re
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ...errors import quoted
from ...log.arrow import booleans, valid

#: A code is so many times any other reading; nines must be written at least so often, or be so large, since a start can
#: be one by chance; none reaches so far below zero. Common practice, no source, as all below. [1]
_TIMES_BITS, _TIMES_NINES, _LEAST_NINES, _SURE_NINES, _SURE_BELOW = 2.0, 4.0, 2, 9999.0, 999.0
#: Beside readings of the other sign that are as large, it must stand so often by itself.
_LEAST_RUNS, _LONGEST_RUN = 3, 3.0
#: Damage blows up so many rows, or this share.
_SINGLE, _SHARE = 4, 0.005
#: Written unlike the others, a reading is damage if it is so many times any other one, and else if it is so many times
#: any other and more than this: a start draws 8 times what the running motor does, and may be the only one. [1]
_TIMES_ODD, _TIMES = 3.0, 10.0
_MOST: Final = {"current_A": 2000.0, "voltage_V": 0.0, "power_W": 100_000.0}
_EXPONENT, _USUAL_EXPONENT = r"\d[eE]\+?\d", r"^\s*[+-]?[1-9]([.,]\d*)?[eE]"
#: So many of the other cells are looked at for how they are written, and so many of them must differ.
_LOOKED_AT, _DIFFERENT = 200, 30


def stands_for_none(code: float, at: NDArray[np.bool_], largest: tuple[float, float], *, bits: bool) -> bool:
    """Tell whether a number stands for no reading, by the rows `at` which it stands, shape (n,).

    ``largest`` is the size of the largest other reading above and below zero; `bits` tells that it is an end of the
    whole numbers of so many bits.
    """
    size, rows = abs(code), int(at.sum())
    no_chance = bits or size >= _SURE_NINES or code <= -_SURE_BELOW or rows >= _LEAST_NINES
    if no_chance and size > (_TIMES_BITS if bits else _TIMES_NINES) * max(largest):
        return True
    runs = int((np.diff(at.astype(np.int8), prepend=np.int8(0)) > 0).sum())
    alone = runs >= _LEAST_RUNS and rows <= _LONGEST_RUN * runs
    return alone and size > _TIMES_NINES * largest[0 if code > 0 else 1]


def with_exponents(size: NDArray[np.float64], cells: pa.Array, largest: float) -> dict[int, str]:
    """Return rows, by their index, whose cells hold an exponent as hardly another does, and what is wrong with them.

    ``size`` are the readings without their sign, ``cells`` what was written, shape (n,); ``largest`` is the largest of
    those before.
    """
    at = np.flatnonzero(booleans(pc.match_substring_regex(cells, _EXPONENT)))
    if not 0 < len(at) <= max(_SINGLE, _SHARE * len(cells)):
        return {}
    texts = {int(k): cells[int(k)].as_py() for k in at}
    usual = np.array([re.match(_USUAL_EXPONENT, text) is not None for text in texts.values()])
    plain = size.copy()
    plain[at] = np.nan
    largest = float(np.fmax.reduce(plain, initial=largest))
    # A program that writes only its largest numbers so has no plain one above them.
    odd = (~usual | (size[at] < largest) | (size[at] > _TIMES_ODD * largest)) & ~np.isnan(size[at])
    return {k: f"found {quoted(texts[k])}, written with an exponent as no other there" for k in at[odd].tolist()}


def without_mark(cells: pa.Array, mark: str) -> dict[int, str]:
    """Return rows, by their index, whose cells have lost their decimal mark, and what is wrong with them.

    That is so where all others have as many decimals, noughts among them.
    """
    lacks_mark = booleans(pc.invert(pc.match_substring(cells, mark)))
    marked = np.flatnonzero(valid(cells) & ~lacks_mark)
    texts, decimals = [], set[int]()
    for k in marked[:: max(len(marked) // _LOOKED_AT, 1)].tolist():
        texts.append(cells[k].as_py())
        decimals.add(_decimals(texts[-1]))
        # A program that leaves out noughts writes whole numbers without a mark: two cells mostly tell.
        if len(decimals) > 1:
            return {}
    places = min(decimals, default=0)
    if not places or not any(text.endswith("0") for text in texts):
        return {}
    bare = {int(k): cells[int(k)].as_py() for k in np.flatnonzero(lacks_mark)}
    return {
        k: f"found {quoted(cell)}, without the decimals that all others have"
        for k, cell in bare.items()
        if len(digits := cell.strip().lstrip("+-")) > places and digits.isdigit()
    }


def far_beyond(size: NDArray[np.float64], cells: pa.Array, quantity: str, largest: float) -> dict[int, str]:
    """Return single rows, by their index, that are far beyond all others, and what is wrong with them.

    ``size`` are the readings in the canonical unit without their sign, ``cells`` what was written, shape (n,);
    ``largest`` is the largest of those before.
    """
    at = np.flatnonzero(size > np.fmax.reduce(size, initial=0.0) / _TIMES_ODD)
    rest = size.copy()
    rest[at] = np.nan
    largest = float(np.fmax.reduce(rest, initial=largest))
    beyond = at[size[at] > _TIMES_ODD * largest]
    if len(at) > _SINGLE or not largest or not len(beyond):
        return {}
    others = np.flatnonzero(~np.isnan(rest))
    usual = {cells[int(k)].as_py() for k in others[:: max(len(others) // _LOOKED_AT, 1)]}
    bad = {}
    for k in beyond.tolist():
        cell, times = cells[k].as_py(), size[k] / largest
        if _has_lost_its_mark(cell, usual, times):
            bad[k] = f"found {quoted(cell)}, {times:.3g} times any other and without the decimals that all others have"
        elif times > _TIMES and size[k] > _MOST[quantity]:
            bad[k] = f"found {quoted(cell)}, {times:.3g} times any other, in this row alone"
    return bad


def _has_lost_its_mark(cell: str, usual: set[str], times: float) -> bool:
    """Tell whether a cell holds no mark, where many different ones have a mark and decimals, and fits with one."""
    decimals = {_decimals(other) for other in usual}
    alike = len(usual) >= _DIFFERENT and len(decimals) == 1
    return (
        alike
        and _decimals(cell) == 0 < min(decimals)
        and cell.strip().lstrip("+-").isdigit()
        and times <= 10.0 ** min(decimals)
    )


def _decimals(cell: str) -> int:
    """Return how many digits stand behind a cell's last mark."""
    digits = "".join(c for c in cell if c.isdigit() or c in ".,")
    mark = max(digits.rfind("."), digits.rfind(","))
    return len(digits) - mark - 1 if mark >= 0 else 0
