"""Styles of tables: what is before and behind them, delimiters, ends of lines, encodings, packings, other columns."""

from __future__ import annotations

import bz2
import gzip
import io
import re
import zipfile
from collections.abc import Callable
from datetime import UTC

import numpy as np

from .readings import Readings, Rng, readings
from .sheet import Column, Export, Sheet, Want, amps, clock, comma, export, iso, named, pick, plain, point, style, volts

#: How the plainest table is written down.
HOW: dict[str, tuple[dict[str, object], Want]] = {
    "delimiter_tab": ({"delimiter": "\t"}, "right"),
    "delimiter_bar": ({"delimiter": "|"}, "right"),
    "delimiter_semicolon_with_points": ({"delimiter": ";"}, "right"),
    "delimiter_and_blank": ({"delimiter": ", "}, "right"),
    "delimiter_caret": ({"delimiter": "^"}, "either"),
    "delimiter_blank_quoted": ({"delimiter": " ", "quoted": "where needed"}, "either"),
    "quoted_all": ({"quoted": "all"}, "right"),
    "ends_windows": ({"eol": "\r\n"}, "right"),
    "ends_old": ({"eol": "\r"}, "right"),
    "ends_double": ({"eol": "\r\r\n"}, "right"),
    "encoding_bom": ({"encoding": "utf-8-sig"}, "right"),
    "encoding_utf16": ({"encoding": "utf-16", "delimiter": "\t"}, "right"),
    "encoding_utf16_be_bare": ({"encoding": "utf-16-be"}, "right"),
    "encoding_utf16_le_bare": ({"encoding": "utf-16-le", "eol": "\r\n"}, "right"),
    "encoding_utf32": ({"encoding": "utf-32"}, "either"),
    "separator_line": ({"before": ["sep=;"], "delimiter": ";"}, "right"),
    "preamble_pairs": ({"before": ["Logger,Brook 7", "Serial,004711", "Interval,10,s", ""]}, "right"),
    "preamble_prose": ({"before": ["Readings of the north shed", "made by a box of our own", ""]}, "right"),
    "preamble_marked": ({"before": ["# station: barn", "# scale: 1.0", "#"]}, "right"),
    "preamble_like_rows": ({"before": ["2020-01-01 00:00:00,Calibrated,by hand"]}, "either"),
    "preamble_long": ({"before": [f"setting {k},{k * 1.5:.1f}" for k in range(40)]}, "right"),
    "footer_sums": ({"after": ["", "Total,123.4,", "Mean,12.3,25.1"]}, "right"),
    "footer_prose": ({"after": ["end of file"]}, "right"),
    "footer_checksum": ({"after": ["CRC,A1B2C3D4"]}, "right"),
    "blank_lines_behind": ({"after": ["", "", ",,"]}, "right"),
}


def _how(how: dict[str, object], want: Want) -> Callable[[Rng], Export]:
    def made(rng: Rng) -> Export:
        log = readings(rng)
        return export(log, plain(log, **how), want=want)

    return made


for _name, (_options, _want) in HOW.items():
    named(_name, _how(_options, _want))


def _lines(name: str, change: Callable[[Rng, list[str]], list[str]], want: Want = "right") -> None:
    """Register a style whose lines are those of the plainest table, changed."""

    def made(rng: Rng) -> Export:
        log = readings(rng)
        sheet = plain(log)
        return Export(sheet.content(change(rng, sheet.lines())), log.truth, ("--zone", log.zone), want=want)

    named(name, made)


def _every(lines: list[str], step: int, also: str) -> list[str]:
    return [text for k, line in enumerate(lines) for text in ([line, also] if k % step == step - 1 else [line])]


_lines("header_again", lambda rng, lines: _every(lines, 60, lines[0]))
_lines("header_missing", lambda rng, lines: lines[1:], "refuse")
_lines("blank_lines_between", lambda rng, lines: _every(lines, int(rng.integers(1, 5)), ""))
_lines("comments_between", lambda rng, lines: _every(lines, 40, "# still running"))
_lines("events_between", lambda rng, lines: _every(lines, 80, "*** low battery alarm"))
_lines("newest_first", lambda rng, lines: [lines[0], *lines[:0:-1]])
_lines("delimiters_behind", lambda rng, lines: [line + "," for line in lines])
_lines("delimiters_behind_rows", lambda rng, lines: [lines[0], *[line + "," for line in lines[1:]]])
_lines("rows_quoted_whole", lambda rng, lines: [f'"{line}"' for line in lines])
_lines("header_marked", lambda rng, lines: ["# " + lines[0], *lines[1:]])
_lines("last_row_torn", lambda rng, lines: [*lines, "2026-0"])


@style
def ends_mixed(rng: Rng) -> Export:
    """Three kinds of ends in one file."""
    log = readings(rng)
    ends = [pick(rng, "\n", "\r\n") for _ in range(len(log) + 1)]
    text = "".join(line + end for line, end in zip(plain(log).lines(), ends, strict=True))
    return Export(text.encode(), log.truth, ("--zone", log.zone))


