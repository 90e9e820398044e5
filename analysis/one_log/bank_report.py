"""Whether the bank carries the load, how long it lasts, and when it is full again: its part of a log's report."""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from ..bank.bank import NOTHING, DrawRate, Recharge, Runtime, rate, recharge, runtime
from ..bank.resistance import Resistance, resistance_of_cycles, stated_resistance
from ..bank.sag import Sag
from ..bank.state_of_charge import Start, StateOfCharge, start_of, state_of_charge
from ..bank.wear import Wear, wear
from ..charge.amounts import Charge
from ..cycles.cycle import Cycles
from ..forecast.bank_check import sag_of_log, starts_of_log
from ..ledger.falls import Falls
from ..ledger.ledger import Ledger, LedgerLine
from ..ledger.loads_use import LoadsUse
from ..ledger.running_charge import RunningCharge
from ..not_known import Missing
from ..readings.measured_span import HowRead
from ..site.site import Bank, Load, Site
from ..stats.interval95 import Within
from ..sureness.meter_figures import MeterFigures

if TYPE_CHECKING:
    from ..bank.charger_time import ChargerTime

_NO_AMPS = "the log has no amps measured at the bank"


@dataclass(frozen=True)
class Draw:
    """A draw on the bank, against its size, and how long it could go on from the log's end down to the usable depth."""

    what: str
    rate: DrawRate
    runtime: Runtime | Missing


@dataclass(frozen=True)
class BankReport:
    """The bank, by a log and its site file.

    Parameters
    ----------
    resistance : Resistance or Missing
        From the log's starts, else as the site file states it.
    at_ends : tuple of (Within or None)
        State of charge at the end of each line of the ledger, days before demos; None where it is not known. [%]
    draws : tuple of Draw
        The load's running draw, and the highest sustained one.
    to_full : Recharge or Missing
        From the state at the log's end until it is full.
    of_log : Recharge or Missing
        What the log itself took out, net.
    chargers : tuple of ChargerTime
        From the state at the log's end until it is full, by each charger of the site.
    wear : Wear or None
        What the log, and each line of the ledger, took of its life; None where its falls were not followed.
    """

    resistance: Resistance | Missing
    state: StateOfCharge | Missing
    at_ends: tuple[Within | None, ...]
    draws: tuple[Draw, ...]
    sag: Sag | Missing
    to_full: Recharge | Missing
    of_log: Recharge | Missing
    wear: Wear | None = None
    chargers: tuple[ChargerTime, ...] = ()

    @property
    def missing(self) -> tuple[Missing, ...]:
        """What is left out."""
        parts = (self.resistance, self.state, *(draw.runtime for draw in self.draws), self.sag, self.to_full)
        days = self.to_full.days if isinstance(self.to_full, Recharge) else None
        return tuple(part for part in (*parts, days) if isinstance(part, Missing))


def bank_report(
    site: Site,
    load: Load | None,
    cycles: Cycles,
    charge: Charge,
    ledger: Ledger,
    running: RunningCharge | None,
    figures: MeterFigures,
    how: HowRead,
    *,
    use: LoadsUse | None,
    falls: Falls | None = None,
) -> BankReport | Missing:
    """Return what a log says about the bank.

    `load` is that whose runs were sought; `running` None where the log has no amps at the bank: then there is nothing
    to say of it. `use` is what all loads take in a day; None where the log holds less than a day.
    """
    if running is None:
        return Missing("word on the bank", (), _NO_AMPS)
    from ..bank.charger_time import charger_times  # a report without a site file has no use for it

    # Measured goes before stated; with neither, the log's own reason says more than that the file has no figure.
    ohms = resistance_of_cycles(cycles.cycles, current=figures.current, voltage=figures.voltage)
    if isinstance(ohms, Missing) and site.bank.resistance_mohm is not None:
        ohms = stated_resistance(site.bank)
    start = start_of(site.bank)
    state = state_of_charge(running, site.bank, start, figures)
    owed = _to_full(site.bank, state)
    net_Ah = charge.charge.net if charge.charge is not None else None
    return BankReport(
        ohms,
        state,
        tuple(_at_end(line, site.bank, start, running, figures) for line in (*ledger.days, *ledger.demos)),
        tuple(_draws(site.bank, load, cycles, ledger, state)),
        sag_of_log(site, load, cycles, starts_of_log(load, cycles, figures, how), ohms),
        owed if isinstance(owed, Missing) else _recharge(site, owed, use),
        Missing("time to recharge", (), _NO_AMPS) if net_Ah is None else _recharge(site, net_Ah, use),
        None if falls is None else wear(site.bank, charge, ledger, falls),
        () if isinstance(owed, Missing) else charger_times(site.bank, site.chargers, Within.exactly(owed)),
    )


