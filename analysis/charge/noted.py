"""What notes of a display do to an integral: the moments at which they were noted, and the last digit written."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..readings.chunk import MICROSECONDS, FloatArray, TimeArray

#: How far a moment of noting may be off where seconds are told: from the display over the pen to the clock; common
#: practice, no source. Where all notes stand at whole minutes, half of one. [s]
MOMENT_S, MINUTE_S = 5.0, 60.0
#: A figure with more decimals than this was worked out and not read.
_MOST_DECIMALS: Final = 3


@dataclass(frozen=True)
class NoteFacts:
    """What notes were like.

    Each dict goes by ``drawn``, ``returned`` and ``net``. ``runs2`` are sums of the squares of the times for which each
    figure stood in all, nought left out, since ``off`` was not rounded [s2]; ``edges2`` and ``edges4`` sums of the
    second and fourth powers of the changes from note to note, the beginning and the end among them. Each moment may be
    off by ``moment_s`` either way; ``digit`` is the last one written, 0 where that cannot be told.
    """

    runs2: dict[str, float]
    edges2: dict[str, float]
    edges4: dict[str, float]
    moment_s: float
    digit: float


class NoteSums:
    """Add up `NoteFacts` of one signal, interval by interval; part of a fold.

    It carries one value, and how long each figure stood, of which a person notes few.
    """

    def __init__(self) -> None:
        self._last = np.zeros(1)  # before the first note nothing flowed, and after the last one nothing will
        self._powers = np.zeros((3, 2))
        self._minutes = True
        self._decimals = -1
        self._stood_s: dict[float, float] = {}

    def add(self, at_us: TimeArray, x: FloatArray, length_s: FloatArray) -> None:
        """Take the next notes in: their instants [us], and the values that have stood [unit], for how long [s]."""
        self._minutes = self._minutes and not (at_us % round(MINUTE_S * MICROSECONDS)).any()
        self._powers += _powers(np.concatenate([self._last, x]))
        # By figure, not by run: a load that comes back is noted as before, with the same error.
        for value, stood_s in zip(x.tolist(), length_s.tolist(), strict=True):
            if value:
                self._stood_s[value] = self._stood_s.get(value, 0.0) + stood_s
        self._last = np.concatenate([self._last, x])[-1:]
        self._decimals = max(self._decimals, _decimals(x))

    def result(self) -> NoteFacts:
        """Return the facts so far; what stands last may have ended at another moment as well."""
        second, fourth = (self._powers + _powers(np.append(self._last, 0.0))).T.tolist()
        names = ("drawn", "returned", "net")
        above, below = (sum(t * t for x, t in self._stood_s.items() if (x > 0) is drawn) for drawn in (True, False))
        return NoteFacts(
            dict(zip(names, (above, below, above + below), strict=True)),
            dict(zip(names, second, strict=True)),
            dict(zip(names, fourth, strict=True)),
            MINUTE_S / 2 if self._minutes else MOMENT_S,
            10.0**-self._decimals if self._decimals >= 0 else 0.0,
        )


def _powers(x: FloatArray) -> FloatArray:
    """Return second and fourth powers of the changes of what is drawn, returned and of both; shape (3, 2)."""
    changes = np.diff(np.stack([np.maximum(x, 0.0), np.maximum(-x, 0.0), x]), axis=1)
    return np.stack([(changes**2).sum(axis=1), (changes**4).sum(axis=1)], axis=1)


def _decimals(x: FloatArray) -> int:
    """Return the most decimals with which a value was written; -1 where none can have been."""
    # A figure was written with so many decimals where ten to their power makes it whole, but for a double's own error.
    scaled = np.abs(x[x != 0])[:, None] * 10.0 ** np.arange(_MOST_DECIMALS + 1)
    whole = np.abs(scaled - np.rint(scaled)) <= 1e-9 * np.maximum(scaled, 1.0)
    written = whole.any(axis=1)
    return int(whole[written].argmax(axis=1).max(initial=-1))
