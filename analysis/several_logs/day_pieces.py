"""What several logs of one site hold, cut at local midnights: which of it counts, and what is left out and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from operator import attrgetter

import numpy as np

from ..cycles.cycle import Cycle
from ..health.runs import Runs
from ..ledger.ledger import LedgerLine
from ..one_log.log_report import LogReport
from ..readings.chunk import MICROSECONDS, FloatArray, Side, TimeArray
from ..site.site import Site
from .compare_rates import seconds_within


@dataclass(frozen=True)
class LeftOut:
    """A log that takes no part, and why, as it stands after the log's name in a sentence."""

    log: LogReport
    why: str


@dataclass(frozen=True)
class DayPiece:
    """What one log holds of one local day: the day's line of its ledger, and all runs of the log in order."""

    log: LogReport
    line: LedgerLine
    runs: Runs

    @property
    def start_us(self) -> int:
        """Where measuring began. [us]"""
        start_us = self.line.whole.span.start_us
        return self.line.start_us if start_us is None else start_us

    @property
    def stop_us(self) -> int:
        """Where measuring ended. [us]"""
        stop_us = self.line.whole.span.stop_us
        return self.line.stop_us if stop_us is None else stop_us

    @cached_property
    def began(self) -> slice:
        """Which of the log's runs began within the day."""
        low, high = np.searchsorted(self.runs.start_us, [self.line.start_us, self.line.stop_us]).tolist()
        return slice(low, high)

    @property
    def cycles(self) -> tuple[Cycle, ...]:
        """The runs that began within the day."""
        return self.log.cycles.cycles[self.began]

    @cached_property
    def running_s(self) -> float:
        """How long the load was seen running within the day. [s]"""
        start_us = self.runs.start_us.astype(np.float64)
        stop_us = start_us + self.runs.lengths_s() * MICROSECONDS
        ends = np.array([self.line.start_us, self.line.stop_us], dtype=np.float64)
        return float(seconds_within(start_us, stop_us, ends)[0])

    def measured(self) -> Iterator[tuple[int, int]]:
        """Yield the stretches that were measured, between the gaps. [us]"""
        at_us = self.start_us
        for gap in self.line.whole.span.gaps:
            yield at_us, gap.start_us
            at_us = gap.stop_us
        yield at_us, self.stop_us


@dataclass(frozen=True)
class Pool:
    """The pieces that count, in order of time, of one side and one zone; they never overlap.

    `left_out` are logs that take no part; `remarks` say in sentences what else must be known.
    """

    side: Side
    zone: str
    pieces: tuple[DayPiece, ...]
    left_out: tuple[LeftOut, ...]
    remarks: tuple[str, ...]

    def days(self) -> list[list[DayPiece]]:
        """Return the pieces day by day."""
        return by_day(self.pieces)

    def measured_us(self) -> tuple[TimeArray, TimeArray]:
        """Return where each stretch that was measured begins and ends; a hole that is no gap is bridged. [us]"""
        starts: list[int] = []
        stops: list[int] = []
        for piece in self.pieces:
            for start_us, stop_us in piece.measured():
                # Logs that follow one another closely, or a day's two pieces at midnight, leave a hole no longer than
                # what a log itself bridges.
                if stops and start_us - stops[-1] <= _no_gap_us(piece.log):
                    stops[-1] = max(stops[-1], stop_us)
                else:
                    starts.append(start_us)
                    stops.append(stop_us)
        return np.array(starts, dtype=np.int64), np.array(stops, dtype=np.int64)

    def starts_us(self) -> TimeArray:
        """Return when each run began. [us]"""
        return np.array(sorted(c.start_us for piece in self.pieces for c in piece.cycles), dtype=np.int64)


def by_day(pieces: Iterable[DayPiece]) -> list[list[DayPiece]]:
    """Return pieces grouped by their local day, in order."""
    days: dict[int, list[DayPiece]] = {}
    for piece in pieces:
        days.setdefault(piece.line.start_us, []).append(piece)
    return [days[start_us] for start_us in sorted(days)]


def pool_of(logs: Sequence[LogReport], site: Site | None = None) -> Pool:
    """Return what several logs of a site, in any order, hold together.

    Of logs that hold the same time, one counts for each day: the one that measured more of it.
    """
    dated, others = _parted(logs, lambda log: not log.facts.undated)
    left_out = [LeftOut(log, "has no dates") for log in others]
    usable, others = _parted(dated, lambda log: bool(log.ledger.days))
    left_out += [LeftOut(log, "holds nothing that could be added up") for log in others]
    # Watts at a bank hold the inverter's losses and those behind it do not, so only logs of one side are put together:
    # of the side that measured longest.
    side: Side = "ac" if _longest(usable, lambda log: log.facts.side) == "ac" else "dc"
    usable, others = _parted(usable, lambda log: log.facts.side == side)
    left_out += [LeftOut(log, f"is from side {log.facts.side}, the others from side {side}") for log in others]
    # Days cut at other midnights are other days.
    zone = _longest(usable, lambda log: log.facts.zone) or "UTC"
    usable, others = _parted(usable, lambda log: log.facts.zone == zone)
    left_out += [LeftOut(log, f"has its days in the zone {log.facts.zone}, the others in {zone}") for log in others]
    # Two meters at once see every run twice; one that took over from another sees none again.
    usable, others = _one_meter_at_a_time(usable)
    left_out += [LeftOut(log, "is of another meter that read at the same time") for log in others]
    pieces, overlaps = _without_overlaps(_pieces_of(usable))
    # Overlaps are parted last, day by day: a log may hold much that others hold, and a day that none does.
    counted = {id(piece.log) for piece in pieces}
    left_out += [LeftOut(log, "holds only what other logs hold, too") for log in usable if id(log) not in counted]
    remarks = _remarks([log for log in usable if id(log) in counted], overlaps, site)
    return Pool(side, zone, tuple(pieces), tuple(left_out), tuple(remarks))


