"""A recording played as if it were measured now gives the same readings, at the pace that is asked for."""

from __future__ import annotations

import gc

import numpy as np
import pytest
from exporting import convert as converted
from serial_devices import profile

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.events import Reading, Refused
from shuntbook.ingest.journal.compaction import finish
from shuntbook.ingest.journal.journal import Journal
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.capture import Capture, MeteredSource
from shuntbook.ingest.live.replay import READINGS_AT_ONCE, Replay
from shuntbook.ingest.live.source import Clock, SteadyClock
from shuntbook.ingest.log.log import Readings, new_log, to_batch
from shuntbook.ingest.log.meta import LogMeta

START_US = 1_780_000_000_000_000
EXPORT = "time,current [A],voltage [V]\n" + "".join(
    f"2026-06-13T10:{k // 60:02}:{k % 60:02}Z,{k * 0.5},{25 - k / 100}\n" for k in range(150)
)


class SimulatedClock(Clock):
    """A clock that only moves when someone sleeps. [us]"""

    def __init__(self):
        self.now, self.slept = 5_000_000, []

    def now_us(self):
        return self.now

    def sleep(self, length_s):
        self.slept.append(length_s)
        self.now += round(length_s * 1e6)


def log_at(path, time_s, **quantities):
    """Write a log."""
    time_us = START_US + np.rint(np.asarray(time_s, dtype=float) * 1e6).astype(np.int64)
    with new_log(path, list(quantities)) as writer:
        writer.write(to_batch(Readings(time_us, {q: np.asarray(x, dtype=float) for q, x in quantities.items()})))
        writer.finish(LogMeta(meter="bank", sampling="mean", gap_limit_s=10.0, markers=[(START_US, "begin")]))
    return path


def play(address, clock=None, text=None, wait_s=0.2):
    """Play a recording to its end; return the source, and the events with the instant at which each came."""
    clock = clock or SimulatedClock()
    source = Replay(parse_address(address), profile(text) if text else None, clock)
    source.open()
    events = []
    while not source.finished:
        events += [(clock.now_us(), event) for event in source.read(wait_s)]
    source.close()
    return source, events


def test_a_log_is_played_with_its_own_times_and_what_it_says_of_itself(tmp_path):
    """Readings without a value in a column leave it out."""
    path = log_at(tmp_path / "a.parquet", [0, 1, 2.5], current_A=[1, np.nan, 3], voltage_V=[12, 12, np.nan])
    source, events = play(f"replay:{path}?speed=max")
    assert [event for _, event in events] == [
        Reading(START_US, {"current_A": 1.0, "voltage_V": 12.0}),
        Reading(START_US + 1_000_000, {"voltage_V": 12.0}),
        Reading(START_US + 2_500_000, {"current_A": 3.0}),
    ]
    assert (source.quantities, source.side, source.sampling) == (("current_A", "voltage_V"), "dc", "mean")
    assert (source.meta.meter, source.meta.gap_limit_s, source.meta.markers) == ("bank", 10.0, [(START_US, "begin")])


@pytest.mark.parametrize("speed", [1, 10, 0.5])
def test_the_pace_is_the_recordings_divided_by_the_speed(tmp_path, speed):
    """By the capture's clock, whatever the slices it is read in."""
    path = log_at(tmp_path / "a.parquet", [0, 1, 2.5, 60], current_A=[1, 2, 3, 4])
    clock = SimulatedClock()
    _, events = play(f"replay:{path}?speed={speed}", clock)
    assert [at - 5_000_000 for at, _ in events] == pytest.approx(
        [1e6 * s / speed for s in (0, 1, 2.5, 60)], abs=2
    )  # whole microseconds
    assert max(clock.slept) <= 0.2
    assert [event.values["current_A"] for _, event in events] == [1, 2, 3, 4]


def test_at_full_speed_nothing_is_waited_for_and_no_call_gives_too_many(tmp_path):
    """So that a long replay can be stopped."""
    n = 3 * READINGS_AT_ONCE + 1
    path = log_at(tmp_path / "a.parquet", np.arange(n), current_A=np.arange(n))
    clock = SimulatedClock()
    source = Replay(parse_address(f"replay:{path}?speed=max"), None, clock)
    source.open()
    sizes = []
    while not source.finished:
        sizes.append(len(source.read(0.2)))
    assert sizes == [READINGS_AT_ONCE] * 3 + [1]
    assert clock.slept == []
    assert source.read(0.2) == []


def test_it_tells_which_instant_is_being_played(tmp_path):
    """So that a note typed meanwhile can be put where it belongs."""
    path = log_at(tmp_path / "a.parquet", [0, 100], current_A=[1, 2])
    clock = SimulatedClock()
    source = Replay(parse_address(f"replay:{path}?speed=10"), None, clock)
    source.open()
    source.read(0.0)
    clock.sleep(3.0)
    assert source.now_us() == START_US + 30_000_000


