"""Lines that are no plain rows: one quoted field each, bars around them, blanks between; and files that are no text."""

import sqlite3
import struct

import pytest
from exporting import convert

from shuntbook.ingest.exports.texts.shape import find_shape, plain

CELLS = [(f"2026-06-13 10:00:{k:02d}", f"{k % 5}.25", "25.125") for k in range(60)]
HEADER = ("Time", "Current (A)", "Voltage (V)")
ROWS = [HEADER, *CELLS]


def text(lines, end="\n"):
    """Return lines as a file."""
    return end.join(lines) + end


def are_readings(done):
    """Tell whether all rows were read, amps as amps."""
    return done.rejects == [] and done["current_A"].tolist() == [float(row[1]) for row in CELLS]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("after", ["", ",,", ";"])
def test_rows_that_are_one_quoted_field_each(tmp_path, mark, after):
    """A row that a spreadsheet put into one cell; the quotes of its own fields are doubled."""
    rows = [[f'""{row[0]}""', *row[1:]] for row in ROWS]
    assert are_readings(convert(tmp_path, text([f'"{mark.join(row)}"{after}' for row in rows], "\r\n")))


def test_quoted_fields_are_no_quoted_rows(tmp_path):
    """All fields in quotes, a last note with a comma and a quote in it."""
    lines = [",".join(f'"{cell}"' for cell in (*row, 'said ""go"", ran')) for row in ROWS]
    assert find_shape(text(lines)) == ""
    assert are_readings(convert(tmp_path, text(lines)))


@pytest.mark.parametrize(
    "rule", ["|---|---:|:--:|", "+----+----+----+", "| --- | --- | --- |", "---|---|---", "|====|====|===|"]
)
def test_tables_between_bars(tmp_path, rule):
    """As Markdown and terminals have them, with and without bars at the ends."""
    ends = ("", "") if rule.startswith("-") else ("| ", " |")
    lines = [ends[0] + " | ".join(row) + ends[1] for row in ROWS]
    lines[1:1] = [rule]
    done = convert(tmp_path, text([rule, *lines, rule] if rule.startswith("+") else lines))
    assert are_readings(done)
    assert "'Current (A)'" in done.said


def test_a_reject_between_bars_has_its_line(tmp_path):
    """The rule and the header count."""
    lines = ["| " + " | ".join(row) + " |" for row in ROWS]
    lines[1:1] = ["|---|---|---|"]
    lines[9] = lines[9].replace("25.125", "open")
    assert convert(tmp_path, text(lines)).reject_lines == [10]


def test_two_blanks_and_more_part_columns(tmp_path):
    """A name or date with a single blank in it stays whole; widths need not be the same."""
    lines = ["   ".join(row) if k % 2 else f"{row[0]:24}{row[1]:>12}    {row[2]}" for k, row in enumerate(ROWS)]
    assert are_readings(convert(tmp_path, text(lines)))


def test_decimal_commas_between_blanks_part_nothing(tmp_path):
    """The header holds no comma, so the rows are not parted by them."""
    lines = ["   ".join(cell.replace(".", ",") for cell in row) for row in ROWS]
    assert are_readings(convert(tmp_path, text(lines)))


def test_single_blanks_are_asked_about(tmp_path):
    """Dates and names hold blanks themselves: the profile's line is named, and settles it."""
    lines = ["Date Time Current(A) Voltage(V)", *(" ".join(row) for row in CELLS)]
    asked = convert(tmp_path, text(lines))
    assert (asked.status, 'delimiter = "blank"' in asked.error) == (2, True)
    done = convert(tmp_path, text(lines), profile='[file]\ndelimiter = "blank"\n')
    assert are_readings(done)
    assert done.stamps[1] == "2026-06-13T10:00:01.000000"


@pytest.mark.parametrize("shape", ["quoted", "bars", "wide blanks", "blanks"])
def test_lines_stay_as_many_as_they_were(shape):
    """Else a reject would not be found again."""
    lines = b'"a,b"\n\n| a | b |\n|---|---|\n   a   b   \n   \n"open\n||\n'
    assert plain(lines, shape).count(b"\n") == lines.count(b"\n")


# --- what is no text -------------------------------------------------------------------------------------------------


def database(tmp_path):
    """Return the bytes of a small database."""
    with sqlite3.connect(tmp_path / "a.db") as base:
        base.execute("create table t (a real)")
    base.close()
    return (tmp_path / "a.db").read_bytes()


def records(kind):
    """Return a logger's own records: a counter and small numbers."""
    return b"".join(struct.pack(kind, k, k % 300, 25 - k % 3) for k in range(2000))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("database", "SQLite"),
        (b"\x89HDF\r\n\x1a\n" + bytes(500), "HDF5"),
        (b"MDF     4.10    " + bytes(500), "MDF file"),
        (b"BZh91AY&SY" + bytes(range(256)), "unpack it"),
        (b"\xfd7zXZ\x00" + bytes(500), "unpack it"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + bytes(range(256)), "PDF"),
        (b"a.csv".ljust(257, b"\0") + b"ustar" + bytes(300), "tar archive"),
        (records("<Ihh"), "a logger's own records"),
        (records("<hhh"), "a logger's own records"),
        (records(">hhh"), "a logger's own records"),
        (records("<dff"), "a logger's own records"),
    ],
)
def test_what_is_no_text_is_refused_by_name(tmp_path, content, words):
    """With what to do; nothing is written."""
    done = convert(tmp_path, database(tmp_path) if content == "database" else content)
    assert done.status == 2
    assert words in done.error
    assert done.error.count("\n") == 1


