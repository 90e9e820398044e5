"""What other systems do not let a program do with a file: held here where they cannot be run.

Windows puts on the disk only what is open for writing (`FlushFileBuffers` wants `GENERIC_WRITE`: Microsoft's reference
of file functions, from memory); it and macOS take ``Log.csv`` and ``log.csv`` for one name.
"""

import errno
import fcntl
import os
import stat

import pytest
from places import SAMPLES

from shuntbook.cli.door import expanded
from shuntbook.cli.main import run
from shuntbook.ingest.safe_files.whole_file import is_same

EXPORT = SAMPLES / "week_later.csv.gz"


@pytest.fixture
def strict_sync(monkeypatch):
    """Syncing fails for a file that is open for reading alone; the list holds what was synced."""
    synced = []

    def sync(handle, before=os.fsync):
        is_file = stat.S_ISREG(os.fstat(handle).st_mode)
        if is_file and fcntl.fcntl(handle, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY:
            raise OSError(errno.EBADF, os.strerror(errno.EBADF))
        synced.append(is_file)
        before(handle)

    monkeypatch.setattr(os, "fsync", sync)
    monkeypatch.setattr(os, "fdatasync", sync)
    return synced


def test_nothing_is_synced_that_is_only_read(tmp_path, strict_sync):
    """An export, a capture of it and a page."""
    log, captured, page = (str(tmp_path / name) for name in ("log.parquet", "captured.parquet", "page.html"))
    assert run(["convert", str(EXPORT), "--reverse-sign", "--out", log]) == 0
    assert run(["capture", f"replay:{log}?speed=max", "--out", captured, "--quiet"]) == 0
    assert run(["report", log, "--out", page]) == 0
    assert sum(strict_sync) >= 3


def test_one_place_by_two_names_is_told(tmp_path):
    """A second name of a file, as a file system that ignores case gives it; one that is not there yet goes by name."""
    export = tmp_path / "export.csv"
    export.write_text("x\n")
    (tmp_path / "Export.csv").hardlink_to(export)
    (tmp_path / "loop").symlink_to("loop")
    assert is_same(export, tmp_path / "Export.csv")
    assert is_same(tmp_path / "new.csv", tmp_path / "." / "new.csv")
    assert not is_same(tmp_path / "new.csv", export)
    assert not is_same(tmp_path / "loop", export)


def test_what_a_shell_leaves_unexpanded_is_found(tmp_path, monkeypatch):
    """In order of name; an address, a value and a name with brackets stay as they are."""
    monkeypatch.chdir(tmp_path)
    for name in ("b.parquet", "a.parquet", "day[1].parquet", "day1.parquet"):
        (tmp_path / name).touch()
    words = ["report", "?.parquet", "day[1].parquet", "modbus-tcp:192.0.2.7:502?unit=1", "none*.csv", "--out", "p.html"]
    assert expanded(words) == ["report", "a.parquet", "b.parquet", *words[2:]]
    assert expanded(["d*"]) == ["day1.parquet", "day[1].parquet"]
