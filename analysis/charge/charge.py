"""Charge and energy: the integral of current, and of power, over time."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass, field, replace

import numpy as np

from ..not_known import Refusal
from ..readings.chunk import SECONDS_PER_HOUR, Chunk
from ..readings.energy_signals import POWER, energy_source, why_nothing
from ..readings.integral import bridged_s, inner
from ..readings.measured_span import Gap, HowRead, Span
from ..site.motor_tables import USUAL_START_S
from .amounts import Amounts, Charge, Evidence
from .completed import CompletedIntervals, CompletedReadings, Reader, Window
from .display_delay import DelaySums, StartSums
from .error_facts import ErrorFacts, ErrorSums
from .grouped_sums import Hours
from .instants import InstantsFold, looked_at
from .meter_counter import CounterFold
from .noted import NoteSums

#: From this share of all that the power column says on, it is told that its sign contradicts the current's: common
#: practice, no source; readings about zero disagree by noise alone. [1]
WORTH_TELLING = 0.01


@dataclass
class SignalIntegral:
    """The integral of one signal: sums the two directions, lists the gaps, gathers the evidence for how sure it is."""

    how: HowRead
    positive: float = 0.0
    negative: float = 0.0
    covered_s: float = 0.0
    readings: int = 0
    start_us: int | None = None
    stop_us: int | None = None
    gaps: list[Gap] = field(default_factory=list)
    hours: Hours = field(default_factory=Hours)

    def __post_init__(self) -> None:
        """Make what gathers the evidence for the uncertainty."""
        self.errors = ErrorSums(linear=self.how.sampling == "instant")
        self._notes = NoteSums() if self.how.noted else None
        delay_s, holds_s, held = self.how.delay_s, self.how.holds_s, self.how.sampling == "held"
        self._late = None if delay_s is None else DelaySums(delay_s, holds_s, held=held)
        self._starts = StartSums(USUAL_START_S + holds_s) if held else None

    def take(self, pieces: CompletedIntervals) -> None:
        """Integrate what the next readings complete."""
        if len(pieces.measured.start_us):
            self._sum_up(pieces)
        if self._notes is not None:
            self._notes.add(pieces.at_us, pieces.last, pieces.measured.length_s)
        if self._late is not None and len(pieces.last):
            self._late.add(pieces.last, pieces.measured.start_us, pieces.measured.stop_us)
        if self._starts is not None and len(pieces.last):
            self._starts.add(pieces.last, pieces.measured.length_s)
        # A mean after a gap stands for one usual interval, which may be all of the gap: then nothing is left of it.
        pairs = zip(pieces.gap_start_us.tolist(), pieces.gap_stop_us.tolist(), strict=True)
        new = [Gap(start_us, stop_us) for start_us, stop_us in pairs if stop_us > start_us]
        self.gaps += new
        at_us, measured = pieces.at_us, pieces.measured
        self.readings += len(at_us)
        # A span begins and ends with readings, with intervals (a first mean stands for the time before it), or with
        # gaps, which a window may cut at both its ends.
        edges = [at_us[:1], at_us[-1:], measured.start_us[:1], measured.stop_us[-1:]]
        self._widen([int(t) for edge in edges for t in edge] + [t for gap in new for t in (gap.start_us, gap.stop_us)])

    def _sum_up(self, pieces: CompletedIntervals) -> None:
        """Add the sums of the next intervals, at least one."""
        drawn, returned, covered_s = pieces.sums.hours.total
        self.positive += drawn
        self.negative += returned
        self.covered_s += covered_s
        self.hours.add(pieces.sums.hours)
        self.errors.add(pieces.sums)

    def _widen(self, instants: list[int]) -> None:
        for t in instants:
            self.start_us = t if self.start_us is None else min(self.start_us, t)
            self.stop_us = t if self.stop_us is None else max(self.stop_us, t)

    def error_facts(self) -> ErrorFacts:
        """Return what the readings so far say of their errors."""
        notes = None if self._notes is None else self._notes.result()
        late = None if self._late is None else self._late.result()
        starts = None if self._starts is None else self._starts.result()
        return replace(self.errors.result(), notes=notes, late=late, starts=starts)

    def span(self) -> Span:
        """Return the time that was measured so far."""
        return Span(self.start_us, self.stop_us, self.readings, self.covered_s, tuple(self.gaps))

    def amounts(self) -> Amounts | None:
        """Return the two sums; None where no reading stands for any time that they could come from."""
        if self.covered_s <= 0:
            return None
        return Amounts(self.positive / SECONDS_PER_HOUR, self.negative / SECONDS_PER_HOUR)

    def in_gaps(self) -> Amounts | None:
        """Return what the gaps may have held, had they been like the hours around them; None where that is unknown."""
        guess = self.hours.like_around(self.gaps) if self.gaps else None
        return None if guess is None else Amounts(guess[0] / SECONDS_PER_HOUR, guess[1] / SECONDS_PER_HOUR)


class PowerIntegral(SignalIntegral):
    """The integral of power, which also weighs how much of the power column contradicts the current.

    ``swing_Ws`` is the fall of volts x rise of amps x length, summed from reading to reading. [W s]
    """

    def __init__(self, how: HowRead, quantities: Set[str]) -> None:
        super().__init__(how)
        self.source = energy_source(how.side, quantities) or ""
        self.swing_Ws = 0.0
        self._checks = self.source == POWER and how.side == "dc" and "current_A" in quantities
        self._replaced_by = "volts x amps instead" if "voltage_V" in quantities else "left out"
        self._all_W = self._wrong_W = self._volt_seconds = 0.0
        self._means = np.empty((2, 0))

    def weigh(self, read: CompletedReadings) -> None:
        """Weigh how much of the next readings' power contradicts their current."""
        if self._checks:
            all_W, wrong_W = read.weighed
            self._all_W += all_W
            self._wrong_W += wrong_W

    def _sum_up(self, pieces: CompletedIntervals) -> None:
        super()._sum_up(pieces)
        if "v" not in pieces.measured.first:
            return
        volt_seconds, swing_Ws = pieces.swings
        self._volt_seconds += volt_seconds
        if self.how.sampling == "instant":
            self.swing_Ws += swing_Ws
        elif self.how.sampling == "mean":
            # A mean has no change within its interval: the changes are those from one mean to the next, and the last
            # one before is carried.
            last, length_s = pieces.measured.last, pieces.measured.length_s
            means = np.concatenate([self._means, [last["v"], last["i"]]], axis=1)
            self._means = means[:, -1:].copy()
            change = np.diff(means, axis=1)
            self.swing_Ws += inner(-change[0] * change[1], length_s[-change.shape[1] :]) if change.size else 0.0

    @property
    def mean_V(self) -> float | None:
        """Mean voltage over the measured time [V]; None where volts were not needed."""
        return self._volt_seconds / self.covered_s if self.covered_s > 0 and self._volt_seconds else None

    def source_in_words(self) -> str:
        """Return what the power was taken from, and what replaced it where it cannot be trusted."""
        if self._wrong_W <= WORTH_TELLING * self._all_W:
            return self.source
        return f"{self.source} ({self._replaced_by} where its sign contradicts the current's)"


