"""A finished log written again: its sign turned, its gap limit stated; the log itself stays."""

from __future__ import annotations

import json
from contextlib import closing
from dataclasses import replace

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

import shuntbook
from shuntbook.cli.main import run
from shuntbook.ingest.events import Reading
from shuntbook.ingest.exports.log_again import turned, write_again
from shuntbook.ingest.journal.journal import Journal
from shuntbook.ingest.log.log import Readings, new_log, to_batch
from shuntbook.ingest.log.meta import LogMeta

T0_US = 1_781_000_000_000_000
META = LogMeta(
    meter="bank shunt",
    zone="Europe/London",
    gap_limit_s=10.0,
    usual_interval_s=1.0,
    markers=[(T0_US + 5_000_000, "crates"), (T0_US + 9_000_000, "done")],
    remarks=["the capture was cut off; the log was completed from its journal"],
    capture_id="one of many",
)


def written(path, meta=META):
    """A captured log of 300 s: a pump that steps on and off, its current counted the wrong way."""
    time_us = T0_US + np.arange(300) * 1_000_000
    on = (np.arange(300) // 25) % 2
    current = np.where(np.arange(300) == 7, np.nan, -30.0 * on)
    columns = {"current_A": current, "voltage_V": 25.0 - 0.5 * on, "charge_Ah": np.arange(300) / 100.0}
    with new_log(path, list(columns)) as writer:
        writer.write(to_batch(Readings(time_us, columns)))
        writer.finish(meta)
    return path


def printed(capsys, *arguments, status=0):
    """What a command prints; with a status of 2 its one sentence."""
    assert run([str(argument) for argument in arguments]) == status
    captured = capsys.readouterr()
    return captured.out if status == 0 else captured.err


def test_a_captured_log_is_turned_and_stays_as_it_was(tmp_path, capsys):
    """Its readings but for amps, markers, counters and metadata are those of the other; the file is not touched."""
    log, other = written(tmp_path / "log.parquet"), tmp_path / "other.parquet"
    before = log.read_bytes()
    assert "draw and return have changed places" in printed(capsys, "convert", log, "--reverse-sign", "--out", other)
    assert log.read_bytes() == before
    was, now = shuntbook.open_log(log), shuntbook.open_log(other)
    assert now.meta.sign_applied == -1
    assert (now.meta.markers, now.meta.meter, now.meta.gap_limit_s) == (META.markers, "bank shunt", 10.0)
    assert any("turned" in line for line in now.meta.remarks)
    a, b = was.to_pandas(), now.to_pandas()
    np.testing.assert_array_equal(b["current_A"], -a["current_A"])
    for name in ("voltage_V", "charge_Ah"):
        np.testing.assert_array_equal(b[name], a[name])
    assert a.index.equals(b.index)


def test_turned_twice_is_back(tmp_path):
    """Readings and metadata, to the byte."""
    log = written(tmp_path / "log.parquet")
    for source, out in (("log", "once"), ("once", "twice")):
        place = tmp_path / f"{out}.parquet"
        write_again(tmp_path / f"{source}.parquet", place, reverse_sign=True, gap_limit_s=None)
    assert shuntbook.open_log(tmp_path / "twice.parquet").meta == shuntbook.open_log(log).meta
    assert pq.read_table(tmp_path / "twice.parquet").equals(pq.read_table(log))


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=50))
def test_only_what_has_a_sign_is_turned(amps):
    """Amps and watts; volts and the meter's own counter stay. Nought has no sign before or after."""
    x = np.array(amps)
    names = ("current_A", "power_W", "voltage_V", "charge_Ah")
    now = turned(Readings(np.arange(len(x)), dict.fromkeys(names, x))).quantities
    for name in ("current_A", "power_W"):
        np.testing.assert_array_equal(now[name], -x)
        assert not np.signbit(now[name][x == 0]).any()
    for name in ("voltage_V", "charge_Ah"):
        assert now[name] is x


def test_the_sentence_that_says_so_names_a_command_that_works(tmp_path, capsys, monkeypatch):
    """As printed by `look` and by `charge`, typed in beside the log; then the sign is right."""
    monkeypatch.chdir(tmp_path)
    written(tmp_path / "log.parquet")
    for command in ("look", "charge"):
        advice = printed(capsys, command, "log.parquet")
        words = advice.split("'shuntbook ")[1].split("'")[0].split()
        assert run([word if word != "OTHER" else f"{command}.parquet" for word in words]) == 0
        capsys.readouterr()
        sign = json.loads(printed(capsys, "look", f"{command}.parquet", "--json"))["sign"]
        assert sign["plausible"] is True


def test_its_gap_limit_can_be_stated(tmp_path, capsys):
    """Which also settles what was in doubt."""
    log, other = written(tmp_path / "log.parquet", replace(META, other_gap_limit_s=99.0)), tmp_path / "other.parquet"
    document = json.loads(printed(capsys, "convert", log, "--gap", "2m", "--out", other, "--json"))
    assert (document["time"]["gap_limit_s"], document["time"]["other_gap_limit_s"]) == (120.0, None)
    assert shuntbook.open_log(other).meta.sign_applied == 1


def test_a_folder_of_logs_becomes_one(tmp_path, capsys):
    """What is read as one log is written as one, outside the folder."""
    folder = tmp_path / "days"
    folder.mkdir()
    written(folder / "a.parquet")
    inside = printed(capsys, "convert", folder, "--reverse-sign", "--out", folder / "b.parquet", status=2)
    assert "outside it" in inside
    printed(capsys, "convert", folder, "--reverse-sign", "--out", tmp_path / "one.parquet")
    assert shuntbook.open_log(tmp_path / "one.parquet").rows == 300


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ([], "is a log already; it can be written again with --reverse-sign or --gap"),
        (["--reverse-sign", "--zone", "UTC"], "not --zone"),
        (["--reverse-sign", "--dates", "d/m/y"], "not --dates"),
    ],
)
def test_what_a_log_cannot_be_asked_is_refused(tmp_path, capsys, options, words):
    """In one sentence that says what can."""
    log = written(tmp_path / "log.parquet")
    error = printed(capsys, "convert", log, *options, "--out", tmp_path / "other.parquet", status=2)
    assert words in error
    assert not (tmp_path / "other.parquet").exists()


def test_a_log_without_amps_or_watts_has_no_sign(tmp_path, capsys):
    """And says so."""
    log = tmp_path / "volts.parquet"
    with new_log(log, ["voltage_V"]) as writer:
        writer.write(to_batch(Readings(T0_US + np.arange(9) * 1_000_000, {"voltage_V": np.full(9, 25.0)})))
        writer.finish(META)
    error = printed(capsys, "convert", log, "--reverse-sign", "--out", tmp_path / "other.parquet", status=2)
    assert "no sign to turn" in error


def test_an_unfinished_capture_is_completed_first(tmp_path, capsys):
    """Its journal alone is a log as well."""
    log = tmp_path / "log.parquet"
    with closing(Journal(log, LogMeta(gap_limit_s=10.0), ["current_A"])) as journal:
        for k in range(5):
            journal.append_reading(Reading(T0_US + k * 1_000_000, {"current_A": 2.0}))
    printed(capsys, "convert", log, "--reverse-sign", "--out", tmp_path / "other.parquet")
    assert shuntbook.open_log(tmp_path / "other.parquet").to_pandas()["current_A"].tolist() == [-2.0] * 5
