"""Names that mean something to somebody else: URLs, bytes that are no text, pipes. Right, or refused untouched."""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from places import SAMPLES

from shuntbook.cli.main import run
from shuntbook.ingest.journal.opening import open_log

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="names as bytes")

ROWS = "\n".join(f"2026-06-13T10:{k // 60:02}:{k % 60:02}Z,{40 if k % 60 < 20 else 2},25" for k in range(600))
EXPORT = f"time,current [A],voltage [V]\n{ROWS}\n"
#: As Python has a byte that is no text in the name of a file.
NO_TEXT = "\udcff"
COLONS = ["pump:monday", "file:x", "s3:x", "http:", ":", "C:x"]


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Stand in an empty folder with an export and a log of it."""
    monkeypatch.chdir(tmp_path)
    Path("a.csv").write_text(EXPORT, encoding="utf-8")
    assert run(["convert", "a.csv", "--out", "whole.parquet", "--zone", "UTC"]) == 0
    return tmp_path


def _contents(folder):
    return {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*") if path.is_file()}


def _json(capsys, *words):
    capsys.readouterr()
    assert run([*words, "--json"]) == 0, capsys.readouterr().err
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("stem", COLONS)
def test_a_colon_is_a_letter_like_any_other(here, stem, capsys):
    """Written, replaced, read and captured under such a name, with the figures of any other."""
    log = f"{stem}.parquet"
    Path(f"{stem}.csv").write_text(EXPORT, encoding="utf-8")
    assert run(["convert", f"{stem}.csv", "--out", log, "--zone", "UTC"]) == 0
    assert run(["convert", f"{stem}.csv", "--out", log, "--zone", "UTC", "--force"]) == 0
    ours, whole = (_json(capsys, "charge", name) for name in (log, "whole.parquet"))
    assert ours["energy"] == whole["energy"]
    assert run(["look", log]) == run(["cycles", log]) == run(["compare", log, "whole.parquet"]) == 0
    assert run(["convert", log, "--out", f"{stem}2.parquet", "--reverse-sign"]) == 0
    assert run(["capture", f"replay:{stem}.csv?speed=max&zone=UTC", "--out", f"{stem}3.parquet", "--quiet"]) == 0
    assert not [path for path in here.iterdir() if path.name.startswith(".")]


@pytest.mark.parametrize("stem", [COLONS[1], *(pytest.param(stem, marks=pytest.mark.night) for stem in COLONS)])
def test_reports_and_fleets_take_a_colon_for_a_letter(here, stem, capsys):
    """A page, tables, and a fleet with what it keeps."""
    log = f"{stem}.parquet"
    Path(log).write_bytes(Path("whole.parquet").read_bytes())
    assert run(["report", log, "--out", f"{stem}.html", "--csv", f"{stem} tables"]) == 0
    out = _json(capsys, "fleet", ".", "--out", f"{stem}4.parquet", "--workers", "1")
    assert {row["log"] for row in out["ranking"]} == {log, "whole.parquet"}
    assert out["counts"]["not_read"] == 0
    assert _json(capsys, "fleet", ".", "--out", f"{stem}4.parquet", "--workers", "1")["work"]["logs_kept"] == 2
    assert not [path for path in here.iterdir() if path.name.startswith(".")]


def test_a_log_whose_name_is_no_text_is_read_like_any_other(here, capsys):
    """In every command; its name is shown as far as it is text, in pages and tables too."""
    log = f"p{NO_TEXT}.parquet"
    Path("whole.parquet").rename(log)
    Path(f"d{NO_TEXT}").mkdir()
    Path(f"d{NO_TEXT}/{log}").write_bytes(Path(log).read_bytes())
    site = ["--site", str(SAMPLES / "site.toml")]
    for words in (
        ["look", log],
        ["charge", log, *site],
        ["cycles", log],
        ["report", log, "--out", "a.html", "--csv", "tables"],
        ["report", log, f"d{NO_TEXT}/{log}", "--json"],
        ["compare", log, f"d{NO_TEXT}/{log}"],
        ["forecast", *site, "--load", "well pump", "--for", "15m", "--measured", log],
        ["convert", log, "--out", "b.parquet", "--reverse-sign"],
        ["fleet", ".", "--out", "f.parquet", "--page", "f.html", "--workers", "1"],
        ["fleet", ".", "--out", "f.parquet", "--site-dir", f"d{NO_TEXT}", "--workers", "1"],
    ):
        status = run(words)
        assert status in (0, 2 if words[0] in ("forecast", "report") else 0), (words, capsys.readouterr().err)
        assert "not read" not in capsys.readouterr().out
    assert r"p\xff" in Path("a.html").read_text(encoding="utf-8")


def test_an_export_whose_name_is_no_text_is_read_like_any_other(here):
    """Converted and replayed; the log tells the name as far as it is text."""
    Path("a.csv").rename(f"e{NO_TEXT}.csv")
    words = ["convert", f"e{NO_TEXT}.csv", "--out", "b.parquet", "--zone", "UTC", "--keep-profile", "k.toml"]
    assert run(words) == 0
    assert open_log(Path("b.parquet")).meta.source[0]["name"] == "e?.csv"
    assert run(["capture", f"replay:e{NO_TEXT}.csv?speed=max&zone=UTC", "--out", "c.parquet", "--quiet"]) == 0


@pytest.mark.parametrize(
    "words",
    [
        ["convert", "a.csv", "--zone", "UTC", "--force", "--out", "{}"],
        ["convert", "whole.parquet", "--gap", "1h", "--force", "--out", "{}"],
        ["convert", "a.csv", "--zone", "UTC", "--out", "b.parquet", "--force", "--keep-profile", "{}"],
        ["capture", "replay:a.csv?speed=max&zone=UTC", "--quiet", "--out", "{}"],
        ["report", "whole.parquet", "--force", "--out", "{}"],
        ["report", "whole.parquet", "--force", "--csv", "{}"],
        ["fleet", ".", "--force", "--out", "{}"],
        ["fleet", ".", "--out", "f.parquet", "--force", "--page", "{}"],
        ["demo", "--out", "{}"],
    ],
    ids=" ".join,
)
@pytest.mark.parametrize("kind", ["no text", "pipe", "pipe by a link", "device"])
def test_no_result_goes_where_it_could_not_be_told_or_would_replace_more_than_a_file(here, words, kind, capsys):
    """Refused in a sentence before anything is read or written; not even --force takes a pipe's or device's place."""
    place = Path({"no text": f"o{NO_TEXT}.x", "device": "full"}.get(kind, "pipe"))
    if kind == "device":
        place.symlink_to("/dev/full")
    elif kind != "no text":
        os.mkfifo("a pipe" if "link" in kind else place)
        if "link" in kind:
            place.symlink_to("a pipe")
    capsys.readouterr()
    before = _contents(here)
    assert run([word.format(place) for word in words]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "\ufffd.x is no name in UTF-8" in err if kind == "no text" else "pipe" in err or "a file" in err
    assert _contents(here) == before
    assert not place.is_file()
    assert os.path.lexists(place) == (kind != "no text")


@pytest.mark.parametrize("command", ["look", "charge", "cycles", "compare", "report", "convert", "fleet"])
def test_a_pipe_in_the_place_of_a_log_is_told_at_once(here, command, capsys):
    """Nothing waits for somebody to write to it: by itself, in a folder of a log, and beside other logs."""
    os.mkfifo("pipe.parquet")
    Path("many.parquet").mkdir()
    os.mkfifo("many.parquet/b.parquet")
    if command == "fleet":
        rows = {row["log"]: row for row in _json(capsys, "fleet", ".", "--workers", "1")["ranking"]}
        assert rows["whole.parquet"]["status"] == "read"
        assert "neither a file nor a folder" in rows["pipe.parquet"]["reason"]
        assert "neither a file nor a folder" in rows["many.parquet"]["reason"]
        return
    for name in ("pipe.parquet", "many.parquet"):
        if command == "convert" and name == "pipe.parquet":
            continue  # an export may come through a pipe
        extra = {"compare": ["whole.parquet"], "report": ["--json"], "convert": ["--out", "b.parquet", "--gap", "1h"]}
        assert run([command, name, *extra.get(command, [])]) == 2
        assert "is neither a file nor a folder; name a log" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ["look", "whole.parquet", "--site", "pipe"],
        ["convert", "pipe", "--out", "b.parquet"],
        ["convert", "a.csv", "--profile", "pipe", "--out", "b.parquet"],
        ["capture", "replay:pipe?speed=max", "--out", "b.parquet"],
    ],
    ids=lambda words: words[0],
)
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_what_may_come_through_a_pipe_is_waited_for_and_signals_end_it(here, words, number):
    """A settings file or an export that another program writes; where none does, Ctrl-C is heard."""
    os.mkfifo("pipe")
    code = "import sys; from shuntbook.cli.main import main; print('begun', flush=True); main(sys.argv[1:])"
    child = subprocess.Popen([sys.executable, "-c", code, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert child.stdout.readline() == b"begun\n"
    _until_it_waits(child)
    child.send_signal(number)
    _, err = child.communicate(timeout=60)
    assert child.returncode in ((130, 143) if words[0] != "capture" else (0, 2, 3, 130, 143)), err
    assert b"Traceback" not in err
    assert not Path("b.parquet").exists()


def _until_it_waits(child):
    """Wait until a process sleeps in the opening of a pipe."""
    end = time.monotonic() + 60
    while time.monotonic() < end:
        waits_in = Path(f"/proc/{child.pid}/wchan").read_text(encoding="ascii")
        if "fifo" in waits_in or "wait_for_partner" in waits_in:
            return
        if waits_in in ("", "0") and time.monotonic() > end - 55:
            return  # the system does not tell
        time.sleep(0.05)
    pytest.fail("it does not wait for the pipe")
