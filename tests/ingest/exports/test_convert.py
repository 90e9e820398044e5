"""Convert: what is kept, what is rejected and where, what the log's notes say."""

from __future__ import annotations

import hashlib
import json
import random
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from exporting import convert, document, shuntbook, us
from places import SAMPLES

import shuntbook as package
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.exports.convert import MOST_REJECTED
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.log.log import Readings, new_log, to_batch
from shuntbook.ingest.log.meta import METADATA_KEY, LogMeta

HEADER = "Time,Current (A),Voltage (V)"


def row(second: float, current: object = 1.5, voltage: object = 12.5) -> str:
    """One row of a plain export, `second` after 10:00."""
    minute, rest = divmod(second, 60)
    return f"2026-06-13 10:{int(minute):02d}:{rest:06.3f},{current},{voltage}"


def rows(count: int, start: int = 0) -> list[str]:
    """Return rows a second apart."""
    return [row(start + k, k) for k in range(count)]


def text(lines: list[str], end: str = "\n") -> str:
    """Return lines as a file."""
    return end.join(lines) + end


# --- rejects ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_rejects_have_their_line_reason_and_text(tmp_path, end):
    """Whatever stands around them: preamble, blank lines, repeated headers, short and long rows, open quotes, NULs."""
    bad = {
        "2026-06-13 10:59:00,1.5": "has 2 fields, expected 3",
        "2026-06-13 10:59:01,1.5,12.5,7": "has 4 fields, expected 3",
        '2026-06-13 10:59:02,"1.5,12.5': "a double quote is left open",
        "2026-06-13 10:59:03,OL,12.5": "column 'Current (A)': 'OL' is above the meter's range",
        "2026-13-45 10:59:04,1.5,12.5": "expected date and time, year-month-day",
        ",1.5,12.5": "column 'Time': no time",
        "2026-06-13 10:59:05,,": "no reading in any column",
        "\x00\x00\x00\x00": "has 1 fields, expected 3",
        "2026-06-13 10:59:06,1.\x005,12.5": "expected a number",
        "# restarted": "has 1 fields, expected 3",
    }
    lines = ["Shed meter", "", HEADER, *rows(100), "", HEADER, "   ", *rows(200, 100)]
    at = {}
    for k, (line, reason) in enumerate(bad.items()):
        place = 20 + 23 * k
        lines.insert(place, line)
        at[place + 1] = (reason, line)
    done = convert(tmp_path, text(lines, end))
    assert done.reject_lines == sorted(at)
    for line, reason, content in done.rejects:
        assert at[line][0] in reason
        assert content == at[line][1]
    assert len(done.time_us) == 300
    assert "1 repeated headers passed over" in done.said


@pytest.mark.parametrize("seed", range(40))
def test_line_numbers_of_rejects_at_random(tmp_path, seed):
    """Good, bad and blank lines in any order: the rejects are the bad ones, the readings the good ones."""
    rng = random.Random(seed)
    lines, bad, good = [HEADER], [], []
    for k in range(60):
        kind = rng.choice("gggggbqsn")
        if kind == "g":
            good.append(k)
            lines.append(row(k, k))
        elif kind == "n":
            lines.append(rng.choice(["", " ", "\t"]))
        else:
            lines.append(
                {"b": f"2026-06-13 10:00:{k:02d},x,1", "q": 'a,"b,c', "s": rng.choice(["1,2", "1,2,3,4", "x"])}[kind]
            )
            bad.append(len(lines))
    lines += rows(2, 100)
    done = convert(tmp_path, text(lines, rng.choice(["\n", "\r\n"])), options=("--zone", "UTC", "--allow-rejects"))
    assert done.reject_lines == bad
    assert done["current_A"].tolist() == [*good, 0, 1]


def test_more_than_a_twentieth_rejected_writes_the_rejects_only(tmp_path):
    """The person is asked first; --allow-rejects goes on."""
    content = text([HEADER, *rows(94), *(f"x{k},1,2" for k in range(6))])
    done = convert(tmp_path, content)
    assert done.status == 2
    assert "6 of 100 rows (6 %) could not be read" in done.error
    assert "line 96" in done.error
    assert "--allow-rejects" in done.error
    assert not done.log_path.exists()
    assert done.reject_lines == list(range(96, 102))
    allowed = convert(tmp_path, content, options=("--zone", "UTC", "--allow-rejects"))
    assert len(allowed.time_us) == 94
    assert allowed.log.meta.rows_rejected == 6


def test_a_twentieth_rejected_is_let_pass(tmp_path):
    """The limit itself is allowed."""
    assert MOST_REJECTED == 0.05
    done = convert(tmp_path, text([HEADER, *rows(95), *(f"x{k},1,2" for k in range(5))]))
    assert len(done.time_us) == 95


@pytest.mark.parametrize(
    ("tail", "whole"),
    [
        ("2026-06-13 10:01:40.000,-3.57,12.5", True),  # as many decimals as ever
        ("2026-06-13 10:01:40.000,-3.57,1", False),
        ("2026-06-13 10:01:40.000,-3.57,", False),
        ("2026-06-13 10:01:40.000,-3.5", False),
        ("2026-06-13 10:01", False),
    ],
)
def test_a_torn_last_line_is_not_trusted(tmp_path, tail, whole):
    """A number cut short looks like a number: without a line end only a surely whole last row is kept."""
    done = convert(tmp_path, text([HEADER, *rows(3)]) + tail)
    assert len(done.time_us) == 3 + whole
    assert done.reject_lines == ([] if whole else [5])
    assert ("cut short" in "".join(reason for _, reason, _ in done.rejects)) == (not whole)


def test_earlier_rejects_do_not_stay_with_a_clean_log(tmp_path):
    """Converted again from a mended export, the log has no rejects file beside it."""
    export, log = tmp_path / "a.csv", tmp_path / "a.parquet"
    rejects = tmp_path / "a.parquet.rejects.csv"
    arguments = ("convert", str(export), "--out", str(log), "--zone", "UTC", "--force")
    export.write_text(text([HEADER, *rows(40), "x,1,2"]))
    assert shuntbook(*arguments)[0] == 0
    assert rejects.exists()
    export.write_text(text([HEADER, *rows(40)]))
    assert shuntbook(*arguments)[0] == 0
    assert not rejects.exists()


