"""Meters that send lines, over a pseudo-terminal: none is lost, none is made up, and the cable may be pulled out."""

from __future__ import annotations

import errno
import socket
import threading
import time
from collections import Counter
from contextlib import contextmanager
from itertools import pairwise
from types import SimpleNamespace

import pytest
import serial
from serial_devices import LiveProfile, Meter, lines_of, profile, readings, settle, take

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.events import Reading, Refused, Remark
from shuntbook.ingest.live import serial_port
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.capture import Capture
from shuntbook.ingest.live.capture import MeteredSource as Metered
from shuntbook.ingest.live.serial_lines import SerialLines
from shuntbook.ingest.live.serial_port import Port, list_ports
from shuntbook.ingest.live.source import SourceLost, SteadyClock

FIELDS = """
[serial]
baud = 115200
layout = "fields"
fields = ["volts", "amps"]
[quantities.voltage_V]
column = "volts"
[quantities.current_A]
column = "amps"
"""
CHECKED = FIELDS.replace("[quantities.voltage_V]", '[serial.checksum]\nkind = "xor8"\n[quantities.voltage_V]')
ASKED = FIELDS.replace('layout = "fields"', 'layout = "fields"\nask = "R\\r\\n"\ntimeout_s = 0.3')

#: For answers that do come: a busy machine may take its time.
PATIENT = "?timeout=30"


@pytest.fixture
def meter(tmp_path):
    """A made-up meter on a port."""
    meter = Meter(tmp_path)
    yield meter
    meter.pull_out()


@pytest.fixture
def opened(meter):
    """Opens sources on the meter's port, and closes them."""
    sources = []

    def open_(text=FIELDS, settings=""):
        source = lines_of(meter, text, settings)
        sources.append(source)
        source.open()
        return source

    yield open_
    for source in sources:
        source.close()


def test_500_lines_a_second_without_a_lost_line(meter, opened):
    """For five seconds at 115200 baud: every line is a reading, in order, at an instant between first and last."""
    source, count = opened(), 2500
    settle(source)
    began_us, began = SteadyClock().now_us(), time.monotonic()

    def send():
        for k in range(count):
            time.sleep(max(began + k / 500 - time.monotonic(), 0))
            meter.send(b"%.3f,%d.25\r\n" % (24 + k % 7 / 1000, k))

    sender = threading.Thread(target=send, daemon=True)
    sender.start()
    events = take(source, lambda events: len(events) >= count)
    sender.join()

    assert {type(event) for event in events} == {Reading}
    assert [event.values["current_A"] for event in events] == [k + 0.25 for k in range(count)]
    stamps = [event.time_us for event in events]
    assert all(b > a for a, b in pairwise(stamps))
    assert began_us <= stamps[0] and stamps[-1] <= SteadyClock().now_us()


def test_everything_that_is_no_reading_is_refused_under_its_own_kind(meter, opened):
    """A torn beginning, noise, too few fields, no number, an endless line: each counted, the good ones kept."""
    source = opened()
    meter.send(b"7,1.5\n12.5,1.5\n\xff\xfe\x80\n12.5\n12.5,OL\n\x00\x0112,3\n" + b"9" * 1500 + b"\n\r\n12.5,2.5\n")
    events = take(source, lambda events: len(events) == 8)

    kinds = Counter(event.kind for event in events if isinstance(event, Refused))
    assert kinds == {"torn": 1, "garbage": 2, "fields": 1, "no number": 1, "too long": 1}
    assert [reading.values["current_A"] for reading in readings(events)] == [1.5, 2.5]
    noise = next(event for event in events if isinstance(event, Refused) and event.kind == "garbage")
    assert noise.text == r"\xff\xfe\x80"
    assert "baud" in noise.reason
    assert events[5].text == r"\x00\x0112,3"  # and nothing that a terminal would obey


def test_a_line_in_pieces_is_one_line(meter, opened):
    """However slowly it comes; its time is that of its last byte."""
    source = opened()
    settle(source)
    for piece in (b"1", b"2.5", b",7", b"4."):
        meter.send(piece)
        assert source.read(0.05) == []
    before_us = SteadyClock().now_us()
    meter.send(b"5\n")
    (reading,) = take(source, bool)
    assert reading.values == {"voltage_V": 12.5, "current_A": 74.5}
    assert reading.time_us >= before_us


