"""Cells to numbers, counting what is none: decimal points and commas, grouped digits, units, missing readings."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ...log.arrow import FALSE, booleans, flat, floats, integers, strings
from ...quantities import Unit, UnknownUnitError, find_unit

#: Words that say that there is no reading, of programs and spreadsheets in English, German and French, from memory.
#: What a meter shows beyond its range (OL, inf, asterisks) is not among them: it speaks of a reading that is large.
_WORDS = (
    "nan", "-nan", "nan(ind)", "-nan(ind)", "1.#qnan", "-1.#qnan", "1.#ind", "-1.#ind", "n/a", "na", "n.a.", "null",
    "nil", "none", "missing", "unavailable", "unknown", "invalid", "no data", "nodata", "void", "error", "err", "#n/a",
    "#null!", "#value!", "#ref!", "#name?", "#num!", "#div/0!", "k.a.", "fehlt", "fehler", "#nv", "#wert!", "erreur",
    "nd", "n.d.", "s.o.",
)  # fmt: skip
_DASHES = ("-", "--", "---", "----", "-----", "-.-", "-.--", "--.-", "--.--", "---.-", "---.--", "--,-", "--,--")
_MINUSES = "−–—－‒―﹣‐‑"
#: Cells that say that there is no reading.
NULLS = [
    *("", "NaN", "None", *_DASHES, *_MINUSES, "——", "––"),
    *dict.fromkeys(form for word in _WORDS for form in (word, word.upper(), word.capitalize())),
]
NULLS = list(dict.fromkeys(NULLS))
_NULLS = strings(NULLS)
_NOTHING, _ODD, _EMPTY = strings([None, "?", ""])
_POINT = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
_BLANKS = "\u00a0\u202f '’"
GROUPED = {mark: rf"^[+-]?\d{{1,3}}([{mark}]\d{{3}})+([^\d{mark}]\d*)?$" for mark in (",", ".", _BLANKS)}
#: Commas that can only group: a point stands behind them, or there are several.
_SURELY_GROUPED = r"^[+-]?\d{1,3}((,\d{3})+\.\d*|(,\d{3}){2,})$"
_POINTS = bytes.maketrans(b",", b".")
_NUMBER_AND_UNIT = r"^(?P<number>.*?)\s*(?P<unit>[A-Za-z°µμ·/%]*)$"
#: A cell without a sign, or with a plain one in front, and none of what a sign may look like beside.
_TIDY = re.compile(rf"[+-]?[^-+＋{_MINUSES}'(\s]([^-+＋{_MINUSES}]*[^-+＋{_MINUSES}\s])?")
_IN_BRACKETS, _TRAILING_SIGN, _SIGN_APART = r"^\(\s*(.*?)\s*\)$", r"^([^+-].*?)\s*([+-])$", r"^([+-])\s+"
#: Of a column without a mark: a cell that could be a decimal, or group thousands.
_COULD_GROUP = r"^\W*[1-9]\d{0,2}\.\d{3}\D*$"


@dataclass(frozen=True)
class NumberForm:
    """How a column writes its numbers.

    ``grouped``: commas were seen to group thousands beside a decimal point. ``suffix`` is the unit that stands in the
    cells, such as ``A`` in ``12.5 A``; empty where there is none. ``ranges``: the cells carry several units of one
    kind, each its own. ``prefixes`` are letters that stand for that unit with a prefix, such as ``m`` in ``510m``.
    ``open``: no mark was seen, so that one seen later could be a decimal or group thousands.
    """

    decimal: str = "."
    grouped: bool = False
    suffix: str = ""
    ranges: bool = False
    prefixes: frozenset[str] = frozenset()
    open: bool = False


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


def _bytes_of(cells: pa.Array) -> bytes:
    """Return the text of cells in one go; where they are a part of an array, all of that."""
    text = cells.buffers()[2]
    return text.to_pybytes() if text is not None else b""


def _with_points(cells: pa.Array) -> pa.Array | None:
    """Return the cells with their commas turned into points, in one go over their bytes; None if one has a point."""
    valid, ends, _ = cells.buffers()
    raw = _bytes_of(cells)
    if b"." in raw:
        return None
    buffers = [valid, ends, pa.py_buffer(raw.translate(_POINTS))]
    return pa.Array.from_buffers(pa.string(), len(cells), buffers, offset=cells.offset)


def _carefully(cells: pa.Array, form: NumberForm) -> Numbers:
    """Convert cell by cell: signs, blanks, unit and grouped digits in all their forms; the rest is no number."""
    text = _sign_in_front(pc.replace_substring_regex(pc.utf8_trim_whitespace(cells), "^'", ""))
    filled = pc.and_not(pc.is_valid(text), pc.is_in(text, _NULLS))
    units = None
    if form.suffix:
        split = pc.extract_regex(text, _NUMBER_AND_UNIT)
        number, units = split.field("number"), split.field("unit")
        # A unit alone is a cell without a reading; a word that is no unit is an odd one.
        alone = pc.and_(pc.equal(number, _EMPTY), pc.equal(units, strings([form.suffix])[0]))
        filled, text = pc.and_not(filled, pc.fill_null(alone, FALSE)), _sign_in_front(number)
    text = _with_point(text, form)
    good = pc.and_(filled, pc.fill_null(pc.match_substring_regex(text, _POINT), FALSE))
    values = _as_array(pc.if_else(good, text, _NOTHING))
    if units is not None:
        values = _in_unit(values, units, form)
    bad = booleans(filled) & ~(booleans(good) & np.isfinite(values))
    return Numbers(np.where(bad, np.nan, values), bad)


def _sign_in_front(text: pa.Array) -> pa.Array:
    """Write each sign as + or - and before its number, wherever it stood; brackets are a minus, as in accounts."""
    text = pc.replace_substring_regex(text, f"[{_MINUSES}]", "-")
    text = pc.replace_substring(text, "＋", "+")
    text = pc.replace_substring_regex(text, _IN_BRACKETS, r"-\1")
    text = pc.replace_substring_regex(text, _TRAILING_SIGN, r"\2\1")
    return pc.replace_substring_regex(text, _SIGN_APART, r"\1")


def _with_point(text: pa.Array, form: NumberForm) -> pa.Array:
    """Undo grouped digits, and write a decimal comma as a point."""
    # Blanks and apostrophes group thousands beside either decimal mark (small spaces by ISO 80000-1, from memory).
    text = _ungrouped(text, _BLANKS)
    if form.decimal == ",":
        text = _ungrouped(text, ".")
        # a point that groups no thousands does not belong in a column of decimal commas
        text = pc.if_else(pc.match_substring(text, "."), _ODD, text)
        return pc.replace_substring(text, ",", ".")
    pattern = GROUPED[","] if form.grouped else _SURELY_GROUPED
    return pc.if_else(pc.match_substring_regex(text, pattern), pc.replace_substring(text, ",", ""), text)


def _ungrouped(text: pa.Array, mark: str) -> pa.Array:
    """Take the marks between groups of three digits out of the cells that have nothing else of the kind."""
    grouped = pc.match_substring_regex(text, GROUPED[mark])
    return pc.if_else(grouped, pc.replace_substring_regex(text, f"[{mark}]", ""), text)


def _in_unit(values: NDArray[np.float64], units: pa.Array, form: NumberForm) -> NDArray[np.float64]:
    """Return values in the form's unit, each by the unit of its own cell; NaN where that is another kind's or none."""
    kinds, inverse = kinds_of(units)
    for k, word in enumerate(kinds):
        mine = inverse == k
        if word == form.suffix or (not word and not form.ranges):
            continue
        unit = like_unit(word + form.suffix if word in form.prefixes else word, form.suffix)
        base = like_unit(form.suffix, form.suffix)
        if unit is None or base is None:
            values[mine] = np.nan
        else:
            values[mine] = unit.to_canonical(values[mine]) * base.divide / base.multiply
    return values


def kinds_of(cells: pa.Array) -> tuple[list[str], NDArray[np.int64]]:
    """Return the texts that occur in cells, '' where there is none, and which of them each cell holds."""
    coded = flat(pc.dictionary_encode(pc.fill_null(pc.utf8_trim_whitespace(cells), _EMPTY)))
    return coded.dictionary.to_pylist(), integers(pc.cast(coded.indices, pa.int64()), 0)


def like_unit(word: str, other: str) -> Unit | None:
    """Return the unit that a word names, if it is of another's kind; none that counts from elsewhere."""
    try:
        unit, like = find_unit(word), find_unit(other)
    except UnknownUnitError:
        return None
    return unit if unit.dimension == like.dimension and not (unit.add or like.add) else None


