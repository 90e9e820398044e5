"""The command for many logs: one line on each, the same whoever works it out, and nothing done twice."""

import json
import os
import random
import signal
import subprocess
import sys
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from browsers import until
from fleet_runs import here, silent
from fleet_scenes import SHORT, Deadly, write_fleet, write_log, write_scene, write_site
from places import ROOT
from readings import chunk_of, how

from shuntbook.analysis.several_logs.fleet import ranked
from shuntbook.cli.fleet import one_log
from shuntbook.cli.fleet.one_log import KIND, Task
from shuntbook.cli.fleet.pool import LOST, on_this_machine
from shuntbook.cli.fleet.run import run_fleet, tasks_of, write_summaries
from shuntbook.cli.main import run
from shuntbook.ingest.fleet.find_logs import FoundLog
from shuntbook.ingest.fleet.finished_rows import KeptRows, rows_path


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    """Six short logs; nobody changes them."""
    return write_fleet(tmp_path_factory.mktemp("fleet") / "logs")


def summaries_of(folder, engine=here, rows=None, **more):
    """The summaries of a fleet."""
    return run_fleet(tasks_of([str(folder)], **more), engine, rows, silent).summaries


def test_a_line_says_what_the_logs_own_report_says(fleet, capsys):
    """Every figure is that of report and look, to the last bit."""
    log, site = fleet / "prime_lost" / "pump.parquet", fleet / "prime_lost" / "site.toml"
    (summary,) = (s for s in summaries_of(fleet) if s.log == "prime_lost/pump.parquet")
    assert run(["report", str(log), "--site", str(site), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    for unit in ("Ah", "Wh"):
        part = report["charge"]["charge" if unit == "Ah" else "energy"]
        for key in ("drawn", "drawn_u95", "returned", "returned_u95", "net", "net_u95"):
            assert getattr(summary, f"{key}_{unit}") == part[f"{key}_{unit}"] is not None
    for ours, key in (
        ("Ah", "charge_Ah"),
        ("u95_Ah", "charge_u95_Ah"),
        ("Wh", "energy_Wh"),
        ("u95_Wh", "energy_u95_Wh"),
    ):
        assert getattr(summary, f"load_{ours}") == report["load_total"][key] is not None
    assert summary.runs_with_Ah == report["load_total"]["runs_with_Ah"] == 10
    cycles = report["cycles"]["summary"]
    for key in ("starts_per_hour", "duty_cycle", "median_run_s", "median_off_s"):
        assert getattr(summary, key) == cycles[key]
    assert summary.cycles == cycles["count"] == 10
    assert sorted(summary.codes) == sorted(finding["code"] for finding in report["findings"])
    assert "prime_lost" in summary.codes
    assert summary.uncertainty == report["charge"]["uncertainty"][0]["source"]
    assert summary.sag_V == max(cycle["sag_V"] for cycle in report["cycles"]["cycles"])
    assert (summary.site, summary.site_name, summary.load) == ("prime_lost/site.toml", "a made-up place", "well pump")
    assert run(["look", str(log), "--site", str(site), "--json"]) == 0
    uses = json.loads(capsys.readouterr().out)["verdict"]
    assert [summary.good_for_amounts, summary.good_for_cycles, summary.good_for_surges] == [
        uses[use]["grade"] for use in ("amounts", "cycles", "surges")
    ]


def test_the_most_urgent_log_comes_first(fleet):
    """The pump that runs dry stands before the one with the waterlogged tank, and both before the sound ones."""
    ranking = ranked(summaries_of(fleet))
    assert [summary.log.split("/")[0] for summary in ranking[:2]] == ["prime_lost", "waterlogged"]
    assert [summary.acts + summary.watches for summary in ranking[2:]] == [0] * 4


def test_processes_and_order_change_no_bit(fleet, tmp_path):
    """One process, two, and logs in another order give the same file, byte for byte."""
    tasks, files = tasks_of([str(fleet)]), []
    shuffled = random.Random(3).sample(tasks, len(tasks))
    for name, some, engine in (
        ("none", tasks, here),
        ("one", tasks, partial(on_this_machine, workers=1)),
        ("two", shuffled, partial(on_this_machine, workers=2)),
    ):
        files.append(tmp_path / f"{name}.parquet")
        write_summaries(files[-1], ranked(run_fleet(some, engine, None, silent).summaries))
    assert len({file.read_bytes() for file in files}) == 1


def test_rows_kept_for_later_change_no_bit(fleet, tmp_path):
    """What went through the file of finished rows is what was worked out."""
    out = tmp_path / "x.parquet"
    for _ in range(2):
        with KeptRows(out, KIND) as rows:
            assert summaries_of(fleet, here, rows) == summaries_of(fleet)


def test_a_fleet_behind_a_url_gives_the_same(fleet):
    """Logs and site files are fetched, read and forgotten; names and figures are those of the folder itself."""
    pytest.importorskip("fsspec")
    assert summaries_of(fleet.as_uri()) == summaries_of(fleet)


def test_a_broken_log_is_a_line_with_its_reason(tmp_path):
    """Whatever is wrong with one, in one sentence by its own name; the others are read."""
    good = write_scene(tmp_path / "good.parquet", "irregular")
    (tmp_path / "cut.parquet").write_bytes(good.read_bytes()[:-100])
    middle = bytearray(good.read_bytes())
    middle[2000:2100] = bytes(100)
    (tmp_path / "rotten.parquet").write_bytes(middle)
    (tmp_path / "nothing.parquet").write_bytes(b"")
    pq.write_table(pa.table({"fruit": ["apple"]}), tmp_path / "foreign.parquet")
    (tmp_path / "empty.parquet").mkdir()
    write_log(tmp_path / "volts.parquet", chunk_of(range(30), voltage_V=25.0), how())
    write_scene(tmp_path / "b" / "good.parquet", "irregular")
    (tmp_path / "b" / "site.toml").write_text("[bank]\nnominal_V = 'much'\n", encoding="utf-8")
    reasons = {s.log: s.reason for s in summaries_of(tmp_path) if s.status == "not read"}
    assert reasons.keys() == {
        f"{n}.parquet" for n in ("cut", "rotten", "nothing", "foreign", "empty", "volts", "b/good")
    }
    for name, said in (
        ("cut", "damaged or cut short"),
        ("rotten", "this log is damaged"),
        ("nothing", "is not a log"),
        ("foreign", "no column 'time'"),
        ("empty", "holds no log"),
        ("b/good", "b/site.toml:2: bank.nominal_V"),
    ):
        assert reasons[f"{name}.parquet"].startswith(said) or said in reasons[f"{name}.parquet"]
        assert str(tmp_path) not in reasons[f"{name}.parquet"]


def test_a_log_that_may_not_be_read_and_a_fault_of_ours_are_lines(tmp_path, monkeypatch):
    """No permission, and even a mistake in this program, cost one line and not the run."""
    write_scene(tmp_path / "a.parquet", "irregular")
    write_scene(tmp_path / "b.parquet", "irregular")
    real = one_log.open_log

    def failing(path, **more):
        if path.name == "a.parquet":
            raise PermissionError(13, "Permission denied", str(path))
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(one_log, "open_log", failing)
    reasons = [summary.reason for summary in summaries_of(tmp_path)]
    assert reasons == ["cannot be read (Permission denied)", "a fault of ours (ZeroDivisionError: division by zero)"]
    monkeypatch.setattr(one_log, "open_log", real)
    assert [summary.status for summary in summaries_of(tmp_path)] == ["read", "read"]


def test_an_unfinished_capture_is_told_and_left_as_it_is(tmp_path):
    """Nothing is completed, removed or written beside the logs."""
    write_scene(tmp_path / "a.parquet", "irregular")
    (tmp_path / "b.parquet.journal").write_bytes(b"half a line")
    before = sorted(path.name for path in tmp_path.iterdir())
    done = {summary.log: summary.status for summary in summaries_of(tmp_path)}
    assert done == {"a.parquet": "read", "b.parquet": "unfinished"}
    assert sorted(path.name for path in tmp_path.iterdir()) == before


@pytest.fixture
def counted(monkeypatch):
    """An engine that notes which logs it was given."""
    given = []

    def engine(tasks):
        given.extend(task.log.name for task in tasks)
        return here(tasks)

    return engine, given


def test_what_is_finished_is_not_done_again_until_it_changes(tmp_path, counted, monkeypatch):
    """A log, its site file or this program may change, and a log may come or go; each costs what it must."""
    engine, given = counted
    folder, out = tmp_path / "logs", tmp_path / "fleet.parquet"
    for name in ("a", "b", "c"):
        write_scene(folder / name / "1.parquet", "irregular", seed=ord(name))
    (folder / "torn.parquet").write_bytes(b"no log")

    def again():
        given.clear()
        with KeptRows(out, KIND) as rows:
            summaries_of(folder, engine, rows)
        return [name.split("/")[0] for name in given]

    assert again() == ["a", "b", "c", "torn.parquet"]
    assert again() == ["torn.parquet"]  # it may be readable by now
    write_scene(folder / "b" / "1.parquet", "irregular", seed=9)
    assert again() == ["b", "torn.parquet"]
    write_site(folder / "c" / "site.toml")
    assert again() == ["c", "torn.parquet"]
    write_site(folder / "c" / "site.toml", name="another name")
    assert again() == ["c", "torn.parquet"]
    (folder / "torn.parquet").unlink()
    (folder / "a" / "1.parquet").unlink()
    write_scene(folder / "d" / "1.parquet", "irregular")
    assert again() == ["d"]
    assert b'"a/' not in rows_path(out).read_bytes()
    # Rows of an older program of the same version, which knew nothing of what the load took, or of plain words.
    kept = rows_path(out).read_text(encoding="ascii")
    rows_path(out).write_text(kept.replace('"load_Ah": ', '"load_was_Ah": '), encoding="ascii")
    assert again() == ["b", "c", "d"]
    monkeypatch.setattr(one_log, "__version__", "another")
    assert again() == ["b", "c", "d"]


def test_a_log_that_ends_its_process_costs_itself_alone(fleet):
    """All others are read, also those that were being read beside it."""
    tasks = tasks_of([str(fleet)])
    deadly = Task(FoundLog("deadly.parquet", Deadly("nowhere")))
    done = {d.summary.log: d.summary for d in on_this_machine([*tasks[:2], deadly, *tasks[2:]], 2)}
    assert done.pop("deadly.parquet").reason == LOST
    assert done == {summary.log: summary for summary in summaries_of(fleet)}


def test_the_command_writes_what_it_prints(fleet, tmp_path, capsys):
    """Table, JSON and Parquet say the same; a second run changes no byte, and a third goes on from a lost summary."""
    out = tmp_path / "fleet.parquet"
    arguments = ["fleet", str(fleet), "--out", str(out), "--workers", "2"]
    assert run([*arguments, "--page", str(tmp_path / "p.html")]) == 0
    printed = capsys.readouterr()
    assert printed.out.splitlines()[0].startswith(f"wrote {out}: 6 logs read in ")
    assert "6 logs: " in printed.out
    assert printed.err == ""
    first = out.read_bytes()
    assert run([*arguments, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert out.read_bytes() == first
    assert document["work"]["logs_kept"] == 6
    table = pq.read_table(out).to_pylist()
    assert [row["log"] for row in table] == [row["log"] for row in document["ranking"]]
    for row, told in zip(table, document["ranking"], strict=True):
        for name in set(row) - {"start", "stop"}:
            assert row[name] == told[name]
    out.unlink()
    assert run(arguments) == 0
    assert out.read_bytes() == first


def test_strict_ends_with_4_for_what_wants_watching(fleet, tmp_path, capsys):
    """A sound fleet ends with 0, one with a finding with 4."""
    for place, status in ((fleet / "clean", 0), (fleet / "waterlogged", 4)):
        out = tmp_path / f"{place.name}.parquet"
        assert run(["fleet", str(place), "--out", str(out), "--workers", "1", "--strict"]) == status


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["nowhere"], "nowhere"),
        (["logs", "--out", "notes.parquet"], "--force"),
        (["logs", "--out", "logs"], "is a folder"),
        (["logs", "--page", "notes.parquet"], "exists already"),
        (["logs", "--page", "none/p.html"], "there is no folder"),
        (["logs", "--out", "logs/a.parquet", "--force"], "one of the logs"),
        (["logs", "--page", "logs/a.parquet", "--force"], "one of the logs"),
        (["logs", "--page", "new.parquet", "--out", "new.parquet"], "the summary itself"),
        (["logs", "--workers", "2", "--scheduler", "tcp://127.0.0.1:9"], "--workers"),
        (["logs", "--workers", "0"], "--workers"),
        (["logs", "--site-dir", "nowhere"], "--site-dir"),
    ],
)
def test_a_mistake_is_a_sentence_and_nothing_is_written(tmp_path, capsys, monkeypatch, arguments, said):
    """Before any log is read, what is there stays."""
    monkeypatch.chdir(tmp_path)
    write_scene(tmp_path / "logs" / "a.parquet", "irregular")
    (tmp_path / "notes.parquet").write_text("notes", encoding="utf-8")
    before = sorted(path.name for path in tmp_path.rglob("*"))
    assert run(["fleet", *arguments]) == 2
    told = capsys.readouterr().err.strip().splitlines()
    assert len(told) == 1
    assert said in told[0]
    assert (tmp_path / "notes.parquet").read_text(encoding="utf-8") == "notes"
    assert sorted(path.name for path in tmp_path.rglob("*")) == before


def test_an_address_without_the_library_is_a_sentence(fleet, tmp_path, monkeypatch, capsys):
    """The extra is named."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    arguments = ["fleet", str(fleet), "--out", str(tmp_path / "x.parquet"), "--scheduler", "tcp://127.0.0.1:9"]
    assert run(arguments) == 2
    assert "shuntbook[fleet]" in capsys.readouterr().err


def started(arguments, folder):
    """The command in a process of its own, in a group of its own, as a shell starts it."""
    code = f"if __name__ == '__main__':\n    from shuntbook.cli.main import main\n    main({arguments!r})\n"
    script = folder / "command.py"
    script.write_text(code, encoding="utf-8")
    return subprocess.Popen(
        [sys.executable, str(script)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        cwd=ROOT.parent,
    )


def alive_in(group):
    """The processes of a group that still run, as Linux tells; those that ended and were not waited for do not."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            state, _parent, its_group = path.read_text(encoding="utf-8").rsplit(")", 1)[1].split()[:3]
            if int(its_group) == group and state != "Z":
                found.append(path.parent.name)
    return found


