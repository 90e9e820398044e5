"""What the picture of runs shows: each log or day a row on one clock, runs as marks, what was found as a bracket."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from ....analysis.readings.chunk import MICROSECONDS
from ..wording import checks, clock, log_sentences, numbers
from .run_strip import seen_on

if TYPE_CHECKING:
    from ....analysis.cycles.cycle import Cycle
    from ....analysis.one_log.log_report import LogReport
    from .thinning import Span

_DAY_S: Final = 86_400.0


@dataclass(frozen=True)
class Mark:
    """A run: from when to when on the row's clock [s], its settled draw [unit], and whether it was seen to its end."""

    left: float
    right: float
    draw: float | None
    whole: bool = True


@dataclass(frozen=True)
class Bracket:
    """What was found of runs of a row, in a few words, and from when to when on the row's clock these ran. [s]."""

    left: float
    right: float
    label: str


@dataclass(frozen=True)
class Row:
    """One log, or one day of a long one, on the clock that all rows share.

    ``left`` and ``right`` are its ends on the clock [s], ``start_us`` when it begins. ``attempts`` are starts that
    failed. The bracket is that of the gravest finding, None where there is none but notes.
    """

    name: str
    start_us: int
    left: float
    right: float
    marks: tuple[Mark, ...]
    gaps: tuple[Span, ...]
    attempts: tuple[float, ...]
    bracket: Bracket | None

    @property
    def counted(self) -> str:
        """How many runs it shows."""
        return numbers.counted(len(self.marks), "run")


