"""Lines above a header that say what the header does not: which way is positive, and the unit."""

import pytest
from exporting import convert


def export(above, header="Time,Current,Voltage"):
    """Return an export of 60 readings of 10.5 to 19.5 with a line above its header."""
    rows = [f"2026-06-13 10:00:{k:02d},1{k % 10}.5,25.1" for k in range(60)]
    return "\n".join([*([above] if above else []), header, *rows, ""])


@pytest.mark.parametrize(
    "line",
    [
        "# Current: positive = charging, negative = discharging",
        "Sign;+ = charging",
        "Strom: positiv = Laden",
        "Negative current: discharge",
        "Current > 0: charging",
        "Charge current is shown as positive",
    ],
)
def test_that_charging_is_positive_is_asked(tmp_path, line):
    """Never read the other way round in silence; the option settles it."""
    text = export(line, "Time,Current (A),Voltage (V)")
    done = convert(tmp_path, text)
    assert done.status == 2
    assert "line 1, " in done.error
    assert "--reverse-sign" in done.error
    assert convert(tmp_path, text, options=("--zone", "UTC", "--reverse-sign"))["current_A"].max() == -10.5


@pytest.mark.parametrize(
    "line",
    [
        "# positive = discharge",
        "Data read-out, plug-in, cut-in 22 V",
        "Shunt voltage drop,50 mV",
        "Current range: 500 mA",
        "# current in A, voltage in V",
        "Position in the shed: left",
    ],
)
def test_other_lines_are_not_asked_about(tmp_path, line):
    """Amounts, hyphens, and what agrees with how it is read."""
    assert convert(tmp_path, export(line))["current_A"][0] == 10.5


def test_what_the_header_says_is_not_asked(tmp_path):
    """It turns the sign, and names the unit, by itself."""
    header = "Time,Current (A; + = charging),Voltage (V)"
    assert convert(tmp_path, export("# mA current, + = charging", header))["current_A"][0] == -10.5


@pytest.mark.parametrize("line", ["# current in mA, voltage in V", "Unit Current,mA,"])
def test_a_unit_with_a_prefix_is_asked(tmp_path, line):
    """Tens of milliamps look like tens of amps."""
    done = convert(tmp_path, export(line))
    assert done.status == 2
    assert '[quantities.current_A] unit = "mA" or unit = "A"' in done.error