def test_a_foreign_rejects_file_is_left_alone(tmp_path):
    """What stands in the rejects' place and is not ours stops the conversion."""
    done = convert(tmp_path, text([HEADER, *rows(4)]))
    foreign = tmp_path / "b.parquet.rejects.csv"
    foreign.write_text("mine\n")
    source = next(tmp_path.glob("export_*.csv"))
    status, _, error = shuntbook("convert", str(source), "--out", str(tmp_path / "b.parquet"), "--zone", "UTC")
    assert (status, foreign.read_text()) == (2, "mine\n")
    assert "is not ours" in error
    assert done.log_path.exists()


def test_the_rejects_of_a_log_that_was_renamed_are_left_alone(tmp_path):
    """A clean export converted to the old name would have removed them: they are to be moved first."""
    first, clean, log = tmp_path / "first.csv", tmp_path / "clean.csv", tmp_path / "a.parquet"
    rejects = tmp_path / "a.parquet.rejects.csv"
    first.write_text(text([HEADER, *rows(40), "x,1,2"]))
    clean.write_text(text([HEADER, *rows(40)]))
    assert shuntbook("convert", str(first), "--out", str(log), "--zone", "UTC")[0] == 0
    kept = rejects.read_bytes()
    log.rename(tmp_path / "kept.parquet")
    status, _, error = shuntbook("convert", str(clean), "--out", str(log), "--zone", "UTC")
    assert (status, rejects.read_bytes(), log.exists()) == (2, kept, False)
    assert "move it" in error
    rejects.rename(tmp_path / "kept.parquet.rejects.csv")
    assert shuntbook("convert", str(clean), "--out", str(log), "--zone", "UTC")[0] == 0


def test_a_refused_try_may_be_made_again(tmp_path):
    """What it left in the rejects' place names the same export, so the second try replaces it."""
    export, log = tmp_path / "a.csv", tmp_path / "a.parquet"
    export.write_text(text([HEADER, *rows(4), "x,1,2", "y,1,2"]))
    arguments = ("convert", str(export), "--out", str(log), "--zone", "UTC")
    assert shuntbook(*arguments)[0] == 2
    assert (tmp_path / "a.parquet.rejects.csv").exists()
    export.write_text(text([HEADER, *rows(4)]))
    assert shuntbook(*arguments)[0] == 0
    assert not (tmp_path / "a.parquet.rejects.csv").exists()


# --- whole or not at all ---------------------------------------------------------------------------------------------


def test_an_existing_log_needs_force(tmp_path):
    """It is left as it is, to the byte, until --force is said."""
    done = convert(tmp_path, text([HEADER, *rows(4)]))
    before = done.log_path.read_bytes()
    source = str(next(tmp_path.glob("export_*.csv")))
    status, _, error = shuntbook("convert", source, "--out", str(done.log_path), "--zone", "Asia/Tokyo")
    assert status == 2
    assert "--force" in error
    assert done.log_path.read_bytes() == before
    status, _, error = shuntbook("convert", source, "--out", str(done.log_path), "--zone", "Asia/Tokyo", "--force")
    assert (status, error) == (0, "")
    assert done.stamps[0] == "2026-06-13T01:00:00.000000"


