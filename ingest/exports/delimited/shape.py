"""Texts whose lines are no plain delimited rows: fields in one pair of quotes, bars around them, blanks between."""

from __future__ import annotations

import re
from typing import Literal

#: How the lines are wrapped: each one quoted field; between bars, as in Markdown; two or more blanks, or any, between.
Shape = Literal["", "quoted", "bars", "wide blanks", "blanks"]
#: Share of the first lines that must agree on a shape: preambles and torn lines do not.
_MOST = 0.9
_LINES = 200
_QUOTED = re.compile(rb'^[ \t]*"((?:[^"\n]|"")*)"[ \t,;]*$', re.MULTILINE)
_BARS = re.compile(rb"^[ \t]*\|(.*)\|[ \t]*$", re.MULTILINE)
_RULE = re.compile(rb"^[ \t]*[|+]?([ \t]*:?[-=]{2,}:?[ \t]*[|+])+([ \t]*:?[-=]{2,}:?)?[ \t]*$", re.MULTILINE)
_ENDS = re.compile(rb"^[ \t]+|[ \t]+$", re.MULTILINE)
_WIDE, _ANY = re.compile(rb"[ ]{2,}|[ ]*\t[ ]*"), re.compile(rb"[ \t]+")
_MARKS = re.compile(r"[,;|\t]")


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
    if shape == "bars":
        return _BARS.sub(rb"\1", _RULE.sub(b"", text))
    return (_WIDE if shape == "wide blanks" else _ANY).sub(b"\t", _ENDS.sub(b"", text))
