"""The loop that reads meters: poll on time, keep what came, then tell of it.

In this order, because each step may fail and none may cost what the step before has gained. The poll comes first and on
a grid of its own, since a reading's instant cannot be had later. Then the journal: once a reading is in it, a crash, a
full screen or a slow viewer loses nothing. Whoever listens is told last and through a queue, so that the loop never
waits for anybody, and so that nothing is ever shown that would be gone after a power cut.
"""

from __future__ import annotations

import json
import queue
import threading
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from ..errors import InputError
from ..events import NOT_KEPT, OF_DISPLAY, Event, Reading, Refused, Remark
from ..quantities import LARGEST_READING
from .source import Clock, LiveSource, SourceLost

if TYPE_CHECKING:
    from ..journal.journal import Journal

#: Pauses before a lost source is tried again: they double up to the longest. [s]
FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.5, 30.0
#: How often a source that never opened is tried before the capture gives up.
FIRST_TRIES = 3
#: A step of the machine's clock by more than this is noted. [s]
CLOCK_STEP_S = 0.5
#: What cannot be read is kept up to this, and from then on no faster than a meter's readings would fill the disk: a
#: line at the wrong baud rate takes several times its own length. What is more is counted. [bytes], [bytes/s]
REFUSED_MOST, REFUSED_A_SECOND = 1_000_000, 300
#: What a record has beside its texts, about. [bytes]
_RECORD_BYTES = 60
#: How often it is kept how much was only counted: so much a power cut costs of that. [s]
_COUNTED_EVERY_S = 60.0
#: The longest a thread waits without looking whether it should stop. [s]
_SLICE_S = 0.2


def open_first(source: LiveSource, clock: Clock, *, given_up: Callable[[], bool] = lambda: False) -> Sequence[str]:
    """Open a source before a capture begins: only then is it known for sure what it can give; return what is odd.

    Raises
    ------
    InputError
        If it can never work, or what it gives cannot be.
    SourceLost
        If it did not open at `FIRST_TRIES` tries, or was given up meanwhile.
    """
    # Later a source is tried again for ever; here a person still stands by the meter who can put in the cable.
    pause_s = FIRST_PAUSE_S
    for tries_left in range(FIRST_TRIES - 1, -1, -1):
        try:
            source.open()
            return source.check()
        except InputError:
            source.close()
            raise
        except SourceLost:
            source.close()
            if not tries_left or given_up():
                raise
            clock.sleep(pause_s)
            pause_s *= 2
    return ()


@dataclass
class MeteredSource:
    """One meter of a capture: its source, its journal, and what has come of it so far."""

    name: str
    source: LiveSource
    journal: Journal
    every_s: float
    readings: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    remarks: Counter[str] = field(default_factory=Counter)
    refused_bytes: int = 0
    not_kept: int = 0
    not_kept_told_us: int = 0
    connected: bool = False
    finished: bool = False
    failure: BaseException | None = None
    last_us: int | None = None


@dataclass(frozen=True)
class Happened:
    """Something that a meter's thread tells the listener."""

    meter: MeteredSource
    event: Event


