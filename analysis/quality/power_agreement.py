"""Whether a meter's own power column is what its volts and amps make."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from shuntbook.analysis.charge.charge import WORTH_TELLING
from shuntbook.analysis.readings.blocks import Piece
from shuntbook.analysis.readings.chunk import Side
from shuntbook.analysis.readings.integral import contradicts, inner

#: Columns agree where watts are volts times amps to within this share: common practice, no source; a meter's own
#: rounding, and means of what switches within a reading, stay well below it. [1]
AGREES: Final = 0.05


@dataclass(frozen=True)
class Agreement:
    """The power column against volts times amps (times power factor behind an inverter).

    Parameters
    ----------
    ratio : float
        Power over the product, by least squares. [1]
    scatter : float
        What is left after that ratio, as a share of the power. [1]
    opposite : float
        Share of the power whose sign is not the current's; 0 behind an inverter. [1]
    """

    ratio: float
    scatter: float
    opposite: float

    @property
    def agrees(self) -> bool:
        """Whether nothing is the matter."""
        return abs(self.ratio - 1) <= AGREES and self.scatter <= 2 * AGREES and self.opposite <= WORTH_TELLING


class AgreementPart:
    """Compare the columns; sums are all it carries.

    Parameters
    ----------
    side : {'dc', 'ac'}
        Behind an inverter volts times amps are VA: there the columns are compared where a power factor is read.
    quantities : tuple of str
        The quantities the log has.
    """

    def __init__(self, side: Side, quantities: tuple[str, ...]) -> None:
        self._names = ("power_W", "voltage_V", "current_A", *(["power_factor"] if side == "ac" else []))
        self._compares = set(self._names) <= set(quantities)
        self._signed = side == "dc"
        self._sums = np.zeros(3)
        self._all_W = self._opposite_W = 0.0

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        if not self._compares:
            return
        q = piece.having(*self._names).new().quantities
        power_W, factors = q["power_W"], [q[name] for name in self._names[1:]]
        product_W = np.prod(factors, axis=0)
        if self._signed:
            self._all_W += float(np.abs(power_W).sum())
            self._opposite_W += float(np.abs(power_W[contradicts(power_W, q["current_A"])]).sum())
        else:
            power_W, product_W = np.abs(power_W), np.abs(product_W)
        self._sums += [inner(product_W, product_W), inner(product_W, power_W), inner(power_W, power_W)]

    def result(self) -> Agreement | None:
        """Return the comparison so far; None where there is nothing to compare."""
        cc, cp, pp = self._sums.tolist()
        if cc <= 0 or pp <= 0:
            return None
        scatter = sqrt(max(0.0, 1 - cp * cp / (cc * pp)))
        return Agreement(cp / cc, scatter, self._opposite_W / self._all_W if self._all_W else 0.0)