def test_wrong_checksums_are_refused_and_a_right_one_vouches_for_the_first_line(meter, opened):
    """So that not even the first line is lost where the meter sends checksums."""
    from shuntbook.ingest.live.lines import checksum

    def line(text):
        return b"%s*%02X\n" % (text, checksum(text, "xor8"))

    source = opened(CHECKED)
    meter.send(line(b"12.5,1.5") + line(b"12.5,2.5").replace(b"2.5*", b"3.5*") + b"12.5,4.5\n" + line(b"12.5,5.5"))
    events = take(source, lambda events: len(events) == 4)
    assert [reading.values["current_A"] for reading in readings(events)] == [1.5, 5.5]
    assert Counter(event.kind for event in events if isinstance(event, Refused)) == {"checksum": 2}


def test_a_torn_first_line_with_a_checksum_is_told_as_torn(meter, opened):
    """It is no fault of the line."""
    source = opened(CHECKED)
    meter.send(b"5,1.5*1F\n")
    (event,) = take(source, bool)
    assert isinstance(event, Refused) and event.kind == "torn"


def test_pulled_out_and_plugged_in_again(meter, opened):
    """The source says that the port is gone, opens again when it is back, and counts the line that broke off."""
    source = opened()
    settle(source)
    meter.send(b"12.5,1.5\n12.5,2.")
    assert readings(take(source, bool))[0].values["current_A"] == 1.5
    meter.pull_out()
    with pytest.raises(SourceLost, match="gone"):
        take(source, lambda events: False)
    source.close()
    with pytest.raises(SourceLost, match="tried again"):
        source.open()
    meter.plug_in()
    source.open()
    (torn,) = source.read(0.0)
    assert isinstance(torn, Refused) and torn.kind == "torn" and torn.text == "12.5,2."
    settle(source)
    meter.send(b"12.5,3.5\n")
    assert readings(take(source, bool))[0].values["current_A"] == 3.5


class Kept:
    """Keeps what a capture hands over, in place of a journal."""

    def __init__(self):
        self.readings, self.events = [], []

    def append_reading(self, reading):
        self.readings.append(reading)

    def append_marker(self, time_us, text):
        pass

    def append_event(self, event):
        self.events.append(event)

    def append_clock_step(self, time_us, step_s):
        pass

    def flush_due(self, now_us):
        pass


def test_a_capture_goes_on_after_the_cable_was_pulled_out(meter):
    """The hole stays a hole; the readings before and after are there."""
    kept, clock = Kept(), SteadyClock()
    source = SerialLines(parse_address(f"serial:{meter.path}"), profile(FIELDS), clock)
    capture = Capture([Metered("bank", source, kept, 1.0)], clock, length_s=None)
    capture.start()
    until = time.monotonic() + 60

    def wait_for(done):
        while not done() and time.monotonic() < until:
            time.sleep(0.02)
        assert done()

    def feed(amps):
        """Send until one is read: the first after opening may be thrown away."""
        while amps not in [reading.values["current_A"] for reading in kept.readings] and time.monotonic() < until:
            meter.send(b"12.5,%.1f\n" % amps)
            time.sleep(0.02)

    feed(1.5)
    meter.pull_out()
    wait_for(lambda: any(event.kind == "port gone" for event in kept.events))
    meter.plug_in()
    wait_for(lambda: any(event.kind == "reconnected" for event in kept.events))
    feed(2.5)
    capture.stop()
    capture.join()

    amps = [reading.values["current_A"] for reading in kept.readings]
    assert set(amps) == {1.5, 2.5} and amps == sorted(amps)
    assert not any(meter.failure for meter in capture.meters)


def test_a_meter_that_is_asked(meter, opened):
    """The question goes out as the profile says, and the time is the middle of the exchange."""
    heard = []

    def reply(question):
        heard.append(question)
        return b"R\r\n12.5,74.5\r\n"  # some meters send the question back first

    meter.answer(reply, questions=3)
    source = opened(ASKED, PATIENT)
    assert source.cadence == "polled"
    before_us = SteadyClock().now_us()
    events = [event for _ in range(3) for event in take(source, bool)]
    assert [event.values for event in events] == [{"voltage_V": 12.5, "current_A": 74.5}] * 3
    assert heard == [b"R\r"] * 3
    assert before_us <= events[0].time_us < events[1].time_us < events[2].time_us <= SteadyClock().now_us()


