"""What a header's words are taken for."""

from __future__ import annotations

import pytest

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.exports.delimited.choice import choose
from shuntbook.ingest.exports.delimited.header import ac_column, is_unit_cell, looks_ac, meaning

TAKEN = [
    ("I [mA]", "current_A", "mA"),
    ("Current", "current_A", "A"),
    ("Current(A)", "current_A", "A"),
    ("Amps", "current_A", "A"),
    ("amperes", "current_A", "A"),
    ("Battery current (ADC)", "current_A", "A"),
    ("shunt_current_mA", "current_A", "mA"),
    ("packCurrent", "current_A", "A"),
    ("Ibat", "current_A", "A"),
    ("A", "current_A", "A"),
    ("mA", "current_A", "mA"),
    ("Bank A", "current_A", "A"),
    ("Current (house)", "current_A", "A"),
    ("Current (1)", "current_A", "A"),
    ("RMS Current", "current_A", "A"),
    ("Pack voltage", "voltage_V", "V"),
    ("Voltage A", "voltage_V", "V"),
    ("Volts DC", "voltage_V", "V"),
    ("U [mV]", "voltage_V", "mV"),
    ("V_bat", "voltage_V", "V"),
    ("Vbatt", "voltage_V", "V"),
    ("v", "voltage_V", "V"),
    ("Power(kW)", "power_W", "kW"),
    ("Watts", "power_W", "W"),
    ("Active (W)", "power_W", "W"),
    ("Power KW", "power_W", "kW"),
    ("Consumed Ah", "charge_Ah", "Ah"),
    ("Amp-hr", "charge_Ah", "Ah"),
    ("Amp hours", "charge_Ah", "Ah"),
    ("Used amp hours", "charge_Ah", "Ah"),
    ("Charge [mAh]", "charge_Ah", "mAh"),
    ("Watt-hr", "energy_Wh", "Wh"),
    ("Energy (kWh)", "energy_Wh", "kWh"),
    ("Temp C", "temperature_degC", "degC"),
    ("Temperature (°F)", "temperature_degC", "degF"),
    ("Temperature [℃]", "temperature_degC", "degC"),
    ("SOC [%]", "state_of_charge_pct", "%"),
    ("State of charge", "state_of_charge_pct", "%"),
    ("Power factor", "power_factor", "1"),
    ("cos phi", "power_factor", "1"),
    ("Frequency Hz", "frequency_Hz", "Hz"),
    ("Pressure psi", "pressure_kPa", "psi"),
    ("Step current (A)", "current_A", "A"),
    ("Cycle power W", "power_W", "W"),
    ("Flow L/min", "flow_L_per_min", "L/min"),
    ("Flow rate gal/min", "flow_L_per_min", "gal/min"),
    ("Strom", "current_A", "A"),
    ("Strom/A", "current_A", "A"),
    ("Courant/mA", "current_A", "mA"),
    ("Spannung", "voltage_V", "V"),
    ("Puissance", "power_W", "W"),
]


@pytest.mark.parametrize(("name", "quantity", "symbol"), TAKEN)
def test_plain_english(name, quantity, symbol):
    """The quantity and its unit, from the name alone."""
    meant = meaning(name)
    assert meant is not None
    assert (meant.quantity, meant.unit.symbol) == (quantity, symbol)


@pytest.mark.parametrize(
    "name",
    [
        "Peak current",
        "Current max",
        "Min voltage (V)",
        "Current limit [A]",
        "Voltage setpoint",
        "Open circuit voltage",
        "Amps (max)",
        "Power peak (W)",
        "Rated power",
        "Alarm voltage",
        "Remaining capacity (Ah)",
        "Nominal capacity [Ah]",
        "Apparent power (VA)",
        "Power (VA)",
        "Reactive power",
        "Power [var]",
        "Phase A",
        "Channel A",
        "Status",
        "Time",
        "Cycle",
        "Step",
        "Charge (%)",
        "Hours",
        "Sensor F",
        "ES",
        "Speed (km/h)",
        "Note (A to Z)",
        "Cycle P",
        "Current step",
        "Current index",
        "Charge state",
        "Power mode",
    ],
)
def test_what_is_no_reading(name):
    """Figures that are not the reading itself, apparent power, and letters that only look like units."""
    assert meaning(name) is None


@pytest.mark.parametrize(
    ("name", "cell", "words"),
    [
        ("Current (V)", "", "is a unit of voltage, not of current"),
        ("Voltage [xV]", "", "unit 'xV' is not known"),
        ("Current", "furlong", "unit 'furlong' is not known"),
        ("Power (mw)", "", "could be mW or MW"),
        ("Current [A]", "mA", "its name says A, the units row mA"),
    ],
)
def test_a_wrong_unit_is_told_with_the_column(name, cell, words):
    """Unknown, contradictory or ambiguous: an error with the column's own name."""
    with pytest.raises(InputError, match=words) as caught:
        meaning(name, cell)
    assert name in str(caught.value)


