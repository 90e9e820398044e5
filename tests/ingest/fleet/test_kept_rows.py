"""What a long run has finished outlives it, whatever ends it."""

import os
from pathlib import Path

import pytest

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.fleet import finished_rows
from shuntbook.ingest.fleet.finished_rows import KeptRows, rows_path

ROWS = [{"log": f"{name}.parquet", "of": ["1", None], "x": 0.1 * k} for k, name in enumerate("abc")]


def rows_of(result):
    """The rows that the next run finds."""
    with KeptRows(result, "test") as rows:
        return list(rows.rows.values())


def test_rows_come_back_exactly_and_the_last_of_a_name_counts(tmp_path):
    """Floats to the last bit, and a row that was worked out again replaces the older."""
    result = tmp_path / "x.parquet"
    with KeptRows(result, "test") as rows:
        rows.keep(ROWS)
        rows.keep([{**ROWS[0], "x": 1 / 3}])
    assert rows_of(result) == [{**ROWS[0], "x": 1 / 3}, *ROWS[1:]]


def test_cut_off_anywhere_all_whole_rows_are_kept(tmp_path):
    """A crash or a power cut may end the file at any byte: what stood before counts, and the next run goes on."""
    result = tmp_path / "x.parquet"
    with KeptRows(result, "test") as rows:
        rows.keep(ROWS)
    whole = rows_path(result).read_bytes()
    for size in range(len(whole) + 1):
        rows_path(result).write_bytes(whole[:size])
        lines = whole[:size].count(b"\n")
        assert rows_of(result) == ROWS[: max(lines - 1, 0)]
        with KeptRows(result, "test") as rows:
            rows.keep(ROWS[2:])
        assert rows_of(result)[-1] == ROWS[2]


def test_zeros_that_a_disk_left_behind_are_passed_over(tmp_path):
    """After a power cut a file may end in zeros instead of what was last written."""
    result = tmp_path / "x.parquet"
    with KeptRows(result, "test") as rows:
        rows.keep(ROWS[:1])
    with rows_path(result).open("ab") as file:
        file.write(b"\0" * 1000)
    assert rows_of(result) == ROWS[:1]


def test_another_file_in_its_place_is_left_alone(tmp_path):
    """What is not ours is not appended to, and says so."""
    path = rows_path(tmp_path / "x.parquet")
    for text in (b"my notes\n", b"my notes", b'{"kept for": "y.parquet", "rows of": "test"}\n'):
        path.write_bytes(text)
        with pytest.raises(InputError, match="no file of finished rows"):
            KeptRows(tmp_path / "x.parquet", "test")
        assert path.read_bytes() == text


def test_only_one_run_writes(tmp_path):
    """A second run with the same result is refused at once, and harms nothing."""
    result = tmp_path / "x.parquet"
    with KeptRows(result, "test") as rows:
        with pytest.raises(InputError, match="another run"):
            KeptRows(result, "test")
        rows.keep(ROWS)
    assert rows_of(result) == ROWS


def test_tidying_leaves_what_is_wanted_in_order(tmp_path):
    """Rows of logs that are gone are dropped, and so are older ones of the same name."""
    result = tmp_path / "x.parquet"
    with KeptRows(result, "test") as rows:
        rows.keep([*reversed(ROWS), ROWS[0]])
        rows.tidy({"a.parquet": None, "c.parquet": None})
    assert rows_of(result) == [ROWS[0], ROWS[2]]
    assert rows_path(result).read_bytes().count(b"\n") == 3


def test_tidied_where_an_open_file_keeps_its_name(tmp_path, monkeypatch):
    """As on Windows: nothing takes the place of a file that is open."""
    replace = Path.replace

    def replace_closed(self, target):
        held = {os.path.realpath(link) for link in Path("/proc/self/fd").iterdir()}
        assert str(target) not in held, "it is open"
        return replace(self, target)

    monkeypatch.setattr(finished_rows, "OPEN_FILES_KEEP_NAMES", True)
    monkeypatch.setattr(Path, "replace", replace_closed)
    result = tmp_path / "x.parquet"
    with KeptRows(result, "test") as rows:
        rows.keep([*reversed(ROWS), ROWS[0]])
        rows.tidy({"a.parquet": None})
    assert rows_of(result) == [ROWS[0]]
