"""How good a log is: what each quantity covers, and whether its sign can be right."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from .chunk import Chunk, FloatArray

#: Voltage and current must move together at least this strongly before their direction says anything.
LEAST_CORRELATION: Final = 0.3


@dataclass(frozen=True)
class QuantityRange:
    """What one quantity's readings cover; in its own unit, None where it was never read."""

    readings: int
    missing: int
    low: float | None
    high: float | None
    mean: float | None


@dataclass(frozen=True)
class SignCheck:
    """How volts move when amps do.

    A bank's voltage falls when more is drawn. ``resistance_ohm`` is the fall per amp; negative means that the sign is
    probably turned. ``plausible`` is None where volts and amps do not move together strongly enough to tell.
    """

    plausible: bool | None
    resistance_ohm: float | None
    correlation: float | None


@dataclass(frozen=True)
class Quality:
    """What a log's readings cover, by quantity, and whether the current's sign is plausible."""

    ranges: dict[str, QuantityRange]
    sign: SignCheck | None


class SignFold:
    """See how volts move when amps do, as a fold.

    Sums of products of the changes from reading to reading are kept, so slow drift of the voltage counts for nothing.
    The tail it carries is one reading.

    Parameters
    ----------
    quantities : iterable of str
        The quantities the log has; without both amps and volts nothing can be said.
    """

    def __init__(self, quantities: Iterable[str]) -> None:
        self._sees_sign = {"current_A", "voltage_V"} <= set(quantities)
        self._tail: tuple[FloatArray, FloatArray] | None = None
        self._changes = np.zeros(3)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if not self._sees_sign or not len(chunk):
            return
        current_A, voltage_V = chunk.quantities["current_A"], chunk.quantities["voltage_V"]
        there = ~(np.isnan(current_A) | np.isnan(voltage_V))
        current_A, voltage_V = current_A[there], voltage_V[there]
        if self._tail is not None:
            current_A = np.concatenate([self._tail[0], current_A])
            voltage_V = np.concatenate([self._tail[1], voltage_V])
        self._tail = (current_A[-1:], voltage_V[-1:])
        di, dv = np.diff(current_A), np.diff(voltage_V)
        self._changes += [float(di @ di), float(di @ dv), float(dv @ dv)]

    def result(self) -> SignCheck | None:
        """Return what is known so far; None where amps or volts are not read at all."""
        if not self._sees_sign:
            return None
        ii, iv, vv = self._changes.tolist()
        if ii <= 0 or vv <= 0:
            return SignCheck(None, None, None)
        correlation = iv / float(np.sqrt(ii * vv))
        plausible = None if abs(correlation) < LEAST_CORRELATION else correlation < 0
        return SignCheck(plausible, -iv / ii, correlation)


class QualityFold:
    """Look at each quantity's range and at the current's sign, as a fold; it carries what `SignFold` carries.

    Parameters
    ----------
    quantities : sequence of str
        The quantities to look at.
    """

    def __init__(self, quantities: tuple[str, ...]) -> None:
        self._ranges = {name: _Range() for name in quantities}
        self._sign = SignFold(quantities)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        for name, part in self._ranges.items():
            part.add(chunk.quantities[name])
        self._sign.add(chunk)

    def result(self) -> Quality:
        """Return what is known so far."""
        return Quality({name: part.result() for name, part in self._ranges.items()}, self._sign.result())


class _Range:
    def __init__(self) -> None:
        self.readings = self.missing = 0
        self.total = 0.0
        self.low, self.high = np.inf, -np.inf

    def add(self, x: FloatArray) -> None:
        there = x[~np.isnan(x)]
        self.readings += len(there)
        self.missing += len(x) - len(there)
        if len(there):
            self.total += float(there.sum())
            self.low, self.high = min(self.low, float(there.min())), max(self.high, float(there.max()))

    def result(self) -> QuantityRange:
        if not self.readings:
            return QuantityRange(0, self.missing, None, None, None)
        return QuantityRange(self.readings, self.missing, self.low, self.high, self.total / self.readings)
