"""The benchmark's plain scripts integrate as charge does, and its command measures and prints."""

import importlib
import json
import subprocess
import sys

import pytest
from benchmarks.exports import DIALECTS, write_export
from exporting import convert, shuntbook
from places import TESTS

BENCHMARKS = TESTS / "benchmarks"
ROWS = 2500


@pytest.mark.parametrize("library", ["pandas", "polars", "duckdb"])
def test_plain_scripts_integrate_as_charge_does(library, tmp_path, capsys):
    """Three libraries' trapezoids of an export are the net Ah that charge finds in its log."""
    pytest.importorskip(library)
    path = tmp_path / "export.csv"
    write_export(path, ROWS)
    getattr(importlib.import_module("benchmarks.plain"), f"{library}_trapezoid")(str(path))
    plain_Ah = float(capsys.readouterr().out)
    log = convert(tmp_path, path.read_bytes()).log_path
    _, document, _ = shuntbook("charge", str(log), "--json")
    assert json.loads(document)["charge"]["net_Ah"] == pytest.approx(plain_Ah, abs=1e-6)


def test_every_dialect_holds_the_same_readings(tmp_path):
    """What is measured in other dialects is the same work: the same instants and numbers."""
    logs = []
    for dialect in DIALECTS:
        path = tmp_path / f"{dialect}.csv"
        write_export(path, ROWS, dialect)
        logs.append(convert(tmp_path, path.read_bytes()))
    for other in logs[1:]:
        assert (other.time_us == logs[0].time_us).all()
        for quantity in ("current_A", "voltage_V", "power_W"):
            assert (other[quantity] == logs[0][quantity]).all()


def test_the_command_measures(tmp_path):
    """The command writes its files, runs ours beside a plain script, prints a line for each and leaves nothing."""
    command = [sys.executable, str(BENCHMARKS), "--rows", "0.002", "--only", "charge", "--times", "1"]
    done = subprocess.run([*command, "--folder", str(tmp_path)], capture_output=True, text=True, check=True)
    assert "charge, 2,000 readings" in done.stdout
    assert "reading its columns alone, net" in done.stdout
    assert list(tmp_path.iterdir()) == []


def test_a_script_runs_by_itself():
    """By its name and a number of its own."""
    command = [sys.executable, str(BENCHMARKS), "cycles_speed", "20000"]
    assert "plain differences" in subprocess.run(command, capture_output=True, text=True, check=True).stdout


@pytest.mark.parametrize("script", sorted(path.stem for path in BENCHMARKS.glob("*_speed.py")))
def test_each_script_finds_what_it_imports(script):
    """Also helpers and scenes of the tests, without pytest's paths."""
    command = [sys.executable, str(BENCHMARKS), script, "many"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.stderr.splitlines()[-1].startswith("ValueError: could not convert string to float")
