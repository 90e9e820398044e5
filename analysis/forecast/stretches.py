"""What stretches of a load's own time took, wherever they begin: chance that no formula for long times knows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..cycles.cycle import Cycle
from ..readings.chunk import SECONDS_PER_HOUR, FloatArray
from ..stats.interval95 import Component, combine, t_factor
from ..stats.ranks import FEWEST

#: So many beginnings, evenly over the runs' time, tell the ends of 95 % to a fraction of a run. [1]
_BEGINNINGS: Final = 2000


@dataclass(frozen=True)
class Stretches:
    """Runs one after another, each after its own rest, as a timeline that begins again at its end.

    Where runs are few, or as regular as a clock, what a stretch takes depends on where it begins: it holds a run more
    or less, or cuts one. The variance of long times is blind to that.
    """

    edges_h: FloatArray
    taken: FloatArray

    @classmethod
    def of(cls, cycles: Sequence[Cycle], field: str) -> Stretches | None:
        """Return those of cycles by an amount of theirs; None with too few."""
        rows = [
            (cycle.off_before_s, cycle.run_s, amount)
            for cycle in cycles
            if cycle.off_before_s is not None
            and cycle.run_s is not None
            and (amount := getattr(cycle, field)) is not None
        ]
        if len(rows) < FEWEST:
            return None
        off_s, run_s, amount = np.array(rows).T
        edges_h = np.cumsum(np.column_stack([off_s, run_s]).ravel()) / SECONDS_PER_HOUR
        return cls(np.append(0.0, edges_h), np.append(0.0, np.repeat(np.cumsum(amount), 2) - _nothing_at_rest(amount)))

    @property
    def runs(self) -> int:
        """How many runs it has."""
        return len(self.taken) // 2

    @property
    def by_ends(self) -> float:
        """Standard deviation of what the runs counted take, for where a log begins and ends among them [unit].

        The variance of a count in a long time t is t s^2 / m^3 + 1/6 + (s/m)^4 / 2 - m3 / (3 m^3), of lengths with mean
        m, variance s^2 and third moment m3 about it (equilibrium renewals, D. R. Cox 1962, from memory): what does not
        grow with t is a sixth of a run for those like a clock, and nothing for those that come as they please.
        """
        lengths = np.diff(self.edges_h[::2])
        apart = lengths / lengths.mean() - 1
        variance = 1 / 6 + float((apart**2).mean()) ** 2 / 2 - float((apart**3).mean()) / 3
        return float(self.taken[-1]) / self.runs * math.sqrt(max(variance, 0.0))

    def apart(self, hours: float) -> tuple[Component, Component]:
        """Return where stretches of some hours lie below their mean, and above it, by their outer 2.5 % [unit]."""
        begins_h = np.linspace(0.0, self.edges_h[-1], _BEGINNINGS, endpoint=False)
        took = self._until(begins_h + hours) - self._until(begins_h)
        low, high = np.quantile(took, (0.025, 0.975)) - took.mean()
        even = _like_evens(took)
        # The ends of the runs' own, turned into standard deviations by the factor of that shape; these are then widened
        # for few runs as any standard deviation is, though they need not be normal.
        widened = t_factor(self.runs - 1, 0.95) / t_factor(math.inf, 0.95)
        # A timeline that begins again hides of its variance the share that one stretch has of it.
        hidden = min(hours / self.edges_h[-1], 0.5)
        factor = combine([Component("", 1.0, even=even)]).half / widened * math.sqrt(1 - hidden)
        below, above = (Component("where it begins", max(float(x), 0.0) / factor, even=even) for x in (-low, high))
        return below, above

    def _until(self, at_h: FloatArray) -> FloatArray:
        """Return what was taken from the first rest until these times, over as many rounds as it takes."""
        rounds = np.floor(at_h / self.edges_h[-1])
        inside = np.interp(at_h - rounds * self.edges_h[-1], self.edges_h, self.taken)
        return np.asarray(rounds * self.taken[-1] + inside)


def _nothing_at_rest(amount: FloatArray) -> FloatArray:
    """Return what is not yet taken at the end of each rest, and of each run."""
    return np.column_stack([amount, np.zeros_like(amount)]).ravel()


def _like_evens(took: FloatArray) -> float:
    """Return of how many even parts amounts look like the sum, by their kurtosis; 0 where they are normal, or wider."""
    spread = float(took.std())
    if spread <= 1e-12 * max(abs(float(took.mean())), 1e-12):
        return 1.0
    excess = float((((took - took.mean()) / spread) ** 4).mean()) - 3
    return max(-1.2 / excess, 1.0) if excess < -0.1 else 0.0
