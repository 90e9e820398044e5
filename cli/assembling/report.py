"""Put the report of one log or several together: one pass over each, and a second look at one start."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from ... import __version__
from ...analysis.cautions import CAUTIONS
from ...analysis.cycles.cycle import Cycles
from ...analysis.one_log.log_analysis import LogAnalysis, best_start
from ...analysis.one_log.log_report import CloseUp, LogReport
from ...analysis.one_log.site_folds import SiteFolds
from ...analysis.one_log.watched_load import Watched, cycle_fold, watched_load
from ...analysis.readings.chunk import MICROSECONDS, Chunk, Fold, join
from ...analysis.several_logs.report import PairedLogs, Report
from ...analysis.signal_levels.steps import names_of
from ...analysis.site.site import Site
from ...ingest.errors import InputError
from ..door import lasting_stderr
from ..opening.prepared_log import AS_READ, Corrections, Prepared, ends_of, prepared
from ..opening.times_written import span_of
from ..parallel.two_threads import feed, give_back_memory
from ..parallel.worker_process import HERE, Second
from ..render.wording.clock import clock, zone_of
from ..render.wording.numbers import shortened
from .sent_cycles import SentCycles
from .starts import starts_of

if TYPE_CHECKING:
    from ...analysis.several_logs.before_after import NamedChange

#: What is shown of a start: from this long before it to this long after. [s]
_BEFORE_S, _AFTER_S = 2.0, 8.0

#: From so many logs on their reading is counted aloud. [1]
_MANY = 3
#: From so many logs on the few that are shown in full are read twice, and of all others little is kept: a year's charts
#: would take a gigabyte. [1]
IN_SHORT: Final = 12


def report_of(
    logs: Sequence[Path],
    site: Site | None,
    load: str | None,
    corrections: Corrections = AS_READ,
    changed_at: str | None = None,
    second: Second = HERE,
    changes: Sequence[str] = (),
) -> Report:
    """Return the report of one log, or of several of one site.

    Parameters
    ----------
    load : str or None
        The load to look for; the site's main pump by default.
    changed_at : str or None
        When something was changed at the site, as a person writes it: what was before is set beside what came after.
    second : Second
        Where the cycles of long logs are found; the result is the same.
    changes : sequence of str
        Changes of the system, as `forecast --with` takes them: what they would do is told by the one log.

    Raises
    ------
    InputError, Refusal
        If one cannot be opened, nothing can be worked out from it, the change is no time or note of the logs, or
        nothing can be said of `changes`.
    """
    if changes:
        from .what_if_asked import refuse_changes  # forecasts are what a report seldom needs

        refuse_changes(changes, logs, site)
    ready = [prepared(path, site, corrections) for path in logs]
    change = None if changed_at is None else named_change(changed_at, ready)
    reports = _told_apart((_reports if len(ready) < IN_SHORT else _reports_of_many)(ready, site, load, second))
    # Only now, with every log read: what lies behind an inverter completes what was worked out at the bank.
    pairs: tuple[PairedLogs, ...] = ()
    if len({report.facts.side for report in reports}) > 1:
        from .pair_logs import paired  # it fits losses, which one log alone needs not

        reports, pairs = paired(ready, reports, site)
    several = len(reports) > 1 or change is not None
    over = None
    if several:
        from ...analysis.several_logs.over_logs import over_logs  # most reports are of one log

        over = over_logs(reports, lambda facts: zone_of(facts)[1], site=site, change=change)
    changed = None
    if changes and site is not None:
        from .what_if_asked import what_if_by_log

        changed = what_if_by_log(changes, reports[0], ready[0], site, load)
    return Report(site, reports, CAUTIONS, __version__, pairs, over, changed)


def _told_apart(reports: Iterable[LogReport]) -> tuple[LogReport, ...]:
    """Return reports of which each goes by its title only where no other has the same; else files' names tell more."""
    made = tuple(reports)
    often = Counter(report.facts.title for report in made)
    return tuple(
        report if often[report.facts.title] == 1 else replace(report, facts=replace(report.facts, title=None))
        for report in made
    )


def _reports(ready: Sequence[Prepared], site: Site | None, load: str | None, second: Second) -> Iterator[LogReport]:
    """Yield the reports of a few logs, all in full."""
    # The cycles of all logs are begun before the first is read here, so that the second process is never idle.
    elsewhere = [begun(log, watched_load(site, load, log.how, log.quantities), second) for log in ready]
    second.prepare()
    beside = zip(ready, elsewhere, strict=True)
    yield from _counting((_in_full(log, site, load, cycles) for log, cycles in beside), len(ready))


def _reports_of_many(ready: Sequence[Prepared], site: Site | None, load: str | None, second: Second) -> list[LogReport]:
    """Return the reports of many logs: in short, but for those that are shown in full, which are read once more."""
    from ...analysis.several_logs.over_logs import wanting_a_look  # many logs are seldom

    works = [partial(in_short, log, site, load) for log in ready]
    reports = list(_counting(second.share(works), len(ready)))
    second.prepare()
    place = {id(report): k for k, report in enumerate(reports)}
    for k in [place[id(report)] for report in wanting_a_look(reports)]:
        reports[k] = _in_full(ready[k], site, load)
    return reports


def in_short(log: Prepared, site: Site | None, load: str | None) -> LogReport:
    """Read a log and return its report without what only a log shown in full is drawn from."""
    return _log_report(log, site, load).in_short()


