"""Readings in order of time some at a time, by way of files: the same as all at once in memory, for any order."""

from __future__ import annotations

import errno
import os
import tempfile
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.cli.main import run
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.log import stored
from shuntbook.ingest.log.by_time import rows_by_time
from shuntbook.ingest.log.log import Readings
from shuntbook.ingest.log.stored import Scratch, ends_of, quantile
from shuntbook.ingest.log.timeline import settle
from shuntbook.ingest.safe_files.whole_file import hidden_beside

S = 1_000_000
#: What may have come of a meter's rows on the way to its export: what is done to a stretch of them.
CHANGES = st.lists(
    st.tuples(
        st.sampled_from(["late", "again", "other", "turned", "set back", "swapped", "leaps", "stands", "shuffled"]),
        st.integers(0, 80),
        st.integers(0, 80),
        st.sampled_from([1.0, 30.0, 3600.0, 4e7, 1.7e9]),
    ),
    max_size=4,
)


def _exported(rows, every_s, base_s, changes):
    """Return instants [s] and amps as an export may hold them."""
    k = np.arange(rows)
    pair = np.stack([base_s + k * every_s, 5 + k * 7919 % 13 * 0.5])
    for what, first, second, by_s in changes:
        count = pair.shape[1]
        low, high = sorted((first % count, second % count))
        if what == "late":
            pair = np.insert(np.delete(pair, low, axis=1), min(high, count - 1), pair[:, low], axis=1)
        elif what in ("again", "other"):
            part = pair[:, low:high].copy()
            part[1] += what == "other"
            pair = np.concatenate([pair, part], axis=1)
        elif what == "turned":
            pair = pair[:, ::-1]
        elif what == "swapped":
            pair = np.roll(pair, low, axis=1)
        elif what == "shuffled":
            pair[:, low:high] = np.random.default_rng(first).permutation(pair[:, low:high], axis=1)
        else:
            pair = pair.copy()
            stretch = {"set back": slice(low, None), "leaps": slice(low, low + 3), "stands": slice(low, high)}[what]
            pair[0, stretch] = pair[0, low] if what == "stands" else pair[0, stretch] + by_s * (-1) ** (what != "leaps")
    return np.maximum(pair[0], 0.0), pair[1]


def _outcome(instants_us, amps, rows_at_once, **how):
    """Return all that comes of settling rows so many at a time, by way of files, or the sentence that refuses it."""
    readings = Readings(instants_us.copy(), {"current_A": amps.copy(), "charge_Ah": np.cumsum(amps)})
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory() as folder:
        patch.setattr(stored, "ROWS_A_GROUP", rows_at_once)
        try:
            settled = settle(readings, scratch=Scratch(Path(folder)), **how)
        except InputError as error:
            return str(error)
        parts = list(settled.rhythm())
        return (
            settled.readings.time_us.tolist(),
            [repr(x.tolist()) for x in settled.readings.quantities.values()],
            [part_us for part in parts for part_us in part.time_us.tolist()],
            settled.sentences(),
            settled.clock_steps,
            (settled.merged, settled.late, settled.repeated, settled.steps, settled.spread_us, settled.turned),
        )


@given(
    rows=st.integers(1, 80),
    every_s=st.sampled_from([0.25, 0.9, 1.0, 10.0, 45.0, 3600.0]),
    base_s=st.sampled_from([0.0, 946_684_805.0, 1.78e9, 1.78e9 + 0.5]),
    changes=CHANGES,
    grain_s=st.sampled_from([1e-6, 1.0, 60.0]),
    rows_at_once=st.integers(1, 40),
    counted=st.booleans(),
    headers=st.lists(st.integers(0, 80), max_size=2),
)
def test_some_at_a_time_or_all_at_once(rows, every_s, base_s, changes, grain_s, rows_at_once, counted, headers):
    """Byte for byte, with what is said of it, wherever the rows are cut."""
    instants_s, amps = _exported(rows, every_s, base_s, changes)
    instants_us = np.rint(np.floor(instants_s / grain_s) * grain_s * S).astype(np.int64)
    at_once = _outcome(instants_us, amps, 1 << 18, counted=counted, headers=headers)
    assert _outcome(instants_us, amps, rows_at_once, counted=counted, headers=headers) == at_once


@given(st.lists(st.integers(-50, 50), min_size=1, max_size=200), st.integers(1, 60))
def test_rows_by_time_are_a_stable_sort(instants, rows_at_once):
    """Each row once, those of one instant as they were written and together."""
    time_us = np.array(instants, dtype=np.int64)
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory() as folder:
        patch.setattr(stored, "ROWS_A_GROUP", rows_at_once)
        parts = [part.tolist() for part in rows_by_time(time_us, Scratch(Path(folder)))]
    assert [row for part in parts for row in part] == np.argsort(time_us, kind="stable").tolist()
    instants_of = [{instants[row] for row in part} for part in parts]
    assert sum(map(len, instants_of)) == len(set(instants))


@given(
    st.lists(st.integers(0, 2**52) | st.integers(0, 70_000), min_size=1, max_size=100),
    st.sampled_from([0.0, 0.5, 0.95, 1.0]),
    st.integers(1, 30),
)
def test_a_quantile_of_more_than_memory_holds(numbers, share, rows_at_once):
    """As NumPy works it out of all at once; and so are the ends."""
    x = np.array(numbers, dtype=np.int64)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stored, "ROWS_A_GROUP", rows_at_once)
        assert quantile(lambda: stored.parts_of(x), share) == float(np.quantile(x, share))
        assert ends_of(x) == (min(numbers), max(numbers))