def many(folder, count):
    """A fleet of copies of one log."""
    first = write_scene(folder / "0.parquet", "clean")
    for k in range(1, count):
        (folder / f"{k}.parquet").write_bytes(first.read_bytes())
    return folder


@pytest.mark.parametrize(
    ("ending", "status"), [(signal.SIGINT, 130), pytest.param(signal.SIGTERM, 143, marks=pytest.mark.night)]
)
def test_stopped_in_the_middle_what_is_finished_is_kept(tmp_path, ending, status):
    """Ctrl-C reaches all processes of the terminal; one line is said, none is left over, and the next run goes on."""
    logs, out = many(tmp_path / "logs", 300), tmp_path / "fleet.parquet"
    process = started(["fleet", str(logs), "--out", str(out), "--workers", "2"], tmp_path)
    until(lambda: rows_path(out).exists() and rows_path(out).read_bytes().count(b"\n") >= 4, "the third row")
    if ending == signal.SIGINT:
        os.killpg(process.pid, ending)
    else:
        process.send_signal(ending)
    said = process.communicate(timeout=60)[1]
    assert process.returncode == status
    assert "Traceback" not in said
    assert "of 300 logs are kept" in said
    assert not out.exists()
    until(lambda: not alive_in(process.pid), "the end of all its processes")
    with KeptRows(out, KIND) as rows:
        kept = len(rows.rows)
        assert 3 <= kept < 300
        for path in list(logs.iterdir())[:280]:
            if path.name not in rows.rows:
                path.unlink()
        run_again = run_fleet(tasks_of([str(logs)]), here, rows, silent)
    assert run_again.reused == kept
    assert len({replace(summary, log="") for summary in run_again.summaries}) == 1


