"""From a file that holds tables to the one that is read: a workbook's sheet, or an archive's text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ...errors import InputError

if TYPE_CHECKING:
    from ..delimited.stated import Stated
    from ..texts.decode import Source


def table_of(source: Source, stated: Stated, most_lines: int | None = None) -> Source:
    """Return the text of the table in a workbook or zip archive.

    Raises
    ------
    InputError
        If it is neither, it is too large or damaged, or which table is meant is not clear.
    """
    from .sheets import sheet_in

    with source.raw() as raw:
        is_zip = raw.read(2) == b"PK"
    if not is_zip:
        from .old_book import refuse_too_wide

        with source.raw() as raw:
            refuse_too_wide(raw, source.name)
        return sheet_in(source, stated, most_lines)
    from .archive import is_workbook, opened, table_in
    from .extent import refuse_too_large

    with opened(source) as archive:
        if "xl/workbook.bin" in archive.namelist():
            raise InputError(f"{source.name}: is a binary workbook (.xlsb); save it as .xlsx")
        if is_workbook(archive):
            refuse_too_large(archive, source.name)
            return sheet_in(source, stated, most_lines)
        if stated.sheet is not None:
            raise InputError(f"{source.name}: is no spreadsheet, so there is no sheet to choose; leave --sheet out")
        return table_in(source, archive, stated)
