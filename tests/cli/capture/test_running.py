"""Captures that run by themselves: found, spoken to and ended from elsewhere, whoever is killed meanwhile."""

from __future__ import annotations

import json
import os
import re
import signal
import stat
import subprocess
import sys
import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ready_python import ready_python

from shuntbook.cli.capture.inbox import Inbox, LeftEnd, LeftNote, leave
from shuntbook.cli.capture.running import end_capture, last_words, leave_note, running_captures, start_capture
from shuntbook.cli.capture.state_file import CaptureState, StateFile, find_capture
from shuntbook.cli.main import run
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.journal.journal import inbox_path, state_path
from shuntbook.ingest.journal.opening import open_log

pytestmark = pytest.mark.xdist_group("captures")  # one at a time: they have clocks to keep

#: Captures that outlive their starter are begun as from a shell.
ALONE = sys.executable
#: A program that begins a capture in a folder and then waits to be killed.
STARTER = """
import sys, time
from pathlib import Path
from shuntbook.cli.capture.running import start_capture
print(start_capture(Path(sys.argv[1]), "a.parquet", ["hand:"]).state.process, flush=True)
time.sleep(600)
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder in which no capture is left running."""
    monkeypatch.setattr(sys, "executable", ready_python())
    yield tmp_path
    for capture in running_captures(tmp_path):
        if capture.running:
            os.kill(capture.state.process, signal.SIGKILL)


def _until(condition, *, within_s=30.0):
    end = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.01)


