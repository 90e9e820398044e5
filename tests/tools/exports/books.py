"""Styles of spreadsheets that other programs write, and of texts whose bytes or cells are unusual."""

from __future__ import annotations

import io

import openpyxl
import pyarrow as pa
import xlwt
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow

from .readings import Readings, Rng, readings
from .sheet import Column, Export, Sheet, amps, export, iso, plain, point, style, volts

HEAD = ("Time", "Current (A)", "Voltage (V)")


def _packed(log: Readings, content: bytes, suffix: str) -> Export:
    return Export(content, log.truth, ("--zone", log.zone), suffix=suffix)


@style
def workbook_with_a_hidden_column(rng: Rng) -> Export:
    """Dates that are dates, and the array's amps out of sight."""
    log = readings(rng)
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append([*HEAD, "PV current (A)"])
    for t, x, u in zip(log.local, log.amps, log.volts, strict=True):
        sheet.append([t.replace(tzinfo=None), float(x), float(u), float(abs(x) / 2)])
    sheet.column_dimensions["D"].hidden = True
    book.create_sheet("Notes").append(["made by a box of our own"])
    book.save(packed := io.BytesIO())
    return _packed(log, packed.getvalue(), ".xlsx")


@style
def workbook_old(rng: Rng) -> Export:
    """The binary form of old spreadsheets."""
    log = readings(rng)
    book = xlwt.Workbook()
    sheet, dated = book.add_sheet("Log"), xlwt.easyxf(num_format_str="yyyy-mm-dd hh:mm:ss")
    for column, name in enumerate(HEAD):
        sheet.write(0, column, name)
    for k, (t, x, u) in enumerate(zip(log.local, log.amps, log.volts, strict=True), 1):
        sheet.write(k, 0, t.replace(tzinfo=None), dated)
        sheet.write(k, 1, float(x))
        sheet.write(k, 2, float(u))
    book.save(packed := io.BytesIO())
    return _packed(log, packed.getvalue(), ".xls")


@style
def workbook_open(rng: Rng) -> Export:
    """The open document's form."""
    log = readings(rng)
    book, table = OpenDocumentSpreadsheet(), Table(name="Log")
    table.addElement(head := TableRow())
    for name in HEAD:
        head.addElement(TableCell(valuetype="string", stringvalue=name))
    for t, x, u in zip(log.local, log.amps, log.volts, strict=True):
        table.addElement(row := TableRow())
        row.addElement(TableCell(valuetype="date", datevalue=f"{t:%Y-%m-%dT%H:%M:%S}"))
        row.addElement(TableCell(valuetype="float", value=f"{x:.2f}"))
        row.addElement(TableCell(valuetype="float", value=f"{u:.2f}"))
    book.spreadsheet.addElement(table)
    book.write(packed := io.BytesIO())
    return _packed(log, packed.getvalue(), ".ods")


@style
def packed_zstd(rng: Rng) -> Export:
    """Zstandard."""
    log = readings(rng)
    return _packed(log, pa.compress(plain(log).content(), codec="zstd", asbytes=True), ".csv.zst")


@style
def encoding_shift_jis(rng: Rng) -> Export:
    """Two bytes a letter, some of which are marks of others."""
    log = readings(rng)
    columns: list[Column] = [
        ("日時", iso(log)), amps(log, "電流(A)"), volts(log, "電圧(V)"), ("表示", ["ソ表能"] * len(log)),
    ]  # fmt: skip
    return export(log, Sheet(columns, encoding="cp932"))


@style
def heads_over_lines(rng: Rng) -> Export:
    """The unit stands below the name, in the same cell."""
    log = readings(rng)
    return export(log, Sheet([("Time", iso(log)), amps(log, "Current\n(A)"), volts(log, "Voltage\n(V)")]))


@style
def quoted_behind_blanks(rng: Rng) -> Export:
    """Every cell quoted, with a blank behind each comma."""
    log = readings(rng)
    rows = [", ".join(f'"{cell}"' for cell in row) for row in plain(log).rows]
    return Export("\n".join([", ".join(HEAD), *rows, ""]).encode(), log.truth, ("--zone", log.zone))


@style
def marks_where_files_were_joined(rng: Rng) -> Export:
    """The mark of UTF-8 before a row in mid-file."""
    log = readings(rng)
    lines = plain(log).lines()
    lines[len(lines) // 2] = "\ufeff" + lines[len(lines) // 2]
    return Export("\n".join([*lines, ""]).encode(), log.truth, ("--zone", log.zone))


@style
def columns_of_signs(rng: Rng) -> Export:
    """What goes in and what comes out under a sign each."""
    log = readings(rng)
    both: list[Column] = [("+A", [point(max(-x, 0)) for x in log.amps]), ("-A", [point(max(x, 0)) for x in log.amps])]
    tables = '[quantities.current_A]\ncolumn = "-A"\nminus = "+A"\nunit = "A"\n'
    return export(log, Sheet([("Time", iso(log)), *both, volts(log)]), want="either", answers={"minus": tables})


@style
def counters_beside_unsigned(rng: Rng) -> Export:
    """Amps without a sign; what was charged and what was drawn is counted beside them."""
    log = readings(rng)
    step_h = (log.t_s[1] - log.t_s[0]) / 3600
    counts = [(max(-x, 0.0) * step_h, max(x, 0.0) * step_h) for x in log.amps]
    charged = [sum(c for c, _ in counts[: k + 1]) for k in range(len(counts))]
    drawn = [sum(d for _, d in counts[: k + 1]) for k in range(len(counts))]
    columns: list[Column] = [
        ("Time", iso(log)), ("Current (A)", [point(abs(x)) for x in log.amps]), volts(log),
        ("Charged (Ah)", [point(x, 4) for x in charged]), ("Discharged (Ah)", [point(x, 4) for x in drawn]),
    ]  # fmt: skip
    return export(log, Sheet(columns), want="either")
