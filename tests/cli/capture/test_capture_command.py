"""The capture command from end to end: replayed meters, signals, notes, full disks, and what the screen shows."""

from __future__ import annotations

import gzip
import json
import os
import signal
import subprocess
import sys
import time
from contextlib import closing

import pytest
from places import ROOT, SAMPLES
from ready_python import ready_python

from shuntbook.cli.capture.run import finish_meters
from shuntbook.cli.main import run
from shuntbook.ingest.events import Reading
from shuntbook.ingest.journal.journal import Journal
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.log.meta import LogMeta

WEEK = f"replay:{SAMPLES / 'week_later.csv.gz'}?speed=max&zone=Europe/London&sign=return_positive"
SITE = """
name = "two meters"
zone = "Europe/London"
[bank]
nominal_V = 24
capacity_Ah = 420
[[meters]]
name = "bank shunt"
side = "dc"
source = "{source}"
[[meters]]
name = "shed meter"
side = "dc"
source = "{source}"
[[meters]]
name = "read by eye"
side = "ac"
"""

pytestmark = pytest.mark.xdist_group("captures")  # one at a time: they have clocks to keep


def _json(capsys, *words):
    capsys.readouterr()
    assert run([*map(str, words), "--json"]) in (0, 4)
    return json.loads(capsys.readouterr().out)


def _without_origin(document):
    """Leave out where a log comes from: that is all that may differ."""
    return {key: value for key, value in document.items() if key not in ("log", "version")}


