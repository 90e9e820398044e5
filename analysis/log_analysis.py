"""Everything worked out from one log, in one pass: the folds of a report bundled to one."""

from __future__ import annotations

from dataclasses import dataclass

from .charge import ChargeFold, HowRead
from .chunk import SECONDS_PER_HOUR, Chunk, Fold
from .cycle_record import Cycle, Cycles
from .cycles import CycleFold
from .envelope import EnvelopeFold
from .health import health_of, limits_for, sign_check
from .marked import MarkedFold
from .nameplate import compare, estimate
from .quality import SignFold
from .refusal import Refusal
from .report import LogFacts, LogReport, PlateCheck
from .site import Load, Site
from .steps import signal_of


@dataclass(frozen=True)
class Watched:
    """The load whose runs are sought, and its draw by the plate in the unit of the log's signal."""

    load: Load | None
    expected: float | None

    @property
    def name(self) -> str | None:
        """What the load is called."""
        return self.load.name if self.load is not None else None


def watched_load(site: Site | None, name: str | None, how: HowRead, quantities: set[str]) -> Watched:
    """Return the load to look for: the named one, else the site's main pump.

    Raises
    ------
    Refusal
        If a load is named that the site does not have, or there is no site.
    """
    if site is None:
        if name is not None:
            raise Refusal(f"--load {name}: loads are named in a site file; give it with --site")
        return Watched(None, None)
    load = site.load(name) if name is not None else site.main_pump()
    if load is None:
        return Watched(None, None)
    try:
        plate = estimate(site, load.name, hours=1.0)
    except Refusal:
        return Watched(load, None)
    signal = signal_of(how, quantities)
    by_signal = {
        "current_A": plate.dc_A if how.side == "dc" else None,
        "power_W": plate.dc_W if how.side == "dc" else plate.ac_W,
    }
    return Watched(load, by_signal.get(signal or ""))


class LogAnalysis:
    """All folds of a report over one log, as a fold itself.

    Parameters
    ----------
    facts : LogFacts
        The log's origin.
    how : HowRead
        What a reading stands for.
    quantities : set of str
        The quantities the log has.
    site : Site, optional
        The site.
    load : str, optional
        The load whose runs are sought; the site's main pump by default.

    Raises
    ------
    Refusal
        If nothing can be integrated, or there is no such load.
    """

    def __init__(
        self, facts: LogFacts, how: HowRead, quantities: set[str], *, site: Site | None = None, load: str | None = None
    ) -> None:
        self._facts, self._how, self._site = facts, how, site
        self._watched = watched_load(site, load, how, quantities)
        self._charge = ChargeFold(how, quantities)
        self._cycles = CycleFold(how, quantities, load=self._watched.name, expected=self._watched.expected)
        shown = [name for name in ("current_A", "power_W", "voltage_V") if name in quantities]
        self._envelopes = {name: EnvelopeFold(name) for name in shown}
        self._marked = MarkedFold(how, quantities, facts.markers)
        self._sign = SignFold(quantities if how.side == "dc" else ())
        self._folds: list[Fold[object]] = [
            self._charge,
            self._cycles,
            self._marked,
            self._sign,
            *self._envelopes.values(),
        ]

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        for fold in self._folds:
            fold.add(chunk)

    def result(self) -> LogReport:
        """Return everything but the close-up of a start, which needs readings again."""
        cycles, charge = self._cycles.result(), self._charge.result()
        limits = limits_for(self._site, self._watched.load, self._how.side)
        gaps = charge.span.gaps
        health = health_of(cycles, limits, self._facts.usual_interval_s, gaps[-1].stop_us if gaps else None)
        checks = (*([sign_check(self._sign.result())] if self._how.side == "dc" else []), *health.checks)
        return LogReport(
            facts=self._facts,
            charge=charge,
            cycles=cycles,
            findings=tuple(check.finding for check in checks if check.finding is not None),
            checks=checks,
            trends=health.trends,
            envelopes={name: fold.result() for name, fold in self._envelopes.items()},
            plate=self._plate(cycles),
            marked=self._marked.result(),
        )

    def _plate(self, cycles: Cycles) -> PlateCheck | None:
        """Set the plate beside what the whole runs took at the bank, over the time they ran."""
        whole = [cycle for cycle in cycles.cycles if cycle.complete]
        if self._site is None or self._watched.load is None or self._how.side != "dc" or not whole:
            return None
        run_h = (_total(whole, "run_s") or 0.0) / SECONDS_PER_HOUR
        energy_Wh, charge_Ah = _total(whole, "energy_Wh"), _total(whole, "charge_Ah")
        if energy_Wh is None:
            return None
        try:
            plate = estimate(self._site, self._watched.load.name, hours=run_h, running=True)
            return PlateCheck(plate, compare(plate, measured_energy_Wh=energy_Wh, measured_charge_Ah=charge_Ah))
        except Refusal:
            return None


def _total(cycles: list[Cycle], name: str) -> float | None:
    """Return the sum over the cycles; None where one of them does not have it."""
    values = [getattr(cycle, name) for cycle in cycles]
    return None if any(value is None for value in values) else float(sum(values))


def best_start(cycles: Cycles) -> Cycle | None:
    """Return the cycle whose start is worth a close look: the highest surge, one that was resolved before any other."""
    seen = [cycle for cycle in cycles.cycles if cycle.surge_ratio is not None]
    return max(seen, key=lambda cycle: (cycle.surge_resolved, cycle.surge_ratio), default=None)