def first_doubtful(cells: pa.Array, form: NumberForm) -> int | None:
    """Return the first cell of a column without a mark so far that could be a decimal or group thousands, or None.

    A point that can only be a decimal settles it for all of them.
    """
    raw = _bytes_of(cells) if form.open else b""
    if b"," not in raw and b"." not in raw:
        return None
    commas, points = _matches(cells, ","), _matches(cells, r"\.") & ~_matches(cells, ",")
    could_group = _matches(cells, _COULD_GROUP)
    settled = bool((points & ~could_group).any())
    doubtful = np.flatnonzero(commas if settled else commas | could_group)
    return int(doubtful[0]) if len(doubtful) else None


def says_point(cells: pa.Array) -> bool:
    """Tell whether a cell holds a point that can only be a decimal."""
    return b"." in _bytes_of(cells) and bool((_matches(cells, r"\.") & ~_matches(cells, _COULD_GROUP)).any())


def _matches(cells: pa.Array, pattern: str) -> NDArray[np.bool_]:
    return booleans(pc.match_substring_regex(cells, pattern))


def tidied(cell: str) -> str:
    """Return a cell with its sign, of whatever form, as + or - before it."""
    if _TIDY.fullmatch(cell):  # most are so already
        return cell
    text = re.sub(f"[{_MINUSES}]", "-", cell.strip().removeprefix("'")).replace("＋", "+")
    for pattern, plain in ((_IN_BRACKETS, r"-\1"), (_TRAILING_SIGN, r"\2\1"), (_SIGN_APART, r"\1")):
        text = re.sub(pattern, plain, text)
    return text


#: What a meter shows above its range, from memory; a count of asterisks where the digits have no room.
_OVER_RANGE = re.compile(
    r"[+-]?(o\.?l\.?|0l|of|ovl|ovld|over|overload|over[ -]?range|overflow|oflow|inf(inity)?|1\.#inf|max)"
    r"|\*+|>=? ?[\d.,]+",
    re.IGNORECASE,
)
#: Beside amounts so many times the usual one a start is told from a rest. Common practice, no source. [1]
_HIGH = 3.0


def over_range(cell: str, at: int, x: NDArray[np.float64]) -> str | None:
    """Return why a cell is no reading where it says that there was more than the meter shows; None where it does not.

    `x` are the readings of its column around it, NaN where there is none, `at` its place.
    """
    if _OVER_RANGE.fullmatch(cell.strip()) is None:
        return None
    sizes = np.abs(x[~np.isnan(x)])
    beside = np.abs(x[max(at - 2, 0) : at + 3])
    usual = np.sort(sizes)[len(sizes) // 2] if len(sizes) else 0.0
    high = ", beside its highest readings" if bool((beside >= _HIGH * usual).any()) else ""
    return f"{cell!r} is above the meter's range{high}"
