"""A plateau: consecutive readings of which none differs much from the one before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import FloatArray, TimeArray

#: Readings kept from either end of a plateau, and from all of it: enough for a median, whatever its length.
EDGE, SAMPLE = 15, 32

CountArray = NDArray[np.int64]


class Trace(NamedTuple):
    """What is kept of one quantity over a plateau, in its unit.

    ``first``, ``last`` and ``usual`` are medians at its beginning, at its end and as a rule; ``head`` and ``tail`` its
    first and last readings, `EDGE` of them or all.
    """

    first: float
    last: float
    usual: float
    low: float
    high: float
    head: list[float]
    tail: list[float]


@dataclass(frozen=True, slots=True)
class Plateau:
    """Consecutive readings at one level: how many, from the first to the last.

    ``traces`` are of the signal and whatever else was read, ``sums`` the running integrals of amps and watts at the
    first and at the last reading [unit s], by name. ``least`` is the smallest change that stood out from the noise
    where it began, ``step`` the change from the reading before it to its first [unit of the signal], ``step_s`` the
    time between these two; ``after_gap`` says that nothing was measured right before it.
    """

    first_us: int
    last_us: int
    count: int
    traces: dict[str, Trace]
    sums: dict[str, tuple[float, float]]
    least: float
    step: float
    after_gap: bool
    step_s: float


def _rows_of(
    x: FloatArray, first: CountArray, counts: CountArray, stride: CountArray | int = 1
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return stretches of readings as rows, filled up to the longest, and what is not filling.

    Of `x`, shape (q, n), those that begin at `first` and have so many readings, every `stride`-th taken: shapes
    (q, m, longest) and (m, longest).
    """
    along = np.arange(counts.max())
    inside = along < counts[:, None]
    at = first[:, None] + np.where(inside, along, 0) * np.reshape(stride, (-1, 1))
    return x.take(at, axis=1), inside


def _medians(rows: FloatArray, inside: NDArray[np.bool_], counts: CountArray) -> FloatArray:
    """Return the medians of such rows, shape (q, m); NaN where one of their readings is."""
    # Filled up with infinity, so that sorting puts the filling behind all readings, and only NaN behind that.
    ordered = np.where(inside, rows, np.inf)
    ordered.sort(axis=2)
    each = np.arange(len(counts))
    middle = (ordered[:, each, (counts - 1) // 2] + ordered[:, each, counts // 2]) / 2
    return np.where(np.isnan(ordered[:, :, -1]), np.nan, middle)


def _medians_of_rows(x: FloatArray) -> FloatArray:
    """Return the median of each row, shape (q,); NaN where one of its readings is."""
    ordered = np.sort(x, axis=1)
    middle = (ordered[:, (x.shape[1] - 1) // 2] + ordered[:, x.shape[1] // 2]) / 2
    return np.where(np.isnan(ordered[:, -1]), np.nan, middle)


def traces_of(names: Sequence[str], x: FloatArray, bounds: CountArray) -> list[dict[str, Trace]]:
    """Return what is kept of consecutive plateaus: `x` has a row for each name, `bounds` where each begins and ends."""
    if len(bounds) < 2:
        return []
    starts, stops = bounds[:-1], bounds[1:]
    counts = stops - starts
    short = np.minimum(counts, EDGE)
    # All plateaus at once: where a signal is restless they are many and short, and NumPy's calls cost more than work.
    # The stride doubles as `OpenPlateau` doubles it, so that where chunks end makes no difference to the sample.
    stride = 1 << np.ceil(np.log2(np.maximum(counts / SAMPLE, 1.0))).astype(np.int64)
    inside = x[:, : bounds[-1]]
    at_edges = _rows_of(x, np.append(starts, stops - short), np.append(short, short))
    thinned = -(-counts // stride)
    columns = (
        *np.split(_medians(*at_edges, np.append(short, short)), 2, axis=1),
        _medians(*_rows_of(x, starts, thinned, stride), thinned),
        np.minimum.reduceat(inside, starts, axis=1),
        np.maximum.reduceat(inside, starts, axis=1),
    )
    figures = [column.tolist() for column in columns]
    edges, lengths = at_edges[0].tolist(), [*short.tolist()] * 2
    of_names = []
    for q in range(len(names)):
        ends = [row[:length] for row, length in zip(edges[q], lengths, strict=True)]
        each = zip(*(figure[q] for figure in figures), ends[: len(starts)], ends[len(starts) :], strict=True)
        of_names.append(map(Trace._make, each))
    return [dict(zip(names, traces, strict=True)) for traces in zip(*of_names, strict=True)]


@dataclass(frozen=True)
class OpenPlateau:
    """The last plateau of the readings so far, which the next may continue.

    ``begun`` is what is settled of it since its first reading; ``head``, ``tail`` and the thinned ``sample`` are
    readings of all quantities, shape (q, m), ``low`` and ``high`` their extremes, shape (q,).
    """

    begun: Plateau
    names: Sequence[str]
    head: FloatArray
    tail: FloatArray
    sample: FloatArray
    low: FloatArray
    high: FloatArray
    stride: int = 1

    @classmethod
    def of(cls, begun: Plateau, names: Sequence[str], x: FloatArray) -> OpenPlateau:
        """Return the beginning of a plateau; `x` are its readings so far, shape (q, n)."""
        edges = x[:, :EDGE].copy(), x[:, -EDGE:].copy()
        return cls(begun, names, *edges, x, x.min(axis=1), x.max(axis=1))._thinned()

    def extended(self, time_us: TimeArray, x: FloatArray, sums: Mapping[str, float]) -> OpenPlateau:
        """Return the plateau with its next readings, shape (q, n); `sums` are the running integrals at the last."""
        # The sample goes on where it would have, had all readings come at once: at the next multiple of the stride.
        count = self.begun.count
        begun = replace(
            self.begun,
            last_us=int(time_us[-1]),
            count=count + len(time_us),
            sums={name: (first, sums[name]) for name, (first, _) in self.begun.sums.items()},
        )
        return OpenPlateau(
            begun,
            self.names,
            np.concatenate([self.head, x[:, :EDGE]], axis=1)[:, :EDGE],
            np.concatenate([self.tail, x[:, -EDGE:]], axis=1)[:, -EDGE:],
            np.concatenate([self.sample, x[:, -count % self.stride :: self.stride]], axis=1),
            np.minimum(self.low, x.min(axis=1)),
            np.maximum(self.high, x.max(axis=1)),
            self.stride,
        )._thinned()

    def _thinned(self) -> OpenPlateau:
        sample, stride = self.sample, self.stride
        while sample.shape[1] > SAMPLE:
            sample, stride = sample[:, ::2], stride * 2
        return replace(self, sample=sample.copy(), stride=stride)

    def closed(self) -> Plateau:
        """Return it as it stands."""
        edges = [_medians_of_rows(x) for x in (self.head, self.tail, self.sample)]
        figures = np.stack([*edges, self.low, self.high], axis=1).tolist()
        heads, tails = self.head.tolist(), self.tail.tolist()
        traces = {name: Trace._make([*figures[q], heads[q], tails[q]]) for q, name in enumerate(self.names)}
        return replace(self.begun, traces=traces)