@pytest.mark.parametrize("fault", ["in the middle", "at the end"])
def test_a_failing_conversion_leaves_the_old_log_and_nothing_else(tmp_path, monkeypatch, fault):
    """However far it came, nothing half-written stays."""
    done = convert(tmp_path, text([HEADER, *rows(4)]))
    source, before = str(next(tmp_path.glob("export_*.csv"))), done.log_path.read_bytes()
    names = sorted(tmp_path.iterdir())

    def broken(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(
        f"shuntbook.ingest.log.log.LogWriter.{'write' if fault == 'in the middle' else 'finish'}", broken
    )
    status, _, error = shuntbook("convert", source, "--out", str(done.log_path), "--zone", "UTC", "--force")
    assert status == 3
    assert "No space left" in error
    assert done.log_path.read_bytes() == before
    assert sorted(tmp_path.iterdir()) == names


def test_the_export_itself_is_never_the_log(tmp_path):
    """Not even with --force."""
    export = tmp_path / "a.csv"
    export.write_text(text([HEADER, *rows(4)]))
    status, _, error = shuntbook("convert", str(export), "--out", str(export), "--force")
    assert status == 2
    assert "is the export itself" in error
    assert export.read_text() == text([HEADER, *rows(4)])


# --- times -----------------------------------------------------------------------------------------------------------


def test_rows_with_one_stamp_are_merged(tmp_path):
    """Quantities become their mean, counters their last value; they are no rejects."""
    lines = ["Time,Amps,Consumed Ah"]
    lines += [
        f"2026-06-13 10:00:0{s},{a},{c}"
        for s, a, c in [(0, 1, 0.1), (1, 2, 0.2), (1, 4, 0.3), (2, "", 0.4), (2, 7, ""), (3, 8, 0.5), (4, 9, 0.6)]
    ]
    done = convert(tmp_path, text(lines))
    assert done["current_A"].tolist() == [1, 3, 7, 8, 9]
    assert done["charge_Ah"].tolist() == [0.1, 0.3, 0.4, 0.5, 0.6]
    meta = done.log.meta
    assert (meta.rows_read, meta.rows_kept, meta.rows_merged, meta.rows_rejected) == (7, 5, 2, 0)


def test_several_rows_a_second_are_spread(tmp_path):
    """Whole-second stamps of a steady 4 Hz source are spread evenly; the first second ends full, the last begins so."""
    lines = ["Time,Amps"] + [f"2026-06-13 10:00:{(k + 2) // 4:02d},{k}" for k in range(20)]
    done = convert(tmp_path, text(lines))
    assert np.diff(done.time_us).tolist() == [250_000] * 19
    assert done.stamps[2] == "2026-06-13T10:00:01.000000"
    assert done["current_A"].tolist() == list(range(20))
    assert "spread evenly" in done.said


def test_minute_stamps_of_a_spreadsheet_are_spread(tmp_path):
    """A spreadsheet that saves no seconds does not cost 59 rows in 60."""
    lines = ["Time,Amps"] + [f"13/06/2026 10:{k // 12:02d},{k}" for k in range(60)]
    done = convert(tmp_path, text(lines))
    assert np.diff(done.time_us).tolist() == [5_000_000] * 59
    assert "several rows a minute" in done.said


def test_late_rows_are_put_in_their_place(tmp_path):
    """A few rows that come late are sorted in and counted."""
    lines = rows(200)
    late = lines[50:53]
    del lines[50:53]
    done = convert(tmp_path, text([HEADER, *lines[:97], *late, *lines[97:]]))
    assert done["current_A"].tolist() == list(range(200))
    assert "3 rows came late" in done.said


def test_a_clock_set_back_is_taken_out(tmp_path):
    """A long stretch that overlaps what is there was measured afterwards: it follows on, and the step is kept."""
    lines = [row(k, k) for k in range(600)] + [row(k - 300, k) for k in range(600, 1200)]
    done = convert(tmp_path, text([HEADER, *lines]))
    assert np.diff(done.time_us).tolist() == [1_000_000] * 1199
    assert done["current_A"].tolist() == list(range(1200))
    (step,) = done.log.meta.clock_steps
    assert step["step_s"] == 300
    assert step["at_us"] == us("2026-06-13T10:09:59")


# Folds and gaps: FACTS section 8, computed there with zoneinfo from tzdata 2026f.
FOLDS = [
    ("America/New_York", "2024-11-03 01:30", "2024-11-03T05:30", "2024-11-03T06:30"),
    ("Europe/London", "2024-10-27 01:30", "2024-10-27T00:30", "2024-10-27T01:30"),
    ("Europe/Berlin", "2024-10-27 02:30", "2024-10-27T00:30", "2024-10-27T01:30"),
    ("Australia/Lord_Howe", "2024-04-07 01:45", "2024-04-06T14:45", "2024-04-06T15:15"),  # half an hour
]


@pytest.mark.parametrize("newest_first", [False, True])
@pytest.mark.parametrize(("zone", "local", "first", "second"), FOLDS)
def test_an_hour_that_happens_twice_is_resolved_by_order(tmp_path, zone, local, first, second, newest_first):
    """Rows every 5 min through the night: each instant is there once, also where the newest row comes first."""
    start = us(first) - 3_600_000_000 * 3
    instants = np.arange(start, us(second) + 3_600_000_000 * 3, 300_000_000)
    stamps = [datetime.fromtimestamp(t / 1e6, ZoneInfo(zone)) for t in instants]
    lines = [f"{stamp:%Y-%m-%d %H:%M:%S},{k}" for k, stamp in enumerate(stamps)]
    assert sum(line.startswith(local) for line in lines) == 2
    content = text(["Time,Amps", *(lines[::-1] if newest_first else lines)])
    done = convert(tmp_path, content, options=("--zone", zone))
    assert done.time_us.tolist() == instants.tolist()
    assert done["current_A"].tolist() == list(range(len(lines)))
    assert "went through twice" in done.said
    assert done.log.meta.clock_steps == []


@pytest.mark.parametrize(
    ("zone", "stamp"), [("America/New_York", "2024-03-10 02:30"), ("Europe/London", "2024-03-31 01:30")]
)
def test_a_clock_time_that_never_was_is_rejected(tmp_path, zone, stamp):
    """It is not shifted silently."""
    day = stamp[:10]
    lines = [f"{day} 08:00:{k:02d},1" for k in range(40)]
    done = convert(tmp_path, text(["Time,Amps", f"{stamp}:00,1", *lines]), options=("--zone", zone))
    assert done.reject_lines == [2]
    assert "never was on the clocks" in done.rejects[0][1]


# RFC 3339 section 5.8; the epoch values are computed in FACTS section 8.
RFC_3339 = [
    ("1985-04-12T23:20:50.52Z", 482196050.52),
    ("1996-12-19T16:39:57-08:00", 851042397.0),
    ("1990-12-31T23:59:60Z", 662688000.0),
    ("1990-12-31T15:59:60-08:00", 662688000.0),
    ("1937-01-01T12:00:27.87+00:20", -1041337172.13),
]


@pytest.mark.parametrize(("stamp", "epoch_s"), RFC_3339)
def test_rfc_3339_examples(tmp_path, stamp, epoch_s):
    """The standard's own examples, alone in a file."""
    done = convert(tmp_path, text(["Time,Amps", f"{stamp},1.5"]))
    assert done.time_us.tolist() == [round(epoch_s * 1e6)]


def test_a_clock_without_date_passes_midnight(tmp_path):
    """From 23:59 to 00:00 a day has passed; with --start at midnight it is the time of day."""
    lines = ["Time,Amps", "23:59:58,1", "23:59:59,2", "00:00:00,3", "00:00:01,4"]
    done = convert(tmp_path, text(lines), options=("--start", "2026-06-13T00:00Z"))
    assert done.stamps[-1] == "2026-06-14T00:00:01.000000"
    assert np.diff(done.time_us).tolist() == [1_000_000] * 3


def test_elapsed_time_without_a_start_is_undated(tmp_path):
    """No date is made up; the notes and the words say so."""
    done = convert(tmp_path, text(["Time (s),Amps", *(f"{k},1" for k in range(5))]))
    assert done.log.meta.undated
    assert "no dates are known" in done.said


def test_the_zone_is_said_where_it_is_assumed(tmp_path):
    """Without --zone the computer's own is taken, said and recorded; with an offset in the stamps none is needed."""
    bare = convert(tmp_path, text([HEADER, *rows(4)]), options=())
    assert bare.log.meta.zone_assumed
    assert "--zone says another" in bare.said
    zoned = convert(tmp_path, text(["Time,Amps", "2026-06-13T10:00:00Z,1", "2026-06-13T10:00:01Z,1"]), options=())
    assert not zoned.log.meta.zone_assumed
    started = convert(tmp_path, text(["Time (s),Amps", "0,1", "1,2"]), options=("--start", "2026-06-13T10:00:00+02:00"))
    assert not started.log.meta.zone_assumed


@pytest.mark.parametrize(
    ("stamp", "names"),
    [
        ("05/06/2026 10:00:{:02d}", ["day/month/year", "month/day/year", "--dates d/m/y", "--dates m/d/y"]),
        ("26-06-13 10:00:{:02d}", ["year-month-day", "day/month/year", "--dates y-m-d"]),
        ("05/06/07 10:00:{:02d}", ["day/month/year", "month/day/year"]),
    ],
)
def test_ambiguous_dates_stop_and_name_the_option(tmp_path, stamp, names):
    """Nothing is guessed, and nothing written."""
    content = text(["Time,Amps", *(f"{stamp.format(k)},1" for k in range(5))])
    done = convert(tmp_path, content)
    assert done.status == 2
    assert all(name in done.error for name in names)
    assert not done.log_path.exists()
    option = names[-1].split()[-1] if names[-1].startswith("--dates") else "d/m/y"
    assert convert(tmp_path, content, options=("--zone", "UTC", "--dates", option)).status == 0


@pytest.mark.parametrize(
    ("dates", "days"),
    [
        (["05/06/2026", "06/06/2026", "13/06/2026"], ["2026-06-05", "2026-06-06", "2026-06-13"]),
        (["05/06/2026", "05/07/2026", "05/13/2026"], ["2026-05-06", "2026-05-07", "2026-05-13"]),
        (["05/06/07", "30/06/07"], ["2007-06-05", "2007-06-30"]),
        (["68-06-05", "69-06-13"], ["1969-06-13", "2068-06-05"]),  # POSIX strptime, %y: 69 to 99 are 1969 to 1999
    ],
)
def test_the_whole_file_decides_day_and_month(tmp_path, dates, days):
    """One date with a number above twelve is enough, wherever it stands: here beyond the first 64 KB."""
    lines = [f"{dates[0]} {k // 3600:02d}:{k // 60 % 60:02d}:{k % 60:02d},1" for k in range(9_000)]
    done = convert(tmp_path, text(["Time,Amps", *lines, *(f"{date} 23:00:00,1" for date in dates[1:])]))
    assert sorted({stamp[:10] for stamp in done.stamps}) == days


def test_stamps_with_and_without_offset_do_not_mix(tmp_path):
    """A row that says its offset among rows that do not is rejected, never read as local time."""
    lines = [f"2026-06-13 10:00:{k:02d},1" for k in range(40)]
    lines[7] = "2026-06-13 10:00:07Z,1"
    done = convert(tmp_path, text(["Time,Amps", *lines]), options=("--zone", "America/New_York"))
    assert done.reject_lines == [9]
    assert "no offset from UTC" in done.rejects[0][1]


# --- the gap limit and the notes -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("step_s", "limit_s"), [(1, 10), (2, 10), (2.5, 12.5), (60, 300)])
def test_the_gap_limit_is_five_times_the_usual_interval(tmp_path, step_s, limit_s):
    """Five times the 95th percentile of the intervals, at least 10 s (DESIGN section 5)."""
    lines = [f"{1_780_000_000 + k * step_s},1" for k in range(101)]
    lines += [f"{1_780_000_000 + 100 * step_s + k * 5_000},1" for k in (1, 2, 3)]  # less than 5 % of all: no influence
    done = convert(tmp_path, text(["epoch,amps", *lines]))
    assert done.log.meta.gap_limit_s == limit_s
    assert done.log.meta.usual_interval_s == step_s


@pytest.mark.parametrize(("options", "profile"), [(("--gap", "150s"), ""), ((), 'gap = "2m30s"\n')])
def test_a_stated_gap_limit_wins(tmp_path, options, profile):
    """By option or profile."""
    done = convert(tmp_path, text([HEADER, *rows(5)]), options=("--zone", "UTC", *options), profile=profile)
    assert done.log.meta.gap_limit_s == 150


def test_the_notes_are_complete(tmp_path):
    """Everything DESIGN section 4 asks for is in the metadata."""
    content = text([HEADER, *rows(50), "x,1,2"])
    done = convert(tmp_path, content, options=("--zone", "Europe/London", "--meter", "shed", "--reverse-sign"))
    notes = json.loads(pq.read_metadata(done.log_path).metadata[METADATA_KEY])
    assert notes["format"] == "1.0"
    assert notes["source"][0]["sha256"] == hashlib.sha256(content.encode()).hexdigest()
    assert notes["source"][0]["name"].startswith("export_")
    assert (notes["rows_read"], notes["rows_kept"], notes["rows_rejected"], notes["rows_merged"]) == (51, 50, 1, 0)
    assert (notes["meter"], notes["side"], notes["sampling"], notes["sign_applied"]) == ("shed", "dc", "instant", -1)
    assert (notes["zone"], notes["zone_assumed"], notes["undated"]) == ("Europe/London", False, False)
    assert notes["tool_version"] == package.__version__
    assert done["current_A"][3] == -3
    assert not np.signbit(done["current_A"][0])


def test_the_json_document(tmp_path):
    """The keys of the contract (DESIGN section 6)."""
    printed = document(tmp_path, text([HEADER, *rows(50), "x,1,2"]))
    assert {
        "log",
        "rows_read",
        "rows_kept",
        "rows_rejected",
        "rejects_file",
        "rows_merged",
        "dialect",
        "quantities",
        "time",
    } <= printed.keys()
    assert (printed["rows_read"], printed["rows_kept"], printed["rows_rejected"]) == (51, 50, 1)
    assert Path(str(printed["rejects_file"])).exists()


# --- the log as others find it ---------------------------------------------------------------------------------------


def test_a_folder_of_logs_opens_as_one(tmp_path):
    """By time, whatever their names; the counts are added up."""
    folder = tmp_path / "logs"
    folder.mkdir()
    for name, start in (("b", 0), ("a", 300)):
        export = tmp_path / f"{name}.csv"
        export.write_text(text([HEADER, *rows(100, start)]))
        assert shuntbook("convert", str(export), "--out", str(folder / f"{name}.parquet"), "--zone", "UTC")[0] == 0
    log = open_log(folder)
    assert (log.rows, log.meta.rows_kept) == (200, 200)
    assert [file.name for file in log.files] == ["b.parquet", "a.parquet"]
    frame = package.open_log(folder).to_pandas()
    assert frame.index.is_monotonic_increasing
    assert frame.columns.tolist() == ["current_A", "voltage_V"]


def stored_log(path: Path, start_s: int, *, volts: bool = False, **meta: object) -> None:
    """Write a small log with this metadata."""
    time_us = (start_s + np.arange(4)) * 1_000_000
    quantities = {"current_A": np.ones(4)} | ({"voltage_V": np.ones(4)} if volts else {})
    with new_log(path, list(quantities)) as writer:
        writer.write(to_batch(Readings(time_us, quantities)))
        writer.finish(LogMeta(**({"meter": "bank", "gap_limit_s": 10.0, "usual_interval_s": 1.0} | meta)))


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ({"meter": "shed"}, "meter shed, not bank"),
        ({"meter": None}, "meter unnamed, not bank"),
        ({"side": "ac"}, "side ac, not dc"),
        ({"sampling": "mean"}, "sampling mean, not instant"),
        ({"counter_kind": "moved"}, "counter moved, not net"),
        ({"undated": True}, "undated yes, not no"),
        ({"volts": True}, "quantities current_A, voltage_V, not current_A"),
    ],
)
def test_logs_of_different_meters_are_not_read_as_one(tmp_path, other, words):
    """The sentence says which file, what differs, and what to do."""
    stored_log(tmp_path / "a.parquet", 0)
    stored_log(tmp_path / "b.parquet", 100, **other)
    with pytest.raises(
        InputError, match=rf"b\.parquet: holds another meter's log \({words}\) than a\.parquet; name one"
    ):
        open_log(tmp_path)


