"""Fields whose figures stand on plates: the bank, inverters, loads, the array, chargers."""

from __future__ import annotations

from typing import Final

from .field import Field, Group

_POWER: Final = ("W", "kW")
_DURATION: Final = ("s", "min")

PLACE: Final = Group(
    "",
    "The place",
    "What it is called, and whose clock its meters show.",
    (
        Field("name", "Name", "Any name that you will know it by.", "required"),
        Field("zone", "Time zone", "Of the meters' clocks, such as Europe/London.", "usual"),
    ),
)

BANK: Final = Group(
    "bank",
    "The bank",
    "All batteries together, as they are wired.",
    (
        Field("nominal_V", "Nominal voltage", "12, 24 or 48 V in most banks; on each battery, times those in a row.",
              "required", ("V",)),
        Field("capacity_Ah", "Capacity of the whole bank",
              "On each battery's label, in Ah, times the strings side by side; or all of them: 8 x 6 V 210 Ah.",
              "required", ("Ah", "kWh", "Wh")),
        Field("chemistry", "Kind of battery", "On the label or its data sheet.", "usual", choices={
            "flooded_lead_acid": "lead-acid, with water to top up", "agm": "AGM", "gel": "gel",
            "lifepo4": "lithium iron phosphate (LiFePO4)", "other": "another kind"}),
        Field("hour_rate_h", "Hours of the rating", "On the label: C20 or 20 h is 20.", "optional", ("h",)),
        Field("usable_depth_pct", "How far you run it down", "Your own choice; half is usual for lead-acid.", "usual",
              ("%",)),
        Field("cut_off_V", "Empty at", "The lowest voltage you let it come to.", "usual", ("V",)),
        # Lithium cannot be judged without it: its protection opens without a warning.
        Field("max_discharge_A", "Most amps out",
              "Of lithium, on its protection's data sheet: without a break; or two, the second for a moment.", "usual",
              ("A",)),
        Field("max_discharge_s", "Seconds of the second figure", "Beside the peak current on the same sheet.",
              "optional", _DURATION),
        Field("max_charge_A", "Most amps in", "On the same sheet, as charge current.", "optional", ("A",)),
        # From here on what few know of their bank, and no answer waits for.
        Field("cycle_life", "Cycles it lasts", "On its maker's data sheet, depth and cycles: 50 % 1200; 80 % 600."),
        Field("throughput_kWh", "Or the energy of its life", "In a lithium bank's guarantee, as throughput.",
              "optional", ("kWh", "Wh")),
        Field("price", "Price of the whole bank", "What you paid, or would pay for another."),
        Field("currency", "Currency of the price", "Such as EUR."),
        Field("strings", "Strings side by side", "How many rows of batteries are joined in parallel."),
        Field("batteries", "Batteries in all", "Count them."),
        Field("battery_V", "Voltage of one battery", "On its label.", "optional", ("V",)),
        Field("charging_V", "Charged at", "The charge controller's setting for absorption.", "optional", ("V",)),
        Field("charge_efficiency_pct", "Share of the Ah that comes out again", "On the data sheet, if at all.",
              "optional", ("%",)),
        Field("peukert_exponent", "Peukert exponent", "On a lead-acid battery's data sheet, if at all; 1.1 to 1.4."),
        Field("temperature_degC", "Temperature of the cells",
              "Feel or measure it; the coldest if it varies. With the hours of the rating it tells how long a cold "
              "bank lasts.", "optional", ("°C", "°F"), ("temperature_degF",)),
        Field("start_state_pct", "How full when a log begins", "As the charge controller or your own book has it.",
              "optional", ("%",)),
        Field("rested_V", "Voltage after hours of rest", "Of lead-acid, in place of how full it is.",
              "optional", ("V",)),
        Field("resistance_mohm", "Resistance inside", "Leave it out: a log with starts finds it.", "optional",
              ("mohm",)),
    ),
)  # fmt: skip

INVERTERS: Final = Group(
    "inverters",
    "Inverters",
    "One for each; the data sheet has more than the plate.",
    (
        Field("name", "Name", "Any name; loads and cables refer to it.", "required"),
        # Plates have watts or volt-amperes, some both: two fields, of which one is enough.
        Field("continuous_W", "Power without a break, in watts", "On its plate, as rated power.", "usual",
              _POWER),
        Field("continuous_VA", "Power without a break, in volt-amperes", "On its plate, where it has VA, not W.",
              "usual", ("VA", "kVA")),
        Field("surge_W", "Power for a moment, in watts", "On its data sheet, as surge or peak power.", "usual", _POWER),
        Field("surge_VA", "Power for a moment, in volt-amperes", "On its data sheet, where that has VA in place of W.",
              "usual", ("VA", "kVA")),
        Field("surge_s", "For how long", "Beside the surge on the data sheet.", "usual", _DURATION),
        Field("output_V", "Voltage it gives", "On its plate: 230 V, or 120 V in North America.", "usual", ("V",)),
        Field("waveform", "Its wave", "On its plate or data sheet.", choices={
            "sine": "pure sine", "modified": "modified sine or square wave"}),
        Field("phases", "Phases", "On its plate: 1, or 3 of few."),
        Field("efficiency_pct", "Efficiency", "On its data sheet, at a usual load.", "optional", ("%",)),
        Field("idle_W", "What it takes with nothing running",
              "On its display, or on its data sheet as no-load or idle consumption.", "optional", _POWER),
        Field("always_on", "Never switched off", "Then what it takes idle belongs to no load."),
        Field("cut_off_V", "Switches itself off below", "On its data sheet, as low-voltage cut-off.", "optional",
              ("V",)),
        Field("efficiency_curve", "Efficiency at several loads",
              "From the data sheet's drawing, watts and percent: 300 W 88 %; 1000 W 92 %."),
        # In place of the efficiency, of who has measured it; the model minds if both are given.
        Field("loss_model.idle_W", "Losses you measured: with nothing running", "In place of the efficiency.",
              "optional", _POWER),
        Field("loss_model.proportional", "Losses you measured: times the watts given"),
        Field("loss_model.square_per_W", "Losses you measured: times their square, per W"),
    ),
    several=True,
)  # fmt: skip

