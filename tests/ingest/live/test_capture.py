"""The capture loop: on time, through losses and clock steps, nothing told that was not kept first."""

from __future__ import annotations

import errno
import threading
from itertools import pairwise

import pytest

from shuntbook.ingest.events import NOT_KEPT, Reading, Refused, Remark
from shuntbook.ingest.journal.compaction import finish
from shuntbook.ingest.journal.journal import Journal
from shuntbook.ingest.live.capture import (
    FIRST_TRIES,
    REFUSED_A_SECOND,
    REFUSED_MOST,
    Capture,
    MeteredSource,
    open_first,
)
from shuntbook.ingest.live.source import Clock, LiveSource, SourceLost
from shuntbook.ingest.log.meta import LogMeta
from shuntbook.ingest.safe_files.rejects import rejects_path


class SimulatedClock(Clock):
    """Time that passes only when somebody waits; the machine's clock may be set beside it."""

    def __init__(self):
        self.us = 1_780_000_000_000_000
        self.apart_us = 0
        self._guard = threading.Lock()

    def now_us(self):
        return self.us

    def sleep(self, length_s):
        with self._guard:
            self.us += max(round(length_s * 1e6), 1)

    def step_us(self):
        return self.apart_us


class Kept:
    """A journal that only remembers."""

    def __init__(self):
        self.readings, self.markers, self.events, self.steps, self.flushed = [], [], [], [], 0

    def append_reading(self, reading):
        self.readings.append(reading)

    def append_marker(self, time_us, text):
        self.markers.append((time_us, text))

    def append_event(self, event):
        self.events.append(event)

    def append_clock_step(self, time_us, step_s):
        self.steps.append((time_us, step_s))

    def flush_due(self, now_us):
        self.flushed += 1


class Script(LiveSource):
    """A polled meter that does at each call what its script says; at the end it answers."""

    quantities, cadence, side, sampling = ("current_A",), "polled", "dc", "instant"

    def __init__(self, clock, *, took_s=0.0, at=None, opens=None):
        self.clock, self.took_s, self.at, self.opens = clock, took_s, dict(at or {}), list(opens or [])
        self.asked = self.opened = self.closed = 0

    def open(self):
        self.opened += 1
        if self.opens and (error := self.opens.pop(0)) is not None:
            raise error

    def read(self, timeout_s):
        self.asked += 1
        start = self.clock.now_us()
        if self.took_s:
            self.clock.sleep(self.took_s)
        does = self.at.get(self.asked)
        if isinstance(does, BaseException):
            raise does
        if does is not None:
            return does(start)
        return [Reading(start, {"current_A": float(self.asked)})]

    def close(self):
        self.closed += 1


def captured(source, clock, *, every_s=1.0, length_s=10.0, journal=None):
    """Run a capture to its end and return its meter and journal."""
    journal = journal or Kept()
    open_first(source, clock)
    meter = MeteredSource("shunt", source, journal, every_s, connected=True)
    capture = Capture([meter], clock, length_s=length_s)
    capture.start()
    capture.join()
    return capture, meter, journal


def test_polls_fall_on_whole_intervals_and_do_not_drift():
    """A meter that takes 0.3 s to answer is still asked every second: ten seconds lie between first and last."""
    clock = SimulatedClock()
    capture, _, journal = captured(Script(clock, took_s=0.3), clock)
    offsets = [reading.time_us - capture.start_us for reading in journal.readings]
    assert len(offsets) == 11
    for k, offset in enumerate(offsets):
        assert offset == pytest.approx(k * 1_000_000, abs=10)


def test_polls_that_were_missed_are_left_out_not_made_up():
    """After an answer that took 3.5 s the next polls are at 4, 5, … s: no bunch of polls in between."""
    clock = SimulatedClock()

    def slow(start):
        clock.sleep(3.5)
        return [Reading(start, {"current_A": 1.0})]

    capture, _, journal = captured(Script(clock, at={1: slow}), clock, length_s=8.0)
    seconds = [round((reading.time_us - capture.start_us) / 1e6) for reading in journal.readings]
    assert seconds[0] == 0
    assert seconds[-5:] == [4, 5, 6, 7, 8]
    assert len(set(seconds)) == len(seconds)


def test_a_lost_source_comes_back_and_the_hole_stays():
    """The line goes after the third reading and comes back at the third try; nothing is invented meanwhile."""
    clock = SimulatedClock()
    lost = SourceLost("unplugged", "the port is gone")
    source = Script(clock, at={4: lost}, opens=[None, lost, lost, None])
    _, meter, journal = captured(source, clock, length_s=20.0)
    gaps = [b.time_us - a.time_us for a, b in pairwise(journal.readings)]
    assert max(gaps) > 1_400_000
    assert meter.remarks["unplugged"] == 3
    assert meter.remarks["reconnected"] == 1
    assert [e.kind for e in journal.events] == ["unplugged", "unplugged", "unplugged", "reconnected"]
    assert not meter.failure