def test_the_largest_gap_limit_of_a_folder_counts(tmp_path):
    """Whichever file it stands in; one that is missing is counted."""
    for k, limit_s in enumerate([30.0, 150.0, 10.0]):
        stored_log(tmp_path / f"{k}.parquet", 100 * k, gap_limit_s=limit_s)
    assert open_log(tmp_path).meta.gap_limit_s == 150
    stored_log(tmp_path / "3.parquet", 300, gap_limit_s=None)
    assert open_log(tmp_path).meta.gap_limit_s == 150


DAMAGED = [
    *[{name: 5} for name in ("meter", "side", "sampling", "zone", "profile", "tool_version", "capture_id", "undated")],
    *[{name: "text"} for name in ("gap_limit_s", "usual_interval_s", "rows_kept", "markers", "said", "source")],
    *[
        {"markers": wrong}
        for wrong in (5, [5], [[1]], [["1", "x"]], [[1, 5]], [[10**30, "x"]], {"1": "x"}, [True, "x"])
    ],
    *[{"clock_steps": wrong} for wrong in (5, [5], [{"at_us": 1}], [{"at_us": 1, "step_s": "x"}])],
    *[{"said": [5]}, {"source": [5]}, {"source": {}}, {"sign_applied": 2}, {"zone_assumed": "no"}, {"rows_read": -1}],
    *[{"counter_kind": "some"}, {"counter_kind": []}, {"zone": "Nowhere/Farm"}, {"zone": ""}, {"side": ["dc"]}],
    *[{"gap_limit_s": wrong} for wrong in (0, -5, True, [], float("inf"), float("nan"), 10**400)],
    *[{"format": wrong} for wrong in (None, [], "x", {})],
]


