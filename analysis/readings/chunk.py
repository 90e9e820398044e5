"""A chunk of readings as NumPy arrays, and the protocol every fold obeys."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf, isnan
from typing import Literal, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
TimeArray = NDArray[np.int64]
Side = Literal["dc", "ac"]
Sampling = Literal["instant", "mean", "held"]

MICROSECONDS = 1_000_000
SECONDS_PER_HOUR = 3600.0
#: What spacings are called among the extremes of a chunk's columns; no quantity is called so.
_SPACINGS = "spacings_us"

Result_co = TypeVar("Result_co", covariant=True)


@dataclass(frozen=True)
class Chunk:
    """A stretch of consecutive readings of one meter.

    Parameters
    ----------
    time_us : array of int64, shape (n,)
        Instants of the readings since 1970-01-01T00:00:00Z, strictly increasing, also across chunks. [us]
    quantities : mapping of str to array of float64, shape (n,)
        Readings by quantity name (``current_A``, ``voltage_V``, ...); NaN where the meter gave none.
        Draw out of the bank is positive. Units are in the names.
    known : dict of str to (float, float), optional
        What `extremes` and, called ``spacings_us``, `spacings_us` are to give; looked for when first asked.
    """

    time_us: TimeArray
    quantities: Mapping[str, FloatArray]
    # Nearly every fold asks whether something is missing, passes nought, or is far apart: it is looked for once.
    known: dict[str, tuple[float, float]] = field(default_factory=dict, repr=False, compare=False)

    def __len__(self) -> int:
        """Return the number of readings."""
        return len(self.time_us)

    def part(self, start: int, stop: int) -> Chunk:
        """Return the readings from index `start` up to but not including `stop`; views, no copies."""
        if start == 0 and stop == len(self):
            return self
        return Chunk(self.time_us[start:stop], {name: x[start:stop] for name, x in self.quantities.items()})

    def having(self, *names: str) -> Chunk:
        """Return the readings that miss none of these quantities."""
        # Nearly all logs miss nothing: then no copy is made.
        if not any(self.lacks(name) for name in names):
            return self
        complete = ~np.isnan(sum(self.quantities[name] for name in names))
        return Chunk(self.time_us[complete], {name: x[complete] for name, x in self.quantities.items()})

    def extremes(self, name: str) -> tuple[float, float]:
        """Return the lowest and the highest reading of a quantity; both NaN where one is missing."""
        if name not in self.known:
            x = self.quantities[name]
            self.known[name] = _extremes(x) if len(x) else (inf, -inf)
        return self.known[name]

    def lacks(self, name: str) -> bool:
        """Tell whether the meter gave no reading of a quantity at one of the instants."""
        return isnan(self.extremes(name)[0])

    def spacings_us(self) -> tuple[float, float]:
        """Return the shortest and the longest time between two readings; infinity and nought of a single one. [us]"""
        if _SPACINGS not in self.known:
            spacing_us = self.time_us[1:] - self.time_us[:-1]
            self.known[_SPACINGS] = _extremes(spacing_us) if len(spacing_us) else (inf, 0)
        return self.known[_SPACINGS]

    def with_values(self, values: Mapping[str, FloatArray]) -> Chunk:
        """Return other values at the same instants; what is known of arrays that are this chunk's stays known."""
        chunk = Chunk(self.time_us, values)
        owns = {id(x): name for name, x in self.quantities.items()}
        for name, x in values.items():
            if id(x) in owns:
                chunk.known[name] = self.extremes(owns[id(x)])
        chunk.known[_SPACINGS] = self.spacings_us()
        return chunk


class Fold(Protocol[Result_co]):
    """An analysis that is fed chunk by chunk.

    The law: cut the readings anywhere, the result is the same (floating-point sums to 1e-9 relative).
    ``result`` changes nothing and may be asked for at any time.
    """

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""

    def result(self) -> Result_co:
        """Return what all readings so far amount to."""


def _extremes(x: NDArray[np.int64] | FloatArray) -> tuple[float, float]:
    return x.min().item(), x.max().item()


def has_missing(x: FloatArray) -> bool:
    """Tell whether a meter gave no reading at one of these; shape (n,)."""
    # The least of some numbers is NaN where one of them is: quicker than asking each.
    return bool(np.isnan(np.min(x, initial=np.inf)))


def is_one_number(x: FloatArray) -> bool:
    """Tell whether an array is one number for all, as `numpy.broadcast_to` gives it, so that it need not be read."""
    return x.strides == (0,) and len(x) > 0


def sums_of_runs(x: FloatArray, first: NDArray[np.intp]) -> FloatArray:
    """Return the sum of each run of numbers, by where each begins, the first at 0; shapes (n,), (m,) to (m,)."""
    if is_one_number(x):
        return np.asarray(np.diff(first, append=len(x)) * x[0])
    return np.asarray(np.add.reduceat(x, first))


def join(parts: list[Chunk]) -> Chunk:
    """Return consecutive chunks as one, with the quantities of the last, which all of them have."""
    if len(parts) == 1:
        return parts[0]
    names = parts[-1].quantities
    return Chunk(
        np.concatenate([part.time_us for part in parts]),
        {name: np.concatenate([part.quantities[name] for part in parts]) for name in names},
    )


def after(tail: Chunk, new: Chunk) -> Chunk:
    """Return a chunk behind the last reading before it, with what is known of both; neither lacks a value."""
    chunk = join([tail, new])
    for name in new.quantities:
        (low, high), (new_low, new_high) = tail.extremes(name), new.extremes(name)
        chunk.known[name] = min(low, new_low), max(high, new_high)
    between_us = int(new.time_us[0] - tail.time_us[-1])
    shortest_us, longest_us = new.spacings_us()
    chunk.known[_SPACINGS] = min(between_us, shortest_us), max(between_us, longest_us)
    return chunk
