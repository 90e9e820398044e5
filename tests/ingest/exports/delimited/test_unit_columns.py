"""A unit in a column of its own, row by row."""

from __future__ import annotations

from exporting import convert


def converted(tmp_path, header, rows):
    """Convert an export of seconds."""
    lines = [f"{1_780_000_000 + k},{row}" for k, row in enumerate(rows)]
    return convert(tmp_path, "\n".join([f"epoch,{header}", *lines, ""]), options=("--zone", "UTC"))


def test_each_row_by_its_own_unit(tmp_path):
    """Also where the other unit first comes beyond the sample; one of another kind is none."""
    done = converted(tmp_path, "Current,Unit,Voltage", ["510,mA,25.1", "33.5,A,24.9"])
    assert done["current_A"].tolist() == [0.51, 33.5]
    late = converted(tmp_path, "Current,Unit", ["20,A"] * 19_000 + ["300,mA", "5,V"])
    assert late["current_A"][-2:].tolist() == [20.0, 0.3]
    assert late.rejects[0][1] == "column 'Unit': 'V' is no unit of current"


def test_several_columns_of_units(tmp_path):
    """Each is of the readings before it."""
    done = converted(tmp_path, "Current,Unit,Voltage,Unit", ["510,mA,25.1,V", "33.5,A,24900,mV"])
    assert done["current_A"].tolist() == [0.51, 33.5]
    assert done["voltage_V"].tolist() == [25.1, 24.9]


def test_a_name_that_says_another_unit_is_asked_about(tmp_path):
    """Either could be wrong."""
    done = converted(tmp_path, "Current (A),Unit", ["510,mA"] * 9)
    assert done.status == 2
    assert "says A by its name" in done.error
    assert converted(tmp_path, "Current (A),Unit", ["5,A"] * 9)["current_A"][0] == 5.0


def test_a_letter_that_is_no_unit(tmp_path):
    """A phase called A changes nothing."""
    assert converted(tmp_path, "Current (mA),Phase", ["5,A"] * 9)["current_A"][0] == 0.005
