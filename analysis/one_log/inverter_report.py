"""Each inverter's word by the plates, and beside it what its loads were seen to take: its part of a log's report."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from ..cycles.cycle import Cycles
from ..equipment.demand import Demand, Power, apparent_VA, demand, power_behind, va_of_watts
from ..equipment.inverter_check import InverterCheck, check_inverter, check_seen, word_on
from ..equipment.inverter_losses import given_W, losses_of
from ..equipment.judged import Judged, Judgement
from ..equipment.plate_power import USUAL_POWER_FACTORS
from ..ledger.ledger import Ledger
from ..not_known import Missing
from ..readings.measured_span import HowRead
from ..site.site import Inverter, Load, Site
from ..stats.interval95 import Within


@dataclass(frozen=True)
class MeasuredAc:
    """What was seen on an inverter's AC side, or reckoned from what was seen at the bank.

    `what` says whose power it is: a load's, or that of all loads together. `sustained_W` is that of running, or the
    highest mean over ten minutes; `sustained` and `peak` hold it and the highest against the inverter's ratings.
    """

    what: str
    peak_W: float
    sustained_W: float
    sustained: Judged
    peak: Judged | Missing
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class InverterReport:
    """An inverter by its plates, and by what was seen; ``seen`` is Missing where this log cannot show it."""

    planned: InverterCheck
    seen: MeasuredAc | Missing

    @property
    def verdict(self) -> Judgement | None:
        """The worst word on it, by its plates and as seen; None where nothing is wrong and not all was judged."""
        seen = (self.seen.sustained, self.seen.peak) if isinstance(self.seen, MeasuredAc) else ()
        parts = (self.planned.running, self.planned.starting, *seen)
        judged = [part for part in parts if isinstance(part, Judged)]
        return word_on(judged, missing=bool(self.planned.unknown) or not judged)

    @property
    def missing(self) -> tuple[Missing, ...]:
        """What is left out; that a log does not show an inverter's loads only where a key would help."""
        planned = (self.planned.running, self.planned.starting, *self.planned.left_out)
        seen = self.seen.peak if isinstance(self.seen, MeasuredAc) else self.seen
        helped = (seen,) if isinstance(seen, Missing) and seen.add else ()
        return (*(part for part in planned if isinstance(part, Missing)), *helped)


def inverter_reports(
    site: Site, load: Load | None, cycles: Cycles, ledger: Ledger, how: HowRead, behind: str | None
) -> tuple[InverterReport, ...]:
    """Return the word on every inverter of a site, in the order of the file.

    `load` is that whose runs `cycles` are; `behind` names the inverter that a meter on side ``ac`` sits behind.
    """
    reports = []
    for inverter in site.inverters:
        seen: MeasuredAc | Missing
        # Right behind it a meter sees all that it gives; anywhere else no more than the runs of the load looked for,
        # from the bank less its losses.
        if how.side == "ac" and behind == inverter.name:
            seen = _behind(inverter, site, ledger)
        elif load is not None and load.inverter == inverter.name:
            seen = _of_runs(inverter, load, cycles, at_bank=how.side == "dc")
        elif how.side == "ac" and behind is None:
            why = "which inverter the meter sits behind is not said"
            seen = Missing(f"measured word on '{inverter.name}'", ("meters.inverter",), why)
        else:
            seen = Missing(f"measured word on '{inverter.name}'", (), "this log does not show its loads by themselves")
        reports.append(InverterReport(check_inverter(inverter, site), seen))
    return tuple(reports)


def _behind(inverter: Inverter, site: Site, ledger: Ledger) -> MeasuredAc | Missing:
    """Return the most that all its loads took together."""
    peak_W, held_W = ledger.power.highest, ledger.power.sustained
    if peak_W is None or held_W is None:
        return Missing(f"measured word on '{inverter.name}'", (), "no ten minutes on end were measured")
    what = f"all loads on '{inverter.name}' together"
    peak_A, held_A = ledger.current.highest, ledger.current.sustained
    # Amps times volts are volt-amperes whatever the power factor; watts need one, and only its bounds are known.
    if peak_A is None or held_A is None:
        factor = _any_power_factor(inverter, site)
        peak_VA, held_VA = apparent_VA(peak_W, factor), apparent_VA(held_W, factor)
        origin = f"Volt-amperes are from watts by power factors of {factor.low:.3g} to {factor.high:.3g}, its loads'."
    else:
        peak_VA, held_VA = (Within.exactly(inverter.output_V * amps) for amps in (peak_A, held_A))
        origin = f"Volt-amperes are the amps seen x {inverter.output_V:g} V."
    return _seen(inverter, what, Power(held_W, held_VA), Power(peak_W, peak_VA), (origin,))


def _any_power_factor(inverter: Inverter, site: Site) -> Within:
    """Return from the lowest to the highest power factor of an inverter's loads, running or at a start. [1]"""
    demands = [demand(load, inverter) for load in site.loads if load.inverter == inverter.name]
    # A mean of ten minutes may be of running alone, the highest reading of a start: either factor may be the one.
    factors = [
        f for asked in demands if isinstance(asked, Demand) for f in (asked.power_factor, asked.start_power_factor)
    ]
    if not factors:
        usual = USUAL_POWER_FACTORS["other"]
        return Within(usual.value, usual.low, usual.high)
    low, high = min(f.low for f in factors), max(f.high for f in factors)
    return Within((low + high) / 2, low, high)


def _of_runs(inverter: Inverter, load: Load, cycles: Cycles, *, at_bank: bool) -> MeasuredAc | Missing:
    """Return the highest start of a load and its usual running power; from the bank's watts less the losses."""
    peaks = [cycle.peak_W for cycle in cycles.cycles if cycle.peak_W is not None]
    held = [cycle.run_W for cycle in cycles.cycles if cycle.run_W is not None]
    if not peaks or not held:
        return Missing(f"measured word on '{inverter.name}'", (), f"no run of '{load.name}' was seen in watts")
    peak_W, run_W = max(peaks), median(held)
    assumptions = ["Watts of a load are above what was drawn before its runs."]
    if at_bank:
        losses = losses_of(inverter)
        peak_W, run_W = (given_W(losses, watts) for watts in (peak_W, run_W))
        assumptions += [
            "Seen at the bank; what the inverter itself loses was taken off by the site file.",
            *losses.assumptions,
        ]
    sustained, peak = power_behind(load, inverter, running_W=run_W, peak_W=peak_W)
    assumptions.append(va_of_watts(load))
    resolved = all(cycle.surge_resolved for cycle in cycles.cycles)
    return _seen(inverter, load.name, sustained, peak, tuple(assumptions), resolved=resolved)


def _seen(
    inverter: Inverter, what: str, sustained: Power, peak: Power, assumptions: tuple[str, ...], *, resolved: bool = True
) -> MeasuredAc:
    running, highest = check_seen(inverter, sustained=sustained, peak=peak, resolved=resolved)
    return MeasuredAc(what, peak.W, sustained.W, running, highest, assumptions)


def ac_power_W(site: Site, load: Load | None, run_W: float, how: HowRead) -> float:
    """Return the power that goes into a load, from the settled draw that a log shows of it. [W]"""
    inverter = site.inverter_of(load) if load is not None else None
    return run_W if inverter is None or how.side == "ac" else given_W(losses_of(inverter), run_W)
