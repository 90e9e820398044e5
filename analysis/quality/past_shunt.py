"""Whether the volts fall again and again without the amps: then a load may be wired past the shunt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..charge.grouped_sums import HALF, size_of
from ..readings.blocks import Piece, gaps_before
from ..readings.chunk import FloatArray
from ..signal_levels.step_threshold import Threshold

#: So often the volts must fall and rise again, and at least this share of all their falls: common practice, no source.
LEAST_FALLS, LEAST_RISES, LEAST_SHARE = 3, 2, 0.01
#: A fall is this share of the volts at least, beside what their noise asks for: common practice, no source; a bank's
#: drift and the slow answer to a load stay below it from one reading to the next. [1]
LEAST_FALL: Final = 0.004
#: From one reading to the next the volts fall by at least this share of a fall, which a slope's do not, and before and
#: after it, over two spacings, by no more than that: common practice, no source; means may split a step in two. [1]
AT_ONCE, CALM = 0.5, 0.15
#: The longest spacing around it is at most so many times the shortest: over a longer one a slope looks like a fall. [1]
EVEN: Final = 2.0
#: The amps stand still where they range over less than this share of what the fall would take: common practice, no
#: source. [1]
STILL: Final = 0.2
#: No bank of this kind, its cables with it, has more ohms than this: from memory, a bank of 12 V and 7 Ah, worn, with
#: thin wires. [ohm]
MOST_OHM: Final = 0.2
#: Below this a meter's amps are still. [A]
LEAST_A: Final = 1e-6
#: Readings that are looked at on either side of a fall; no more than stand around a piece.
_AROUND: Final = 3


@dataclass(frozen=True)
class FallsAlone:
    """How often the volts fell, and most often rose again, while the amps did not move; by how much on average. [V]"""

    falls: int
    fall_V: float


@dataclass(frozen=True)
class SharpChanges:
    """Sharp changes of the volts by the power of two of volts per range of the amps around. [V/A]

    Arrays of shape (2048,): how many falls and rises, and by how much the volts fell in all. [V]
    """

    falls: FloatArray
    rises: FloatArray
    volts: FloatArray

    def alone(self, resistance_ohm: float | None) -> FallsAlone | None:
        """Return the falls that tell of a load that the shunt does not see; None where they do not.

        `resistance_ohm` is the fall of the volts per amp by the steps of the amps; None where these do not tell it.
        [ohm]
        """
        # A fall with which the amps move by less than a share of what it would take has, as it were, too many ohms.
        least_ohm = (resistance_ohm or MOST_OHM) / STILL
        first = int(size_of(np.array([least_ohm]))[0]) + 1
        falls, rises = (int(x[first:].sum()) for x in (self.falls, self.rises))
        # A load comes and goes again, so rises are asked for; a loose contact at random has as many of either.
        if falls < LEAST_FALLS or rises < LEAST_RISES or falls < LEAST_SHARE * self.falls.sum():
            return None
        return FallsAlone(falls, float(self.volts[first:].sum()) / falls)


class SharpChangesPart:
    """Count them; what earlier pieces showed of the noise is all that it carries beside sums."""

    def __init__(self, gap_limit_s: float | None) -> None:
        self._gap_limit_s = gap_limit_s
        self._threshold = Threshold()
        self._sums = np.zeros((3, HALF))

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        piece = piece.having("current_A", "voltage_V")
        i, v = (piece.readings.quantities[name] for name in ("current_A", "voltage_V"))
        if len(v) <= 2 * _AROUND:
            return
        is_gap = gaps_before(piece.readings.time_us, self._gap_limit_s)
        least_V = np.maximum(self._threshold.of(v, is_gap), LEAST_FALL * np.abs(v))
        at = _sharp(v, least_V, piece, is_gap)
        moved_V = v[at + 2] - v[at - 2]
        # The resistance is known only at the end, so changes are kept by the ohms they would stand for.
        size = size_of(np.abs(moved_V) / np.maximum(_range_around(i, at), LEAST_A))
        fall_V = np.maximum(-moved_V, 0.0)
        self._sums += [np.bincount(size, x, HALF) for x in (fall_V > 0, fall_V == 0, fall_V)]

    def result(self) -> SharpChanges:
        """Return what was counted so far."""
        return SharpChanges(*self._sums.copy())


def _sharp(v: FloatArray, least_V: FloatArray, piece: Piece, is_gap: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return which readings are the first after a sharp change that lasts: level before it and after it."""
    low = max(piece.start, _AROUND)
    high = max(min(piece.stop, len(v) - _AROUND), low)
    change = np.abs(v[1:] - v[:-1])  # the first of these leads to the second reading
    before, here, after = (change[low - 1 + k : high - 1 + k] for k in (-1, 0, 1))
    loud = np.abs(v[low + 2 : high + 2] - v[low - 2 : high - 2]) > least_V[low:high]
    at = low + np.flatnonzero(loud & (here >= before) & (here > after))
    # Over a gap or a longer spacing a slope would look like a step.
    around = at[:, None] + np.arange(1 - _AROUND, _AROUND + 1)
    spacing = np.diff(piece.readings.time_us, prepend=0)[around]
    at = at[~is_gap[around].any(axis=1) & (spacing.max(axis=1) <= EVEN * spacing.min(axis=1))]
    whole = np.abs(v[at + 2] - v[at - 2])
    # Level before it and after it: a slope moves on, a surge comes back.
    calm = np.maximum(np.abs(v[at - 1] - v[at - 3]), np.abs(v[at + 3] - v[at + 1])) <= CALM * whole
    return np.asarray(at[calm & (change[at - 1] >= AT_ONCE * whole)])


def _range_around(i: FloatArray, at: NDArray[np.int64]) -> FloatArray:
    """Return over how much the amps range around such readings. [A]"""
    around = i[at[:, None] + np.arange(-_AROUND, _AROUND + 1)]
    return np.asarray(np.ptp(around, axis=1))
