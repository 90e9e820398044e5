"""Real measured logs against the instruments' own counters and against runs that were told by hand.

``SHUNTBOOK_REAL_DATA`` names their folder; its README says what each file is and what it must come to. None of it was
made by us and none is committed. The figures below are that page's; a tolerance of 0.01 % is met unless the rows
themselves cannot do better, as said beside the test. The runs of the two compressors' days contain information from
the tracebase data set, which is made available at http://www.tracebase.org under the Open Database License (ODbL).
"""

import csv
import json
import os
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from places import TESTS
from scipy.integrate import trapezoid

import shuntbook
from shuntbook.cli.main import run

PROFILES = TESTS / "profiles"


@pytest.fixture(scope="module")
def data():
    """The folder of real logs; skips, or fails where it must be there."""
    named = os.environ.get("SHUNTBOOK_REAL_DATA")
    if named and Path(named).is_dir():
        return Path(named)
    reason = "SHUNTBOOK_REAL_DATA does not name a folder of real logs"
    if os.environ.get("SHUNTBOOK_REAL_DATA_REQUIRED"):
        pytest.fail(reason)
    pytest.skip(reason)


def only(folder, pattern):
    """The one file of a folder that fits, the note on its origin apart."""
    found = [path for path in folder.glob(pattern) if path.name != "SOURCE.txt"]
    assert len(found) == 1
    return found[0]


@pytest.fixture
def converted(tmp_path, capsys):
    """Turn a file into a log by a profile, as a person would; returns the log's path and what `convert` said."""

    def convert(source, profile):
        out = tmp_path / "log.parquet"
        arguments = [
            "convert",
            str(source),
            "--out",
            str(out),
            "--profile",
            str(PROFILES / f"{profile}.toml"),
            "--json",
        ]
        assert run(arguments) == 0
        return out, json.loads(capsys.readouterr().out)

    return convert


