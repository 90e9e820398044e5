"""Whether a power column at the bank can be what its volts and amps make: else these are used in its stead."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from shuntbook.analysis.readings.chunk import Chunk, FloatArray, Sampling
from shuntbook.analysis.wording import figure

from .power_agreement import AGREES

#: Means of volts times means of amps are more than the mean of their product where a load switches within a reading, by
#: the bank's resistance times what the amps vary: so much is allowed; common practice, no source. [1]
AGREES_OF_MEANS: Final = 0.2
NAMES: Final = ("current_A", "power_W", "voltage_V")


@dataclass(frozen=True)
class PowerCheck:
    """A power column beside volts x amps, without their signs: the mean of each over the readings that have all three.

    Parameters
    ----------
    power_W, product_W : float
        The means. [W]
    allowed_W : float
        By how much they may differ: figures of meters, means of what switches, and the last digits. [W]
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
    """Sum both up, as a fold; it carries sums and digits.

    Parameters
    ----------
    sampling : {'instant', 'mean', 'held'}
        What a reading stands for.
    """

    def __init__(self, sampling: Sampling) -> None:
        self._share = AGREES_OF_MEANS if sampling == "mean" else AGREES
        self._sums = np.zeros(4)
        self._digits = {"current_A": 1.0, "power_W": 1.0}

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        q = {name: chunk.quantities[name] for name in NAMES}
        there = ~np.isnan(sum(q.values()))
        q = {name: x[there] for name, x in q.items()}
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
        rounding_W = (self._digits["current_A"] * mean_V + self._digits["power_W"]) / 2
        return PowerCheck(power_W, product_W, self._share * max(power_W, product_W) + rounding_W)


def _digit(x: FloatArray, digit: float) -> float:
    """Return the last decimal digit that readings are given to, where none before was finer; a millionth at least."""
    while digit > 1e-6 and not np.allclose(np.rint(x / digit) * digit, x, rtol=0.0, atol=1e-4 * digit):
        digit /= 10
    return digit