def test_closed_and_opened_again_it_goes_on_where_it_was(tmp_path):
    """No reading twice, none left out."""
    path = log_at(tmp_path / "a.parquet", [0, 1, 2], current_A=[1, 2, 3])
    clock = SimulatedClock()
    source = Replay(parse_address(f"replay:{path}"), None, clock)
    source.open()
    first = source.read(0.0)
    source.close()
    clock.sleep(3600.0)
    source.open()
    rest = []
    while not source.finished:
        rest += source.read(0.2)
    assert [event.values["current_A"] for event in first + rest] == [1, 2, 3]


def test_an_export_is_played_as_it_would_be_converted(tmp_path):
    """Late rows in their place, equal stamps merged, unreadable rows refused; the temporary log goes away."""
    lines = EXPORT.splitlines(keepends=True)
    lines[20], lines[21] = lines[21], lines[20]
    lines.insert(50, lines[50].replace("24.5", "OL"))
    lines.insert(80, lines[80])
    export = tmp_path / "export.csv"
    export.write_text("".join(lines), encoding="utf-8")
    done = converted(tmp_path, "".join(lines))

    source, events = play(f"replay:{export}?speed=max&zone=UTC")
    played = [event for _, event in events if isinstance(event, Reading)]
    refused = [event for _, event in events if isinstance(event, Refused)]
    assert [reading.time_us for reading in played] == done.time_us.tolist()
    assert [reading.values["current_A"] for reading in played] == done["current_A"].tolist()
    assert [(event.kind, event.text) for event in refused] == [("not readable", text) for _, _, text in done.rejects]
    assert source.meta.gap_limit_s == done.log.meta.gap_limit_s
    folder = source._log.path.parent
    assert folder.exists()
    del source, events, played
    gc.collect()
    assert not folder.exists()


def test_a_profile_says_what_an_exports_columns_are(tmp_path):
    """Its side, zone, sampling and gap too."""
    export = tmp_path / "export.csv"
    export.write_text("when,x\n2026-06-13 10:00:00,5\n2026-06-13 10:00:10,6\n", encoding="utf-8")
    text = 'side = "ac"\nsampling = "mean"\nzone = "Europe/London"\ngap = "2m"\n[quantities.power_W]\ncolumn = "x"\n'
    source, events = play(f"replay:{export}?speed=max", text=text)
    assert (source.side, source.sampling, source.meta.gap_limit_s) == ("ac", "mean", 120.0)
    assert events[0][1].time_us == int(np.datetime64("2026-06-13T09:00:00", "us").astype(np.int64))


def test_the_sign_of_an_export_can_be_turned(tmp_path):
    """As convert --reverse-sign does; anything else is no sign."""
    export = tmp_path / "export.csv"
    export.write_text(EXPORT, encoding="utf-8")
    _, events = play(f"replay:{export}?speed=max&zone=UTC&sign=return_positive")
    assert [event.values["current_A"] for _, event in events] == [-0.5 * k for k in range(150)]
    with pytest.raises(InputError, match="sign must be"):
        Replay(parse_address(f"replay:{export}?sign=minus"), None, SteadyClock())


def test_captured_from_a_replay_the_log_is_the_converted_one(tmp_path):
    """Reading for reading, with the same interval and gap limit: so any report on it is the same."""
    export = tmp_path / "export.csv"
    export.write_text(EXPORT, encoding="utf-8")
    done = converted(tmp_path, EXPORT)
    clock = SteadyClock()
    source = Replay(parse_address(f"replay:{export}?speed=max"), None, clock)
    journal = Journal(tmp_path / "captured.parquet", LogMeta(), source.quantities)
    capture = Capture([MeteredSource("bank", source, journal, 1.0)], clock, length_s=None)
    capture.start()
    capture.join()
    finish(journal)

    captured = open_log(tmp_path / "captured.parquet")
    (part,) = captured.scan()
    assert part.time_us.tolist() == done.time_us.tolist()
    for quantity in ("current_A", "voltage_V"):
        assert part.quantities[quantity].tolist() == done[quantity].tolist()
    told = [(meta.gap_limit_s, meta.usual_interval_s, meta.rows_kept) for meta in (captured.meta, done.log.meta)]
    assert told[0] == told[1]


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ("?speed=0", "speed must be a number above 0"),
        ("?speed=fast", "speed must be a number above 0"),
        ("?pace=2", "no setting 'pace'"),
        ("?zone=UTC", "is a log, which knows"),
        ("?sign=return_positive", "is a log, which knows"),
    ],
)
def test_settings_that_are_none_are_refused(tmp_path, settings, words):
    """One sentence."""
    path = log_at(tmp_path / "a.parquet", [0, 1], current_A=[1, 2])
    with pytest.raises(InputError, match=words):
        Replay(parse_address(f"replay:{path}{settings}"), None, SteadyClock())


def test_what_is_no_recording_is_refused(tmp_path):
    """Nothing there, or no table of readings."""
    with pytest.raises(InputError, match="there is no such file"):
        Replay(parse_address(f"replay:{tmp_path}/nothing.csv"), None, SteadyClock())
    text = tmp_path / "letter.txt"
    text.write_text("Dear all,\nthe pump is running again.\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"letter\.txt"):
        Replay(parse_address(f"replay:{text}"), None, SteadyClock())