def test_pauses_grow_between_tries():
    """Tries of a source that stays away come further and further apart."""
    clock = SimulatedClock()
    lost = SourceLost("unplugged", "the port is gone")
    source = Script(clock, at={2: lost}, opens=[None, *[lost] * 50])
    _, _, journal = captured(source, clock, length_s=100.0)
    tries = [event.time_us for event in journal.events if isinstance(event, Remark)]
    pauses = [b - a for a, b in pairwise(tries[1:])]
    assert pauses == sorted(pauses)
    assert pauses[-1] >= 16_000_000


def test_a_source_that_never_opens_is_given_up():
    """Nothing on the port: after a few tries the capture ends and says why."""
    clock = SimulatedClock()
    source = Script(clock, opens=[SourceLost("no answer", "nothing answers at the address")] * 9)
    with pytest.raises(SourceLost, match="nothing answers"):
        open_first(source, clock)
    assert source.opened == FIRST_TRIES


def test_a_source_may_open_at_the_second_try():
    """A device that is slow to start is waited for."""
    clock = SimulatedClock()
    source = Script(clock, opens=[SourceLost("no answer", "nothing answers yet"), None])
    open_first(source, clock)
    assert source.opened == 2


def test_what_a_source_says_at_its_end_is_kept():
    """A reading that stands until the end is closed by the source when the capture ends."""
    clock = SimulatedClock()

    class Held(Script):
        def ending(self):
            return [Reading(clock.now_us() + 1, {"current_A": 0.0})]

    _, _, journal = captured(Held(clock), clock, length_s=3.0)
    assert journal.readings[-1].values == {"current_A": 0.0}


def test_time_outs_and_odd_answers_are_counted_and_kept():
    """What the device did wrong is told by kind; the capture goes on."""
    clock = SimulatedClock()
    at = {
        2: lambda t: [Remark(t, "time-out", "no answer within 1 s")],
        3: lambda t: [Refused(t, "wrong checksum", "12.4*00", "the checksum is 00, expected 3F")],
        5: lambda t: [Remark(t, "time-out", "no answer within 1 s")],
    }
    _, meter, journal = captured(Script(clock, at=at), clock)
    assert len(journal.readings) == 8
    assert dict(meter.remarks) == {"time-out": 2}
    assert dict(meter.refused) == {"wrong checksum": 1}


def test_a_clock_set_by_an_hour_is_noted_and_times_go_on():
    """The machine's clock jumps forward an hour and back again: two notes, and no jump in the log."""
    clock = SimulatedClock()

    def jump(to_us):
        def act(start):
            clock.apart_us = to_us
            return [Reading(start, {"current_A": 1.0})]

        return act

    source = Script(clock, at={3: jump(3_600_000_000), 6: jump(0)})
    _, meter, journal = captured(source, clock)
    assert [step for _, step in journal.steps] == [3600.0, -3600.0]
    assert meter.remarks["clock step"] == 2
    steps = {b.time_us - a.time_us for a, b in pairwise(journal.readings)}
    assert max(steps) < 1_100_000


def test_a_clock_that_is_slewed_is_no_step():
    """A clock that is set right little by little is not noted."""
    clock = SimulatedClock()

    class Slewed(Script):
        def read(self, timeout_s):
            clock.apart_us += 100_000
            return super().read(timeout_s)

    _, meter, journal = captured(Slewed(clock), clock, length_s=30.0)
    assert journal.steps == []
    assert meter.remarks["clock step"] == 0


def test_a_reading_that_comes_no_later_is_refused():
    """Two readings at one instant: the second would not be later, and is kept as refused."""
    clock = SimulatedClock()
    at = {2: lambda t: [Reading(t, {"current_A": 1.0}), Reading(t, {"current_A": 2.0})]}
    _, meter, journal = captured(Script(clock, at=at), clock, length_s=4.0)
    times = [reading.time_us for reading in journal.readings]
    assert times == sorted(set(times))
    assert meter.refused["not later"] == 1


@pytest.mark.parametrize("amps", [1e300, -1e16, float("inf"), float("nan")])
def test_a_reading_that_no_meter_can_mean_is_refused(amps):
    """Registers or a line that came in wrong: it is kept as refused, and no sum is spoilt."""
    clock = SimulatedClock()
    at = {2: lambda t: [Reading(t, {"current_A": amps, "voltage_V": 24.0})]}
    _, meter, journal = captured(Script(clock, at=at), clock, length_s=4.0)
    assert all(abs(reading.values["current_A"]) < 1e15 for reading in journal.readings)
    assert meter.refused["no number"] == 1


def test_a_full_disk_ends_the_capture_with_the_error_kept():
    """When the journal cannot be written any more, the capture stops; what was read before is kept."""
    clock = SimulatedClock()

    class Full(Kept):
        def append_reading(self, reading):
            if len(self.readings) == 3:
                raise OSError(errno.ENOSPC, "No space left on device", "log.journal")
            super().append_reading(reading)

    _, meter, journal = captured(Script(clock), clock, length_s=None, journal=Full())
    assert isinstance(meter.failure, OSError)
    assert meter.failure.errno == errno.ENOSPC
    assert len(journal.readings) == 3


