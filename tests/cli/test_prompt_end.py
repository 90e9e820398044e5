"""Ctrl-C and a termination signal end every command, also where its main thread does not get to hear of them."""

import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from places import SAMPLES

from shuntbook.ingest.fleet.remote import as_files
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.replay import Replay
from shuntbook.ingest.live.source import SteadyClock
from shuntbook.ingest.safe_files.whole_file import remove_unfinished

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals and process groups of POSIX")

#: No test waits so long for what should be there at once. [s]
PATIENCE_S = 120
SITE = SAMPLES / "site.toml"
MAIN = "from shuntbook.cli.main import main; main()"
#: Runs a command with some function replaced by one that says it is there, and then hears of nothing: it swallows what
#: a signal raises, as a callback of a library does.
DEAF = """
import importlib, sys, time
from pathlib import Path
module, names, place, *argv = sys.argv[1:]
def deaf(*_, **__):
    Path(place).touch()
    while True:
        try:
            time.sleep(600)
        except BaseException:
            pass
owner = importlib.import_module(module)
*path, name = names.split(".")
for part in path:
    owner = getattr(owner, part)
setattr(owner, name, deaf)
from shuntbook.cli.main import main
main(argv)
"""
#: The command, and where it is deaf: in what it reads, sums up in another thread, draws, or asks of the system.
FOLDS = ("shuntbook.analysis.charge.charge", "ChargeSums.take")
CASES = {
    "convert": ("shuntbook.ingest.log.log", "LogWriter.write", ["convert", "{csv}", "--zone", "UTC", "--out", "{new}"]),
    "look": ("shuntbook.analysis.quality.quality", "QualityFold.add", ["look", "{log}"]),
    "charge": (*FOLDS, ["charge", "{log}"]),
    "cycles": ("shuntbook.analysis.cycles.cycles", "CycleFold.add", ["cycles", "{log}"]),
    "report": (*FOLDS, ["report", "{log}", "--json"]),
    "report that draws": (
        "shuntbook.cli.render.page.page",
        "render",
        ["report", "{log}", "--out", "{new}"],
    ),
    "report that writes": (
        "shuntbook.ingest.safe_files.whole_file",
        "take_place",
        ["report", "{log}", "--out", "{new}"],
    ),
    "forecast": (
        "shuntbook.analysis.cycles.cycles",
        "CycleFold.add",
        ["forecast", "--site", str(SITE), "--load", "well pump", "--for", "1h", "--measured", "{log}"],
    ),
    "compare": (*FOLDS, ["compare", "{log}", "{log}"]),
    "fleet": ("shuntbook.cli.commands.fleet", "run_fleet", ["fleet", "{log}", "--out", "{new}"]),
    "check-site": ("shuntbook.ingest.toml.toml_file", "read_toml", ["check-site", str(SITE)]),
    "demo": (*FOLDS, ["demo", "--out", "{new}"]),
    "ports": ("shuntbook.cli.commands.ports", "command.callback", ["ports"]),
    "probe": ("shuntbook.cli.commands.probe", "command.callback", ["probe", "modbus:127.0.0.1"]),
}
#: One of each way of being deaf; the commands that are deaf as one of these is are for the night.
BY_DAY = {"convert", "charge", "report that draws", "fleet", "ports"}


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """A small log, and the export it is made from."""
    folder = tmp_path_factory.mktemp("log")
    rows = [
        f"2026-06-01T10:{k // 60:02}:{k % 60:02}Z,{2 + 20 * (k % 300 < 60)}.0,{25 - 0.4 * (k % 300 < 60)}"
        for k in range(1800)
    ]
    export = folder / "a.csv"
    export.write_text("time,current [A],voltage [V]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    convert = ["convert", str(export), "--zone", "UTC", "--out", str(folder / "a.parquet")]
    subprocess.run([sys.executable, "-c", MAIN, *convert], check=True, capture_output=True)
    return folder / "a.parquet"


def ended(child, number):
    """Send a signal; return the exit status once no process of the command's own session is left."""
    child.send_signal(number)
    status = child.wait(PATIENCE_S)
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        try:
            os.killpg(child.pid, 0)
        except ProcessLookupError:
            return status
        time.sleep(0.05)
    raise AssertionError("a child lives on")


def wait_for(condition, child):
    until = time.monotonic() + PATIENCE_S
    while not condition():
        assert child.poll() is None, child.stderr.read()
        assert time.monotonic() < until
        time.sleep(0.02)


def begun(argv):
    return subprocess.Popen(argv, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, start_new_session=True)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[] if name in BY_DAY else [pytest.mark.night]) for name in CASES]
)
def test_a_signal_ends_a_command_that_does_not_hear_it(name, log, tmp_path):
    """By its status, with no child left and nothing half-written; whichever of the two signals it is."""
    module, function, argv = CASES[name]
    number, status = [(signal.SIGINT, 130), (signal.SIGTERM, 143)][list(CASES).index(name) % 2]
    new, at_work = tmp_path / "new", tmp_path / "at_work"
    argv = [part.format(csv=log.with_suffix(".csv"), log=log, new=new) for part in argv]
    with begun([sys.executable, "-c", DEAF, module, function, str(at_work), *argv]) as child:
        wait_for(at_work.exists, child)
        assert ended(child, number) == status
        said = child.stderr.read()
    assert ("nothing half-written is left behind" in said) == (number == signal.SIGINT)
    assert "Traceback" not in said
    # What a fleet has read of is kept, and so is what a demo has finished.
    kept = {"fleet": ["new.rows"], "demo": ["new"]}.get(name, [])
    left = [path for path in tmp_path.iterdir() if path != at_work and path.name not in kept]
    assert left == []