@dataclass(frozen=True)
class ClockRows:
    """Rows in order of time, what their marks are as high as, and what their clock shows.

    ``quantity`` is None where the draws of all logs are not of one. ``left_out`` is how many rows there are beside
    these.
    """

    rows: tuple[Row, ...]
    quantity: str | None
    clock: str
    dated: bool
    left_out: int = 0

    def shown(self, most: int) -> ClockRows:
        """Return at most so many rows: of those with a bracket and of all the newest, half of the room for either."""
        if len(self.rows) <= most:
            return self
        by_age = sorted(range(len(self.rows)), key=lambda k: self.rows[k].start_us, reverse=True)
        chosen = [k for k in by_age if self.rows[k].bracket is not None][: most // 2]
        chosen += [k for k in by_age if k not in chosen][: most - len(chosen)]
        rows = tuple(self.rows[k] for k in sorted(chosen))
        return replace(self, rows=rows, left_out=len(self.rows) - len(rows))


def clock_rows(logs: Sequence[LogReport]) -> ClockRows | None:
    """Return what is to be drawn of logs; None where none of them holds a run."""
    logs = [log for log in logs if log.charge.span.start_us is not None]
    if not any(log.cycles.cycles for log in logs):
        return None
    dated = not any(log.facts.undated for log in logs)
    quantity = _quantity(logs)
    titled = [(log_sentences.log_title(log.facts), row) for log in logs for row in _rows_of(log, quantity, dated=dated)]
    titled.sort(key=lambda pair: pair[1].start_us)
    # Two logs of one day are told apart by what they are called.
    often = Counter(row.name for _, row in titled)
    rows = tuple(row if often[row.name] == 1 else replace(row, name=f"{row.name}, {title}") for title, row in titled)
    zones = ", ".join(dict.fromkeys(clock.in_zone(log.facts) for log in logs))
    return ClockRows(rows, quantity, f"time of day in {zones}" if dated else "time since the start", dated)


def _quantity(logs: Sequence[LogReport]) -> str | None:
    """Return what all runs are drawn as high as: amps at the bank, else watts; None where neither is of all logs."""
    with_runs = [log for log in logs if log.cycles.cycles]
    if all(log.facts.side == "dc" and any(c.run_A is not None for c in log.cycles.cycles) for log in with_runs):
        return "current_A"
    watts = all(any(c.run_W is not None for c in log.cycles.cycles) for log in with_runs)
    return "power_W" if watts else None


def _rows_of(log: LogReport, quantity: str | None, *, dated: bool) -> list[Row]:
    """Return the rows of a log: one, or one for each day where it is longer than a day."""
    start_us, stop_us = _ends(log)
    edges_us = [start_us]
    if stop_us - start_us <= _DAY_S * MICROSECONDS:
        edges_us.append(stop_us)
    while edges_us[-1] < stop_us:
        shown_s = _clock_s(log, edges_us[-1]) if dated else (edges_us[-1] - start_us) / MICROSECONDS
        edges_us.append(min(edges_us[-1] + round((_DAY_S - shown_s % _DAY_S) * MICROSECONDS), stop_us))
    return [_row(log, quantity, ends_us, dated=dated) for ends_us in pairwise(edges_us)]


def _ends(log: LogReport) -> tuple[int, int]:
    span = log.charge.span
    assert span.start_us is not None
    assert span.stop_us is not None
    return span.start_us, span.stop_us


def _clock_s(log: LogReport, us: int) -> float:
    """Return what a clock on the wall shows at an instant. [s since midnight]."""
    at = clock.local(us, log.facts)
    return at.hour * 3600.0 + at.minute * 60.0 + at.second + at.microsecond / MICROSECONDS


def _row(log: LogReport, quantity: str | None, ends_us: tuple[int, int], *, dated: bool) -> Row:
    """Return what a log shows between two instants, on a clock that runs on from the first, also past midnight."""
    start_us, stop_us = ends_us
    first_s = _clock_s(log, start_us) if dated else 0.0

    def on_clock(span_us: tuple[int, int]) -> Span:
        left, right = (first_s + (min(max(us, start_us), stop_us) - start_us) / MICROSECONDS for us in span_us)
        return left, right

    runs = [
        (cycle, on_us)
        for cycle, on_us in zip(log.cycles.cycles, seen_on(log), strict=True)
        if on_us[0] < stop_us and on_us[1] >= start_us
    ]
    gaps_us = [(gap.start_us, gap.stop_us) for gap in log.charge.span.gaps]
    tries_us = [(attempt.start_us,) * 2 for attempt in log.cycles.attempts]
    finding = _finding(log, ends_us, {cycle.start_us: on_us[1] for cycle, on_us in runs})
    return Row(
        name=_name(log, start_us, dated=dated),
        start_us=start_us,
        left=first_s,
        right=on_clock(ends_us)[1],
        marks=tuple(Mark(*on_clock(on_us), _height(cycle, quantity), cycle.complete) for cycle, on_us in runs),
        gaps=tuple(on_clock(gap_us) for gap_us in gaps_us if gap_us[0] < stop_us and gap_us[1] > start_us),
        attempts=tuple(on_clock(us)[0] for us in tries_us if start_us <= us[0] < stop_us),
        bracket=None if finding is None else Bracket(*on_clock(finding[0]), finding[1]),
    )


def _name(log: LogReport, start_us: int, *, dated: bool) -> str:
    if dated:
        day = clock.local(start_us, log.facts)
        return f"{day.day} {day:%b %Y}"
    days = (start_us - _ends(log)[0]) // round(_DAY_S * MICROSECONDS)
    title = log_sentences.log_title(log.facts)
    return title if _ends(log)[1] - _ends(log)[0] <= _DAY_S * MICROSECONDS else f"{title}, day {days + 1}"


def _height(cycle: Cycle, quantity: str | None) -> float | None:
    if quantity is None:
        return None
    return cycle.run_A if quantity == "current_A" else cycle.run_W


def _finding(log: LogReport, ends_us: tuple[int, int], stops_us: dict[int, int]) -> tuple[tuple[int, int], str] | None:
    """Return when the runs of a row's gravest finding began and ended [us], and what it is; None but for notes.

    `stops_us` tells when the row's runs ended, by their starts.
    """
    for finding in log_sentences.by_severity(log):
        own_us = [us for us in finding.cycles if ends_us[0] <= us < ends_us[1]]
        if finding.severity != "note" and own_us:
            last_us = max(stops_us.get(us, us) for us in own_us)
            runs_s = [(stops_us[us] - us) / MICROSECONDS for us in own_us if us in stops_us]
            return (own_us[0], last_us), checks.in_few_words(finding, own_us, runs_s)
    return None
