"""A header again in mid-file: the rows below it are read by it, or it stops there with the line."""

from __future__ import annotations

import numpy as np
import pytest
from exporting import convert

HEADER = "Time,Current (A),Voltage (V)"


def table(header: str, row: str, start: int = 0, count: int = 60) -> list[str]:
    """Return a header and rows a second apart from `start` on, 2 A and 25 V as `row` writes them."""
    return [
        header,
        *(f"2026-06-13 {10 + k // 3600}:{k // 60 % 60:02d}:{k % 60:02d},{row}" for k in range(start, start + count)),
    ]


def text(*tables: list[str]) -> str:
    """Return tables one behind the other."""
    return "\n".join([*(line for lines in tables for line in lines), ""])


@pytest.mark.parametrize("count", [60, 9000])
@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("Time,Current (mA),Voltage (V)", "2000,25"),
        ("Time,Voltage (V),Current (A)", "25,2"),
        ("Time,Temp,Current (A),Voltage (V)", "20,2,25"),
        ("Time,Current (A)", "2"),
    ],
)
def test_rows_are_read_by_the_header_above_them(tmp_path, header, row, count):
    """Another unit, another order, a column more or less; and the first header once again behind them."""
    lines = text(table(HEADER, "2,25", 0, count), table(header, row, count), table(HEADER, "2,25", count + 60))
    done = convert(tmp_path, lines)
    assert done["current_A"].tolist() == [2.0] * (count + 120)
    assert done.log.meta.rows_rejected == 0
    assert f"line {count + 2} is another header" in done.log.meta.moved[0]


def test_what_the_rows_below_lack_is_missing(tmp_path):
    """No volts of the rows above are put there."""
    done = convert(tmp_path, text(table(HEADER, "2,25"), table("Time,Current (A)", "2", 60)))
    assert done["voltage_V"][:60].tolist() == [25.0] * 60
    assert np.isnan(done["voltage_V"][60:]).all()
    assert "no voltage_V from there on" in done.said


@pytest.mark.parametrize(
    ("header", "row", "words"),
    [
        ("Time,Power (W),Voltage (V)", "50,25", "it names no current_A"),
        ("Time,Current (lx),Voltage (V)", "2,25", "cannot be read by it"),
    ],
)
def test_what_cannot_go_on_stops_there(tmp_path, header, row, words):
    """With the line and the reason."""
    done = convert(tmp_path, text(table(HEADER, "2,25"), table(header, row, 60)))
    assert done.status == 2
    assert "line 62: another header stands here" in done.error
    assert words in done.error


def test_rows_above_the_only_header_are_asked(tmp_path):
    """They are no preamble, and nobody says what their columns are."""
    rows = table(HEADER, "2,25")[1:]
    done = convert(tmp_path, text(["Shed meter,,"], rows, table("Time,Temp,Current (A),Voltage (V)", "20,2,25", 60)))
    assert done.status == 2
    assert "look like readings" in done.error


@pytest.mark.parametrize(("above", "asked"), [(2, False), (3, True), (5, True)])
def test_a_few_rows_above_the_only_header_may_be_a_preambles(tmp_path, above, asked):
    """Three and more are asked about, with their lines and that of the header."""
    rows = table(HEADER, "2,25")[1 : 1 + above]
    done = convert(tmp_path, text(rows, table("Time,Temp,Current (A),Voltage (V)", "20,3,25", 60)))
    if asked:
        assert f"lines 1 to {above}: look like readings" in done.error
        assert f"say header_line = {above + 1} in a profile" in done.error
    else:
        assert done["current_A"].tolist() == [3.0] * 60


@pytest.mark.parametrize("time", ["Time", "Date", "Timestamp"])
def test_units_below_a_title_are_a_header_where_they_name_the_time(tmp_path, time):
    """A title as wide as the readings, then ``Time,A,V``; below words they are these words' units."""
    rows = table(HEADER, "200,25")[1:]
    titled = convert(tmp_path, text(["Shed,north,wall"], [f"{time},A,V"], rows))
    assert (titled["current_A"][0], titled["voltage_V"][0]) == (200.0, 25.0)
    named = convert(tmp_path, text(["Time,Current,Voltage"], ["s,mA,V"], rows))
    assert (named["current_A"][0], named["voltage_V"][0]) == (0.2, 25.0)


def test_words_among_the_rows_are_no_header(tmp_path):
    """Remarks and a header alone at the end."""
    rows = table(HEADER, "2,25")
    done = convert(
        tmp_path, text(rows[:30], ["# pump on, 10 A", "Note,lid open,"], rows[30:], [HEADER.replace("A", "mA")])
    )
    assert done["current_A"].tolist() == [2.0] * 60
    assert len(done.rejects) == 3


def test_another_meters_file_behind_the_first_is_asked(tmp_path):
    """Its header is the same, and its times are those that the first has passed."""
    other = [line.replace(",2,25", ",7,24") for line in table(HEADER, "2,25", 2000, 3000)]
    done = convert(tmp_path, text(table(HEADER, "2,25", 0, 4000), other))
    assert done.status == 2
    assert "row 4001 of the readings, below a header that comes again, goes back by" in done.error
