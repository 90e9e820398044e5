"""charge, look, cycles and report as a person meets them: warnings, refusals, and what is not known."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from telling import told, unwrapped

from shuntbook.cli.main import run

SITE = """
name = "field shed"
zone = "UTC"
[bank]
nominal_V = {volts}
capacity_Ah = 200
[[loads]]
name = "feed pump"
kind = "pump"
voltage_V = {volts}
current_A = {amps}
"""


def export_of(path, *, runs=8, run_s=20, rest_s=100, amps=20.0):
    """Write a pump's runs at 1 s: the bank sags by 10 milliohms."""
    rows = ["time,current [A],voltage [V]"]
    at = 0
    for _ in range(runs):
        for k in range(rest_s + run_s):
            current = amps if k >= rest_s else 1.0
            clock = f"{10 + at // 3600:02d}:{at // 60 % 60:02d}:{at % 60:02d}"
            rows.append(f"2026-06-13T{clock}Z,{current:.2f},{25.2 - 0.01 * current:.2f}")
            at += 1
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def log(tmp_path):
    """A log of eight runs, and a function that makes others."""

    def make(name="a", *words, **how):
        export, out = export_of(tmp_path / f"{name}.csv", **how), tmp_path / f"{name}.parquet"
        assert run(["convert", str(export), *words, "--out", str(out)]) == 0
        return out

    return make


def test_a_turned_sign_is_warned_of_by_every_command(log, capsys):
    """look, charge, cycles and report all say that draw and return seem to be swapped; a right log is not accused."""
    turned, right = log("turned", "--reverse-sign"), log("right")
    assert "PROBABLY TURNED" in told(capsys, "look", turned)[1]
    assert "WARNING" in told(capsys, "charge", turned)[1]
    assert "WARNING" not in told(capsys, "charge", right)[1]
    for name, codes in ((turned, {"charge_wrong_sign"}), (right, set())):
        document = json.loads(told(capsys, "report", name, "--json")[1])
        assert {f["code"] for f in document["findings"]} & {"charge_wrong_sign"} == codes
    assert told(capsys, "cycles", turned, "--strict")[0] == 4


def test_nothing_is_foretold_or_compared_by_a_turned_log_without_a_word(log, tmp_path, capsys):
    """Its runs are the rests between them: a forecast by it is refused, a comparison begins with a warning."""
    turned, right, site = log("turned", "--reverse-sign"), log("right"), tmp_path / "site.toml"
    site.write_text(SITE.format(volts=24, amps=20), encoding="utf-8")
    words = ("forecast", "--site", site, "--load", "feed pump", "--for", "15m", "--measured")
    assert told(capsys, *words, right)[0] == 0
    status, out, err = told(capsys, *words, turned)
    assert (status, out) == (2, "")
    assert f"{turned}: draw and return seem to be swapped" in err
    assert "--reverse-sign" in err
    assert told(capsys, "compare", right, turned)[1].startswith("WARNING: draw and return seem to be swapped in turned")
    assert "WARNING" not in told(capsys, "compare", right, right)[1]


def test_volts_behind_an_inverter_say_nothing_of_the_sign(tmp_path, capsys):
    """An inverter may hold them up under load: a forecast by such a log is not refused for it."""
    export, log, site = export_of(tmp_path / "a.csv"), tmp_path / "a.parquet", tmp_path / "site.toml"
    head, *rows = export.read_text("utf-8").splitlines()
    cells = [row.split(",") for row in rows]
    rising = [(at, float(amps), 255.2 - float(volts)) for at, amps, volts in cells]
    text = [f"{head},power [W]", *(f"{at},{amps},{volts:.2f},{amps * volts:.1f}" for at, amps, volts in rising)]
    export.write_text("\n".join(text), "utf-8")
    assert run(["convert", str(export), "--side", "ac", "--out", str(log)]) == 0
    plates = SITE.format(volts=24, amps=20).replace("voltage_V = 24", "voltage_V = 230\npower_factor = 1.0")
    behind = '[[inverters]]\nname = "box"\ncontinuous_W = 9000\n[[loads]]\ninverter = "box"'
    site.write_text(plates.replace("[[loads]]", behind), encoding="utf-8")
    words = ("forecast", "--site", site, "--load", "feed pump", "--for", "15m", "--measured", log)
    status, _, err = told(capsys, *words)
    assert (status, "swapped" in err) == (0, False), err


