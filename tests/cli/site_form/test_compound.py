"""What plates say at once is taken apart, by what switches, batteries and panels are, and else refused."""

from __future__ import annotations

import pytest

from shuntbook.cli.site_form.compound import taken_apart
from shuntbook.cli.site_form.filled import filled_form
from shuntbook.cli.site_form.form import form_of, text_of
from shuntbook.cli.site_form.typed import Typed
from shuntbook.ingest.errors import InputError

CUT_IN, CUT_OUT = ("water", "cut_in_kPa"), ("water", "cut_out_kPa")
CAPACITY, NOMINAL = ("bank", "capacity_Ah"), ("bank", "nominal_V")
RATED, SURGE = ("inverters", 0, "continuous_W"), ("inverters", 0, "surge_W")


def figures(where, text, unit="", nominal_V=24.0):
    """What an answer comes to, by the last step of each path."""
    apart = taken_apart(where, Typed(text, unit), nominal_V)
    return None if apart is None else {each[-1]: typed.whole for each, typed in apart.fields.items()}


@pytest.mark.parametrize(
    ("text", "unit", "starts", "stops"),
    [
        ("40/60 psi", "", "40 psi", "60 psi"),
        ("40-60 psi", "", "40 psi", "60 psi"),
        ("40 \u2013 60 psi", "", "40 psi", "60 psi"),
        ("40 psi to 60 psi", "", "40 psi", "60 psi"),
        ("40 psi / 60", "", "40 psi", "60 psi"),
        ("2.8/4.1 bar", "", "2.8 bar", "4.1 bar"),
        ("2,8/4,1 bar", "", "2,8 bar", "4,1 bar"),
        ("280/410", "kPa", "280 kPa", "410 kPa"),
        ("20/40psi", "bar", "20 psi", "40 psi"),
        ("60/40 psi", "", "40 psi", "60 psi"),  # a pump starts at the lower one
        ("1/2 bar", "", "1 bar", "2 bar"),
        ("on at 40, off at 60 psi", "", "40 psi", "60 psi"),
        ("between 40 and 60 PSI", "", "40 PSI", "60 PSI"),
        ("cut-in 2.8 bar, cut-out 4.1 bar", "", "2.8 bar", "4.1 bar"),
        ("40..60 psi", "", "40 psi", "60 psi"),
    ],
)
def test_both_pressures_of_a_switch(text, unit, starts, stops):
    """As its plate has them, at either of the two fields."""
    for where in (CUT_IN, CUT_OUT):
        assert figures(where, text, unit) == {"cut_in_kPa": starts, "cut_out_kPa": stops}


@pytest.mark.parametrize(
    ("text", "nominal_V", "total", "strings"),
    [
        ("8 x 6 V 210 Ah", 24, "420 Ah", "2"),
        ("8x6V210Ah", 24, "420 Ah", "2"),
        ("8 \u00d7 6V, 210 Ah", 24, "420 Ah", "2"),
        ("eight of 6 V 210 Ah", 24, "420 Ah", "2"),
        ("8 batteries of 6 V with 210 Ah each", 24, "420 Ah", "2"),
        ("6 V 210 Ah x 8", 24, "420 Ah", "2"),
        ("2 strings of 4 x 6 V 210 Ah", 24, "420 Ah", "2"),
        ("8 x 6 V 210 Ah (C20)", 24, "420 Ah", "2"),
        ("8 6V/210Ah lead-acid batteries", 24, "420 Ah", "2"),
        ("8 x 6 V (210 Ah) AGM", 24, "420 Ah", "2"),
        ("8 x 210 Ah 6 V", 48, "210 Ah", "1"),
        ("2 x 12 V 105,5 Ah", 12, "211 Ah", "2"),
        ("16 x 3.2 V 280 Ah", 24, "560 Ah", "2"),  # eight such cells are called 25.6 V, or 24 V
        ("16 x 3.2 V 280 Ah", 48, "280 Ah", "1"),  # fifteen are nearer, but nobody has one cell over
        ("15 x 3.2 V 280 Ah", 48, "280 Ah", "1"),
        ("32 x 3.2 V 100 Ah", 48, "200 Ah", "2"),
        ("7 x 3.7 V 50 Ah", 24, "50 Ah", "1"),
        ("14 x 3.7 V 50 Ah", 48, "50 Ah", "1"),
        ("4 x 3.2 V 100 Ah", 12, "100 Ah", "1"),
    ],
)
def test_batteries_by_their_number(text, nominal_V, total, strings):
    """Those in a row add volts, rows side by side add Ah; what was read off them is kept."""
    taken = figures(CAPACITY, text, "Ah", nominal_V)
    assert (taken["capacity_Ah"], taken["strings"]) == (total, strings)
    assert float(taken["battery_V"].split()[0]) * int(taken["batteries"]) / int(strings) == pytest.approx(
        nominal_V, rel=0.1
    )