@style
def table_by_blanks(rng: Rng) -> Export:
    """Columns that are aligned by blanks, date and clock among them."""
    log = readings(rng)
    rows = [f"{t}  {x:10.2f} {u:8.2f}" for t, x, u in zip(iso(log), log.amps, log.volts, strict=True)]
    text = "\n".join(["Date Time Current(A) Voltage(V)", *rows, ""])
    line = 'delimiter = "blank"'
    return Export(text.encode(), log.truth, ("--zone", log.zone), {line: f"[file]\n{line}"})


@style
def table_of_bars(rng: Rng) -> Export:
    """A table as people paste it into a text."""
    log = readings(rng)
    rows = [f"| {' | '.join(row)} |" for row in plain(log).rows]
    text = "\n".join(["| Time | Current (A) | Voltage (V) |", "| --- | ---: | ---: |", *rows, ""])
    return Export(text.encode(), log.truth, ("--zone", log.zone))


def _packed(name: str, suffix: str, pack: Callable[[bytes], bytes], want: Want) -> None:
    def made(rng: Rng) -> Export:
        log = readings(rng)
        whole = export(log, plain(log), want=want)
        return Export(pack(whole.content), whole.truth, whole.options, want=want, suffix=suffix)

    named(name, made)


def _zipped(*names: str) -> Callable[[bytes], bytes]:
    def pack(content: bytes) -> bytes:
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for name in names:
                archive.writestr(name, content if name.endswith(".csv") else b"read me")
        return packed.getvalue()

    return pack


_packed("packed_gzip", ".csv.gz", lambda content: gzip.compress(content, mtime=0), "right")
_packed(
    "packed_gzip_twice", ".csv.gz", lambda content: gzip.compress(content[:999]) + gzip.compress(content[999:]), "right"
)
_packed("packed_bzip2", ".csv.bz2", bz2.compress, "either")
_packed("packed_zip", ".zip", _zipped("log.csv"), "right")
_packed("packed_zip_two", ".zip", _zipped("a.csv", "b.csv"), "refuse")
_packed("packed_binary", ".bin", lambda content: b"LOG\x01\x00" + bytes(range(256)) * 20, "refuse")

_CELL = '<c r="{at}"{kind}>{value}</c>'
_PARTS = {
    "[Content_Types].xml": (
        '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" '
        'ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.'
        'openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/styles.xml" ContentType='
        '"application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/>{types}</Types>'
    ),
    "_rels/.rels": (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" '
        'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>'
    ),
    "xl/workbook.xml": (
        '<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.'
        'openxmlformats.org/officeDocument/2006/relationships"><sheets>{sheets}</sheets></workbook>'
    ),
    "xl/_rels/workbook.xml.rels": (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">{rels}'
        '<Relationship Id="rId99" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/styles" '
        'Target="styles.xml"/></Relationships>'
    ),
    "xl/styles.xml": (
        '<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><numFmts count="1"><numFmt '
        'numFmtId="164" formatCode="yyyy\\-mm\\-dd\\ hh:mm:ss"/></numFmts><fonts count="1"><font/></fonts><fills '
        'count="1"><fill/></fills><borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs>'
        '<cellXfs count="2"><xf/><xf numFmtId="164" applyNumberFormat="1"/></cellXfs></styleSheet>'
    ),
}
_SHEET = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{rows}</sheetData></worksheet>'


def _workbook(*sheets: str) -> bytes:
    """Return a spreadsheet of sheets (their rows in its own markup), by the open standard ECMA-376 (from memory)."""
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
    of_sheet = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet"
    numbers = range(1, len(sheets) + 1)
    fill = {
        "{types}": "".join(f'<Override PartName="/xl/worksheets/sheet{k}.xml" ContentType="{kind}"/>' for k in numbers),
        "{sheets}": "".join(f'<sheet name="Log {k}" sheetId="{k}" r:id="rId{k}"/>' for k in numbers),
        "{rels}": "".join(
            f'<Relationship Id="rId{k}" Type="{of_sheet}" Target="worksheets/sheet{k}.xml"/>' for k in numbers
        ),
    }
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in _PARTS.items():
            archive.writestr(name, re.sub(r"\{\w+\}", lambda mark: fill[mark[0]], text))
        for k, rows in enumerate(sheets, 1):
            archive.writestr(f"xl/worksheets/sheet{k}.xml", _SHEET.format(rows=rows))
    return packed.getvalue()