def test_the_time_of_an_answer_is_the_middle_of_the_exchange(meter, opened):
    """Half way between the instant of the question and that of the answer's last byte."""
    source = opened(ASKED, PATIENT)
    meter.answer(lambda question: b"12.5,74.5\n", questions=1)
    asked, heard = [], []
    send, hear = source._send, source._hear
    source._send = lambda question: asked.append(send(question)) or asked[-1]
    source._hear = lambda wait_s: heard.extend(lines := hear(wait_s)) or lines
    (reading,) = readings(source.read(1.0))
    assert reading.time_us == (asked[0] + heard[0].time_us) // 2


def test_silence_and_late_answers_never_become_readings(meter, opened):
    """A late answer is not taken for that to the next question."""
    source = opened(ASKED)
    (silence,) = source.read(1.0)
    assert isinstance(silence, Remark) and silence.kind == "no answer"
    meter.send(b"99.9,99.9\n")  # the late one
    meter.answer(lambda question: b"12.5,74.5\n", questions=2)  # the silent poll's question is still in the line
    values = [reading.values for reading in readings(take(source, lambda events: bool(readings(events))))]
    assert values == [{"voltage_V": 12.5, "current_A": 74.5}]


def test_an_answer_that_cannot_be_read_is_refused_and_the_next_poll_goes_on(meter, opened):
    """The reason is that of the line."""
    replies = iter([b"12.5\n", b"12.5,74.5\n"])
    meter.answer(lambda question: next(replies), questions=2)
    source = opened(ASKED, "?timeout=2")
    (refused,) = take(source, bool)
    assert isinstance(refused, Refused) and refused.kind == "fields"
    assert readings(take(source, lambda events: bool(readings(events))))


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (b'{"battery_voltage": 25.1, "current": 3.5, "n": 1}', {"voltage_V": 25.1, "current_A": 3.5}),
        (b"V=25.1 I=3.5 n=1", {"voltage_V": 25.1, "current_A": 3.5}),
    ],
)
def test_lines_that_explain_themselves_need_no_profile(meter, line, expected):
    """They are listened to while the port is opened, and none of them is lost."""
    source = lines_of(meter, None)
    sender = threading.Thread(target=lambda: [(time.sleep(0.05), meter.send(line + b"\n")) for _ in range(10)])
    sender.start()
    source.open()
    events = take(source, lambda events: len(events) == 10)
    sender.join()
    source.close()
    assert set(source.quantities) == set(expected)
    assert source.side == "dc"
    assert [reading.values for reading in readings(events)][-9:] == [expected] * 9


@pytest.mark.parametrize("stated", [None, "dc"])
def test_an_inverters_lines_are_on_side_ac(meter, stated):
    """Where the names speak of alternating current and nobody says otherwise."""
    source = lines_of(meter, None)
    if stated:
        source.side = stated
    sender = threading.Thread(target=lambda: [(time.sleep(0.05), meter.send(b"V_rms=230 W=900\n")) for _ in range(4)])
    sender.start()
    source.open()
    sender.join()
    source.close()
    assert source.side == (stated or "ac")


@contextmanager
def sending(meter, *lines):
    """A meter that sends these lines again and again."""
    ended = threading.Event()

    def send():
        while not ended.is_set():
            for line in lines:
                ended.wait(0.03)
                meter.send(line + b"\r\n")

    sender = threading.Thread(target=send)
    sender.start()
    try:
        yield
    finally:
        ended.set()
        sender.join()


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ([b"11.95V 67.00A 800.4W"], [{"voltage_V": 11.95, "current_A": 67.0, "power_W": 800.4}]),
        ([b"11,95 V; 67,00 A; 0,8004 kW"], [{"voltage_V": 11.95, "current_A": 67.0, "power_W": 800.4}]),
        ([b"950mA 25.1V"], [{"voltage_V": 25.1, "current_A": 0.95}]),
        ([b"11.95 V", b"67.00 A", b"-1.5 A"], [{"voltage_V": 11.95}, {"current_A": 67.0}, {"current_A": -1.5}]),
    ],
)
def test_lines_of_amounts_with_their_units_need_no_profile(meter, lines, expected):
    """They are read as what a person types from a display; volts and amps may come in turn, a line each."""
    source = lines_of(meter, None)
    with sending(meter, *lines):
        source.open()
        events = take(source, lambda events: len(readings(events)) >= 12)
    source.close()
    assert set(source.quantities) == {name for values in expected for name in values}
    assert (source.side, source.sampling) == ("dc", "instant")
    assert not [event for event in events if isinstance(event, Refused) and event.kind != "torn"]
    values = [pytest.approx(reading.values) for reading in readings(events)]
    assert all(one in values for one in expected)
    assert all(one in expected for one in values)


