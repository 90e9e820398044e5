"""Open a log, after completing a capture that was cut short."""

from __future__ import annotations

from pathlib import Path

from ..errors import InputError
from ..log.log import JOURNAL_SUFFIX, Log
from ..log.opened_file import check_same_meter, open_file, with_limits


def open_log(path: str | Path, *, complete: bool = True) -> Log:
    """Open a log: a Parquet file, or a folder of them.

    An unfinished capture that lies there is completed first, unless `complete` is false: then nothing is written.

    Raises
    ------
    InputError
        If there is none, it cannot be read, is not a log, was written by a newer format version, or is a folder with
        the logs of several meters.
    """
    path = Path(path)
    completed = _completed(path) if complete else None
    files = [path]
    if path.is_dir():
        files = sorted(path.glob("*.parquet"))
        if not files:
            raise InputError(f"{path}: this folder holds no log (*.parquet)")
    # By their readings and not by name: whether they overlap shows while they are read.
    opened = sorted(map(open_file, files), key=lambda file: file.first_us)
    first = opened[0]
    for other in opened[1:]:
        check_same_meter(first, other)
    rows = sum(file.rows for file in opened)
    return Log(path, tuple(file.path for file in opened), with_limits(opened), first.quantities, rows, completed)


def _completed(path: Path) -> str | None:
    """Complete what a capture left unfinished, and say so; a finished log needs none of what that takes."""
    journals = (
        any(path.glob("*.parquet" + JOURNAL_SUFFIX))
        if path.is_dir()
        else path.with_name(path.name + JOURNAL_SUFFIX).exists()
    )
    if not journals:
        return None
    from .compaction import settle_unfinished

    return settle_unfinished(path)
