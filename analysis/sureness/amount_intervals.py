"""Charge and energy of a log and between its markers, with 95 % intervals: their components, each with its reason.

After the GUM (JCGM 100:2008): a limit of error from a data sheet is an even (rectangular) distribution (4.3.7); what is
the same unknown error in all readings of a log (gain, zero, clock) is one component that grows with the sum, never one
of each reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from ..charge.amounts import Amounts, Charge, Evidence, Sureness
from ..charge.between_notes import MarkedStretch, MarkedSums
from ..charge.charge import ChargeFold, ChargeSums, HighestShown
from ..charge.completed import CompletedReadings, Reader
from ..charge.error_facts import ErrorFacts
from ..charge.instants import Instants, InstantsFold, looked_at
from ..readings.chunk import SECONDS_PER_HOUR, Chunk
from ..readings.energy_signals import POWER, VOLTS_AMPS, VOLTS_AMPS_FACTOR
from ..readings.measured_span import HowRead
from ..stats.interval95 import EVEN, Component, HowSure, judged
from .meter_figures import RANGE_IS_OFFSET, USUAL_READING_PCT, Accuracy, MeterFigures
from .signal_errors import Flow, Rounded, SignalErrors, UnseenStarts

_FACTOR: Final = "taken as ± 1 %: common practice, no source"
_OF_PRODUCT: Final = "a load that switches between two readings moves volts and amps at once, their lines do not"


class AmountsAnalysis:
    """Integrate a log, and each stretch between its markers, as a fold.

    It carries one reading of each signal, and one piece in which instants are looked at. Markers are instants [us] and
    texts; only what lies between `from_us` and `to_us` is integrated. `marked` are the sums of the stretches, None
    without markers; `instants` looks at the instants of the log, None where there is nothing to look at.
    """

    def __init__(
        self,
        how: HowRead,
        quantities: set[str],
        figures: MeterFigures,
        markers: Sequence[tuple[int, str]] = (),
        *,
        from_us: int | None = None,
        to_us: int | None = None,
    ) -> None:
        self._figures = figures
        self._charge = ChargeSums(how, quantities, from_us=from_us, to_us=to_us)
        self.marked = MarkedSums(how, quantities, markers, from_us=from_us, to_us=to_us) if markers else None
        self._reader = Reader(how, quantities, digits=figures.has_digits)
        # Where the spacings allow two gap limits the other one reads for itself: its intervals and gaps are others.
        self._otherwise: ChargeFold | None = None
        if how.other_gap_limit_s is not None:
            other = replace(how, gap_limit_s=how.other_gap_limit_s, other_gap_limit_s=None)
            self._otherwise = ChargeFold(other, quantities, from_us=from_us, to_us=to_us)
        signal = looked_at(how.side, how.sampling, quantities)
        self.instants = InstantsFold(signal, how.gap_limit_s) if signal else None
        self._highest = HighestShown()

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if len(chunk):
            self.take(self.read(chunk))

    def read(self, chunk: Chunk) -> CompletedReadings:
        """Join the next readings, at least one, to those before; `take` is to have what they complete, in order."""
        return self._reader.take(chunk)

    def work_out(self, read: CompletedReadings) -> None:
        """Do ahead, in any thread, what needs nothing but what was read, so that `take` is quick."""
        # What a window cuts has sums of its own, which cannot be made before it is cut.
        if read.within(self._charge.window) is read:
            read.work_out()

    def take(self, read: CompletedReadings) -> None:
        """Take in what the next readings complete, where somebody else reads them."""
        self._charge.take(read)
        self._highest.add(read.chunk)
        if self.marked is not None:
            self.marked.take(read)
        if self._otherwise is not None:
            self._otherwise.add(read.chunk)
        if self.instants is not None:
            self.instants.add(read.chunk)

    def result(
        self, starts: UnseenStarts | None = None, starts_us: Sequence[int] = ()
    ) -> tuple[Charge, tuple[MarkedStretch, ...]]:
        """Return what all readings so far amount to, by when the load started and what a start may draw unseen."""
        sure = self.sure(starts, starts_us)
        stretches = self.marked.result() if self.marked is not None else ()
        marked = tuple(replace(stretch, whole=sure(stretch.whole).in_short()) for stretch in stretches)
        charge = sure(self._charge.result())
        if self._otherwise is not None:
            charge = replace(charge, otherwise=sure(self._otherwise.result()))
        return charge, marked

    def sure(self, starts: UnseenStarts | None, starts_us: Sequence[int]) -> Callable[[Charge], Charge]:
        """Return what gives amounts their intervals, by the starts [us] that lie in their span.

        Only what one start may draw is taken from `starts`, if any; their number is that of `starts_us`.
        """
        instants = self.instants.result() if self.instants is not None else None

        def with_starts(charge: Charge) -> Charge:
            of_log = self._highest.of_log(charge.read_at(instants))
            return with_intervals_by_starts(of_log, self._figures, starts, starts_us)

        return with_starts


def with_intervals_by_starts(
    charge: Charge, figures: MeterFigures, starts: UnseenStarts | None, starts_us: Sequence[int]
) -> Charge:
    """Return charge and energy with their intervals, by those of all starts of a log [us] that lie in their span."""
    low, high = charge.span.start_us, charge.span.stop_us
    if starts is None or low is None or high is None:
        return with_intervals(charge, figures)
    at_us = np.asarray(starts_us, dtype=np.int64)
    inside = int(((at_us >= low) & (at_us <= high)).sum())
    return with_intervals(charge, figures, starts.within(low, high, inside))


def with_intervals(charge: Charge, figures: MeterFigures, starts: UnseenStarts | None = None) -> Charge:
    """Return charge and energy with their 95 % intervals and budgets, by the starts whose surge may have been missed.

    Gaps are outside: nothing is added for them.
    """
    evidence = charge.evidence
    if evidence is None:
        return charge
    if charge.how.noted:
        figures = _with_digits(figures, evidence)
    new = charge
    if charge.charge is not None and evidence.current is not None:
        new = replace(new, charge=_sure(charge.charge, _OfCharge(charge, evidence.current, figures, starts)))
    if charge.energy is not None and evidence.power is not None:
        new = replace(new, energy=_sure(charge.energy, _OfEnergy(charge, evidence, figures, starts)))
    return new


def _with_digits(figures: MeterFigures, evidence: Evidence) -> MeterFigures:
    """Return figures with the last digit that was noted, where none is stated."""
    current, power = (facts.notes if facts else None for facts in (evidence.current, evidence.power))
    if current is not None and not figures.current.resolution:
        figures = replace(figures, current=replace(figures.current, resolution=current.digit))
    if current is None and power is not None and not (figures.power and figures.power.resolution):
        figures = replace(figures, power=replace(figures.power or Accuracy(), resolution=power.digit))
    return figures


def _sure(amounts: Amounts, errors: _AmountErrors) -> Amounts:
    return replace(amounts, sure=Sureness(errors.of("drawn"), errors.of("returned"), errors.of("net")))


class _AmountErrors(SignalErrors):
    """Errors of an amount: what its readings do, and in a subclass what its meter does."""

    def __init__(
        self,
        charge: Charge,
        amounts: Amounts,
        facts: ErrorFacts,
        figures: MeterFigures,
        starts: UnseenStarts | None,
        resolution: float,
        rounded: Rounded | None = None,
    ) -> None:
        super().__init__(charge, facts, resolution, starts, rounded)
        self._amounts = amounts
        self._figures = figures
        known = charge.evidence.instants if charge.evidence is not None else None
        self._instants = known or Instants(None, None)

    def of(self, part: Flow) -> HowSure:
        """Return how sure one of the amounts is."""
        value = getattr(self._amounts, part)
        # What few starts drew is no distribution, nor what noise about zero adds to draw and return alike, nor what
        # steps leave unseen: these bounds push one end out, and only likely values shift both.
        less, more = self.by_chance(part)
        meter = [*self._of_meter(part, value), self._figures.clock(value)]
        drawn = 0.0 if part == "returned" else self._amounts.drawn
        sure = judged(
            value,
            [*meter, *self.of_readings(part, value), *self._instants.components(drawn)],
            lower=self.about_zero(part) + less,
            higher=more + self.unseen(part) + self._instants.beyond(drawn),
            missed=self.of_held_starts(part),
            shift=self._shift(part),
        )
        # Neither draw nor return is ever less than nothing; only their difference is.
        return sure if part == "net" else replace(sure, low=max(sure.low, 0.0))

    def _of_meter(self, part: Flow, value: float) -> Iterator[Component]:
        """Yield what the meter's figures do to one of the amounts."""
        raise NotImplementedError

    def _offsets(self, part: Flow, highest_A: float, by: float = 1.0) -> Iterator[Component]:
        """Yield what an error of the current's zero does over time, times `by`: volts, for energy. [V] or [1]"""
        for source, limit_A, reason in self._figures.zero_limits(highest_A):
            time_h = self.time_s(part, limit_A * by) / SECONDS_PER_HOUR
            yield Component(source, limit_A * by * time_h / EVEN, even=1, reason=reason)
        # A zero that was measured is a mean of readings, spread as such: twice its uncertainty is about its limit.
        if (check := self._figures.zero_check) is not None:
            time_h = self.time_s(part, 2 * check.u_A * by) / SECONDS_PER_HOUR
            u = check.u_A * by * time_h
            yield Component("zero check", u, dof=check.dof, reason="the measured zero is known no better")

    def _shift(self, part: Flow) -> float:
        """Return by how much the truth is likely to lie above the amount. [unit h]"""
        return self.hidden(part) + self.shown_late(part)


