"""What the picture of runs shows: each log or day a row on one clock, runs as marks, what was found as a bracket."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from ....analysis.health.finding import is_swapped
from ....analysis.readings.chunk import MICROSECONDS, SECONDS_PER_HOUR
from ..wording import checks, clock, log_sentences, numbers
from .run_strip import seen_on

if TYPE_CHECKING:
    from ....analysis.cycles.cycle import Cycle
    from ....analysis.one_log.log_report import LogReport
    from .thinning import Span

_DAY_US: Final = 86_400 * MICROSECONDS
#: So much of a note stands at its flag. [characters]
_MOST_OF_FLAG: Final = 32


@dataclass(frozen=True, slots=True)
class Mark:
    """A run: from when to when on the row's clock [s], its settled draw [unit], and whether it was seen to its end."""

    left: float
    right: float
    draw: float | None
    whole: bool = True


@dataclass(frozen=True)
class Bracket:
    """What was found of runs of a row, in a few words, and from when to when on the row's clock these ran. [s].

    ``detail`` is what may be left out of the words where there is no room.
    """

    left: float
    right: float
    words: str
    detail: str = ""

    @property
    def label(self) -> str:
        """All that is said at it."""
        return self.words + self.detail


@dataclass(frozen=True)
class Row:
    """One log, or one day of a long one, on the clock that all rows share.

    ``left`` and ``right`` are its ends on the clock [s], ``start_us`` when it begins, ``day`` its date, if it has one.
    ``attempts`` are starts that failed, ``flags`` what was noted, each with where it stands. The bracket is that of the
    gravest finding, None where there is none but notes.
    """

    name: str
    start_us: int
    left: float
    right: float
    marks: tuple[Mark, ...]
    gaps: tuple[Span, ...]
    attempts: tuple[float, ...]
    bracket: Bracket | None
    flags: tuple[tuple[float, str], ...] = ()
    day: date | None = None

    @property
    def counted(self) -> str:
        """How many runs it shows."""
        return numbers.counted(len(self.marks), "run")