class Capture:
    """Reads one meter or several, each in a thread of its own, all on one clock, for `length_s` or until it is stopped.

    The meters' journals and sources are open when it starts (`open_first`). Polls fall on whole multiples of a meter's
    interval after the start: a poll that comes late does not move those after it, and polls missed while the meter did
    not answer are left out, not made up for.
    """

    def __init__(self, meters: Sequence[MeteredSource], clock: Clock, *, length_s: float | None) -> None:
        self.meters = list(meters)
        self._clock = clock
        self.start_us = clock.now_us()
        self._end_us = None if length_s is None else self.start_us + round(length_s * 1e6)
        self._events: queue.SimpleQueue[Happened] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []

    def start(self) -> None:
        """Begin to read."""
        for meter in self.meters:
            thread = threading.Thread(target=self._run, args=(meter,), name=f"meter {meter.name}", daemon=True)
            self._threads.append(thread)
            thread.start()

    def stop(self) -> None:
        """Ask all meters to end; may be called from a signal handler."""
        self._stop.set()

    def join(self) -> None:
        """Wait until every meter has ended."""
        for thread in self._threads:
            thread.join()

    @property
    def running(self) -> bool:
        """Whether any meter is still being read."""
        return any(thread.is_alive() for thread in self._threads)

    def events(self, wait_s: float) -> Iterator[Happened]:
        """Yield what has happened; waits up to `wait_s` for the first."""
        try:
            yield self._events.get(timeout=wait_s)
            while True:
                yield self._events.get_nowait()
        except queue.Empty:
            return

    def mark(self, text: str, time_us: int | None = None) -> None:
        """Put a marker into every meter's log, now or at `time_us`."""
        at = self._clock.now_us() if time_us is None else time_us
        for meter in self.meters:
            try:
                meter.journal.append_marker(at, text)
            except OSError as error:  # as where a reading cannot be kept: the capture ends, and all logs are finished
                meter.failure = meter.failure or error
                self._stop.set()

    def remark(self, kind: str, text: str) -> None:
        """Keep a remark on the capture itself in every meter's log."""
        remark = Remark(self._clock.now_us(), kind, text)
        for meter in self.meters:
            with suppress(OSError):  # no reading is lost with it; one that cannot be kept ends the capture
                meter.journal.append_event(remark)

    def _over(self) -> bool:
        return self._stop.is_set() or (self._end_us is not None and self._clock.now_us() >= self._end_us)

    def _run(self, meter: MeteredSource) -> None:
        """Read one meter to the end; whatever goes wrong is kept for the one who started it."""
        try:
            self._read(meter)
        except BaseException as error:
            # One meter's failure ends them all: logs of one demo are of use together, or told as cut short together.
            meter.failure = error
            self._stop.set()
        finally:
            meter.connected = False
            self._close(meter)

    def _read(self, meter: MeteredSource) -> None:
        watch = _ClockWatch(self._clock)
        due_us = self.start_us
        while not self._over() and not meter.finished:
            if not meter.connected:
                self._reconnect(meter)
                continue  # the capture may have ended meanwhile
            try:
                if meter.source.cadence == "polled":
                    due_us = self._poll(meter, due_us)
                else:
                    # A pushed source gives its readings their instants itself; a slice is only how soon a stop is seen.
                    self._take(meter, meter.source.read(_SLICE_S))
                    meter.finished = meter.source.finished
            except SourceLost as lost:
                # What is half open must be closed before it can be opened again; the loss is a line in the log as well,
                # since it explains the gap that follows.
                meter.connected = False
                meter.source.close()
                self._tell(meter, Remark(self._clock.now_us(), lost.kind, str(lost)))
            # After every read, however it went: a step belongs between the readings that it fell between.
            if (step_s := watch.look()) is not None:
                self._note_step(meter, step_s)
            meter.journal.flush_due(self._clock.now_us())

    def _close(self, meter: MeteredSource) -> None:
        """Take what a source still has to say at its end, and close it."""
        try:
            if meter.failure is None:  # else the journal has failed, and would fail again
                self._take(meter, meter.source.ending())
                if meter.not_kept:
                    self._keep_count(meter)
        except OSError as error:
            meter.failure = error
        finally:
            meter.source.close()

    def _poll(self, meter: MeteredSource, due_us: int) -> int:
        """Wait for the next poll, ask, and return when the one after it is due. [us]"""
        every_us = round(meter.every_s * 1e6)
        now = self._clock.now_us()
        # Missed polls are left out in whole intervals, so that those to come stay on the grid; a bunch of late ones
        # would pretend to readings at instants at which nothing was asked.
        if now > due_us + every_us:
            due_us += -(-(now - due_us) // every_us) * every_us
        while (rest_us := due_us - self._clock.now_us()) > 0:
            if self._over():
                return due_us
            self._wait(meter, rest_us)
        self._take(meter, meter.source.read(meter.every_s))
        return due_us + every_us

    def _reconnect(self, meter: MeteredSource) -> None:
        """Open a lost source again, with growing pauses, for as long as the capture lasts."""
        # The pauses double: a cable put back in is seen within a second, and a meter that stays away overnight is not
        # asked a hundred thousand times, each with a line in the log.
        pause_s, lost_us = FIRST_PAUSE_S, self._clock.now_us()
        while not self._over():
            self._pause(meter, pause_s)
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)
            if self._over():
                return
            try:
                meter.source.open()
            except SourceLost as lost:
                self._tell(meter, Remark(self._clock.now_us(), lost.kind, str(lost)))
            else:
                meter.connected = True
                away_s = (self._clock.now_us() - lost_us) / 1e6
                self._tell(meter, Remark(self._clock.now_us(), "reconnected", f"back after {away_s:.1f} s"))
                return

    def _note_step(self, meter: MeteredSource, step_s: float) -> None:
        now = self._clock.now_us()
        meter.journal.append_clock_step(now, step_s)
        which = "forward" if step_s > 0 else "back"
        words = f"the machine's clock was set {which} by {abs(step_s):.1f} s; times go on as before"
        self._tell(meter, Remark(now, "clock step", words))

    def _pause(self, meter: MeteredSource, length_s: float) -> None:
        until = self._clock.now_us() + round(length_s * 1e6)
        while not self._over() and (rest_us := until - self._clock.now_us()) > 0:
            self._wait(meter, rest_us)

    def _wait(self, meter: MeteredSource, rest_us: int) -> None:
        """Wait a little of the rest, and let the journal do what is due. [us]"""
        self._clock.sleep(min(rest_us / 1e6, _SLICE_S))
        meter.journal.flush_due(self._clock.now_us())

    def _take(self, meter: MeteredSource, events: Sequence[Event]) -> None:
        for event in events:
            refused = _refusal(event, meter.last_us) if isinstance(event, Reading) else None
            self._tell(meter, refused or event)

    def _tell(self, meter: MeteredSource, event: Event) -> None:
        """Keep an event first, then count it and tell it."""
        if isinstance(event, Remark) and event.kind in OF_DISPLAY:
            # It is no trouble: the log carries the last of them, and nobody need be told each.
            meter.journal.append_event(event)
            return
        if isinstance(event, Reading):
            meter.journal.append_reading(event)
            meter.readings += 1
            meter.last_us = event.time_us
        elif isinstance(event, Refused):
            self._keep_refused(meter, event)
            meter.refused[event.kind] += 1
        else:
            meter.journal.append_event(event)
            meter.remarks[event.kind] += 1
        self._events.put(Happened(meter, event))

    def _keep_refused(self, meter: MeteredSource, event: Refused) -> None:
        """Keep what cannot be read as long as there is room for it; what is more is counted."""
        now = self._clock.now_us()
        room = REFUSED_MOST + REFUSED_A_SECOND * (now - self.start_us) / 1e6
        # As the journal writes it: a character that is no plain one takes up to twelve.
        size = _RECORD_BYTES + len(json.dumps(event.text)) + len(event.reason)
        if meter.refused_bytes + size <= room:
            meter.refused_bytes += size
            meter.journal.append_event(event)
            return
        meter.not_kept += 1
        if now - meter.not_kept_told_us >= _COUNTED_EVERY_S * 1e6:
            self._keep_count(meter)

    def _keep_count(self, meter: MeteredSource) -> None:
        meter.not_kept_told_us = now = self._clock.now_us()
        words = f"{meter.not_kept:,} more that could not be read came faster than is kept, and were counted only"
        meter.journal.append_event(Remark(now, NOT_KEPT, words))


def _refusal(reading: Reading, last_us: int | None) -> Refused | None:
    """Return a reading as refused where no log may hold it: instants must rise, and values be a meter's."""
    text = str(dict(reading.values))
    if last_us is not None and reading.time_us <= last_us:
        return Refused(reading.time_us, "not later", text, "came no later than the reading before")
    if not all(abs(value) <= LARGEST_READING for value in reading.values.values()):
        return Refused(reading.time_us, "no number", text, "holds more than any meter can mean")
    return None


class _ClockWatch:
    """Notices when the machine's clock is set while a capture runs."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._apart_us = clock.step_us()

    def look(self) -> float | None:
        """Return by how much the clock was set forward since the last look; None if it was not. [s]"""
        apart_us = self._clock.step_us()
        step_s = (apart_us - self._apart_us) / 1e6
        self._apart_us = apart_us  # a clock that is slewed moves little by little, and is no step
        return step_s if abs(step_s) >= CLOCK_STEP_S else None