@pytest.mark.parametrize(
    ("where", "text", "taken"),
    [
        (CAPACITY, "2 x 5 kWh", {"capacity_Ah": "10 kWh"}),
        (NOMINAL, "2 x 12 V", {"nominal_V": "24 V"}),
        (("array", "power_W"), "4 x 300 W", {"power_W": "1200 W"}),
        (("array", "power_W"), "4 x 0,3 kWp", {"power_W": "1.2 kW"}),
        (("array", "power_W"), "300 W x 4", {"power_W": "1200 W"}),
        (("array", "power_W"), "4 panels of 300 W", {"power_W": "1200 W"}),
        (("array", "power_W"), "2 x 2 x 300 W", {"power_W": "1200 W"}),
        (("water", "tank_volume_L"), "two of 20 gal", {"tank_volume_L": "40 gal"}),
        (RATED, "3000/6000 W", {"continuous_W": "3000 W", "surge_W": "6000 W"}),
        (RATED, "3 kW / 6 kW", {"continuous_W": "3 kW", "surge_W": "6 kW"}),
        (SURGE, "3000/6000", {"continuous_W": "3000", "surge_W": "6000"}),
        (RATED, "3000 W continuous, 6000 W peak", {"continuous_W": "3000 W", "surge_W": "6000 W"}),
        (CAPACITY, "24 V 420 Ah", {"capacity_Ah": "420 Ah"}),
        (NOMINAL, "24 V 420 Ah", {"nominal_V": "24 V"}),
        (("array", "current_A"), "3 x 8.88 A", {"current_A": "26.64 A"}),
        (("meters", 0, "range_A"), "500 A / 50 mV", {"range_A": "500 A"}),
        (("meters", 0, "range_A"), "500A/50mV", {"range_A": "500A"}),
        (("loads", 0, "current_A"), "230 V, 5.2 A", {"current_A": "5.2 A"}),
        (("loads", 0, "current_A"), "115 V, 230 V", None),
        # Watts and volt-amperes of one rating; more watts than volt-amperes are those of another.
        (RATED, "2400 VA, 2000 W", {"continuous_VA": "2400 VA", "continuous_W": "2000 W"}),
        (SURGE, "4 kW / 5 kVA", {"surge_W": "4 kW", "surge_VA": "5 kVA"}),
        (RATED, "2000 VA, 4000 W", {"continuous_W": "2000 VA", "surge_W": "4000 W"}),
        (CAPACITY, "420 Ah C20", {"capacity_Ah": "420 Ah", "hour_rate_h": "20 h"}),
        (CAPACITY, "420 Ah @ 20 hr", {"capacity_Ah": "420 Ah", "hour_rate_h": "20 h"}),
        (CAPACITY, "4 x 6 V 225", {"capacity_Ah": "225 Ah", "strings": "1", "batteries": "4", "battery_V": "6 V"}),
        # One figure in two units, as plates for two countries have it.
        (CUT_IN, "2.8 bar / 40 psi", {"cut_in_kPa": "2.8 bar"}),
        (("water", "tank_volume_L"), "20 gal/76 L", {"tank_volume_L": "20 gal"}),
        (("loads", 0, "hp"), "1.5 hp / 1.1 kW", {"hp": "1.5 hp"}),
        (("loads", 0, "name"), "1 kW / 1000 W", None),
        (CAPACITY, "8 x 6 V 210 Ah, 2 strings", None),
        (CAPACITY, "420", None),
        (CAPACITY, "10 kWh", None),
        (CUT_IN, "40 psi", None),
        (("loads", 0, "hp"), "1 1/2 hp", None),
        (("array", "power_W"), "1,5 kW", None),
    ],
)
def test_several_of_a_kind(where, text, taken):
    """Panels and tanks add up, and the two ratings of an inverter stand side by side; one figure stays one."""
    assert figures(where, text) == taken


@pytest.mark.parametrize(
    ("where", "text", "nominal_V", "sentence"),
    [
        (CUT_IN, "1/2 psi", 24, "is no pressure of a pump's switch; write both like 40/60 psi (got '1/2 psi')"),
        (CUT_IN, "40/60", 24, "needs its unit: psi or bar or kPa (got '40/60')"),
        (CAPACITY, "8 x 6 V 210 Ah", 36, "does not go with the bank's 36 V: 6 of them are a row"),
        (CAPACITY, "2 x 48 V 100 Ah", 12, "does not go with the bank's 12 V: no row of them has 12 V"),
        (CAPACITY, "2 x 0 V 100 Ah", 12, "no row of them has 12 V"),
        (CAPACITY, "26 x 2 V 500 Ah", 48, "24 of them are a row"),  # a lead cell has 2 V, and a slip is a slip
        (CAPACITY, "17 x 3.2 V 280 Ah", 48, "15 of them are a row"),
        (CAPACITY, "2 x 100 Ah", 24, "needs each battery's volts too: a row adds no Ah"),
        (CAPACITY, "8 x 6 V", 24, "needs each battery's Ah"),
        (CAPACITY, "6 V 210 Ah", 24, "needs how many there are"),
        (CAPACITY, "8 x 6 V 210 Ah", None, "needs the bank's nominal voltage first"),
        (NOMINAL, "8 x 6 V", None, "depends on how they are wired; write the volts of the whole bank"),
    ],
)
def test_what_cannot_be_together_is_told(where, text, nominal_V, sentence):
    """In one sentence, with what to write."""
    with pytest.raises(InputError) as error:
        taken_apart(where, Typed(text), nominal_V)
    assert sentence in str(error.value)