@pytest.mark.parametrize("start", ["<html><table>", "<!DOCTYPE html>\n<table>", '<?xml version="1.0"?>', "{\\rtf1 "])
def test_a_page_under_the_name_of_a_spreadsheet_is_refused_by_name(tmp_path, start):
    """As some programs export."""
    done = convert(tmp_path, f"{start}\n<tr><td>Time</td></tr>\n")
    assert (done.status, "save the table as CSV or .xlsx" in done.error) == (2, True)


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be", "utf-16"])
def test_text_of_two_bytes_is_text(tmp_path, encoding):
    """With and without a mark."""
    assert are_readings(convert(tmp_path, text([",".join(row) for row in ROWS]).encode(encoding)))


NOTES = ("pump on", '"first\nsecond"', '"a, b"', '"said ""go""\nand, more\n\nof it"', '2" of rain')


def with_notes(first, count=400):
    """Rows with notes, before or behind the readings, and the amps."""
    rows = [f"2026-06-13 10:{k // 60:02d}:{k % 60:02d},{k % 90}.5,25.1" for k in range(count)]
    notes = [NOTES[k % len(NOTES)] for k in range(count)]
    if first:
        return text(["Notes,Time,Current (A),Voltage (V)", *map(",".join, zip(notes, rows, strict=True))])
    return text(['Time,"Current\n(A)",Voltage (V),Notes', *map(",".join, zip(rows, notes, strict=True))])


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("block", [1 << 22, 1500])
def test_notes_over_several_lines_lose_no_row(tmp_path, monkeypatch, first, block):
    """Wherever the file is cut into blocks; quotes within a cell are letters."""
    monkeypatch.setattr("shuntbook.ingest.exports.texts.decode.BLOCK_BYTES", block)
    done = convert(tmp_path, with_notes(first), options=("--zone", "UTC"))
    assert done["current_A"].tolist() == [k % 90 + 0.5 for k in range(400)]
    assert done.rejects == []


def test_a_quote_left_open_swallows_no_rows(tmp_path):
    """Lines that could be rows are no part of a note, and the line is told; also near the end of the file."""
    rows = [f"2026-06-13 10:00:{k:02d},{k}.5,25.1,ok" for k in range(60)]
    rows[20], rows[23], rows[57] = rows[20][:-2] + '"x', rows[23][:-2] + 'y"', rows[57][:-2] + '"z'
    done = convert(tmp_path, text(["Time,Current (A),Voltage (V),Notes", *rows]), options=("--zone", "UTC"))
    assert done["current_A"].tolist() == [k + 0.5 for k in range(60) if k not in (20, 57)]
    assert done.reject_lines == [22, 59]


def test_blanks_before_quotes(tmp_path):
    """Quoted cells with a blank between them."""
    rows = [", ".join(f'"{cell}"' for cell in (f"2026-06-13 10:00:{k:02d}", f"{k}.5", "25.1")) for k in range(60)]
    done = convert(tmp_path, text(["Time, Current (A), Voltage (V)", *rows]), options=("--zone", "UTC"))
    assert done["current_A"].tolist() == [k + 0.5 for k in range(60)]


@pytest.mark.parametrize("before", ["\ufeff", "\0" * 300])
def test_what_stands_before_a_whole_row_is_no_damage(tmp_path, before):
    """The mark of a file put behind another, and what a sector holds that was not written."""
    rows = [f"{before * (k == 30)}2026-06-13 10:00:{k:02d},{k}.5,25.1" for k in range(60)]
    done = convert(tmp_path, text(["Time,Current (A),Voltage (V)", *rows]), options=("--zone", "UTC"))
    assert done["current_A"].tolist() == [k + 0.5 for k in range(60)]


def test_shift_jis(tmp_path):
    """Two bytes a letter, some of which are marks of others."""
    rows = [f"2026-06-13 10:00:{k:02d},{k}.5,25.1,ソ表能" for k in range(60)]
    content = text(["時刻,電流[A],電圧[V],表示", *rows]).encode("cp932")
    done = convert(tmp_path, content, options=("--zone", "UTC", "--explain"))
    assert done["current_A"].tolist() == [k + 0.5 for k in range(60)]
    assert "電流[A]" in done.said


def test_latin_letters_are_no_shift_jis(tmp_path):
    """One byte a letter, which could begin two."""
    rows = [f"2026-06-13 10:00:{k:02d};{k},5;25,1;{k % 9} °C" for k in range(60)]
    content = text(["Zeit;Strom für Bank (A);Spannung (V);Gerät größer – é", *rows]).encode("cp1252")
    done = convert(tmp_path, content, options=("--zone", "UTC", "--explain"))
    assert "Strom für Bank (A)" in done.said
