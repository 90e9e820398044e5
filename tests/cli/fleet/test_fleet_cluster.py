"""A fleet on a Dask cluster: two workers in processes of their own, and what happens when one is killed."""

import os
import signal
import socket
from contextlib import nullcontext
from functools import partial
from types import SimpleNamespace

import pytest
from dask_cluster import scheduler, workers
from fleet_runs import here, silent
from fleet_scenes import Deadly, write_fleet, write_log, write_scene
from readings import chunk_of, how

from shuntbook.analysis.several_logs.fleet import ranked
from shuntbook.cli.exit import PortFailedError
from shuntbook.cli.fleet import cluster
from shuntbook.cli.fleet.cluster import on_cluster
from shuntbook.cli.fleet.one_log import Task
from shuntbook.cli.fleet.pool import LOST
from shuntbook.cli.fleet.run import run_fleet, tasks_of, write_summaries
from shuntbook.cli.main import run
from shuntbook.ingest.fleet.find_logs import FoundLog

distributed = pytest.importorskip("distributed")
pytestmark = [pytest.mark.timeout(300), pytest.mark.filterwarnings("ignore::DeprecationWarning")]


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """A scheduler with two workers."""
    with workers(tmp_path_factory.mktemp("cluster"), 2) as found:
        yield found


def test_a_cluster_gives_the_same_bytes(address, tmp_path, capsys):
    """The command with a scheduler writes the file that one process writes."""
    logs = write_fleet(tmp_path / "logs")
    (logs / "broken.parquet").write_bytes(b"no log")
    one, two = tmp_path / "one.parquet", tmp_path / "two.parquet"
    write_summaries(one, ranked(run_fleet(tasks_of([str(logs)]), here, None, silent).summaries))
    assert run(["fleet", str(logs), "--out", str(two), "--scheduler", address]) == 0
    assert "7 logs: " in capsys.readouterr().out
    assert two.read_bytes() == one.read_bytes()


def test_a_killed_worker_loses_nothing(address, tmp_path):
    """Its logs are read by the other, and by the one that its nanny starts; each log comes once."""
    first = write_scene(tmp_path / "0.parquet", "clean")
    for k in range(1, 48):
        (tmp_path / f"{k}.parquet").write_bytes(first.read_bytes())
    tasks = tasks_of([str(tmp_path)])
    with distributed.Client(address, set_as_default=False) as client:
        victim = next(iter(client.run(os.getpid).values()))
    coming = on_cluster(tasks, address)
    done = [next(coming)]
    os.kill(victim, signal.SIGKILL)
    done += coming
    assert sorted(d.summary.log for d in done) == [task.log.name for task in tasks]
    assert {(d.summary.status, d.summary.cycles) for d in done} == {("read", 7)}
    with distributed.Client(address, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
        assert victim not in client.run(os.getpid).values()


def test_a_scheduler_that_cannot_be_reached_is_a_sentence(tmp_path, capsys, monkeypatch):
    """Nobody listens there: it ends with 3 after some seconds, and says at which address."""
    monkeypatch.setattr("shuntbook.cli.fleet.cluster._PATIENCE_S", 1)
    write_scene(tmp_path / "logs" / "a.parquet", "irregular")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        nowhere = f"tcp://127.0.0.1:{free.getsockname()[1]}"
        assert run(["fleet", str(tmp_path / "logs"), "--out", str(tmp_path / "x.parquet"), "--scheduler", nowhere]) == 3
    said = capsys.readouterr().err.strip().splitlines()
    assert len(said) == 1
    assert f"nothing answers at {nowhere}" in said[0]


@pytest.mark.parametrize("wrong", ["nonsense://here", "tcp://"])
def test_what_is_no_address_is_a_mistake(tmp_path, capsys, wrong, monkeypatch):
    """It ends with 2 and shows how an address is written."""
    monkeypatch.setattr("shuntbook.cli.fleet.cluster._PATIENCE_S", 1)
    write_scene(tmp_path / "logs" / "a.parquet", "irregular")
    assert run(["fleet", str(tmp_path / "logs"), "--out", str(tmp_path / "x.parquet"), "--scheduler", wrong]) == 2
    assert "tcp://host:8786" in capsys.readouterr().err


def test_a_scheduler_without_workers_is_a_sentence(tmp_path, capsys, monkeypatch):
    """It says how to start one; a scheduler that is slow to answer, on a busy machine, is given its own time."""
    monkeypatch.setattr("shuntbook.cli.fleet.cluster._WORKER_PATIENCE_S", 2)
    write_scene(tmp_path / "logs" / "a.parquet", "irregular")
    with scheduler(tmp_path) as alone:
        assert run(["fleet", str(tmp_path / "logs"), "--out", str(tmp_path / "x.parquet"), "--scheduler", alone]) == 3
    assert f"dask worker {alone}" in capsys.readouterr().err


def test_a_greeting_that_comes_together_with_more_is_asked_for_again(monkeypatch):
    """The library ends with an assertion then, which is no fault of ours, nor of the scheduler's."""
    connect, tried = distributed.Client, []

    def busy(*args, **kwargs):
        tried.append(args)
        assert len(tried) > 1
        return connect(*args, **kwargs)

    monkeypatch.setattr(distributed, "Client", busy)
    monkeypatch.setattr(cluster, "_PATIENCE_S", 1)
    with pytest.raises(PortFailedError, match="nothing answers"), cluster._client(distributed, "tcp://127.0.0.1:9"):
        pass
    assert len(tried) == 2


@pytest.fixture
def with_a_deadly_one(tmp_path):
    """Fifteen small logs, and one that ends whoever looks for it."""
    for k in range(15):
        write_log(tmp_path / f"{k}.parquet", chunk_of(range(60), current_A=5.0, voltage_V=25.0), how())
    return [*tasks_of([str(tmp_path)]), Task(FoundLog("deadly.parquet", Deadly("nowhere")))]


def all_but_one_are_read(tasks, address):
    done = {d.summary.log: d.summary for d in on_cluster(tasks, address)}
    assert done.pop("deadly.parquet").reason == LOST
    assert [summary.status for summary in done.values()] == ["read"] * 15


@pytest.mark.night
def test_a_log_that_ends_every_worker_costs_itself_alone(address, with_a_deadly_one):
    """Worker after worker ends with it; the logs of its list are read one by one, and it alone is lost."""
    all_but_one_are_read(with_a_deadly_one, address)


def test_logs_beside_one_that_ended_its_workers_are_read_one_by_one(with_a_deadly_one, monkeypatch):
    """As a scheduler tells of it, by the same error, without a worker that has to be begun again each time."""

    def submit(read, tasks, **_):
        sent.append([task.log.name for task in tasks])
        deadly = any(isinstance(task.log.place, Deadly) for task in tasks)
        return Coming(ended_its_workers if deadly else partial(read, tasks))

    sent = []
    client = SimpleNamespace(submit=submit, loop=None)
    monkeypatch.setattr(cluster, "_client", lambda *_: nullcontext(client))
    monkeypatch.setattr(cluster, "_ready_workers", lambda *_: 1)
    monkeypatch.setattr(distributed, "as_completed", lambda futures, loop: futures)
    all_but_one_are_read(with_a_deadly_one, "tcp://nowhere:8786")
    assert [len(names) for names in sent] == [4] * 4 + [1] * 4


class Coming:
    """What a task will come to."""

    def __init__(self, result):
        self.result = result


def ended_its_workers():
    raise distributed.KilledWorker("read_logs", None, 2)
