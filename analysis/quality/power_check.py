"""Whether a meter's own power column is what its volts and amps make; at the bank these can be used in its stead."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from ..charge.charge import WORTH_TELLING
from ..readings.blocks import Piece
from ..readings.chunk import Chunk, FloatArray, Sampling, Side
from ..readings.energy_signals import contradicts
from ..readings.integral import inner
from ..wording import figure

#: Columns agree where watts are volts times amps to within this share: common practice, no source; a meter's own
#: rounding, and means of what switches within a reading, stay well below it. [1]
AGREES: Final = 0.05
#: Means of volts times means of amps are more than the mean of their product where a load switches within a reading, by
#: the bank's resistance times what the amps vary: so much is allowed; common practice, no source. [1]
AGREES_OF_MEANS: Final = 0.2
NAMES: Final = ("current_A", "power_W", "voltage_V")


@dataclass(frozen=True)
class Agreement:
    """The power column against volts times amps (times power factor behind an inverter).

    `ratio` is power over the product, by least squares; `scatter` what is left after that, as a share of the power;
    `opposite` the share of the power whose sign is not the current's, 0 behind an inverter. [1]
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

    Behind an inverter volts times amps are VA: there the columns are compared where a power factor is read.
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
        # Behind an inverter the sign is whatever way round the meter hangs; sizes alone are compared.
        else:
            power_W, product_W = np.abs(power_W), np.abs(product_W)
        self._sums += [inner(product_W, product_W), inner(product_W, power_W), inner(power_W, power_W)]

    def result(self) -> Agreement | None:
        """Return the comparison so far; None where there is nothing to compare."""
        cc, cp, pp = self._sums.tolist()
        if cc <= 0 or pp <= 0:
            return None
        # What a line through nought leaves of the squares (Cauchy and Schwarz: never below 0 but for rounding).
        scatter = sqrt(max(0.0, 1 - cp * cp / (cc * pp)))
        return Agreement(cp / cc, scatter, self._opposite_W / self._all_W if self._all_W else 0.0)


@dataclass(frozen=True)
class PowerCheck:
    """A power column beside volts x amps, without their signs: the mean of each over the readings that have all three.

    `allowed_W` is by how much they may differ: figures of meters, means of what switches, and the last digits. [W]
    """

    power_W: float
    product_W: float
    allowed_W: float

    @property
    def contradicts(self) -> bool:
        """Whether they differ by more than both can be off."""
        return abs(self.power_W - self.product_W) > self.allowed_W

    def sentence(self) -> str:
        """Return in a sentence what is used in its stead, and why."""
        power, product = figure(self.power_W, "W"), figure(self.product_W, "W")
        return (
            f"the power column is {power} on average and volts x amps are {product}, further apart than both can be "
            "off: volts x amps are used, and the power column is not"
        )


class PowerCheckFold:
    """Sum both up, as a fold; it carries sums and digits."""

    def __init__(self, sampling: Sampling) -> None:
        self._share = AGREES_OF_MEANS if sampling == "mean" else AGREES
        self._sums = np.zeros(4)
        self._digits = {"current_A": 1.0, "power_W": 1.0}

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        q = {name: chunk.quantities[name] for name in NAMES}
        known = ~np.isnan(sum(q.values()))
        q = {name: x[known] for name, x in q.items()}
        power_W, product_W = np.abs(q["power_W"]), np.abs(q["voltage_V"] * q["current_A"])
        volts = float(np.abs(q["voltage_V"]).sum())
        self._sums += [float(power_W.sum()), float(product_W.sum()), volts, len(power_W)]
        self._digits = {name: _digit(q[name], digit) for name, digit in self._digits.items()}

    def result(self) -> PowerCheck | None:
        """Return the comparison so far; None where no reading has all three."""
        *sums, count = self._sums.tolist()
        if not count:
            return None
        power_W, product_W, mean_V = (x / count for x in sums)
        # Half of the last digit either way, of the amps by the mean volts: a coarse display may be off by all of it.
        rounding_W = (self._digits["current_A"] * mean_V + self._digits["power_W"]) / 2
        return PowerCheck(power_W, product_W, self._share * max(power_W, product_W) + rounding_W)


def _digit(x: FloatArray, digit: float) -> float:
    """Return the last decimal digit that readings are given to, where none before was finer; a millionth at least."""
    while digit > 1e-6 and not np.allclose(np.rint(x / digit) * digit, x, rtol=0.0, atol=1e-4 * digit):
        digit /= 10
    return digit
