"""What a power cut can leave: a name stands only for bytes that are on the disk, and what it replaces goes after that.

The model is that of POSIX: bytes are safe when `fsync` of their file has returned, names when that of their folder has.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import fault_jobs
import pytest
from fault_jobs import JOBS

from shuntbook.cli.main import run


class Disk:
    """Looks on while a command runs: what was synced, and which names are not safe yet."""

    def __init__(self, folder: Path, monkeypatch) -> None:
        self.folder = folder
        self.synced: dict[int, bytes] = {}
        self.unsafe: set[Path] = set()
        self.named: list[str] = []
        for name, look in (("fsync", self._sync), ("fdatasync", self._sync)):
            monkeypatch.setattr(os, name, self._then(getattr(os, name), look))
        for name in ("rename", "replace"):
            monkeypatch.setattr(os, name, self._first(getattr(os, name), self._rename))
        for name in ("unlink", "remove"):
            monkeypatch.setattr(os, name, self._first(getattr(os, name), self._remove))

    @staticmethod
    def _then(call, look):
        def called(*args):
            call(*args)
            look(*args)

        return called

    @staticmethod
    def _first(call, look):
        def called(*args, **more):
            if not more:  # a folder's handle is given by shutil.rmtree alone, which removes hidden folders
                look(*args)
            return call(*args, **more)

        return called

    def _sync(self, handle: int) -> None:
        path = Path(f"/proc/self/fd/{handle}").readlink()
        if path.is_dir():
            self.unsafe.discard(path)
        else:
            self.synced[os.fstat(handle).st_ino] = path.read_bytes()

    def _rename(self, source, target) -> None:
        source, target = Path(source), Path(target)
        for path in [source] if source.is_file() else [p for p in source.rglob("*") if p.is_file()]:
            assert self.synced.get(path.stat().st_ino) == path.read_bytes(), f"{target}: named before it was synced"
        self.named.append(target.name)
        self.unsafe.add(target.parent.resolve())

    def _remove(self, path) -> None:
        if not Path(path).name.startswith("."):
            assert not self.unsafe, f"{path} goes before the names in {self.unsafe} are safe"


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="there is no other way to tell what a handle is of")
@pytest.mark.parametrize(
    "job",
    [
        pytest.param(job, id=job.name, marks=[pytest.mark.night] if job.name in {"demo", "film"} else [])
        for job in JOBS
        if "pdf" not in job.name
    ],
)
def test_a_name_stands_only_for_bytes_on_the_disk(job, tmp_path, monkeypatch, capsys):
    """Whatever the command, and also of its own folder; at its end every name is safe."""
    folder = tmp_path.resolve() / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.setattr(fault_jobs, "_run", lambda _, *words: run(words))  # a process of its own is needed for faults
    job.make(folder)
    disk = Disk(folder, monkeypatch)
    assert run(job.words) == 0
    assert disk.named
    assert not disk.unsafe
    shutil.rmtree(folder)


def test_tables_of_a_run_that_was_cut_off_are_replaced(tmp_path, monkeypatch, capsys):
    """Some are new and some are old; none was changed by somebody, so the next run needs no --force."""
    from shuntbook.ingest.safe_files import own_folder

    own_folder.write_together(tmp_path / "t", {"a.csv": "old", "b.csv": "old"}, what="--csv")

    def cut_off(path: Path, content: bytes) -> None:
        if path.name == "b.csv":
            raise KeyboardInterrupt
        path.write_bytes(content)

    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr(own_folder, "write_bytes", cut_off)
        own_folder.write_together(tmp_path / "t", {"a.csv": "new", "b.csv": "new"}, what="--csv")
    assert [(tmp_path / "t" / name).read_text() for name in ("a.csv", "b.csv")] == ["new", "old"]
    own_folder.refuse_foreign(tmp_path / "t", ["a.csv", "b.csv"], force=False, what="--csv")
    own_folder.write_together(tmp_path / "t", {"a.csv": "new", "b.csv": "new"}, what="--csv")
    (tmp_path / "t" / "b.csv").write_text("old")
    with pytest.raises(own_folder.InputError, match="changed since"):
        own_folder.refuse_foreign(tmp_path / "t", ["a.csv", "b.csv"], force=False, what="--csv")
