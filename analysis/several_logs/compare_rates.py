"""How fast two logs go on, side by side: charge and energy, starts and running time, an hour or a day.

A log is one sample of what goes on at a site. Cut into a few stretches, their differences say how far its rate would
lie from that of another log of the same length, whatever goes on in bursts within a stretch.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import exp, hypot, sqrt
from typing import Final

import numpy as np

from ..charge.amounts import Amounts, Charge
from ..not_known import Missing
from ..one_log.log_report import LogReport
from ..readings.chunk import SECONDS_PER_HOUR, FloatArray
from ..stats.interval95 import EVEN, Component, HowSure, Within, combine
from .compared import Compared, ComparedLog, too_brief_in

#: Logs at least this long are told by the day. [s]
_A_DAY_S: Final = 86400.0

#: Amounts of one reading: the field of `Amounts`, and what it is called.
_PARTS: Final = (("drawn", "drawn out of the bank"), ("returned", "returned into it"), ("net", "net out of it"))
_PARTS_AC: Final = (("drawn", "used"),)


class RatesOfTwo:
    """The rates of two logs of one side; `one_meter` where one and the same meter read both."""

    def __init__(self, before: ComparedLog, after: ComparedLog, *, one_meter: bool) -> None:
        self._logs = (before, after)
        self._reports = (before.report, after.report)
        self._one_meter = one_meter
        # An hour is a thing to grasp for an hour's log, a day for one of many days.
        long = min(report.charge.span.covered_s for report in self._reports) >= _A_DAY_S
        self._per, self._hours = ("day", 24.0) if long else ("hour", 1.0)

    def amounts(self) -> Iterator[Compared | Missing]:
        """Yield charge and energy an hour, or a day."""
        parts = _PARTS if self._reports[0].facts.side == "dc" else _PARTS_AC
        for what, unit in (("charge", "Ah"), ("energy", "Wh")):
            both = [getattr(report.charge, what) for report in self._reports]
            if None in both:
                yield Missing(f"word on the {what}", (), "not both logs have it")
                continue
            nothing_back = not any(amounts.returned for amounts in both)
            for part, name in parts:
                # Where nothing was returned the net is what was drawn.
                if any(getattr(amounts, part) for amounts in both) and not (part == "net" and nothing_back):
                    yield self._amount(what, unit, part, name)

    def _amount(self, what: str, unit: str, part: str, name: str) -> Compared:
        scaled = [_scaled(_amount_rate(log, what, part), self._hours) for log in self._logs]
        known = [self._meter(report, what, part) for report in self._reports]
        return Compared(
            code=f"{part}_{unit}_per_{self._per}",
            name=f"{name}, {'a day' if self._hours > 1 else 'an hour'}",
            unit=unit,
            before=known[0].within(scaled[0].per_h),
            after=known[1].within(scaled[1].per_h),
            difference=self._difference(scaled, known),
            ratio=_ratio(scaled, known, one_meter=self._one_meter),
            cancels="the meter's factor, in the ratio" if self._one_meter else "",
        )

    def _meter(self, report: LogReport, what: str, part: str) -> _MeterError:
        """Return what the meter leaves open of an amount, an hour or a day."""
        amounts: Amounts = getattr(report.charge, what)
        per = self._hours * SECONDS_PER_HOUR / max(_measured_s(report.charge, what), 1e-9)
        sure = getattr(amounts.sure, part) if amounts.sure is not None else None
        return _MeterError.of(getattr(amounts, part), sure, per)

    def _difference(self, rates: Sequence[Rate], known: Sequence[_MeterError]) -> Within | Missing:
        # Chance strikes each log by itself, and so does a zero that may have moved between them; one meter's factor
        # is the same in both and scales what lies between.
        chance = [rate.chance for rate in rates]
        if chance[0] is None or chance[1] is None:
            return Missing("difference", (), "a log is too short, or too much of it was not measured")
        apart = rates[1].per_h - rates[0].per_h
        parts = [chance[0], chance[1], *known[0].own, *known[1].own]
        if self._one_meter:
            factor = max(error.factor for error in known) / EVEN
            parts.append(Component("factor", factor * abs(apart), even=1))
        else:
            parts += [Component("factor", known[k].factor / EVEN * abs(rates[k].per_h), even=1) for k in range(2)]
        half = combine(parts).half
        # What lies beyond on one side of an amount lies on the other side of the difference where it is taken off.
        return Within(
            apart,
            apart - half - known[0].more_above - known[1].more_below,
            apart + half + known[0].more_below + known[1].more_above,
        )

    def habits(self) -> Iterator[Compared | Missing]:
        """Yield starts an hour and the share of the time that the load ran."""
        if not all(log.report.cycles.cycles for log in self._logs):
            bare = [log.report.facts.name for log in self._logs if not log.report.cycles.cycles]
            yield Missing("word on runs", (), f"no run of the load was seen in {' nor in '.join(bare)}")
            return
        if why := too_brief_in(self._reports):
            yield Missing("word on starts and running time", (), why)
            return
        for code, name, unit, scale in (
            ("starts_per_hour", "starts an hour", "", 1.0),
            ("duty_cycle", "share of the time it ran", "%", 100 / SECONDS_PER_HOUR),
        ):
            scaled = [_scaled(_habit(log, code), scale) for log in self._logs]
            none = _MeterError.none()
            yield Compared(
                code,
                name,
                unit,
                _alone(scaled[0]),
                _alone(scaled[1]),
                self._difference(scaled, (none, none)),
                _ratio(scaled, (none, none), one_meter=True),
                "the meter has no part in it",
            )


@dataclass(frozen=True)
class _MeterError:
    """What a meter leaves open of a rate: its factor [1], all else [unit/h], and one-sided ends beyond [unit/h]."""

    factor: float
    own: tuple[Component, ...]
    more_below: float = 0.0
    more_above: float = 0.0
    half_below: float = 0.0
    half_above: float = 0.0

    @classmethod
    def none(cls) -> _MeterError:
        return cls(0.0, ())

    @classmethod
    def of(cls, value: float, sure: HowSure | None, per: float) -> _MeterError:
        """Return it for an amount, made a rate by `per` [1/h]."""
        if sure is None:
            return cls.none()
        # Gain and shunt class are one factor of the meter; all else (zero, noise, steps) may differ from log to log.
        gains = [part for part in sure.components if part.source.endswith(("gain", "shunt class"))]
        half = combine(sure.components).half
        own = tuple(replace(part, u=part.u * per) for part in sure.components if part not in gains)
        factor = EVEN * hypot(*(part.u for part in gains)) / abs(value) if value else 0.0
        below, above = value - sure.low, sure.high - value
        return cls(
            factor,
            own,
            max(below - half, 0.0) * per,
            max(above - half, 0.0) * per,
            below * per,
            above * per,
        )

    def within(self, rate: float) -> Within:
        """Return a rate with the meter's interval."""
        return Within(rate, rate - self.half_below, rate + self.half_above)


