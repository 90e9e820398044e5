"""The live log: what was read is kept, once, in order, whatever happens to the program, the disk or the power."""

from __future__ import annotations

import csv
import errno
import os
import random
import shutil
import subprocess
import sys
import threading
import tracemalloc
import zlib
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

import kill_capture
import numpy as np
import pyarrow.parquet as pq
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from ready_python import ready_python

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.events import HOLDS, MISREAD, Reading, Refused, Remark
from shuntbook.ingest.journal import compaction, readings
from shuntbook.ingest.journal import journal as journal_module
from shuntbook.ingest.journal.compaction import NothingCaptured, compact, finish, settle_unfinished
from shuntbook.ingest.journal.journal import Journal, journal_path
from shuntbook.ingest.journal.lines import TEXT_MOST, JournalReader, seal, unseal
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.log.meta import LogMeta
from shuntbook.ingest.safe_files.file_lock import hold

US = 1_000_000
T0_US = 1_781_000_000 * US  # any instant will do
QUANTITIES = ("current_A", "voltage_V", "charge_Ah")


def reading(n, **values):
    """The n-th reading, a second after the one before; its current counts."""
    return Reading(T0_US + n * US, {"current_A": float(n), "voltage_V": 24.5, **values})


def unfinished(log, count, *, quantities=QUANTITIES, meta=None):
    """The journal of a capture that was cut off after some readings."""
    with closing(Journal(log, meta or LogMeta(), quantities)) as journal:
        for n in range(count):
            journal.append_reading(reading(n))
    return journal_path(log)


def test_a_log_carries_the_last_word_on_how_sure_the_values_of_a_display_are(tmp_path):
    """And no sentence of it, which would be one a minute; of other captures nothing is known of that."""
    log = tmp_path / "log.parquet"
    with closing(Journal(log, LogMeta(), QUANTITIES)) as journal:
        for n, share in enumerate((1.0, 0.25, 0.0125)):
            journal.append_reading(reading(n))
            journal.append_event(Remark(T0_US + n * US, MISREAD, f"{share:g}"))
            journal.append_event(Remark(T0_US + n * US, HOLDS, f"{0.5 + share:g}"))
    done = compact(log)
    assert (done.meta.misread_share, done.meta.display_holds_s) == (0.0125, 0.5125) and not done.meta.remarks[:-1]
    unfinished(tmp_path / "other.parquet", 2)
    other = compact(tmp_path / "other.parquet").meta
    assert (other.misread_share, other.display_holds_s) == (None, 0.0)


def whole(log):
    """A log's times [us] and quantities, read in one piece."""
    parts = list(open_log(log).scan())
    names = parts[0].quantities
    columns = {name: np.concatenate([part.quantities[name] for part in parts]) for name in names}
    return np.concatenate([part.time_us for part in parts]), columns


def counted(log):
    """The currents of a log whose readings count; an empty list if nothing was captured."""
    try:
        settle_unfinished(log)
    except NothingCaptured:
        return []
    return whole(log)[1]["current_A"].tolist()


def test_a_file_that_is_no_journal_is_left_alone(tmp_path):
    """What was never the beginning of a journal is somebody's own, and only named."""
    log = tmp_path / "a.parquet"
    journal_path(log).write_bytes(b"notes of mine")
    with pytest.raises(InputError, match="left as it is"):
        settle_unfinished(log)
    assert journal_path(log).read_bytes() == b"notes of mine"


@pytest.mark.parametrize("time_us", [10**30, -(2**63), 2**62])
def test_an_instant_that_no_calendar_shows_ends_a_journal(tmp_path, time_us):
    """The checksum may be right; the line is damaged all the same, and what stands before it is kept."""
    log = tmp_path / "a.parquet"
    path = unfinished(log, 3)
    first = path.read_bytes().split(b"\n", 1)[0]
    line, _ = seal(["reading", time_us, [1.0, 24.0, None]], path.stat().st_size, int(first[-8:], 16))
    path.write_bytes(path.read_bytes() + line)
    assert counted(log) == [0.0, 1.0, 2.0]


VALUE = st.none() | st.floats(allow_nan=False)  # NaN is how a log writes that there is no value
TEXT = st.text(max_size=40) | st.sampled_from(["line\nbreak", "a*00000000\n", '"]*', "\r\n", "\0", "½ voll — 24 V ✓"])


