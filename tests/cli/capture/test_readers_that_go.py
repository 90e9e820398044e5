"""A capture whose output nobody reads any more goes on until its time, and ends by its own status."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from places import SAMPLES
from ready_python import ready_python

from shuntbook.cli.capture.keyboard import Keyboard
from shuntbook.ingest.journal.opening import open_log

pytestmark = [
    pytest.mark.xdist_group("captures"),  # one at a time: they have clocks to keep
    pytest.mark.skipif(sys.platform != "linux", reason="terminals and full devices as Linux knows them"),
]
#: A hundred times as fast as it was read, for four seconds.
SOURCE = f"replay:{SAMPLES / 'week_later.csv.gz'}?speed=100&zone=Europe/London&sign=return_positive"
WORDS = ["capture", SOURCE, "--for", "4s", "--out", "a.parquet"]
#: Lines that are said ten times a second show within the four who still writes to somebody that has gone.
CODE = """
import sys
from shuntbook.cli.capture import show
from shuntbook.cli.main import main
show._PLAIN_EVERY_S = 0.1
main(sys.argv[1:])
"""
SITE = """
name = "two meters"
[bank]
nominal_V = 24
capacity_Ah = 420
[[meters]]
name = "one"
side = "dc"
source = "{source}"
[[meters]]
name = "other"
side = "dc"
source = "{source}"
"""


def _child(folder, *words, **streams):
    python = sys.executable if "preexec_fn" in streams else ready_python()  # a session is of who is begun for it alone
    return subprocess.Popen([python, "-c", CODE, *(words or WORDS)], cwd=folder, **streams)


def _span_s(log):
    times = [part.time_us for part in open_log(log).scan([])]
    return (times[-1][-1] - times[0][0]) / 1e6


def _logs(folder):
    """The logs and journals of a folder; the source has rows that are rejected."""
    return {path.name for path in folder.iterdir()} - {f"{name}.parquet.rejects.csv" for name in ("a", "one", "other")}


def _went_on(folder):
    """The whole of its time is in the log, less what an event took on its way at either end; nothing else is left."""
    assert _span_s(folder / "a.parquet") > 300
    assert _logs(folder) == {"a.parquet"}


def test_a_pager_that_has_seen_enough_ends_no_capture(tmp_path):
    """``capture ... 2>&1 | head -1``: the pipe is closed after the first line."""
    child = _child(tmp_path, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    assert child.stdout.readline().startswith(b"a: ")
    child.stdout.close()
    assert child.wait() == 0
    _went_on(tmp_path)


def test_a_reader_that_was_never_there_ends_no_capture(tmp_path):
    """Results and remarks alike go nowhere."""
    reading, writing = os.pipe()
    os.close(reading)
    child = _child(tmp_path, stdin=subprocess.DEVNULL, stdout=writing, stderr=writing)
    os.close(writing)
    assert child.wait() == 0
    _went_on(tmp_path)


@pytest.mark.parametrize("words", [[], ["--quiet"]], ids=["screen", "quiet"])
def test_a_terminal_that_is_closed_ends_no_capture(tmp_path, words):
    """The window is closed: the hang-up is not heard, nothing that is drawn arrives, no key comes."""
    controller, terminal = os.openpty()
    child = _child(
        tmp_path,
        *WORDS,
        *words,
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
        start_new_session=True,
        preexec_fn=lambda: _own(terminal),
    )
    os.close(terminal)
    if words:
        while not (tmp_path / "a.parquet.journal").exists():
            assert child.poll() is None
    else:
        assert os.read(controller, 1)  # the screen is being drawn
        while not (tmp_path / "a.parquet.journal").exists():
            os.read(controller, 65536)
    os.close(controller)
    assert child.wait() == 0
    _went_on(tmp_path)


def _own(terminal):
    import fcntl
    import termios

    fcntl.ioctl(terminal, termios.TIOCSCTTY, 0)  # so that its end is a hang-up of this session


def test_without_a_time_a_hang_up_ends_nothing_and_a_signal_does(tmp_path):
    """It goes on until it is told to end."""
    child = _child(tmp_path, *WORDS[:2], *WORDS[4:], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=-2)
    assert child.stdout.readline()
    child.send_signal(signal.SIGHUP)
    for _ in range(3):
        assert child.stdout.readline()  # a tenth of a second each
    child.send_signal(signal.SIGTERM)
    out, _ = child.communicate()
    assert child.returncode == 0
    assert b"next: shuntbook charge a.parquet" in out
    assert open_log(tmp_path / "a.parquet").rows > 10


def test_a_disk_too_full_for_what_is_said_loses_no_log(tmp_path):
    """Remarks are dropped; that results could not be said is told by the status, once every log is there."""
    site = tmp_path / "site.toml"
    site.write_text(SITE.format(source=SOURCE.replace("speed=100", "speed=max")), encoding="utf-8")
    with Path("/dev/full").open("wb") as full:
        child = _child(tmp_path, *WORDS, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=full)
        assert child.wait() == 0
        words = ["capture", "--site", "site.toml", "--out", "logs"]
        child = _child(tmp_path, *words, stdin=subprocess.DEVNULL, stdout=full, stderr=subprocess.PIPE)
        _, err = child.communicate()
    assert child.returncode == 3, err
    assert err.splitlines()[-1].startswith(b"shuntbook: the disk: No space left on device")
    assert _logs(tmp_path / "logs") == {"one.parquet", "other.parquet"}
    assert open_log(tmp_path / "logs" / "other.parquet").rows == 9000


def test_a_terminal_that_is_closed_while_it_is_taken_gives_no_keys():
    """It was one when asked, and is gone a moment later: a capture that has begun goes on."""
    controller, terminal = os.openpty()
    os.close(controller)
    gone = SimpleNamespace(closed=False, isatty=lambda: True, fileno=lambda: terminal)
    try:
        with Keyboard(gone) as keyboard:
            assert keyboard.lines() == []
    finally:
        os.close(terminal)