@pytest.mark.parametrize("target", ["a.parquet", "site.toml"])
def test_a_page_never_replaces_what_it_is_made_from(log, tmp_path, capsys, target):
    """Not even with --force: the log and the site file stay as they are."""
    pump, site = log(), tmp_path / "site.toml"
    site.write_text(SITE.format(volts=24, amps=20), encoding="utf-8")
    before = (tmp_path / target).read_bytes()
    status, _, err = told(capsys, "report", pump, "--site", site, "--out", tmp_path / target, "--force")
    assert status == 2
    assert "made from" in err
    assert (tmp_path / target).read_bytes() == before


def test_a_load_that_was_expected_but_not_seen_is_said(log, tmp_path, capsys):
    """A plate far from every run that was seen: the load's name, its draw by the plate, and the runs of others."""
    site = tmp_path / "site.toml"
    site.write_text(SITE.format(volts=24, amps=200), encoding="utf-8")
    status, out, _ = told(capsys, "cycles", log(), "--site", site, "--explain")
    assert status == 0
    assert "runs of feed pump" in out
    assert "No run like the feed pump's was seen" in out
    assert "211 A" in out  # 24 V x 200 A over 95 % of 24 V, IEEE 1013-2007 5.2
    assert "Runs of other loads seen meanwhile: 8" in out
    status, _, err = told(capsys, "cycles", tmp_path / "a.parquet", "--site", site, "--load", "barn light")
    assert status == 2
    assert "barn light" in err


def test_nothing_measured_is_not_zero(tmp_path, capsys):
    """A log of one reading has no charge; JSON says null and the terminal says that too little was measured."""
    export, out = tmp_path / "one.csv", tmp_path / "one.parquet"
    export.write_text("time,current [A],voltage [V]\n2026-06-13T10:00:00Z,5.0,25.0\n", encoding="utf-8")
    assert run(["convert", str(export), "--out", str(out)]) == 0
    document = json.loads(told(capsys, "charge", out, "--json")[1])
    assert document["charge"]["drawn_Ah"] is None
    assert document["energy"]["drawn_Wh"] is None
    assert "too little was measured" in told(capsys, "charge", out)[1]


def test_watts_alone_give_no_amp_hours_anywhere(tmp_path, capsys):
    """A log of watts beside a plate: energy is compared, amp-hours stay unknown."""
    site, export, out = (tmp_path / name for name in ("site.toml", "w.csv", "w.parquet"))
    site.write_text(SITE.format(volts=24, amps=20), encoding="utf-8")
    rows = [f"2026-06-13T10:{k // 60:02d}:{k % 60:02d}Z,{480.0 if k % 60 >= 40 else 20.0}" for k in range(600)]
    export.write_text("\n".join(["time,power [W]", *rows]) + "\n", encoding="utf-8")
    assert run(["convert", str(export), "--out", str(out)]) == 0
    plate = json.loads(told(capsys, "report", out, "--site", site, "--json")[1])["nameplate"]
    assert plate["measured_charge_Ah"] is None
    assert plate["charge_ratio"] is None
    assert plate["measured_energy_Wh"] == pytest.approx(9 * 460 * 20 / 3600, rel=0.1)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--from", "25:00"], "no time of day"),
        (["--from", "noon"], "no time such as"),
        (["--from", "10:10", "--to", "10:05"], "does not lie after"),
        (["--from", "2027-01-01T00:00"], "no reading lies"),
    ],
)
def test_spans_that_cannot_be(log, capsys, words, sentence):
    """A time that is none, or a span that is empty, is told in one sentence."""
    status, _, err = told(capsys, "charge", log(), *words)
    assert status == 2
    assert sentence in err
    assert err.count("\n") == 1


