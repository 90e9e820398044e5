"""In a notebook: a log, or a stretch of it, as a DataFrame; the same readings that scan gives."""

import shutil
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from telling import told

import shuntbook
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.events import Reading
from shuntbook.ingest.journal.journal import Journal
from shuntbook.ingest.log.meta import LogMeta

NINE_US = 1_781_341_200_000_000  # 2026-06-13T09:00:00Z, 10:00 by London's clock


@pytest.fixture
def log(tmp_path, capsys):
    """Two hours, a reading a minute; the voltage is missing at the first."""
    rows = [f"2026-06-13T{9 + m // 60:02d}:{m % 60:02d}:00Z,{m},{'' if m == 0 else 25}" for m in range(120)]
    return converted(tmp_path, capsys, ["time,current [A],voltage [V]", *rows], "--zone", "Europe/London")


def converted(folder, capsys, rows, *more):
    """A log made from rows of an export."""
    export, log = folder / "meter.csv", folder / "meter.parquet"
    export.write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert told(capsys, "convert", export, "--out", log, *more)[0] == 0
    return log


def test_a_frame_holds_what_the_log_holds(log):
    """All readings and quantities, NaN where there is none, indexed by time in UTC to the microsecond."""
    frame = shuntbook.open_log(log).to_pandas()
    assert list(frame) == ["current_A", "voltage_V"]
    assert frame["current_A"].tolist() == list(range(120))
    assert frame["voltage_V"].isna().tolist() == [True] + [False] * 119
    assert (frame.index.name, str(frame.index.dtype)) == ("time", "datetime64[us, UTC]")
    assert frame.index[0] == pd.Timestamp(NINE_US, unit="us", tz="UTC")


@pytest.mark.parametrize(
    ("start", "stop"),
    [
        ("2026-06-13T10:30", "2026-06-13T11:00"),  # London's clock
        ("2026-06-13T09:30:00Z", "2026-06-13T12:00+02:00"),
        (datetime(2026, 6, 13, 9, 30, tzinfo=UTC), datetime(2026, 6, 13, 11, 0)),
    ],
)
def test_a_stretch_is_cut_by_the_logs_clock(log, start, stop):
    """Both ends are included; a time without a zone is one of the log's."""
    frame = shuntbook.open_log(log).to_pandas(["current_A"], start=start, stop=stop)
    assert list(frame) == ["current_A"]
    assert frame["current_A"].tolist() == list(range(30, 61))


def test_a_folder_of_files_is_one_frame(tmp_path, capsys):
    """Files of one meter follow each other by time, whatever their names and the order of their columns."""
    folder = tmp_path / "logs"
    folder.mkdir()
    for name, hour in (("a", 10), ("b", 9)):
        rows = [f"2026-06-13T{hour:02d}:{m:02d}:00Z,{25 + m / 60:.3f},{hour * 10 + m / 10:.1f}" for m in range(60)]
        shutil.move(converted(tmp_path, capsys, ["time,voltage [V],current [A]", *rows]), folder / f"{name}.parquet")
    frame = shuntbook.open_log(folder).to_pandas()
    assert (frame["current_A"] * 10).round().tolist() == [*range(900, 960), *range(1000, 1060)]
    assert frame.index.is_monotonic_increasing


def test_an_unfinished_capture_is_completed_first(tmp_path):
    """A journal that was left behind becomes the log, and the log a frame."""
    path = tmp_path / "pump.parquet"
    with closing(Journal(path, LogMeta(), ("current_A",))) as journal:
        for n in range(50):
            journal.append_reading(Reading(NINE_US + n * 1_000_000, {"current_A": float(n)}))
    opened = shuntbook.open_log(path)
    assert opened.completed
    assert opened.to_pandas()["current_A"].tolist() == list(range(50))


def test_a_log_without_dates_is_indexed_by_elapsed_time(tmp_path, capsys):
    """No dates are made up; a stretch is given by time since the start."""
    log = converted(tmp_path, capsys, ["elapsed [s],current [A]", *(f"{s},{s}" for s in range(0, 300, 5))])
    opened = shuntbook.open_log(log)
    frame = opened.to_pandas(start=timedelta(minutes=1), stop=timedelta(seconds=75))
    assert frame.index.name == "elapsed"
    assert frame.index.total_seconds().tolist() == frame["current_A"].tolist() == [60, 65, 70, 75]
    with pytest.raises(InputError, match="has no dates; give start and stop as timedelta"):
        opened.to_pandas(start="2026-06-13T10:30")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ({"quantities": ["power_W"]}, "has no power_W; it holds current_A, voltage_V"),
        ({"start": "10:30"}, "'10:30' is no date and time"),
        ({"stop": timedelta(minutes=1)}, "is no date and time"),
    ],
)
def test_what_cannot_be_is_one_sentence(log, words, said):
    """The log's name, and what is wrong."""
    with pytest.raises(InputError, match=said):
        shuntbook.open_log(log).to_pandas(**words)


def test_a_damaged_log_is_one_sentence(log):
    """Bytes changed after it was opened do not end in a traceback of another library."""
    opened, content = shuntbook.open_log(log), bytearray(log.read_bytes())
    content[8:200] = bytes(192)
    log.write_bytes(content)
    with pytest.raises(InputError, match="this log is damaged"):
        opened.to_pandas()


def test_an_empty_stretch_is_an_empty_frame(log):
    """Columns and kind of index stay."""
    frame = shuntbook.open_log(log).to_pandas(start="2027-01-01")
    assert (len(frame), list(frame), str(frame.index.dtype)) == (0, ["current_A", "voltage_V"], "datetime64[us, UTC]")
    assert all(dtype == np.float64 for dtype in frame.dtypes)


def test_pandas_is_loaded_only_for_a_frame(log):
    """Opening a log wakes no pandas."""
    code = f"import sys, shuntbook; log = shuntbook.open_log({str(log)!r}); print('pandas' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