@pytest.mark.parametrize("wrong", [*DAMAGED, [], 5, "text", None], ids=lambda x: str(x)[:50])
def test_odd_notes_are_called_damaged(tmp_path, wrong):
    """Whatever kind of value stands where another belongs, the person gets the one sentence."""
    path = tmp_path / "a.parquet"
    stored_log(path, 0)
    table, stored = pq.read_table(path), pq.read_metadata(path).metadata[METADATA_KEY]
    notes = json.loads(stored) | wrong if isinstance(wrong, dict) else wrong
    pq.write_table(table.replace_schema_metadata({METADATA_KEY: json.dumps(notes).encode()}), path)
    with pytest.raises(InputError, match=r"a\.parquet: the log's notes \(metadata\) are damaged; convert"):
        open_log(path)


@pytest.mark.filterwarnings("error")
def test_infinity_in_a_foreign_log_is_no_reading(tmp_path):
    """Nor is what no sum could hold: it is NaN, as if the meter had given nothing; what is beside it stays."""
    time = pa.array([k * 1_000_000 for k in range(5)], pa.timestamp("us", tz="UTC"))
    pq.write_table(pa.table({"time": time, "current_A": [1.0, np.inf, -np.inf, None, 1e300]}), tmp_path / "a.parquet")
    (part,) = open_log(tmp_path / "a.parquet").scan()
    np.testing.assert_array_equal([1.0, *[np.nan] * 4], part.quantities["current_A"])


def test_a_newer_format_is_refused(tmp_path):
    """With a sentence that says what to do; a newer minor version is read."""
    done = convert(tmp_path, text([HEADER, *rows(4)]))
    table, stored = pq.read_table(done.log_path), pq.read_metadata(done.log_path).metadata[METADATA_KEY]
    for version, is_read in (("1.9", True), ("2.0", False)):
        notes = json.loads(stored) | {"format": version, "unheard_of": 1}
        pq.write_table(table.replace_schema_metadata({METADATA_KEY: json.dumps(notes).encode()}), done.log_path)
        if is_read:
            assert open_log(done.log_path).rows == 4
        else:
            with pytest.raises(InputError, match=r"newer shuntbook.*update"):
                open_log(done.log_path)


def test_foreign_parquet(tmp_path):
    """With a time in UTC and known columns it is read, its gap limit worked out; anything else is refused."""
    time = pa.array([1_780_000_000_000_000 + k * 60_000_000 for k in range(10)], pa.timestamp("us", tz="UTC"))
    good, bad = tmp_path / "good.parquet", tmp_path / "bad.parquet"
    amps = pa.array(np.arange(10.0))
    pq.write_table(pa.table({"time": time, "current_A": amps, "mood": amps}), good)
    log = open_log(good)
    assert log.quantities == ("current_A",)
    assert (log.meta.gap_limit_s, log.meta.usual_interval_s) == (300, 60)
    for columns, words in [
        ({"time": time, "amps": amps}, "none of the quantities"),
        ({"current_A": amps}, "no column 'time'"),
        ({"time": pa.array(range(10)), "current_A": amps}, "no column 'time'"),
        ({"time": time.cast(pa.timestamp("ns", tz="UTC")), "current_A": amps}, "microseconds in UTC"),
        ({"time": time, "current_A": amps.cast(pa.float32())}, "float64"),
    ]:
        pq.write_table(pa.table(columns), bad)
        with pytest.raises(InputError, match=words):
            open_log(bad)


# --- profiles --------------------------------------------------------------------------------------------------------

#: The example that people copy.
PROFILE = (SAMPLES / "profile.toml").read_text(encoding="utf-8")


def test_the_profile_of_the_samples(tmp_path):
    """A table of foreign words, an unsigned current with a letter for its direction."""
    lines = ["Messung Nr. 7", "", "Datum;Uhrzeit;Strom;Richtung;Spannung"]
    lines += [
        "13.06.2026;10:00:00;1.500,5;E;12,5",
        "13.06.2026;10:00:01;250,0;L;12,75",
        "13.06.2026;10:00:02;0,0;-;13,0",
    ]
    done = convert(tmp_path, text(lines), options=(), profile=PROFILE)
    assert done["current_A"].tolist() == [1.5005, -0.25, 0.0]
    assert done["voltage_V"].tolist() == [12.5, 12.75, 13.0]
    assert done.stamps[0] == "2026-06-13T08:00:00.000000"
    assert done.log.meta.profile == "bench supply, German export"
    assert done.log.meta.gap_limit_s == 30


