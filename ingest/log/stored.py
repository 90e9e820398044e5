"""Columns as long as a log, worked on some rows at a time: in memory while they are short, else in files.

A file is mapped, so that it is indexed like any array; `forget` lets go of what of it was touched, which stays in the
file. What works out a figure from a whole column takes it by `slices`, forgetting as it goes: memory does not grow with
the log.
"""

from __future__ import annotations

import mmap
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from .log import ROWS_A_GROUP

Times = NDArray[np.int64]
Kind = TypeVar("Kind", np.int64, np.float64)
#: So many bits of a number are told apart at once where the k-th smallest is sought.
_BITS = 16


def slices(rows: int, *, first: int = 0) -> Iterator[slice]:
    """Yield the rows from `first` on in slices of so many as are worked on at once."""
    for start in range(first, rows, ROWS_A_GROUP):
        yield slice(start, min(start + ROWS_A_GROUP, rows))


def whole_groups(time_us: Times) -> Iterator[slice]:
    """Yield slices of rows in order of time, none of which ends among rows of one stamp."""
    start = 0
    while start < len(time_us):
        stop = min(start + ROWS_A_GROUP, len(time_us))
        while stop < len(time_us) and time_us[stop] == time_us[stop - 1]:
            stop += 1
        yield slice(start, stop)
        start = stop


def steps_of(time_us: Times) -> Iterator[tuple[int, Times]]:
    """Yield the spacings, some at a time, each time with the row that the first of them follows. [us]"""
    for rows in slices(len(time_us) - 1):
        yield rows.start, np.diff(time_us[rows.start : rows.stop + 1])
        forget(time_us)


def forward(time_us: Times) -> Iterator[Times]:
    """Yield the spacings that go forward. [us]"""
    return (steps[steps > 0] for _, steps in steps_of(time_us))


def parts_of(x: NDArray[Kind]) -> Iterator[NDArray[Kind]]:
    """Yield a column, some rows at a time."""
    for rows in slices(len(x)):
        yield x[rows]
        forget(x)


def ends_of(time_us: Times) -> tuple[int, int]:
    """Return the earliest and the latest instant. [us]"""
    firsts, lasts = zip(*((int(part.min()), int(part.max())) for part in parts_of(time_us)), strict=True)
    return min(firsts), max(lasts)


def quantile(parts: Callable[[], Iterable[Times]], share: float) -> float:
    """Return the number that `share` of all numbers, none negative, do not exceed; as NumPy's ``quantile`` does."""
    lengths, highest = zip(*((len(part), int(part.max(initial=0))) for part in parts()), strict=True)
    count, most = sum(lengths), max(highest)
    if count <= ROWS_A_GROUP:
        return float(np.quantile(np.concatenate(list(parts())), share))
    at, beyond = divmod(share * (count - 1), 1.0)
    low, high = (_smallest(parts, min(int(at) + k, count - 1), most) for k in (0, 1))
    return float(np.quantile([low, high], beyond))


def _smallest(parts: Callable[[], Iterable[Times]], k: int, most: int) -> int:
    """Return the number that `k` others come before, by its highest bits first."""
    prefix = 0
    for shift in range((most.bit_length() - 1) // _BITS * _BITS, -1, -_BITS):
        counts = np.zeros(1 << _BITS, dtype=np.int64)
        for part in parts():
            # Shifted in two steps: by all 64 bits at once nothing is shifted.
            same = part[(part >> shift >> _BITS) == prefix]
            counts += np.bincount((same >> shift) & ((1 << _BITS) - 1), minlength=1 << _BITS)
        upto = np.cumsum(counts)
        digit = int(np.searchsorted(upto, k, side="right"))
        k -= int(upto[digit] - counts[digit])
        prefix = prefix << _BITS | digit
    return prefix


class Scratch:
    """A place for columns: files in a `folder` that somebody else removes, or memory where there is none."""

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder
        self._files = 0

    def times(self, rows: int) -> Times:
        """Return a new column of instants; what stands in it means nothing yet. [us]"""
        return self._new(rows, np.dtype(np.int64))

    def amounts(self, rows: int) -> NDArray[np.float64]:
        """Return a new column of amounts; what stands in it means nothing yet."""
        return self._new(rows, np.dtype(np.float64))

    def copied(self, x: NDArray[Kind], *, backwards: bool = False) -> NDArray[Kind]:
        """Return a copy of a column, or one from its last row to its first."""
        copy: NDArray[Kind] = self._new(len(x), x.dtype)
        source = x[::-1] if backwards else x
        for rows in slices(len(x)):
            copy[rows] = source[rows]
            forget(copy, x)
        return copy

    def _new(self, rows: int, kind: np.dtype[Any]) -> NDArray[Any]:
        if self._folder is None or rows <= ROWS_A_GROUP:
            return np.empty(rows, dtype=kind)
        self._files += 1
        path, size = self._folder / str(self._files), rows * kind.itemsize
        with path.open("x+b") as file:
            _reserve(file.fileno(), size)
            return np.frombuffer(mmap.mmap(file.fileno(), size), dtype=kind)


def _reserve(handle: int, size: int) -> None:
    """Take room on the disk now: where a mapped file finds none later, the process ends."""
    if hasattr(os, "posix_fallocate"):
        os.posix_fallocate(handle, 0, size)
        return
    for _ in range(0, size, mmap.PAGESIZE):
        os.write(handle, bytes(mmap.PAGESIZE))


def forget(*columns: NDArray[Any]) -> None:
    """Let go of the memory of columns that lie in files; what they hold stays."""
    for column in columns:
        base: Any = column
        while isinstance(base, np.ndarray):
            base = base.base
        if isinstance(base, memoryview):
            base = base.obj
        if isinstance(base, mmap.mmap) and hasattr(base, "madvise"):
            base.madvise(mmap.MADV_DONTNEED)