@examples(20, 60)
@given(
    rows=st.lists(st.tuples(st.integers(1, 10**9), *[VALUE] * 3), min_size=1, max_size=12),
    markers=st.lists(st.tuples(st.integers(0, 10**9), TEXT), max_size=5),
)
def test_every_reading_and_marker_comes_back_exactly(rows, markers):
    """Whatever the values, the log holds the very same bits, nulls and texts."""
    times = (T0_US + np.cumsum([step for step, *_ in rows])).tolist()
    with TemporaryDirectory() as folder:
        log = Path(folder, "pump.parquet")
        journal = Journal(log, LogMeta(meter="bank"), QUANTITIES)
        for at_us, (_, *values) in zip(times, rows, strict=True):
            given = {name: x for name, x in zip(QUANTITIES, values, strict=True) if x is not None}
            journal.append_reading(Reading(at_us, given))
        for offset_us, text in markers:
            journal.append_marker(T0_US + offset_us, text)
        done = finish(journal)
        table = pq.read_table(log)
        meta = open_log(log).meta

    assert table["time"].cast("int64").to_pylist() == times
    for k, name in enumerate(QUANTITIES, 1):
        expected = [None if row[k] is None else float(row[k]).hex() for row in rows]
        assert [None if x is None else x.hex() for x in table[name].to_pylist()] == expected
    assert meta.markers == sorted((T0_US + offset_us, text) for offset_us, text in markers)
    assert (meta.meter, done.torn_bytes, done.meta) == ("bank", 0, meta)


def test_a_text_no_file_can_hold_does_not_stop_the_log(tmp_path):
    """Half a character from a terminal becomes a question mark, and an endless text is cut."""
    log = tmp_path / "pump.parquet"
    journal = Journal(log, LogMeta(), QUANTITIES)
    journal.append_reading(reading(0))
    journal.append_marker(T0_US, "wash \udc80 crates")
    journal.append_event(Refused(T0_US, "garbled", "\x00\udcff" * 1_000_000, "is no number"))

    done = finish(journal)

    assert done.meta.markers == [(T0_US, "wash ? crates")]
    with done.rejects_file.open(encoding="utf-8", newline="") as file:
        assert len(next(csv.DictReader(file))["text"]) == TEXT_MOST


def test_every_truncation_leaves_a_prefix(tmp_path):
    """Cut off at any byte, the journal opens and gives the readings whose lines are whole, and no other."""
    path = unfinished(tmp_path / "whole.parquet", 3)
    content = path.read_bytes()
    ends = [n for n, byte in enumerate(content, 1) if byte == ord("\n")]
    for size in range(len(content)):
        log = tmp_path / f"{size}.parquet"
        journal_path(log).write_bytes(content[:size])
        lines = sum(end <= size for end in ends)

        assert counted(log) == [float(n) for n in range(lines - 1)]
        assert not journal_path(log).exists()