def test_parts_of_a_span_add_up(log, capsys):
    """--from and --to cut between readings: two halves are the whole."""
    pump = log()
    parts = [["--to", "10:06:30"], ["--from", "10:06:30"], []]
    drawn = [json.loads(told(capsys, "charge", pump, *p, "--json")[1])["charge"]["drawn_Ah"] for p in parts]
    assert drawn[0] + drawn[1] == pytest.approx(drawn[2], rel=1e-9)


def test_without_a_command_the_help_is_shown(capsys):
    """A bare call shows what there is."""
    status, out, _ = told(capsys)
    assert status == 0
    assert "Commands:" in out


def test_a_fraction_where_percent_are_wanted_is_questioned(tmp_path, capsys):
    """efficiency_pct = 0.9 is possible, and hardly meant."""
    site = tmp_path / "site.toml"
    text = SITE.format(volts=24, amps=20) + '[[inverters]]\nname = "small"\ncontinuous_W = 600\nefficiency_pct = 0.9\n'
    site.write_text(text, encoding="utf-8")
    status, out, _ = told(capsys, "check-site", site)
    assert status == 0
    assert "if 90 % is meant" in unwrapped(out)


def night_log(tmp_path):
    """Ten amps from 22:00 to 06:00, a reading a minute."""
    rows = []
    for k in range(481):
        day, minute = 13 + (22 * 60 + k) // 1440, (22 * 60 + k) % 1440
        rows.append(f"2026-06-{day}T{minute // 60:02d}:{minute % 60:02d}:00Z,10.0,25.0")
    export, out = tmp_path / "night.csv", tmp_path / "night.parquet"
    export.write_text("\n".join(["time,current [A],voltage [V]", *rows]) + "\n", encoding="utf-8")
    assert run(["convert", str(export), "--out", str(out), "--zone", "UTC"]) == 0
    return out


@pytest.mark.parametrize(
    ("words", "drawn_Ah"),
    [
        (["--from", "01:00"], 50.0),
        (["--to", "01:00"], 30.0),
        (["--from", "23:00", "--to", "01:00"], 20.0),
        (["--from", "01:00", "--to", "05:00"], 40.0),
        (["--to", "24:00"], 20.0),
        ([], 80.0),
    ],
)
def test_clock_times_of_a_log_past_midnight(tmp_path, capsys, words, drawn_Ah):
    """A clock time that has passed before the log began is that of the next day (10 A x hours, arithmetic)."""
    document = json.loads(told(capsys, "charge", night_log(tmp_path), "--json", *words)[1])
    assert document["charge"]["drawn_Ah"] == pytest.approx(drawn_Ah, rel=1e-9)


def test_elapsed_times_begin_at_nought(tmp_path, capsys):
    """A log without dates takes times since its start, 0 and very long ones included."""
    export, out = tmp_path / "e.csv", tmp_path / "e.parquet"
    rows = [f"{k},10.0,25.0" for k in range(0, 3601)]
    export.write_text("\n".join(["elapsed [s],current [A],voltage [V]", *rows]) + "\n", encoding="utf-8")
    assert run(["convert", str(export), "--out", str(out)]) == 0
    for words in (["--from", "0"], ["--from", "0:00:00"], ["--from", "0s", "--to", "99999d"]):
        document = json.loads(told(capsys, "charge", out, "--json", *words)[1])
        assert document["charge"]["drawn_Ah"] == pytest.approx(10.0, rel=1e-9)
    half = json.loads(told(capsys, "charge", out, "--json", "--from", "+0:30:00")[1])
    assert half["charge"]["drawn_Ah"] == pytest.approx(5.0, rel=1e-9)


