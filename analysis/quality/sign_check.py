"""Whether draw and return can be the right way round: a bank's voltage falls when more is drawn from it."""

from __future__ import annotations

import copy
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..readings.blocks import Piece, PieceRows, Pieces, gaps_before
from ..readings.chunk import Chunk, FloatArray, has_missing
from ..readings.measured_span import HowRead
from ..signal_levels.step_threshold import Threshold

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


class SignFold:
    """See how volts move when amps step, as a fold; without both amps and volts nothing can be said.

    Only sudden changes of the current count, each with the voltage's change over the same three spacings, so a slow
    drift of either, and noise, say nothing. The tail it carries is one piece and its neighbours.
    """

    def __init__(self, quantities: Iterable[str], gap_limit_s: float | None = None) -> None:
        self._sees_sign = {"current_A", "voltage_V"} <= set(quantities)
        self._pieces, self._part = Pieces(), SignPart(gap_limit_s)

    @classmethod
    def of(cls, how: HowRead, quantities: Iterable[str]) -> SignFold:
        """Return the fold for readings that were taken so.

        Behind an inverter nothing flows back and the volts are its own: they say nothing of the way of the current.
        """
        return cls(quantities if how.side == "dc" else (), how.gap_limit_s)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if self._sees_sign:
            both = {name: chunk.quantities[name] for name in ("current_A", "voltage_V")}
            for rows in self._pieces.together(Chunk(chunk.time_us, both)):
                self._part.take_rows(rows)

    def result(self) -> SignCheck | None:
        """Return what is known so far; None where amps or volts are not read at all."""
        if not self._sees_sign:
            return None
        part, rest = copy.deepcopy(self._part), self._pieces.rest()
        if rest is not None:
            part.take(rest)
        return part.result()


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
        if len(piece.readings) >= 4:
            self._judge(PieceRows.of(piece))

    def take_rows(self, rows: PieceRows) -> None:
        """Take the next pieces in, as if one by one."""
        # Rows can be judged all at once only where each has all its readings.
        if any(has_missing(rows.quantities[name]) for name in ("current_A", "voltage_V")):
            for piece in rows.each():
                self.take(piece)
        else:
            self._judge(rows)

    def _judge(self, rows: PieceRows) -> None:
        current_A, voltage_V = rows.quantities["current_A"], rows.quantities["voltage_V"]
        is_gap = gaps_before(rows.time_us, self._gap_limit_s)
        least_A = self._threshold.of_rows(current_A, is_gap)
        # Over three spacings, since a reading may hold a part of the step and volts may be read after amps.
        di, dv = (x[:, 3:] - x[:, :-3] for x in (current_A, voltage_V))
        stands = loud = np.abs(di) > least_A[:, None]
        if is_gap.any():
            across = is_gap[:, 1:-2] | is_gap[:, 2:-1] | is_gap[:, 3:]
            stands, loud = stands & ~across, stands | across
        usual_V = self._usual_volts(dv, loud)
        row, at = np.divmod(np.flatnonzero(stands), stands.shape[1])  # several times quicker than numpy.nonzero
        here = (at >= rows.start - 2) & (at < rows.stop - 2)
        row, at = row[here], at[here]
        edges = _is_edge(current_A, row, at + 2, least_A) & _stays(voltage_V[row, at], voltage_V[row, at + 3])
        row, at = row[edges], at[edges]
        self._count(row, di[row, at], dv[row, at], usual_V)

    def _usual_volts(self, dv: FloatArray, loud: NDArray[np.bool_]) -> FloatArray:
        """Return what the voltage does in each row while the current does not step; shape (m,). [V]"""
        at, (rows, width), quiet_V = np.flatnonzero(loud), dv.shape, dv.copy()
        quiet_V.ravel()[at] = 0.0
        counts = (width - np.bincount(at // width, minlength=rows)).tolist()
        squares = np.einsum("ij,ij->i", quiet_V, quiet_V).tolist()
        usual_V = []
        for count, square in zip(counts, squares, strict=True):
            # A row full of steps has too little quiet to tell, and keeps what the one before showed.
            self._usual_V = math.sqrt(square / count) if count >= _ENOUGH else self._usual_V
            usual_V.append(self._usual_V)
        return np.array(usual_V)

    def _count(self, row: NDArray[np.intp], di: FloatArray, dv: FloatArray, usual_V: FloatArray) -> None:
        if not len(row):
            return
        products = [np.bincount(row, x, len(usual_V)) for x in (di * di, di * dv, dv * dv)]
        for of_row in zip(*products, strict=True):  # row by row, however many there are at once
            self._sums += of_row
        # A step that the volts do not answer beyond their noise has no direction, and does not count either way.
        moved = np.abs(dv) > STANDS_OUT * usual_V[row]
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
            # Between both shares the steps contradict each other, and nothing is said.
            plausible = True if share <= 1 - LEAST_SHARE else False if share >= LEAST_SHARE else None
        return SignCheck(plausible, -iv / ii, iv / float(np.sqrt(ii * vv)), self._steps, self._against)


def _stays(before_V: FloatArray, after_V: FloatArray) -> NDArray[np.bool_]:
    """Tell where volts can be a bank's on both sides of a step: it never loses half, an output switched off does."""
    return np.asarray(2 * np.minimum(before_V, after_V) >= np.maximum(before_V, after_V))


def _is_edge(x: FloatArray, row: NDArray[np.intp], at: NDArray[np.intp], least: FloatArray) -> NDArray[np.bool_]:
    """Return which readings, by row and column, are steps, each edge once: the largest of changes in succession."""
    before, size, after = (np.abs(x[row, at + k] - x[row, at + k - 1]) for k in (-1, 0, 1))
    return np.asarray((size > least[row]) & (size >= before) & (size > after))