def chosen(*names: str) -> dict[str, str]:
    """Return the name of the column that is taken for each quantity."""
    columns, _ = choose(names, [""] * len(names))
    return {quantity: names[taken.index] for quantity, taken in columns.items()}


@pytest.mark.parametrize(
    ("names", "current"),
    [
        (("Load current", "Battery current"), "Battery current"),
        (("PV current", "Current"), "Current"),
        (("Current", "Charge current", "Discharge current"), "Current"),
        (("Current peak", "Current"), "Current"),
        (("Average current", "Current"), "Current"),
        (("Cell 1 current", "Pack current"), "Pack current"),
    ],
)
def test_the_plainer_column_is_taken(names, current):
    """The bank's own reading before one that speaks of something else, in any order."""
    assert chosen(*names)["current_A"] == current
    assert chosen(*names[::-1])["current_A"] == current


@pytest.mark.parametrize(
    "names",
    [("Current 1", "Current 2"), ("Amps", "Amps"), ("PV current", "Load current"), ("Volts 1", "Volts 2", "Amps")],
)
def test_two_alike_stop_where_they_are_needed(names):
    """Nothing is guessed: both are named, and the way out."""
    with pytest.raises(InputError, match=r"could both be .*profile"):
        choose(names, [""] * len(names))


@pytest.mark.parametrize("pair", [("Temp 1", "Temp 2"), ("Charge (Ah)", "Discharge (Ah)"), ("Power 1", "Power 2")])
def test_two_alike_are_left_out_where_they_are_not_needed(pair):
    """With current and voltage there, the rest is optional; that neither is taken is said."""
    names = ("Amps", "Volts", *pair)
    columns, remarks = choose(names, [""] * 4)
    assert set(columns) == {"current_A", "voltage_V"}
    assert len(remarks) == 1
    assert pair[0] in remarks[0]
    assert "neither is taken" in remarks[0]


def test_of_two_alike_the_filled_one_is_taken():
    """A column without a single reading does not stand in the way."""
    columns, _ = choose(("Current", "Battery current"), ("", ""), (False, True))
    assert columns["current_A"].index == 1


def test_what_must_be_looked_at_twice_is_said():
    """A current that speaks of something other than the bank."""
    columns, remarks = choose(("PV current",), ("",))
    assert "current_A" in columns
    assert any("for want of a plainer column" in line for line in remarks)


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("[A]", True),
        ("mV", True),
        ("%", True),
        ("h:m:s", True),
        ("dd/mm/yyyy hh:mm", True),
        ("1.5", False),
        ("Pump", False),
    ],
)
def test_unit_cells(cell, expected):
    """What may stand in a units row."""
    assert is_unit_cell(cell) is expected


def test_alternating_current_shows():
    """By its words, also in brackets, or by a power factor."""
    assert looks_ac(["Current (RMS)"], ["current_A"])
    assert looks_ac(["RMS Current", "Time"], ["current_A"])
    assert looks_ac(["Amps", "PF"], ["current_A", "power_factor"])
    assert not looks_ac(["Pack current", "Time"], ["current_A"])


@pytest.mark.parametrize(
    ("names", "speaks"),
    [
        (("V", "A", "VA"), "VA"),
        (("Volts", "Amps", "Power (kVA)"), "Power (kVA)"),
        (("Volts", "Amps", "Apparent power"), "Apparent power"),
        (("Volts", "Amps", "Q [var]"), "Q [var]"),
        (("Voltage (VAC)", "Current"), "Voltage (VAC)"),
        (("Volts", "Amps", "PF"), "PF"),
        (("Volts", "Amps", "Power (W)"), None),
        (("Battery voltage", "Battery current", "Inverter apparent power (VA)"), None),
        (("DC volts", "DC amps", "AC power (W)"), None),
        (("Volts", "Amps", "AC power (W)"), None),
        (("AC power (W)",), "AC power (W)"),
    ],
)
def test_the_column_that_speaks_of_alternating_current(names, speaks):
    """Volt-amperes and their like anywhere, AC only in what is taken; a bank's own readings are DC all the same."""
    columns, _ = choose(names, [""] * len(names))
    taken = {quantity: column.index for quantity, column in columns.items()}
    assert ac_column(names, (), taken) == speaks


def test_the_units_row_speaks_of_alternating_current_too():
    """Where the unit stands below the name."""
    assert ac_column(("U", "I", "S"), ("V", "A", "VA"), {"voltage_V": 0, "current_A": 1}) == "S"
