"""Columns named by a word or a letter alone are taken only where values and other columns bear them out."""

from __future__ import annotations

import json

import pytest

from shuntbook.cli.main import run

ROWS = 60


def converted(tmp_path, capsys, header, row, *options):
    """The quantities taken, with their columns, and what was said; or the sentence of a refusal."""
    lines = [f"2026-06-13 10:00:{k:02d},{','.join(str(x) for x in row(k))}" for k in range(ROWS)]
    (tmp_path / "a.csv").write_text("\n".join([f"Time,{header}", *lines]), encoding="utf-8")
    call = [
        "convert",
        str(tmp_path / "a.csv"),
        "--zone",
        "UTC",
        "--out",
        str(tmp_path / "a.parquet"),
        "--json",
        *options,
    ]
    status = run(call)
    out, err = capsys.readouterr()
    if status:
        return None, err
    return {taken["name"]: taken["column"] for taken in json.loads(out)["quantities"]}, out + err


def amps(k):
    """A pump that comes and goes."""
    return 20.5 if k % 20 < 8 else 0.4


@pytest.mark.parametrize("header", ["I,U,P", "Current,Voltage,Power", "Amps,Volts,P", "Current (A),Voltage (V),Power"])
def test_what_the_others_bear_out(tmp_path, capsys, header):
    """Watts that are volts x amps, roughly, under a letter or a word."""
    taken, _ = converted(tmp_path, capsys, header, lambda k: (amps(k), 12.5, round(12.4 * amps(k))))
    assert list(taken) == ["current_A", "voltage_V", "power_W"]


@pytest.mark.parametrize("header", ["I,U,P", "Current (A),Voltage (V),Power", "Amps,Volts,Cycle P"])
@pytest.mark.parametrize("third", [lambda k: 1 + k // 20, lambda k: 50, lambda k: 1000 - k])
def test_what_volts_and_amps_speak_against(tmp_path, capsys, header, third):
    """A count of cycles, a set point, a countdown: left out, and said."""
    taken, remarks = converted(tmp_path, capsys, header, lambda k: (amps(k), 12.5, third(k)))
    assert list(taken) == ["current_A", "voltage_V"]
    assert "Cycle P" in header or "is not taken as power_W: it has no unit" in remarks


def test_a_unit_in_the_header_is_believed(tmp_path, capsys):
    """Then `charge` compares the whole log."""
    taken, _ = converted(tmp_path, capsys, "Amps,Volts,Power (W)", lambda k: (amps(k), 12.5, 1 + k // 20))
    assert "power_W" in taken


def test_amps_of_few_digits_do_not_speak_against_watts(tmp_path, capsys):
    """0.4 A shown as 0 in whole amps, beside 5 W."""
    taken, _ = converted(tmp_path, capsys, "Amps,Volts,Power", lambda k: (0, 12.5, 5))
    assert "power_W" in taken


@pytest.mark.parametrize(("header", "unit"), [("P", "W"), ("I", "A")])
def test_a_letter_alone_is_asked_for_its_unit(tmp_path, capsys, header, unit):
    """Nothing bears it out; with its unit, or as a plain word, it is taken."""
    taken, remarks = converted(tmp_path, capsys, header, lambda k: (amps(k),))
    assert taken is None
    assert f"write its unit into the header, as '{header} ({unit})'" in remarks
    assert converted(tmp_path, capsys, f"{header} ({unit})", lambda k: (amps(k),), "--force")[0]
    word = {"P": "Power", "I": "Current"}[header]
    assert converted(tmp_path, capsys, word, lambda k: (amps(k),), "--force")[0]


def test_current_that_counts_steps(tmp_path, capsys):
    """'Current' as in current step: whole numbers that never fall."""
    taken, remarks = converted(tmp_path, capsys, "Current,Voltage,Power (W)", lambda k: (k // 20, 12.5, 30.5 + k % 3))
    assert list(taken) == ["voltage_V", "power_W"]
    assert "'Current' is not taken as current_A: it has no unit, and it counts something" in remarks


@pytest.mark.parametrize(
    ("header", "value", "quantity"),
    [
        ("Fundamental Frequency (50Hz)", 0.0, "frequency_Hz"),
        ("Power factor", 37.0, "power_factor"),
        ("SOC", 400.0, "state_of_charge_pct"),
    ],
)
def test_values_that_a_quantity_never_has(tmp_path, capsys, header, value, quantity):
    """Left out, and said; with values that it may have it is taken."""
    row = lambda x: lambda k: (amps(k), 12.5, x)  # noqa: E731
    taken, remarks = converted(tmp_path, capsys, f"Amps,Volts,{header}", row(value))
    assert quantity not in taken
    assert f"is not taken as {quantity}: its values" in remarks
    right = {"frequency_Hz": 50.0, "power_factor": 0.8, "state_of_charge_pct": 87.0}[quantity]
    assert quantity in converted(tmp_path, capsys, f"Amps,Volts,{header}", row(right), "--force")[0]


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("I1,I2,Voltage (V)", "columns 'I1', 'I2' are numbers"),
        ("Kanal 1,Kanal 2,Spannung (V)", "columns 'Kanal 1', 'Kanal 2' are numbers"),
        (
            "Strom 1,Strom 2,Spannung (V)",
            "say which one in a profile (--profile), such as quantities.current_A = {column",
        ),
        ("Temp (C),Ah,Voltage (V)", "neither amps nor watts"),
    ],
)
def test_no_log_is_written_without_amps_and_watts(tmp_path, capsys, header, words):
    """What could be them is named, with the profile's line; volts alone are told to be that."""
    taken, text = converted(tmp_path, capsys, header, lambda k: (20 + amps(k) / 4, amps(k), 25.1))
    assert taken is None
    assert words in text
    assert not (tmp_path / "a.parquet").exists()


def test_a_profile_may_keep_volts_alone(tmp_path, capsys):
    """Who names the columns means them."""
    (tmp_path / "p.toml").write_text('name = "x"\n[quantities.voltage_V]\ncolumn = "Voltage (V)"\n', encoding="utf-8")
    options = ("--profile", str(tmp_path / "p.toml"))
    taken, _ = converted(tmp_path, capsys, "I1,I2,Voltage (V)", lambda k: (1, 2, 25.1), *options)
    assert taken == {"voltage_V": "Voltage (V)"}


def test_a_profile_that_no_longer_fits_is_told_what_comes_nearest(tmp_path, capsys):
    """Its file, line and key, what the export has, and the name that was probably changed."""
    (tmp_path / "p.toml").write_text('name = "x"\n[quantities.current_A]\ncolumn = "Curent (A)"\n', encoding="utf-8")
    options = ("--profile", str(tmp_path / "p.toml"))
    _, text = converted(tmp_path, capsys, "Current (A),Voltage (V)", lambda k: (1, 25.1), *options)
    assert "p.toml:3: " in text
    assert "quantities.current_A.column is 'Curent (A)', but the header has 'Time', 'Current (A)'" in text
    assert "; 'Current (A)' comes nearest" in text
