"""Texts whose lines are no plain delimited rows: fields in one pair of quotes, bars around them, blanks between."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

#: How the lines are wrapped: each one quoted field; between bars, as in Markdown; two or more blanks, or any, between.
Shape = Literal["", "quoted", "bars", "wide blanks", "blanks", "blanks at quotes"]
#: Share of the first lines that must agree on a shape: preambles and torn lines do not.
_MOST = 0.9
_LINES = 200
_QUOTED = re.compile(rb'^[ \t]*"((?:[^"\n]|"")*)"[ \t,;]*$', re.MULTILINE)
_BARS = re.compile(rb"^[ \t]*\|(.*)\|[ \t]*$", re.MULTILINE)
_RULE = re.compile(rb"^[ \t]*[|+]?([ \t]*:?[-=]{2,}:?[ \t]*[|+])+([ \t]*:?[-=]{2,}:?)?[ \t]*$", re.MULTILINE)
_ENDS = re.compile(rb"^[ \t]+|[ \t]+$", re.MULTILINE)
_WIDE, _ANY = re.compile(rb"[ ]{2,}|[ ]*\t[ ]*"), re.compile(rb"[ \t]+")
_MARKS = re.compile(r"[,;|\t]")
_APART = re.compile(rb'(?<=[,;|])[ ]+(?=")|(?<=")[ ]+(?=[,;|])')


def find_shape(text: str) -> Shape:
    """Return how the lines of a text's beginning are wrapped; empty where they are plain rows."""
    data = [line for line in text.split("\n")[:_LINES] if line.strip()]
    joined = "\n".join(data).encode()
    least = _MOST * len(data)
    if not data:
        return ""
    whole = [match[1] for match in _QUOTED.finditer(joined) if _MARKS.search(match[1].decode())]
    if len(whole) >= least:
        return "quoted"
    if _RULE.search(joined) or len(_BARS.findall(joined)) >= least:
        return "bars"
    if len(_APART.findall(joined)) >= least:
        return "blanks at quotes"
    return "wide blanks" if _is_wide(data) else ""


def _is_wide(data: list[str]) -> bool:
    """Tell whether nothing but runs of blanks can part the columns: in the words of the header, too."""
    widths = [len(re.split(r" {2,}", line.strip())) for line in data]
    usual = max(set(widths), key=widths.count)
    heads = [line for line, width in zip(data, widths, strict=True) if width == usual and not re.search(r"\d", line)]
    return usual > 1 and widths.count(usual) >= _MOST * len(data) and any(not _MARKS.search(line) for line in heads)


def are_blanks_between(text: str) -> bool:
    """Tell whether most lines have as many words as each other, three at least: blanks may part their columns."""
    widths = [len(line.split()) for line in text.split("\n")[:_LINES] if re.search(r"\d", line)]
    usual = max(set(widths), key=widths.count, default=0)
    return usual >= 3 and widths.count(usual) >= max(_MOST * len(widths), 3)


def plain(text: bytes, shape: Shape) -> bytes:
    """Return whole lines as plain delimited rows, as many as they were; blanks become tabs."""
    if not shape:
        return text
    if shape == "quoted":
        return _QUOTED.sub(lambda match: match[1].replace(b'""', b'"'), text)
    if shape == "blanks at quotes":
        return _APART.sub(b"", text)
    if shape == "bars":
        return _BARS.sub(rb"\1", _RULE.sub(b"", text))
    return (_WIDE if shape == "wide blanks" else _ANY).sub(b"\t", _ENDS.sub(b"", text))


#: A quote that begins a cell, and one that ends it, at the end of a line or before what parts cells.
_OPENS, _CLOSES = re.compile(rb'(?:^|([,;|\t]))"(?=(?:[^"]|"")*$)'), re.compile(rb'^(?:[^"]|"")*"(?:$|([,;|\t]))')
#: A note is seldom longer; more lines are rows that a stray quote would swallow. Common practice, no source.
MOST_LINES = 20


def odd_lines(text: bytes) -> NDArray[np.int64]:
    """Return the lines with an odd number of quotes, counted from 0."""
    raw = np.frombuffer(text, np.uint8)
    quotes = np.cumsum(raw == ord('"'))[np.flatnonzero(raw == ord("\n"))]
    return np.flatnonzero(np.diff(quotes, prepend=0) % 2)


def open_lines(text: bytes, delimiter: str) -> list[int]:
    """Return the lines in which a quoted cell begins that does not end; within a cell a quote is a letter: inches."""
    odd = odd_lines(text).tolist()
    if not odd:
        return []
    lines, begins = text.split(b"\n"), re.compile(rb"(^|" + re.escape(delimiter.encode()) + rb')"')
    return [k for k in odd if begins.search(lines[k])]


def with_whole_cells(text: bytes) -> bytes:
    """Return lines with each quoted cell that goes over several of them on its first, the others empty.

    So every row keeps its line. Lines that could be rows themselves are no part of a cell: there a quote was left open.
    """
    odd = odd_lines(text).tolist()
    if len(odd) < 2:
        return text
    lines, usual = text.split(b"\n"), None
    for first, last in pairwise(odd):
        opens, closes = _OPENS.search(lines[first]), _CLOSES.search(lines[last])
        if opens is None or closes is None or last - first > MOST_LINES:
            continue
        mark = opens[1] or closes[1] or b","
        usual = usual or _usual_width(lines, mark)
        inside = [*lines[first + 1 : last], lines[last][: closes.end()]]
        whole = b" ".join(lines[first : last + 1])
        if _width(whole, mark) == usual and all(line.count(mark) + 1 < usual for line in inside):
            lines[first : last + 1] = [whole, *[b""] * (last - first)]
    return b"\n".join(lines)


def open_cell(text: bytes) -> int:
    """Return where a cell begins its line that may go on behind the last of whole lines; their end where none does."""
    begin = len(text)
    for _ in range(MOST_LINES + 1):
        begin = text.rfind(b"\n", 0, begin - 1) + 1
        line = text[begin : text.find(b"\n", begin)]
        if line.count(b'"') % 2:
            return begin if _OPENS.search(line) else len(text)
        if not begin:
            break
    return len(text)


def _width(line: bytes, mark: bytes) -> int:
    return re.sub(rb'"(?:[^"]|"")*"', b"", line).count(mark) + 1


def _usual_width(lines: list[bytes], mark: bytes) -> int:
    widths = [_width(line, mark) for line in lines[:_LINES] if line and not line.count(b'"') % 2]
    return max(set(widths), key=widths.count, default=0)
