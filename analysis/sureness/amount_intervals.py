"""How sure charge and energy are: their components, each with its reason, and the 95 % intervals.

After the GUM (JCGM 100:2008): a limit of error from a data sheet is an even (rectangular) distribution (4.3.7); what is
the same unknown error in all readings of a log (gain, zero, clock) is one component that grows with the sum, never one
of each reading.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from shuntbook.analysis.charge.amounts import Amounts, Charge, Evidence, Sureness
from shuntbook.analysis.charge.error_facts import ErrorFacts
from shuntbook.analysis.charge.instants import Instants
from shuntbook.analysis.readings.chunk import SECONDS_PER_HOUR
from shuntbook.analysis.readings.integral import POWER, VOLTS_AMPS, VOLTS_AMPS_FACTOR
from shuntbook.analysis.stats.distribution import EVEN, Component
from shuntbook.analysis.stats.interval95 import HowSure, judged

from .meter_figures import USUAL_READING_PCT, Accuracy, MeterFigures
from .signal_errors import Flow, Rounded, SignalErrors, UnseenStarts

_RANGE: Final = "a share of the range is an offset: it grows with time"
_FACTOR: Final = "taken as ± 1 %: common practice, no source"
_OF_PRODUCT: Final = "a load that switches between two readings moves volts and amps at once, their lines do not"


def with_intervals(charge: Charge, figures: MeterFigures, starts: UnseenStarts | None = None) -> Charge:
    """Return charge and energy with their 95 % intervals.

    Parameters
    ----------
    charge : Charge
        What a `ChargeFold` found.
    figures : MeterFigures
        How far the meter's readings may be off.
    starts : UnseenStarts, optional
        Starts whose surge the readings may have missed.

    Returns
    -------
    Charge
        The same amounts; intervals and budgets filled. Gaps are outside: nothing is added for them.
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
        less, more = self.by_chance(part)
        meter = [*self._of_meter(part, value), _clock(value, self._figures)]
        drawn = 0.0 if part == "returned" else self._amounts.drawn
        sure = judged(
            value,
            [*meter, *self.of_readings(part, value), *self._instants.components(drawn)],
            lower=self.about_zero(part) + less,
            higher=more + self.unseen(part) + self._instants.beyond(drawn),
            shift=self._shift(part),
        )
        # Neither draw nor return is ever less than nothing; only their difference is.
        return sure if part == "net" else replace(sure, low=max(sure.low, 0.0))

    def _of_meter(self, part: Flow, value: float) -> Iterator[Component]:
        """Yield what the meter's figures do to one of the amounts."""
        raise NotImplementedError

    def _shift(self, part: Flow) -> float:
        """Return by how much the truth is likely to lie above the amount. [unit h]"""
        return self.hidden(part)


class _OfCharge(_AmountErrors):
    """Errors of charge, in Ah."""

    def __init__(self, charge: Charge, facts: ErrorFacts, figures: MeterFigures, starts: UnseenStarts | None) -> None:
        assert charge.charge is not None
        super().__init__(charge, charge.charge, facts, figures, starts, figures.current.resolution)

    @property
    def _extra(self) -> float:
        return self._starts.extra_A if self._starts else 0.0

    def _of_meter(self, part: Flow, value: float) -> Iterator[Component]:
        yield from gains(value, self._figures.current)
        yield from offsets(self, part, self._figures, self._facts.highest)


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
        yield from gains(value, self._own, "power ")
        offset_W = self._own.range_offset(self._facts.highest)
        time_h = self.time_s(part, offset_W) / SECONDS_PER_HOUR
        yield Component("power offset (share of range)", offset_W * time_h / EVEN, even=1, reason=_RANGE)

    def _by_product(self, part: Flow, value: float) -> Iterator[Component]:
        """Yield what volts and amps do to their product; a power column is taken to be no better."""
        current, voltage = self._figures.current, self._figures.voltage
        yield from gains(value, current)
        yield from gains(value, voltage, "voltage ")
        highest_A = self._evidence.current.highest if self._evidence.current else self._highest_A()
        yield from offsets(self, part, self._figures, highest_A, by=max(self._volts, 1e-12))
        ampere_hours = abs(getattr(self._charge, part)) if self._charge else self._time_A_h(value)
        limit_V = voltage.range_offset(self._volts)
        yield Component("voltage offset (share of range)", limit_V * ampere_hours / EVEN, even=1, reason=_RANGE)
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

    def _highest_A(self) -> float:
        return self._facts.highest / self._volts if self._volts > 0 else 0.0

    def _time_A_h(self, value: float) -> float:
        return abs(value) / self._volts if self._volts > 0 else 0.0


def gains(value: float, accuracy: Accuracy, of: str = "") -> Iterator[Component]:
    """Yield what grows with the amount itself: the meter's gain, and its shunt's.

    Parameters
    ----------
    value : float
        The amount. [unit]
    accuracy : Accuracy
        Limits of error.
    of : str
        What is measured, where it is not the current.
    """
    yield Component(
        f"{of}gain",
        accuracy.reading_pct / 100 * abs(value) / EVEN,
        even=1,
        reason=f"± {accuracy.reading_pct:g} % of reading: one factor for the whole log",
    )
    yield Component(
        f"{of}shunt class",
        accuracy.class_pct / 100 * abs(value) / EVEN,
        even=1,
        reason=f"± {accuracy.class_pct:g} % of reading: one factor for the whole log",
    )


def offsets(
    errors: SignalErrors, part: Flow, figures: MeterFigures, highest_A: float, by: float = 1.0
) -> Iterator[Component]:
    """Yield what an error of the current's zero does over time; one offset for the whole log.

    Parameters
    ----------
    errors : SignalErrors
        Knows over which time an offset counts.
    part : {'drawn', 'returned', 'net'}
        Which amount.
    figures : MeterFigures
        Limits of error, or a zero check in their stead.
    highest_A : float
        Highest reading. [A]
    by : float
        What amps are multiplied with: volts, for energy. [V] or [1]
    """
    if (check := figures.zero_check) is not None:
        time_h = errors.time_s(part, 2 * check.u_A * by) / SECONDS_PER_HOUR
        yield Component(
            "zero check", check.u_A * by * time_h, dof=check.dof, reason="the measured zero is known no better"
        )
        return
    limits = (
        ("offset (share of range)", figures.current.range_offset(highest_A), _RANGE),
        ("zero", figures.current.zero, "the meter's zero may be off all the time: it grows with time"),
    )
    for source, limit_A, reason in limits:
        time_h = errors.time_s(part, limit_A * by) / SECONDS_PER_HOUR
        yield Component(source, limit_A * by * time_h / EVEN, even=1, reason=reason)


def _clock(value: float, figures: MeterFigures) -> Component:
    return Component(
        "clock",
        figures.clock_ppm * 1e-6 * abs(value) / EVEN,
        even=1,
        reason=f"± {figures.clock_ppm:g} millionths: all seconds too long or too short",
    )


def _volts(charge: Charge) -> float | None:
    """Return the mean voltage that energy over charge amounts to. [V]"""
    if charge.charge is None or charge.energy is None:
        return None
    moved_Ah = charge.charge.drawn + charge.charge.returned
    return (charge.energy.drawn + charge.energy.returned) / moved_Ah if moved_Ah > 0 else None
