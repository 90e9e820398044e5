"""Running integrals of a log's signals where its plateaus begin and end: between two such readings a sum is enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import FloatArray, TimeArray, has_missing
from ..readings.integral import Intervals, between_readings, bridged_s
from ..readings.measured_span import HowRead


def unknown_of(name: str) -> str:
    """Return the name of the running time for which a quantity was not known."""
    return f"{name} unknown"


@dataclass(frozen=True)
class AtStarts:
    """Running integrals where plateaus begin, by name. [unit s]

    ``before`` are those at the reading before each first one, and at the last of all: shape (m + 1,); ``first`` those
    at each first one itself: shape (m,).
    """

    before: dict[str, FloatArray]
    first: dict[str, FloatArray]

    def of_plateaus(self) -> list[dict[str, tuple[float, float]]]:
        """Return the integrals at the first and at the last reading of each plateau, by name."""
        last = {name: before[1:] for name, before in self.before.items()}
        columns = [zip(first.tolist(), last[name].tolist(), strict=True) for name, first in self.first.items()]
        return [dict(zip(self.first, ends, strict=True)) for ends in zip(*columns, strict=True)]

    def before_first(self) -> dict[str, float]:
        """Return the integrals at the last reading before the first of these plateaus."""
        return {name: total.item(0) for name, total in self.before.items()}


@dataclass
class RunningSums:
    """Integrals of these quantities since the log's first reading [unit s]; the signal, always known, is the first.

    How long another was unknown is summed beside it: so a run knows whether its energy is whole.
    """

    how: HowRead
    names: Sequence[str]
    covered_s: float = 0.0
    _totals: dict[str, float] = field(default_factory=dict)

    def twin(self) -> RunningSums:
        """Return sums that can go on without changing these."""
        return RunningSums(self.how, self.names, self.covered_s, dict(self._totals))

    def take(self, time_us: TimeArray, x: FloatArray, starts: NDArray[np.int64], blocks: NDArray[np.int64]) -> AtStarts:
        """Take the next readings in; at `starts` plateaus begin, at `blocks` what is summed up by itself.

        `x` has a row for each name. The first reading was the last before, unless it begins a block: the log's first.
        """
        values = self._values(x)
        pieces = between_readings(
            time_us,
            values,
            sampling=self.how.sampling,
            gap_limit_s=bridged_s(self.how),
            usual_interval_s=self.how.usual_interval_s,
            first_of_log=not blocks[0],
        ).measured
        # Gaps give no piece: only then each piece's reading must be searched for.
        at: slice | NDArray[np.int64] = slice(1, None)
        if len(pieces.stop_us) != len(time_us) - 1:
            at = np.searchsorted(time_us, pieces.stop_us)
        # Sums of blocks and of what is between plateaus in a block: where chunks end makes no difference to any.
        bounds = np.union1d(starts, blocks)
        which = np.append(np.searchsorted(bounds, starts), len(bounds))
        self.covered_s = float(_totals(self.covered_s, _aligned(pieces.length_s, at, len(time_us)), blocks)[-1])
        sums = AtStarts({}, {})
        for name in (*self.names, *map(unknown_of, self.names[1:])):
            total = self._totals.get(name, 0.0)
            before, change = np.full(len(bounds) + 1, total), np.zeros(len(starts))
            if name in values:
                increments = _aligned(_amounts(pieces, name), at, len(time_us))
                before, change = _totals(total, increments, bounds), increments[starts]
                del increments  # before the next is made: of some blocks it is half a megabyte
            self._totals[name] = before.item(-1)
            sums.before[name] = before[which]
            sums.first[name] = sums.before[name][:-1] + change
        return sums

    def _values(self, x: FloatArray) -> dict[str, FloatArray]:
        """Return what is integrated: nought where a quantity is unknown, and there one for the time that it is."""
        values = dict(zip(self.names, x, strict=True))
        for name in self.names[1:]:
            if has_missing(values[name]):
                unknown = np.isnan(values[name])
                values |= {name: np.where(unknown, 0.0, values[name]), unknown_of(name): unknown.astype(np.float64)}
        return values


def _amounts(pieces: Intervals, name: str) -> FloatArray:
    """Return the integral of a quantity over each interval, shape (n,). [unit s]."""
    amounts = pieces.first[name] + pieces.last[name]
    amounts *= pieces.length_s
    amounts *= 0.5
    return amounts


def _aligned(amounts: FloatArray, at: slice | NDArray[np.int64], count: int) -> FloatArray:
    """Return what each of so many readings adds to an integral up to the one before it; shape (count,)."""
    increments = np.zeros(count)
    increments[at] = amounts
    return increments


def _totals(total: float, increments: FloatArray, bounds: NDArray[np.int64]) -> FloatArray:
    """Return the integral before each of some readings, shape (m,), and that of all: shape (m + 1,)."""
    return np.cumsum(np.concatenate([[total], np.add.reduceat(increments, bounds)]))