def _measured_s(charge: Charge, what: str) -> float:
    """Return how long charge, or energy, was measured; volts may be missing where amps are not. [s]"""
    span = charge.energy_span if what == "energy" else charge.span
    return (span or charge.span).covered_s


def _amount_rate(log: ComparedLog, what: str, part: str) -> Rate:
    """Return the rate of an amount: its value that of the whole log, its chance from the stretches."""
    amounts, hours = [], []
    for stretch in log.stretches:
        of_stretch: Amounts | None = getattr(stretch.whole, what)
        span = stretch.whole.energy_span if what == "energy" else stretch.whole.span
        if of_stretch is not None and span is not None:
            amounts.append(getattr(of_stretch, part))
            hours.append(span.covered_s / SECONDS_PER_HOUR)
    rate = rate_of(np.array(amounts), np.array(hours))
    charge = log.report.charge
    whole_h = _measured_s(charge, what) / SECONDS_PER_HOUR
    per_h = getattr(getattr(charge, what), part) / whole_h if whole_h > 0 else 0.0
    return Rate(per_h, None if rate is None else rate.chance)


def _habit(log: ComparedLog, code: str) -> Rate:
    """Return starts, or seconds of running, an hour."""
    cycles, summary = log.report.cycles.cycles, log.report.cycles.summary
    hours = np.array([stretch.whole.span.covered_s / SECONDS_PER_HOUR for stretch in log.stretches])
    cuts = np.array([*(stretch.at_us for stretch in log.stretches), log.stretches[-1].stop_us + 1], dtype=np.float64)
    starts = np.array([cycle.start_us for cycle in cycles], dtype=np.float64)
    if code == "starts_per_hour":
        amounts, per_h = np.histogram(starts, cuts)[0].astype(np.float64), summary.starts_per_hour
    else:
        stops = np.array([cuts[-1] if c.stop_us is None else c.stop_us for c in cycles], dtype=np.float64)
        amounts, per_h = seconds_within(starts, stops, cuts), (summary.duty_cycle or 0.0) * SECONDS_PER_HOUR
    rate = rate_of(amounts, hours)
    return Rate(per_h or 0.0, None if rate is None else rate.chance)