def _private(path):
    return stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_capture_is_begun_found_spoken_to_and_ended(folder):
    """Notes have the moment at which they were typed; nothing but the log and what was said stays."""
    log = folder / "a.parquet"
    begun = start_capture(folder, "a.parquet", ["hand:", "--page", "0", "--page-stays", "0", "--title", "Open day"])
    assert begun.running and running_captures(folder) == [begun] == [find_capture(log)]
    assert (begun.state.log, begun.state.source, begun.state.title) == (log, "hand:", "Open day")
    assert begun.state.page.startswith("http://127.0.0.1:")
    assert abs(begun.state.since_us - time.time_ns() // 1000) < 60e6
    assert all(map(_private, [state_path(log), inbox_path(log), *folder.glob(".*.txt")]))

    leave_note(log, "60 A 12 V")
    time.sleep(0.6)
    typed_us = time.time_ns() // 1000 - 400_000
    leave_note(log, "crates <b>\x1b[2J", at_us=typed_us)
    leave_note(log, "long ago", at_us=1)
    said = end_capture(log)
    now_us = time.time_ns() // 1000
    assert said.startswith("a: since the start") and "next: shuntbook charge a.parquet" in said
    assert last_words(log) == said
    # A page breaks lines by itself: none is broken here where a terminal of the usual width would end.
    assert re.match(r"a: since the start: .* drawn, .* returned$", said.partition("\n")[0])
    opened = open_log(log)
    assert opened.meta.title == "Open day"
    (crates, _), (ago_us, _) = sorted(opened.meta.markers, key=lambda marker: "long" in marker[1])
    assert abs(crates - typed_us) < 50_000, "the machine's clock may be set a little meanwhile"
    assert begun.state.since_us <= ago_us <= now_us
    (part,) = opened.scan()
    assert list(part.quantities["current_A"]) == [60.0, 60.0]
    assert running_captures(folder) == []
    assert {path.name for path in folder.iterdir()} == {"a.parquet", ".a.parquet.output.txt", ".a.parquet.remarks.txt"}


def test_what_does_not_begin_says_why_and_leaves_nothing_running(folder):
    """The sentence is that of the command."""
    with pytest.raises(InputError, match=r"^nonsense:.* is no live source|^'nonsense:' is no live source"):
        start_capture(folder, "a.parquet", ["nonsense:"])
    (folder / "a.parquet").write_bytes(b"a log")
    with pytest.raises(InputError, match="exists already"):
        start_capture(folder, "a.parquet", ["hand:"])
    assert running_captures(folder) == []


def test_nothing_can_be_left_for_a_capture_that_does_not_run(folder):
    """And nothing is made that nobody will hear."""
    log = folder / "a.parquet"
    for deed in (lambda: leave_note(log, "crates"), lambda: end_capture(log)):
        with pytest.raises(InputError, match="is not being captured any more"):
            deed()
    with pytest.raises(InputError, match="empty"):
        leave_note(log, "  ")
    with pytest.raises(InputError, match="501 characters"):
        leave_note(log, 501 * "x")
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize("hang_up", [False, True], ids=["killed", "terminal closed"])
def test_a_capture_outlives_whoever_began_it(folder, hang_up):
    """SIGKILL, or a hang-up of its session: the capture goes on and is found again, and can be ended."""
    starter = subprocess.Popen(
        [ALONE, "-c", STARTER, str(folder)], stdout=subprocess.PIPE, text=True, start_new_session=True
    )
    process = int(starter.stdout.readline())
    os.killpg(starter.pid, signal.SIGHUP if hang_up else signal.SIGKILL)
    starter.wait()
    starter.stdout.close()
    (capture,) = running_captures(folder)
    assert capture.running and capture.state.process == process
    leave_note(folder / "a.parquet", "60 A")
    time.sleep(0.6)
    assert "readings in a.parquet" in end_capture(folder / "a.parquet")
    assert open_log(folder / "a.parquet").rows == 2


def test_a_capture_that_was_killed_is_told_as_cut_off_until_its_log_is_completed(folder, capsys):
    """Its leftovers look like a running one's, and are not taken for one."""
    log = folder / "a.parquet"
    begun = start_capture(folder, "a.parquet", ["hand:"])
    leave_note(log, "60 A")
    leave_note(log, "crates")
    journal = log.with_name("a.parquet.journal")
    _until(lambda: all(word in journal.read_bytes() for word in (b"crates", b"60.0")))
    os.kill(begun.state.process, signal.SIGKILL)
    _until(lambda: not find_capture(log).running)
    (cut_off,) = running_captures(folder)
    assert (cut_off.running, cut_off.state) == (False, begun.state)
    with pytest.raises(InputError, match="not being captured"):
        leave_note(log, "too late")
    assert run(["look", str(log)]) == 0
    assert "an unfinished capture was found and completed: 1 reading" in capsys.readouterr().err
    assert not state_path(log).exists() and not inbox_path(log).exists()
    assert [text for _, text in open_log(log).meta.markers] == ["crates"]
    assert running_captures(folder) == []


def test_a_new_capture_takes_the_place_of_one_that_was_killed(folder):
    """What was begun without a reading is cleared away, as ever; what lies beside the log is the new one's then."""
    begun = start_capture(folder, "a.parquet", ["hand:"])
    os.kill(begun.state.process, signal.SIGKILL)
    _until(lambda: not find_capture(folder / "a.parquet").running)
    with pytest.raises(InputError, match="before there was a reading"):
        start_capture(folder, "a.parquet", ["hand:"])
    again = start_capture(folder, "a.parquet", ["hand:"])
    assert running_captures(folder) == [again] and again.state.process != begun.state.process
    end_capture(folder / "a.parquet")


def test_a_note_and_the_end_are_heard_at_once(folder):
    """Within 0.3 s, and as long as a busy machine takes beside it."""
    log, journal = folder / "a.parquet", folder / "a.parquet.journal"
    start_capture(folder, "a.parquet", ["hand:"])
    waits = []
    for k in range(8):
        began = time.monotonic()
        leave_note(log, f"note {k}")
        _until(lambda k=k: f"note {k}".encode() in journal.read_bytes())
        waits.append(time.monotonic() - began)
        time.sleep(0.05 * k)
    assert sorted(waits)[len(waits) // 2] < 0.3
    end_capture(log)


def test_damaged_lines_are_passed_over_with_a_remark(folder):
    """What is right beside them is heard; a line without an end waits for it."""
    log = folder / "a.parquet"
    start_capture(folder, "a.parquet", ["hand:"])
    with inbox_path(log).open("ab") as inbox:
        inbox.write(b'{"note": "torn", "at_us": 17')
    leave_note(log, "60 A")
    with inbox_path(log).open("ab") as inbox:
        inbox.write(b'{}\n[1]\n{"note": 3, "at_us": 1}\n{"note": "x", "at_us": "now"}\n\xff\xfe\n' + 30 * b"[" + b"\n")
    leave_note(log, "crates")
    end_capture(log)
    meta = open_log(log).meta
    assert [text for _, text in meta.markers] == ["crates"]
    assert any(remark.startswith("inbox: 7 x while capturing") and "torn" in remark for remark in meta.remarks)


def test_all_meters_of_a_site_are_one_capture(folder):
    """It is found in the folder of their logs, and a note goes into each."""
    (folder / "site.toml").write_text(
        'name = "shed"\n[bank]\nnominal_V = 24\ncapacity_Ah = 420\n'
        '[[meters]]\nname = "one"\nside = "dc"\nsource = "hand:"\n'
        '[[meters]]\nname = "two"\nside = "dc"\nsource = "hand:"\n',
        encoding="utf-8",
    )
    begun = start_capture(folder, "logs", ["--site", "site.toml"])
    assert [log.name for log in begun.state.logs] == ["one.parquet", "two.parquet"]
    assert begun.state.title == "shed" and running_captures(folder / "logs") == [begun]
    leave_note(begun.state.log, "60 A")
    leave_note(begun.state.log, "crates")
    time.sleep(0.6)
    assert "readings in logs/one.parquet" in end_capture(begun.state.log)
    assert [text for _, text in open_log(folder / "logs" / "one.parquet").meta.markers] == ["crates"]


def test_a_page_for_others_has_a_link_of_its_own_in_the_state(folder):
    """It lets in again and again, uses up no viewer's link, and stands in no output."""
    import http.client
    from urllib.parse import urlsplit

    begun = start_capture(folder, "a.parquet", ["hand:", "--page", "0.0.0.0:0", "--page-stays", "0"])
    link = urlsplit(begun.state.page)
    key = link.path.lstrip("/")
    assert len(key) > 30

    def ask(path, cookie=""):
        connection = http.client.HTTPConnection("127.0.0.1", link.port, timeout=30)
        connection.request("GET", path, headers={"Cookie": cookie})
        answer = connection.getresponse()
        answer.read()
        connection.close()
        return answer.status, (answer.headers["Set-Cookie"] or "").partition(";")[0]

    assert ask("/")[0] == 403 and ask("/" + "x" * len(key))[0] == 403
    for _ in range(2):
        status, cookie = ask(f"/{key}")
        assert status == 200 and ask("/stage", cookie)[0] == 200
    said = folder / ".a.parquet.remarks.txt"
    _until(lambda: "live page, for one viewer" in said.read_text())
    time.sleep(0.6)  # what the links' use would bring
    remarks = said.read_text()
    assert key not in remarks and "opened from" not in remarks
    end_capture(folder / "a.parquet")


def test_a_place_where_nothing_can_lie_beside_the_log_stops_no_capture(folder, capsys):
    """Whoever put a link or a folder there keeps it."""
    state_path(folder / "a.parquet").symlink_to("elsewhere")
    assert run(["capture", "hand:", "--out", str(folder / "a.parquet"), "--for", "200ms"]) == 3  # nobody typed
    assert "nobody else can find this capture" in capsys.readouterr().err
    assert {path.name for path in folder.iterdir()} == {".a.parquet.capture.json"}


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), InputError("no locks here")], ids=str)
def test_what_cannot_be_used_beside_the_log_is_not_left_there(folder, monkeypatch, error):
    """On a disk that is full, or knows no locks, once the file is made."""

    def refuse(*_):
        raise error

    log = folder / "a.parquet"
    with monkeypatch.context() as patch, pytest.raises(type(error)):
        patch.setattr("shuntbook.cli.capture.inbox.hold", refuse)
        Inbox(log)
    if isinstance(error, OSError):
        with monkeypatch.context() as patch, pytest.raises(OSError, match="No space"):
            patch.setattr("shuntbook.cli.capture.state_file.os.write", refuse)
            StateFile(CaptureState(log, (log,), "hand:", "Mill", None, 0, os.getpid()))
    assert list(folder.iterdir()) == []