def _counting(reports: Iterable[LogReport], count: int) -> Iterator[LogReport]:
    """Yield the reports; show on standard error how far the logs have been read if they are many."""
    if count < _MANY:
        yield from reports
        return
    with click.progressbar(reports, count, label=f"reading {count} logs", file=lasting_stderr()) as shown:
        yield from shown


def _log_report(log: Prepared, site: Site | None, load: str | None, cycles: Fold[Cycles] | None = None) -> LogReport:
    zone = None if log.facts.undated else zone_of(log.facts)[1]
    folds = SiteFolds(log.how, log.quantities, log.facts.markers, site=site, zone=zone)
    analysis = LogAnalysis(
        log.facts,
        log.how,
        log.quantities,
        site=site,
        load=load,
        figures=log.figures,
        site_folds=folds,
        cycles=cycles,
    )
    log.feed(*analysis.folds)
    return analysis.result()


def _in_full(log: Prepared, site: Site | None, load: str | None, cycles: Fold[Cycles] | None = None) -> LogReport:
    """Read a log and return its report with the readings that pictures of its starts are drawn from."""
    report = _log_report(log, site, load, cycles)
    report = replace(report, close_up=_close_up(log, report.cycles), starts=starts_of(log, report.cycles))
    if cycles is not None:
        give_back_memory()  # of a long log: before a page is made
    return report


def _close_up(log: Prepared, cycles: Cycles) -> CloseUp | None:
    cycle = best_start(cycles)
    if cycle is None:
        return None
    # Of a slow meter some readings on either side, else there would be nothing to see.
    spacing_s = log.how.usual_interval_s or 1.0
    low = cycle.start_us - round(max(_BEFORE_S, 5 * spacing_s) * MICROSECONDS)
    high = cycle.start_us + round(max(_AFTER_S, 15 * spacing_s) * MICROSECONDS)
    parts = []
    for readings in log.chunks(from_us=low, to_us=high):
        inside = (readings.time_us >= low) & (readings.time_us <= high)
        if inside.any():
            parts.append(Chunk(readings.time_us[inside], {name: x[inside] for name, x in readings.quantities.items()}))
    return CloseUp(cycle, join(parts)) if parts else None


#: With fewer readings a second process is hardly there before they are read. [1]
LONG: Final = 1_000_000


def begun(log: Prepared, watched: Watched, second: Second) -> Fold[Cycles] | None:
    """Begin to find a log's cycles beside; return what stands for them among its folds, None where it is not worth it.

    A second process reads the log a second time, only what cycles are found by.
    """
    if log.log.rows < LONG or not second.is_beside:
        return None
    find = partial(_sent, log, watched)
    return _Awaited(second.begin(find), find)


def _sent(log: Prepared, watched: Watched) -> SentCycles:
    return SentCycles.of(find_cycles(log, watched))


def find_cycles(log: Prepared, watched: Watched) -> Cycles:
    """Read a log and return its cycles."""
    fold = cycle_fold(watched, log.how, log.quantities, log.facts.markers)
    feed(log.chunks(only=names_of(log.quantities)), fold)
    return fold.result()


class _Awaited:
    """Stands for cycles that are found elsewhere, as a fold that needs no readings."""

    def __init__(self, wait: Callable[[], SentCycles], again: Callable[[], SentCycles]) -> None:
        self._wait, self._again = wait, again

    def add(self, chunk: Chunk) -> None:
        """Leave it: whoever finds the cycles reads them."""

    def result(self) -> Cycles:
        """Wait for the cycles; nobody asks twice, so they are not kept here, but would be found again."""
        wait, self._wait = self._wait, self._again
        # What was read has left memory behind that nobody needs; so has, then, what was sent.
        give_back_memory()
        cycles = wait().arrived()
        del wait
        give_back_memory()
        return cycles


_OPTION = "--changed-at"


def named_change(text: str, logs: Sequence[Prepared]) -> NamedChange:
    """Return the instant that a person means by a note's text, or a time as ``--from`` takes it.

    A clock time is that of the first log's first day. `InputError` if it is neither, or does not lie between the first
    and the last reading.
    """
    from ...analysis.several_logs.before_after import NamedChange  # few reports name one

    dated = [log for log in logs if not log.facts.undated]
    if not dated:
        raise InputError(f"{_OPTION}: needs logs with dates")
    # As if the logs were one: its markers are those of all, its first day is that of the earliest.
    ends = [(ends_of(log.log), log) for log in dated]
    (first_us, _), first = min(ends, key=lambda pair: pair[0])
    last_us = max(stop_us for (_, stop_us), _ in ends)
    markers = sorted(marker for log in dated for marker in log.facts.markers)
    facts = replace(first.facts, markers=tuple(markers))
    at_us, _ = span_of(text, None, facts, first_us=first_us, last_us=last_us, options=(_OPTION, _OPTION))
    assert at_us is not None
    if not first_us < at_us < last_us:
        raise InputError(
            f"{_OPTION}: {shortened(text)!r} does not lie within the logs, which go from {clock(first_us, facts)} to "
            f"{clock(last_us, facts)}"
        )
    # By instant and text: another note may stand at the instant that a time names.
    wanted = text.strip().lower()
    return NamedChange(
        at_us, next((note for at, note in markers if at == at_us and note.strip().lower() == wanted), "")
    )
