"""A workbook's cells are read as they are typed, from the sheet that is meant."""

import datetime as dt
import io
import struct
import subprocess
import sys
import zipfile

import numpy as np
import openpyxl
import pytest
from exporting import convert, shuntbook
from places import ROOT
from ready_python import ready_python
from workbooks import HEADER, START, ods, readings, saved, with_part, xls, xlsx, zipped

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.exports.spreadsheets.extent import refuse_too_large

ROWS = readings()
WORKBOOK = xlsx({"Log": [HEADER, *ROWS]})
MAKERS = {"xlsx": lambda rows: xlsx({"Log": rows}), "xls": xls, "ods": ods}


@pytest.mark.parametrize("kind", MAKERS)
def test_dates_numbers_and_midnight_are_as_they_were_typed(tmp_path, kind):
    """Dates as dates, to the second and over midnight, numbers in full; the header below a title and an empty row."""
    done = convert(tmp_path, MAKERS[kind]([("Shed meter",), (), HEADER, *ROWS]))
    assert done.stamps == [f"{row[0].isoformat()}.000000" for row in ROWS]
    assert done["current_A"].tolist() == [row[1] for row in ROWS]
    assert done["voltage_V"].tolist() == [row[2] for row in ROWS]
    assert done.rejects == []
    assert "sheet 'Log'" in done.said


def test_parts_of_a_second_are_kept(tmp_path):
    """To the millisecond, which is as much as a day number holds."""
    done = convert(tmp_path, xlsx({"Log": [HEADER, *readings(50, 0.1)]}))
    assert np.diff(done.time_us).tolist() == [100_000] * 49


def test_a_sheet_that_counts_from_1904_has_the_same_dates(tmp_path):
    """The workbook says from when its days count."""
    book = openpyxl.Workbook()
    book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    for row in [HEADER, *ROWS]:
        book.active.append(row)
    assert convert(tmp_path, saved(book)).stamps[0] == "2026-06-13T23:59:30.000000"


def test_a_date_and_a_clock_in_two_columns(tmp_path):
    """Each cell is what its format says: a date, a time of day."""
    rows = [(row[0].date(), row[0].time(), row[1]) for row in ROWS]
    done = convert(tmp_path, xlsx({"Log": [("Date", "Clock", "Current (A)"), *rows]}))
    assert done.stamps[30] == "2026-06-14T00:00:00.000000"
    assert len(done.time_us) == 60


def test_lengths_of_time_count_from_the_start(tmp_path):
    """Also beyond a day."""
    rows = [(dt.timedelta(hours=23, minutes=59, seconds=30 + k), 2.5) for k in range(60)]
    done = convert(tmp_path, xlsx({"Log": [("Elapsed", "Current (A)"), *rows]}))
    assert (done.time_us[-1] - done.time_us[0]) == 59_000_000


def test_three_decimals_in_typed_cells_are_no_thousands(tmp_path):
    """A typed number has no marks that could be taken for grouping, and mA beside it neither."""
    rows = [(START + dt.timedelta(seconds=k), 24.125 + k % 2, 1250 + k) for k in range(60)]
    done = convert(tmp_path, xlsx({"Log": [("Time", "Voltage (V)", "Current (mA)"), *rows]}))
    assert done["voltage_V"].tolist() == [row[1] for row in rows]
    assert done["current_A"] == pytest.approx([row[2] / 1000 for row in rows])


def test_a_formula_is_read_by_its_result(tmp_path):
    """The result that stands in the file beside it; one that was never worked out is nothing."""
    cells = "".join(
        f'<row r="{k}"><c r="A{k}" t="inlineStr"><is><t>2026-06-13 10:00:{k:02d}</t></is></c>'
        f'<c r="B{k}"><f>B1*2</f>{f"<v>{k / 4}</v>" if k != 7 else ""}</c>'
        f'<c r="C{k}"><v>24.5</v></c></row>'
        for k in range(2, 50)
    )
    head = "".join(f'<c r="{c}1" t="inlineStr"><is><t>{t}</t></is></c>' for c, t in zip("ABC", HEADER, strict=True))
    sheet = (
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        f'<row r="1">{head}</row>{cells}</sheetData></worksheet>'
    )
    done = convert(tmp_path, with_part(xlsx({"Log": []}), "xl/worksheets/sheet1.xml", sheet.encode()))
    assert done["current_A"][0] == 0.5
    assert np.isnan(done["current_A"]).sum() == 1