def test_an_unknown_direction_letter_is_rejected(tmp_path):
    """A current whose way is not known is no reading."""
    lines = ["", "", "Datum;Uhrzeit;Strom;Richtung;Spannung"]
    lines += [f"13.06.2026;10:{k // 60:02d}:{k % 60:02d};1,5;{'?' if k == 9 else 'E'};12,5" for k in range(60)]
    done = convert(tmp_path, text(lines), profile=PROFILE)
    assert done.reject_lines == [13]
    assert "none of the profile's draw, return and none" in done.rejects[0][1]


def test_two_ways_of_a_current_in_two_columns(tmp_path):
    """They are never taken one without the other, by their names or a profile, and an empty cell counts as 0."""
    lines = ["Time,Discharge current [mA],Charge current [mA]"]
    lines += [
        f"2026-06-13 10:00:0{k},{out},{into}"
        for k, (out, into) in enumerate([(1500, 0), (0, 250), ("", 500), (750, "")])
    ]
    profile = '[quantities.current_A]\ncolumn = "Discharge current [mA]"\nminus = "Charge current [mA]"\n'
    for stated in ("", profile):
        done = convert(tmp_path, text(lines), profile=stated)
        assert done["current_A"].tolist() == [1.5, -0.25, -0.5, 0.75]
        assert "less 'Charge current [mA]' in mA" in done.said


def test_scale_offset_and_sign_of_a_profile(tmp_path):
    """(cell x scale + offset) in the unit, then the sign; the column's own unit holds where none is stated."""
    profile = '[quantities.current_A]\ncolumn = "shunt mV"\nunit = "A"\n'
    profile += 'scale = 10.0\noffset = 0.5\nsign = "return_positive"\n'
    profile += '[quantities.voltage_V]\ncolumn = "Pack (mV)"\n'
    lines = ["Time,shunt mV,Pack (mV)", *(f"2026-06-13 10:00:0{k},{k}.25,12500" for k in range(3))]
    done = convert(tmp_path, text(lines), profile=profile)
    assert done["current_A"].tolist() == [-3.0, -13.0, -23.0]
    assert done["voltage_V"].tolist() == [12.5] * 3


@pytest.mark.parametrize(
    ("profile", "words"),
    [
        ('[quantities.current_A]\ncolumn = "Strom"\n', "the header has 'Time', 'Amps', 'Amps'"),
        ("[quantities.current_A]\ncolumn = 9\n", "there are only 3 columns"),
        ('[quantities.current_A]\ncolumn = "Amps"\n', "columns 2 and 3 are called so"),
        ('[quantities.current_A]\ncolumn = 2\nunit = "furlong"\n', "unit 'furlong' is not known"),
        ('[quantities.current_A]\ncolumn = 2\nunit = "kW"\n', "is a unit of power, not of current"),
        ("[quantities.current_a]\ncolumn = 2\n", "is no quantity"),
        ('[time]\ncolumn = 1\nstyle = "d/m/y h"\n', "time.style"),
        ('[quantities.current_A]\ncolumn = 2\n[time]\ncolumn = 2\nstyle = "d/m/y"\n', "are no such dates"),
        ("[time]\ndate = 1\n", "name either column, or both date and clock"),
        (
            '[quantities.current_A]\ncolumn = 2\nminus = 3\ndirection = {column = 3, draw = ["D"]}\n',
            "minus or direction",
        ),
        (
            '[file]\nencoding = "klingon"\n[quantities.current_A]\ncolumn = 2\n',
            "file.encoding: is no encoding that exports are written in",
        ),
    ],
)
def test_mistakes_in_a_profile(tmp_path, profile, words):
    """Each says where it is and what would be right; nothing is written."""
    content = text(["Time,Amps,Amps", *(f"2026-06-13 10:00:0{k},1,2" for k in range(5))])
    done = convert(tmp_path, content, profile=profile)
    assert done.status == 2
    assert words in done.error
    assert not done.log_path.exists()


# --- what real exports do --------------------------------------------------------------------------------------------


def refuse_or_read(folder: Path, lines: list[str]) -> object:
    """Return the error, or the currents."""
    done = convert(folder, text(lines))
    return done.error if done.status else done["current_A"].tolist()


def test_a_decimal_comma_without_quotes_between_commas_is_refused(tmp_path):
    """1,25 A must not become 1 A."""
    lines = ["Time,Current", *(f"2026-06-13 10:00:0{k},1,25" for k in range(5))]
    assert "names 2 columns, but the rows below have 3 fields" in str(refuse_or_read(tmp_path, lines))


def test_grouped_thousands_and_decimal_commas_are_told_apart(tmp_path):
    """By the other columns, or the person is asked; never by chance."""
    stamp = "2026-06-13 10:00:0{};"
    alone = ["Time;Current (mA)", *(stamp.format(k) + "1,250" for k in range(5))]
    assert "--decimal comma or --decimal point" in str(refuse_or_read(tmp_path, alone))
    comma = ["Time;Current (mA);Volts", *(stamp.format(k) + "1,250;12,5" for k in range(5))]
    assert refuse_or_read(tmp_path, comma) == [0.00125] * 5
    point = ["Time;Current (mA);Volts", *(stamp.format(k) + "1,250;12.5" for k in range(5))]
    assert refuse_or_read(tmp_path, point) == [1.25] * 5
    german = ["Time;Current (mA);Volts", *(stamp.format(k) + "1.250;12,5" for k in range(5))]
    assert refuse_or_read(tmp_path, german) == [1.25] * 5


@pytest.mark.parametrize("damaged", ["-0.0", "00.00", "1.2"])
def test_a_damaged_cell_does_not_decide_the_decimal_mark(tmp_path, damaged):
    """In a column of decimal commas before three digits each: the other column decides, or the person is asked."""
    lines = [f"2026-06-13 10:00:{k:02d};{20 + k},{100 + k};24,{10 + k}" for k in range(40)]
    lines[20] = f"2026-06-13 10:00:20;{damaged};24,30"
    done = convert(tmp_path, text(["Time;Current (A);Voltage (V)", *lines]))
    assert done["current_A"][0] == 20.1
    assert done.reject_lines == [22]
    alone = [line.rpartition(";")[0] for line in lines]
    asked = convert(tmp_path, text(["Time;Current (mA)", *alone]))
    assert asked.status == 2
    assert "--decimal comma" in asked.error