@dataclass(frozen=True)
class ClockRows:
    """Rows in order of time, what their marks are as high as, and what their clock shows.

    ``quantity`` is None where the draws of all logs are not of one. ``left_out`` is how many rows there are beside
    these, and ``left_out_days`` their days, where they have dates.
    """

    rows: tuple[Row, ...]
    quantity: str | None
    clock: str
    left_out: int = 0
    left_out_days: tuple[date, ...] = ()

    def shown(self, most: int) -> ClockRows:
        """Return at most so many rows: of those with a bracket and of all the newest, half of the room for either.

        Fewer of fewer are the same as fewer of all.
        """
        if len(self.rows) <= most:
            return self
        by_age = sorted(range(len(self.rows)), key=lambda k: self.rows[k].start_us, reverse=True)
        chosen = [k for k in by_age if self.rows[k].bracket is not None][: most // 2]
        chosen += [k for k in by_age if k not in chosen][: most - len(chosen)]
        rows = tuple(self.rows[k] for k in sorted(chosen))
        days = {row.day for k, row in enumerate(self.rows) if k not in chosen and row.day is not None}
        left_out = self.left_out + len(self.rows) - len(rows)
        days = days.union(self.left_out_days) - {row.day for row in rows}
        return replace(self, rows=rows, left_out=left_out, left_out_days=tuple(sorted(days)))


def _title(log: LogReport) -> str:
    # A longer name would leave no room for what it names.
    return numbers.shortened(log_sentences.log_title(log.facts), 18)


def clock_rows(logs: Sequence[LogReport]) -> ClockRows | None:
    """Return what is to be drawn of logs; None where none of them holds a run."""
    # Where draw and return are swapped, what looks like runs are the rests between them.
    logs = [log for log in logs if log.charge.span.start_us is not None and not is_swapped(log.findings)]
    if not any(log.cycles.cycles for log in logs):
        return None
    dated = not any(log.facts.undated for log in logs)
    quantity = _quantity(logs)
    titled = [(log, row) for log in logs for row in _LogRows(log, quantity, dated=dated).rows()]
    titled.sort(key=lambda pair: pair[1].start_us)
    # Two logs of one day are told apart by what they are called.
    often = Counter(row.name for _, row in titled)
    rows = tuple(
        row if often[row.name] == 1 else replace(row, name=f"{row.name}, {_title(log)}") for log, row in titled
    )
    zones = ", ".join(dict.fromkeys(clock.in_zone(log.facts) for log in logs))
    return ClockRows(rows, quantity, f"time of day in {numbers.shortened(zones)}" if dated else "time since the start")


def _quantity(logs: Sequence[LogReport]) -> str | None:
    """Return what all runs are drawn as high as: amps at the bank, else watts; None where neither is of all logs."""
    with_runs = [log for log in logs if log.cycles.cycles]
    if all(log.facts.side == "dc" and any(c.run_A is not None for c in log.cycles.cycles) for log in with_runs):
        return "current_A"
    watts = all(any(c.run_W is not None for c in log.cycles.cycles) for log in with_runs)
    return "power_W" if watts else None


class _LogRows:
    """The rows of one log: one, or one for each day where it is longer than a day."""

    def __init__(self, log: LogReport, quantity: str | None, *, dated: bool) -> None:
        self._log, self._quantity, self._dated = log, quantity, dated
        span = log.charge.span
        assert span.start_us is not None
        assert span.stop_us is not None
        self._start_us, self._stop_us = span.start_us, span.stop_us
        self._runs_us = seen_on(log)
        self._starts_us = [start_us for start_us, _ in self._runs_us]
        serious = (finding for finding in log_sentences.by_severity(log) if finding.severity != "note")
        self._findings = [(finding, sorted(finding.cycles)) for finding in serious if finding.cycles]

    def rows(self) -> list[Row]:
        """Return them in order of time."""
        edges_us = [self._start_us]
        # A night is one row on a clock that runs on; a day and more would hide what is alike from day to day.
        if self._stop_us - self._start_us <= _DAY_US:
            edges_us.append(self._stop_us)
        while edges_us[-1] < self._stop_us:
            edges_us.append(min(self._next_row_us(edges_us[-1]), self._stop_us))
        return [self._row(low_us, high_us) for low_us, high_us in pairwise(edges_us)]

    def _next_row_us(self, us: int) -> int:
        """Return when the row after that of an instant begins: at midnight, which may be 23 or 25 hours on. [us]."""
        if not self._dated:
            return us + _DAY_US
        at = clock.local(us, self._log.facts)
        return clock.microseconds_of(datetime.combine(at.date() + timedelta(days=1), time(), at.tzinfo))

    def _clock_s(self, us: int) -> float:
        """Return what a clock on the wall shows at an instant, or how long after the log's start it is. [s]."""
        if not self._dated:
            return (us - self._start_us) / MICROSECONDS
        at = clock.local(us, self._log.facts)
        return at.hour * 3600.0 + at.minute * 60.0 + at.second + at.microsecond / MICROSECONDS

    def _offset_s(self, us: int) -> float:
        """Return how far the clock on the wall is before UTC. [s]."""
        offset = clock.local(us, self._log.facts).utcoffset()
        return offset.total_seconds() if offset is not None else 0.0

    def _row(self, low_us: int, high_us: int) -> Row:
        """Return what the log shows between two instants."""
        log, first_s = self._log, self._clock_s(low_us) if self._dated else 0.0
        # Where the clocks are set within the row, what follows stands where they show it.
        is_set = self._dated and self._offset_s(low_us) != self._offset_s(high_us)

        def at_clock(us: int) -> float:
            set_s = self._offset_s(us) - self._offset_s(low_us) if is_set else 0.0
            return first_s + (us - low_us) / MICROSECONDS + set_s

        def on_clock(*span_us: int) -> Span:
            left, right = (at_clock(min(max(us, low_us), high_us)) for us in span_us)
            return left, max(left, right)

        # The one that was on when the row began is among them.
        first = max(bisect_left(self._starts_us, low_us) - 1, 0)
        places = slice(first, bisect_left(self._starts_us, high_us))
        marks = tuple(
            Mark(*on_clock(*on_us), _height(cycle, self._quantity), cycle.complete)
            for cycle, on_us in zip(log.cycles.cycles[places], self._runs_us[places], strict=True)
            if on_us[1] >= low_us
        )
        gaps = tuple(
            on_clock(gap.start_us, gap.stop_us)
            for gap in log.charge.span.gaps
            if gap.start_us < high_us and gap.stop_us > low_us
        )
        tries_us = [attempt.start_us for attempt in log.cycles.attempts if low_us <= attempt.start_us < high_us]
        return Row(
            name=self._name(low_us),
            start_us=low_us,
            left=first_s,
            right=on_clock(high_us, high_us)[1],
            # In the order in which they stand: of an hour that comes twice those of both passes.
            marks=tuple(sorted(marks, key=lambda mark: mark.left)) if is_set else marks,
            gaps=gaps,
            attempts=tuple(on_clock(us, us)[0] for us in tries_us),
            bracket=self._bracket(low_us, high_us, on_clock),
            flags=tuple(
                (on_clock(us, us)[0], numbers.shortened(text, _MOST_OF_FLAG))
                for us, text in sorted(log.facts.markers)
                if low_us <= us <= high_us
            ),
            day=clock.local(low_us, log.facts).date() if self._dated else None,
        )

    def _name(self, low_us: int) -> str:
        """Return a row's date; without dates the log's title, with the day where there are several."""
        if self._dated:
            day = clock.local(low_us, self._log.facts)
            return f"{day.day} {day:%b %Y}"
        title = _title(self._log)
        is_one = self._stop_us - self._start_us <= _DAY_US
        return title if is_one else f"{title}, day {(low_us - self._start_us) // _DAY_US + 1}"

    def _bracket(self, low_us: int, high_us: int, on_clock: Callable[[int, int], Span]) -> Bracket | None:
        """Return the gravest finding that rests on runs, or starts, of a row; None where there is none but notes."""
        for finding, starts_us in self._findings:
            own_us = starts_us[bisect_left(starts_us, low_us) : bisect_left(starts_us, high_us)]
            if not own_us:
                continue
            stops_us = {us: self._stop_of(us) for us in own_us}
            runs_s = [(stops_us[us] - us) / MICROSECONDS for us in own_us]
            words, detail = checks.in_few_words(finding, own_us, runs_s, self._hours(low_us, high_us))
            return Bracket(*on_clock(own_us[0], max(stops_us.values())), words, detail)
        return None

    def _hours(self, low_us: int, high_us: int) -> float:
        """Return how many hours were measured between two instants. [h]."""
        if (low_us, high_us) == (self._start_us, self._stop_us):
            return self._log.cycles.covered_s / SECONDS_PER_HOUR
        gaps_us = [(max(gap.start_us, low_us), min(gap.stop_us, high_us)) for gap in self._log.charge.span.gaps]
        unread_us = sum(max(right - left, 0) for left, right in gaps_us)
        return (high_us - low_us - unread_us) / MICROSECONDS / SECONDS_PER_HOUR

    def _stop_of(self, start_us: int) -> int:
        """Return when the run that began then was last seen on; a start that failed ended as it began. [us]."""
        place = bisect_left(self._starts_us, start_us)
        is_run = place < len(self._starts_us) and self._starts_us[place] == start_us
        return self._runs_us[place][1] if is_run else start_us


def _height(cycle: Cycle, quantity: str | None) -> float | None:
    if quantity is None:
        return None
    return cycle.run_A if quantity == "current_A" else cycle.run_W
