"""Tables as CSV that a spreadsheet opens without being told how, and runs nothing of (RFC 4180, UTF-8)."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from math import isfinite

Cell = str | float | bool | None

#: Spreadsheets take a file without this mark for one in the computer's old code page; pandas and most readers skip it.
BYTE_ORDER_MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"
# What a spreadsheet reads as the start of a formula: OWASP, "CSV Injection" (from memory), with full-width, small and
# typographic forms of the same signs.
_STARTS_FORMULA = "=+@\u2212\uff1d\uff0b\uff0d\uff20\ufe66\ufe62\ufe63\ufe6b\\-"
# What it may skip before that: blanks, controls, marks without width, quotation marks of all kinds.
_SKIPPED = (
    r"\s\x00-\x1f\x7f-\x9f\xad\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufeff"
    r"\"'`\xb4\xab\xbb\u2018-\u201f\u2039\u203a\uff02\uff07"
)
# A cell also starts after a semicolon, a tab or a line's end where the spreadsheet parts cells there and not at commas.
_FORMULA = re.compile(rf"(?:\A|(?<=[;\t\r\n]))(?=[{_SKIPPED}]*[{_STARTS_FORMULA}])|\A(?=[\t\r\n])")


def harmless(text: str) -> str:
    """Return a text with an apostrophe before whatever a spreadsheet would run as a formula.

    The apostrophe stands first in the cell, and after each semicolon, tab or line's end in the text at which a
    spreadsheet set to part cells there would begin another. Any other text is returned as it is. Source of the rule:
    OWASP, "CSV Injection" (from memory): a cell that starts with ``=``, ``+``, ``-``, ``@``, tab or CR is dangerous.
    """
    writable = text.encode("utf-8", "backslashreplace").decode("utf-8")  # a file's name need not be UTF-8
    return _FORMULA.sub("'", writable)


def csv_text(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Return a table as CSV; its first sign is a byte order mark.

    Numbers have a decimal point and all their digits, so that reading them back gives the very same ones; what is
    unknown, or not a finite number, is an empty cell; texts are `harmless`.
    """
    # RFC 4180 ends lines with CR LF, on every system.
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows([_written(cell) for cell in row] for row in rows)
    return BYTE_ORDER_MARK + out.getvalue()


def _written(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return harmless(cell)
    # Before numbers: to Python a bool is one.
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return repr(cell) if isfinite(cell) else ""
