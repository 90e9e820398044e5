"""A capture from its plan to its summary: open journals, read, show, finish the logs."""

from __future__ import annotations

import re
import signal
import sys
import threading
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, cast

import click

from .. import __version__
from ..analysis.amounts import HowRead
from ..analysis.chunk import Sampling, Side
from ..analysis.health import limits_for
from ..analysis.log_analysis import watched_load
from ..analysis.meter_figures import figures_of
from ..analysis.site import Site
from ..ingest.capture import Capture, Happened, open_first
from ..ingest.capture import Meter as Metered
from ..ingest.compaction import finish, settle_unfinished
from ..ingest.durations import seconds
from ..ingest.errors import InputError
from ..ingest.gap_limit import ALWAYS_ONE_S, GAP_TIMES
from ..ingest.journal import Journal
from ..ingest.journal_lines import NothingCaptured
from ..ingest.log import LogMeta
from ..ingest.log_meta import HAND
from ..ingest.source import LiveSource, Reading, SourceLost, SteadyClock
from ..ingest.sources import make_source
from ..ingest.whole_file import reason_of, refuse_existing
from ..ingest.zone import zone_of_computer
from .exit import Exit
from .feeding import meter_of, read_site
from .keyboard import Keyboard
from .live import LiveMeter, Snapshot
from .marks import parse_marks
from .render.live_screen import plain_line, screen, summary_lines
from .to_page import ToPage

if TYPE_CHECKING:
    from rich.console import Group

    from ..analysis.site import Meter as SiteMeter
    from ..ingest.profiles.model import Profile
    from .live_page.server import LivePage

_DEFAULT_EVERY_S = 1.0
_REFRESHES = 4.0
_PLAIN_EVERY_S = 10.0
#: A file's name holds 255 bytes as a rule; what stands beside a log while it is written needs a good part of them.
_NAME_BYTES = 120
#: Names that Windows keeps for devices, whatever follows the dot (Microsoft, "Naming Files, Paths, and Namespaces").
_OF_DEVICES = re.compile(r"con|prn|aux|nul|(com|lpt)[0-9¹²³]", re.IGNORECASE)
_ADD_SOURCE = 'add a line such as source = "serial:PORT?baud=19200"'


@dataclass(frozen=True)
class Wanted:
    """What the command line states for every meter; None leaves it to the profile or site file."""

    profile: str | None
    every_s: float | None
    side: str | None


@dataclass
class Plan:
    """One meter to be captured: where from, where to, and what to look for in it."""

    name: str
    source: LiveSource
    log: Path
    every_s: float
    gap_s: float | None
    profile: Profile | None = None
    site: Site | None = None
    zone: str = field(default_factory=zone_of_computer)

    @property
    def recorded(self) -> LogMeta | None:
        """What a recording that is replayed says of itself; None for a meter."""
        meta: LogMeta | None = getattr(self.source, "meta", None)
        return meta

    @property
    def gap_limit_s(self) -> float:
        """Longest spacing that is still one measurement while it runs. [s]"""
        return self.gap_s if self.gap_s is not None else max(GAP_TIMES * self.every_s, ALWAYS_ONE_S)


def plan_for_source(source: str, out: Path, wanted: Wanted, clock: SteadyClock) -> Plan:
    """Return the plan for one source that the command line names."""
    _free(out)
    profile = _profile(wanted.profile)
    made = make_source(source, profile, clock, side=wanted.side)
    return Plan(out.stem, made, out, wanted.every_s or _DEFAULT_EVERY_S, _gap_s(profile), profile)


def plans_for_site(path: Path, names: Sequence[str], out: Path, wanted: Wanted, clock: SteadyClock) -> list[Plan]:
    """Return a plan for each meter of a site file, or for those that are named.

    Raises
    ------
    InputError, Refusal
        If the site has no such meter, one has no source, or a log exists already.
    """
    site = read_site(path)
    chosen = [site.meter(name) for name in names] or [meter for meter in site.meters if meter.source is not None]
    if not chosen:
        raise InputError(f"{path}: none of its meters says how to read it; {_ADD_SOURCE}")
    for meter in chosen:
        if meter.source is None:
            raise InputError(f"{path}: the meter '{meter.name}' does not say how to read it; {_ADD_SOURCE}")
    if len(chosen) == 1:
        return [_plan_for_meter(chosen[0], path, site, out, wanted, clock)]
    logs = [out / f"{_file_name(meter.name)}.parquet" for meter in chosen]
    if len({log.name.casefold() for log in logs}) < len(logs):
        raise InputError(f"{path}: two of the meters would get the same log; give them names that differ in letters")
    out.mkdir(parents=True, exist_ok=True)
    return [_plan_for_meter(m, path, site, log, wanted, clock) for m, log in zip(chosen, logs, strict=True)]