class ChargeSums:
    """Integrate current and power over a window of time: the sums of a fold, without what is read.

    The integral is exact for what is assumed between readings: current (and voltage) run linearly between ``instant``
    readings, stand still for ``mean`` and ``held`` ones. Draw and return are split exactly at the zero crossing. Energy
    integrates the product of the two linear pieces (see `product_split`), or the power column. Gaps add nothing and are
    listed.

    Raises
    ------
    Refusal
        If the log has neither current nor power, or amps and volts on side ``ac`` without a power factor.

    Notes
    -----
    For means of volts and of amps the product is not the mean of the product: a load that switches within the interval
    makes it differ.
    """

    def __init__(
        self, how: HowRead, quantities: Set[str], *, from_us: int | None = None, to_us: int | None = None
    ) -> None:
        self._how = how
        self.window: Window = (from_us, to_us)
        self._charge = SignalIntegral(how) if how.side == "dc" and "current_A" in quantities else None
        self._energy = PowerIntegral(how, quantities) if energy_source(how.side, quantities) else None
        if self._charge is None and self._energy is None:
            raise Refusal(why_nothing(how.side, quantities))
        # What a person reads off by eye has no gaps, so the counter has none that our integral leaves out.
        self._counter = (
            CounterFold(how.counter_kind, bridged_s(how)) if self._charge and "charge_Ah" in quantities else None
        )

    @classmethod
    def over(cls, how: HowRead, quantities: Set[str], window: Window) -> ChargeSums:
        """Return the sums of a window."""
        return cls(how, quantities, from_us=window[0], to_us=window[1])

    def take(self, read: CompletedReadings) -> None:
        """Take in what the next readings complete, as far as it lies in the window."""
        read = read.within(self.window)
        if self._charge is not None and read.current is not None:
            self._charge.take(read.current)
        if self._energy is not None:
            self._energy.weigh(read)
            if read.power is not None:
                self._energy.take(read.power)
        if self._counter is not None:
            q = read.chunk.quantities
            self._counter.add(read.chunk.time_us, q["charge_Ah"], q["current_A"])

    def result(self) -> Charge:
        """Return charge and energy so far; the counter is compared where the log has one."""
        leading = self._charge or self._energy
        assert leading is not None
        charge = self._charge.amounts() if self._charge else None
        counter = None
        if self._counter is not None and charge is not None:
            counter = self._counter.compared(drawn_Ah=charge.drawn, returned_Ah=charge.returned)
        energy = self._energy.amounts() if self._energy else None
        evidence = Evidence(
            self._charge.error_facts() if self._charge else None,
            self._energy.error_facts() if self._energy else None,
            self._energy.mean_V if self._energy else None,
            self._energy.swing_Ws if self._energy else 0.0,
        )
        return Charge(
            how=self._how,
            span=leading.span(),
            charge=charge,
            energy=energy,
            energy_by=self._energy.source_in_words() if self._energy and energy else None,
            counter=counter,
            energy_span=self._energy.span() if self._energy and energy else None,
            energy_from=self._energy.source if self._energy and energy else None,
            evidence=evidence,
            in_gaps=leading.in_gaps(),
        )


