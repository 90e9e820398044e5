"""Two clocks in a row are held against each other to the last row, and what does not agree is told."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from exporting import convert

BEGIN = datetime(2026, 6, 13, 9, 30)


def told(tmp_path, head, row, *, rows=6000, zone="UTC"):
    return [note for note in converted(tmp_path, head, row, rows, zone).log.meta.moved if "does not go with" in note]


def converted(tmp_path, head, row, rows, zone="UTC"):
    lines = [f"{row(k)},{k % 7}.5" for k in range(rows)]
    return convert(tmp_path, "\n".join([f"{head},Current (A)", *lines]) + "\n", options=("--zone", zone))


def test_clocks_that_agree_are_not_spoken_of(tmp_path):
    def both(k):
        return f"{BEGIN + timedelta(seconds=10 * k):%Y-%m-%d %H:%M:%S},{10.0005 * k:.1f}"

    assert told(tmp_path, "Time,Elapsed (s)", both) == []


@pytest.mark.parametrize("behind_s", [-3000, 3600])
def test_a_clock_that_was_set_far_behind_the_sample_is_told_with_its_line(tmp_path, behind_s):
    def both(k):
        return f"{BEGIN + timedelta(seconds=10 * k + (behind_s if k >= 5000 else 0)):%Y-%m-%d %H:%M:%S},{10 * k}"

    assert "from line 5002 on the clock of 'Elapsed (s)'" in told(tmp_path, "Time,Elapsed (s)", both)[0]


def test_summer_time_and_one_damaged_row_are_no_disagreement(tmp_path):
    begin = datetime(2025, 10, 26, 0, 30, tzinfo=UTC)

    def both(k):
        t = begin + timedelta(seconds=10 * k)
        local = t + timedelta(hours=2 if k < 180 else 1)
        return f"{t:%Y-%m-%d %H:%M:%S}Z,{'2031-01-01 00:00:00' if k == 50 else f'{local:%Y-%m-%d %H:%M:%S}'}"

    assert told(tmp_path, "Time UTC,Local time", both, rows=800) == []


def test_a_count_that_begins_anew_is_no_clock_of_the_whole(tmp_path):
    def both(k):
        return f"{BEGIN + timedelta(seconds=10 * k):%Y-%m-%d %H:%M:%S},{10 * (k % 5000)}"

    assert told(tmp_path, "Time,Elapsed (s)", both) == []


def test_a_clock_that_stands_still_beside_one_that_goes_on_is_refused(tmp_path):
    """Each of its two stamps stands for an hour: spread over a minute, amps would be a sixtieth of what flowed."""

    def both(k):
        return f"{BEGIN + timedelta(days=k // 360):%Y-%m-%d %H:%M:%S},{10 * k}"

    done = converted(tmp_path, "Time,Elapsed (s)", both, 720)
    assert done.status == 2
    assert re.search(r"line \d+: the clock of 'Time' stands still while that of 'Elapsed \(s\)' goes on", done.error)


def test_a_count_that_jumps_within_one_minute_is_no_standing_clock(tmp_path):
    """It is told, as the clock of the dates is taken; no row is lost."""

    def both(k):
        return f"{BEGIN + timedelta(seconds=10 * k):%Y-%m-%d %H:%M:00},{10 * k + 3600 * (k >= 3002)}"

    assert "'Elapsed (s)' does not go with" in told(tmp_path, "Time,Elapsed (s)", both)[0]
