"""The benchmark's plain scripts integrate as charge does, and its command measures and prints."""

import importlib
import json
import subprocess
import sys

import pyarrow.parquet as pq
import pytest
from benchmarks import versions
from benchmarks.exports import DIALECTS, write_export
from benchmarks.plain import LIBRARIES
from exporting import convert, shuntbook
from places import TESTS, TOOLS

BENCHMARKS = TESTS / "benchmarks"
ROWS = 2500


@pytest.mark.parametrize("library", LIBRARIES)
def test_plain_scripts_find_the_amounts_that_charge_finds(library, tmp_path, capsys):
    """Of an export's amps, and of a log's amps and volts, each library's Ah and Wh are the net ones of charge."""
    pytest.importorskip(library)
    path = tmp_path / "export.csv"
    write_export(path, ROWS, quantities=2)
    log = convert(tmp_path, path.read_bytes()).log_path
    _, document, _ = shuntbook("charge", str(log), "--json")
    net = [json.loads(document)[part][key] for part, key in (("charge", "net_Ah"), ("energy", "net_Wh"))]
    scripts = importlib.import_module("benchmarks.plain")
    getattr(scripts, f"{library}_log")(str(log))
    assert list(map(float, capsys.readouterr().out.split())) == pytest.approx(net, abs=1e-6)
    getattr(scripts, f"{library}_export")(str(path), str(tmp_path / "plain.parquet"))
    assert float(capsys.readouterr().out) == pytest.approx(net[0], abs=1e-6)
    assert pq.read_table(tmp_path / "plain.parquet").num_rows == ROWS


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


@pytest.mark.parametrize(
    ("only", "title", "scripts"),
    [
        pytest.param("cycles", "cycles", (), marks=pytest.mark.night),
        pytest.param("charge", "charge: Parquet to Ah and Wh", ("Arrow",), marks=pytest.mark.night),
    ],
)
def test_the_command_measures(tmp_path, only, title, scripts):
    """The command writes its files, runs ours beside another version and plain scripts, and leaves nothing."""
    options = ["--rows", "0.002", "--only", only, "--times", "1", "--beside", f"earlier={sys.executable}"]
    command = [sys.executable, str(TOOLS), "benchmarks", *options, "--folder", str(tmp_path)]
    printed = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert "2,000 readings" in printed
    rows = printed.partition(f"\n{title}")[2].splitlines()[1:]
    assert [row.split()[0] for row in rows[:2]] == ["shuntbook", "earlier"]
    assert all(script in printed for script in scripts)
    assert list(tmp_path.iterdir()) == []


def test_another_version_is_installed_from_its_commit(tmp_path, monkeypatch):
    """Into an environment beside this one, and no worktree stays behind."""
    ran = []
    monkeypatch.setattr(versions.subprocess, "run", lambda command, **_: ran.append(list(map(str, command))))
    monkeypatch.setattr(versions.venv, "create", lambda place, **_: place.mkdir())
    python = versions.installed("0.1.0", tmp_path)
    assert ran[0][-2:] == [str(tmp_path / "tree"), versions.RELEASED["0.1.0"]]
    assert ran[1][:4] == [python, "-m", "pip", "install"]
    assert ran[2][3:5] == ["worktree", "remove"]


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
