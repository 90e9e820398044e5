"""A log at first sight: its ends as they were read, the extremes, and plain sums that show whether they make sense."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass, replace
from math import isnan
from typing import Final

import numpy as np

from .chunk import SECONDS_PER_HOUR, Chunk, FloatArray, TimeArray, join
from .energy_signals import POWER, energy_signals, energy_source
from .integral import Intervals, between_readings, bridged_s, charge_of, energy_of
from .measured_span import HowRead

#: So many readings are shown from the beginning.
SHOWN: Final = 3
#: Watts and volts x amps further apart than this share make a check of the columns worth a pass: common practice, no
#: source. [1]
_APART: Final = 0.04


@dataclass(frozen=True)
class ReadingShown:
    """One reading as it stands in the log: its instant [us] and what was read, None where the meter gave none."""

    time_us: int
    values: Mapping[str, float | None]


@dataclass(frozen=True)
class BothWays:
    """What a signal amounts to: drawn and returned, both positive. [Ah or Wh]"""

    drawn: float
    returned: float


@dataclass(frozen=True)
class FirstLook:
    """What a person sees at once whether a log was read right.

    ``lowest`` and ``highest`` are by quantity, without those never read. ``columns_apart`` tells that watts and volts x
    amps differ so much that `energy`, which is by the watts, may not be what is to be believed.
    """

    first: tuple[ReadingShown, ...]
    last: ReadingShown | None
    lowest: Mapping[str, float]
    highest: Mapping[str, float]
    charge: BothWays | None
    energy: BothWays | None
    columns_apart: bool

    def with_energy_of(self, other: FirstLook) -> FirstLook:
        """Return the same with the energy that another look at the log gave."""
        return replace(self, energy=other.energy)


class _PlainSum:
    """The integral of one signal over what its readings stand for; carries one reading."""

    def __init__(self, how: HowRead, integral: Callable[[Intervals], tuple[FloatArray, FloatArray]]) -> None:
        self._how, self._integral = how, integral
        self._tail: Chunk | None = None
        self._drawn = self._returned = self._covered_s = 0.0

    def add(self, time_us: TimeArray, values: Mapping[str, FloatArray]) -> None:
        """Take the next readings in; those without a value are as if they had not been made."""
        new = Chunk(time_us, values).having(*values)
        if not len(new):
            return
        readings = new if self._tail is None else join([self._tail, new])
        measured = between_readings(
            readings.time_us,
            readings.quantities,
            sampling=self._how.sampling,
            gap_limit_s=bridged_s(self._how),
            usual_interval_s=self._how.usual_interval_s,
            first_of_log=self._tail is None,
        ).measured
        self._tail = readings.part(len(readings) - 1, len(readings))
        drawn, returned = self._integral(measured)
        self._drawn += float(drawn.sum())
        self._returned += float(returned.sum())
        self._covered_s += float(measured.length_s.sum())

    def result(self) -> BothWays | None:
        """Return both ways so far; None where no reading stands for any time."""
        if self._covered_s <= 0:
            return None
        return BothWays(self._drawn / SECONDS_PER_HOUR, self._returned / SECONDS_PER_HOUR)


class FirstLookFold:
    """Collect what is shown of a log at first sight, as a fold; the sums are those of `charge`, without intervals."""

    def __init__(self, how: HowRead, quantities: Set[str]) -> None:
        self._side = how.side
        self._source = energy_source(how.side, quantities)
        self._charge = _PlainSum(how, charge_of) if how.side == "dc" and "current_A" in quantities else None
        self._energy = _PlainSum(how, energy_of) if self._source else None
        self._compares = how.side == "dc" and {"current_A", "voltage_V", "power_W"} <= quantities
        self._power_W = self._product_W = 0.0
        self._first: list[ReadingShown] = []
        self._last: ReadingShown | None = None
        self._lowest: dict[str, float] = {}
        self._highest: dict[str, float] = {}

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if not len(chunk):
            return
        missing = range(min(SHOWN - len(self._first), len(chunk)))
        self._first += [_shown(chunk, k) for k in missing]
        self._last = _shown(chunk, len(chunk) - 1)
        q = chunk.quantities
        for name, x in q.items():
            low, high = float(np.fmin.reduce(x)), float(np.fmax.reduce(x))
            if not isnan(low):  # of missing readings alone there is no lowest
                self._lowest[name] = min(low, self._lowest.get(name, low))
                self._highest[name] = max(high, self._highest.get(name, high))
        if self._charge is not None:
            self._charge.add(chunk.time_us, {"i": q["current_A"]})
        if self._energy is not None and self._source is not None:
            self._energy.add(chunk.time_us, energy_signals(self._side, self._source, q))
        if self._compares and self._source == POWER:
            self._compare(q)

    def _compare(self, q: Mapping[str, FloatArray]) -> None:
        power_W, product_W = np.abs(q["power_W"]), np.abs(q["voltage_V"] * q["current_A"])
        known = ~np.isnan(power_W + product_W)
        self._power_W += float(power_W.sum(where=known))
        self._product_W += float(product_W.sum(where=known))

    def result(self) -> FirstLook:
        """Return what was seen so far."""
        return FirstLook(
            tuple(self._first),
            self._last,
            dict(self._lowest),
            dict(self._highest),
            self._charge.result() if self._charge else None,
            self._energy.result() if self._energy else None,
            abs(self._power_W - self._product_W) > _APART * max(self._power_W, self._product_W),
        )


def _shown(chunk: Chunk, k: int) -> ReadingShown:
    values = {name: float(x[k]) for name, x in chunk.quantities.items()}
    return ReadingShown(int(chunk.time_us[k]), {name: None if isnan(x) else x for name, x in values.items()})