def _disordered(kind, rows):
    k = np.arange(rows)
    return {
        "a late row": np.append(np.delete(k, rows // 10), rows // 10),
        "a row that leaps ahead": np.insert(k[:-1], rows // 10, k[-1]),
        "newest first": k[::-1],
        "exports that overlap": np.append(k, k[rows // 2 :]),
        "a stamp twice": np.insert(k, rows // 2, rows // 2),
    }[kind]


def _peak_bytes(kind, rows, folder, counted):
    k = _disordered(kind, rows)
    scratch = Scratch(folder)
    readings = Readings(scratch.copied((k + 1_780_000_000) * S), {"current_A": scratch.copied(k % 97 * 0.25)})
    del k
    tracemalloc.start()
    settled = settle(readings, scratch=scratch, counted=counted)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(settled.readings.time_us) == rows
    return peak


@pytest.mark.parametrize(
    "kind", ["a late row", "a row that leaps ahead", "newest first", "exports that overlap", "a stamp twice"]
)
@pytest.mark.parametrize("counted", [False, True])
def test_memory_does_not_grow_with_the_rows(kind, counted, tmp_path, monkeypatch):
    """Of four times the rows not even a byte a row more is held at once."""
    monkeypatch.setattr(stored, "ROWS_A_GROUP", 1 << 11)
    for folder in ("few", "many"):
        (tmp_path / folder).mkdir()
    few = _peak_bytes(kind, 20_000, tmp_path / "few", counted)
    many = _peak_bytes(kind, 80_000, tmp_path / "many", counted)
    assert many - few < 50_000


def _held_bytes(folder):
    """Return how much of the files in a folder this process holds in memory."""
    held, ours = 0, False
    for line in Path("/proc/self/smaps").read_text(encoding="utf-8").splitlines():
        words = line.split()
        if "-" in words[0]:
            ours = len(words) > 5 and Path(words[5]).parent == folder
        elif words[0] == "Rss:" and ours:
            held += 1024 * int(words[1])
    return held


@pytest.mark.skipif(not Path("/proc/self/smaps").exists(), reason="nobody tells what is held")
@pytest.mark.parametrize(
    "work",
    [
        lambda x, _: [part for _, part in stored.steps_of(x)],
        lambda x, _: [part.sum() for part in stored.parts_of(x)],
        lambda x, _: ends_of(x),
        lambda x, scratch: scratch.copied(x),
        lambda x, scratch: [part.sum() for part in rows_by_time(x, scratch)],
    ],
)
def test_a_column_gone_through_is_let_go_of(work, tmp_path, monkeypatch):
    """What of its file was in memory, and of those that were made meanwhile."""
    monkeypatch.setattr(stored, "ROWS_A_GROUP", 1 << 11)
    scratch = Scratch(tmp_path.resolve())
    column = scratch.times(20_000)
    column[:] = np.arange(20_000)[::-1]
    assert _held_bytes(tmp_path.resolve()) >= 8 * 20_000
    made = work(column, scratch)
    assert _held_bytes(tmp_path.resolve()) == 0
    assert made is not None
    assert column[0] == 19_999


def _late_export(path):
    stamps = [f"2026-06-13T10:{k // 60:02}:{k % 60:02}Z,{k % 7},25" for k in [*range(100), *range(101, 600), 100]]
    path.write_text("\n".join(["time,current [A],voltage [V]", *stamps, ""]), encoding="utf-8")


def test_nothing_is_left_of_the_files(tmp_path, monkeypatch):
    """The log alone; the same as where memory was enough."""
    _late_export(tmp_path / "a.csv")
    log, other = tmp_path / "a.parquet", tmp_path / "b.parquet"
    assert run(["convert", str(tmp_path / "a.csv"), "--out", str(log)]) == 0
    monkeypatch.setattr(stored, "ROWS_A_GROUP", 50)
    assert run(["convert", str(tmp_path / "a.csv"), "--out", str(other)]) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.csv", "a.parquet", "b.parquet"]
    assert log.read_bytes() == other.read_bytes()


@pytest.mark.skipif(not hasattr(os, "posix_fallocate"), reason="room is taken in another way")
def test_a_disk_without_room_is_told_and_nothing_is_left(tmp_path, monkeypatch, capsys):
    """Room is taken before a file is used, where finding none is an error like any other."""

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    _late_export(tmp_path / "a.csv")
    monkeypatch.setattr(stored, "ROWS_A_GROUP", 50)
    monkeypatch.setattr(os, "posix_fallocate", full)
    assert run(["convert", str(tmp_path / "a.csv"), "--out", str(tmp_path / "a.parquet")]) != 0
    assert os.strerror(errno.ENOSPC) in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["a.csv"]


def test_what_a_killed_process_left_is_removed_by_the_next(tmp_path, monkeypatch):
    """A folder of columns beside the log is nobody's when its process is gone."""
    _late_export(tmp_path / "a.csv")
    monkeypatch.setattr(stored, "ROWS_A_GROUP", 50)
    with hidden_beside(tmp_path / "a.parquet", folder=True) as made:
        name = made.name
    (tmp_path / name).mkdir()
    (tmp_path / name / "1").write_bytes(b"columns")
    assert run(["convert", str(tmp_path / "a.csv"), "--out", str(tmp_path / "a.parquet")]) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.csv", "a.parquet"]