def _sheet_rows(log: Readings, *, formula: bool = False) -> str:
    """Return a sheet of dates (as day numbers that are shown as dates), amps and volts."""
    texts = "".join(
        _CELL.format(at=f"{at}1", kind=' t="inlineStr"', value=f"<is><t>{text}</t></is>")
        for at, text in zip("ABC", ("Time", "Current (A)", "Voltage (V)"), strict=True)
    )
    rows = [f'<row r="1">{texts}</row>']
    for k, (t, x, u) in enumerate(zip(log.local, log.amps, log.volts, strict=True), 2):
        day = t.replace(tzinfo=UTC).timestamp() / 86400 + 25_569
        amount = f"<f>D{k}/1000</f><v>{x}</v>" if formula else f"<v>{x}</v>"
        cells = (("A", ' s="1"', f"<v>{day:.9f}</v>"), ("B", "", amount), ("C", "", f"<v>{u}</v>"))
        row = "".join(_CELL.format(at=f"{at}{k}", kind=kind, value=value) for at, kind, value in cells)
        rows.append(f'<row r="{k}">{row}</row>')
    return "".join(rows)


@style
def workbook(rng: Rng) -> Export:
    """A spreadsheet with dates that are dates."""
    log = readings(rng)
    return Export(_workbook(_sheet_rows(log)), log.truth, ("--zone", log.zone), suffix=".xlsx")


@style
def workbook_of_formulas(rng: Rng) -> Export:
    """The amps are what a formula gave when it was last saved."""
    log = readings(rng)
    return Export(_workbook(_sheet_rows(log, formula=True)), log.truth, ("--zone", log.zone), suffix=".xlsx")


@style
def workbook_of_two_sheets(rng: Rng) -> Export:
    """Two sheets that could both be meant: the first one is, when asked."""
    log, other = readings(rng), readings(rng)
    content = _workbook(_sheet_rows(log), _sheet_rows(other))
    return Export(content, log.truth, ("--zone", log.zone), {"--sheet": "Log 1"}, suffix=".xlsx")


@style
def notes_over_lines(rng: Rng) -> Export:
    """A column of notes, some of which go over two lines and hold what looks like rows."""
    log = readings(rng)
    notes = [pick(rng, "", "", "pump on", "a, b", 'said "go"', "first\nsecond", "=1+1") for _ in log.amps]
    return export(log, Sheet([("Time", iso(log)), amps(log), volts(log), ("Notes", notes)]))


@style
def highest_lowest_and_mean(rng: Rng) -> Export:
    """Three figures of each stretch; the mean is the one."""
    log = readings(rng)
    spread = np.abs(rng.normal(0, 2, len(log)))
    low = "Current min (A)", [point(x - s) for x, s in zip(log.amps, spread, strict=True)]
    high = "Current max (A)", [point(x + s) for x, s in zip(log.amps, spread, strict=True)]
    columns = [("Time", iso(log)), low, high, amps(log, "Current avg (A)"), volts(log)]
    return export(log, Sheet(columns))


@style
def other_meters_beside(rng: Rng) -> Export:
    """The array's amps and a load's beside the bank's."""
    log = readings(rng)
    array = "PV current (A)", [point(abs(x) / 2) for x in log.amps]
    load = "Load current (A)", [point(abs(x) / 3) for x in log.amps]
    columns = [("Time", iso(log)), array, load, amps(log, "Battery current (A)"), volts(log, "Battery voltage (V)")]
    return export(log, Sheet(columns))


@style
def two_banks(rng: Rng) -> Export:
    """Two channels that could both be meant."""
    log = readings(rng)
    other = "Current 2 (A)", [point(x / 2) for x in log.amps]
    columns: list[Column] = [("Time", iso(log)), amps(log, "Current 1 (A)"), other, volts(log)]
    return export(log, Sheet(columns), want="either")


@style
def many_columns(rng: Rng) -> Export:
    """Twenty columns of other things around the two."""
    log = readings(rng)
    others: list[Column] = [(f"Cell {k} (mV)", [f"{3300 + k}"] * len(log)) for k in range(20)]
    return export(log, Sheet([("Time", iso(log)), *others[:11], amps(log), *others[11:], volts(log)]))


@style
def degrees_in_latin1(rng: Rng) -> Export:
    """A degree sign of one byte."""
    log = readings(rng)
    heat = "Temp [°C]", [point(20 + k % 7 / 10, 1) for k in range(len(log))]
    columns = [("Zeit", clock(log, "%d.%m.%Y %H:%M:%S")), amps(log, "Strom [A]", comma), heat]
    return export(log, Sheet(columns, ";", encoding="cp1252"), answers={"--dates": "d/m/y"})


@style
def heads_in_two_rows(rng: Rng) -> Export:
    """Whose amps they are stands a row higher."""
    log = readings(rng)
    columns: list[Column] = [
        ("", ["Time", *iso(log)]),
        ("Battery", ["A", *[point(x) for x in log.amps]]),
        ("", ["V", *[point(x) for x in log.volts]]),
        ("Array", ["A", *[point(abs(x) / 2) for x in log.amps]]),
    ]
    return export(log, Sheet(columns), want="either")