def test_a_signal_ends_both_processes(tmp_path):
    """A long report has a second process, which reads the same log for itself."""
    log = long_log(tmp_path / "long.parquet")
    with begun([sys.executable, "-c", MAIN, "report", str(log), "--out", str(tmp_path / "new.html")]) as child:
        tasks = Path(f"/proc/{child.pid}/task")
        wait_for(lambda: any((task / "children").read_text().split() for task in tasks.iterdir()), child)
        assert ended(child, signal.SIGTERM) == 143
    assert [path.name for path in tmp_path.iterdir()] == [log.name]


def long_log(path):
    """A log that is long enough for a second process, written in some large steps."""
    import numpy as np

    from shuntbook.ingest.log.log import Readings, new_log, to_batch
    from shuntbook.ingest.log.meta import LogMeta

    count = 1_200_000
    with new_log(path, ("current_A", "voltage_V")) as writer:
        second = np.arange(count)
        amps = 2.0 + 20.0 * (second % 1800 < 90)
        quantities = {"current_A": amps, "voltage_V": 25.0 - 0.02 * amps}
        writer.write(to_batch(Readings(1_750_000_000_000_000 + second * 1_000_000, quantities)))
        writer.finish(LogMeta(gap_limit_s=10.0, usual_interval_s=1.0, rows_read=count, rows_kept=count))
    return path


def test_what_only_passes_is_gone_with_a_process_that_ends_at_once(tmp_path, monkeypatch):
    """A copy of what is behind a URL, and the log of an export that is played."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    far = tmp_path / "far.csv"
    far.write_text("time,current [A]\n2026-06-01T10:00:00Z,2.0\n2026-06-01T10:00:01Z,2.5\n", encoding="utf-8")
    played = Replay(parse_address(f"replay:{far}?zone=UTC&speed=max"), None, SteadyClock())
    played.open()
    with as_files(far.as_uri()):
        assert len(list(tmp_path.iterdir())) == 3
        remove_unfinished()
        assert list(tmp_path.iterdir()) == [far]
    played.close()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="a system without named pipes")
def test_a_signal_ends_what_waits_for_a_pipe_that_nobody_writes(tmp_path):
    """Whatever becomes of such a name: no command waits for it and hears nothing."""
    os.mkfifo(tmp_path / "pipe")
    with begun([sys.executable, "-c", MAIN, "look", str(tmp_path / "pipe")]) as child:
        time.sleep(0.5)
        assert ended(child, signal.SIGTERM) in {143, -signal.SIGTERM, 2}


def test_who_ends_by_itself_is_given_its_time():
    """A capture that finishes its logs after a signal is not cut short; another signal after that is as usual."""
    script = """
import os, signal, threading, time
from shuntbook.cli import main
from shuntbook.cli.capture.run import ended_by_signals
def run(*_, **__):
    stopped = threading.Event()
    with ended_by_signals(stopped):
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(2)
        print("finished", stopped.is_set(), flush=True)
    signal.signal(signal.SIGTERM, lambda *_: None)
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(600)
main.run = run
main.main()
"""
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=PATIENCE_S, check=False
    )
    assert (done.returncode, done.stdout.strip()) == (143, "finished True")


def test_what_is_put_away_half_made_hides_no_signal(log, tmp_path):
    """A signal that comes while a library starts a thread or a process leaves it half made, and it complains."""
    script = """
import contextlib, os, sys
from shuntbook.analysis.charge.charge import ChargeSums
from shuntbook.cli.main import main
@contextlib.contextmanager
def half_made():
    try:
        yield
    finally:
        raise RuntimeError("cannot join thread before it is started")
def killed(*_, **__):
    with half_made():
        os.kill(os.getpid(), number)
ChargeSums.take = killed
number = int(sys.argv.pop(1))
main()
"""
    for number, status in ((signal.SIGINT, 130), (signal.SIGTERM, 143)):
        argv = [sys.executable, "-c", script, str(int(number)), "charge", str(log)]
        ended_as = subprocess.run(argv, capture_output=True, text=True, timeout=PATIENCE_S, check=False)
        assert ended_as.returncode == status
        assert "fault of ours" not in ended_as.stderr
