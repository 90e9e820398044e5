"""Each inverter's word by the plates, and beside it what its loads were seen to take: its part of a log's report."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from .amounts import HowRead
from .cycle_record import Cycles
from .inverter import InverterCheck, Judged, check_inverter, check_seen
from .inverter_losses import losses_of
from .ledger import Ledger
from .missing import Missing
from .site import Inverter, Load, Site


@dataclass(frozen=True)
class Seen:
    """What was seen on an inverter's AC side, or reckoned from what was seen at the bank.

    Parameters
    ----------
    what : str
        Whose power it is: a load's, or that of all loads together.
    peak_W, sustained_W : float
        Highest, and running or as a mean over ten minutes. [W]
    sustained, peak : Judged, and Judged or Missing
        Against what the inverter gives without a break, and for its seconds.
    assumptions : tuple of str
        What it rests on, in plain sentences.
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
    seen: Seen | Missing

    @property
    def missing(self) -> tuple[Missing, ...]:
        """What is left out; that a log does not show an inverter's loads only where a key would help."""
        planned = (self.planned.running, self.planned.starting, *self.planned.left_out)
        seen = self.seen.peak if isinstance(self.seen, Seen) else self.seen if self.seen.add else None
        parts = (*planned, seen)
        return tuple(part for part in parts if isinstance(part, Missing))


def inverter_reports(
    site: Site, load: Load | None, cycles: Cycles, ledger: Ledger, how: HowRead, behind: str | None
) -> tuple[InverterReport, ...]:
    """Return the word on every inverter of a site, in the order of the file.

    Parameters
    ----------
    site : Site
        The site.
    load : Load or None
        The load whose runs were sought.
    cycles : Cycles
        Its runs.
    ledger : Ledger
        Of the log.
    how : HowRead
        Where the meter sits.
    behind : str or None
        The inverter that a meter on side ``ac`` sits behind.
    """
    found = []
    for inverter in site.inverters:
        seen: Seen | Missing
        if how.side == "ac" and behind == inverter.name:
            seen = _behind(inverter, ledger)
        elif load is not None and load.inverter == inverter.name:
            seen = _of_runs(inverter, load, cycles, at_bank=how.side == "dc")
        elif how.side == "ac" and behind is None:
            why = "which inverter the meter sits behind is not said"
            seen = Missing(f"measured word on '{inverter.name}'", ("meters.inverter",), why)
        else:
            seen = Missing(f"measured word on '{inverter.name}'", (), "this log does not show its loads by themselves")
        found.append(InverterReport(check_inverter(inverter, site), seen))
    return tuple(found)


def _behind(inverter: Inverter, ledger: Ledger) -> Seen | Missing:
    """Return the most that all its loads took together."""
    peak_W, held_W = ledger.power.highest, ledger.power.sustained
    if peak_W is None or held_W is None:
        return Missing(f"measured word on '{inverter.name}'", (), "no ten minutes on end were measured")
    return _judged(inverter, f"all loads on '{inverter.name}' together", peak_W, held_W, ())


def _of_runs(inverter: Inverter, load: Load, cycles: Cycles, *, at_bank: bool) -> Seen | Missing:
    """Return the highest start of a load and its usual running power; from the bank's watts less the losses."""
    peaks = [cycle.peak_W for cycle in cycles.cycles if cycle.peak_W is not None]
    held = [cycle.run_W for cycle in cycles.cycles if cycle.run_W is not None]
    if not peaks or not held:
        return Missing(f"measured word on '{inverter.name}'", (), f"no run of '{load.name}' was seen in watts")
    peak_W, run_W, said = max(peaks), median(held), ["Watts of a load are above what was drawn before its runs."]
    if at_bank:
        losses = losses_of(inverter)
        peak_W, run_W = (_given_W(inverter, watts) for watts in (peak_W, run_W))
        said += [
            "Seen at the bank; what the inverter itself loses was taken off by the site file.",
            *losses.assumptions,
        ]
    if not all(cycle.surge_resolved for cycle in cycles.cycles):
        said.append("Not every start was seen from end to end: the true highest may be higher.")
    return _judged(inverter, load.name, peak_W, run_W, tuple(said))


def _judged(inverter: Inverter, what: str, peak_W: float, sustained_W: float, said: tuple[str, ...]) -> Seen:
    sustained, peak = check_seen(inverter, peak_W=peak_W, sustained_W=sustained_W)
    return Seen(what, peak_W, sustained_W, sustained, peak, said)


def _given_W(inverter: Inverter, taken_W: float) -> float:
    """Return the AC watts for which an inverter takes so many DC watts above its idle draw, by halving. [W]"""
    losses = losses_of(inverter)
    low, high = 0.0, max(taken_W, 0.0)
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if losses.dc_W(middle) - losses.dc_W(0.0) < taken_W else (low, middle)
    return (low + high) / 2


def ac_power_W(site: Site, load: Load | None, run_W: float, how: HowRead) -> float:
    """Return the power that goes into a load, from the settled draw that a log shows of it. [W]

    Parameters
    ----------
    site, load : Site, Load or None
        The load, and where it hangs.
    run_W : float
        As measured. [W]
    how : HowRead
        Where the meter sits.
    """
    inverter = site.inverter_of(load) if load is not None else None
    return run_W if inverter is None or how.side == "ac" else _given_W(inverter, run_W)
