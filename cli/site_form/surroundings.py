"""Fields of what is built around the plates: water, cables, meters, the owner's limits, units to show."""

from __future__ import annotations

from typing import Final

from .field import Field, Group

_PRESSURE: Final = ("psi", "bar", "kPa")
_LENGTH: Final = ("m", "ft")
_DURATION: Final = ("s", "min", "h")

WATER: Final = Group(
    "water",
    "The tank and its water",
    "The pressure tank, its switch, and the pump that fills it.",
    (
        Field("load", "Filled by", "The pump, one of the loads.", "required", names=("loads",)),
        Field("tank_volume_L", "Volume of the whole tank", "On the tank's label.", "required", ("L", "gal"),
              ("tank_volume_gal",)),
        Field("cut_in_kPa", "Pump starts at",
              "Under the pressure switch's cover, or at the gauge; both if you like: 40/60 psi.", "usual", _PRESSURE,
              ("cut_in_psi",)),
        Field("cut_out_kPa", "Pump stops at", "Beside it; 20 psi or 1.4 bar higher as a rule.", "usual", _PRESSURE,
              ("cut_out_psi",)),
        # Without these two the tank is not judged; both take a minute to find out.
        Field("precharge_kPa", "Air pressure of the empty tank",
              "With a tyre gauge at the tank's valve, the tank empty of water.", "usual", _PRESSURE,
              ("precharge_psi",)),
        Field("flow_L_per_min", "What the pump gives", "Fill a bucket of known size and take the time.", "usual",
              ("L/min", "gal/min"), ("flow_gal_per_min",)),
        Field("head_m", "Height it lifts the water", "From the well's water to the tank, and friction.", "optional",
              _LENGTH, ("head_ft",)),
        Field("altitude_m", "Height above the sea", "On a map.", "optional", _LENGTH, ("altitude_ft",)),
    ),
)  # fmt: skip

CABLES: Final = Group(
    "conductors",
    "Cables and fuses",
    "Each pair of wires between battery, inverter, charger and panels: out and back. Leave out those behind an "
    "inverter: the mains side is for the electrician.",
    (
        Field("name", "Name", "From where to where.", "required"),
        Field("area_mm2", "Size", "Printed on its sheath: mm², or AWG such as 6 or 2/0.", "required", ("mm2", "AWG"),
              ("gauge_AWG",)),
        Field("length_m", "Length, one way", "Measured along it.", "required", _LENGTH, ("length_ft",)),
        # The first thing to be held against the cable: a wrong one ends in a fire.
        Field("fuse_A", "Its fuse", "On the fuse or the breaker.", "usual", ("A",)),
        Field("fuse_kA", "Short circuit it can break", "On the fuse, as kA DC or interrupting rating.", "optional",
              ("kA",)),
        Field("carries", "What hangs on it",
              "Inverters, loads on the bank's own voltage, chargers, or array: what it joins to the bank.", "usual",
              names=("inverters", "loads", "chargers", "array")),
        Field("strands", "Strands", "", choices={"stranded": "many thin wires", "solid": "one wire"}),
        Field("temperature_degC", "Temperature of the copper", "75 °C is taken where it is not given.", "optional",
              ("°C", "°F")),
    ),
    several=True,
)  # fmt: skip

METERS: Final = Group(
    "meters",
    "Meters",
    "What reads the logs. Its data sheet says how far it may be off.",
    (
        Field("name", "Name", "Any name; logs keep it.", "required"),
        Field("side", "Where it sits", "", "required",
              choices={"dc": "at the bank", "ac": "behind an inverter"}),
        Field("inverter", "Behind which inverter", "Of one behind an inverter.", names=("inverters",)),
        Field("range_A", "Range in amps", "On the shunt: the amps before the millivolts.", "usual", ("A",)),
        Field("reading_pct", "Off by so much of the reading", "On its data sheet, as % of reading.", "usual", ("%",)),
        Field("range_pct", "And so much of the range", "On its data sheet, as % of range or full scale.", "usual",
              ("%",)),
        # Data sheets that say more are few; the usual figures are assumed, and said.
        Field("resolution_A", "Its last digit, in amps", "On its display.", "optional", ("A", "mA")),
        Field("shunt_class_pct", "Class of its shunt", "On the shunt, as class 0.25 or 0.5.", "optional", ("%",)),
        Field("zero_A", "Off by so much with nothing flowing", "On its data sheet, as zero or offset.", "optional",
              ("A", "mA")),
        Field("range_V", "Range in volts", "On its data sheet.", "optional", ("V",)),
        Field("voltage_reading_pct", "Volts off by so much of the reading", "On its data sheet.", "optional", ("%",)),
        Field("voltage_range_pct", "Volts off by so much of the range", "On its data sheet.", "optional", ("%",)),
        Field("resolution_V", "Its last digit, in volts", "On its display.", "optional", ("V", "mV")),
        Field("range_W", "Range in watts", "On its data sheet.", "optional", ("W", "kW")),
        Field("power_reading_pct", "Watts off by so much of the reading", "On its data sheet.", "optional", ("%",)),
        Field("power_range_pct", "Watts off by so much of the range", "On its data sheet.", "optional", ("%",)),
        Field("resolution_W", "Its last digit, in watts", "On its display.", "optional", ("W",)),
        Field("clock_ppm", "Its clock off by millionths", "A second a day is 12."),
        Field("sampling", "What a reading is", "On its data sheet.", choices={
            "instant": "the moment itself", "mean": "the average since the reading before",
            "held": "read by eye, true until the next"}),
        # For who captures all meters of a place at once.
        Field("source", "Where it is read", "As capture takes it, such as serial:PORT?baud=19200."),
        Field("profile", "Its profile", "The file that says what its readings are."),
        Field("every_s", "Read every", "", "optional", _DURATION),
        Field("gap_s", "A gap from", "Readings further apart are one.", "optional", _DURATION),
    ),
    several=True,
    folded=True,
)  # fmt: skip

LIMITS: Final = Group(
    "limits",
    "Your own limits",
    "They go before the usual ones.",
    (
        Field("minimum_run_s", "Shortest run of the pump", "In its manual; 60 s is usual.", "optional", _DURATION),
        Field("minimum_off_s", "Shortest rest", "In its manual.", "optional", _DURATION),
        Field("starts_per_day", "Most starts a day", "In its manual; 300 is usual below 1 hp."),
        Field("starts_per_hour", "Most starts in an hour", "In its manual."),
        Field("longest_run_s", "Longest run", "Longer means that water runs away.", "optional", _DURATION),
        Field("dry_running_pct", "Dry below this share of its usual draw", "", "optional", ("%",)),
        Field("draw_drift_pct", "Change of its draw to be told of", "", "optional", ("%",)),
        Field("low_voltage_V", "Lowest voltage at the bank", "", "optional", ("V",)),
        Field("standing_draw_W", "Most that may flow while it rests", "", "optional", ("W",)),
    ),
    folded=True,
)  # fmt: skip

SHOWN: Final = Group(
    "units",
    "Units you are shown",
    "Where nothing is chosen, those of the figures above.",
    (
        Field("volume", "Volumes", choices={"L": "litres", "gal": "US gallons"}),
        Field("flow", "Flow", choices={"L/min": "litres a minute", "gal/min": "US gallons a minute"}),
        Field("pressure", "Pressure", choices={"bar": "bar", "psi": "psi", "kPa": "kPa"}),
        Field("length", "Lengths", choices={"m": "metres", "ft": "feet"}),
        Field("temperature", "Temperatures", choices={"degC": "°C", "degF": "°F"}),
    ),
    folded=True,
)
