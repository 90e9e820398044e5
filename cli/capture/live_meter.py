"""What a capture shows while it runs: the report's own folds, fed as readings come."""

from __future__ import annotations

import time
from collections import Counter, deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ...analysis.charge.amounts import Charge
from ...analysis.charge.charge import ChargeFold, HighestShown
from ...analysis.cycles.cycle import Cycles
from ...analysis.cycles.cycles import CycleFold
from ...analysis.health.finding import Finding
from ...analysis.health.health import health_of, sign_check
from ...analysis.health.limits import HealthLimits
from ...analysis.health.runs import Runs
from ...analysis.not_known import Refusal
from ...analysis.one_log.running_now import running_now
from ...analysis.quality.sign_check import SignFold
from ...analysis.readings.chunk import MICROSECONDS, Chunk, Fold
from ...analysis.readings.envelope import Recent, RecentFold
from ...analysis.readings.measured_span import HowRead
from ...analysis.sureness.amount_intervals import with_intervals, with_intervals_by_starts
from ...analysis.sureness.cycle_intervals import sure_cycles
from ...analysis.sureness.meter_figures import NOTHING_STATED, MeterFigures
from ...ingest.events import Reading
from .stretches import NotedStretch, NotedStretches

if TYPE_CHECKING:
    from ...analysis.cycles.noted_runs import NotedRunsFold
    from ...analysis.site.site import Site
    from ...analysis.sureness.signal_errors import UnseenStarts

#: Cycles are paired again no more often than this, and so that it takes no more than a fiftieth of the time: it looks
#: at all of them. [s]
_CYCLES_EVERY_S, _CYCLES_SHARE = 0.5, 50.0
#: The stretch that a moving chart shows: some runs of a pump, or of a slow meter some hundred readings. [s], [1], [1]
_CHART_S, _CHART_READINGS, _CHART_POINTS = 900.0, 300, 900
#: So many of the newest notes are kept to be shown: nobody types more in a chart's stretch. [1]
_NOTES = 100


@dataclass(frozen=True)
class Part:
    """What flowed in a stretch that began with a note [us]: so far, or until a note ended it, the next one or another.

    ``ended_by`` is the text of one that only ends.
    """

    text: str
    from_us: int
    ended_by: str | None
    charge: Charge | None


@dataclass(frozen=True)
class Snapshot:
    """One meter as it stands now; ``charge`` is since the start, ``newest`` since the last note that began a stretch.

    ``parts`` are the stretches before it, and after the end of the capture all (``is_over``).
    ``running`` tells whether the load runs, None where that is not known yet; ``running_s`` since
    when, of a run that was found and has not ended. [s]
    ``recent`` is the last stretch of the current, else of the power; ``notes`` are the newest ones, each an instant
    [us] and its text. Times are shown in ``zone``, or counted from the recording's start where it is ``undated``.
    """

    name: str
    side: str
    now: dict[str, float]
    last_us: int | None
    charge: Charge | None
    newest: Part | None
    parts: tuple[Part, ...]
    peak_A: float | None
    peak_W: float | None
    cycles: Cycles | None
    running: bool | None
    running_s: float | None
    findings: tuple[Finding, ...]
    readings: int
    connected: bool
    trouble: Counter[str]
    recent: Recent | None
    notes: tuple[tuple[int, str], ...]
    gap_limit_s: float
    zone: str
    undated: bool
    is_over: bool = False

    def at_end(self) -> Snapshot:
        """Return what the capture came to, after its end: nothing flows or runs, and every part has ended."""
        parts = self.parts if self.newest is None else (*self.parts, self.newest)
        return replace(self, now={}, running=None, running_s=None, newest=None, parts=parts, is_over=True)