def test_a_worker_loads_nothing_that_draws_or_lays_out(fleet):
    """Its memory is paid once a process: neither pandas nor what only pages need."""
    code = (
        "import sys\nfrom shuntbook.cli.fleet.run import tasks_of\nfrom shuntbook.cli.fleet.one_log import read_log\n"
        f"done = [read_log(task).summary.status for task in tasks_of([{str(fleet)!r}])]\n"
        "heavy = ('pandas', 'matplotlib', 'jinja2', 'rich', 'dask', 'distributed', 'fsspec', 'tornado')\n"
        "print(set(done), [m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT.parent)
    assert done.stdout.strip() == "{'read'} []"


def test_the_summary_of_an_earlier_run_is_no_log(tmp_path, capsys):
    """Under another name among the logs it is neither counted nor told; alone it is no fleet."""
    write_scene(tmp_path / "pump.parquet", SHORT[0])
    first, again = tmp_path / "fleet.parquet", tmp_path / "fleet2.parquet"
    assert run(["fleet", str(tmp_path), "--out", str(first)]) == 0
    assert run(["fleet", str(tmp_path), "--out", str(again), "--json"]) == 0
    out = capsys.readouterr().out
    document = json.loads(out[out.index("{") :])
    assert (document["counts"]["logs"], document["counts"]["not_read"]) == (1, 0)
    assert pq.read_table(again).num_rows == 1
    alone = tmp_path / "alone"
    alone.mkdir()
    first.rename(alone / "fleet.parquet")
    assert run(["fleet", str(alone), "--out", str(tmp_path / "fleet3.parquet")]) == 2
    assert "no log here but summaries of a fleet" in capsys.readouterr().err
