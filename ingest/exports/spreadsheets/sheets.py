"""A sheet of a workbook as an export of delimited text."""

from __future__ import annotations

import tempfile
import weakref
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, BinaryIO

from ...errors import InputError, quoted
from ...hushed import hushed
from ..texts.decode import BLOCK_BYTES, Source
from .cells import lines
from .only_table import quoted_all, tables_among

if TYPE_CHECKING:
    from python_calamine import CalamineSheet, CalamineWorkbook

    from ..delimited.stated import Stated

_LINES_AT_ONCE = 10_000


@dataclass
class SheetSource(Source):
    """A sheet's rows as tab-separated text, in a temporary file that nothing else sees."""

    text: BinaryIO = field(default_factory=tempfile.TemporaryFile)

    def __post_init__(self) -> None:
        """See to it that the text goes when nobody reads it any more."""
        super().__post_init__()
        weakref.finalize(self, self.text.close)

    def chunks(self) -> Iterator[bytes]:
        """Yield the sheet's text."""
        at = 0
        while True:
            self.text.seek(at)  # others may have read on in the meantime
            chunk = self.text.read(BLOCK_BYTES)
            if not chunk:
                return
            at += len(chunk)
            yield chunk


def sheet_in(source: Source, stated: Stated, most_lines: int | None = None) -> Source:
    """Return the sheet that is named, or the only one that holds readings; of each `most_lines` at most.

    Raises
    ------
    InputError
        If there is none, there are several and none is named, or the workbook cannot be read.
    """
    from python_calamine import SheetTypeEnum, SheetVisibleEnum

    wanted = stated.filled().sheet
    with _workbook(source) as book:
        names = [sheet.name for sheet in book.sheets_metadata if sheet.typ == SheetTypeEnum.WorkSheet]
        hidden = [sheet.name for sheet in book.sheets_metadata if sheet.visible != SheetVisibleEnum.Visible]
        if wanted is not None:
            chosen = _named(wanted, names, source.name)
            text = _as_text(source, book.get_sheet_by_name(chosen), most_lines)
            text.remarks = (f"read from sheet {quoted(chosen)}",)
            return text
        sheets = {
            name: _as_text(source, book.get_sheet_by_name(name), most_lines) for name in names if name not in hidden
        }
    filled = {name: sheet for name, sheet in sheets.items() if sheet.head()}
    tables = list(filled) if len(filled) == 1 else tables_among(filled, stated)
    if len(tables) == 1:
        others = [name for name in names if name != tables[0]]
        more = f"; not read: {quoted_all(others)}" if others else ""
        filled[tables[0]].remarks = (f"read from sheet {quoted(tables[0])}{more}",)
        return filled[tables[0]]
    if tables:
        from ..questions.columns import which_sheet

        raise which_sheet(
            f"{source.name}: sheets {quoted_all(tables)} all hold readings",
            tables,
            written=f"; say which one is meant, such as --sheet {_as_word(tables[0])}",
        )
    raise InputError(f"{source.name}: none of its sheets ({quoted_all(names)}) holds rows of a time and numbers")


def _as_word(name: str) -> str:
    return name if name.isalnum() else f'"{name}"'


def _named(wanted: str, names: list[str], name: str) -> str:
    """Return the sheet of that name, else of that name in other letters, else of that place from 1."""
    for alike in ([n for n in names if n == wanted], [n for n in names if n.lower() == wanted.lower()]):
        if len(alike) == 1:
            return alike[0]
    if wanted.isdecimal() and 1 <= int(wanted) <= len(names):
        return names[int(wanted) - 1]
    raise InputError(f"{name}: has no sheet {quoted(wanted)}; it has {quoted_all(names)}")


@contextmanager
def _workbook(source: Source) -> Iterator[CalamineWorkbook]:
    # Imported here alone: no other export needs it.
    from python_calamine import CalamineError, CalamineWorkbook, PasswordError

    try:
        with hushed(), CalamineWorkbook.from_object(source.path or source.raw()) as book:
            yield book
    except PasswordError:
        raise InputError(f"{source.name}: is locked with a password; save it without one") from None
    except (CalamineError, OSError, ValueError, OverflowError) as error:
        raise InputError(f"{source.name}: cannot be read as a spreadsheet ({error}); save it anew, or as CSV") from None
    except InputError:
        raise
    except BaseException as error:
        # What the library did not foresee in a damaged file it raises beside all exceptions.
        if type(error).__name__ != "PanicException":
            raise
        raise InputError(f"{source.name}: is damaged and cannot be read as a spreadsheet; save it anew") from None


def _as_text(source: Source, sheet: CalamineSheet, most_lines: int | None) -> SheetSource:
    text = SheetSource(source.name, source.path, source.copy, whole=source)
    left = sheet.start[1] if sheet.start else 0
    text.delimiter = "\t" if sheet.width > 1 else None
    waiting: list[str] = []
    for line in islice(lines(sheet.iter_rows(), sheet.merged_cell_ranges or [], left), most_lines):
        waiting.append(line)
        if len(waiting) == _LINES_AT_ONCE:
            _write(text.text, waiting)
    _write(text.text, waiting)
    return text


def _write(file: BinaryIO, waiting: list[str]) -> None:
    if waiting:
        # A lone half of a character is no text in UTF-8.
        file.write(("\n".join(waiting) + "\n").encode("utf-8", errors="replace"))
        waiting.clear()