def _child(*words):
    code = "import sys; from shuntbook.cli.main import main; main(sys.argv[1:])"
    return subprocess.Popen(
        [ready_python(), "-c", code, *map(str, words)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def _until(condition, *, within_s=30.0):
    """Wait for something that another process does."""
    end = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.05)


def test_a_replayed_capture_gives_the_numbers_of_a_conversion(tmp_path, capsys):
    """capture replay:... then charge, cycles and report say what convert and then the same commands say."""
    captured, converted = tmp_path / "a.parquet", tmp_path / "b.parquet"
    assert run(["capture", WEEK, "--out", str(captured), "--quiet"]) == 0
    words = [str(SAMPLES / "week_later.csv.gz"), "--out", str(converted), "--zone", "Europe/London", "--reverse-sign"]
    assert run(["convert", *words]) == 0
    site = ["--site", SAMPLES / "site.toml"]
    for command in (["charge"], ["cycles", *site]):
        a = _json(capsys, command[0], captured, *command[1:])
        b = _json(capsys, command[0], converted, *command[1:])
        assert _without_origin(a) == _without_origin(b)
    a, b = (_json(capsys, "report", log, *site) for log in (captured, converted))
    assert a["nameplate"] == b["nameplate"]
    assert a["logs"][0]["findings"] == b["logs"][0]["findings"]


def test_the_end_of_a_capture_is_as_sure_as_charge_and_report(tmp_path, capsys, monkeypatch):
    """Readings of a second miss most of a start: with the site's pump its interval knows that in all three."""
    lines = gzip.decompress((SAMPLES / "open_day.csv.gz").read_bytes()).decode().splitlines()
    source, log, site = tmp_path / "thin.csv", tmp_path / "a.parquet", SAMPLES / "site.toml"
    source.write_text("\n".join([*lines[:4], *lines[4::10]]) + "\n", encoding="utf-8")
    notes = ["--mark", "20m=quiet", "--mark", "40m=pump"]
    replay = f"replay:{source}?speed=max&zone=Europe/London"
    (end,) = at_the_end(monkeypatch, replay, "--site", site, "--out", log, *notes)
    charge = _json(capsys, "charge", log, "--site", site)
    report = _json(capsys, "report", log, "--site", site)["logs"][0]
    for told in (charge, report["charge"]):
        for unit, amounts in (("Ah", end.charge.charge), ("Wh", end.charge.energy)):
            both = told["charge" if unit == "Ah" else "energy"]
            for way in ("drawn", "returned"):
                assert both[f"{way}_u95_{unit}"] == pytest.approx(getattr(amounts, f"{way}_u95"), rel=1e-6)
    # So of what was drawn since the last note.
    since = charge["marked"][-1]
    assert since["drawn_u95_Ah"] == pytest.approx(end.parts[-1].charge.charge.drawn_u95, rel=1e-6)
    without = _json(capsys, "charge", log)["uncertainty"]
    assert "unseen start surges" in {part["source"] for part in charge["uncertainty"]} - {p["source"] for p in without}


def test_a_note_at_a_time_stands_in_the_log(tmp_path, capsys):
    """--mark puts a note where it belongs, and it is kept as a marker."""
    log = tmp_path / "a.parquet"
    assert run(["capture", "hand:", "--out", str(log), "--for", "1s", "--mark", "0.1s=crates", "--quiet"]) == 3
    assert not log.exists()  # nothing was typed, so there is no log
    marks = ["--mark", "10m=crates", "--mark", "11:30=lunch", "--mark", "1d=tomorrow"]
    capsys.readouterr()
    assert run(["capture", WEEK, "--out", str(log), *marks, "--quiet"]) == 0
    assert "tomorrow" in capsys.readouterr().err
    opened = open_log(log)
    start_us = int(next(iter(opened.scan([]))).time_us[0])
    assert [text for _, text in opened.meta.markers] == ["crates", "lunch"]
    assert opened.meta.markers[0][0] == start_us + 600_000_000


def test_all_meters_of_a_site_at_once(tmp_path, capsys):
    """Each meter that says how it is read gets a log of its own, named by meter: in a folder, or after a name."""
    site, out, part = tmp_path / "site.toml", tmp_path / "logs", tmp_path / "part.csv"
    lines = gzip.decompress((SAMPLES / "week_later.csv.gz").read_bytes()).splitlines(keepends=True)
    part.write_bytes(b"".join(lines[:602]))  # two lines above 600 readings
    source = WEEK.replace(str(SAMPLES / "week_later.csv.gz"), str(part))
    site.write_text(SITE.format(source=source), encoding="utf-8")
    assert run(["capture", "--site", str(site), "--out", str(out), "--quiet"]) == 0
    assert sorted(path.name for path in out.glob("*.parquet")) == ["bank_shunt.parquet", "shed_meter.parquet"]
    assert open_log(out / "bank_shunt.parquet").rows == 600
    alone = tmp_path / "one.parquet"
    assert run(["capture", "--site", str(site), "--meter", "shed meter", "--out", str(alone), "--quiet"]) == 0
    assert open_log(alone).rows == 600
    beside = tmp_path / "open-day.parquet"
    assert run(["capture", "--site", str(site), "--out", str(beside), "--quiet"]) == 0
    assert [path.name for path in sorted(tmp_path.glob("open*.parquet"))] == [
        "open-day-bank_shunt.parquet",
        "open-day-shed_meter.parquet",
    ]
    capsys.readouterr()
    assert run(["capture", "--site", str(site), "--meter", "read by eye", "--out", str(tmp_path / "x.parquet")]) == 2
    assert "does not say how to read it" in capsys.readouterr().err


def at_the_end(monkeypatch, *words):
    """Capture, and return how each meter stood in the end."""
    ends = []
    monkeypatch.setattr(
        "shuntbook.cli.capture.run.finish_meters",
        lambda meters, journals, snapshots: ends.extend(snapshots) or finish_meters(meters, journals, snapshots),
    )
    assert run(["capture", *map(str, words), "--quiet"]) == 0
    return ends


def test_what_is_shown_since_a_note_is_what_charge_says_from_it_on(tmp_path, capsys, monkeypatch):
    """Of a recording played as fast as can be, too."""
    log = tmp_path / "a.parquet"
    (shot,) = at_the_end(monkeypatch, WEEK, "--out", log, "--mark", "1h30m=crates")
    since = _json(capsys, "charge", log, "--from", "crates")["charge"]
    assert shot.parts[-1].charge.charge.drawn == pytest.approx(since["drawn_Ah"], abs=0.001)
    assert shot.parts[-1].charge.charge.returned == pytest.approx(since["returned_Ah"], abs=0.001)


@pytest.mark.parametrize(
    ("day", "named"),
    [
        ("week_later", []),
        ("open_day", ["--meter", "bank shunt"]),
        pytest.param("week_later", ["--meter", "bank shunt"], marks=pytest.mark.night),
        pytest.param("open_day", [], marks=pytest.mark.night),
    ],
)
def test_a_source_at_a_site_is_judged_as_the_report_of_its_log(day, named, tmp_path, capsys, monkeypatch):
    """SOURCE with --site: the load by its name, the site's limits, and at the end the findings of the report."""
    log, site = tmp_path / "a.parquet", SAMPLES / "site.toml"
    source = WEEK if day == "week_later" else f"replay:{SAMPLES / 'open_day.csv.gz'}?speed=max&zone=Europe/London"
    (shot,) = at_the_end(monkeypatch, source, "--site", site, *named, "--out", log)
    assert "The well pump took" in capsys.readouterr().out
    assert open_log(log).meta.meter == "bank shunt"
    report = _json(capsys, "report", log, "--site", site)["logs"][0]
    keys = ("code", "severity", "title", "plain", "evidence", "limit", "source", "check_first")
    ours = [{key: getattr(finding, key) for key in keys} for finding in shot.findings]
    assert ours == [{key: finding[key] for key in keys} for finding in report["findings"]]
    assert bool(ours) is (day == "week_later")
    ran = report["cycles"]["summary"]
    assert shot.cycles.summary.charge_Ah == pytest.approx(ran["charge_Ah"], rel=1e-9)
    assert shot.cycles.summary.charge_u95_Ah == pytest.approx(ran["charge_u95_Ah"], rel=1e-9)


def test_a_source_is_one_meter_of_its_site(tmp_path, capsys):
    """One name, and one that the site has; a meter's name without a site is told, too."""
    log = ["--out", str(tmp_path / "a.parquet")]
    site = ["--site", str(SAMPLES / "site.toml")]
    assert run(["capture", WEEK, *log, *site, "--meter", "bank shunt", "--meter", "other"]) == 2
    assert "one SOURCE is one meter" in capsys.readouterr().err
    assert run(["capture", WEEK, *log, *site, "--meter", "nowhere"]) == 2
    assert "nowhere" in capsys.readouterr().err
    assert run(["capture", WEEK, *log, "--meter", "bank shunt"]) == 2
    assert "give the file with --site" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX knows them")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_signals_end_it_cleanly(tmp_path, number):
    """Ctrl-C and a termination signal: status 0, a whole log, no journal left."""
    log = tmp_path / "a.parquet"
    child = _child("capture", WEEK.replace("speed=max", "speed=100"), "--out", log)
    journal = tmp_path / "a.parquet.journal"
    _until(lambda: journal.exists() and journal.stat().st_size > 5000)
    child.send_signal(number)
    out, err = child.communicate(timeout=30)
    assert child.returncode == 0, err
    assert "shuntbook charge" in out
    assert not journal.exists()
    assert open_log(log).rows > 10


def test_a_second_capture_into_one_place_is_refused(tmp_path, capsys):
    """Two captures cannot write one log; a reader is told that it is still being captured."""
    log = tmp_path / "a.parquet"
    child = _child("capture", WEEK.replace("speed=max", "speed=100"), "--out", log, "--quiet")
    try:
        journal = tmp_path / "a.parquet.journal"
        _until(lambda: journal.exists() and journal.stat().st_size > 5000)
        assert run(["capture", WEEK, "--out", str(log)]) == 2
        assert run(["charge", str(log)]) == 2
        assert "captured" in capsys.readouterr().err
    finally:
        child.terminate()
        child.communicate(timeout=30)
    assert run(["charge", str(log)]) == 0


def test_no_export_takes_the_place_of_a_capture(tmp_path, capsys):
    """Neither while it runs nor while it is unfinished, with --force or without; nothing is touched, no export read."""
    log, missing = tmp_path / "a.parquet", tmp_path / "none.csv"
    for source in (missing, SAMPLES / "week_later.csv.gz"):
        with closing(Journal(log, LogMeta(), ["current_A"])) as journal:
            journal.append_reading(Reading(1_000_000, {"current_A": 1.0}))
            before = journal.path.read_bytes()
            for words in ([], ["--force"]):
                capsys.readouterr()
                assert run(["convert", str(source), "--out", str(log), *words]) == 2
                assert capsys.readouterr() == (
                    "",
                    f"shuntbook: {log}: is still being captured; stop it first or choose another --out\n",
                )
        assert run(["convert", str(source), "--out", str(log), "--force"]) == 2
        assert "an unfinished capture lies here" in capsys.readouterr().err
        assert [path.name for path in tmp_path.iterdir()] == [journal.path.name]
        assert journal.path.read_bytes() == before
        journal.path.unlink()


def test_a_killed_capture_is_completed_by_the_next_command(tmp_path, capsys):
    """After kill -9 the next command completes the log and says so; the one after finds nothing to complete."""
    log = tmp_path / "a.parquet"
    child = _child("capture", WEEK.replace("speed=max", "speed=100"), "--out", log, "--quiet")
    journal = tmp_path / "a.parquet.journal"
    _until(lambda: journal.exists() and journal.stat().st_size > 20000)
    child.kill()
    child.communicate(timeout=30)
    assert run(["look", str(log)]) == 0
    assert "unfinished capture" in capsys.readouterr().err
    assert run(["look", str(log)]) == 0
    assert "unfinished" not in capsys.readouterr().err
    assert open_log(log).rows > 50


def test_an_existing_log_is_never_written_over(tmp_path, capsys):
    """A capture refuses a place where a log is."""
    log = tmp_path / "a.parquet"
    log.write_text("mine", encoding="utf-8")
    assert run(["capture", WEEK, "--out", str(log)]) == 2
    assert "exists already" in capsys.readouterr().err
    assert log.read_text(encoding="utf-8") == "mine"


@pytest.mark.skipif(os.name != "posix", reason="a file-size limit as POSIX knows it")
def test_a_full_disk_ends_with_status_3_and_keeps_what_was_read(tmp_path, capsys):
    """A limit on the size of files stands in for a full disk: status 3, and the readings before it are there."""
    log = tmp_path / "a.parquet"
    code = (
        "import resource, signal, sys\n"
        "from shuntbook.cli.main import main\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (200000, resource.RLIM_INFINITY))\n"
        "main(sys.argv[1:])"
    )
    words = [sys.executable, "-c", code, "capture", WEEK, "--out", str(log), "--quiet"]
    done = subprocess.run(words, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=60, check=False)
    assert done.returncode == 3, done.stderr
    assert "kept" in done.stderr
    assert "Traceback" not in done.stderr
    capsys.readouterr()
    assert run(["charge", str(log)]) == 0
    assert open_log(log).rows > 300


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["capture", "--out", "x.parquet"], "either a SOURCE or --site"),
        (["capture", "telegraph:1", "--out", "x.parquet"], "is no live source"),
        (["capture", "serial:", "--out", "x.parquet"], "says no port"),
        (["capture", "replay:nowhere.csv", "--out", "x.parquet"], "no such file"),
        (["capture", "hand:", "--out", "x.parquet", "--for", "soon"], "not a length of time"),
        (["capture", "hand:", "--out", "x.parquet", "--mark", "crates"], "TIME=TEXT"),
        (["capture", "hand:", "--out", "nowhere/x.parquet"], "there is no folder"),
        (["probe", "hand:"], "can be probed"),
    ],
)
def test_mistakes_are_told_in_one_sentence(words, said, capsys, tmp_path, monkeypatch):
    """What a beginner gets wrong ends with status 2 and a way out, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    assert run(words) == 2
    err = capsys.readouterr().err
    assert said in err
    assert err.startswith("shuntbook: ")
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_every_command_is_in_the_readme_and_has_an_example():
    """A command that exists is documented, and its help shows how it is used."""
    from click.testing import CliRunner

    from shuntbook.cli.main import COMMANDS, group

    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in COMMANDS:
        assert f"`{name}" in text or f"shuntbook {name}" in text
        shown = CliRunner().invoke(group, [name, "--help"])
        assert shown.exit_code == 0
        assert "Example: shuntbook" in shown.output


SHUNT = """
[modbus.registers.voltage_V]
address = 0
type = "uint16"
scale = 0.01