def _plan_for_meter(meter: SiteMeter, path: Path, site: Site, log: Path, wanted: Wanted, clock: SteadyClock) -> Plan:
    _free(log)
    profile = _profile(wanted.profile or (_beside(path, meter.profile) if meter.profile else None))
    source = make_source(meter.source or "", profile, clock, side=wanted.side or meter.side, sampling=meter.sampling)
    every_s = wanted.every_s or meter.every_s or _DEFAULT_EVERY_S
    gap_s = meter.gap_s or _gap_s(profile)
    return Plan(meter.name, source, log, every_s, gap_s, profile, site, site.zone or zone_of_computer())


def _beside(site: Path, profile: str) -> str:
    """Return a profile that a site file names: a file beside it, or one that comes with shuntbook."""
    file = site.parent / profile
    return str(file) if file.exists() else profile


def _profile(name: str | None) -> Profile | None:
    if name is None:
        return None
    from ..ingest.profiles.model import load_profile

    return load_profile(name)


def _gap_s(profile: Profile | None) -> float | None:
    return seconds(profile.gap, what="the profile's gap") if profile is not None and profile.gap is not None else None


def _free(log: Path) -> None:
    """Complete an unfinished capture that lies in the place of a log, and refuse to write over any log."""
    if (said := settle_unfinished(log)) is not None:
        click.echo(f"note: {said}", err=True)
    refuse_existing(log, force=None)


def _file_name(name: str) -> str:
    """Return a meter's name as that of a file: letters and digits only, so that it leads nowhere else."""
    plain = "".join(c if c.isalnum() or c in "-_" else "_" for c in name.strip()) or "meter"
    plain = plain.encode()[:_NAME_BYTES].decode(errors="ignore")
    return f"_{plain}" if _OF_DEVICES.fullmatch(plain) else plain


def run_capture(
    plans: Sequence[Plan],
    clock: SteadyClock,
    *,
    length_s: float | None,
    marks: Sequence[str],
    quiet: bool,
    page: LivePage | None = None,
) -> int:
    """Capture until it is over, finish the logs, and say what came of it; return the exit status.

    Browsers are shown how it goes by `page`.
    """
    stopped = threading.Event()
    with _ended_by_signals(stopped):
        try:
            for plan in plans:
                open_first(plan.source, clock, given_up=stopped.is_set)
            journals = _open_journals(plans)
        except SourceLost as lost:
            click.echo(f"shuntbook: {lost}", err=True)
            return int(Exit.DONE if stopped.is_set() else Exit.DEVICE_FAILED)
        meters = [
            Metered(plan.name, plan.source, journal, plan.every_s, connected=True)
            for plan, journal in zip(plans, journals, strict=True)
        ]
        capture = Capture(meters, clock, length_s=length_s)
        show = _Show(capture, plans, clock, marks, length_s=length_s, quiet=quiet, page=page)
        capture.start()
        show.run(stopped)
        capture.stop()
        capture.join()
    show.take_rest()
    return _finish(meters, journals, show.last())


def _open_journals(plans: Sequence[Plan]) -> list[Journal]:
    """Open a journal for each meter, or none at all."""
    journals: list[Journal] = []
    try:
        for plan in plans:
            journals.append(Journal(plan.log, _meta(plan), plan.source.quantities))
    except BaseException:
        for journal in journals:
            _discard(journal)
        raise
    return journals


def _discard(journal: Journal) -> None:
    with suppress(NothingCaptured):
        finish(journal)


def _meta(plan: Plan) -> LogMeta:
    """Return the log's metadata; a recording that is replayed brings most of it along."""
    if (recorded := plan.recorded) is not None:
        return replace(recorded, meter=recorded.meter or plan.name, tool_version=__version__)
    return LogMeta(
        meter=plan.name,
        side=plan.source.side,
        sampling=plan.source.sampling,
        counter_kind=(plan.profile.counter if plan.profile else None) or "net",
        profile=plan.profile.name if plan.profile else HAND if plan.source.sampling == "held" else None,
        zone=plan.zone,
        gap_limit_s=plan.gap_s,
        usual_interval_s=plan.every_s,
        tool_version=__version__,
    )


