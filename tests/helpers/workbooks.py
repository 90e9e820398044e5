"""Small workbooks and archives for tests, as bytes."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from collections.abc import Iterable, Mapping, Sequence

import openpyxl
import xlwt
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

HEADER = ("Time", "Current (A)", "Voltage (V)")
START = dt.datetime(2026, 6, 13, 23, 59, 30)


def readings(count: int = 60, step_s: float = 1.0) -> list[tuple[object, ...]]:
    """Return rows of a time over midnight, amps and volts."""
    return [(START + dt.timedelta(seconds=step_s * k), 1.25 + k % 7, 25.125 - k % 3 / 8) for k in range(count)]


def xlsx(sheets: Mapping[str, Iterable[Sequence[object]]], hidden: Sequence[str] = ()) -> bytes:
    """Return a workbook of these sheets."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
        sheet.sheet_state = "hidden" if name in hidden else "visible"
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    """Return a workbook's bytes."""
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def xls(rows: Iterable[Sequence[object]], name: str = "Log") -> bytes:
    """Return an old workbook of one sheet."""
    book = xlwt.Workbook()
    sheet = book.add_sheet(name)
    stamp = xlwt.easyxf(num_format_str="yyyy-mm-dd hh:mm:ss")
    for r, row in enumerate(rows):
        for c, cell in enumerate(row):
            sheet.write(r, c, cell, *([stamp] if isinstance(cell, dt.datetime) else []))
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def ods(rows: Iterable[Sequence[object]], name: str = "Log") -> bytes:
    """Return an open document of one sheet."""
    document = OpenDocumentSpreadsheet()
    table = Table(name=name)
    for row in rows:
        line = TableRow()
        for cell in row:
            line.addElement(_ods_cell(cell))
        table.addElement(line)
    document.spreadsheet.addElement(table)
    file = io.BytesIO()
    document.write(file)
    return file.getvalue()


def _ods_cell(cell: object) -> TableCell:
    if isinstance(cell, dt.datetime):
        return TableCell(valuetype="date", datevalue=cell.isoformat())
    if isinstance(cell, int | float):
        return TableCell(valuetype="float", value=cell)
    made = TableCell(valuetype="string")
    made.addElement(P(text=str(cell)))
    return made


def zipped(members: Mapping[str, bytes | str], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Return an archive of these members."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return file.getvalue()


def with_part(workbook: bytes, part: str, content: bytes) -> bytes:
    """Return a workbook with one of its parts exchanged."""
    with zipfile.ZipFile(io.BytesIO(workbook)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    assert part in parts
    return zipped({**parts, part: content})
