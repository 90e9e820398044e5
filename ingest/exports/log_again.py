"""A finished log written again: its sign turned, or with another gap limit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..journal.opening import open_log
from ..log.log import Log, Readings, new_log, to_batch
from ..quantities import SIGNED

_TURNED = "the signs of amps and watts were turned in this log after it was written"


def write_again(source: Path, out: Path, *, reverse_sign: bool, gap_limit_s: float | None) -> Log:
    """Write a log again under another name; the log itself stays as it is, what stands at `out` is replaced.

    Markers and all else that its metadata says are kept. With its sign turned twice it is what it was. `gap_limit_s` is
    the gap limit from now on, if it is stated. [s]

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
        meta = replace(meta, sign_applied=-meta.sign_applied, remarks=_turned_remarks(meta.remarks))
    # A stated limit settles what the spacings left open.
    if gap_limit_s is not None:
        meta = replace(meta, gap_limit_s=gap_limit_s, other_gap_limit_s=None)
    with new_log(out, log.quantities) as writer:
        for readings in log.scan():
            writer.write(to_batch(turned(readings) if reverse_sign else readings))
        writer.finish(meta)
    return replace(log, path=out, files=(out,), meta=meta)


def _turned_remarks(remarks: list[str]) -> list[str]:
    """Return the remarks with the one that the sign was turned, or without it where it was turned before."""
    return [line for line in remarks if line != _TURNED] if _TURNED in remarks else [*remarks, _TURNED]


def turned(readings: Readings) -> Readings:
    """Return readings in which draw and return have changed places."""
    return Readings(readings.time_us, {name: _turned(name, x) for name, x in readings.quantities.items()})


def _turned(name: str, x: NDArray[np.float64]) -> NDArray[np.float64]:
    return 0.0 - x if name in SIGNED else x  # no negative zeros
