"""Whether draw and return can be the right way round: a bank's voltage falls when more is drawn from it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .chunk import Chunk, FloatArray
from .integral import inner
from .pieces import InPieces, Piece, gaps_before
from .threshold import Threshold

#: Steps that must have moved the voltage before their direction says anything, and the share of them that must agree:
#: common practice, no source.
LEAST_STEPS: Final = 2
LEAST_SHARE: Final = 0.8
#: A step moves the voltage where that changes by this many times its usual change over as long: common practice, no
#: source.
STANDS_OUT: Final = 4.0
#: With fewer quiet readings than this, what the voltage usually does is taken from the piece before.
_ENOUGH: Final = 8


@dataclass(frozen=True)
class SignCheck:
    """How volts move when amps step.

    A bank's voltage falls when more is drawn, also where an array charges it meanwhile. ``resistance_ohm`` is the fall
    per amp; negative means that the sign is probably turned. ``plausible`` is None where too few steps move the
    voltage, or they do not agree. ``steps`` counts the steps that moved the voltage, ``against`` those of them with
    which it rose.
    """

    plausible: bool | None
    resistance_ohm: float | None
    correlation: float | None
    steps: int = 0
    against: int = 0


class SignFold(InPieces[SignCheck | None]):
    """See how volts move when amps step, as a fold.

    Only sudden changes of the current count, each with the voltage's change over the same three spacings, so a slow
    drift of either, and noise, say nothing. The tail it carries is one piece and its neighbours.

    Parameters
    ----------
    quantities : iterable of str
        The quantities the log has; without both amps and volts nothing can be said.
    gap_limit_s : float, optional
        Across a longer spacing nothing is compared. [s]
    """

    def __init__(self, quantities: Iterable[str], gap_limit_s: float | None = None) -> None:
        self._sees_sign = {"current_A", "voltage_V"} <= set(quantities)
        super().__init__(SignPart(gap_limit_s))

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if self._sees_sign:
            super().add(Chunk(chunk.time_us, {name: chunk.quantities[name] for name in ("current_A", "voltage_V")}))

    def result(self) -> SignCheck | None:
        """Return what is known so far; None where amps or volts are not read at all."""
        return super().result() if self._sees_sign else None


class SignPart:
    """The same for pieces of readings that have amps and volts."""

    def __init__(self, gap_limit_s: float | None) -> None:
        self._gap_limit_s = gap_limit_s
        self._threshold = Threshold()
        self._usual_V = 0.0
        self._steps = self._against = 0
        self._sums = np.zeros(3)

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        piece = piece.having("current_A", "voltage_V")
        current_A, voltage_V = (piece.readings.quantities[name] for name in ("current_A", "voltage_V"))
        if len(current_A) < 4:
            return
        is_gap = gaps_before(piece.readings.time_us, self._gap_limit_s)
        least_A = self._threshold.of(current_A, is_gap)
        # Over three spacings, since a reading may hold a part of the step and volts may be read after amps.
        di, dv = current_A[3:] - current_A[:-3], voltage_V[3:] - voltage_V[:-3]
        stands = np.abs(di) > least_A
        if is_gap.any():
            whole = ~(is_gap[1:-2] | is_gap[2:-1] | is_gap[3:])
            quiet_V, stands = dv[whole & ~stands], whole & stands
        else:
            quiet_V = dv[~stands] if stands.any() else dv
        self._judge_volts(quiet_V)
        if stands.any():
            found = np.zeros(len(current_A), dtype=bool)
            found[2:-1] = stands & _edges(np.diff(current_A), least_A)[1:-1]
            at = piece.inside(found) - 2
            self._count(di[at], dv[at])

    def _judge_volts(self, quiet_V: FloatArray) -> None:
        """Note what the voltage does while the current does not step."""
        if len(quiet_V) >= _ENOUGH:
            self._usual_V = float(np.sqrt(inner(quiet_V, quiet_V) / len(quiet_V)))

    def _count(self, di: FloatArray, dv: FloatArray) -> None:
        self._sums += [inner(di, di), inner(di, dv), inner(dv, dv)]
        moved = np.abs(dv) > STANDS_OUT * self._usual_V
        self._steps += int(moved.sum())
        self._against += int((moved & (di * dv > 0)).sum())

    def result(self) -> SignCheck:
        """Return what is known so far."""
        ii, iv, vv = self._sums.tolist()
        if ii <= 0 or vv <= 0:
            return SignCheck(None, None, None)
        plausible = None
        if self._steps >= LEAST_STEPS:
            share = self._against / self._steps
            plausible = True if share <= 1 - LEAST_SHARE else False if share >= LEAST_SHARE else None
        return SignCheck(plausible, -iv / ii, iv / float(np.sqrt(ii * vv)), self._steps, self._against)


def _edges(change: FloatArray, least: float) -> NDArray[np.bool_]:
    """Return which changes are steps, each edge once: at the largest of changes that follow one another."""
    size = np.abs(change)
    edge = size > least
    edge[1:] &= size[1:] >= size[:-1]
    edge[:-1] &= size[:-1] > size[1:]
    return np.asarray(edge)