class _OfCharge(_AmountErrors):
    """Errors of charge, in Ah."""

    def __init__(self, charge: Charge, facts: ErrorFacts, figures: MeterFigures, starts: UnseenStarts | None) -> None:
        assert charge.charge is not None
        super().__init__(charge, charge.charge, facts, figures, starts, figures.current.resolution)

    @property
    def _extra(self) -> float:
        return self._starts.extra_A if self._starts else 0.0

    def _of_meter(self, part: Flow, value: float) -> Iterator[Component]:
        yield from self._figures.current.gains(value)
        yield from self._offsets(part, self._facts.highest)


class _OfEnergy(_AmountErrors):
    """Errors of energy, in Wh."""

    def __init__(self, charge: Charge, evidence: Evidence, figures: MeterFigures, starts: UnseenStarts | None) -> None:
        assert evidence.power is not None
        assert charge.energy is not None
        # Watts alone cannot be set beside volts and amps: they are a quantity like others then.
        alone = Accuracy() if evidence.current is None else None
        self._own = figures.power or alone if charge.energy_from == POWER else None
        self._source = charge.energy_from
        self._charge = charge.charge
        self._evidence = evidence
        self._volts = evidence.mean_V or _volts(charge) or 0.0
        resolution = self._own.resolution if self._own else figures.current.resolution * self._volts
        amps = None if self._own else evidence.current
        rounded = Rounded(amps, figures.current.resolution) if amps else None
        super().__init__(charge, charge.energy, evidence.power, figures, starts, resolution, rounded)

    @property
    def _extra(self) -> float:
        return self._starts.extra_W if self._starts else 0.0

    def _of_meter(self, part: Flow, value: float) -> Iterator[Component]:
        return self._by_power(part, value) if self._own else self._by_product(part, value)

    def _shift(self, part: Flow) -> float:
        return super()._shift(part) - self._of_product(part)

    def _by_power(self, part: Flow, value: float) -> Iterator[Component]:
        """Yield what a power column of known accuracy does."""
        assert self._own is not None
        yield from self._own.gains(value, "power ")
        offset_W = self._own.range_offset(self._facts.highest)
        time_h = self.time_s(part, offset_W) / SECONDS_PER_HOUR
        yield Component("power offset (share of range)", offset_W * time_h / EVEN, even=1, reason=RANGE_IS_OFFSET)

    def _by_product(self, part: Flow, value: float) -> Iterator[Component]:
        """Yield what volts and amps do to their product; a power column is taken to be no better."""
        current, voltage = self._figures.current, self._figures.voltage
        yield from current.gains(value)
        yield from voltage.gains(value, "voltage ")
        # Without amps of its own the log's watts over its volts stand for them.
        highest_A = self._evidence.current.highest if self._evidence.current else self._per_volt(self._facts.highest)
        yield from self._offsets(part, highest_A, by=max(self._volts, 1e-12))
        ampere_hours = abs(getattr(self._charge, part)) if self._charge else self._per_volt(abs(value))
        limit_V = voltage.range_offset(self._volts)
        yield Component(
            "voltage offset (share of range)", limit_V * ampere_hours / EVEN, even=1, reason=RANGE_IS_OFFSET
        )
        half_V = voltage.resolution / 2
        yield Component("voltage last digit", half_V * ampere_hours / EVEN, even=1, reason="volts are rounded")
        yield Component("volts x amps", abs(self._of_product(part)) / EVEN, even=1, reason=_OF_PRODUCT)
        if self._source == VOLTS_AMPS_FACTOR:
            factor_Wh = USUAL_READING_PCT / 100 * abs(value)
            yield Component("power factor", factor_Wh / EVEN, even=1, reason=_FACTOR)

    def _of_product(self, part: Flow) -> float:
        """Return by how much volts x amps are likely to be too high, where steps fall between readings. [Wh]

        Of means: with a step at the share x of a reading the product is too high by x (1 - x) x fall x rise, a sixth in
        the mean, while the changes from mean to mean keep x^2 + (1 - x)^2 of it, two thirds: so a quarter of their sum.
        Of instants: two straight lines give a sixth of fall x rise more than a step anywhere between them.
        """
        if self._source != VOLTS_AMPS or self._how.sampling == "held":
            return 0.0
        share = min(self.time_s(part, 0.0) / max(self._facts.all_s, 1e-12), 1.0)
        sign = -1.0 if part == "returned" else 1.0
        parts = 4 if self._how.sampling == "mean" else 6
        return sign * share * self._evidence.swing_Ws / parts / SECONDS_PER_HOUR

    def _per_volt(self, watts: float) -> float:
        return watts / self._volts if self._volts > 0 else 0.0


def _volts(charge: Charge) -> float | None:
    """Return the mean voltage that energy over charge amounts to. [V]"""
    if charge.charge is None or charge.energy is None:
        return None
    moved_Ah = charge.charge.drawn + charge.charge.returned
    return (charge.energy.drawn + charge.energy.returned) / moved_Ah if moved_Ah > 0 else None
