"""What a running capture shows: its screen, or plain lines where there is none."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, cast

from ...analysis.health.limits import limits_for
from ...analysis.one_log.watched_load import watched_load
from ...analysis.readings.chunk import Sampling, Side
from ...analysis.readings.measured_span import HowRead
from ...analysis.sureness.meter_figures import figures_of
from ...ingest.events import Reading, Refused
from ...ingest.live.capture import Capture, Happened
from ...ingest.live.source import SteadyClock
from ..door import DRAWN, console, harmless, has_terminal, tell, tell_drawn
from ..opening.prepared_log import meter_of
from ..opening.times_written import parse_marks
from .inbox import Inbox, LeftEnd, LeftNote
from .keyboard import Keyboard
from .live_meter import LiveMeter, Snapshot
from .plan import Plan, first_meta
from .screen import part_line, plain_line, screen
from .typed_lines import TypedLines

if TYPE_CHECKING:
    from rich.console import Group

_REFRESHES = 4.0
#: So often in each of these the inbox is looked into: a person who leaves a note waits for it to appear.
_LOOKS = 3
_PLAIN_EVERY_S = 10.0
#: For how long it has been captured, and for how long it will be, where that is known. [s]
Times = tuple[float, float | None]


class Say(Protocol):
    """Tells the person here a line, or shows them one of a picture that is drawn with block characters."""

    def __call__(self, line: str, *, drawn: bool = False) -> None:
        """Tell it."""


class Watcher(Protocol):
    """Whoever else is shown how a capture goes."""

    def step(self, snapshots: Callable[[], Sequence[Snapshot]], times: Times, say: Say) -> None:
        """Take how it goes, if that is due, and tell the person here what there is to say."""

    def end(self, snapshots: Sequence[Snapshot], times: Times) -> None:
        """Take the last figures."""

    def stay(self, ended: Callable[[], bool], say: Say) -> None:
        """Be there for those who come late, until it is time to go or `ended` says so."""


def say_plainly(line: str, *, drawn: bool = False) -> None:
    """Tell a line where no screen is being drawn."""
    (tell_drawn if drawn else tell)(line)


@dataclass(frozen=True)
class Ways:
    """For how long it is captured [s], notes beforehand, and whether nothing is shown until the end."""

    length_s: float | None
    marks: Sequence[str]
    quiet: bool


class Show:
    """Feeds the folds and keeps the screen, or the plain lines, up to date."""

    def __init__(
        self,
        capture: Capture,
        plans: Sequence[Plan],
        clock: SteadyClock,
        ways: Ways,
        *,
        watcher: Watcher | None = None,
        inbox: Inbox | None = None,
    ) -> None:
        self._capture, self._clock, self._length_s = capture, clock, ways.length_s
        self._live = {m.name: _live(plan) for m, plan in zip(capture.meters, plans, strict=True)}
        self._sources = [plan.source for plan in plans]
        # A replay is of one source, and its own clock is what notes beforehand are placed by.
        recorded = plans[0].source.meta
        self._is_replay = recorded is not None
        self._marks = parse_marks(ways.marks, self._sources[0].now_us(), _zone(plans[0]))
        self._quiet = ways.quiet
        self._said_us = clock.now_us()
        self._watcher = watcher
        self._typed = TypedLines(self._sources, self._mark)
        # Whoever leaves a line elsewhere is not at this keyboard, and is not asked.
        self._inbox, self._left = inbox, TypedLines(self._sources, self._mark)
        self._ended = threading.Event()

    def run(self, stopped: threading.Event) -> None:
        """Follow the capture until it ends or is stopped, also by what was left in its inbox."""
        self._ended = stopped
        with Keyboard() as keyboard:
            if self._quiet or not has_terminal():
                while self._capture.running and not stopped.is_set():
                    self._step(keyboard)
                    if not self._quiet:
                        self._say_parts(say_plainly)
                    self._say_plainly()
                    self._let_watch(say_plainly)
                return
            from rich.live import Live

            shown = console()
            # Asked only where the question is seen and a person can answer it.
            self._typed.asks = keyboard.is_a_person

            def above(line: str, *, drawn: bool = False) -> None:
                style = DRAWN if drawn else None
                shown.print(harmless(line), style=style, markup=False, highlight=False, soft_wrap=True)

            with Live(console=shown, refresh_per_second=_REFRESHES, transient=True) as live:
                while self._capture.running and not stopped.is_set():
                    self._step(keyboard, above)
                    self._say_parts(above)
                    live.update(self._screen(keyboard.typed))
                    self._let_watch(above)

    def take_rest(self) -> None:
        """Take in what the meters told last, and place the notes whose time was reached."""
        self._hear_inbox()
        self._typed.give_up()
        self._take(list(self._capture.events(0.0)))
        for _, text in self._marks:
            tell(f"note: the time of --mark {text!r} was not reached")

    def snapshots(self, *, final: bool = False) -> list[Snapshot]:
        """Return how every meter stands."""
        return [
            self._live[m.name].snapshot(
                connected=m.connected, trouble=Counter(m.refused) + Counter(m.remarks), final=final
            )
            for m in self._capture.meters
        ]

    def last(self) -> list[Snapshot]:
        """Return what every meter came to, and show it."""
        snapshots = [snapshot.at_end() for snapshot in self.snapshots(final=True)]
        if self._watcher is not None:
            self._watcher.end(snapshots, self._times())
        return snapshots

    def _let_watch(self, say: Say) -> None:
        if self._watcher is not None:
            self._watcher.step(self.snapshots, self._times(), say)

    def _step(self, keyboard: Keyboard, answer: Say | None = None) -> None:
        happened = self._next_events()
        self._take(happened)
        if answer is not None:
            self._say_what_was_not_taken(happened, answer)
        for line in keyboard.lines():
            self._typed.take(line, self._sources[0].now_us())
        self._typed.give_up(self._sources[0].now_us())

    def _next_events(self) -> list[Happened]:
        """Wait for what happens next, and hear meanwhile what is left in the inbox."""
        # Waiting for the first event is what paces the screen; whatever has come by then is fed in one go.
        for _ in range(_LOOKS):
            self._hear_inbox()
            if happened := list(self._capture.events(1.0 / _REFRESHES / _LOOKS)):
                return happened
        return []

    def _hear_inbox(self) -> None:
        for left in self._inbox.take() if self._inbox is not None else ():
            if isinstance(left, LeftEnd):
                self._ended.set()
            elif isinstance(left, LeftNote):
                self._left.take(left.text, self._moment_of(left))
            else:
                self._capture.remark("inbox", f"a line that could not be understood was ignored: {left.text!r}")

    def _moment_of(self, left: LeftNote) -> int:
        """Return when a note was typed, on the capture's clock; of a recording, where it is now. [us]"""
        if self._is_replay:
            return self._sources[0].now_us()
        # The machine's clock may have been set since the capture began, and its own goes on; what cannot be is now.
        at_us = left.at_us - self._clock.step_us()
        now_us = self._clock.now_us()
        return at_us if self._capture.start_us <= at_us <= now_us else now_us

    def _say_what_was_not_taken(self, happened: Sequence[Happened], answer: Say) -> None:
        """Tell the person why what they typed is no reading: it can be typed again at once."""
        for event in (h.event for h in happened if h.meter.source.may_type):
            if isinstance(event, Refused):
                answer(f"not taken: {event.reason}")

    def _take(self, happened: list[Happened]) -> None:
        """Place the notes whose time was reached, and take in what the meters told."""
        # Notes first: a recording that is played fast brings much at once, and a note lies in the midst of it.
        while self._marks and self._marks[0][0] <= self._reached_us():
            at_us, text = self._marks.pop(0)
            self._mark(text, at_us)
        self._feed(happened)

    def _feed(self, happened: list[Happened]) -> None:
        for name, live in self._live.items():
            live.add(h.event for h in happened if h.meter.name == name and isinstance(h.event, Reading))

    def _say_parts(self, say: Say) -> None:
        """Tell what each stretch between notes came to, as soon as it has ended."""
        for name, live in self._live.items():
            for part in live.newly_ended():
                say(part_line(name, part))

    def _mark(self, text: str, at_us: int) -> None:
        """Put a note into the logs; during a replay its time is that of the recording."""
        self._capture.mark(text, at_us)  # kept first, then shown
        for live in self._live.values():
            live.marked(text, at_us)

    def _reached_us(self) -> int:
        """Return up to when a note may be placed: now, or the last reading of a recording. [us]"""
        # At full speed a replay's clock jumps ahead of what was read: a note would lie where nothing is known yet.
        if not self._is_replay:
            return self._clock.now_us()
        return max(meter.last_us or 0 for meter in self._capture.meters)

    def _times(self) -> tuple[float, float | None]:
        """Return for how long it has been captured, and for how long it will be. [s]"""
        elapsed_s = (self._clock.now_us() - self._capture.start_us) / 1e6
        return elapsed_s, None if self._length_s is None else max(self._length_s - elapsed_s, 0.0)

    def _screen(self, typed: str) -> Group:
        elapsed_s, left_s = self._times()
        may_type = next((source.may_type for source in self._sources if source.may_type), ())
        return screen(
            self.snapshots(),
            elapsed_s=elapsed_s,
            left_s=left_s,
            typed=typed,
            may_type=may_type,
            question=self._typed.question,
        )

    def _say_plainly(self) -> None:
        now = self._clock.now_us()
        if self._quiet or now - self._said_us < _PLAIN_EVERY_S * 1e6:
            return
        self._said_us = now
        for snapshot in self.snapshots():
            tell(plain_line(snapshot))


