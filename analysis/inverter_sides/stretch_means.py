"""Mean power over stated stretches of a log."""

from __future__ import annotations

from collections.abc import Sequence, Set

import numpy as np

from ..readings.chunk import MICROSECONDS, Chunk, FloatArray, TimeArray
from ..readings.energy_signals import contradicts
from ..readings.integral import between_readings, bridged_s
from ..readings.measured_span import HowRead

Stretch = tuple[int, int]


class StretchMeansFold:
    """Average the power of a log over stretches, in order and without overlap by its own clock, as a fold.

    What is carried is the last reading; ValueError if there are no watts to be had.
    """

    def __init__(self, how: HowRead, quantities: Set[str], stretches: Sequence[Stretch]) -> None:
        if "power_W" not in quantities and not (how.side == "dc" and {"current_A", "voltage_V"} <= quantities):
            raise ValueError("no power, and not volts and amps at the bank")
        self._how = how
        self._from_us, self._to_us = np.array(stretches, dtype=np.int64).reshape(-1, 2).T
        self._joules = np.zeros(len(self._from_us))
        self._seconds = np.zeros(len(self._from_us))
        self._last: tuple[TimeArray, FloatArray] | None = None

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        power_W = _power_W(chunk, self._how)
        known = ~np.isnan(power_W)
        time_us, power_W = chunk.time_us[known], power_W[known]
        if not len(time_us):
            return
        first = self._last is None
        if self._last is not None:
            time_us, power_W = np.append(self._last[0], time_us), np.append(self._last[1], power_W)
        self._last = time_us[-1:].copy(), power_W[-1:].copy()
        pieces = between_readings(
            time_us,
            {"power_W": power_W},
            sampling=self._how.sampling,
            gap_limit_s=bridged_s(self._how),
            usual_interval_s=self._how.usual_interval_s,
            first_of_log=first,
        ).measured
        if not len(self._from_us):
            return
        # Only intervals that lie wholly inside a stretch count: one that reaches over its edge may hold a step.
        at = np.searchsorted(self._from_us, pieces.start_us, side="right") - 1
        inside = (at >= 0) & (pieces.stop_us <= self._to_us[at])
        length_s = (pieces.stop_us - pieces.start_us)[inside] / MICROSECONDS
        mean_W = (pieces.first["power_W"] + pieces.last["power_W"])[inside] / 2
        np.add.at(self._joules, at[inside], mean_W * length_s)
        np.add.at(self._seconds, at[inside], length_s)

    def result(self) -> tuple[FloatArray, FloatArray]:
        """Return for each stretch the mean power [W], NaN where nothing was measured, and the time measured [s]."""
        measured = self._seconds > 0
        mean_W = np.full(len(measured), np.nan)
        mean_W[measured] = self._joules[measured] / self._seconds[measured]
        return mean_W, self._seconds.copy()


def _power_W(chunk: Chunk, how: HowRead) -> FloatArray:
    """Return the watts of each reading; at the bank volts x amps where the power column contradicts the current."""
    q = chunk.quantities
    power_W = q.get("power_W", np.full(len(chunk), np.nan))
    if how.side == "ac" or not {"current_A", "voltage_V"} <= q.keys():
        return power_W
    product_W = q["current_A"] * q["voltage_V"]
    return np.where(np.isnan(power_W) | contradicts(power_W, q["current_A"]), product_W, power_W)
