"""What a log, or a stretch of it, took in Ah and Wh, and the runs that an end of the stretch cuts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...analysis.quality.sign_check import SignFold
from ...analysis.readings.chunk import MICROSECONDS
from ...analysis.sureness.amount_intervals import AmountsAnalysis
from ...ingest.errors import InputError
from ..opening.prepared_log import AS_READ, Corrections, ends_of, prepared
from ..render.terminal.charge import CutRun, WholeRuns, charge_answer
from ..render.wording.clock import from_to, in_zone

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from ...analysis.charge.amounts import Charge
    from ...analysis.charge.between_notes import MarkedStretch
    from ...analysis.cycles.cycle import Cycle, Cycles
    from ...analysis.quality.sign_check import SignCheck
    from ...analysis.readings.chunk import Fold
    from ...analysis.site.site import Site
    from ...analysis.sureness.signal_errors import UnseenStarts
    from ..opening.prepared_log import Prepared
    from ..render.terminal.answer import Reply


@dataclass(frozen=True)
class ChargeAsked:
    """Which log is asked about, as a person typed it; ``since`` and ``until`` are None for its ends.

    ``corrections`` are those of its readings.
    """

    log: Path
    since: str | None = None
    until: str | None = None
    corrections: Corrections = AS_READ

    def result(self, site: Site | None, *, with_runs: bool = True) -> StretchCharge:
        """Return what was taken; the runs that the ends cut are looked for `with_runs`.

        Raises
        ------
        InputError, Refusal
            If the log cannot be read, an end is none, or no reading lies between them.
        """
        ready = prepared(self.log, site, self.corrections)
        ends = _StretchEnds.of(ready, self.since, self.until)
        runs = _runs(ready, site, is_part=ends.is_part and with_runs)
        amounts = ends.amounts(ready)
        # A log the wrong way round is told of, since its draw and return are then each other's.
        sign = SignFold.of(ready.how, ready.quantities)
        # The sums come first: they take longest, and have a processor to themselves.
        ready.feed(amounts, sign, *([runs.fold] if runs else []))
        cycles = runs.fold.result() if runs else None
        caught, starts_us = runs.caught(cycles.cycles) if runs and cycles else (None, [])
        charge, marked = amounts.result(caught, starts_us)
        # Nought Ah would be an answer, and there was no question: nothing lies in the span.
        if charge.span.start_us is None:
            goes = f"{from_to(*ends_of(ready.log), ready.facts)} ({in_zone(ready.facts)})"
            raise InputError(f"{self.log}: no reading lies in the span that was asked for; the log goes from {goes}")
        return StretchCharge(
            ready,
            charge,
            marked,
            sign.result(),
            starts_known=caught is not None,
            by_sun=site is not None and site.array is not None and not site.chargers,
            runs=_sure(ready, cycles, charge) if cycles and ends.is_part else None,
            whole=_with_whole_runs(ready, cycles, ends) if cycles and ends.is_part else None,
        )


@dataclass(frozen=True)
class StretchCharge:
    """What a log, or a stretch of it, took.

    ``marked`` is what was drawn from note to note, ``sign`` what the volts say about the sign; ``starts_known`` tells
    whether surges that readings miss were looked for, ``by_sun`` that nothing but the sun charges the bank. ``runs``
    are those of the load in all of the log, where a stretch was asked for; ``whole`` is what it comes to with whole
    runs, None where its ends cut none.
    """

    ready: Prepared
    charge: Charge
    marked: Sequence[MarkedStretch]
    sign: SignCheck | None
    starts_known: bool
    by_sun: bool
    runs: Cycles | None = None
    whole: WholeRuns | None = None

    @property
    def reply(self) -> Reply:
        """It in words."""
        return charge_answer(
            self.ready.facts,
            self.charge,
            self.ready.figures,
            self.sign,
            self.marked,
            starts_known=self.starts_known,
            by_sun=self.by_sun,
            runs=self.runs,
            whole=self.whole,
        )


@dataclass(frozen=True)
class _StretchEnds:
    """Where a stretch begins and ends, None where the log does, and where the log begins. [us]"""

    from_us: int | None
    to_us: int | None
    first_us: int

    @classmethod
    def of(cls, ready: Prepared, since: str | None, until: str | None) -> _StretchEnds:
        if since is None and until is None:
            return cls(None, None, 0)
        from ..opening.times_written import span_of

        first_us, last_us = ends_of(ready.log)
        return cls(*span_of(since, until, ready.facts, first_us=first_us, last_us=last_us), first_us)

    @property
    def is_part(self) -> bool:
        return (self.from_us, self.to_us) != (None, None)

    def amounts(self, ready: Prepared) -> AmountsAnalysis:
        span = {"from_us": self.from_us, "to_us": self.to_us}
        return AmountsAnalysis(ready.how, ready.quantities, ready.figures, ready.facts.markers, **span)


@dataclass(frozen=True)
class _Runs:
    """What finds the runs of a load, what each start of it may have drawn unseen if any, and the usual spacing."""

    fold: Fold[Cycles]
    each: UnseenStarts | None
    interval_s: float | None

    def caught(self, cycles: Sequence[Cycle]) -> tuple[UnseenStarts | None, list[int]]:
        """Return what a start may have drawn, None where none was caught; and when there was one [us]."""
        if self.each is None:
            return None, []
        from ...analysis.forecast.unseen_starts import caught_starts

        return caught_starts(self.each, cycles, self.interval_s), [cycle.start_us for cycle in cycles]


def _runs(ready: Prepared, site: Site | None, *, is_part: bool) -> _Runs | None:
    """Return what finds runs: for the surges that may fall between two readings, or the ends of a part of the log."""
    if (site is None and not is_part) or not {"current_A", "power_W"} & ready.quantities:
        return None
    from ...analysis.one_log.watched_load import cycle_fold, watched_load

    watched, how = watched_load(site, None, ready.how, ready.quantities), ready.how
    each = None
    if site is not None and watched.load is not None:
        from ...analysis.forecast.unseen_starts import unseen_starts

        each = unseen_starts(site, watched.load, 1, how)
    # A surge that lasts longer than the spacing is in the readings, and so in the sums already.
    if each is not None and (how.usual_interval_s or 0.0) <= each.lasts_s:
        each = None
    if each is None and not is_part:
        return None
    return _Runs(cycle_fold(watched, how, ready.quantities, ready.facts.markers), each, how.usual_interval_s)


def _sure(ready: Prepared, runs: Cycles, charge: Charge) -> Cycles:
    """Return runs with their intervals, by the noise of the stretch that was asked for."""
    from ...analysis.sureness.cycle_intervals import sure_cycles  # not where a whole log is asked for

    return sure_cycles(runs, charge, ready.figures, ready.how)


def _with_whole_runs(ready: Prepared, runs: Cycles, ends: _StretchEnds) -> WholeRuns | None:
    """Return what a stretch comes to with the runs that its ends cut; None where they cut none."""
    from ..opening.times_written import as_written

    cut, widest = [], {"--from": ends.from_us, "--to": ends.to_us}
    for cycle in runs.cycles:
        if cycle.stop_us is None or cycle.run_s is None:
            continue
        start, stop = _known(cycle.start_us, cycle.start_within_s), _known(cycle.stop_us, cycle.stop_within_s)
        # To whole seconds outside of the run: a person types no fractions, and nothing of it is lost.
        seconds = (ends.from_us, "--from", start[0] // MICROSECONDS), (ends.to_us, "--to", -(-stop[1] // MICROSECONDS))
        # An end within what is known of an edge cuts nothing that the readings could show.
        wider = {
            option: (at_us, second * MICROSECONDS)
            for at_us, option, second in seconds
            if at_us is not None and start[1] < at_us < stop[0]
        }
        if wider:
            widest |= {option: us for option, (_, us) in wider.items()}
            written = {key: as_written(us, ready.facts, first_us=ends.first_us) for key, (_, us) in wider.items()}
            cut.append(CutRun(cycle.run_s, tuple(at_us for at_us, _ in wider.values()), written))
    if not cut:
        return None
    # Once more over the log: only the ends that hold whole runs show what is at stake.
    amounts = _StretchEnds(widest["--from"], widest["--to"], ends.first_us).amounts(ready)
    ready.feed(amounts)
    return WholeRuns(tuple(cut), amounts.result()[0])


def _known(at_us: int, within_s: float | None) -> tuple[int, int]:
    """Return between which instants an edge lies. [us]"""
    within_us = round((within_s or 0.0) * MICROSECONDS)
    return at_us - within_us, at_us + within_us
