"""``probe --watch`` and ``probe --find`` from end to end, with a device that is not ours."""

from __future__ import annotations

import io
import json
import os
import re
import signal
import struct
import subprocess
import sys
import threading
from contextlib import contextmanager

import pytest
from modbus_devices import ScriptedServer, register_device
from ready_python import ready_python

from shuntbook.cli.door import tell
from shuntbook.cli.main import run
from shuntbook.cli.probing import watching
from shuntbook.ingest.journal.opening import open_log

pytestmark = pytest.mark.xdist_group("captures")  # they have clocks to keep
MAIN = "import sys; from shuntbook.cli.main import main; main(sys.argv[1:])"


class PumpMeter:
    """A meter of amps, volts and watts, whose pump somebody switches; it hears to every unit id."""

    def __init__(self):
        self.registers = {("holding", at): 0 for at in range(40)}
        self.switch(False)

    def switch(self, on):
        amps, volts = (74.5, 11.95) if on else (2.1, 12.61)
        self.registers["holding", 2], self.registers["holding", 3] = round(amps * 10), round(volts * 100)
        self.registers["holding", 4] = round(amps * volts)
        words = struct.unpack(">HH", struct.pack(">f", amps * 3600))
        self.registers["holding", 10], self.registers["holding", 11] = words


@contextmanager
def metered():
    meter = PumpMeter()
    with ScriptedServer(register_device(meter.registers)) as device:
        yield meter, f"modbus-tcp:127.0.0.1:{device.port}?timeout=10"


@contextmanager
def switched(meter, monkeypatch, every_s=0.7):
    """Switch the pump on and off from the moment on when one is asked to."""
    asked, stop = threading.Event(), threading.Event()

    def hear(line):
        if line.startswith("now switch"):
            asked.set()
        tell(line)

    def switch():
        asked.wait(60)
        on = False
        while not stop.wait(every_s):
            on = not on
            meter.switch(on)

    monkeypatch.setattr(watching, "tell", hear)
    thread = threading.Thread(target=switch)
    thread.start()
    try:
        yield
    finally:
        asked.set()
        stop.set()
        thread.join()


def told(capsys, *words):
    capsys.readouterr()
    status = run(list(words))
    return (status, *capsys.readouterr())


# --- watch ---


def test_watch_shows_only_what_changes(capsys, monkeypatch):
    """One device behind ten ids, four numbers, unrounded; what was refused by its reason."""
    with metered() as (meter, source), switched(meter, monkeypatch):
        status, out, err = told(capsys, "probe", source, "--watch", "5s")
    assert status == 0
    assert out.startswith("units 1 to 10 answer alike: one device\n")
    rows = {tuple(line.split()[:2]) for line in out.splitlines() if line.startswith("holding ")}
    assert {("holding", "2"), ("holding", "3"), ("holding", "4"), ("holding", "10-11")} <= rows
    assert re.search(r"holding 10-11 +float32 .*268200\.0", out)
    assert "holding registers 40 to 255 refused (illegal data address)" in out
    assert "input registers refused (illegal data address)" in out
    assert f'next: shuntbook probe "{source}" --find' in out
    assert len(out.splitlines()) <= 12
    assert "now switch the load on and off" in err
    assert re.search(r"holding 2 745; holding 3 1195; holding 4 890; holding 10-11 268200\.0", err)


def test_watch_without_a_change_says_what_to_do(capsys):
    """Nothing switched is no empty table."""
    with metered() as (_, source):
        one = source.replace("?", "?unit=1&")
        status, out, _ = told(capsys, "probe", one, "--watch", "1s", "--registers", "0-9")
    assert status == 0
    assert out.startswith("unit 1 answers\nnothing changed with a load: 10 registers read ")