def test_words_and_errors_in_a_column_are_rejected_by_their_row(tmp_path):
    """The line of a reject is the row that the program shows, wherever the sheet begins."""
    rows = [list(row) for row in ROWS]
    rows[10][1] = "open"
    book = openpyxl.Workbook()
    for r, row in enumerate([HEADER, *rows]):
        for c, cell in enumerate(row):
            book.active.cell(r + 4, c + 3, cell)
    done = convert(tmp_path, saved(book))
    assert done.reject_lines == [15]
    assert "found 'open'" in done.rejects[0][1]
    assert len(done.time_us) == 59


def test_cells_with_line_ends_tabs_and_quotes_stay_in_their_column(tmp_path):
    """A note may hold anything."""
    rows = [(*row, 'he said "go"\nand\twent, "so"') for row in ROWS]
    done = convert(tmp_path, xlsx({"Log": [("Time", "Current\n(A)", "Voltage\n(V)", "Note"), *rows]}))
    assert len(done.time_us) == 60
    assert done["current_A"].tolist() == [row[1] for row in ROWS]


def test_empty_rows_are_no_damage(tmp_path):
    """Between the readings and after them."""
    done = convert(tmp_path, xlsx({"Log": [HEADER, *ROWS[:30], (), (), *ROWS[30:], (None, None, " ")]}))
    assert (len(done.time_us), done.rejects) == (60, [])


# --- heads -----------------------------------------------------------------------------------------------------------


def merged_book(*merged, head, rows):
    """Return a workbook with merged cells."""
    book = openpyxl.Workbook()
    for row in [*head, *rows]:
        book.active.append(row)
    for area in merged:
        book.active.merge_cells(area)
    return saved(book)


def test_merged_heads_name_their_columns(tmp_path):
    """A word above a group tells its columns from those of the next; one over two rows is the column's name."""
    head = [
        ("Time", "Battery", None, "Load", None),
        (None, "Current (A)", "Voltage (V)", "Current (A)", "Voltage (V)"),
    ]
    rows = [(a, b, c, -9.5, 230.5) for a, b, c in ROWS]
    done = convert(
        tmp_path, merged_book("A1:A2", "B1:C1", "D1:E1", head=head, rows=rows), options=("--zone", "UTC", "--explain")
    )
    assert done["current_A"].tolist() == [row[1] for row in ROWS]
    assert "'Battery / Current (A)'" in done.said
    assert "not used: 'Load / Current (A)', 'Load / Voltage (V)'" in done.said


def test_a_merged_title_changes_no_name(tmp_path):
    """It stands above all columns."""
    head = [("Shed meter", None, None), HEADER]
    done = convert(tmp_path, merged_book("A1:C1", head=head, rows=ROWS))
    assert "'Current (A)'" in done.said
    assert "Shed" not in done.said


def test_merged_readings_are_no_head(tmp_path):
    """A date that is merged over its rows stays where it is; the rows without one are told."""
    rows = [(ROWS[0][0], *ROWS[0][1:]), *((None, *row[1:]) for row in ROWS[1:4]), *ROWS[4:]]
    done = convert(
        tmp_path, merged_book("A2:A5", head=[HEADER], rows=rows), options=("--zone", "UTC", "--allow-rejects")
    )
    assert done.reject_lines == [3, 4, 5]
    assert done.stamps[0] == "2026-06-13T23:59:30.000000"


def test_hidden_columns_are_read_and_shift_nothing(tmp_path):
    """A column that is not shown is still one."""
    book = openpyxl.Workbook()
    for row in [("Time", "Serial", "Current (A)"), *((a, 77, b) for a, b, _ in ROWS)]:
        book.active.append(row)
    book.active.column_dimensions["B"].hidden = True
    assert convert(tmp_path, saved(book))["current_A"].tolist() == [row[1] for row in ROWS]


# --- which sheet -----------------------------------------------------------------------------------------------------

INFO = [("Serial", 12345), ("Battery", "24 V"), ("Made", START)]


def test_the_only_sheet_with_readings_is_read_and_the_others_named(tmp_path):
    """Whatever stands first, and whatever is hidden."""
    sheets = {"Info": INFO, "Empty": [], "Log": [HEADER, *ROWS], "Old": [HEADER, *readings(20)]}
    done = convert(tmp_path, xlsx(sheets, hidden=["Old"]))
    assert len(done.time_us) == 60
    assert "sheet 'Log'; not read: 'Info', 'Empty', 'Old'" in done.said


@pytest.mark.parametrize(("named", "count"), [("Monday", 60), ("tuesday", 20), ("2", 20), ("Old", 10)])
def test_of_several_sheets_one_is_asked_for(tmp_path, named, count):
    """By name, in any letters, or by its place; a hidden one only so."""
    book = xlsx(
        {"Monday": [HEADER, *ROWS], "Tuesday": [HEADER, *readings(20)], "Old": [HEADER, *readings(10)]}, hidden=["Old"]
    )
    asked = convert(tmp_path, book)
    assert asked.status == 2
    assert "'Monday', 'Tuesday' all hold readings" in asked.error
    assert "--sheet Monday" in asked.error
    assert len(convert(tmp_path, book, options=("--zone", "UTC", "--sheet", named)).time_us) == count