def _pieces_of(logs: Iterable[LogReport]) -> list[DayPiece]:
    pieces = [DayPiece(log, line, runs) for log in logs for runs in [_runs_of(log)] for line in log.ledger.days]
    return sorted(pieces, key=attrgetter("start_us"))


def _runs_of(log: LogReport) -> Runs:
    gaps = log.charge.span.gaps
    return Runs(log.cycles, log.facts.usual_interval_s, gaps[-1].stop_us if gaps else None)


def _longest(logs: Sequence[LogReport], what: Callable[[LogReport], str]) -> str | None:
    """Return the value under which most was measured; the first of equals."""
    measured: Counter[str] = Counter()
    for log in logs:
        measured[what(log)] += round(log.charge.span.covered_s)
    return max(measured, key=lambda value: measured[value], default=None)


def _parted(logs: Sequence[LogReport], chosen: Callable[[LogReport], bool]) -> tuple[list[LogReport], list[LogReport]]:
    return [log for log in logs if chosen(log)], [log for log in logs if not chosen(log)]


def _one_meter_at_a_time(logs: Sequence[LogReport]) -> tuple[list[LogReport], list[LogReport]]:
    """Part the logs from those of a meter that read at the same time as the one that measured longest."""
    main = _longest(logs, lambda log: log.facts.meter or "")
    own, others = _parted(logs, lambda log: (log.facts.meter or "") == main)
    beside = {log.facts.meter for log in others if any(_overlap(log, other) for other in own)}
    return _parted(logs, lambda log: (log.facts.meter or "") == main or log.facts.meter not in beside)


def _overlap(log: LogReport, other: LogReport) -> bool:
    a, b = log.charge.span, other.charge.span
    return min(a.stop_us or 0, b.stop_us or 0) - max(a.start_us or 0, b.start_us or 0) > _no_gap_us(log)


def _without_overlaps(pieces: Sequence[DayPiece]) -> tuple[list[DayPiece], set[str]]:
    """Return the pieces without those that hold what a longer one of the same day holds, and the days concerned."""
    chosen: list[DayPiece] = []
    days: set[str] = set()
    for day in by_day(pieces):
        of_day: list[DayPiece] = []
        # The longest first, so that a piece gives way only to one that measured more.
        for piece in sorted(day, key=lambda piece: -piece.line.measured_s):
            if all(not _at_once(piece, other) for other in of_day):
                of_day.append(piece)
            else:
                days.add(piece.line.text)
        chosen += sorted(of_day, key=attrgetter("start_us"))
    return chosen, days


def _at_once(piece: DayPiece, other: DayPiece) -> bool:
    common_us = min(piece.stop_us, other.stop_us) - max(piece.start_us, other.start_us)
    return common_us > min(_no_gap_us(piece.log), _no_gap_us(other.log))


def _no_gap_us(log: LogReport) -> int:
    return round(log.facts.gap_limit_s * MICROSECONDS)


def _remarks(logs: Sequence[LogReport], overlaps: set[str], site: Site | None) -> Iterator[str]:
    if overlaps:
        days = "one day" if len(overlaps) == 1 else f"{len(overlaps)} days"
        yield f"On {days} logs overlap: of each such day the log counts that measured more of it."
    meters = Counter(log.facts.meter or "no name" for log in logs)
    if len(meters) > 1:
        yield (
            f"The logs are of several meters ({', '.join(f'{name}: {count}' for name, count in meters.items())}), each "
            "with its own error: a change may be that of the meter."
        )
    known = {meter.name for meter in site.meters} if site is not None else set()
    strange = sorted({log.facts.meter for log in logs if log.facts.meter is not None} - known)
    if known and strange:
        yield f"The site file has no meter named {' or '.join(strange)}: make sure that these logs are of this site."
    if len({log.cycles.signal for log in logs}) > 1:
        yield "Runs were found in the current of some logs and in the power of others."
    if logs and all(log.cycles.load is None for log in logs):
        yield "Without a site file's load, the runs are those of each log's own largest load."


def running_s(pieces: Iterable[DayPiece]) -> float:
    """Return how long the load was seen running in pieces together. [s]"""
    return float(sum(piece.running_s for piece in pieces))


def values_of(cycles: Iterable[Cycle], field: str, *, alone: bool = False) -> FloatArray:
    """Return what is known of a field of runs; with `alone` without those whose draw the array may have shared."""
    values = [getattr(cycle, field) for cycle in cycles if not (alone and cycle.array_may_share)]
    return np.array([x for x in values if x is not None], dtype=np.float64)


def usual_of(cycles: Iterable[Cycle], field: str, *, alone: bool = False) -> float | None:
    """Return the median of what is known of a field of runs; None where nothing is."""
    values = values_of(cycles, field, alone=alone)
    return float(np.median(values)) if len(values) else None