LOADS: Final = Group(
    "loads",
    "Loads",
    "What runs: first of all the pump. Each plate says a part of this.",
    (
        Field("name", "Name", "Any name, such as well pump.", "required"),
        Field("kind", "What it is", "", "usual", choices={
            "pump": "a pump", "motor": "another motor", "compressor": "a fridge or compressor", "heater": "a heater",
            "electronics": "electronics", "lights": "lights", "other": "something else"}),
        Field("inverter", "Fed by", "The inverter it hangs on; leave it out on the bank's own voltage.", "usual",
              names=("inverters",)),
        Field("voltage_V", "Voltage", "On its plate, beside V or VOLTS.", "usual", ("V",)),
        Field("current_A", "Amps while running", "On its plate, beside A, AMPS or FLA; of a pump with SFA, that.",
              "usual", ("A",)),
        Field("power_W", "Power it takes in", "On its plate, beside W or P1; not the power at the shaft.", "usual",
              _POWER),
        Field("hp", "Power at the shaft", "On the pump's plate beside HP, or P2 in kW.", "usual", ("hp", "kW", "W")),
        # What makes a start exact; without it the usual is assumed, and said.
        Field("power_factor", "Power factor", "On its plate, beside PF or cos φ."),
        Field("phases", "Phases", "On its plate, beside PH: 1 or 3."),
        Field("capacitor", "Capacitor", "In its control box, or on the motor: what the wiring diagram shows.", choices={
            "none": "none (split phase)", "start": "for the start alone", "run": "one that stays on",
            "both": "one for the start, one that stays on"}),
        Field("code_letter", "Code letter", "On a North American plate, beside CODE: a letter."),
        Field("locked_rotor_A", "Amps at standstill",
              "On the motor's data sheet, as locked-rotor current or LRA; of one for direct current, as stall current.",
              "optional", ("A",)),
        Field("start", "How it is started", "", choices={
            "direct": "switched straight on", "soft": "by a soft starter", "drive": "by a drive of any speed"}),
        Field("start_s", "How long a start lasts", "Half a second is usual of a small pump; else the ramp that is set.",
              "optional", ("s", "ms")),
        Field("duty_pct", "Share of the time it runs", "Of a fridge or a thermostat.", "optional", ("%",)),
    ),
    several=True,
)  # fmt: skip

ARRAY: Final = Group(
    "array",
    "The solar array",
    "All panels on the bank together.",
    (
        Field("power_W", "Peak power", "On each panel's back, beside Pmax, times the panels.", "required", _POWER),
        Field("sun_hours_h", "Hours of full sun a day", "What the day's light amounts to; 2 in winter, 5 in summer.",
              "usual", ("h",)),
        Field("performance_ratio", "Share of the power that reaches the bank", "0.6 is usual with a bank."),
        Field("losses_pct", "Or its losses, one after another", "In percent: 2, 3, 2.", "optional", ("%",)),
        # Of a PWM controller alone, which passes amps on.
        Field("current_A", "Amps at peak power", "On each panel's back, beside Imp, times the strings.", "optional",
              ("A",)),
        Field("controller", "Charge controller",
              "On its plate. Its most amps are not asked for: the answer below says what it has to bear.", choices={
                  "mppt": "MPPT", "pwm": "PWM"}),
    ),
)  # fmt: skip

CHARGERS: Final = Group(
    "chargers",
    "Chargers beside the sun",
    "What else fills the bank: a charger on mains or on a generator, an engine's alternator. The solar charge "
    "controller is none of these.",
    (
        Field("name", "Name", "Any name, such as generator.", "required"),
        Field("rated_A", "Amps into the bank", "On the charger's plate, as output or charge current.",
              "required", ("A",)),
        Field("kind", "What feeds it", "", choices={
            "mains": "the mains", "generator": "a generator", "alternator": "an engine's alternator"}),
    ),
    several=True,
    folded=True,
)  # fmt: skip