def test_a_profile_names_the_sheet(tmp_path):
    """So that the next export of that meter asks nothing."""
    book = xlsx({"Monday": [HEADER, *ROWS], "Tuesday": [HEADER, *readings(20)]})
    assert len(convert(tmp_path, book, profile='[file]\nsheet = "Tuesday"\n').time_us) == 20


def test_a_sheet_that_is_not_there_or_not_needed_is_said(tmp_path):
    """With the names that there are."""
    missing = convert(tmp_path, xlsx({"Log": [HEADER, *ROWS]}), options=("--sheet", "Data"))
    assert (missing.status, "has no sheet 'Data'; it has 'Log'" in missing.error) == (2, True)
    needless = convert(tmp_path, "Time,Current (A)\n2026-06-13 10:00:00,1\n", options=("--sheet", "Data"))
    assert (needless.status, "leave --sheet out" in needless.error) == (2, True)


def test_a_workbook_without_readings_is_refused(tmp_path):
    """One sentence, with the sheets' names."""
    done = convert(tmp_path, xlsx({"Info": INFO, "More": INFO}))
    assert (done.status, "none of its sheets ('Info', 'More')" in done.error) == (2, True)


def test_a_sheet_may_come_through_standard_input(tmp_path):
    """As any export may."""
    code = "import sys; from shuntbook.cli.main import run; sys.exit(run(sys.argv[1:]))"
    words = [ready_python(), "-c", code, "convert", "-", "--out", str(tmp_path / "a.parquet"), "--zone", "UTC"]
    done = subprocess.run(
        words, input=xlsx({"Log": [HEADER, *ROWS]}), capture_output=True, check=False, cwd=ROOT.parent
    )
    assert (done.returncode, b"60 rows read, 60 kept" in done.stdout) == (0, True), done.stderr


def test_other_exports_load_nothing_of_spreadsheets(tmp_path):
    """The library is there for workbooks alone."""
    (tmp_path / "a.csv").write_text("Time,Current (A)\n2026-06-13 10:00:00,1\n2026-06-13 10:00:01,1\n")
    code = (
        "import sys; from shuntbook.cli.main import run; run(sys.argv[1:]); "
        "print([m for m in sys.modules if 'calamine' in m or 'spreadsheets' in m])"
    )
    words = [sys.executable, "-c", code, "convert", str(tmp_path / "a.csv"), "--out", str(tmp_path / "a.parquet")]
    done = subprocess.run(words, capture_output=True, text=True, check=True, cwd=ROOT.parent)
    assert done.stdout.splitlines()[-1] == "[]"


# --- what is damaged or too large ------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("kind", MAKERS)
def test_a_workbook_cut_short_is_one_sentence(tmp_path, kind, share):
    """Nothing is written."""
    whole = MAKERS[kind]([HEADER, *ROWS])
    done = convert(tmp_path, whole[: int(share * len(whole))])
    # An old workbook's last bytes may be filling.
    assert done.status == 2 or (kind == "xls" and len(done.time_us) == 60)
    assert done.status == 0 or done.error.count("\n") == 1


def far_apart(place):
    """Return a sheet of two cells that lie far apart."""
    return (
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        f'<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="{place}"><v>1</v></c></row>'
        "</sheetData></worksheet>"
    ).encode()


def test_two_cells_far_apart_are_refused_before_they_take_memory(tmp_path):
    """A sheet is held whole, empty cells included: a small file could ask for hundreds of gigabytes."""
    done = convert(tmp_path, with_part(WORKBOOK, "xl/worksheets/sheet1.xml", far_apart("XFD1048576")))
    assert (done.status, "17,179,869,184 cells" in done.error) == (2, True)


def test_a_document_that_repeats_its_cells_is_refused_before_it_takes_memory(tmp_path):
    """A row may be said to come a million times; empty ones at the end are common and cost nothing."""
    row = (
        '<table:table-row table:number-rows-repeated="1000000">'
        '<table:table-cell table:number-columns-repeated="{}"{}/></table:table-row></table:table>'
    )
    filled = row.format(1000, ' office:value-type="float" office:value="1"')
    done = convert(tmp_path, with_last_row(filled))
    assert (done.status, "1,000,061,000 cells" in done.error) == (2, True)
    assert len(convert(tmp_path, with_last_row(row.format(16_384, ""))).time_us) == 60


