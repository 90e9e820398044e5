"""Rows that are no readings though they look like some: sums, types and rules below a header, kinds in turns."""

import pytest
from exporting import convert

STAMPS = [f"2026-06-13 10:{k // 60:02d}:{k % 60:02d}" for k in range(200)]
AMPS = [round(2 + 30 * (k % 40 > 25) - 9 * (k % 17 < 3) + k % 7 / 10, 2) for k in range(200)]
HEADER = "Time,Current (A),Voltage (V)"
ROWS = [f"{stamp},{amps:.2f},25.{k % 9}0" for k, (stamp, amps) in enumerate(zip(STAMPS, AMPS, strict=True))]
SUM_A, SUM_V = sum(AMPS), sum(float(row.split(",")[2]) for row in ROWS)


def text(*lines):
    """Return lines as a file."""
    return "\n".join([*lines, ""])


@pytest.mark.parametrize(
    "last",
    [
        f"{STAMPS[-1]},{SUM_A:.2f},{SUM_V:.2f}",
        f"2026-06-13 10:03:20,{SUM_A:.1f},",
        f"2026-06-13 10:03:20,1.00,{SUM_V:.2f}",
    ],
)
def test_a_last_row_of_sums_is_no_reading(tmp_path, last):
    """With the last stamp again or one of its own, of all columns or one."""
    done = convert(tmp_path, text(HEADER, *ROWS, last))
    assert done["current_A"].tolist() == AMPS
    assert [(line, why) for line, why, _ in done.rejects] == [
        (202, "holds the sums of the rows above it, and is no reading")
    ]


def test_each_of_two_files_behind_one_another_has_its_sums(tmp_path):
    """The second header begins the sums anew."""
    half = len(ROWS) // 2
    sums = [f"{STAMPS[half - 1]},{sum(AMPS[:half]):.2f},", f"{STAMPS[-1]},{sum(AMPS[half:]):.2f},"]
    other = "Time,Voltage (V),Current (A)"
    turned = [",".join((a, c, b)) for a, b, c in (row.split(",") for row in [*ROWS[half:], sums[1]])]
    done = convert(tmp_path, text(HEADER, *ROWS[:half], sums[0], other, *turned))
    assert done["current_A"].tolist() == AMPS
    assert len(done.rejects) == 2


@pytest.mark.parametrize("last", ["61.00", "110.00"])
def test_a_high_last_reading_is_one(tmp_path, last):
    """A start at the very end adds up to nothing."""
    done = convert(tmp_path, text(HEADER, *ROWS, f"2026-06-13 10:03:20,{last},24.90"))
    assert done["current_A"][-1] == float(last)


def test_a_start_that_few_readings_add_up_to_is_one(tmp_path):
    """Four times 2 A and a start of 8 A."""
    rows = [f"{stamp},{amps},25" for stamp, amps in zip(STAMPS, [2, 2, 2, 2, 8], strict=False)]
    assert len(convert(tmp_path, text(HEADER, *rows))["current_A"]) == 5


@pytest.mark.parametrize(
    "below",
    [
        ["datetime,float,float"],
        ["timestamp,numeric,double"],
        ["-------------------,-----,-----"],
        ["yyyy-mm-dd hh:mm:ss,A,V", "===,===,==="],
    ],
)
def test_types_and_rules_below_a_header_are_passed_over(tmp_path, below):
    """They are no header, and no rows that could not be read."""
    done = convert(tmp_path, text(HEADER, *below, *ROWS))
    assert done["current_A"].tolist() == AMPS
    assert done.rejects == []


def test_rows_of_several_kinds_for_one_instant_are_refused(tmp_path):
    """Lowest, mean and highest in turns are never averaged into one another."""
    rows = [f"{row.split(',')[0]},{kind},{row.split(',', 1)[1]}" for row in ROWS for kind in ("min", "mean", "max")]
    done = convert(tmp_path, text("Time,Sort,Current (A),Voltage (V)", *rows))
    assert done.status == 2
    assert "column 'Sort' names rows of several kinds ('max', 'mean', 'min')" in done.error


@pytest.mark.parametrize("words", [("on", "on", "off"), ("on", "", "off")])
def test_words_beside_several_readings_a_second_are_none(tmp_path, words):
    """A state that two rows of one second share, or that most rows leave empty."""
    rows = [f"{STAMPS[k // 2]},{row.split(',', 1)[1]},{words[k % 3]}" for k, row in enumerate(ROWS)]
    assert len(convert(tmp_path, text(HEADER + ",Relay", *rows))["current_A"]) == 200


def test_the_same_header_between_other_marks_holds_for_the_rows_below_it(tmp_path):
    """Two programs wrote the halves, one of them with decimal commas."""
    half = len(ROWS) // 2
    other = [row.replace(",", ";").replace(".", ",") for row in [HEADER, *ROWS[half:]]]
    done = convert(tmp_path, text(HEADER, *ROWS[:half], *other))
    assert done["current_A"].tolist() == AMPS


@pytest.mark.parametrize(("name", "long"), [("Device", 900), ("Sensor ID", 9)])
def test_another_meter_that_comes_late_stops_it(tmp_path, name, long):
    """Beyond the beginning that is looked at first or within it; a damaged name is none."""
    note = "." * long
    rows = [f"{row},A7,{note}" for row in ROWS] + [f"2026-06-13 11:00:{k:02d},5.0,25.0,B7,{note}" for k in range(9)]
    done = convert(tmp_path, text(f"{HEADER},{name},Note", *rows))
    assert done.status == 2
    assert f"line 202, column '{name}' says 'b7' here and 'a7' above" in done.error
    rows = [row.replace("B7", "A7" if k != 205 else "A?") for k, row in enumerate(rows)]
    assert len(convert(tmp_path, text(f"{HEADER},{name},Note", *rows))["current_A"]) == 209


LONG = [f"2026-06-13 {10 + k // 3600}:{k // 60 % 60:02d}:{k % 60:02d},2.5,25.1" for k in range(1000)]


@pytest.mark.parametrize("cell", [",20.5", ""])
def test_a_column_that_comes_or_goes_stops_it_however_few_the_rows(tmp_path, cell):
    """Two in a hundred rows at the end, all of them surges perhaps."""
    rows = [row if k < 980 else row.rsplit(",", 0 if cell else 1)[0] + cell for k, row in enumerate(LONG)]
    done = convert(tmp_path, text(HEADER, *rows))
    assert done.status == 2
    assert "20 of 1000 rows could not be read for one and the same reason" in done.error
    assert "line 982" in done.error


@pytest.mark.parametrize("other", ["2026-06-13 10:00:00,lid open,3,note", "2026-06-13 10:00:00,lid open"])
def test_events_behind_the_readings_are_no_change(tmp_path, other):
    """Rows of words and of another width, as many as may be."""
    assert len(convert(tmp_path, text(HEADER, *LONG, "Time,Event", *[other] * 30))["current_A"]) == 1000