def test_ctrl_c_ends_a_watch_with_the_summary():
    """Status 0, the answer on standard output; the source may stand behind the option."""
    with metered() as (meter, source):
        words = ["probe", "--watch", source.replace("?", "?unit=1&"), "--json"]
        child = subprocess.Popen(
            [ready_python(), "-c", MAIN, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for line in child.stderr:
            if line.startswith("now switch"):
                break
        meter.switch(True)
        next(iter(child.stderr))
        os.kill(child.pid, signal.SIGINT)
        out, _ = child.communicate(timeout=60)
    assert child.returncode == 0
    document = json.loads(out)
    assert [device["units"] for device in document["devices"]] == [[1]]
    amps = document["changes"][0]
    assert (amps["table"], amps["address"], amps["raw"]) == ("holding", 2, [{"first": 21, "last": 745}])
    assert amps["may_be"][0] == {
        "type": "uint16", "word_order": None, "first": 21.0, "last": 745.0, "lowest": 21.0, "highest": 745.0,
    }  # fmt: skip
    assert document["devices"][0]["refused"][0] == {
        "table": "holding", "first": 40, "last": 255, "reason": "illegal data address",
    }  # fmt: skip


# --- find ---


def test_from_the_display_to_a_capture(capsys, tmp_path):
    """Amps and volts typed from the display become a profile, by which a capture reads them."""
    profile, log = tmp_path / "meter.toml", tmp_path / "pump.parquet"
    with metered() as (meter, source):
        meter.switch(True)
        words = ["--find", "74.5 A", "--find", "11,95 V", "--keep-profile", str(profile)]
        status, out, err = told(capsys, "probe", source, *words)
        assert status == 0
        assert out.splitlines()[0].startswith("74.5 A: holding 2, int16, scale 0.1, gives 74.5 A (")
        assert "11,95 V: holding 3, uint16, scale 0.01, gives 11.95 V (" in out
        assert f"wrote {profile}" in err
        status = run(["capture", source, "--profile", str(profile), "--out", str(log), "--for", "2s", "--quiet"])
    assert status == 0
    table = open_log(log).to_pandas()
    assert set(table["current_A"]) == {74.5}
    assert table["voltage_V"].to_numpy() == pytest.approx(11.95, rel=1e-12)


def test_several_candidates_are_ranked_and_told_apart(capsys, tmp_path):
    """Two registers of the same give no profile, but what to do."""
    profile = tmp_path / "meter.toml"
    with metered() as (meter, source):
        meter.switch(True)
        meter.registers["holding", 30] = 745
        status, out, err = told(capsys, "probe", source, "--find", "74.5", "--keep-profile", str(profile))
    assert status == 2
    assert "74.5: 2 may be it" in out
    assert "To tell them apart, switch the load" in out.replace("\n", " ")
    assert "--keep-profile: 74.5: 2 registers may be it, so no profile was written; add another value" in err
    assert not profile.exists()


class Typing(io.StringIO):
    """A person at a terminal who switches the load before each value is typed."""

    def __init__(self, meter, lines):
        super().__init__()
        self._meter, self._lines, self._on = meter, list(lines), True

    def isatty(self):
        return True

    def readline(self, *_):
        self._on = not self._on
        self._meter.switch(self._on)
        return self._lines.pop(0) + "\n"


def test_a_value_typed_next_narrows_it(capsys, monkeypatch):
    """After the load was switched only one register goes along; a slip of the pen is told and asked for again."""
    with metered() as (meter, source):
        meter.switch(True)
        meter.registers["holding", 30] = 745
        typing = Typing(meter, ["x", "2.1"])
        typing._on = False
        monkeypatch.setattr(sys, "stdin", typing)
        status, out, err = told(capsys, "probe", source, "--find", "74.5 A")
    assert status == 0
    assert "is no value of a display" in err
    assert out.startswith("2.1: holding 2, int16")
    assert "follows the display through 2 values" in out.replace("\n ", "")


def test_find_for_scripts(capsys):
    """All candidates, with whether one is settled; nobody is asked."""
    with metered() as (meter, source):
        meter.switch(True)
        document = json.loads(told(capsys, "probe", source, "--find", "74.5 A", "--json")[1])
    (value,) = document["values"]
    assert (value["shown"], value["quantity"], value["settled"]) == ("74.5 A", "current_A", True)
    best = value["candidates"][0]
    assert {key: best[key] for key in ("unit", "table", "address", "type", "scale", "sign_turned", "gives")} == {
        "unit": 1, "table": "holding", "address": 2, "type": "int16", "scale": 0.1, "sign_turned": False, "gives": 74.5,
    }  # fmt: skip


def test_a_value_that_no_register_gives_says_so(capsys):
    """And what may be the matter."""
    with metered() as (_, source):
        status, out, _ = told(capsys, "probe", source, "--find", "333.3 A")
    assert status == 0
    assert out.startswith("333.3 A: none of 40 registers gives it; type what the display shows")


@pytest.mark.parametrize(("words", "sentence"), [
    (["--find", "0"], "0 tells nothing apart"),
    (["--find", "1,250"], "could be 1250 or 1.250"),
    (["--find", "74.5 A", "--watch", "5s"], "two commands"),
    (["--keep-profile", "x.toml"], "give the value on the display with --find"),
    (["--watch", "soon"], "--watch: 'soon' is not a length of time"),
    (["--find", "74.5 A", "--keep-profile", "nowhere/x.toml"], "there is no folder"),
    (["--find", "74.5 A", "--registers", "9-3"], "registers must be FIRST-LAST"),
])  # fmt: skip
def test_mistakes_are_one_sentence(words, sentence, capsys, tmp_path, monkeypatch):
    """Told with status 2, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    with metered() as (_, source):
        status, out, err = told(capsys, "probe", source.replace("?", "?unit=1&"), *words)
    assert (status, out) == (2, "")
    assert sentence in err
    assert err.startswith("shuntbook: ") or "registers" in sentence
    assert list(tmp_path.iterdir()) == []


def test_two_values_of_one_kind_are_refused(capsys):
    """Amps twice would be two answers under one name."""
    with metered() as (_, source):
        status, _, err = told(capsys, "probe", source, "--find", "74.5 A", "--find", "2.1 A")
    assert status == 2
    assert "two values of one kind" in err


def test_a_profile_needs_a_unit_and_replaces_nothing(capsys, tmp_path):
    """What was found of an unnamed value is shown, and not kept."""
    profile = tmp_path / "meter.toml"
    with metered() as (meter, source):
        meter.switch(True)
        status, out, err = told(capsys, "probe", source, "--find", "11.95", "--keep-profile", str(profile))
        assert status == 2
        assert "holding 3" in out
        assert "say in what unit, such as --find '11.95 A'" in err
        profile.write_text("mine", encoding="utf-8")
        status, _, err = told(capsys, "probe", source, "--find", "11.95 V", "--keep-profile", str(profile))
    assert status == 2
    assert "exists already" in err
    assert profile.read_text(encoding="utf-8") == "mine"


def test_probe_shows_numbers_unrounded_and_the_plausible_first(capsys):
    """Milliamps with the low word first, among what the same registers may also be."""
    registers = {("holding", 0): 8987, ("holding", 1): 1}
    with ScriptedServer(register_device(registers)) as device:
        source = f"modbus-tcp:127.0.0.1:{device.port}?unit=1&timeout=10"
        status, out, _ = told(capsys, "probe", source, "--registers", "0-1")
    assert status == 0
    words = " ".join(out.split())
    assert "uint32 low word first 74523, uint32 588972033" in words