[modbus.registers.current_A]
address = 1
type = "int16"
scale = 0.01
"""


@pytest.mark.filterwarnings("ignore:isSet:DeprecationWarning")  # modbus-tk's server thread
def test_a_device_that_stops_and_comes_back_leaves_a_hole(tmp_path):
    """A Modbus device goes away and returns: readings before and after, nothing in between, and it is said."""
    from modbus_devices import free_port, tcp_server

    port, log, profile = free_port(), tmp_path / "a.parquet", tmp_path / "shunt.toml"
    profile.write_text(SHUNT, encoding="utf-8")
    units = {1: [("holding", 0, [2512, 3050])]}
    journal = tmp_path / "a.parquet.journal"
    with tcp_server(units, port):
        child = _child(
            "capture",
            f"modbus-tcp:127.0.0.1:{port}?timeout=0.5",
            "--profile",
            profile,
            "--out",
            log,
            "--every",
            "100ms",
        )
        _until(lambda: journal.exists() and journal.read_bytes().count(b'"reading"') > 10)
    _until(lambda: b'"remark"' in journal.read_bytes())
    time.sleep(1.0)
    with tcp_server(units, port):
        before = journal.read_bytes().count(b'"reading"')
        _until(lambda: journal.read_bytes().count(b'"reading"') > before + 10)
        child.send_signal(signal.SIGINT)
        out, err = child.communicate(timeout=30)
    assert child.returncode == 0, err
    assert "reconnected" in out
    frame = open_log(log).to_pandas()
    assert set(frame["current_A"]) == {30.5}
    assert set(frame["voltage_V"]) == {25.12}
    assert frame.index.to_series().diff().dt.total_seconds().max() > 1.0