@contextmanager
def _ended_by_signals(stopped: threading.Event) -> Iterator[None]:
    """Let Ctrl-C and a termination signal end the capture cleanly."""

    def end(_number: int, _frame: FrameType | None) -> None:
        stopped.set()

    before = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _Show:
    """Feeds the folds and keeps the screen, or the plain lines, up to date."""

    def __init__(
        self,
        capture: Capture,
        plans: Sequence[Plan],
        clock: SteadyClock,
        marks: Sequence[str],
        *,
        length_s: float | None,
        quiet: bool,
        page: LivePage | None,
    ) -> None:
        self._capture, self._clock, self._length_s = capture, clock, length_s
        self._live = {m.name: _live(plan) for m, plan in zip(capture.meters, plans, strict=True)}
        self._sources = [plan.source for plan in plans]
        recorded = plans[0].recorded
        self._is_replay = recorded is not None
        zone = plans[0].zone if recorded is None else recorded.zone
        self._marks = parse_marks(marks, self._now_us(), zone)
        self._quiet = quiet
        self._said_us = clock.now_us()
        title = plans[0].site.name if plans[0].site is not None else "What is being measured"
        self._to_page = ToPage(page, title)

    def run(self, stopped: threading.Event) -> None:
        """Follow the capture until it ends or is stopped."""
        with Keyboard() as keyboard:
            if self._quiet or not sys.stderr.isatty():
                while self._capture.running and not stopped.is_set():
                    self._step(keyboard)
                    self._say_plainly()
                    self._to_page.step(self.snapshots, self._times(), partial(click.echo, err=True))
                return
            from rich.console import Console
            from rich.live import Live

            console = Console(stderr=True)
            with Live(console=console, refresh_per_second=_REFRESHES, transient=True) as live:
                while self._capture.running and not stopped.is_set():
                    self._step(keyboard)
                    live.update(self._screen(keyboard.typed))
                    say = partial(console.print, markup=False, highlight=False, soft_wrap=True)
                    self._to_page.step(self.snapshots, self._times(), say)

    def take_rest(self) -> None:
        """Take in what the meters told last, and place the notes whose time was reached."""
        self._feed(list(self._capture.events(0.0)))
        for at_us, text in self._marks:
            if at_us <= self._reached_us():
                self._mark(text, at_us)
            else:
                click.echo(f"note: the time of --mark {text!r} was not reached", err=True)

    def snapshots(self, *, final: bool = False) -> list[Snapshot]:
        """Return how every meter stands."""
        return [
            self._live[m.name].snapshot(
                connected=m.connected, trouble=Counter(m.refused) + Counter(m.remarks), final=final
            )
            for m in self._capture.meters
        ]

    def last(self) -> list[Snapshot]:
        """Return how every meter stands at the end, and show it."""
        snapshots = self.snapshots(final=True)
        self._to_page.end(snapshots, self._times())
        return snapshots

    def _step(self, keyboard: Keyboard) -> None:
        self._feed(list(self._capture.events(1.0 / _REFRESHES)))
        for line in keyboard.lines():
            self._typed(line)
        while self._marks and self._marks[0][0] <= self._reached_us():
            at_us, text = self._marks.pop(0)
            self._mark(text, at_us)

    def _feed(self, happened: list[Happened]) -> None:
        for name, live in self._live.items():
            live.add(h.event for h in happened if h.meter.name == name and isinstance(h.event, Reading))

    def _typed(self, line: str) -> None:
        """Give a line to a source that takes typed readings; what is none is a note."""
        for source in self._sources:
            typed = getattr(source, "typed", None)
            if typed is not None and typed(line):
                return
        self._mark(line, None)

    def _mark(self, text: str, at_us: int | None) -> None:
        """Put a note into the logs; during a replay its time is that of the recording."""
        at_us = self._now_us() if at_us is None else at_us
        self._capture.mark(text, at_us)
        for live in self._live.values():
            live.marked(text, at_us)

    def _reached_us(self) -> int:
        """Return up to when a note may be placed: now, or the last reading of a recording. [us]"""
        if not self._is_replay:
            return self._clock.now_us()
        return max(meter.last_us or 0 for meter in self._capture.meters)

    def _now_us(self) -> int:
        """Return the time of the capture, or of the recording that is replayed. [us]"""
        recorded_us = getattr(self._sources[0], "now_us", self._clock.now_us)
        return int(recorded_us())

    def _times(self) -> tuple[float, float | None]:
        """Return for how long it has been captured, and for how long it will be. [s]"""
        elapsed_s = (self._clock.now_us() - self._capture.start_us) / 1e6
        return elapsed_s, None if self._length_s is None else max(self._length_s - elapsed_s, 0.0)

    def _screen(self, typed: str) -> Group:
        elapsed_s, left_s = self._times()
        return screen(self.snapshots(), elapsed_s=elapsed_s, left_s=left_s, typed=typed)

    def _say_plainly(self) -> None:
        now = self._clock.now_us()
        if self._quiet or now - self._said_us < _PLAIN_EVERY_S * 1e6:
            return
        self._said_us = now
        for snapshot in self.snapshots():
            click.echo(plain_line(snapshot), err=True)