@pytest.mark.parametrize(
    ("where", "text", "sentence"),
    [
        (("loads", 0, "voltage_V"), "115/230 V", "may be 115 V or 230 V: write the one that holds (got '115/230 V')"),
        (("loads", 0, "voltage_V"), "220-240 V", "may be 220 V or 240 V"),
        (("loads", 0, "current_A"), "8.4/4.2 A", "may be 8.4 A or 4.2 A"),
        (("loads", 0, "current_A"), "3/4", "may be 3 or 4"),
        (("bank", "nominal_V"), "12/24", "may be 12 or 24"),
        (("water", "precharge_kPa"), "1/2 bar", "may be 1 bar or 2 bar"),
        (("array", "sun_hours_h"), "2-5 h", "may be 2 h or 5 h"),
        (("inverters", 0, "idle_W"), "2 x 14 W", "must be one figure, that of all together (got '2 x 14 W')"),
    ],
)
def test_two_figures_where_one_is_wanted_are_no_fraction(where, text, sentence):
    """A plate has both of a motor for two voltages; nobody divides one by the other."""
    written = text_of("", {where: Typed(text)})
    assert sentence in written.errors[where]
    assert written.text == ""


@pytest.mark.parametrize(
    ("where", "text", "sentence"),
    [
        (("inverters", 0, "surge_s"), "40/60 psi", "is a pressure, not a length of time: give s or min"),
        (("loads", 0, "voltage_V"), "1/2 hp", "is a power, not a voltage: give V"),
        (("water", "precharge_kPa"), "20 L", "is a volume, not a pressure: give psi or bar or kPa"),
        (("bank", "temperature_degC"), "5 to 30", "is a range: write one figure, the coldest that it gets"),
        (("bank", "temperature_degC"), "-5 to 30 °C", "is a range"),
        (("loads", 0, "hp"), "P1 1.1 kW", "is not P1, which is what goes in: 'Power it takes in'"),
        (("loads", 0, "power_W"), "P2 0.75 kW", "is not P2, which is what the shaft gives"),
    ],
)
def test_what_is_of_another_kind_is_refused_by_its_kind(where, text, sentence):
    """Which of two pressures is meant is nothing to ask of who was asked for seconds."""
    assert sentence in text_of("", {where: Typed(text)}).errors[where]


@pytest.mark.parametrize(
    ("where", "text", "shown"),
    [
        (("loads", 0, "hp"), "P2 0.75 kW", "0.75 kW"),
        (("loads", 0, "hp"), "P2: 3 kW", "3 kW"),
        (("loads", 0, "hp"), "HP 1/2", "0.5 hp"),
        (("loads", 0, "power_factor"), "cos φ 0.86", "0.86"),
        (("loads", 0, "voltage_V"), "VOLTS 230", "230 V"),
        (("loads", 0, "voltage_V"), "230 V~", "230 V"),
        (("inverters", 0, "output_V"), "24 V DC / 230 V AC", "230 V"),
        (("bank", "nominal_V"), "24VDC/230VAC", "24 V"),
        (("bank", "hour_rate_h"), "C20", "20 h"),
        (("bank", "temperature_degC"), "-5 °C", "-5 °C"),
    ],
)
def test_what_plates_print_is_taken_and_comes_back_as_it_was(where, text, shown):
    """Labels before a figure, the kind of its volts; a figure that the file has in another unit keeps its own."""
    written = text_of("", {where: Typed(text)})
    assert written.errors == {}
    form = form_of(written.text)
    assert form[where].whole == shown
    assert text_of(written.text, form).text == written.text


@pytest.mark.parametrize(("text", "hp"), [("3/4 hp", "0.75"), ("1 1/2 hp", "1.5"), ("1-1/2", "1.5"), ("\u00bd", "0.5")])
def test_fractions_of_plates_are_fractions(text, hp):
    """As motors have them."""
    where = ("loads", 0, "hp")
    assert form_of(text_of("", {where: Typed(text)}).text)[where] == Typed(hp, "hp")


def test_a_form_takes_both_where_the_other_field_is_free():
    """And says how, at the field; what somebody else typed there is not written over."""
    filled = filled_form("", {CUT_IN: Typed("40/60", "psi"), CUT_OUT: Typed("")})
    assert filled.shown()[CUT_OUT] == Typed("60 psi")
    assert filled.notes == {CUT_IN: "the pump starts at 40 psi and stops at 60 psi"}
    again = filled_form(filled.text, {CUT_IN: Typed("30/50", "psi"), CUT_OUT: Typed("60", "psi")})
    assert form_of(again.text)[CUT_OUT] == Typed("50", "psi")  # as it stood: nobody has typed it
    both = filled_form("", {CUT_IN: Typed("40/60", "psi"), CUT_OUT: Typed("70", "psi")})
    assert "says also what stands at 'Pump stops at'" in both.errors[CUT_IN]
