"""A sheet's typed cells as text in one form: ISO dates, numbers in full, one row a line."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from itertools import islice
from typing import Any

Cell = int | float | str | bool | time | date | datetime | timedelta
#: Corners of merged cells, first and last, as (row, column) from 0.
Merged = Sequence[tuple[tuple[int, int], tuple[int, int]]]
#: A header of several rows ends within so many (common practice, no source).
HEAD_ROWS = 40
#: Between the name of a group and that of a column in it.
_GROUP = " / "
_BREAKS = re.compile(r"[\t\r\n\v\f\x00]+")


def lines(rows: Iterable[Sequence[Cell]], merged: Merged, left: int) -> Iterator[str]:
    """Yield a sheet's rows as tab-separated lines, so that line and row have one number.

    `left` is the number of empty columns before the first of `rows`, which hold no cells of them.
    """
    waiting = iter(rows)
    head = list(islice(waiting, HEAD_ROWS))
    texts = [[_text(cell) for cell in row] for row in head]
    words = [all(isinstance(cell, str) for cell in row) for row in head]
    _spread_heads(texts, words, [((r, c - left), (s, d - left)) for (r, c), (s, d) in merged])
    yield from map(_line, texts)
    for row in waiting:
        yield _line([_text(cell) for cell in row])


def _line(cells: Sequence[str]) -> str:
    # A row that holds nothing is an empty line: it is no damaged reading.
    return "\t".join(cells) if any(cells) else ""


def _text(cell: Cell) -> str:
    return _AS_TEXT[type(cell)](cell)


def _of_float(x: float) -> str:
    if x.is_integer() and abs(x) < 1e15:
        return str(int(x))
    text = repr(x)
    # Three decimals could be taken for grouped thousands; in a typed cell the point is the decimal mark.
    return text + "0" if text[-4:-3] == "." else text


def _of_datetime(stamp: datetime) -> str:
    return stamp.isoformat(" ")


def _of_timedelta(length: timedelta) -> str:
    sign, length = ("-", -length) if length < timedelta(0) else ("", length)
    seconds, us = length.days * 86_400 + length.seconds, length.microseconds
    fraction = f".{us:06d}" if us else ""
    return f"{sign}{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}{fraction}"


def _of_str(text: str) -> str:
    text = _BREAKS.sub(" ", text).strip()
    return '"' + text.replace('"', '""') + '"' if '"' in text else text


_AS_TEXT: dict[type, Callable[[Any], str]] = {
    float: _of_float,
    int: str,
    bool: str,
    str: _of_str,
    datetime: _of_datetime,
    date: date.isoformat,
    time: time.isoformat,
    timedelta: _of_timedelta,
}


def _spread_heads(head: list[list[str]], words: Sequence[bool], merged: Merged) -> None:
    """Let each column of a header of merged cells have its words in the header's last row.

    `words` are the rows that hold nothing but words: others are readings, and stay as they are.
    """
    for (top, left), (bottom, right) in merged:
        if not 0 <= top <= bottom < len(head) or not 0 <= left <= right < len(head[top]) or not words[top]:
            continue
        text = head[top][left]
        if bottom > top and words[bottom]:
            # One name for several rows: the last of them stands nearest to the readings.
            head[top][left], head[bottom][left] = "", text
        elif bottom == top and right > left and top + 1 < len(head) and words[top + 1]:
            _name_group(head[top + 1], range(left, right + 1), text)


def _name_group(names: list[str], columns: range, group: str) -> None:
    """Put the words above a group of columns before their names where these alone do not tell the groups apart."""
    bare = [name.rpartition(_GROUP)[2] for name in names]
    for k in columns:
        if bare[k] and bare.count(bare[k]) > 1:
            names[k] = f"{group}{_GROUP}{bare[k]}"