def test_a_damaged_line_that_is_alone_in_its_block_is_a_reject(tmp_path):
    """Nothing is left to parse then: here a line end is missing, and the last block is read by itself."""
    done = convert(tmp_path, text([HEADER, *rows(40)]) + '2026-06-13 11:00:00.000,1".5,12.5')
    assert done.reject_lines == [42]
    assert len(done.time_us) == 40


def test_a_huge_cell_is_told_in_short(tmp_path):
    """It is among the rejects; the sentence has its beginning."""
    done = convert(tmp_path, text([HEADER, *rows(9), f"2026-06-13 10:00:30,{'x' * 5000},12.5"]))
    assert done.status == 2
    assert "found 'xxx" in done.error
    assert len(done.error) < 600


def test_a_last_line_without_an_end_may_be_of_any_length(tmp_path):
    """It may have been cut short, and is left out."""
    done = convert(tmp_path, text([HEADER, *rows(40)]).rstrip("\n") + "\n2026-06-13 11:00:00," + "9" * 200_000)
    assert done.reject_lines == [42]
    assert len(done.time_us) == 40


@pytest.mark.parametrize(("end", "is_cut"), [("2026-06-13 11:0", True), ("", False), ("nonsense,x,y\n", False)])
def test_an_export_that_breaks_off_says_so_first(tmp_path, end, is_cut):
    """With the log, and so at each look at it; a whole one, or a row that cannot be read, was not cut short."""
    done = convert(tmp_path, text([HEADER, *rows(40)]).rstrip("\n") + "\n" + end)
    assert done.status == 0, done.error
    remarks = done.log.meta.remarks
    assert remarks[:1] == ["the export seems to end in the middle of a line: perhaps it was cut short"][: int(is_cut)]


@pytest.mark.parametrize("cell", ["1,250", "1.250"])
def test_a_mark_beyond_the_sample_is_asked_about(tmp_path, cell):
    """If the first 64 KB hold none, a later 1,250 could be a group: it stops there, and names line and options."""
    lines = ["epoch;Power (W)", *(f"{1_780_000_000 + k};120" for k in range(12_000)), f"1780012000;{cell}"]
    asked = convert(tmp_path, text(lines))
    assert asked.status == 2
    assert "line 12002" in asked.error
    assert "--decimal comma or --decimal point" in asked.error
    group = {",": "point", ".": "comma"}[cell[1]]
    for decimal, watts in ((group, 1250.0), ({"point": "comma", "comma": "point"}[group], 1.25)):
        assert convert(tmp_path, text(lines), options=("--decimal", decimal))["power_W"][-1] == watts


def test_a_mark_beyond_the_sample_that_can_only_be_a_decimal_is_read(tmp_path):
    """It settles those before three digits, too."""
    lines = [
        "epoch;Power (W)",
        *(f"{1_780_000_000 + k};120" for k in range(12_000)),
        "1780012000;0.5",
        "1780012001;1.250",
    ]
    assert convert(tmp_path, text(lines))["power_W"][-1] == 1.25


@pytest.mark.parametrize(
    "cell",
    ["12 5", "1_000", "0x1F", "1.2.3", "--5", "-5-", "1e", "e5", "(-5)", "5 V", "inf", "1e999", "1e308", "-1e16"],
)
def test_a_cell_that_is_no_number_is_rejected(tmp_path, cell):
    """Nothing is made of it."""
    lines = [f"2026-06-13 10:{k // 60:02d}:{k % 60:02d},{cell if k == 9 else '1.5'}" for k in range(60)]
    done = convert(tmp_path, text(["Time,Current (A)", *lines]))
    assert done.reject_lines == [11]


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("+1.5", 1.5),
        (".5", 0.5),
        ("5.", 5.0),
        ("1e-3", 1e-3),
        ("−2", -2.0),
        (" 3.25 ", 3.25),
        ("'4", 4.0),
        ("1 250.5", 1250.5),
        ("1'250", 1250.0),
    ],
)
def test_a_cell_that_is_a_number_in_another_dress(tmp_path, cell, value):
    """It is read, alone among plain ones."""
    lines = [f"2026-06-13 10:00:{k:02d},{cell if k == 9 else '1.5'}" for k in range(60)]
    assert convert(tmp_path, text(["Time,Current (A)", *lines]))["current_A"][9] == value


def test_a_column_of_whole_numbers_is_no_time(tmp_path):
    """An index that rises like elapsed seconds is not taken for the time, nor is a temperature called T."""
    lines = ["No,T [degC],Stamp,I [A]", *(f"{k},{k},2026-06-13 10:00:{k:02d},1.5" for k in range(20))]
    assert convert(tmp_path, text(lines)).stamps[-1] == "2026-06-13T10:00:19.000000"
    without = ["No,T [degC],I [A]", *(f"{k},{k},1.5" for k in range(20))]
    assert "holds times" in str(refuse_or_read(tmp_path, without))


@pytest.mark.parametrize(
    ("above", "header_line"),
    [
        (["Name,Shed,"], 2),
        (["Name,Shed,", "Firmware,1.2,"], 3),
        (["Shunt,500,0.1", "Range,100,200"], 3),
        (["Battery,,"], 2),
        (["Serial,12345", "Started,2026-06-13 09:00"], 3),
    ],
)
def test_a_preamble_is_not_taken_for_the_header(tmp_path, above, header_line):
    """Whatever its width: not even where the header itself is made of units."""
    lines = [*above, "Time,A,V", *(f"2026-06-13 10:00:{k:02d},{k},12.5" for k in range(20))]
    done = convert(tmp_path, text(lines), options=("--zone", "UTC", "--explain"))
    assert f"header on line {header_line}" in done.said
    assert done["current_A"].tolist() == list(range(20))


@pytest.mark.parametrize("units", ["s,A,V", "[s],[A],[V]", ",A,V", "hh:mm:ss,(A),(V)"])
def test_a_units_row_is_not_taken_for_the_header(tmp_path, units):
    """Foreign words above it stay the names, so that a profile finds its columns."""
    lines = ["Zeit,Strom,Spannung", units, *(f"2026-06-13 10:00:{k:02d},{k},12.5" for k in range(20))]
    profile = '[quantities.current_A]\ncolumn = "Strom"\n'
    assert convert(tmp_path, text(lines), profile=profile)["current_A"].tolist() == list(range(20))


