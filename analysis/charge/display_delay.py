"""What a display does to an integral that is read from it: it shows a change late, and may be hidden for a while."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..readings.chunk import FloatArray

#: An interval longer than the delay by so much was hidden: readings of a film come some times a second. [s]
_HIDDEN_S = 1.0
_PARTS = ("drawn", "returned", "net")


@dataclass(frozen=True)
class DelayFacts:
    """How late what was read may be.

    Each dict goes by ``drawn``, ``returned`` and ``net``: sums of the second and fourth powers of each change times how
    much later it may have been shown than it came [unit s], and ``ends``, a standard uncertainty: what a delay that all
    changes have in common does where the film begins and ends [unit s]. ``hidden2`` is the sum of the squares of the
    lengths of intervals in which nothing could be read [s2].
    """

    squares: dict[str, float]
    fourths: dict[str, float]
    ends: dict[str, float]
    hidden2: float


class DelaySums:
    """Add up `DelayFacts` of one signal, interval by interval; part of a fold. It carries one value and one length."""

    def __init__(self, delay_s: float, *, held: bool) -> None:
        self._delay_s, self._held = delay_s, held
        self._powers = np.zeros((2, 3))
        self._changes2, self._net = np.zeros(3), np.zeros(3)
        self._hidden2 = self._all_s = 0.0
        self._intervals = 0
        self._last = np.empty((2, 0))

    def add(self, x: FloatArray, length_s: FloatArray) -> None:
        """Take the next values in [unit], and how long each has stood [s]."""
        values, lengths = np.concatenate([self._last, [x, length_s]], axis=1)
        # What is held may have changed at any moment before the next look, a mean at any moment it was taken over.
        unseen_s = lengths[:-1] if self._held else lengths[1:]
        late_s = self._delay_s + unseen_s
        above, below = np.maximum(values, 0.0), np.minimum(values, 0.0)
        for k, part in enumerate((above, below, values)):
            change = np.diff(part)
            square = (change * late_s) ** 2
            self._powers[:, k] += square.sum(), (square**2).sum()
            self._changes2[k] += (change**2).sum()
            self._net[k] += change.sum()
        hidden = length_s[length_s > self._delay_s + _HIDDEN_S]
        self._hidden2 += float((hidden**2).sum())
        self._all_s += float(length_s.sum())
        self._intervals += len(x)
        self._last = np.array([values[-1:], lengths[-1:]])

    def result(self) -> DelayFacts:
        """Return the facts so far."""
        squares, fourths = self._powers.tolist()
        usual_s = self._delay_s + self._all_s / max(self._intervals, 1)
        # What all changes are late by in common cancels within the film. At its ends it counts what lies between the
        # first value and the last, and what changed meanwhile: as often as in the rest of the film.
        ends2 = self._net**2 * usual_s**2 / 3
        ends2 += 2 * self._changes2 * usual_s**3 / 3 / max(self._all_s, usual_s)
        return DelayFacts(
            dict(zip(_PARTS, squares, strict=True)),
            dict(zip(_PARTS, fourths, strict=True)),
            dict(zip(_PARTS, np.sqrt(ends2).tolist(), strict=True)),
            self._hidden2,
        )