@pytest.mark.parametrize(
    ("odd", "kind", "words"),
    [
        (b"11.95V 1,150A", "doubtful", "could be 1150 or 1.150"),
        (b"11.95V 67.00A 5 mw", "doubtful", "could be mW or MW"),
        (b"67.00A 68.00A", "doubtful", "twice"),
        (b"LOW BATTERY 11.1V", "fields", "not only amounts"),
        (b"11.95V 67.00A 45%", "fields", "not only amounts"),
        (b"off", "fields", "not only amounts"),
        (b"11.95V 67.00A 21.5 degC", "fields", "temperature_degC, which no line did"),
    ],
)
def test_a_line_of_amounts_that_cannot_be_told_is_refused_with_its_reason(meter, odd, kind, words):
    """Those around it are readings, and nothing of it is guessed."""
    source = lines_of(meter, None)
    with sending(meter, b"11.95V 67.00A"):
        source.open()
    with sending(meter, odd):
        events = take(source, lambda events: any(isinstance(e, Refused) and e.kind == kind for e in events))
    with sending(meter, b"12.00V 60.00A"):
        events += take(source, lambda events: len(readings(events)) > 1)
    source.close()
    refused = [event for event in events if isinstance(event, Refused) and event.kind != "torn"]
    assert {event.kind for event in refused} == {kind}
    assert words in refused[0].reason and refused[0].text == odd.decode()
    assert readings(events)[-1].values == {"voltage_V": 12.0, "current_A": 60.0}


def test_a_meter_of_doubtful_amounts_is_not_read_without_a_profile(meter, monkeypatch):
    """It is said what is in doubt, and nothing of what a person at a keyboard would do."""
    monkeypatch.setattr("shuntbook.ingest.live.serial_lines.LISTEN_S", 1.0)
    source = lines_of(meter, None)
    with sending(meter, b"11,950V 67,125A"), pytest.raises(InputError) as why:
        source.open()
    assert "11,950 could be 11950 or 11.950" in str(why.value)
    assert "--profile" in str(why.value) and "without the comma" not in str(why.value)


def test_a_meter_that_speaks_seldom_is_known_by_one_line(meter, monkeypatch):
    """Nothing is waited for beyond the time that any meter is listened to."""
    monkeypatch.setattr("shuntbook.ingest.live.serial_lines.LISTEN_S", 1.0)
    source = lines_of(meter, None)
    threading.Timer(0.3, lambda: meter.send(b"11.95V 67.00A\n")).start()
    source.open()
    events = take(source, bool)
    source.close()
    assert [reading.values for reading in readings(events)] == [{"voltage_V": 11.95, "current_A": 67.0}]


def test_lines_of_amounts_come_by_a_socket_as_well():
    """A converter on the network that hands on what a meter's port says."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        place = f"socket://127.0.0.1:{server.getsockname()[1]}"
        source = SerialLines(parse_address(f"serial:{place}"), None, SteadyClock())
        ended = threading.Event()

        def send():
            connection, _ = server.accept()
            with connection:
                while not ended.wait(0.03):
                    connection.sendall(b"11.95V 67.00A 800.4W\n")

        sender = threading.Thread(target=send)
        sender.start()
        source.open()
        events = take(source, lambda events: len(readings(events)) >= 3)
        ended.set()
        sender.join()
        source.close()
    assert readings(events)[-1].values == {"voltage_V": 11.95, "current_A": 67.0, "power_W": 800.4}


def test_lines_that_do_not_explain_themselves_are_refused_with_what_a_profile_needs(meter, monkeypatch):
    """The sentence shows a line and names the tables; nothing is guessed."""
    monkeypatch.setattr("shuntbook.ingest.live.serial_lines.LISTEN_S", 2.0)
    source = lines_of(meter, None)
    ended = threading.Event()

    def send():
        while not ended.wait(0.05):
            meter.send(b"25.1,3.5\n")

    sender = threading.Thread(target=send)
    sender.start()
    with pytest.raises(InputError) as why:
        source.open()
    ended.set()
    sender.join()
    assert "'25.1,3.5'" in str(why.value)
    assert "[serial]" in str(why.value) and "[quantities.current_A]" in str(why.value) and "--profile" in str(why.value)


def test_a_silent_meter_without_a_profile_may_speak_later(meter, monkeypatch):
    """It is no mistake of the person's."""
    monkeypatch.setattr("shuntbook.ingest.live.serial_lines.LISTEN_S", 0.3)
    with pytest.raises(SourceLost, match="no line came"):
        lines_of(meter, None).open()