def test_empty_and_wordy_columns_do_not_matter(tmp_path):
    """Nor does a mostly empty optional column, or one named like a quantity that holds words."""
    lines = ["Time,Power,Current,Battery current,Temp,Note"]
    lines += [f'2026-06-13 10:{k // 60:02d}:{k % 60:02d},on,,{k},{20 if k == 70 else ""},"a, b"' for k in range(90)]
    done = convert(tmp_path, text(lines))
    assert done["current_A"].tolist() == list(range(90))
    assert np.isnan(done["temperature_degC"]).sum() == 89
    assert "power_W" not in done.log.quantities


def test_two_powers_do_not_stop_current_and_voltage(tmp_path):
    """What is not needed is left out, and that is said."""
    lines = ["Time,Amps,Volts,Power 1,Power 2", *(f"2026-06-13 10:00:0{k},1,12,12,13" for k in range(5))]
    done = convert(tmp_path, text(lines))
    assert done.log.quantities == ("current_A", "voltage_V")
    assert "neither is taken" in done.said
    alone = ["Time,Power 1,Power 2", *(f"2026-06-13 10:00:0{k},12,13" for k in range(5))]
    assert convert(tmp_path, text(alone)).status == 2


@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("end", ["\n", ""])
def test_very_short_exports(tmp_path, count, end):
    """One, two or three rows are a log, with or without a last line end."""
    done = convert(
        tmp_path, "\n".join(["Time,Current (A)", *(f"2026-06-13 10:00:0{k},1.5" for k in range(count))]) + end
    )
    assert len(done.time_us) == count
    assert done.log.meta.gap_limit_s == 10


def test_very_long_lines(tmp_path):
    """A comment of 100 kB in every tenth row is passed over."""
    lines = [f'2026-06-13 10:00:{k:02d},{k},"{"x" * 100_000 if k % 10 == 9 else ""}"' for k in range(60)]
    done = convert(tmp_path, text(["Time,Amps,Comment", *lines]))
    assert done["current_A"].tolist() == list(range(60))


def test_a_damaged_stamp_among_the_first_rows_hides_nothing(tmp_path):
    """Not even in the very first row."""
    lines = rows(60)
    lines[0] = "####,0,12.5"
    done = convert(tmp_path, text([HEADER, *lines]))
    assert done.reject_lines == [2]
    assert len(done.time_us) == 59


def test_dates_without_a_clock_are_refused(tmp_path):
    """A day's rows are not merged into one; one row a day is fine."""
    lines = ["Date,Amps", *(f"2026-06-13,{k}" for k in range(5))]
    assert "no time of day" in str(refuse_or_read(tmp_path, lines))
    daily = ["Date,Amps", *(f"2026-06-{13 + k},{k}" for k in range(5))]
    assert refuse_or_read(tmp_path, daily) == [0, 1, 2, 3, 4]


def test_a_profile_says_what_a_clock_of_two_numbers_is(tmp_path):
    """Minutes and seconds, or hours and minutes."""
    lines = ["Time,Amps", *(f"{k // 60}:{k % 60:02d},{k}" for k in range(90))]
    for style, step_us in (("m:s", 1_000_000), ("h:m:s", 60_000_000)):
        stated = convert(tmp_path, text(lines), profile=f'[time]\ncolumn = "Time"\nstyle = "elapsed {style}"\n')
        assert np.diff(stated.time_us)[0] == step_us


def test_rows_of_several_meters_in_turns_are_refused(tmp_path):
    """Mixed together they are no log; a column that names one meter, or each after the other, is fine."""
    turns = ["Device,Time,Amps", *(f"{'ab'[k % 2]},2026-06-13 10:00:{k // 2:02d},{k % 2 * 10}" for k in range(40))]
    assert "a log holds one meter" in str(refuse_or_read(tmp_path, turns))
    one = ["Device,Time,Amps", *(f"a,2026-06-13 10:00:{k:02d},{k}" for k in range(40))]
    assert refuse_or_read(tmp_path, one) == list(range(40))


def test_exports_that_overlap_are_joined(tmp_path):
    """An hour that stands in both of two exports counts once."""
    done = convert(tmp_path, text([HEADER, *rows(400)]), text([HEADER, *[row(k, k) for k in range(200, 600)]]))
    assert np.diff(done.time_us).tolist() == [1_000_000] * 599
    assert done.log.meta.clock_steps == []


def test_files_that_tell_time_differently_are_not_joined(tmp_path):
    """A file in UTC and one in local time must not be read by the first one's clock."""
    with_z = text(["Time,Amps", *(f"2026-06-13T10:00:0{k}Z,1" for k in range(5))])
    without = text(["Time,Amps", *(f"2026-06-13 11:00:0{k},1" for k in range(5))])
    done = convert(tmp_path, with_z, without)
    assert done.status == 2
    assert "tells the time in another way" in done.error


def test_epoch_zero_of_a_clock_not_yet_set_is_rejected(tmp_path):
    """Rows from 1970 would make a gap of half a century."""
    lines = ["epoch,amps", "0,1", "1,1", *(f"{1_780_000_000 + k},1" for k in range(60))]
    done = convert(tmp_path, text(lines))
    assert done.reject_lines == [2, 3]


def test_rejects_file_survives_odd_text(tmp_path):
    """Quotes, commas and foreign letters come back as they were."""
    odd = 'gemüse,"a ""b"" c",12.5'
    done = convert(tmp_path, text([HEADER, *rows(40), odd]))
    assert done.rejects[0][2] == odd
    path = done.log_path.with_name(done.log_path.name + ".rejects.csv")
    assert path.read_text(encoding="utf-8").splitlines()[0] == "file,line,reason,text"


def test_a_meter_that_writes_only_changes_is_asked_what_a_reading_stands_for(tmp_path):
    spacings_s = np.tile([7, 60, 240, 15, 600, 90], 14)
    at = datetime(2026, 6, 13, 10) + np.cumsum(spacings_s) * timedelta(seconds=1)
    text = "Time,Current (A)\n" + "".join(f"{t:%Y-%m-%d %H:%M:%S},{31.5 * (k % 2)}\n" for k, t in enumerate(at))
    error = convert(tmp_path, text).error
    assert "--sampling held" in error and "--sampling instant" in error
    for sampling in ("held", "instant"):
        done = convert(tmp_path, text, options=("--zone", "UTC", "--sampling", sampling))
        assert done.log.meta.sampling == sampling
    # A row every minute is no such meter's, whatever it reads.
    even = "Time,Current (A)\n" + "".join(f"2026-06-13 10:{k:02d}:00,{31.5 * (k % 2)}\n" for k in range(60))
    assert not convert(tmp_path, even).error