def test_what_another_capture_makes_in_its_place_meanwhile_is_left(folder, monkeypatch):
    """One that looked for what was left behind removed the first file, and another made its own."""
    path = inbox_path(folder / "a.parquet")

    def removed_and_made_anew(*_):
        path.write_text("another's")
        raise FileNotFoundError

    monkeypatch.setattr("shuntbook.cli.capture.inbox.hold", removed_and_made_anew)
    monkeypatch.setattr("shuntbook.cli.capture.inbox.remove_left_behind", lambda _: None)  # it is held
    with pytest.raises(InputError, match="another capture uses this file"):
        Inbox(folder / "a.parquet")
    assert path.read_text() == "another's"


STATED = {"log": "a.parquet", "logs": ["a.parquet"], "source": "hand:", "title": "t", "page": None, "process": 1}


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b"\xff",
        json.dumps(STATED).encode(),
        json.dumps(STATED | {"shuntbook_capture": 2, "since_us": 1}).encode(),
        json.dumps(STATED | {"shuntbook_capture": 1, "since_us": 1, "logs": ["../../a.parquet"]}).encode(),
        json.dumps(STATED | {"shuntbook_capture": 1, "since_us": None}).encode(),
        json.dumps(STATED | {"shuntbook_capture": 1, "since_us": float("inf")}).encode(),
        50_000 * b"[",
    ],
)
def test_what_is_no_state_of_ours_is_no_capture_and_is_left(folder, content):
    """Damaged, newer, or leading elsewhere."""
    path = state_path(folder / "a.parquet")
    path.write_bytes(content)
    assert running_captures(folder) == []
    assert path.read_bytes() == content


