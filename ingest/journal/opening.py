"""Open a log, after completing a capture that was cut short."""

from __future__ import annotations

from pathlib import Path

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.log.log import Log
from shuntbook.ingest.log.opened_file import check_same_meter, open_file, with_limits

from .compaction import settle_unfinished


def open_log(path: str | Path, *, complete: bool = True) -> Log:
    """Open a log.

    Parameters
    ----------
    path : str or Path
        A Parquet file, or a folder of them. An unfinished capture found there is completed first.
    complete : bool, optional
        False leaves unfinished captures as they are: nothing is written.

    Raises
    ------
    InputError
        If there is none, it cannot be read, is not a log, was written by a newer format version, or is a folder with
        the logs of several meters.
    """
    path = Path(path)
    completed = settle_unfinished(path) if complete else None
    files = [path]
    if path.is_dir():
        files = sorted(path.glob("*.parquet"))
        if not files:
            raise InputError(f"{path}: this folder holds no log (*.parquet)")
    opened = [(file, *open_file(file)) for file in files]
    opened.sort(key=lambda item: item[3])
    first = opened[0]
    for other in opened[1:]:
        check_same_meter(first, other)
    rows = sum(item[4] for item in opened)
    return Log(path, tuple(item[0] for item in opened), with_limits(opened), first[2], rows, completed)
