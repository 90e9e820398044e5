"""The rows of a block of lines: parsed together, and each found again by its line where it is rejected."""

from __future__ import annotations

import pyarrow as pa
import pyarrow.csv as pcsv

from ...safe_files.rejects import Reject
from ..amounts.numbers import NULLS


def shown(line: bytes) -> str:
    """Return a line as it goes to the rejects."""
    return line.decode("utf-8", errors="replace").rstrip("\n")[:2000]


class BlockRows:
    """The rows of a block: parsed together, and found again one by one when a row is rejected."""

    def __init__(self, text: bytes, first_line: int, *, name: str, delimiter: str) -> None:
        self._text = text
        self.first_line = first_line
        self._name, self._delimiter = name, delimiter
        self._removed: dict[int, str] = {}  # line index -> reason: never shown to the parser
        self._misfits: dict[int, str] = {}  # row number of the parser -> reason
        self._rejected: dict[int, str] = {}  # index among the parsed rows -> reason

    def parse(self, names: list[str], needed: list[int]) -> pa.Table | None:
        """Return the needed columns of the rows that fit; None where nothing is left to parse."""
        text = self._without_open_quotes() if b'"' in self._text else self._text
        return self._parse(text, names, needed) if text.strip() else None

    def _parse(self, text: bytes, names: list[str], needed: list[int]) -> pa.Table:
        def misfit(row: pcsv.InvalidRow) -> str:
            if row.text.strip():
                self._misfits[row.number - 1] = f"has {row.actual_columns} fields, expected {row.expected_columns}"
            else:
                self._misfits[row.number - 1] = ""
            return "skip"

        include = [names[k] for k in needed]
        return pcsv.read_csv(
            pa.BufferReader(text),
            read_options=pcsv.ReadOptions(column_names=names, use_threads=False, block_size=len(text) + 1),
            parse_options=pcsv.ParseOptions(
                delimiter=self._delimiter,
                quote_char='"' if b'"' in text else False,  # most exports have none, and need not be searched for it
                invalid_row_handler=misfit,
            ),
            convert_options=pcsv.ConvertOptions(
                column_types=dict.fromkeys(include, pa.string()),
                include_columns=include,
                strings_can_be_null=True,
                quoted_strings_can_be_null=True,
                null_values=NULLS,
                check_utf8=False,  # a block is UTF-8
            ),
        )

    def _without_open_quotes(self) -> bytes:
        """Take out lines with an odd number of quotes: a quote left open would swallow the rows after it."""
        from .shape import open_lines  # most exports have no quotes

        left_open = open_lines(self._text, self._delimiter)
        if not left_open:
            return self._text
        self._removed |= dict.fromkeys(left_open, "a double quote is left open")
        return b"\n".join(line for k, line in enumerate(self._text.split(b"\n")) if k not in self._removed)

    def reject_parsed(self, index: int, reason: str) -> None:
        """Reject a row by its index among the parsed ones."""
        self._rejected[index] = reason

    def line_of(self, index: int) -> int:
        """Return the line of a row by its index among the parsed ones."""
        return self.first_line + self._parsed(self._filled(self._text.split(b"\n")))[index]

    def _filled(self, lines: list[bytes]) -> list[int]:
        # Arrow numbers the rows it was given: lines taken out beforehand and empty ones have no number.
        return [k for k, line in enumerate(lines) if line and k not in self._removed]

    def _parsed(self, filled: list[int]) -> list[int]:
        return [k for number, k in enumerate(filled) if number not in self._misfits]

    def rejects(self) -> list[Reject]:
        """Return all rejected rows with their line and text."""
        if not (self._removed or self._misfits or self._rejected):
            return []
        lines = self._text.split(b"\n")
        filled = self._filled(lines)
        parsed = self._parsed(filled)
        reasons = dict(self._removed)
        reasons |= {filled[number]: why for number, why in self._misfits.items() if why}
        reasons |= {parsed[index]: why for index, why in self._rejected.items()}
        name, first = self._name, self.first_line
        return [Reject(name, first + k, why, shown(lines[k])) for k, why in reasons.items()]