def test_look_shows_a_log_that_cannot_be_integrated(tmp_path, capsys):
    """Pressure alone gives no charge, and is a log only where that is said; its span and range can be looked at."""
    export, out = tmp_path / "p.csv", tmp_path / "p.parquet"
    rows = [f"2026-06-13T10:00:{k:02d}Z,{40 + k / 10}" for k in range(60)]
    export.write_text("\n".join(["time,pressure [psi]", *rows]) + "\n", encoding="utf-8")
    status, _, refusal = told(capsys, "convert", export, "--out", out)
    assert status == 2
    assert "neither amps nor watts" in refusal
    profile = tmp_path / "pressure.toml"
    profile.write_text('quantities.pressure_kPa = {column = "pressure [psi]"}\n', encoding="utf-8")
    assert run(["convert", str(export), "--profile", str(profile), "--out", str(out)]) == 0
    status, shown, _ = told(capsys, "look", out, "--explain")
    assert status == 0
    assert "pressure_kPa" in shown
    assert "59 s measured, 60 readings" in unwrapped(shown)
    assert told(capsys, "charge", out)[0] == 2


def test_findings_of_all_logs_stand_at_the_top(log, capsys):
    """The findings key of several logs names the log of each."""
    right, turned = log("right"), log("turned", "--reverse-sign")
    document = json.loads(told(capsys, "report", right, turned, "--json")[1])
    found = {(f["code"], f["log"]) for f in document["findings"]}
    assert ("charge_wrong_sign", "turned.parquet") in found


def test_no_control_character_reaches_the_terminal(tmp_path, capsys):
    """Not from the name of a file, nor from a header's word, which JSON may hold as it is."""
    assert run(["look", "a\x1b[31m\x9b.parquet"]) == 2
    err = capsys.readouterr().err
    assert err.replace("\n", "").isprintable()
    export = tmp_path / "a.csv"
    rows = "".join(f"2026-06-13 10:00:{k:02d},{k}.5\n" for k in range(9))
    export.write_text("Time,Bank\x7f\x9b current (A)\n" + rows, encoding="utf-8")
    assert run(["convert", str(export), "--out", str(tmp_path / "a.parquet"), "--zone", "UTC", "--json"]) == 0
    out = capsys.readouterr().out
    assert out.replace("\n", "").isprintable()
    assert json.loads(out)["quantities"][0]["column"] == "Bank\x7f\x9b current (A)"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_the_status_tells_where_nothing_can_be_said(tmp_path):
    """Where even the sentence finds no room, the status is still that of the contract."""
    words = [sys.executable, "-c", "from shuntbook.cli.main import main; main()", "charge", "none.parquet"]
    with Path("/dev/full").open("w") as full:
        assert subprocess.run(words, cwd=tmp_path, stderr=full, check=False).returncode == 2


@pytest.mark.skipif(sys.platform == "win32", reason="pipes differ")
def test_a_reader_who_has_seen_enough_is_no_fault(tmp_path):
    """`shuntbook ... | head -1` ends with 0 and says nothing more."""
    words = [sys.executable, "-c", "from shuntbook.cli.main import main; main()", "ports", "--help"]
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(words, cwd=tmp_path, stdout=writing, stderr=subprocess.PIPE, check=False)
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, b"")


def test_the_user_s_own_error_keeps_its_status_when_debugging(capsys, monkeypatch):
    """SHUNTBOOK_DEBUG shows where a fault of ours is; a missing file is none."""
    monkeypatch.setenv("SHUNTBOOK_DEBUG", "1")
    status, _, err = told(capsys, "charge", "nowhere.parquet")
    assert status == 2
    assert err.startswith("shuntbook: ")


@pytest.mark.parametrize(
    "words",
    [
        ["probe", "modbus-tcp:127.0.0.1:1", "--units", "5-1"],
        ["probe", "modbus-tcp:127.0.0.1:1", "--units", "300-400"],
        ["convert", "x.csv", "--out", "y.parquet", "--start", "9999-12-31T23:59"],
        ["convert", "x.csv", "--out", "y.parquet", "--start", "0001-01-01"],
    ],
)
def test_numbers_out_of_range_are_told(words, capsys):
    """Unit ids and years that cannot be end with status 2."""
    status, _, err = told(capsys, *words)
    assert status == 2
    assert err.count("\n") == 1