def _recharge(site: Site, taken_Ah: float, use: LoadsUse | None) -> Recharge | Missing:
    assumptions: tuple[str, ...] = ()
    if use is None:
        daily_use_Wh = NOTHING
        assumptions = (
            "Days are with nothing drawn meanwhile: the log holds less than a day to tell what the loads take.",
        )
    elif isinstance(use.day_Wh, Missing):
        # What the bank gave is the least the loads take: more than the array brings is never made good.
        daily_use_Wh = Within.exactly(use.from_bank_Wh)
    else:
        daily_use_Wh = use.day_Wh
        meanwhile = f"Days are with {daily_use_Wh.value:,.0f} Wh taken by all loads each day meanwhile, as in this log."
        assumptions = (meanwhile, *use.assumptions)
    owed = recharge(site.bank, site.array, taken_Ah, daily_use_Wh=daily_use_Wh)
    if isinstance(owed, Missing):
        return owed
    days = owed.days
    # By the least alone days would come out too few; that they never end it can tell.
    if use is not None and isinstance(use.day_Wh, Missing) and not isinstance(days, Missing):
        because = f"what all loads take in a day is not known: {use.day_Wh.because}"
        days = Missing("days to recharge", (), because)
    return replace(owed, days=days, assumptions=(*owed.assumptions, *assumptions))


def _at_end(
    line: LedgerLine, bank: Bank, start: Start | Missing, running: RunningCharge, figures: MeterFigures
) -> Within | None:
    end = line.at_end
    if end is None:
        return None
    # The state at an end is that of a log that ends there.
    drawn, returned, covered = (np.array([x]) for x in (end.drawn_Ah, end.returned_Ah, end.covered_h))
    at_us = np.array([line.stop_us])
    until_end = RunningCharge(at_us, drawn, returned, covered, running.highest_A, running.uncovered_s)
    state = state_of_charge(until_end, bank, start, figures)
    return None if isinstance(state, Missing) else state.end_pct


def _to_full(bank: Bank, state: StateOfCharge | Missing) -> float | Missing:
    """Return what a full bank lacks at the log's end [Ah]."""
    if isinstance(state, Missing):
        return Missing("time until it is full", state.add, state.because)
    return (100 - state.end_pct.value) / 100 * bank.capacity_Ah


def _draws(bank: Bank, load: Load | None, cycles: Cycles, ledger: Ledger, state: StateOfCharge | Missing) -> list[Draw]:
    running_A = [cycle.run_A for cycle in cycles.cycles if cycle.run_A is not None]
    asked = [
        (f"the {load.name} running" if load is not None else "the load running", median(running_A) if running_A else 0),
        ("the highest mean draw of ten minutes", ledger.current.sustained or 0),
    ]
    return [Draw(what, rate(bank, amps), _lasts(bank, state, amps)) for what, amps in asked if amps > 0]


def _lasts(bank: Bank, state: StateOfCharge | Missing, amps: float) -> Runtime | Missing:
    if isinstance(state, Missing):
        return Missing("runtime left", state.add, state.because)
    return runtime(bank, state.end_pct, amps)