def with_last_row(row):
    """Return an open document with one more row, and the end of its table."""
    document = ods([HEADER, *ROWS])
    return with_part(document, "content.xml", body(document).replace(b"</table:table>", row.encode()))


def body(document):
    """Return the content of an open document."""
    with zipfile.ZipFile(io.BytesIO(document)) as archive:
        return archive.read("content.xml")


def test_a_binary_workbook_and_an_office_document_are_refused_by_name(tmp_path):
    """With what to do."""
    assert ".xlsb" in convert(tmp_path, zipped({"xl/workbook.bin": b"\0" * 100})).error
    assert "no table" in convert(tmp_path, zipped({"word/document.xml": "<w/>", "b.xml": "<w/>"})).error


def test_a_sheet_of_columns_of_text_is_read_as_that_text(tmp_path):
    """An export pasted into one column is what it was."""
    lines = ["Time,Current (A),Voltage (V)", *(f"{a},{b},{c}" for a, b, c in ROWS)]
    done = convert(tmp_path, xlsx({"Log": [(line,) for line in lines]}))
    assert done["current_A"].tolist() == [row[1] for row in ROWS]


def test_the_help_has_the_option():
    """With what it is for."""
    assert "--sheet NAME" in shuntbook("convert", "--help")[1]


NAMESPACE = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


@pytest.mark.parametrize(
    ("cells", "refused"),
    [
        ('<row r="1"><c r="S1"><v>1</v></c></row><row r="1048576"><c r="A1048576"><v>1</v></c></row>', False),
        ('<row r="1"><c r="U1"><v>1</v></c></row><row r="1048576"><c r="A1048576"><v>1</v></c></row>', True),
        ('<row r="1"><c r="U1"><v>1</v></c></row><row r="900000"><c r="A900000"><v>1</v></c></row>', False),
        ("<row r='1'><c s='1' r = 'xfd1'><v>1</v></c></row><row r='99999'><c r='A99999'/></row>", True),
        ("<row>" + "<c><v>1</v></c>" * 3000 + '</row><row r="100000"><c><v>1</v></c></row>', True),
        ("<row>" + "<c><v>1</v></c>" * 30 + "</row><row><c><v>1</v></c></row>", False),
        ('<x:row r="1"><x:c r="XFD1"><v>1</v></x:c></x:row><x:row r="99999"><x:c r="A99999"/></x:row>', True),
    ],
)
def test_how_far_a_sheet_reaches(cells, refused):
    """By addresses however they are written, and by what has none."""
    filling = "<x/>" * 300_000  # so that tags are torn between two blocks
    sheet = f'<worksheet xmlns="{NAMESPACE}"><sheetData>{filling}{cells}{filling}</sheetData></worksheet>'
    book = with_part(WORKBOOK, "xl/worksheets/sheet1.xml", sheet.encode())
    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        if refused:
            with pytest.raises(InputError, match="cells"):
                refuse_too_large(archive, "a.xlsx")
        else:
            refuse_too_large(archive, "a.xlsx")


def test_a_damaged_workbook_says_nothing_of_its_own(tmp_path):
    """Random damage to old workbooks, which have no checksums: one sentence of ours or the readings."""
    code = "import sys; from shuntbook.cli.main import run"
    code += "\nfor p in sys.argv[1:]: run(['convert', p, '--out', p + '.parquet'])"
    whole, paths = xls([HEADER, *ROWS]), []
    rng = np.random.default_rng(1)
    for k in range(60):
        damaged = bytearray(whole)
        for at in rng.integers(0, len(damaged), 10):
            damaged[at] = rng.integers(256)
        (tmp_path / f"{k}.xls").write_bytes(damaged)
        paths.append(str(tmp_path / f"{k}.xls"))
    words = [sys.executable, "-c", code, *paths]
    done = subprocess.run(words, capture_output=True, text=True, check=True, cwd=ROOT.parent)
    assert [line for line in done.stderr.splitlines() if not line.startswith("shuntbook: /")] == []


def test_an_old_workbook_with_a_cell_where_no_sheet_has_any_is_refused(tmp_path):
    """A sheet is held whole: a column of 65,535 would ask for a hundred gigabytes."""
    rows = [HEADER, *((*row[:2], 25.015625) for row in readings(600))]
    whole = xls(rows)
    # The record of a number: its kind, its length, row 500, column 2.
    cell = struct.pack("<HHHH", 0x0203, 14, 500, 2)
    assert whole.count(cell) == 1
    done = convert(tmp_path, whole.replace(cell, struct.pack("<HHHH", 0x0203, 14, 500, 65_000)))
    assert (done.status, "cells beyond column 256" in done.error) == (2, True)
    assert len(convert(tmp_path, whole).time_us) == 600