@pytest.mark.parametrize("size", [1, 40, 5000])
@pytest.mark.parametrize("kind", ["zeros", "noise", "lines of noise"])
def test_a_damaged_end_is_told_and_left_out(tmp_path, kind, size):
    """Zeros and noise behind the last reading become no reading."""
    log = tmp_path / "pump.parquet"
    noise = random.Random(size).randbytes(size)
    tail = {"zeros": bytes(size), "noise": noise, "lines of noise": b"\n".join([noise[: size // 2], noise]) + b"\n"}[
        kind
    ]
    with unfinished(log, 5).open("ab") as file:
        file.write(tail)
    sentence = settle_unfinished(log)

    assert f"5 readings up to 09 June 2026 10:13:24 (UTC); the last {len(tail):,} bytes" in sentence
    assert whole(log)[1]["current_A"].tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert any(f"{len(tail):,} bytes" in line for line in open_log(log).meta.remarks)


def _line_of_another(place, key):
    return seal(["reading", T0_US + 9 * US, [9.0, 24.5, None]], place, key + 1)[0]


@pytest.mark.parametrize(
    "tail",
    [
        b"*00000000\n",  # the checksum of nothing is 0
        b"abc*352441c2\n",  # CRC-32 of "abc": a common check value, from memory
        lambda place, key: b"*%08x\n" % ((key + place) & 0xFFFFFFFF),
        lambda place, key: b"abc*%08x\n" % zlib.crc32(b"abc", (key + place) & 0xFFFFFFFF),
        lambda place, key: seal(["reading", T0_US + 9 * US, [9.0]], place, key)[0],
        lambda place, key: seal(["reading", T0_US + 9 * US, ["9", 24.5, None]], place, key)[0],
        lambda place, key: seal({"reading": 1}, place, key)[0],
        lambda place, key: seal(["reading", T0_US + 9 * US, [9.0, 24.5, None]], place + 1, key)[0],
        _line_of_another,
    ],
)
def test_garbage_with_a_right_checksum_is_no_reading(tmp_path, tail):
    """A line counts only if it is a record, of this capture, in its own place."""
    log = tmp_path / "pump.parquet"
    path = unfinished(log, 2)
    content = path.read_bytes()
    key = unseal(content.split(b"\n")[0] + b"\n", 0, 0)[1]
    path.write_bytes(content + (tail if isinstance(tail, bytes) else tail(len(content), key)))

    assert counted(log) == [0.0, 1.0]


def test_the_same_tail_would_be_a_reading_if_it_were_right(tmp_path):
    """The test above does not pass because nothing is ever read."""
    log = tmp_path / "pump.parquet"
    path = unfinished(log, 2)
    content = path.read_bytes()
    key = unseal(content.split(b"\n")[0] + b"\n", 0, 0)[1]
    path.write_bytes(content + seal(["reading", T0_US + 9 * US, [9.0, 24.5, None]], len(content), key)[0])

    assert counted(log) == [0.0, 1.0, 9.0]


@examples(33, 100)
@given(at=st.integers(0, 10**6), flip=st.integers(1, 255))
def test_one_wrong_byte_never_makes_a_wrong_reading(at, flip):
    """Whichever byte is changed, what is given is a prefix of what was captured."""
    with TemporaryDirectory() as folder:
        log = Path(folder, "pump.parquet")
        path = unfinished(log, 6)
        content = bytearray(path.read_bytes())
        header_ends = content.index(b"\n") + 1
        at = header_ends + at % (len(content) - header_ends)
        content[at] ^= flip
        path.write_bytes(content)
        got = counted(log)

    assert got == [float(n) for n in range(len(got))]
    assert len(got) == content[header_ends:at].count(b"\n")


def test_a_damaged_beginning_is_left_as_it_is(tmp_path):
    """What cannot be told from noise is not thrown away."""
    log = tmp_path / "pump.parquet"
    path = unfinished(log, 3)
    content = b"X" + path.read_bytes()[1:]
    path.write_bytes(content)

    with pytest.raises(InputError, match="line 1: this journal's beginning is damaged or cut short"):
        settle_unfinished(log)
    assert path.read_bytes() == content


def test_a_journal_damaged_before_its_first_reading_is_left_as_it_is(tmp_path):
    """Nothing can be made of it, but it is long: it is not removed."""
    log = tmp_path / "pump.parquet"
    path = unfinished(log, 3000)
    content = path.read_bytes()
    at = content.index(b"\n") + 5
    path.write_bytes(content[:at] + b"X" + content[at + 1 :])

    with pytest.raises(InputError, match="damaged or cut short before its first reading"):
        settle_unfinished(log)
    assert path.stat().st_size == len(content)
    assert not log.exists()


def test_a_journal_damaged_in_its_middle_is_kept(tmp_path):
    """More than a flush interval may be good behind the damage: the journal gets another name, and that is said."""
    log = tmp_path / "pump.parquet"
    path = unfinished(log, 3000)
    content = bytearray(path.read_bytes())
    content[2000] ^= 1
    path.write_bytes(content)
    sentence = settle_unfinished(log)

    (damaged,) = tmp_path.glob("pump.parquet.journal.damaged-*")
    assert damaged.name in sentence
    assert damaged.read_bytes() == content
    assert settle_unfinished(log) is None


def test_a_newer_journal_is_refused(tmp_path):
    """A format that this version does not know is not taken for damage."""
    log = tmp_path / "pump.parquet"
    journal_path(log).write_bytes(seal({"shuntbook_journal": 2}, 0, 0)[0])

    with pytest.raises(InputError, match="newer shuntbook"):
        settle_unfinished(log)
    assert journal_path(log).exists()


def test_another_file_of_that_name_is_refused(tmp_path):
    """A file that is no journal of ours is neither read nor removed."""
    log = tmp_path / "pump.parquet"
    journal_path(log).write_text("dear diary\n", encoding="utf-8")

    with pytest.raises(InputError, match="line 1"):
        settle_unfinished(log)
    assert journal_path(log).read_text(encoding="utf-8") == "dear diary\n"


def test_the_metadata_is_filled(tmp_path):
    """Counts, markers, remarks, clock steps, intervals and rejects of a capture are in its log."""
    log = tmp_path / "pump.parquet"
    journal = Journal(log, LogMeta(meter="bank", remarks=["the zone is assumed"]), QUANTITIES)
    for n in range(10):
        journal.append_reading(Reading(T0_US + 4 * n * US, {"current_A": 70.0}))
    journal.append_marker(T0_US + 9 * US, "rinse")
    journal.append_marker(T0_US + 2 * US, "wash")
    journal.append_event(Refused(T0_US + 3 * US, "checksum", "74.5,2", "its checksum is wrong"))
    journal.append_event(Remark(T0_US + 5 * US, "time-out", "no answer within 1 s"))
    journal.append_event(Remark(T0_US + 8 * US, "time-out", "no answer within 1 s"))
    journal.append_clock_step(T0_US + 6 * US, 3600.0)
    done = finish(journal)
    meta = open_log(log).meta

    assert (meta.rows_read, meta.rows_kept, meta.rows_rejected, meta.rows_merged) == (11, 10, 1, 0)
    assert meta.markers == [(T0_US + 2 * US, "wash"), (T0_US + 9 * US, "rinse")]
    assert meta.remarks == [
        "the zone is assumed",
        "time-out: 2 x while capturing, first at 2026-06-09T10:13:25Z: no answer within 1 s",
    ]
    assert meta.clock_steps == [{"at_us": T0_US + 6 * US, "step_s": 3600.0}]
    assert (meta.gap_limit_s, meta.usual_interval_s) == (20.0, 4.0)  # five times the spacing, DESIGN.md section 5
    assert (done.first_us, done.last_us) == (T0_US, T0_US + 36 * US)
    with done.rejects_file.open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["text"] == "74.5,2"
    assert "its checksum is wrong (2026-06-09T10:13:23Z)" in row["reason"]


def test_a_stated_gap_limit_stays(tmp_path):
    """What the person said is not worked out again."""
    log = tmp_path / "pump.parquet"
    unfinished(log, 3, meta=LogMeta(gap_limit_s=150.0))

    assert compact(log).meta.gap_limit_s == 150.0


def test_a_single_reading_keeps_the_interval_that_was_asked_for(tmp_path):
    """One reading has no spacing of its own."""
    log = tmp_path / "pump.parquet"
    unfinished(log, 1, meta=LogMeta(usual_interval_s=2.0))

    assert compact(log).meta.usual_interval_s == 2.0


def test_equal_stamps_are_merged_and_earlier_ones_left_out(tmp_path, monkeypatch):
    """Times strictly increase, also where the readings are cut into chunks; nothing vanishes uncounted."""
    monkeypatch.setattr(readings, "ROWS_A_CHUNK", 2)
    log = tmp_path / "pump.parquet"
    journal = Journal(log, LogMeta(), QUANTITIES)
    seconds = [0, 1, 1, 1, 2, 0, 3, 2, 4, 4]
    for k, second in enumerate(seconds):
        journal.append_reading(reading(second, current_A=float(k), charge_Ah=float(k)))
    done = finish(journal)
    time_us, columns = whole(log)

    assert ((time_us - T0_US) // US).tolist() == [0, 1, 2, 3, 4]
    assert columns["current_A"].tolist() == [0.0, 2.0, 4.0, 6.0, 8.5]  # the mean of equal stamps
    assert columns["charge_Ah"].tolist() == [0.0, 3.0, 4.0, 6.0, 9.0]  # a counter's last value
    assert (done.skipped, done.meta.rows_merged, done.meta.rows_kept, done.meta.rows_read) == (2, 3, 5, 10)
    assert done.rejects_file.read_text(encoding="utf-8").count("came before the reading ahead of it") == 2


@examples(10, 30)
@given(
    steps=st.lists(st.integers(-2, 2), min_size=1, max_size=30),
    chunk=st.integers(1, 8),
)
def test_chunks_cannot_be_seen_in_the_log(steps, chunk):
    """However the journal is cut into chunks, the log is the same."""
    logs = []
    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        for size in (chunk, 1000):
            patch.setattr(readings, "ROWS_A_CHUNK", size)
            log = Path(folder, f"{len(logs)}.parquet")
            journal = Journal(log, LogMeta(), QUANTITIES)
            for k, second in enumerate(np.cumsum(steps).tolist()):
                journal.append_reading(reading(second, current_A=float(k)))
            finish(journal)
            logs.append(whole(log))

    (a_us, a), (b_us, b) = logs
    np.testing.assert_array_equal(a_us, b_us)
    np.testing.assert_array_equal(a["current_A"], b["current_A"])


def test_a_capture_without_a_reading_leaves_no_log(tmp_path):
    """What was refused is kept, and the place is free for the next try."""
    log = tmp_path / "pump.parquet"
    journal = Journal(log, LogMeta(), QUANTITIES)
    journal.append_event(Refused(T0_US, "garbled", "OL", "is no number"))

    with pytest.raises(NothingCaptured, match=r"could not be read is in .*rejects.csv"):
        finish(journal)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["pump.parquet.rejects.csv"]


def test_a_quantity_without_a_column_is_a_fault(tmp_path):
    """A value is never dropped in silence."""
    journal = Journal(tmp_path / "pump.parquet", LogMeta(), ["current_A"])
    with closing(journal), pytest.raises(ValueError, match="voltage_V"):
        journal.append_reading(reading(0))


def child(code, *words, **kwargs):
    """Run Python code in a process of its own."""
    command = [sys.executable, "-c", code, *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=300, **kwargs)


def test_a_second_capture_is_refused_and_the_first_goes_on(tmp_path):
    """In another process and in this one; so is opening the log meanwhile."""
    log = tmp_path / "pump.parquet"
    code = (
        "import sys; from pathlib import Path\n"
        "from shuntbook.ingest.journal.journal import Journal, InputError\n"
        "from shuntbook.ingest.log.meta import LogMeta\n"
        "try: Journal(Path(sys.argv[1]), LogMeta(), ['current_A'])\n"
        "except InputError as error: print(error)\n"
    )
    with closing(Journal(log, LogMeta(), QUANTITIES)) as journal:
        second = child(code, log)
        assert "another capture is writing here; stop it first" in second.stdout, second.stderr
        with pytest.raises(InputError, match="another capture is writing here"):
            Journal(log, LogMeta(), QUANTITIES)
        with pytest.raises(InputError, match="is still being captured; stop it first"):
            settle_unfinished(log)
        with pytest.raises(InputError, match="is still being captured"):
            settle_unfinished(tmp_path)
        journal.append_reading(reading(0))
    assert counted(log) == [0.0]


def test_an_unfinished_capture_is_not_written_over(tmp_path):
    """A new capture into its place is told how to complete it."""
    log = tmp_path / "pump.parquet"
    content = unfinished(log, 2).read_bytes()

    with pytest.raises(InputError, match="an unfinished capture lies here"):
        Journal(log, LogMeta(), QUANTITIES)
    assert journal_path(log).read_bytes() == content


def test_the_rejects_of_another_log_stop_a_capture_before_it_begins(tmp_path):
    """They would be lost when it ends; nothing is left behind."""
    log = tmp_path / "pump.parquet"
    rejects = tmp_path / "pump.parquet.rejects.csv"
    rejects.write_text("file,line,reason,text\nexport.csv,5,no number,x\n")
    with pytest.raises(InputError, match=r"another log.*move it"):
        Journal(log, LogMeta(), QUANTITIES)
    assert list(tmp_path.iterdir()) == [rejects]


def test_the_lock_ends_with_the_process(tmp_path):
    """A capture that was killed does not keep the next command out."""
    log = tmp_path / "pump.parquet"
    code = (
        "import os, signal, sys; from pathlib import Path\n"
        "from shuntbook.ingest.journal.journal import Journal; from shuntbook.ingest.log.meta import LogMeta\n"
        "from shuntbook.ingest.events import Reading\n"
        "journal = Journal(Path(sys.argv[1]), LogMeta(), ['current_A'])\n"
        "journal.append_reading(Reading(1, {'current_A': 0.0}))\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    assert child(code, log).returncode == -9
    assert "1 reading up to" in settle_unfinished(log)
    assert whole(log)[0].tolist() == [1]


def test_two_commands_may_meet_the_same_unfinished_capture(tmp_path):
    """One completes it, the others wait; all of them then open the log."""
    log = tmp_path / "pump.parquet"
    unfinished(log, 20_000)
    code = (
        "import sys; from pathlib import Path\n"
        "from shuntbook.ingest.journal.compaction import settle_unfinished\n"
        "from shuntbook.ingest.journal.opening import open_log\n"
        "print(settle_unfinished(Path(sys.argv[1])), open_log(sys.argv[1]).rows)\n"
    )
    command = [ready_python(), "-c", code, str(log)]
    running = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(3)]
    outcomes = [process.communicate(timeout=300) for process in running]

    assert [process.returncode for process in running] == [0, 0, 0], outcomes
    assert all(out.endswith(" 20000\n") for out, _ in outcomes)
    assert sum("completed: 20,000 readings" in out for out, _ in outcomes) == 1


def test_a_crash_between_the_log_and_the_removal_of_its_journal(tmp_path):
    """Both are there; the journal's capture is known by its mark, so it is removed and the log not touched."""
    log, aside = tmp_path / "pump.parquet", tmp_path / "aside"
    path = unfinished(log, 3)
    shutil.copy(path, aside)
    compact(log)
    shutil.copy(aside, path)
    content = log.read_bytes()

    assert "its journal was still there and was removed" in settle_unfinished(log)
    assert log.read_bytes() == content
    assert not path.exists()


# Ends the process at the n-th time that it is about to rename or remove a file, as a power cut would.
DIES_AT = """
import os, sys; from pathlib import Path
from shuntbook.ingest.journal.compaction import settle_unfinished
left = int(sys.argv[2])
def count(event, args):
    global left
    if event in ("os.rename", "os.remove"):
        left -= 1
        if not left: os._exit(9)
sys.addaudithook(count)
settle_unfinished(Path(sys.argv[1]))
"""


def test_a_crash_at_any_step_of_the_compaction(tmp_path):
    """Wherever it stops, the next command finishes it: every reading once, and what was refused."""
    died = 0
    for step in range(1, 20):
        log = tmp_path / f"{step}.parquet"
        journal = Journal(log, LogMeta(), QUANTITIES)
        journal.append_event(Refused(T0_US, "garbled", "OL", "is no number"))
        for n in range(4):
            journal.append_reading(reading(n))
        journal.close()
        died = child(DIES_AT, log, step).returncode

        assert counted(log) == [0.0, 1.0, 2.0, 3.0]
        assert not journal_path(log).exists()
        assert (tmp_path / f"{step}.parquet.rejects.csv").read_text(encoding="utf-8").count("OL") == 1
        if not died:
            break
    assert died == 0
    assert step > 3  # the rejects and the log take their names, and the journal goes


def test_another_log_in_its_place_is_not_replaced(tmp_path):
    """A log that was put there after the capture began is not ours to overwrite."""
    log, other = tmp_path / "pump.parquet", tmp_path / "other.parquet"
    unfinished(other, 1)
    compact(other)
    unfinished(log, 2)
    shutil.copy(other, log)

    with pytest.raises(InputError, match="is not the log of the unfinished capture beside it"):
        settle_unfinished(log)
    assert log.read_bytes() == other.read_bytes()
    assert journal_path(log).exists()


def test_a_capture_over_an_older_log_replaces_it_at_its_end(tmp_path):
    """Whoever began it had said so; until its end, or if it never read anything, the older log stays."""
    log = tmp_path / "pump.parquet"
    unfinished(log, 1)
    compact(log)
    older = log.read_bytes()
    Journal(log, LogMeta(), QUANTITIES).close()

    assert "no log" in settle_unfinished(log)
    assert log.read_bytes() == older
    unfinished(log, 4)
    assert log.read_bytes() == older
    assert counted(log) == [0.0, 1.0, 2.0, 3.0]


def test_all_unfinished_captures_of_a_folder_are_completed(tmp_path):
    """A capture of several meters leaves several journals."""
    for name in ("bank", "shed"):
        unfinished(tmp_path / f"{name}.parquet", 2)
    sentence = settle_unfinished(tmp_path)

    assert sentence.count("completed: 2 readings") == 2
    assert [counted(tmp_path / f"{name}.parquet") for name in ("bank", "shed")] == [[0.0, 1.0]] * 2
    assert settle_unfinished(tmp_path) is None


def failing_write(monkeypatch, *, number, after):
    """Let the next write of the journal end after some bytes, and the one after it fail, until that is undone."""
    left = [after]

    def write(handle, data):
        if left[0] <= 0:
            raise OSError(number, os.strerror(number))
        part = bytes(data[: left[0]])
        left[0] -= len(part)
        return REAL_WRITE(handle, part)

    monkeypatch.setattr(journal_module.os, "write", write)


REAL_WRITE = os.write


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EIO])
@pytest.mark.parametrize("after", [0, 1, 30])
def test_a_disk_that_fails_leaves_no_half_line(tmp_path, monkeypatch, number, after):
    """The error names the journal; what was kept stays readable, and when there is room again it goes on."""
    log = tmp_path / "pump.parquet"
    journal = Journal(log, LogMeta(), QUANTITIES)
    journal.append_reading(reading(0))
    with monkeypatch.context() as patch:
        failing_write(patch, number=number, after=after)
        with pytest.raises(OSError, match=os.strerror(number)) as failed:
            journal.append_reading(reading(1))
    assert (failed.value.errno, failed.value.filename) == (number, str(journal.path))
    journal.append_reading(reading(2))
    done = finish(journal)

    assert whole(log)[1]["current_A"].tolist() == [0.0, 2.0]
    assert done.torn_bytes == 0


def test_a_half_line_that_cannot_be_cut_off_at_once_is_cut_off_later(tmp_path, monkeypatch):
    """Even if the disk refuses that too, the next line is not glued to it."""
    log = tmp_path / "pump.parquet"
    journal = Journal(log, LogMeta(), QUANTITIES)
    journal.append_reading(reading(0))

    def refuse(handle, size):
        raise OSError(errno.EIO, "the disk is gone")

    with monkeypatch.context() as patch:
        failing_write(patch, number=errno.EIO, after=20)
        patch.setattr(journal_module.os, "ftruncate", refuse)
        for n in (1, 2):
            with pytest.raises(OSError, match=r"Input/output|the disk is gone"):
                journal.append_reading(reading(n))
    torn = journal.path.read_bytes()
    journal.append_reading(reading(3))
    finish(journal)

    assert not torn.endswith(b"\n")
    assert whole(log)[1]["current_A"].tolist() == [0.0, 3.0]


def test_a_full_disk_at_the_very_beginning_leaves_nothing_behind(tmp_path, monkeypatch):
    """The next try does not meet half a journal."""
    failing_write(monkeypatch, number=errno.ENOSPC, after=10)
    with pytest.raises(OSError, match="No space"):
        Journal(tmp_path / "pump.parquet", LogMeta(), QUANTITIES)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="file-size limits are POSIX")
def test_a_real_limit_while_appending_and_while_compacting(tmp_path):
    """With the system's own refusal: what was kept is readable, the journal survives, and later it becomes the log."""
    log = tmp_path / "pump.parquet"
    code = (
        "import resource, sys; from pathlib import Path\n"
        "from shuntbook.ingest.journal.compaction import finish; from shuntbook.ingest.journal.journal import Journal\n"
        "from shuntbook.ingest.log.meta import LogMeta; from shuntbook.ingest.events import Reading\n"
        "journal, n = Journal(Path(sys.argv[1]), LogMeta(), ['current_A']), 0\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, resource.RLIM_INFINITY))\n"
        "try:\n"
        "    while True: journal.append_reading(Reading(n + 1, {'current_A': float(n)})); n += 1\n"
        "except OSError as error: print(n, error.errno, error.filename)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1_000, resource.RLIM_INFINITY))\n"
        "try: finish(journal)\n"
        "except OSError as error: print(error.errno)\n"
    )
    outcomes = child(code, log)
    lines = outcomes.stdout.split("\n")
    whole, *where = lines[0].split()

    assert where == [str(errno.EFBIG), str(journal_path(log))], outcomes.stderr
    assert lines[1] == str(errno.EFBIG), outcomes.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["pump.parquet.journal"]
    assert counted(log) == [float(n) for n in range(int(whole))]
    assert int(whole) > 500


@pytest.mark.parametrize("number", [errno.EACCES, errno.EROFS])
def test_an_unfinished_capture_in_a_place_that_is_read_only(tmp_path, monkeypatch, number):
    """It is said what to do, and nothing is changed."""
    log = tmp_path / "pump.parquet"
    content = unfinished(log, 2).read_bytes()

    def refuse(*_):
        raise OSError(number, os.strerror(number), str(log))

    monkeypatch.setattr(compaction, "new_log", refuse)
    with pytest.raises(InputError, match=r"copy pump\.parquet\.journal to a folder of your own"):
        settle_unfinished(log)
    assert journal_path(log).read_bytes() == content


def test_a_failing_sync_is_told_and_tried_again(tmp_path, monkeypatch):
    """A disk that loses what it was given is no quiet matter."""
    calls = []

    def refuse(handle):
        calls.append(handle)
        raise OSError(errno.EIO, "the disk is gone")

    with closing(Journal(tmp_path / "pump.parquet", LogMeta(), QUANTITIES)) as journal:
        journal.append_reading(reading(0))
        with monkeypatch.context() as patch:
            for name in ("fsync", "fdatasync"):
                patch.setattr(journal_module.os, name, refuse, raising=False)
            for now_us in (T0_US, T0_US + 1):
                with pytest.raises(OSError, match="gone"):
                    journal.flush_due(now_us)
    assert len(calls) == 2


@examples(20, 60)
@given(looks=st.lists(st.tuples(st.integers(1_000, 250_000), st.booleans()), min_size=15, max_size=50))
def test_a_power_cut_costs_one_flush_interval_at_most(looks):
    """Every reading older than the flush interval is on the disk, also just before the next flush, and can be opened.

    The capture looks every quarter of a second or sooner whether a flush is due; at some of these looks it has read.
    The disk of this test holds what had been written at the last sync.
    """
    synced, ends, now_us = [0], [], T0_US

    def remember(handle):
        synced[0] = os.fstat(handle).st_size

    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        for name in ("fsync", "fdatasync"):
            patch.setattr(journal_module.os, name, remember, raising=False)
        log = Path(folder, "pump.parquet")
        journal = Journal(log, LogMeta(), QUANTITIES, flush_s=1.0)
        for pause_us, has_read in looks:
            now_us += pause_us
            assert all(end <= synced[0] for at_us, end in ends if at_us < now_us - US)
            if has_read:
                journal.append_reading(Reading(now_us, {"current_A": float(len(ends))}))
                ends.append((now_us, journal.path.stat().st_size))
            journal.flush_due(now_us)
        os.truncate(journal.path, synced[0])
        safe = sum(end <= synced[0] for _, end in ends)
        os.close(journal.detach())
        got = counted(log)

    assert got == [float(n) for n in range(safe)]


def test_markers_and_remarks_are_on_the_disk_at_once(tmp_path, monkeypatch):
    """A person's note does not wait for the next flush, and neither does what goes before a long silence."""
    synced = []
    journal = Journal(tmp_path / "pump.parquet", LogMeta(), QUANTITIES)
    with closing(journal), monkeypatch.context() as patch:
        for name in ("fsync", "fdatasync"):
            patch.setattr(
                journal_module.os, name, lambda handle: synced.append(os.fstat(handle).st_size), raising=False
            )
        journal.append_reading(reading(0))
        assert synced == []
        journal.append_marker(T0_US, "wash")
        assert synced[-1] == journal.path.stat().st_size
        journal.append_event(Remark(T0_US, "lost", "the port has gone"))
        assert synced[-1] == journal.path.stat().st_size


def test_an_end_full_of_zeros_is_not_read_as_one_line(tmp_path):
    """What a disk filled up with zeros need not fit into memory."""
    path = unfinished(tmp_path / "pump.parquet", 10)
    with path.open("ab") as file:
        file.truncate(1 << 28)  # a sparse file: nothing of it is on the disk
    tracemalloc.start()
    try:
        with JournalReader(path) as journal:
            assert sum(1 for _ in journal) == 10
        assert tracemalloc.get_traced_memory()[1] < 1 << 24
    finally:
        tracemalloc.stop()
    assert journal.torn_bytes > 1 << 27


def test_closing_twice_does_nothing(tmp_path):
    """The end of a capture may be reached on two ways."""
    journal = Journal(tmp_path / "pump.parquet", LogMeta(), QUANTITIES)
    journal.close()
    journal.close()
    handle = hold(journal.path, os.O_RDONLY)
    assert handle is not None
    os.close(handle)


def test_threads_may_share_a_journal(tmp_path):
    """Markers come from another thread than readings; no line is cut by another."""
    log = tmp_path / "pump.parquet"
    journal = Journal(log, LogMeta(), QUANTITIES)
    marking = threading.Thread(target=lambda: [journal.append_marker(T0_US + k, str(k)) for k in range(300)])
    marking.start()
    for n in range(3000):
        journal.append_reading(reading(n))
        journal.flush_due(T0_US + n * US // 100)
    marking.join()
    done = finish(journal)

    assert (done.meta.rows_kept, len(done.meta.markers), done.torn_bytes) == (3000, 300, 0)


def test_ten_captures_killed_at_random_moments():
    """Every log opens, holds every acknowledged reading, none twice (more of them: tests/tools kill_capture)."""
    chance = random.Random(3)
    outcomes = [kill_capture.kill_once(kill_capture.OWN_CHILD, chance) for _ in range(10)]

    assert sum(outcome.read for outcome in outcomes) > 0  # what must hold of each is checked where it is killed
