"""Where energy went, as far as the meter shows: out of the bank, into it, to the load, and straight from the array.

A meter at the bank sees the sum of all that flows there. What the load took is known above the level before its start,
what bank gave and took back by the sign. Of what the array gave directly only a part is known: where the bank was being
charged before a run, what charged it went on flowing, and the load took that much less from the bank. What the array
gave to other loads meanwhile nobody sees there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from ..stats.interval95 import Within

if TYPE_CHECKING:
    from ..charge.amounts import Amounts
    from ..readings.chunk import Side
    from .log_report import LogReport

ChargeOrEnergy = Literal["Wh", "Ah"]


@dataclass(frozen=True)
class EnergyFlow:
    """What flowed where, all in ``unit``.

    ``drawn`` is what the meter saw going out: of the bank, or behind an inverter (``side``) of that. ``returned`` went
    into the bank. ``load`` is what one load took by itself; None where that is not known. ``straight`` is the least of
    that which did not come out of the bank; it is as sure as what the load took.
    ``charger`` is what of the returned a charger gave; None where the site file has none.
    """

    unit: ChargeOrEnergy
    side: Side
    drawn: Within
    returned: Within
    load: Within | None
    straight: float = 0.0
    charger: Within | None = None

    @property
    def load_from_bank(self) -> float:
        """What the load took out of the bank at the most. [unit]."""
        return 0.0 if self.load is None else self.load.value - self.straight

    @property
    def others(self) -> Within:
        """What everything else drew, of what the meter saw going out: the difference, as unsure as both. [unit]."""
        if self.load is None:
            return self.drawn
        share = self.load_from_bank / self.load.value
        value = self.drawn.value - self.load_from_bank
        low, high = self.drawn.low - share * self.load.high, self.drawn.high - share * self.load.low
        return Within(*(max(x, 0.0) for x in (value, low, high)))

    @property
    def charging(self) -> Within:
        """What is known of all that charged the bank: what went into it, and what the load took of it. [unit]."""
        if self.load is None:
            return self.returned
        by_load = self.load.scaled(self.straight / self.load.value) if self.straight else Within.exactly(0.0)
        return _sum([self.returned, by_load])

    @property
    def sun(self) -> Within:
        """What is known of all that charged the bank beside a charger. [unit]."""
        charging, by = self.charging, self.charger or Within.exactly(0.0)
        ends = charging.value - by.value, charging.low - by.high, charging.high - by.low
        return Within(*(max(x, 0.0) for x in ends))


def energy_flow(logs: Sequence[LogReport]) -> EnergyFlow | None:
    """Return where energy went in logs that do not overlap, in charge where no volts are known; None where neither is.

    Those at the bank count where there are any: what flows behind an inverter came through the bank's meter before.
    """
    sides = {log.facts.side for log in logs}
    side: Side = "dc" if "dc" in sides else "ac"
    one_side = [log for log in logs if log.facts.side == side]
    units: tuple[ChargeOrEnergy, ...] = ("Wh", "Ah")
    for unit in units:
        flows = [flow for log in one_side if (flow := _of_log(log, unit)) is not None]
        if flows and len(flows) == len(one_side):
            return _together(flows)
    return None


def _of_log(log: LogReport, unit: ChargeOrEnergy) -> EnergyFlow | None:
    amounts = log.charge.energy if unit == "Wh" else log.charge.charge
    if amounts is None:
        return None
    load = _load(log, unit)
    straight = 0.0
    if load is not None and log.facts.side == "dc":
        by_runs = sum(getattr(cycle, f"straight_{unit}") or 0.0 for cycle in log.cycles.cycles)
        # The load took no more from the bank than the bank gave to all.
        straight = min(max(by_runs, load.value - amounts.drawn), load.value)
    sources = None if log.by_site is None else log.by_site.sources
    by_unit = None if sources is None else (sources.whole.charger_Wh if unit == "Wh" else sources.whole.charger_Ah)
    ends = _within(amounts, "drawn"), _within(amounts, "returned")
    return EnergyFlow(unit, log.facts.side, *ends, load, straight, by_unit)


def _load(log: LogReport, unit: ChargeOrEnergy) -> Within | None:
    summary = log.cycles.summary
    amount, u95 = (
        (summary.energy_Wh, summary.energy_u95_Wh) if unit == "Wh" else (summary.charge_Ah, summary.charge_u95_Ah)
    )
    # Of a lower bound nobody knows what is left for the others.
    if not amount or summary.too_brief:
        return None
    return Within(amount, max(amount - (u95 or 0.0), 0.0), amount + (u95 or 0.0))


def _within(amounts: Amounts, part: Literal["drawn", "returned"]) -> Within:
    value = amounts.drawn if part == "drawn" else amounts.returned
    if amounts.sure is None:
        return Within.exactly(value)
    sure = amounts.sure.drawn if part == "drawn" else amounts.sure.returned
    return Within(value, sure.low, sure.high)


def _together(flows: Sequence[EnergyFlow]) -> EnergyFlow:
    """Return flows as one; what one meter is off in one log it may be off in all, so the ends add up."""
    loads = [flow.load for flow in flows if flow.load is not None]
    chargers = [flow.charger for flow in flows if flow.charger is not None]
    return EnergyFlow(
        flows[0].unit,
        flows[0].side,
        _sum([flow.drawn for flow in flows]),
        _sum([flow.returned for flow in flows]),
        _sum(loads) if loads else None,
        sum(flow.straight for flow in flows),
        _sum(chargers) if chargers else None,
    )


def _sum(parts: Sequence[Within]) -> Within:
    return Within(sum(x.value for x in parts), sum(x.low for x in parts), sum(x.high for x in parts))