@pytest.fixture
def asked(capsys):
    """Run a command on a log and return its JSON."""

    def ask(command, log, *more):
        assert run([command, str(log), *map(str, more), "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return ask


def last_of_each_step(path, header_at, step, counter):
    """What a counter shows at the end of each step, by the step's number: read without our code."""
    with path.open(encoding="latin1", newline="") as file:
        rows = list(csv.reader(file, delimiter="\t"))
    header, rows = rows[header_at], rows[header_at + 1 :]
    k, c = header.index(step), header.index(counter)
    return [float(a[c]) for a, b in pairwise([*rows, rows[0]]) if a[k] != b[k]]


# --- battery cyclers ------------------------------------------------------------------------------------------------


def test_unsigned_amps_with_letters_for_the_direction(data, converted, asked):
    """30 s rows, amps without a sign, a counter set back at each step: both directions, energy and the comparison."""
    source = only(data / "cycler_30s", "*.txt")
    log, said = converted(source, "unsigned_with_letters")
    assert said["rows_rejected"] == 0
    result = asked("charge", log)
    assert result["charge"]["returned_Ah"] == pytest.approx(17.623600, rel=1e-4)
    assert result["charge"]["drawn_Ah"] == pytest.approx(17.363110, rel=1e-4)
    assert result["span"]["uncovered_s"] == 0
    counter = result["meter_counter"]
    assert counter["against"] == "drawn + returned"
    assert counter["charge_Ah"] == pytest.approx(17.623600 + 17.363110, rel=1e-4)
    assert abs(counter["difference_Ah"]) < 1e-4 * counter["charge_Ah"]
    moved_Wh = sum(last_of_each_step(source, 3, "Step", "Watt-hr"))
    assert result["energy"]["drawn_Wh"] + result["energy"]["returned_Wh"] == pytest.approx(moved_Wh, rel=1e-4)


def test_milliamps_under_a_long_preamble(data, converted, asked):
    """20 s rows, mA and mV, 32 lines before the header, a comma too many on each row."""
    log, said = converted(only(data / "cycler_20s", "*.csv"), "milli_units")
    assert said["rows_rejected"] == 0
    charge = asked("charge", log)["charge"]
    assert charge["returned_Ah"] == pytest.approx(88.683845, rel=1e-4)
    assert charge["drawn_Ah"] == pytest.approx(55.986159, rel=1e-4)


def test_minutes_stamped_to_a_second(data, converted, asked):
    """60 s rows, stamped to a second: where a step changes two rows share one, and both count."""
    log, said = converted(only(data / "cycler_60s", "*.csv"), "signed_minutes")
    assert said["rows_rejected"] == 0
    result = asked("charge", log)
    moved_Ah = result["charge"]["drawn_Ah"] + result["charge"]["returned_Ah"]
    assert moved_Ah == pytest.approx(0.038513, rel=1e-4)
    assert result["meter_counter"]["against"] == "drawn + returned"


def test_epoch_stamps_with_a_fraction(data, converted, asked):
    """One charge in uneven rows: to 0.05 %, since the rows' own trapezoid is 0.023 % short of the counter."""
    log, _ = converted(only(data / "cycler_uneven", "*.csv"), "epoch_uneven")
    result = asked("charge", log)
    assert result["charge"]["returned_Ah"] == pytest.approx(0.602952, rel=1e-5)  # the trapezoid itself
    assert result["charge"]["returned_Ah"] == pytest.approx(0.603092, rel=5e-4)
    assert result["charge"]["drawn_Ah"] == 0
    assert result["energy"]["returned_Wh"] == pytest.approx(2.098647, rel=5e-4)
    assert result["meter_counter"]["counts_down"]  # it rises with what is returned
    assert result["meter_counter"]["charge_Ah"] == pytest.approx(-0.603092, rel=1e-5)


def test_uneven_rows_over_three_steps(data, converted, asked):
    """1 to 120 s rows, tabs: charge and energy of the three long steps, chosen by time."""
    log, said = converted(only(data / "cycler_uneven", "*.034"), "signed_with_letters")
    assert said["rows_rejected"] == 0
    result = asked("charge", log, "--from", "10861s", "--to", "82621.25s")
    assert result["charge"]["drawn_Ah"] + result["charge"]["returned_Ah"] == pytest.approx(13.387511, rel=1e-4)
    assert result["energy"]["drawn_Wh"] + result["energy"]["returned_Wh"] == pytest.approx(50.5765, rel=1e-4)
    whole = asked("charge", log)["meter_counter"]
    assert abs(whole["difference_Ah"]) < 1e-4 * whole["charge_Ah"]


# Folder, file, profile, last digit of the amps as the files write it, and the instrument's own count (drawn, returned)
# in Ah, as that page gives it; None where it gives one figure for both directions.
COUNTED = [
    ("cycler_30s", "*.txt", "unsigned_with_letters", 1e-5, 17.363110, 17.623600),
    ("cycler_20s", "*.csv", "milli_units", 1e-6, 55.986159, 88.683845),
    ("cycler_uneven", "*.csv", "epoch_uneven", 1e-6, 0.0, 0.603092),
]
METER = """
name = "bench"
[bank]
nominal_V = 3.7
capacity_Ah = 20
[[meters]]
name = "bench"
side = "dc"
reading_pct = 0.1
resolution_A = {digit:g}
voltage_reading_pct = 0.1
"""


@pytest.mark.parametrize(("folder", "pattern", "profile", "digit", "drawn_Ah", "returned_Ah"), COUNTED)
def test_the_instruments_count_lies_in_our_interval(
    data, converted, asked, tmp_path, folder, pattern, profile, digit, drawn_Ah, returned_Ah
):
    """With 0.1 % of reading and the last digit at most 0.3 % wide without the instants of steps; by default 3 %."""
    log, _ = converted(only(data / folder, pattern), profile)
    site = tmp_path / "site.toml"
    site.write_text(METER.format(digit=digit), encoding="utf-8")
    stated, usual = asked("charge", log, "--site", site)["charge"], asked("charge", log)["charge"]
    for key, counted_Ah in (("drawn", drawn_Ah), ("returned", returned_Ah)):
        if not counted_Ah:
            continue
        for found in (stated, usual):
            assert found[f"{key}_low_Ah"] <= counted_Ah <= found[f"{key}_high_Ah"]
        assert usual[f"{key}_u95_Ah"] <= 0.03 * counted_Ah
    if drawn_Ah:
        parts = {part["source"]: part["u_Ah"] for part in asked("charge", log, "--site", site)["uncertainty"]}
        u_Ah = sum(u**2 for source, u in parts.items() if u is not None and source != "instants of steps") ** 0.5
        assert 1.96 * u_Ah <= 0.003 * drawn_Ah


def test_a_count_of_both_directions_lies_in_the_sum_of_both_intervals(data, converted, asked, tmp_path):
    """60 s rows: 0.038513 Ah over draw and return by the counter; one gain for both, so their halves add."""
    log, _ = converted(only(data / "cycler_60s", "*.csv"), "signed_minutes")
    site = tmp_path / "site.toml"
    site.write_text(METER.format(digit=1e-7), encoding="utf-8")
    found = asked("charge", log, "--site", site)["charge"]
    moved_Ah = found["drawn_Ah"] + found["returned_Ah"]
    assert abs(moved_Ah - 0.038513) <= found["drawn_u95_Ah"] + found["returned_u95_Ah"] <= 0.003 * moved_Ah


# --- two compressors, a day each ------------------------------------------------------------------------------------


def told_runs(path, day):
    """The runs that were told by hand, without false rows: starts and stops as instants, draws. [s], [W]."""
    first_s = datetime.fromisoformat(day).replace(tzinfo=ZoneInfo("Europe/Berlin")).timestamp()
    with path.open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["glitch"] == "False"]
    start, stop, steady = (np.array([float(row[name]) for row in rows]) for name in ("start_s", "stop_s", "steady_w"))
    return first_s + start, first_s + stop, steady, [row["right_cut"] == "True" for row in rows]


def instant_s(text):
    """An instant of the JSON in seconds since 1970; NaN for null."""
    return float("nan") if text is None else datetime.fromisoformat(text).timestamp()


@pytest.mark.parametrize(
    ("name", "day", "starts", "complete", "run_s", "rest_s", "energy_Wh"),
    [
        ("freezer", "2012-01-26", 29, 29, 279.0, 2862.0, 537.2),
        ("fridge", "2012-06-22", 26, 25, 747.0, 2665.0, 399.0),
    ],
)
def test_a_day_of_a_compressor(data, converted, asked, name, day, starts, complete, run_s, rest_s, energy_Wh):
    """Starts exactly, medians to 1 %, each start and stop to 2 s, energy to 0.3 %.

    One false row of 3275 W is no start and fifteen gaps are no stops; rows that share a second are merged.
    """
    folder = data / "appliance_cycles"
    log, _ = converted(only(folder, f"{name}_*.csv"), "appliance_day")
    assert asked("charge", log)["energy"]["drawn_Wh"] == pytest.approx(energy_Wh, rel=3e-3)
    result = asked("cycles", log)
    assert result["summary"]["count"] == starts
    assert sum(cycle["complete"] for cycle in result["cycles"]) == complete
    assert result["summary"]["median_run_s"] == pytest.approx(run_s, rel=0.01)
    assert result["summary"]["median_off_s"] == pytest.approx(rest_s, rel=0.01)

    start, stop, steady_W, cut = told_runs(only(folder, f"GT_{name}_*.csv"), day)
    stop[cut] = np.nan
    np.testing.assert_allclose([instant_s(c["start"]) for c in result["cycles"]], start, rtol=0, atol=2)
    np.testing.assert_allclose([instant_s(c["stop"]) for c in result["cycles"]], stop, rtol=0, atol=2)
    # what was told is a median as well, but not above the 0 to 2 W of rest, in a grain of 2 W
    np.testing.assert_allclose([c["run_W"] for c in result["cycles"]], steady_W, rtol=0.02, atol=2)


def test_rows_that_share_a_second_are_counted(data, converted):
    """5,128 rows of the freezer's day share a second with another."""
    _, said = converted(only(data / "appliance_cycles", "freezer_*.csv"), "appliance_day")
    assert said["rows_merged"] == 5128
    assert said["rows_kept"] + said["rows_merged"] == said["rows_read"]


# --- behind an inverter, and an array -------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "energy_Wh"), [("main", 193.057), ("kettle", 118.394), ("vacuum", 75.180)])
def test_mains_loads_have_energy_and_no_charge(data, converted, asked, name, energy_Wh):
    """Side ac: watt-hours from watts, no amp-hours, and volt-amps are watts nowhere."""
    source = data / "lab_motor" / f"{name}.csv"
    log, _ = converted(source, "behind_inverter")
    result = asked("charge", log)
    assert result["log"]["side"] == "ac"
    assert result["energy"]["drawn_Wh"] == pytest.approx(energy_Wh, rel=1e-4)
    assert set(result["charge"].values()) == {None}
    with source.open(newline="") as file:
        volt_amps = [float(row["Apparent (W)"]) for row in csv.DictReader(file)]
    assert not np.isclose(shuntbook.open_log(log).to_pandas()["power_W"], volt_amps).all()


@pytest.mark.parametrize("name", ["main", "vacuum"])
def test_volt_amps_are_never_taken_for_watts_without_a_profile_either(data, tmp_path, asked, capsys, name):
    """A column headed 'Apparent (W)' is VA whatever its unit says: the recognised power is the active one."""
    log = tmp_path / "recognised.parquet"
    assert run(["convert", str(data / "lab_motor" / f"{name}.csv"), "--out", str(log), "--zone", "UTC"]) == 0
    capsys.readouterr()
    result = asked("charge", log)
    assert result["log"]["side"] == "ac"
    assert result["energy"]["drawn_Wh"] == pytest.approx({"main": 193.057, "vacuum": 75.180}[name], rel=1e-4)
    assert result["charge"]["drawn_Ah"] is None


def test_motor_and_kettle_by_themselves(data, converted, asked):
    """Four starts each; the resistor's start is no higher than its settled draw, the motor's is.

    The mains wander by 2 % meanwhile, and a start's first reading can be the average of a part of a second.
    """
    for name, lowest, highest in (("kettle", 0.97, 1.02), ("vacuum", 1.03, 1.65)):
        log, _ = converted(data / "lab_motor" / f"{name}.csv", "behind_inverter")
        log.rename(log.with_name(f"{name}.parquet"))
        cycles = asked("cycles", log.with_name(f"{name}.parquet"))["cycles"]
        assert len(cycles) == 4
        for cycle in cycles:
            assert lowest <= cycle["surge_ratio"] <= highest
            assert not cycle["surge_resolved"]


def test_motor_is_told_from_kettle_in_their_sum(data, converted, asked):
    """Both draw about 2 kW and run at the same time: the kettle's four runs alone are found, none of the motor's."""
    log, _ = converted(data / "lab_motor" / "main.csv", "behind_inverter")
    cycles = asked("cycles", log)["cycles"]
    assert len(cycles) == 4
    for cycle in cycles:
        assert cycle["run_W"] == pytest.approx(2160, rel=0.03)
    for before, after in pairwise(cycles):
        assert before["stop"] <= after["start"]


def test_an_array_by_the_minute(data, converted, asked):
    """Stamps with an offset, what the array gives counted as return, the little it takes at night as draw."""
    source = only(data / "pv_minute", "*.csv")
    log, said = converted(source, "signed_minutes_with_offset")
    assert (said["rows_read"], said["rows_rejected"]) == (2607, 0)
    with source.open(newline="") as file:
        rows = list(csv.DictReader(file))
    instants = [datetime.fromisoformat(row["measured_on"]).timestamp() for row in rows]
    power_W = np.array([float(row["ac_power__752"]) for row in rows])
    result = asked("charge", log)
    assert instant_s(result["span"]["start"]) == instants[0]
    assert instant_s(result["span"]["stop"]) == instants[-1]
    energy = result["energy"]
    assert energy["net_Wh"] == pytest.approx(-trapezoid(power_W, instants) / 3600, rel=1e-9)
    # clipping at the readings instead of at the crossings is off by no more than the crossings' own minutes
    assert energy["returned_Wh"] == pytest.approx(trapezoid(np.maximum(power_W, 0), instants) / 3600, rel=1e-3)
    assert energy["drawn_Wh"] == pytest.approx(trapezoid(np.maximum(-power_W, 0), instants) / 3600, rel=1e-2)


# --- how good these logs are ----------------------------------------------------------------------------------------

LOGS = {
    "cycler_30s": ("*.txt", "unsigned_with_letters", ["good", "with care", "not"]),
    "cycler_20s": ("*.csv", "milli_units", ["good", "good", "not"]),
    "cycler_60s": ("*.csv", "signed_minutes", ["good", "with care", "not"]),
    "pv_minute": ("*.csv", "signed_minutes_with_offset", ["good", "with care", "not"]),
}


@pytest.mark.parametrize("folder", LOGS)
def test_what_a_log_is_good_for(data, converted, asked, folder):
    """Rows 20 to 60 s apart: charge or energy, hardly short runs, no surges; and nothing is the matter with them."""
    pattern, profile, grades = LOGS[folder]
    log, _ = converted(only(data / folder, pattern), profile)
    result = asked("look", log)
    assert [result["verdict"][use]["grade"] for use in ("amounts", "cycles", "surges")] == grades
    assert result["stuck"] == result["clipping"] == result["doubts"] == []
    assert result["spikes"]["count"] == 0
    assert result["availability"] == 1.0


@pytest.mark.parametrize("reverse", [False, True])
@pytest.mark.parametrize(
    ("folder", "pattern", "profile", "steps"),
    [("cycler_30s", "*.txt", "unsigned_with_letters", 12), ("cycler_uneven", "*.034", "signed_with_letters", 5)],
)
def test_steps_tell_the_sign(data, tmp_path, asked, capsys, folder, pattern, profile, steps, reverse):
    """Every step that moves the voltage agrees; with the sign turned, every one is against it."""
    log, source = tmp_path / "log.parquet", only(data / folder, pattern)
    arguments = ["convert", str(source), "--out", str(log), "--profile", str(PROFILES / f"{profile}.toml")]
    assert run([*arguments, *(["--reverse-sign"] if reverse else [])]) == 0
    capsys.readouterr()
    sign = asked("look", log)["sign"]
    assert sign["plausible"] is not reverse
    assert sign["steps"] == steps
    assert sign["against"] == (steps if reverse else 0)


def test_a_cyclers_counter_is_set_back_and_its_rests_are_at_nought(data, converted, asked):
    """Two hours of rest between the steps; 13 times the counter begins again."""
    log, _ = converted(only(data / "cycler_30s", "*.txt"), "unsigned_with_letters")
    result = asked("look", log)
    assert result["counter_resets"] == 13
    assert result["rest"]["readings"] > 200
    assert abs(result["rest"]["mean_A"]) <= 2 * result["rest"]["u_A"]


def test_the_false_row_of_the_freezers_day_is_the_only_spike(data, converted, asked):
    """At 12:27:42 and nowhere else: none of the 29 starts, whose surges take a reading or two."""
    log, _ = converted(only(data / "appliance_cycles", "freezer_*.csv"), "appliance_day")
    result = asked("look", log)
    (spike,) = result["spikes"]["largest"]
    berlin = datetime.fromisoformat(spike["at"]).astimezone(ZoneInfo("Europe/Berlin"))
    assert f"{berlin:%H:%M:%S}" == "12:27:42"
    assert result["spikes"]["count"] == 1
    # The row of 3275 W shares its second with one of 2 W: their mean, over the 2 s since the row before.
    assert result["spikes"]["energy_Wh"] == pytest.approx((3275 + 2) / 2 * 2 / 3600, rel=1e-9)
    assert [result["verdict"][use]["grade"] for use in ("amounts", "cycles", "surges")] == ["good", "good", "with care"]


def test_no_start_of_the_fridges_day_is_a_spike(data, converted, asked):
    """26 starts that reach up to fifteen times the run; the fifteen gaps cost 0.3 % of the day."""
    log, _ = converted(only(data / "appliance_cycles", "fridge_*.csv"), "appliance_day")
    result = asked("look", log)
    assert all(spike["value"] < 20 for spike in result["spikes"]["largest"])  # two rows of 15 and 17 W at rest
    assert result["availability"] == pytest.approx(1 - 263 / 86400, abs=2e-4)
    assert result["stuck"] == []


@pytest.mark.parametrize("name", ["main", "kettle", "vacuum"])
def test_mains_loads_by_the_second(data, converted, asked, name):
    """Watts and cycles; a surge only as a lower bound; no sign behind an inverter."""
    log, _ = converted(data / "lab_motor" / f"{name}.csv", "behind_inverter")
    result = asked("look", log)
    assert [result["verdict"][use]["grade"] for use in ("amounts", "cycles", "surges")] == ["good", "good", "with care"]
    assert result["verdict"]["amounts"]["what"] == "Wh"
    assert result["sign"] is None
    assert result["stuck"] == result["clipping"] == result["doubts"] == []
    assert result["spikes"]["count"] == 0