def _live(plan: Plan) -> LiveMeter:
    source, recorded = plan.source, plan.source.meta
    usual_s = plan.every_s if recorded is None else recorded.usual_interval_s
    gap_s = plan.gap_limit_s if recorded is None or recorded.gap_limit_s is None else recorded.gap_limit_s
    how = HowRead(
        cast(Side, source.side),
        cast(Sampling, source.sampling),
        gap_s,
        usual_s,
        noted=(recorded or first_meta(plan)).noted,
    )
    quantities = tuple(source.quantities)
    watched = watched_load(plan.site, None, how, set(quantities))
    limits = limits_for(plan.site, watched.load, how.side)
    # What a report of the log will take: by the name that stands in it.
    figures = figures_of(meter_of(plan.site, first_meta(plan).meter, how.side))
    undated = recorded is not None and recorded.undated
    each = None
    if plan.site is not None and watched.load is not None:
        from ...analysis.forecast.unseen_starts import unseen_starts  # without a site nothing is known of a start

        each = unseen_starts(plan.site, watched.load, 1, how)
    return LiveMeter(
        plan.name,
        how,
        quantities,
        limits,
        watched.name,
        watched.expected,
        figures,
        each,
        drive=watched.drive,
        zone=_zone(plan),
        undated=undated,
        site=plan.site,
    )


def _zone(plan: Plan) -> str:
    """Return the zone in which times are shown and notes beforehand are read: what is stated, a site's, a recording's.

    Without any of them it is this computer's.
    """
    recorded = plan.source.meta
    has_own = plan.zone_stated or (plan.site is not None and plan.site.zone is not None)
    return plan.zone if has_own or recorded is None else recorded.zone