def test_a_full_disk_that_a_marker_meets_ends_the_capture_too():
    """A note that cannot be kept is no reason to leave the logs unfinished."""
    clock = SimulatedClock()

    class Full(Kept):
        def append_marker(self, time_us, text):
            raise OSError(errno.ENOSPC, "No space left on device", "log.journal")

    meters = [MeteredSource("a", Script(clock), Full(), 1.0), MeteredSource("b", Script(clock), Kept(), 1.0)]
    capture = Capture(meters, clock, length_s=None)
    capture.mark("crates")
    assert [meter.failure and meter.failure.errno for meter in meters] == [errno.ENOSPC, None]
    assert len(meters[1].journal.markers) == 1
    capture.start()
    capture.join()  # it would run for ever


def test_every_event_is_kept_before_it_is_told():
    """What the listener hears is in the journal already."""
    clock = SimulatedClock()
    journal = Kept()
    meter = MeteredSource("shunt", Script(clock), journal, 1.0, connected=True)
    capture = Capture([meter], clock, length_s=5.0)
    capture.start()
    while capture.running:
        for happened in capture.events(0.05):
            assert happened.event in journal.readings
    capture.join()
    assert len(journal.readings) == 6


def test_stop_ends_it_cleanly():
    """Asked to stop, every meter ends, its source is closed, and nothing is amiss."""
    clock = SimulatedClock()
    source = Script(clock)
    capture = Capture([MeteredSource("shunt", source, Kept(), 1.0, connected=True)], clock, length_s=None)
    capture.start()
    capture.stop()
    capture.join()
    assert not capture.running
    assert source.closed >= 1
    assert capture.meters[0].failure is None


def test_a_marker_goes_into_every_log():
    """A note typed during the capture stands in the log of each meter."""
    clock = SimulatedClock()
    journals = [Kept(), Kept()]
    meters = [MeteredSource(name, Script(clock), journal, 1.0) for name, journal in zip("ab", journals, strict=True)]
    capture = Capture(meters, clock, length_s=1.0)
    capture.mark("crates")
    capture.mark("rest", 5)
    assert [j.markers for j in journals] == [[(capture.start_us, "crates"), (5, "rest")]] * 2


def _junk(clock, count):
    """A line at the wrong baud rate, `count` times a second, beside a reading."""
    text = "\\xff\\xfe" * 100

    def lines(start):
        return [*(Refused(start, "garbage", text, "no text") for _ in range(count)), Reading(start, {"current_A": 1.0})]

    return Script(clock, at=dict.fromkeys(range(1, 5000), lines))


@pytest.mark.parametrize("length_s", [60.0, 600.0])
def test_junk_fills_no_disk_and_is_counted(length_s):
    """However fast it comes: a megabyte is kept, then a little a second; all of it is counted, and that is told."""
    clock = SimulatedClock()
    _, meter, journal = captured(_junk(clock, 100), clock, length_s=length_s)
    kept = [event for event in journal.events if isinstance(event, Refused)]
    assert len(journal.readings) == length_s + 1
    assert meter.refused == {"garbage": 100 * (length_s + 1)}
    assert sum(len(event.text) + len(event.reason) for event in kept) < REFUSED_MOST + REFUSED_A_SECOND * (length_s + 1)
    assert len(kept) > 500  # enough of it to see what it is
    told = [event for event in journal.events if isinstance(event, Remark)]
    assert {event.kind for event in told} == {NOT_KEPT}
    assert len(told) <= 2 + length_s / 60  # a line a minute, and one at the end
    assert told[-1].text.startswith(f"{meter.refused['garbage'] - len(kept):,} more that could not be read")


def test_what_is_refused_now_and_then_is_all_kept():
    """A wrong line a second is what a bad cable gives, for hours."""
    clock = SimulatedClock()
    _, meter, journal = captured(_junk(clock, 1), clock, length_s=1000.0)
    assert meter.refused["garbage"] == sum(isinstance(event, Refused) for event in journal.events) == 1001
    assert meter.not_kept == 0


def test_the_log_says_how_much_was_only_counted(tmp_path):
    """Once, with the number at the end; what was kept stands among the rejects."""
    clock, log = SimulatedClock(), tmp_path / "a.parquet"
    journal = Journal(log, LogMeta(), ["current_A"])
    _, meter, _ = captured(_junk(clock, 100), clock, length_s=150.0, journal=journal)
    done = finish(journal)
    [remark] = [text for text in done.meta.remarks if "counted only" in text]
    assert remark.startswith(f"{meter.not_kept:,} more that could not be read came faster than is kept")
    assert done.meta.rows_rejected == meter.refused["garbage"] - meter.not_kept
    assert rejects_path(log).stat().st_size < 1.5 * REFUSED_MOST
