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


def test_whole_numbers_in_the_other_unit_are_no_damage(tmp_path):
    """Milliamps have no decimals where amps have: five rows of two hundred are none too few to be true."""
    rows = [f"{30 + k % 37 / 10:.1f},A" for k in range(200)]
    rows[50:55] = ["-590,mA", "-1270,mA", "-1720,mA", "-31800,mA", "-99000,mA"]
    done = converted(tmp_path, "Current,Unit", rows)
    assert len(done.time_us) == 200
    assert done["current_A"][50:55].tolist() == [-0.59, -1.27, -1.72, -31.8, -99.0]


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


def test_readings_without_a_name(tmp_path):
    """A column of values is what its units say, if they are of one kind and no mode says that it alternates."""
    done = converted(tmp_path, "Value,Unit,Voltage", ["510,mA,25.1", "33.5,A,24.9"])
    assert done["current_A"].tolist() == [0.51, 33.5]
    assert done["voltage_V"].tolist() == [25.1, 24.9]
    assert converted(tmp_path, "Mode,Value,Unit", ["DC,510,DCmA"] * 9)["current_A"][0] == 0.51
    several = converted(tmp_path, "Value,Unit", ["510,mA", "33.5,V"] * 9)
    assert several.status == 2
    assert "holds readings of several things" in several.error
    alternating = converted(tmp_path, "Mode,Value,Unit", ["ACA,510,mA"] * 9)
    assert alternating.status == 2
    assert 'side = "ac"' in alternating.error


def test_a_profile_without_a_unit_leaves_it_to_the_rows(tmp_path):
    """The question names such a line, and it works."""
    rows = ["510,mA,25.1", "33.5,A,24.9"]
    asked = converted(tmp_path, "Channel,Unit,Voltage", rows)
    line = 'quantities.current_A = {column = "Channel"}'
    assert line in asked.error
    (tmp_path / "own.toml").write_text(line)
    text = "\n".join(["epoch,Channel,Unit,Voltage", *(f"{1_780_000_000 + k},{row}" for k, row in enumerate(rows)), ""])
    done = convert(tmp_path, text, options=("--zone", "UTC", "--profile", str(tmp_path / "own.toml")))
    assert done["current_A"].tolist() == [0.51, 33.5]
