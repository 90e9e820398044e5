"""A second process does what the first would do, and leaves nothing behind."""

import gc
import os
import signal
import subprocess
import sys
import time
from functools import partial
from multiprocessing import active_children
from pathlib import Path

import pytest

from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.cli.assembling import report
from shuntbook.cli.assembling.report import report_of
from shuntbook.cli.opening.prepared_log import read_site
from shuntbook.cli.parallel import worker_process
from shuntbook.cli.parallel.worker_process import HERE, second_process
from shuntbook.cli.render.page import figures
from shuntbook.cli.render.still_charts import svg
from shuntbook.cli.render.still_charts.svg import drawn_by
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.journal.opening import open_log

_MAIN = "from shuntbook.cli.main import main; main()"
NEEDS_PROC = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="asks Linux which processes there are")


@pytest.fixture(autouse=True)
def two_processors(monkeypatch):
    """Let a second process begin, however many processors there are."""
    monkeypatch.setattr(worker_process, "_processors", lambda: 2)


def end_elsewhere(here):
    """End the process, unless it is the first."""
    if os.getpid() != here:
        os._exit(1)
    return "done"


def test_work_is_done_beside_once():
    """Another process does it, and its result may be asked for twice."""
    with second_process(allowed=True) as beside:
        pid = beside.begin(os.getpid)
        assert pid() == pid() != os.getpid()
        # It seldom looks for rings among what it makes, which is mostly there to stay; Python looks at 700 or 2000.
        assert beside.begin(gc.get_threshold)()[0] > 10 * gc.get_threshold()[0]
    assert not active_children()


@pytest.mark.parametrize(("processors", "allowed"), [(1, True), (2, False)])
def test_there_is_none_without_a_second_processor_or_leave(monkeypatch, processors, allowed):
    """Then the first does all."""
    monkeypatch.setattr(worker_process, "_processors", lambda: processors)
    with second_process(allowed=allowed) as beside:
        assert beside is HERE
        assert beside.begin(os.getpid)() == os.getpid()


def test_what_a_lost_process_had_to_do_is_done_here(capsys):
    """One sentence says so, however much it had to do."""
    with second_process(allowed=True) as beside:
        work = [beside.begin(partial(end_elsewhere, os.getpid())) for _ in range(3)]
        assert [each() for each in work] == ["done"] * 3
        assert beside.begin(os.getpid)() == os.getpid()
    assert capsys.readouterr().err.count("\n") == 1
    assert not active_children()


def test_shared_work_comes_in_its_order(capsys):
    """Whoever does it; what raised raises in its turn, and what a lost process had is done here."""
    work = [partial(pow, k, 2) for k in range(9)]
    with second_process(allowed=True) as beside:
        assert list(beside.share(work)) == [k * k for k in range(9)]
        shared = beside.share([*work[:4], partial(divmod, 1, 0), *work[4:]])
        assert [next(shared) for _ in range(4)] == [0, 1, 4, 9]
        with pytest.raises(ZeroDivisionError):
            next(shared)
        assert list(beside.share([])) == []
        assert list(beside.share([partial(end_elsewhere, os.getpid())] * 5)) == ["done"] * 5
    assert capsys.readouterr().err.count("\n") == 1
    assert not active_children()


def test_a_system_that_gives_no_process_is_no_obstacle(monkeypatch, capsys):
    """The first does it."""

    def refuse(*_):
        raise BlockingIOError(11, "Resource temporarily unavailable")

    monkeypatch.setattr("multiprocessing.context.SpawnProcess._Popen", refuse)
    with second_process(allowed=True) as beside:
        assert beside.begin(os.getpid)() == os.getpid()
    assert capsys.readouterr().err.startswith("note: a second process ended or could not begin")


def test_a_sentence_from_there_is_said_here(tmp_path):
    """An error of the person's is one, whichever process meets it."""
    with second_process(allowed=True) as beside, pytest.raises(InputError, match="there is no such log"):
        beside.begin(partial(open_log, tmp_path / "none.parquet"))()
    assert not active_children()


def test_cycles_and_drawings_are_the_same_with_two_processes(demo, monkeypatch):
    """The second reads the log for cycles and draws; cycles agree to the bit, drawings to the byte."""
    logs, site = [demo / "week_later.parquet"], read_site(demo / "site.toml")
    alone = report_of(logs, site, None).logs[0]
    drawn = figures.whole_log(alone, "whole")
    expected = (drawn.wide, drawn.narrow)
    monkeypatch.setattr(report, "LONG", 1)
    monkeypatch.delattr(CycleFold, "add")  # in this process alone
    with second_process(allowed=True) as beside, drawn_by(beside):
        log = report_of(logs, site, None, second=beside).logs[0]
        assert log.cycles == alone.cycles
        monkeypatch.setattr(svg, "drawing", None)
        found = figures.whole_log(log, "whole")
        assert (found.wide, found.narrow) == expected


def _second_of(pid):
    """Return the second process of a command; None while it has none."""
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(stat.read_text().rpartition(")")[2].split()[1])
            if parent == pid and b"spawn_main" in (stat.parent / "cmdline").read_bytes():
                return stat.parent
        except OSError:  # it ended meanwhile
            continue
    return None


@NEEDS_PROC
@pytest.mark.parametrize(
    ("sent", "status"), [(signal.SIGINT, 130), pytest.param(signal.SIGTERM, 143, marks=pytest.mark.night)]
)
def test_a_signal_ends_both(demo, tmp_path, sent, status):
    """Ctrl-C reaches a whole group of processes: one sentence at most is said, and neither goes on."""
    if len(os.sched_getaffinity(0)) < 2:
        pytest.skip("there is but one processor, and so no second process")
    out = tmp_path / "page.html"
    words = ["report", demo / "open_day.parquet", "--site", demo / "site.toml", "--out", out]
    command = subprocess.Popen(
        [sys.executable, "-c", _MAIN, *map(str, words)],
        stderr=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
    )
    while (beside := _second_of(command.pid)) is None:
        assert command.poll() is None, "it ended before it had a second process"
        time.sleep(0.005)
    os.killpg(command.pid, sent)
    said = command.communicate(timeout=60)[1]  # both hold the other end
    assert command.returncode == status
    assert said.strip() in {"", "shuntbook: stopped; nothing half-written is left behind"}
    assert not beside.exists()
    assert not out.exists()


@NEEDS_PROC
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_what_comes_while_a_process_starts_is_heard_when_it_has(sent):
    """Interrupted half-way, the new process would find no work, and complain."""
    heard, steps = [], []
    before = signal.signal(sent, lambda *_: heard.append(len(steps)))
    try:
        with worker_process.deaf_to_ctrl_c():
            os.kill(os.getpid(), sent)
            time.sleep(0.01)
            steps.append("started")
        assert heard == [1]
        assert signal.getsignal(sent) is not signal.SIG_DFL
    finally:
        signal.signal(sent, before)
