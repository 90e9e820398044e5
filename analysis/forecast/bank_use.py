"""What the bank makes of a load to come: how much is used, how long it lasts, whether it gives what is asked."""

from __future__ import annotations

from dataclasses import dataclass

from ..bank.bank import DrawRate, Recharge, Runtime, rate, recharge, runtime
from ..bank.charger_time import ChargerTime, charger_times
from ..bank.limits import BankCheck
from ..bank.sag import Sag
from ..bank.state_of_charge import Start, start_of
from ..bank.wear import StretchWear, bank_life, stretch_wear
from ..not_known import Missing
from ..site.site import Load, Site
from ..stats.interval95 import Within
from .bank_check import bank_by_plates, bank_by_runs
from .measured_load import MeasuredLoad
from .taken import Taken


@dataclass(frozen=True)
class BankForecast:
    """What the bank makes of it.

    Parameters
    ----------
    usable_share : float or Missing
        Charge taken over what the owner allows to be taken from full. [1]
    rate : DrawRate
        Draw while running against the bank's size.
    runtime, usual_runtime : Runtime or Missing
        How long it lasts from now with the load running without a break, and with it running as usual.
    check : BankCheck
        Whether it gives what this load asks, by itself.
    together : BankCheck or None
        Whether it gives what all loads ask by their plates; None where there is no other.
    payback : Recharge or Missing
        What the sun must put back for it.
    chargers : tuple of ChargerTime
        How long each charger of the site takes for it, by itself.
    wear : StretchWear
        What it takes of the bank's life, cycled as its owner allows.
    """

    usable_share: float | Missing
    rate: DrawRate
    state_before_pct: Within | Missing
    state_after_pct: Within | Missing
    runtime: Runtime | Missing
    usual_runtime: Runtime | Missing
    check: BankCheck
    together: BankCheck | None
    payback: Recharge | Missing
    chargers: tuple[ChargerTime, ...]
    wear: StretchWear
    assumptions: tuple[str, ...]

    @property
    def sag(self) -> Sag | Missing:
        """Its voltage at the start against what switches the load off."""
        return self.check.sag


def bank_forecast(site: Site, load: Load, taken: Taken, hours: float, seen: MeasuredLoad | None) -> BankForecast:
    """Return what the bank makes of what a load takes in some hours; `seen` is how it behaved in a log."""
    bank, usable_Ah, start = site.bank, site.bank.usable_Ah, start_of(site.bank)
    before = start.state_pct if isinstance(start, Start) else start
    left, usual = _runtimes(site, before, taken, hours)
    share = Missing("share of the usable charge", ("bank.usable_depth_pct",))
    begun = start.assumptions if isinstance(start, Start) else ()
    return BankForecast(
        usable_share=share if usable_Ah is None else taken.charge_Ah.value / usable_Ah,
        rate=rate(bank, taken.running_A),
        state_before_pct=before,
        state_after_pct=before if isinstance(before, Missing) else _after(before, taken, bank.capacity_Ah),
        runtime=left,
        usual_runtime=usual,
        check=bank_by_plates(site, (load,)) if seen is None else bank_by_runs(site, load, seen, taken.running_A),
        together=bank_by_plates(site, site.loads) if len(site.loads) > 1 else None,
        payback=recharge(bank, site.array, taken.charge_Ah.value),
        chargers=charger_times(bank, site.chargers, taken.charge_Ah),
        wear=stretch_wear(bank, taken.charge_Ah, bank_life(bank, ())),
        assumptions=tuple(dict.fromkeys((*begun, "Nothing else draws meanwhile, and no sun shines."))),
    )


def _runtimes(
    site: Site, before: Within | Missing, taken: Taken, hours: float
) -> tuple[Runtime | Missing, Runtime | Missing]:
    if isinstance(before, Missing):
        missing = Missing("runtime left", before.add, before.because)
        return missing, missing
    # A load that pauses draws less on the mean, and by Peukert's law a bank gives more at less: a runtime of its own.
    usual_A = taken.charge_Ah.value / hours
    left = runtime(site.bank, before, taken.running_A)
    return left, runtime(site.bank, before, usual_A) if usual_A > 0 else left


def _after(before: Within, taken: Taken, capacity_Ah: float) -> Within:
    # Far ends go with far ends: fullest before with least taken, and the other way round. A bank is never above full
    # nor below empty.
    used = taken.charge_Ah.scaled(100 / capacity_Ah)
    ends = (before.value - used.value, before.low - used.high, before.high - used.low)
    return Within(*(min(max(x, 0.0), 100.0) for x in ends))
