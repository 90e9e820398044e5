"""A finished log written again: its sign turned, or with another gap limit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.journal.journal import journal_path
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.log.log import FILE_MARK, Log
from shuntbook.ingest.log.readings import Readings
from shuntbook.ingest.log.writing import new_log, to_batch

#: Quantities whose sign says whether the bank gives or takes.
SIGNED = ("current_A", "power_W")
_TURNED = "the signs of amps and watts were turned in this log after it was written"


def is_log(name: str) -> bool:
    """Tell whether a file or folder is a log, finished or not, rather than an export."""
    path = Path(name)
    if path.is_dir():
        return any(path.glob("*.parquet"))
    if not path.is_file():
        return journal_path(path).is_file()
    with path.open("rb") as file:
        return file.read(len(FILE_MARK)) == FILE_MARK


def turned(readings: Readings) -> Readings:
    """Return readings in which draw and return have changed places."""
    return Readings(readings.time_us, {name: _turned(name, x) for name, x in readings.quantities.items()})


def _turned(name: str, x: NDArray[np.float64]) -> NDArray[np.float64]:
    return 0.0 - x if name in SIGNED else x


def write_again(source: Path, out: Path, *, reverse_sign: bool, gap_limit_s: float | None) -> Log:
    """Write a log again under another name; the log itself stays as it is.

    Markers and all else that its metadata says are kept. Turned twice it is what it was.

    Parameters
    ----------
    source, out : Path
        The log, and the place of the other; what is there is replaced.
    reverse_sign : bool
        Let draw and return change places.
    gap_limit_s : float or None
        The gap limit from now on, if it is stated. [s]

    Raises
    ------
    InputError
        If the log cannot be read, or nothing can be written there.
    """
    if source.is_dir() and out.resolve().parent == source.resolve():
        raise InputError(f"--out: {out} would become a part of the log {source}; choose a place outside it")
    log = open_log(source)
    if reverse_sign and not set(SIGNED) & set(log.quantities):
        raise InputError(f"{source}: holds neither amps nor watts, so there is no sign to turn")
    meta = log.meta
    if reverse_sign:
        meta = replace(meta, sign_applied=-meta.sign_applied, said=_turned_said(meta.said))
    if gap_limit_s is not None:
        meta = replace(meta, gap_limit_s=gap_limit_s, other_gap_limit_s=None)
    with new_log(out, log.quantities) as writer:
        for readings in log.scan():
            writer.write(to_batch(turned(readings) if reverse_sign else readings))
        writer.finish(meta)
    return replace(log, path=out, files=(out,), meta=meta)


def _turned_said(said: list[str]) -> list[str]:
    """Return the remarks with the one that the sign was turned, or without it where it was turned before."""
    return [line for line in said if line != _TURNED] if _TURNED in said else [*said, _TURNED]