def _live(plan: Plan) -> LiveMeter:
    source = plan.source
    recorded = plan.recorded
    usual_s = plan.every_s if recorded is None else recorded.usual_interval_s
    gap_s = plan.gap_limit_s if recorded is None or recorded.gap_limit_s is None else recorded.gap_limit_s
    how = HowRead(
        cast(Side, source.side), cast(Sampling, source.sampling), gap_s, usual_s, noted=(recorded or _meta(plan)).noted
    )
    quantities = tuple(source.quantities)
    watched = watched_load(plan.site, None, how, set(quantities))
    limits = limits_for(plan.site, watched.load, how.side)
    figures = figures_of(meter_of(plan.site, plan.name, how.side))
    zone, undated = (plan.zone, False) if recorded is None else (recorded.zone, recorded.undated)
    return LiveMeter(
        plan.name, how, quantities, limits, watched.name, watched.expected, figures, zone=zone, undated=undated
    )


def _finish(meters: Sequence[Metered], journals: Sequence[Journal], snapshots: Sequence[Snapshot]) -> int:
    """Finish every log, whatever happened to the others, and say what came of it."""
    status = Exit.DONE
    for meter, journal, snapshot in zip(meters, journals, snapshots, strict=True):
        status = max(status, _finish_log(meter, journal, snapshot))
    for meter in meters:
        status = max(status, _say_failure(meter))
    return int(status)


def _finish_log(meter: Metered, journal: Journal, snapshot: Snapshot) -> Exit:
    try:
        done = finish(journal)
    except NothingCaptured:
        click.echo(f"shuntbook: {snapshot.name}: no reading came, so no log was written", err=True)
        return Exit.DEVICE_FAILED
    except OSError as error:
        if isinstance(meter.failure, OSError):
            meter.failure = None  # the same disk: one sentence on it will do
        _say(
            snapshot.name,
            error,
            f"what was read is kept in {journal.path}; make room and run shuntbook look on the log",
        )
        return Exit.DEVICE_FAILED
    except InputError as error:
        click.echo(f"shuntbook: {error}; what was read is kept in {journal.path}", err=True)
        return Exit.BAD_INPUT
    click.echo(f"{snapshot.name}: {snapshot.readings:,} readings in {done.log}")
    for line in summary_lines(snapshot):
        click.echo(f"  {line}")
    for finding in snapshot.findings:
        click.echo(f"  {finding.severity.upper()}: {finding.title}")
    click.echo(f"  next: shuntbook charge {done.log}")
    return Exit.DONE


def _say_failure(meter: Metered) -> Exit:
    failure = meter.failure
    if failure is None:
        return Exit.DONE
    if isinstance(failure, InputError):
        click.echo(f"shuntbook: {failure}", err=True)
        return Exit.BAD_INPUT
    if isinstance(failure, OSError):
        _say(meter.name, failure, "what was read before is kept")
        return Exit.DEVICE_FAILED
    if isinstance(failure, SourceLost):
        click.echo(f"shuntbook: {meter.name}: {failure}", err=True)
        return Exit.DEVICE_FAILED
    raise failure


def _say(name: str, error: OSError, kept: str) -> None:
    click.echo(f"shuntbook: {name}: {error.filename or 'the disk'}: {reason_of(error)}; {kept}", err=True)