def test_links_pipes_and_folders_in_the_place_of_a_state_are_no_captures(folder):
    """Whatever they lead to: nobody waits, and all are left."""
    log = folder / "a.parquet"
    file = StateFile(CaptureState(log, (log,), "hand:", "t", None, 1, os.getpid()))
    state_path(folder / "b.parquet").symlink_to(state_path(log))
    os.mkfifo(state_path(folder / "c.parquet"))
    state_path(folder / "d.parquet").mkdir()
    before = sorted(folder.iterdir())
    assert [capture.state.log for capture in running_captures(folder)] == [log]
    assert sorted(folder.iterdir()) == before
    file.close()


def test_a_process_id_that_is_another_s_by_now_is_not_taken_for_the_capture(folder):
    """What runs is told by the file being held: this test's own process has the id that stands in it."""
    log = folder / "a.parquet"
    file = StateFile(CaptureState(log, (log,), "hand:", "t", None, 1, os.getpid()))
    content = state_path(log).read_bytes()
    file.close()
    state_path(log).write_bytes(content)
    (folder / "a.parquet.journal").write_bytes(b"")
    (left,) = running_captures(folder)
    assert not left.running


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    lines=st.lists(
        st.one_of(
            st.text(min_size=1, max_size=80).map(lambda text: LeftNote(text, 5)),
            st.just(LeftEnd()),
            st.binary(max_size=60).filter(lambda data: b'"note"' not in data and b'"end"' not in data),
        ),
        max_size=12,
    ),
    cuts=st.lists(st.integers(1, 40), max_size=30),
)
def test_whatever_is_left_each_whole_line_is_heard_once_and_in_order(tmp_path, lines, cuts):
    """However the bytes come, and whatever stands between them."""
    log = tmp_path / "a.parquet"
    inbox, scratch = Inbox(log), Inbox(tmp_path / "b.parquet")
    try:
        for line in lines:
            if isinstance(line, bytes):
                with inbox_path(tmp_path / "b.parquet").open("ab") as file:
                    file.write(line)
            else:
                leave(tmp_path / "b.parquet", line)
        data = inbox_path(tmp_path / "b.parquet").read_bytes()
        heard = []
        for cut in [*cuts, len(data)]:
            with inbox_path(log).open("ab") as file:
                file.write(data[:cut])
            data = data[cut:]
            heard += inbox.take()
        expected = [
            LeftNote(" ".join(line.text.split()), 5) if isinstance(line, LeftNote) else line
            for line in lines
            if isinstance(line, LeftEnd) or (isinstance(line, LeftNote) and line.text.strip())
        ]
        assert [one for one in heard if isinstance(one, LeftNote | LeftEnd)] == expected
    finally:
        inbox.close()
        scratch.close()
