"""How a load behaves: settled draw, starts, how often and how long, each with its interval."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Literal

from ..bank.resistance import Resistance
from ..bank.seen_starts import SeenStarts
from ..nameplate.measured_chain import RunTotals
from ..not_known import Missing
from ..readings.chunk import Side
from ..stats.interval95 import Component, Within, combine
from .stretches import Stretches


@dataclass(frozen=True)
class MeasuredLoad:
    """A load's behaviour at the meter, above what was drawn before each run; watts are those at the meter's side.

    Parameters
    ----------
    starts_per_h, duty : Within
        Starts in an hour measured, and share of it that the load ran. [1/h], [1]
    run_W, run_A, bank_V : Within or None
        Usual settled draw and the bank's voltage in it: medians; None where that was not seen. The interval has no ends
        (infinite ones) where there are fewer than six runs.
    start_A : Within or None
        Highest reading of a start: the median, the least and the most; a lower bound unless `start_resolved`, which
        tells whether the readings were close enough together to show the starts.
    peak_W : float or None
        Highest reading of all.
    start_Wh : Within
        What a start takes beyond settled running.
    before_V : float or None
        Bank voltage before the starts: the median; stands in for it where it was not recorded: while running.
    resistance : Resistance or Missing
        Of the bank, from the sag at the starts.
    scatter_Wh, scatter_Ah : float or None
        How far the amounts of an hour scatter, as the standard deviation of those of one hour: that of T hours is
        sqrt(T) times as much. None with too few runs.
    stretches_Wh, stretches_Ah : Stretches or None
        What stretches of the runs' own time took; None with too few runs.
    gain_Wh, gain_Ah : float
        Limits of the meter's factor on energy, and on charge. [1]
    digit_W, digit_A : float
        Standard uncertainty of what its last digit does to the draw, alike in all runs: it does not average out.
    volts_assumed : bool
        Whether the log has amps alone, and watts are reckoned with an assumed voltage.
    remarks : tuple of str
        What limits it, in plain sentences.
    air_doubt : str
        Why the air of its pressure tank is in doubt by these runs; empty where it is not, or it has none.
    """

    load: str
    log: str
    side: Side
    runs: RunTotals
    covered_h: float
    starts_per_h: Within
    duty: Within
    run_W: Within | None
    run_A: Within | None
    start_A: Within | None
    peak_W: float | None
    start_resolved: bool
    start_Wh: Within
    bank_V: Within | None
    before_V: float | None
    resistance: Resistance | Missing
    starts: SeenStarts | Missing
    scatter_Wh: float | None
    scatter_Ah: float | None
    stretches_Wh: Stretches | None
    stretches_Ah: Stretches | None
    gain_Wh: float
    gain_Ah: float
    digit_W: float
    digit_A: float
    volts_assumed: bool
    remarks: tuple[str, ...]
    air_doubt: str = ""

    def amount(self, hours: float, unit: Literal["Wh", "Ah"]) -> Within | None:
        """Return what it takes at the meter in some hours; None where the log has no such amount. [unit]

        The interval is that of any such stretch of time: the chance of when runs fall, how well the log shows the usual
        hour, and the meter's factor.
        """
        total = self._of(unit)
        if total is None:
            return None
        energy = unit == "Wh"
        scatter, stretches = (self.scatter_Wh, self.stretches_Wh) if energy else (self.scatter_Ah, self.stretches_Ah)
        gain, digit = (self.gain_Wh, self.digit_W) if energy else (self.gain_Ah, self.digit_A)
        # As often as the log shows starts, each with its share of what the runs took; never more than running all
        # the time takes, nor less than nothing.
        middle = total / self.runs.runs * self.starts_per_h.value * hours
        most = max(total / self.runs.run_h * hours, middle)
        # Too few runs to know how they scatter: anything between the two can come.
        if scatter is None or stretches is None:
            return Within(middle, 0.0, most * (1 + gain))
        # What all runs share: no number of them makes it smaller.
        meter = [
            Component("gain", gain * middle / sqrt(3), even=1),
            Component("last digit", digit * self.runs.run_h / self.runs.runs * self.starts_per_h.value * hours, even=2),
        ]
        log = self._of_log(scatter, stretches, hours)
        # The time to come scatters with the root of its hours: known for long times; in short ones it counts whether a
        # run more falls in, which the log's own stretches show.
        long = Component("chance", scatter * sqrt(hours), dof=stretches.runs - 1)
        below, above = (
            max(combine([part, *log, *meter]).half for part in (long, seen)) for seen in stretches.apart(hours)
        )
        return Within(middle, max(middle - below, 0.0), min(middle + above, most * (1 + gain)))

    def _of_log(self, scatter: float, stretches: Stretches, hours: float) -> list[Component]:
        """Return how well the log shows what so many usual hours take [unit]."""
        share = hours / self.covered_h
        return [
            Component("chance in the log", scatter * sqrt(self.covered_h) * share, dof=stretches.runs - 1),
            Component("the log's ends", stretches.by_ends * share, even=2),
        ]

    def without_a_break(self, hours: float, unit: Literal["Wh", "Ah"]) -> float | None:
        """Return what it takes when it starts once and runs all the time [unit]."""
        total = self._of(unit)
        if total is None:
            return None
        start_Wh = self.runs.start_Wh / self.runs.runs
        # Charge goes with energy as it did in the runs: at their own bank voltage.
        return (self.runs.run_W * hours + start_Wh) * total / self.runs.energy_Wh

    def _of(self, unit: Literal["Wh", "Ah"]) -> float | None:
        """Return what all the runs took."""
        return self.runs.energy_Wh if unit == "Wh" else self.runs.charge_Ah