@dataclass
class LiveMeter:
    """The folds of one meter of a capture.

    ``limits`` are what cycles are held against; ``load`` and ``expected`` are the load to look for and its draw by the
    plate, ``each_start`` what one start may draw between readings, ``drive`` whether it runs at any speed; ``zone`` and
    ``undated`` say how times are shown. ``site`` is where the load's tank is known from.
    """

    name: str
    how: HowRead
    quantities: tuple[str, ...]
    limits: HealthLimits
    load: str | None = None
    expected: float | None = None
    figures: MeterFigures = NOTHING_STATED
    each_start: UnseenStarts | None = None
    drive: bool = False
    zone: str = "UTC"
    undated: bool = False
    site: Site | None = None
    _whole: ChargeFold | None = None
    _stretches: NotedStretches = field(init=False)
    _cycles: Fold[Cycles] | None = None
    _by_notes: NotedRunsFold | None = None
    _sign: SignFold = field(init=False)
    _recent: RecentFold | None = None
    _highest: HighestShown = field(default_factory=HighestShown)
    _notes: deque[tuple[int, str]] = field(default_factory=lambda: deque(maxlen=_NOTES))
    _cycles_seen: Cycles | None = None
    #: The cycles as seen when the load was last found not to run: a run that goes on in them has ended since.
    _rested_with: Cycles | None = None
    _look_again: float = 0.0
    _last: Reading | None = None
    _newest: dict[str, float] = field(default_factory=dict)
    _peaks: dict[str, float] = field(default_factory=dict)
    _readings: int = 0

    def __post_init__(self) -> None:
        """Make the folds that the source's quantities allow."""
        # What a report makes of the log comes of the same folds, so that the last figures here are the first ones
        # there.
        self._whole = self._new_charge()
        self._stretches = NotedStretches(self._new_charge)
        self._sign = SignFold.of(self.how, self.quantities)
        if {"current_A", "power_W"} & set(self.quantities):
            levels = CycleFold(self.how, set(self.quantities), load=self.load, expected=self.expected, drive=self.drive)
            self._cycles = levels
            if self.how.noted:
                from ...analysis.cycles.noted_runs import NotedRunsFold  # most captures are of a meter

                self._cycles = self._by_notes = NotedRunsFold(levels, levels.signal)
            self._recent = self._new_recent()

    def _new_charge(self, from_us: int | None = None) -> ChargeFold | None:
        try:
            return ChargeFold(self.how, set(self.quantities), from_us=from_us)
        except Refusal:
            return None

    def _new_recent(self) -> RecentFold:
        quantity = "current_A" if "current_A" in self.quantities else "power_W"
        stretch_s = max(_CHART_S, _CHART_READINGS * (self.how.usual_interval_s or 0.0))
        return RecentFold(quantity, width_s=stretch_s / _CHART_POINTS, buckets=_CHART_POINTS)

    def add(self, readings: Iterable[Reading]) -> None:
        """Take the next readings in, all at once."""
        readings = list(readings)
        if not readings:
            return
        chunk = self._chunk(readings)
        for fold in (self._whole, self._stretches, self._highest, self._cycles, self._sign, self._recent):
            if fold is not None:
                fold.add(chunk)
        for name in ("current_A", "power_W"):
            x = chunk.quantities.get(name)
            # A quantity that the meter leaves out of some readings is NaN there.
            if x is not None and len(known := x[~np.isnan(x)]):
                self._peaks[name] = max(self._peaks.get(name, -np.inf), float(known.max()))
                self._newest[name] = float(known[-1])
        self._last = readings[-1]
        self._readings += len(readings)

    def marked(self, text: str, at_us: int) -> None:
        """Begin a new stretch at a marker's instant [us], or end the one that goes on, by the words of the ledger."""
        if self._by_notes is not None:
            self._by_notes.note(at_us, text)
        self._notes.append((at_us, text))
        self._stretches.note(at_us, text, None if self._last is None else self._chunk([self._last]))

    def newly_ended(self) -> Iterator[Part]:
        """Yield, once each, the stretches of which all is known by now."""
        for stretch in self._stretches:
            if stretch.is_news():
                yield self._part(stretch, self._cycles_seen, anew=False)

    def _chunk(self, readings: list[Reading]) -> Chunk:
        time_us = np.array([reading.time_us for reading in readings], dtype=np.int64)
        values = {q: np.array([reading.values.get(q, np.nan) for reading in readings]) for q in self.quantities}
        return Chunk(time_us, values)

    def snapshot(self, *, connected: bool, trouble: Counter[str], final: bool = False) -> Snapshot:
        """Return how the meter stands now; `final` looks at all cycles once more."""
        # The last look must not be an old one, however long pairing takes.
        if final:
            self._cycles_seen = None
        last_us = self._last.time_us if self._last is not None else None
        cycles = self._cycles_now(last_us)
        running = self._running(cycles)
        self._rested_with = cycles if running is False else self._rested_with
        whole = self._sure(self._whole, cycles)
        findings = self._findings(cycles, whole)
        newest = self._stretches.newest
        turned = sign_check(self._sign.result()).finding
        findings = findings if turned is None else (turned, *findings)
        return Snapshot(
            name=self.name,
            side=self.how.side,
            now=dict(self._last.values) if self._last is not None else {},
            last_us=last_us,
            charge=whole,
            newest=None if newest is None else self._part(newest, cycles, anew=True),
            parts=tuple(self._part(stretch, cycles, anew=final) for stretch in self._stretches.ended),
            peak_A=self._peaks.get("current_A"),
            peak_W=self._peaks.get("power_W"),
            cycles=cycles,
            running=running,
            running_s=None if cycles is self._rested_with else _running_s(cycles, last_us),
            findings=findings,
            readings=self._readings,
            connected=connected,
            trouble=trouble,
            recent=self._recent.result() if self._recent is not None else None,
            notes=tuple(self._notes),
            gap_limit_s=self.how.gap_limit_s,
            zone=self.zone,
            undated=self.undated,
        )

    def _sure(self, fold: ChargeFold | None, cycles: Cycles | None) -> Charge | None:
        if fold is None:
            return None
        charge = self._highest.of_log(fold.result())
        if self.each_start is None or cycles is None:
            return with_intervals(charge, self.figures)
        from ...analysis.forecast.unseen_starts import caught_starts  # most captures are without a site

        # As `charge` and `report` do: what starts drew between readings widens the interval.
        starts = caught_starts(self.each_start, cycles.cycles, self.how.usual_interval_s)
        starts_us = [cycle.start_us for cycle in cycles.cycles]
        return with_intervals_by_starts(charge, self.figures, starts, starts_us)

    def _part(self, stretch: NotedStretch, cycles: Cycles | None, *, anew: bool) -> Part:
        """Return what a stretch comes to; once all of it is known it is worked out once, and `anew` at the end."""
        sure = stretch.sure
        if sure is None or anew:
            sure = self._sure(stretch.fold, cycles)
        # Before the first reading behind its end something is still missing: that figure is none to keep.
        stretch.sure = sure if stretch.is_whole else None
        return Part(stretch.text, stretch.from_us, stretch.ended_by, sure)

    def _running(self, cycles: Cycles | None) -> bool | None:
        newest = None if cycles is None else self._newest.get(cycles.signal)
        return None if cycles is None or newest is None else running_now(cycles, newest)

    def _findings(self, cycles: Cycles | None, whole: Charge | None) -> tuple[Finding, ...]:
        if cycles is None:
            return ()
        gaps = whole.span.gaps if whole is not None else ()
        usual_s, last_gap_us = self.how.usual_interval_s, gaps[-1].stop_us if gaps else None
        checks = health_of(cycles, self.limits, usual_s, last_gap_us).checks
        if self.site is not None and self.site.water is not None and self.site.water.load == self.load:
            from ...analysis.pump_pulse.pulse import with_flow_seen  # most captures are without a tank

            pump = self.site.load(self.site.water.load)
            checks = with_flow_seen(self.site, pump, Runs(cycles, usual_s, last_gap_us), checks)
        return tuple(check.finding for check in checks if check.finding is not None)

    def _cycles_now(self, last_us: int | None) -> Cycles | None:
        if self._cycles is None or last_us is None:
            return None
        # A long capture has many cycles, and pairing looks at all: it is done the less often the longer it takes.
        now, began_s = time.perf_counter(), time.thread_time()
        if self._cycles_seen is None or now >= self._look_again:
            whole = None if self._whole is None else self._whole.result()
            self._cycles_seen = sure_cycles(self._cycles.result(), whole, self.figures, self.how)
            # By this thread's own time: what others make it wait for costs them nothing.
            took = time.thread_time() - began_s
            self._look_again = now + max(_CYCLES_EVERY_S, _CYCLES_SHARE * took)
        return self._cycles_seen


def _running_s(cycles: Cycles | None, last_us: int | None) -> float | None:
    """Return how long the newest run has been going on, if it has no end. [s]"""
    if cycles is None or not cycles.cycles or last_us is None or cycles.cycles[-1].complete:
        return None
    return (last_us - cycles.cycles[-1].start_us) / MICROSECONDS