def _scaled(rate: Rate, factor: float) -> Rate:
    chance = rate.chance
    if chance is not None:
        chance = replace(chance, u=chance.u * factor)
    return Rate(rate.per_h * factor, chance)


def _alone(rate: Rate) -> Within:
    """Return a rate with the interval that chance leaves."""
    half = 0.0 if rate.chance is None else combine([rate.chance]).half
    return Within(rate.per_h, max(rate.per_h - half, 0.0), rate.per_h + half)


def _ratio(rates: Sequence[Rate], known: Sequence[_MeterError], *, one_meter: bool) -> Within | None:
    """Return after over before with its interval, by the law of propagation on logarithms."""
    parts: list[Component] = []
    for rate, error in zip(rates, known, strict=True):
        if rate.per_h <= 0 or rate.chance is None:
            return None
        more = max(error.more_below, error.more_above) / rate.per_h
        parts += [replace(part, u=part.u / rate.per_h) for part in (rate.chance, *error.own)]
        parts.append(Component("one-sided", more / EVEN, even=1))
        if not one_meter:
            parts.append(Component("factor", error.factor / EVEN, even=1))
    half = combine(parts).half
    if half > 1:  # so far from sure that a ratio says nothing
        return None
    ratio = rates[1].per_h / rates[0].per_h
    return Within(ratio, ratio * exp(-half), ratio * exp(half))


#: Into so many stretches a log is cut (batch means; ten to thirty is usual, B. Schmeiser 1982, from memory). [1]
STRETCHES: Final = 12

#: With fewer of them measured, chance is not judged: common practice, no source. [1]
FEWEST_STRETCHES: Final = 5

#: Nor in a log shorter than this, in which most loads run once or not at all: common practice, no source. [s]
LEAST_S: Final = 900.0


@dataclass(frozen=True)
class Rate:
    """An amount an hour, and what chance does to it [unit/h]; None where too little was measured to tell."""

    per_h: float
    chance: Component | None


def even_cuts(first_us: int, last_us: int, count: int = STRETCHES) -> list[int]:
    """Return where even stretches of a log begin [us]; one where it has no length."""
    if last_us <= first_us:
        return [first_us]
    return [first_us + round(k * (last_us - first_us) / count) for k in range(count)]


def rate_of(amounts: FloatArray, hours: FloatArray) -> Rate | None:
    """Return the rate of what stretches of a log hold over the hours each was measured; None where none was.

    `amounts` and `hours` have the shape (n,).
    """
    measured = hours > 0
    amounts, hours = amounts[measured], hours[measured]
    n, whole_h = len(hours), float(hours.sum())
    if whole_h <= 0:
        return None
    per_h = float(amounts.sum()) / whole_h
    if n < FEWEST_STRETCHES or whole_h * SECONDS_PER_HOUR < LEAST_S:
        return Rate(per_h, None)
    # How stretches scatter about the common rate, those measured longer with more weight: a ratio estimate (Cochran,
    # Sampling Techniques, from memory).
    left_over = amounts - per_h * hours
    u = sqrt(n / (n - 1) * float(left_over @ left_over)) / whole_h
    return Rate(per_h, Component("chance", u, dof=n - 1, reason="when loads ran, and the sun shone, in the log"))


def seconds_within(start_us: FloatArray, stop_us: FloatArray, cuts_us: FloatArray) -> FloatArray:
    """Return how long m things lasted within each of the n stretches between n + 1 cuts; shape (n,). [s]"""
    low = np.maximum(start_us[None, :], cuts_us[:-1, None])
    high = np.minimum(stop_us[None, :], cuts_us[1:, None])
    return np.asarray(np.maximum(high - low, 0).sum(axis=1) / 1e6)
