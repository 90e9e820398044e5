"""Where the values allow another reading of a column than its words: a question that names both, never silence."""

from __future__ import annotations

import pytest
from exporting import convert

ROWS = 120


def amps(k):
    """A pump that comes and goes, and sun between: both ways."""
    return 30.5 if k % 20 < 8 else -4.2


def export(header, row, *, rows=ROWS, stamp=lambda k: f"2026-06-13 10:{k // 60:02d}:{k % 60:02d}"):
    """Rows of a stamp and some figures."""
    lines = [header, *(",".join(map(str, (stamp(k), *row(k)))) for k in range(rows))]
    return "\n".join(lines) + "\n"


def asked(folder, content, *words, profile=""):
    """The export is refused in one sentence that holds these words; with the profile it is read."""
    done = convert(folder, content)
    assert done.status == 2
    assert not done.log_path.exists()
    (sentence,) = done.error.strip().splitlines()
    for word in words:
        assert word in sentence
    if profile:
        settled = convert(folder, content, profile=profile)
        assert settled.status == 0, settled.error
        return settled
    return done


@pytest.mark.parametrize(
    ("header", "factor"),
    [
        ("Time,Current (A),Voltage (V),Power (W)", 1e-3),
        ("Time,Amps,Volts,P", 1e-3),
        ("Time,Amps,Volts,Power (kW)", 1.0),
    ],
)
def test_watts_that_are_volts_times_amps_but_for_a_prefix(tmp_path, header, factor):
    """Kilowatts under W, or milliamps under A: nobody but the person knows which."""
    row = lambda k: (amps(k), 25.2, f"{amps(k) * 25.2 * factor:.4f}")  # noqa: E731
    profile = "[quantities.current_A]\ncolumn = 2\nunit = 'mA'\n[quantities.voltage_V]\ncolumn = 3\n"
    word = ("a thousandth of", 'unit = "kW"', 'unit = "mA"') if factor < 1 else ("a thousand times", "--profile")
    asked(tmp_path, export(header, row), *word, profile=profile)
    right = convert(tmp_path, export("Time,Amps,Volts,Power (W)", lambda k: (amps(k), 25.2, amps(k) * 25.2)))
    assert right.status == 0, right.error


def test_milliamps_without_a_unit(tmp_path):
    """Whole numbers in the thousands: 30,500 A is no bank's, 30,500 mA is."""
    content = export("Time,Current,Voltage", lambda k: (round(1000 * amps(k)), 25.2))
    profile = "[quantities.current_A]\ncolumn = 'Current'\nunit = 'mA'\n"
    settled = asked(tmp_path, content, "'Current' has no unit", "in A or in mA", 'unit = "mA"', profile=profile)
    assert settled["current_A"].max() == 30.5
    for header, scale in (("Time,Current (mA),Voltage", 1000), ("Time,Current,Voltage", 1)):
        assert convert(tmp_path, export(header, lambda k, s=scale: (round(s * amps(k)), 25.2))).status == 0


def test_large_amps_that_volts_and_watts_bear_out(tmp_path):
    """A starter's 800 A beside its watts are asked about by nobody."""
    content = export("Time,Current,Voltage,Power", lambda k: (800 if k % 9 else 3, 12, 9600 if k % 9 else 36))
    assert convert(tmp_path, content).status == 0


def test_millivolts_without_a_unit(tmp_path):
    """25,200 V is no bank."""
    content = export("Time,Current (A),Voltage", lambda k: (amps(k), 25_200 + k % 7))
    asked(tmp_path, content, "'Voltage' has no unit", "in mV", '[quantities.voltage_V] unit = "V"')
    assert convert(tmp_path, content.replace("Voltage", "Voltage (mV)")).status == 0


def test_amps_without_a_sign_beside_watts_that_have_one(tmp_path):
    """Their size alone: the charging would be counted as drawn."""
    content = export("Time,Current (A),Power (W)", lambda k: (abs(amps(k)), 25 * amps(k)))
    profile = "[quantities.power_W]\ncolumn = 'Power (W)'\n"
    settled = asked(tmp_path, content, "never change their sign", "in 72 of 120 rows", "--profile", profile=profile)
    assert settled["power_W"].min() < 0


def test_amps_and_watts_that_contradict_each_other(tmp_path):
    """One of them counts charging as positive."""
    content = export("Time,Current (A),Power (W)", lambda k: (-amps(k), 25 * amps(k)))
    asked(tmp_path, content, "where one is positive the other is negative", "return_positive")