def test_no_such_port_and_a_port_that_is_held(meter, opened, tmp_path):
    """One sentence each, with what to do."""
    missing = SerialLines(parse_address(f"serial:{tmp_path}/nowhere"), profile(FIELDS), SteadyClock())
    with pytest.raises(InputError, match="there is no such port; 'shuntbook ports' lists"):
        missing.open()
    opened()
    with pytest.raises(InputError, match="another program is reading this port"):
        lines_of(meter, FIELDS).open()


@pytest.mark.parametrize("number", [errno.EACCES, errno.EPERM])
def test_permission_denied_says_what_to_do(meter, monkeypatch, number):
    """The error is injected: root is denied nothing."""

    def denied(*_arguments, **_settings):
        raise serial.SerialException(number, "could not open port")

    monkeypatch.setattr(serial_port.serial, "serial_for_url", denied)
    with pytest.raises(InputError, match=r"permission denied.*shuntbook ports"):
        lines_of(meter, FIELDS).open()


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ("?baud=fast", "baud must be a whole number"),
        ("?parity=mark", "parity must be none, even or odd"),
        ("?stop_bits=3", "stop_bits must be a whole number from 1 to 2"),
        ("?data_bits=9", "data_bits must be"),
        ("?timeout=0", "timeout must be a number above 0"),
        ("?speed=9600", "serial has no setting 'speed'"),
    ],
)
def test_settings_that_are_none_are_refused(meter, settings, words):
    """Before the port is opened."""
    with pytest.raises(InputError, match=words):
        lines_of(meter, FIELDS, settings)


def test_the_address_goes_before_the_profile(meter, opened):
    """Its settings reach the port."""
    source = opened(FIELDS, "?baud=19200&parity=even&stop_bits=2&data_bits=7")
    port = source._port
    assert (port.baudrate, port.parity, port.stopbits, port.bytesize) == (19200, "E", 2, 7)
    assert source._settings.byte_us == pytest.approx(11 / 19200 * 1e6)  # start, 7, parity, 2 stop bits


def test_a_profile_without_what_is_needed_is_refused(meter):
    """It says which tables are missing."""
    for text in ('name = "x"\n', '[serial]\nlayout = "pairs"\n', '[quantities.current_A]\ncolumn = "a"\n'):
        with pytest.raises(InputError, match=r"\[serial\].*\[quantities.current_A\]"):
            lines_of(meter, text)


def test_side_and_sampling_are_the_profiles(meter):
    """And dc, instant without one."""
    stated = lines_of(meter, 'side = "ac"\nsampling = "mean"\n' + FIELDS)
    assert (stated.side, stated.sampling, stated.quantities) == ("ac", "mean", ("voltage_V", "current_A"))
    plain = lines_of(meter, None)
    assert (plain.side, plain.sampling, plain.cadence) == ("dc", "instant", "pushed")


def test_reading_a_closed_port_is_a_lost_source(meter):
    """Not a crash."""
    with pytest.raises(SourceLost):
        lines_of(meter, FIELDS).read(0.0)


def test_ports_are_listed_by_name(monkeypatch):
    """As the system describes them."""
    there = [SimpleNamespace(device="b", description="shed"), SimpleNamespace(device="a", description=None)]
    there.append(SimpleNamespace(device="c", description="n/a"))
    monkeypatch.setattr(serial_port, "comports", lambda: there)
    assert list_ports() == [Port("a", ""), Port("b", "shed"), Port("c", "")]


def test_the_profile_part_is_read_from_a_file(tmp_path):
    """Every mistake comes with its line and key."""
    from shuntbook.ingest.toml.toml_file import read_toml

    path = tmp_path / "meter.toml"
    path.write_text(FIELDS, encoding="utf-8")
    assert read_toml(path, LiveProfile).serial.baud == 115200
    path.write_text(FIELDS.replace("115200", '"fast"').replace('"fields"\n', '"columns"\n'), encoding="utf-8")
    with pytest.raises(InputError) as why:
        read_toml(path, LiveProfile)
    assert "meter.toml:3: serial.baud: must be a whole number" in str(why.value)
    assert "meter.toml:4: serial.layout: must be 'fields'" in str(why.value)
