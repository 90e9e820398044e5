"""Everything worked out from one log, in one pass: the folds of a report bundled to one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from ..charge.completed import Reader
from ..charge.instants import InstantsFold
from ..cycles.cycle import Cycle, Cycles
from ..forecast.unseen_starts import caught_starts, unseen_starts
from ..health.health import health_of, sign_check, until_turned
from ..health.limits import limits_for
from ..health.runs import Runs
from ..nameplate.plate_check import PlateCheck, check_plate
from ..not_known import Refusal
from ..pump_pulse.flow import with_flow
from ..pump_pulse.pulse import pump_pulse, with_days
from ..pump_pulse.starts import load_starts
from ..quality.sign_check import SignFold
from ..readings.chunk import Chunk, Fold
from ..readings.envelope import EnvelopeFold
from ..readings.log_facts import LogFacts
from ..readings.measured_span import HowRead
from ..site.site import Site
from ..sureness.amount_intervals import AmountsAnalysis
from ..sureness.cycle_intervals import sure_cycles
from ..sureness.meter_figures import NOTHING_STATED, MeterFigures
from ..sureness.signal_errors import UnseenStarts
from .log_report import LogReport
from .site_folds import SiteFolds
from .site_report import site_report
from .watched_load import cycle_fold, watched_load


@dataclass(frozen=True)
class _AnalysisPart:
    """A part of the analysis that takes readings in by itself; what came of them, the whole tells."""

    add: Callable[[Chunk], None]


class LogAnalysis:
    """All folds of a report over one log, as a fold itself.

    Parameters
    ----------
    load : str, optional
        The load whose runs are sought; the site's main pump by default.
    site_folds : SiteFolds, optional
        Follows the log for the ledger and the bank; without it there is no word on the whole site.
    cycles : Fold of Cycles, optional
        Finds the runs of that load; by default a `CycleFold`.

    Raises
    ------
    Refusal
        If nothing can be integrated, or there is no such load.
    """

    def __init__(
        self,
        facts: LogFacts,
        how: HowRead,
        quantities: set[str],
        *,
        site: Site | None = None,
        load: str | None = None,
        figures: MeterFigures = NOTHING_STATED,
        site_folds: SiteFolds | None = None,
        cycles: Fold[Cycles] | None = None,
    ) -> None:
        self._facts, self._how, self._site, self._figures = facts, how, site, figures
        self._watched = watched_load(site, load, how, quantities)
        self._amounts = AmountsAnalysis(how, quantities, figures, facts.markers)
        self._cycles = cycles or cycle_fold(self._watched, how, quantities, facts.markers)
        shown = [name for name in ("current_A", "power_W", "voltage_V") if name in quantities]
        self._envelopes = {name: EnvelopeFold(name) for name in shown}
        self._sign = SignFold.of(how, quantities)
        self._site_folds = site_folds
        # A demo is the stretch from its note to the next: thousands of them are added up once, not twice.
        if site_folds is not None and self._amounts.marked is not None:
            site_folds.share(self._amounts.marked)
        self._reader = Reader(how, quantities, digits=figures.has_digits)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        for part in self.folds:
            part.add(chunk)

    @property
    def folds(self) -> tuple[_AnalysisPart, ...]:
        """What can be fed side by side in its stead: parts that share nothing they change, the slowest first."""
        return (_AnalysisPart(self._cycles.add), _AnalysisPart(self._add_to_others))

    @property
    def instants(self) -> InstantsFold | None:
        """What looks at the log's instants; None where there is nothing to look at."""
        return self._amounts.instants

    def _add_to_others(self, chunk: Chunk) -> None:
        """Hand readings on to all but the cycles; what they amount to is worked out once."""
        if len(chunk):
            # Amounts and ledger are fed the same parts, of which each line of the ledger holds all or nothing: so the
            # days add up to what the whole log gives.
            read = self._reader.take(chunk)
            for part in self._site_folds.parts(read) if self._site_folds is not None else (read,):
                self._amounts.take(part)
                if self._site_folds is not None:
                    self._site_folds.take(part)
        self._sign.add(chunk)
        for envelope in self._envelopes.values():
            envelope.add(chunk)

    def result(self) -> LogReport:
        """Return everything but the close-up of a start, which needs readings again."""
        # Runs come first: starts that fell between readings, and what those drew, widen every interval after them.
        cycles = self._cycles.result()
        starts = caught_starts(self._starts(), cycles.cycles, self._how.usual_interval_s)
        starts_us = [cycle.start_us for cycle in cycles.cycles]
        charge, marked = self._amounts.result(starts, starts_us)
        cycles = sure_cycles(cycles, charge, self._figures, self._how)
        limits = limits_for(self._site, self._watched.load, self._how.side)
        gaps = charge.span.gaps
        last_gap_us = gaps[-1].stop_us if gaps else None
        health = health_of(cycles, limits, self._facts.usual_interval_s, last_gap_us)
        runs = Runs(cycles, self._facts.usual_interval_s, last_gap_us)
        # What is no motor has a start as well, but none that wears.
        seen = None if limits.is_motor is False else load_starts(runs, self._how)
        sign = [sign_check(self._sign.result())] if self._how.side == "dc" else []
        if any(check.finding is not None for check in sign):
            health, seen = until_turned(health), None
        pulse = pump_pulse(self._site, self._watched.load, runs, charge.span, health.checks)
        checks = (*sign, *with_flow(health.checks, pulse.flow), *([seen.check] if seen is not None else []))
        plate, no_plate = self._plate(cycles, charge.span.covered_s)
        report = LogReport(
            facts=self._facts,
            charge=charge,
            cycles=cycles,
            findings=tuple(check.finding for check in checks if check.finding is not None),
            checks=checks,
            trends=(*health.trends, *(seen.trends if seen is not None else ())),
            envelopes={name: fold.result() for name, fold in self._envelopes.items()},
            plate=plate,
            no_plate=no_plate,
            marked=marked,
            figures=self._figures,
            starts_known=starts is not None,
            has_array=self._site is not None and self._site.array is not None,
            pulse=pulse,
            load_starts=seen,
        )
        if self._site_folds is None:
            return report
        return _by_day(self._followed(report, self._site_folds, starts, starts_us), runs)

    def _followed(
        self, report: LogReport, folds: SiteFolds, starts: UnseenStarts | None, starts_us: list[int]
    ) -> LogReport:
        """Add the ledger, and with a site what log and site file say together."""
        # The ledger is cut from the same sums, so it takes the same unseen starts into its intervals.
        followed = folds.result()
        ledger = followed.ledger.with_intervals(self._amounts.sure(starts, starts_us), starts_us, report.marked)
        report = replace(report, ledger=ledger, paybacks=followed.paybacks)
        if self._site is None:
            return report
        followed = replace(followed, ledger=ledger)
        load, meter = self._watched.load, report.facts.meter
        parts = (report.charge, report.cycles, report.figures, meter, followed)
        doubt = report.pulse is not None and bool(report.pulse.air_doubt)
        zone_known = not report.facts.zone_assumed
        by_site = site_report(self._site, load, *parts, zone_known=zone_known, air_in_doubt=doubt)
        return replace(report, by_site=by_site)

    def _starts(self) -> UnseenStarts | None:
        if self._site is None or self._watched.load is None:
            return None
        return unseen_starts(self._site, self._watched.load, 1, self._how)

    def _plate(self, cycles: Cycles, covered_s: float) -> tuple[PlateCheck | None, str | None]:
        """Set the plate beside what the whole runs took at the bank, over the time they ran; or say why not."""
        # An estimate ends at the bank; behind an inverter there is nothing to hold it against.
        if self._site is None or self._watched.load is None or self._how.side != "dc":
            return None, None
        try:
            return check_plate(self._site, self._watched.load.name, cycles, covered_s=covered_s), None
        except Refusal as why:
            return None, str(why)


def _by_day(report: LogReport, runs: Runs) -> LogReport:
    """Return a report with what the runs say day by day, and with the check that many days allow."""
    if report.pulse is None:
        return report
    pulse = with_days(report.pulse, runs, report.ledger.days)
    more = () if pulse.falls is None else (pulse.falls,)
    findings = tuple(check.finding for check in more if check.finding is not None)
    return replace(report, pulse=pulse, checks=(*report.checks, *more), findings=(*report.findings, *findings))


def best_start(cycles: Cycles) -> Cycle | None:
    """Return the cycle whose start is worth a close look: the highest, one that was resolved before any other."""
    seen = [cycle for cycle in cycles.cycles if cycle.surge_ratio is not None]
    # In amps, as the highest start is told; where there are none, in watts.
    return max(seen, key=lambda each: (each.surge_resolved, each.surge_A or 0.0, each.peak_W or 0.0), default=None)