class HighestShown:
    """The highest readings of all of a log, without their signs, whatever window is asked for; part of a fold."""

    def __init__(self) -> None:
        self._highest = {"current_A": 0.0, "power_W": 0.0}

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in; what the meter left out of some is NaN."""
        for name, before in self._highest.items():
            if name not in chunk.quantities:
                continue
            low, high = chunk.extremes(name)
            if chunk.lacks(name):
                high = float(np.fmax.reduce(np.abs(chunk.quantities[name]), initial=before))
                low = -high
            self._highest[name] = max(before, -low, high)

    def of_log(self, charge: Charge) -> Charge:
        """Return a charge of this log with what stands for its meter's range."""
        return charge.in_log_up_to(self._highest["current_A"], self._highest["power_W"])


class ChargeFold:
    """Integrate current and power over time, as a fold; see `ChargeSums` for how, and what is refused.

    The tail it carries is one reading of each signal, and one piece in which instants are looked at.
    """

    def __init__(
        self, how: HowRead, quantities: Set[str], *, from_us: int | None = None, to_us: int | None = None
    ) -> None:
        self._sums = ChargeSums(how, quantities, from_us=from_us, to_us=to_us)
        self._reader = Reader(how, quantities)
        signal = looked_at(how.side, how.sampling, quantities)
        self._instants = InstantsFold(signal, how.gap_limit_s) if signal else None
        self._highest = HighestShown()

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if len(chunk):
            self._sums.take(self._reader.take(chunk))
            self._highest.add(chunk)
            if self._instants is not None:
                self._instants.add(chunk)

    def end_at(self, us: int) -> None:
        """Leave out what flows after an instant, where readings so far have not passed it. [us]"""
        self._sums.window = self._sums.window[0], us

    def result(self) -> Charge:
        """Return charge and energy so far."""
        instants = self._instants.result() if self._instants is not None else None
        return self._highest.of_log(self._sums.result().read_at(instants))