@pytest.mark.parametrize("of_bank", [True, False])
def test_amps_without_a_sign_beside_a_state_of_charge_that_rises_and_falls(tmp_path, of_bank):
    """A bank's amps have two ways then; a load's have one whatever the bank does."""
    soc = lambda k: 80 - (k // 5 if k < 60 else 24 - k // 5)  # noqa: E731
    content = export(f"Time,{'Bank' if of_bank else 'Load'} Current (A),SoC (%)", lambda k: (5 + k % 3, soc(k)))
    if of_bank:
        profile = "[quantities.current_A]\ncolumn = 2\n"
        asked(tmp_path, content, "never change their sign", "rises and falls", "draw_positive", profile=profile)
    else:
        assert convert(tmp_path, content).status == 0


def test_amps_that_are_positive_while_the_state_of_charge_rises(tmp_path):
    """They count charging as positive, which only the person can say for sure."""
    soc = lambda k: 80 + (k // 5 if k < 60 else 24 - k // 5)  # noqa: E731
    flow = lambda k: 5 if k < 60 else -5  # noqa: E731
    content = export("Time,Current (A),SoC (%)", lambda k: (flow(k), soc(k)))
    asked(tmp_path, content, "seem to count charging as positive", "--reverse-sign")
    assert convert(tmp_path, content, options=("--zone", "UTC", "--reverse-sign")).status == 0
    assert convert(tmp_path, export("Time,Current (A),SoC (%)", lambda k: (-flow(k), soc(k)))).status == 0


def test_a_time_that_runs_otherwise_than_the_day_beside_it(tmp_path):
    """Elapsed hours taken for seconds: 600 rows would last ten minutes, the days say 25 days."""
    row = lambda k: (f"{20 + k // 24}", amps(k))  # noqa: E731
    content = export("Time,Day,Current (A)", row, rows=600, stamp=str)
    profile = "[time]\ncolumn = 'Time'\nstyle = 'elapsed h'\n[quantities.current_A]\ncolumn = 3\n"
    settled = asked(tmp_path, content, "600 rows last 9.98 min", "24 days", "[time] column and style", profile=profile)
    assert settled.time_us[-1] - settled.time_us[0] == 599 * 3600 * 10**6


def test_two_clocks_of_different_pace(tmp_path):
    """Elapsed time in tenths beside a full clock of seconds."""
    pace = lambda each: export(  # noqa: E731
        "Time,Elapsed (s),Current (A)", lambda k: (each * k, amps(k))
    )
    asked(tmp_path, pace(10), "'Time' and 'Elapsed (s)' are both clocks", "119 s", "19.8 min")
    assert convert(tmp_path, pace(1)).status == 0


def test_a_count_of_hours_run_is_no_clock(tmp_path):
    """It stands still while the pump rests."""
    ran = lambda k: sum(j % 20 < 8 for j in range(k))  # noqa: E731
    assert convert(tmp_path, export("Time,Runtime (s),Current (A)", lambda k: (ran(k), amps(k)))).status == 0


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        ("Current (0.1 A)", 0.1),
        ("Current (0.01 A)", 0.01),
        ("Current x100 (A)", 0.01),
        ("Current (A) * 10", 0.1),
        ("Current (10 mA)", 0.01),
        ("10x Current (A)", 0.1),
        ("Current (A/10)", 0.1),
    ],
)
def test_a_factor_in_a_name(tmp_path, name, factor):
    """It may be in the readings or not: asked, and settled by the profile's scale."""
    content = export(f'Time,"{name}",Voltage (V)', lambda k: (round(amps(k) / factor), 25.1))
    profile = f"""name = "a meter"
    [quantities.current_A]
    column = "{name}"
    unit = "A"
    scale = {factor}
    """
    settled = asked(tmp_path, content, "names a factor", "scale = 1.0", profile=profile)
    assert settled["current_A"][:2] == pytest.approx([round(30.5 / factor) * factor] * 2)


@pytest.mark.parametrize(
    "name", ["Current 10 s mean (A)", "Current 2x (A)", "Box10 current (A)", "Current (A), max 100"]
)
def test_other_numbers_in_a_name(tmp_path, name):
    """They are no factors."""
    done = convert(tmp_path, export(f'Time,"{name}",Voltage (V)', lambda k: (amps(k), 25.1)))
    assert "names a factor" not in done.error


def test_amps_that_stand_still_and_volts_that_come_and_go(tmp_path):
    """They have each other's names: asked, and settled by naming them."""
    content = export("Time,Current (A),Voltage (V)", lambda k: (25.1 + k % 3 / 10, amps(k)))
    profile = """name = "a meter"
    [quantities.current_A]
    column = "Voltage (V)"
    unit = "A"
    [quantities.voltage_V]
    column = "Current (A)"
    unit = "V"
    """
    settled = asked(tmp_path, content, "'Current (A)' and 'Voltage (V)'", "each other's names", profile=profile)
    assert settled["current_A"][8] == -4.2


def test_a_charger_that_holds_its_current(tmp_path):
    """Volts rise by less than amps come and go."""
    assert convert(tmp_path, export("Time,Current (A),Voltage (V)", lambda k: (-10.0, 11.0 + k / 40))).status == 0


def test_milliamps_under_the_name_of_amps(tmp_path):
    """Thousands of whole amps all the time are more than a small bank carries; fewer, or of a large one, are not."""
    asked(tmp_path, export("Time,Current (A),Voltage (V)", lambda k: (2100 + k, 25.1)), "could be in mA")
    for amps_A, volts in ((90 + 9 * (k := 3), 25.1), (2100 + k, 750.0)):
        assert convert(tmp_path, export("Time,Current (A),Voltage (V)", lambda _, x=(amps_A, volts): x)).status == 0
