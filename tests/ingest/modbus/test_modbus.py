"""Modbus: values right in every type and order, and nothing but an answer to the question becomes a reading.

Frames are those of the MODBUS Application Protocol Specification V1.1b3 (section in each test), with unit and check
bytes of MODBUS over Serial Line V1.02; what they are compared with is modbus-tk, or a device of a few lines.
"""

import ast
import random
import struct
import subprocess
import sys
import threading
from types import SimpleNamespace

import pytest
import serial
from hypothesis import given
from hypothesis import strategies as st
from modbus_devices import (
    ScriptedPort,
    ScriptedServer,
    answer,
    exception,
    free_port,
    rtu_server,
    tcp_answer,
    tcp_server,
    with_crc,
)
from places import ROOT
from pymodbus.client.mixin import ModbusClientMixin

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.events import Reading, Refused, Remark
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.source import SourceLost, SteadyClock
from shuntbook.ingest.modbus.checked_reads import EXCEPTIONS, ModbusFault, modbus_line
from shuntbook.ingest.modbus.registers import RegisterBlock, decode, join, modbus_source
from shuntbook.ingest.profiles.modbus_part import ModbusPart, SunSpecPart
from shuntbook.ingest.profiles.model import Profile
from shuntbook.ingest.toml.toml_file import read_toml

pytestmark = pytest.mark.filterwarnings("ignore:isSet:DeprecationWarning")  # modbus-tk's server thread

PATIENT_S = 10.0  # for devices that answer; a busy machine may take its time
SHORT_S = 0.6  # for devices that do not

# Modbus Application Protocol V1.1b3, section 6.3: registers 108 to 110; check bytes by Serial Line V1.02, appendix B.
HOLDING_ASKED, HOLDING_ANSWERED = bytes.fromhex("0103006B00037417"), bytes.fromhex("010306022B00000064057A")
HOLDING_VALUES = [555, 0, 100]
# The same, section 6.4: input register 9.
INPUT_ASKED, INPUT_ANSWERED = bytes.fromhex("010400080001B008"), bytes.fromhex("010402000A3937")


def profile(registers, side=None, **modbus):
    part = ModbusPart.model_validate({"registers": registers, **modbus})
    return SimpleNamespace(modbus=part, sunspec=None, side=side, sampling=None)


def volts(address=0, kind="uint16", **entry):
    return {"voltage_V": {"address": address, "type": kind, **entry}}


def on_port(name, registers, *, timeout_s=PATIENT_S, unit=1, clock=None, **modbus):
    address = parse_address(f"modbus-rtu:{name}?baud=19200&unit={unit}&timeout={timeout_s}")
    return modbus_source(address, profile(registers, **modbus), clock or SteadyClock())


def on_host(port, registers, *, timeout_s=PATIENT_S, unit=1, **modbus):
    address = parse_address(f"modbus-tcp:127.0.0.1:{port}?unit={unit}&timeout={timeout_s}")
    return modbus_source(address, profile(registers, **modbus), SteadyClock())


def opened(source):
    source.open()
    return source


def readings(events):
    return [event.values for event in events if isinstance(event, Reading)]


def kinds(events):
    return [event.kind for event in events if not isinstance(event, Reading)]


# --- the frames of the standard ---


def line_on(name, timeout_s=PATIENT_S, unit=1):
    address = parse_address(f"modbus-rtu:{name}?baud=19200")
    line = modbus_line(address, SunSpecPart(unit=unit, timeout_s=timeout_s), SteadyClock())
    line.open()
    return line


def test_holding_registers_as_the_standard_prints_them():
    """Section 6.3: the request byte for byte, and the values of the answer."""
    with ScriptedPort(lambda frame: [HOLDING_ANSWERED] if frame == HOLDING_ASKED else None) as device:
        line = line_on(device.name)
        assert line.read_registers("holding", 0x6B, 3) == HOLDING_VALUES
        line.close()
        assert device.requests[-1] == HOLDING_ASKED


def test_input_registers_as_the_standard_prints_them():
    """Section 6.4: input register 9 holds 10; documents count it 9, the wire 8."""
    with ScriptedPort(lambda frame: [INPUT_ANSWERED] if frame == INPUT_ASKED else None) as device:
        source = opened(on_port(device.name, volts(9, table="input"), address_base="one"))
        assert readings(source.read(1.0)) == [{"voltage_V": 10.0}]
        source.close()
        assert device.requests[-1] == INPUT_ASKED


def test_a_frame_with_another_units_check_bytes_is_none():
    """76 87 belongs to unit 17 (0x11): after unit 1 the same frame is refused, after unit 17 it is the request."""
    request_17 = bytes.fromhex("1103006B00037687")
    with ScriptedPort(lambda frame: [HOLDING_ANSWERED[:-2] + request_17[-2:]] if frame[1] == 3 else None) as device:
        line = line_on(device.name, SHORT_S)
        with pytest.raises(ModbusFault) as caught:
            line.read_registers("holding", 0x6B, 3)
        line.close()
        assert caught.value.kind == "wrong answer"
        other = line_on(device.name, SHORT_S, unit=17)
        with pytest.raises(ModbusFault):
            other.read_registers("holding", 0x6B, 3)
        other.close()
        assert request_17 in device.requests


def test_a_tcp_request_as_the_guide_prints_it():
    """Messaging on TCP/IP Implementation Guide V1.0b, pages 22 and 23: read register 5."""
    with ScriptedServer(lambda frame: [tcp_answer(frame, [7])]) as device:
        source = opened(on_host(device.port, volts(5, table="holding"), address_base="one", unit=255))
        assert readings(source.read(1.0)) == [{"voltage_V": 7.0}]
        source.close()
        assert device.requests[0][2:] == bytes.fromhex("00000006FF0300040001")


@pytest.mark.parametrize(("order", "words"), [
    # 123.45 as float32: ABCD and CDAB from a published tutorial, the other two recomputed from it.
    (("big", "big"), [0x42F6, 0xE666]),
    (("little", "big"), [0xE666, 0x42F6]),
    (("big", "little"), [0xF642, 0x66E6]),
    (("little", "little"), [0x66E6, 0xF642]),
])  # fmt: skip
def test_the_four_orders_of_a_float(order, words):
    """The nearest float32 to 123.45 comes out of each."""
    nearest = struct.unpack(">f", struct.pack(">f", 123.45))[0]
    assert decode(words, "float32", word_order=order[0], byte_order=order[1]) == nearest


# --- against an independent server ---

TYPES = {
    "int16": ("h", -12345), "uint16": ("H", 54321), "int32": ("i", -1234567890), "uint32": ("I", 4123456789),
    "int64": ("q", -(2**53) + 1), "uint64": ("Q", 2**53 - 1), "float32": ("f", -38.5), "float64": ("d", 1e-3),
}  # fmt: skip
QUANTITIES = (
    "current_A", "voltage_V", "power_W", "charge_Ah", "energy_Wh", "temperature_degC", "frequency_Hz", "pressure_kPa",
)  # fmt: skip


def image(word_order, byte_order, gap):
    """Registers that hold every type, and the profile's entries for them."""
    words, entries = [], {}
    for quantity, (kind, (code, value)) in zip(QUANTITIES, TYPES.items(), strict=True):
        raw = struct.pack(">" + code, value)
        units = [raw[k : k + 2] for k in range(0, len(raw), 2)]
        units = units if word_order == "big" else units[::-1]
        entries[quantity] = {"address": len(words), "type": kind}
        words += [int.from_bytes(unit, byte_order) for unit in units] + [0xDEAD] * gap
    return words, entries


@pytest.mark.parametrize("over", ["tcp", "rtu"])
@pytest.mark.parametrize("gap", [0, 3])
@pytest.mark.parametrize("table", ["holding", "input"])
def test_every_type_in_every_order_equals_what_the_server_holds(over, gap, table):
    """Four orders as four units of one device; value for value, to the last bit."""
    orders = [(w, b) for w in ("big", "little") for b in ("big", "little")]
    images = [image(*order, gap) for order in orders]
    units = {unit: [(table, 0, words)] for unit, (words, _) in enumerate(images, 1)}
    with (tcp_server if over == "tcp" else rtu_server)(units) as place:
        for unit, ((word_order, byte_order), (_, entries)) in enumerate(zip(orders, images, strict=True), 1):
            in_table = {quantity: {**entry, "table": table} for quantity, entry in entries.items()}
            how = {"unit": unit, "word_order": word_order, "byte_order": byte_order}
            source = opened((on_host if over == "tcp" else on_port)(place, in_table, **how))
            assert readings(source.read(1.0)) == [
                dict(zip(QUANTITIES, (value for _, value in TYPES.values()), strict=True))
            ]
            source.close()


@pytest.mark.parametrize(("words", "entry", "value"), [
    ([1234], {"type": "uint16", "scale": 0.01}, 12.34),
    ([1195], {"type": "uint16", "scale": 0.01}, 11.95),  # times an inexact 0.01 it would be 11.950000000000001
    ([1234], {"type": "uint16", "unit": "mV"}, 1.234),
    ([1234], {"type": "uint16", "scale": 0.1, "offset": -100.0}, 23.4),
    ([0xFFFF], {"type": "int16", "sign": "return_positive"}, 1.0),
    ([0x8000], {"type": "int16", "not_a_value": [0x8000]}, None),
    ([0x8000], {"type": "int16", "not_a_value": [-32768]}, None),
    ([0xFFFF, 0xFFFF], {"type": "uint32", "not_a_value": [0xFFFFFFFF]}, None),
    ([0x7FC0, 0], {"type": "float32"}, None),  # NaN (IEEE 754)
    ([0xFF80, 0], {"type": "float32"}, None),  # minus infinity
    ([0xC47A, 0], {"type": "float32", "not_a_value": [-1000.0]}, None),
])  # fmt: skip
def test_scale_offset_unit_sign_and_values_that_are_none(words, entry, value):
    """A raw value becomes (raw x scale + offset) in the unit, its sign turned; a not-a-value is absent, not 0."""
    with tcp_server({1: [("holding", 0, [*words, 7])]}) as port:
        entries = {"voltage_V": {"address": 0, **entry}, "frequency_Hz": {"address": len(words), "type": "uint16"}}
        source = opened(on_host(port, entries))
        (got,) = readings(source.read(1.0))
        source.close()
    assert got.pop("frequency_Hz") == 7.0
    assert got == ({} if value is None else {"voltage_V": value})


def test_an_answer_of_nothing_but_not_a_values_is_no_reading():
    """It is refused and says so."""
    with tcp_server({1: [("holding", 0, [0x8000])]}) as port:
        source = opened(on_host(port, volts(0, "int16", not_a_value=[0x8000])))
        (event,) = source.read(1.0)
        source.close()
    assert isinstance(event, Refused)
    assert event.kind == "no value"


@pytest.mark.parametrize(("raw", "expected"), [(1, 12.5), (2, -12.5), (0, 0.0), (9, None)])
def test_a_direction_register_gives_the_sign(raw, expected):
    """An unsigned current is drawn, returned or none; an unknown direction refuses the current only."""
    entry = {"address": 0, "type": "uint16", "scale": 0.1}
    direction = {"address": 5, "draw": [1], "return": [2], "none": [0]}
    with tcp_server({1: [("holding", 0, [125, 48, 0, 0, 0, raw])]}) as port:
        source = opened(on_host(port, {"current_A": {**entry, "direction": direction}, **volts(1)}))
        events = source.read(1.0)
        source.close()
    (got,) = readings(events)
    assert got == {"voltage_V": 48.0} | ({} if expected is None else {"current_A": expected})
    assert kinds(events) == (["unknown direction"] if expected is None else [])


# --- which registers go into one request ---


@given(
    st.lists(
        st.tuples(st.sampled_from(["holding", "input"]), st.integers(0, 400), st.sampled_from([1, 2, 4])), min_size=1
    ),
    st.integers(0, 123),
)
def test_requests_hold_all_that_is_wanted_and_never_more_than_125(wanted, gap):
    """No value is cut in two, no request is longer than the standard allows (section 6.3), none is needless."""
    spans = [RegisterBlock(*each) for each in wanted]
    requests = join(spans, gap)
    for span in spans:
        assert any(r.table == span.table and r.address <= span.address and span.end <= r.end for r in requests)
    assert all(request.count <= 125 for request in requests)
    assert len(requests) <= len(set(spans))
    for request in requests:
        inside = {k for s in spans if s.table == request.table for k in range(s.address, s.end)}
        holes = "".join("x" if k in inside else "." for k in range(request.address, request.end)).split("x")
        assert max(map(len, holes)) <= gap


def test_neighbours_share_a_request_and_others_do_not_unless_told():
    """Registers 0 to 2 side by side are one request; with 5 unwanted ones between, it takes a gap of 5."""
    spans = [RegisterBlock("holding", 0, 2), RegisterBlock("holding", 2, 1), RegisterBlock("holding", 8, 1)]
    assert join(spans, 0) == join(spans, 4) == [RegisterBlock("holding", 0, 3), RegisterBlock("holding", 8, 1)]
    assert join(spans, 5) == [RegisterBlock("holding", 0, 9)]


def test_a_poll_asks_once_for_neighbours():
    """Seen on the wire: two values, one request."""
    with ScriptedServer(lambda frame: [tcp_answer(frame, [1, 2])]) as device:
        source = opened(on_host(device.port, {**volts(10), "current_A": {"address": 11, "type": "uint16"}}))
        assert readings(source.read(1.0)) == [{"voltage_V": 1.0, "current_A": 2.0}]
        source.close()
        assert [frame[8:12] for frame in device.requests] == [struct.pack(">HH", 10, 2)]


def test_the_time_of_a_reading_is_the_middle_of_the_exchange():
    """A clock that the device moves: it is 10 s when the request comes and 14 s when the answer goes."""
    clock = SimpleNamespace(at_us=10_000_000, sleep=lambda _: None)
    clock.now_us = lambda: clock.at_us

    def script(frame):
        clock.at_us = 14_000_000
        return [tcp_answer(frame, [1])]

    with ScriptedServer(script) as device:
        address = parse_address(f"modbus-tcp:127.0.0.1:{device.port}?timeout={PATIENT_S}")
        source = opened(modbus_source(address, profile(volts()), clock))
        assert source.read(1.0) == [Reading(12_000_000, {"voltage_V": 1.0})]
        source.close()


# --- what is no answer ---


class Counting:
    """Answers each question for a holding register with the number of the question; faults on demand."""

    def __init__(self, faults):
        self.faults, self.asked = faults, 0

    def __call__(self, frame):
        if frame[1] != 3:
            return None
        self.asked += 1
        (good,) = with_crc(answer(frame, [self.asked]))
        return self.faults[self.asked](frame, good) if self.asked in self.faults else [good]


RTU_FAULTS = {
    "silence": lambda frame, good: [],
    "short answer": lambda frame, good: with_crc(answer(frame, [])),
    "long answer": lambda frame, good: with_crc(answer(frame, [1, 2, 3])),
    "half a register": lambda frame, good: with_crc(frame[:2] + b"\x01\x05"),
    "foreign function code": lambda frame, good: with_crc(bytes([frame[0], 4]) + answer(frame, [666])[2:]),
    "exception to another function": lambda frame, good: with_crc(exception(bytes([frame[0], 4]), 2)),
    "a function that nobody asked for": lambda frame, good: with_crc(bytes([frame[0], 0x2B, 0x0E, 1, 1])),
    "wrong unit": lambda frame, good: with_crc(bytes([frame[0] + 1]) + answer(frame, [666])[1:]),
    "wrong check bytes": lambda frame, good: [good[:-1] + bytes([good[-1] ^ 1])],
    "a bit flipped": lambda frame, good: [good[:4] + bytes([good[4] ^ 16]) + good[5:]],
    "torn": lambda frame, good: [good[:4]],
    "nothing but noise": lambda frame, good: [bytes(range(200, 240))],
}


@pytest.mark.parametrize("fault", RTU_FAULTS)
def test_on_a_serial_line_nothing_but_the_answer_becomes_a_reading(fault):
    """The second question meets the fault: it gives an event and no reading; the third is answered as ever."""
    script = Counting({2: RTU_FAULTS[fault]})
    with ScriptedPort(script) as device:
        source = opened(on_port(device.name, volts(), timeout_s=SHORT_S))
        polls = [source.read(1.0) for _ in range(3)]
        source.close()
    assert [readings(events) for events in polls] == [[{"voltage_V": 1.0}], [], [{"voltage_V": 3.0}]]
    assert kinds(polls[1]) == ["no answer" if fault == "silence" else "wrong answer"]


def test_a_stray_byte_before_an_answer_never_makes_a_wrong_reading():
    """Either the right value or none."""
    for stray in (0x01, 0x03, 0xFF):
        script = Counting({2: lambda frame, good, stray=stray: [bytes([stray]) + good]})
        with ScriptedPort(script) as device:
            source = opened(on_port(device.name, volts(), timeout_s=SHORT_S))
            polls = [readings(source.read(1.0)) for _ in range(3)]
            source.close()
        assert polls[0] == [{"voltage_V": 1.0}]
        assert polls[1] in ([], [{"voltage_V": 2.0}])
        assert polls[2] == [{"voltage_V": 3.0}]


@pytest.mark.parametrize("late", [1.4, 2.3, 3.4, 5.2])
def test_a_late_answer_is_never_taken_for_the_answer_to_a_later_question(late):
    """A device is `late` time-outs late with its second answer, then works off in order what was asked meanwhile."""
    script = Counting({2: lambda frame, good: [late * SHORT_S, good]})
    got = []
    with ScriptedPort(script) as device:
        source = opened(on_port(device.name, volts(), timeout_s=SHORT_S))
        for _ in range(12):
            asked_before = script.asked
            for values in readings(source.read(1.0)):
                assert values["voltage_V"] > asked_before  # the answer to a question of this poll
                got.append(values)
        source.close()
    assert got[0] == {"voltage_V": 1.0}
    assert len(got) > 3


def test_a_device_that_is_silent_to_the_other_table_is_read_all_the_same():
    """It should answer with an exception, but does not: the wait stands for it."""
    script = Counting({2: RTU_FAULTS["silence"]})
    with ScriptedPort(lambda frame: script(frame) or []) as device:
        source = opened(on_port(device.name, volts(), timeout_s=SHORT_S))
        polls = [readings(source.read(1.0)) for _ in range(3)]
        source.close()
    assert polls == [[{"voltage_V": 1.0}], [], [{"voltage_V": 3.0}]]


TCP_FAULTS = {
    "silence": lambda frame: [],
    "short answer": lambda frame: [tcp_answer(frame, [])],
    "long answer": lambda frame: [tcp_answer(frame, [666, 666])],
    "foreign function code": lambda frame: [tcp_answer(frame, [666], function=1)],
    "wrong unit": lambda frame: [tcp_answer(frame, [666], unit=1)],
    "an earlier number": lambda frame: [tcp_answer(frame, [666], tid=-1)],
    "number 0": lambda frame: [b"\0\0" + tcp_answer(frame, [666])[2:]],
    "another protocol": lambda frame: [frame[:2] + b"\0\1" + tcp_answer(frame, [666])[4:]],
    "a byte count that lies": lambda frame: [tcp_answer(frame, [666])[:8] + b"\x04\x02\x9a"],
    "stray byte before": lambda frame: [b"\x55" + tcp_answer(frame, [666])],
    "torn": lambda frame: [tcp_answer(frame, [666])[:9]],
}


@pytest.mark.parametrize("fault", TCP_FAULTS)
def test_over_tcp_nothing_but_the_answer_becomes_a_reading(fault):
    """The second question meets the fault; the third, on a connection of its own, is answered as ever."""
    asked = []

    def script(frame):
        asked.append(frame)
        return TCP_FAULTS[fault](frame) if len(asked) == 2 else [tcp_answer(frame, [len(asked)])]

    with ScriptedServer(script) as device:
        source = opened(on_host(device.port, volts(), timeout_s=SHORT_S))
        polls = [source.read(1.0) for _ in range(3)]
        source.close()
    assert [readings(events) for events in polls] == [[{"voltage_V": 1.0}], [], [{"voltage_V": 3.0}]]
    assert kinds(polls[1]) == ["no answer" if fault == "silence" else "wrong answer"]


def test_noise_is_never_a_reading_and_never_a_crash():
    """Forty answers of random bytes, half of them begun like an answer (seeded): all are events."""
    noise = random.Random(20260613)

    def script(frame):
        if frame[1] != 3:
            return None
        return [(frame[:2] if noise.random() < 0.5 else b"") + noise.randbytes(noise.randrange(1, 30))]

    with ScriptedPort(script) as device:
        source = opened(on_port(device.name, volts(), timeout_s=0.05))
        events = [event for _ in range(40) for event in source.read(1.0)]
        source.close()
    assert not readings(events)
    assert len(events) == 40


def test_many_silent_polls_over_tcp_end_with_the_next_answer():
    """The connection is made anew after each; nothing is counted towards giving up."""
    asked = []

    def script(frame):
        asked.append(frame)
        return [tcp_answer(frame, [5])] if len(asked) > 8 else []

    with ScriptedServer(script) as device:
        source = opened(on_host(device.port, volts(), timeout_s=0.1))
        for _ in range(200):  # a busy machine may miss more than eight
            if got := readings(source.read(1.0)):
                break
        source.close()
    assert got == [{"voltage_V": 5.0}]


# --- refusals of the device ---


@pytest.mark.parametrize(("code", "words"), [
    # Modbus Application Protocol V1.1b3, section 7.
    (1, "illegal function"), (2, "illegal data address"), (3, "illegal data value"), (4, "server device failure"),
    (5, "acknowledge"), (6, "server device busy"), (8, "memory parity error"), (10, "gateway path unavailable"),
    (11, "gateway target device failed to respond"), (99, "a code that the standard does not know"),
])  # fmt: skip
def test_an_exception_is_said_in_words(code, words):
    """A refusal is a remark that names unit, registers and the code's meaning; the next poll reads on."""
    script = Counting({1: lambda frame, good: with_crc(exception(frame, code))})
    with ScriptedPort(script) as device:
        source = opened(on_port(device.name, volts(7)))
        (event,), after = source.read(1.0), source.read(1.0)
        source.close()
    assert isinstance(event, Remark)
    assert event.kind == "exception"
    assert (
        f"unit 1, holding register 7 (counted from 0): the device refused with exception {code}, {words}" in event.text
    )
    assert readings(after) == [{"voltage_V": 2.0}]


def test_every_exception_code_of_the_standard_has_words():
    """Section 7 lists nine."""
    assert set(EXCEPTIONS) == {1, 2, 3, 4, 5, 6, 8, 10, 11}


def test_an_exception_as_the_standard_frames_it():
    """Exception 2 to function 3 by unit 1: 01 83 02 with check bytes C0 F1 (recomputed)."""
    with ScriptedPort(lambda frame: [bytes.fromhex("018302C0F1")] if frame[1] == 3 else None) as device:
        line = line_on(device.name)
        with pytest.raises(ModbusFault, match="illegal data address") as caught:
            line.read_registers("holding", 1184, 1)
        line.close()
    assert (caught.value.kind, caught.value.code) == ("exception", 2)


def test_what_one_request_is_refused_the_others_still_give():
    """Section 7's address rule: of 100 registers, one beyond the end is refused; the reading holds the rest."""
    with tcp_server({1: [("holding", 0, [48] * 100)]}) as port:
        source = opened(on_host(port, {**volts(99), "current_A": {"address": 100, "type": "uint16"}}))
        merged = source.read(1.0)
        source.close()
        source = opened(on_host(port, {**volts(98), "current_A": {"address": 100, "type": "uint16"}}))
        apart = source.read(1.0)
        source.close()
    assert (readings(merged), kinds(merged)) == ([], ["exception"])
    assert (readings(apart), kinds(apart)) == ([{"voltage_V": 48.0}], ["exception"])


def test_a_unit_that_is_not_there_is_a_time_out():
    """modbus-tk is silent to a unit it does not have, as a device on a serial line is."""
    with rtu_server({7: [("holding", 0, [48])]}) as port:
        source = opened(on_port(port, volts(), unit=8, timeout_s=SHORT_S))
        assert kinds(source.read(1.0)) == ["no answer"]
        source.close()


# --- connections that go and come ---


def test_a_server_that_stops_is_lost_and_one_that_returns_is_read_again():
    """SourceLost, for as long as it is away; `open` works once it is back."""
    server = ScriptedServer(lambda frame: [tcp_answer(frame, [1])])
    source = opened(on_host(server.port, volts(), timeout_s=1.0))
    assert readings(source.read(1.0)) == [{"voltage_V": 1.0}]
    port = server.port
    server.close()
    with pytest.raises(SourceLost):
        source.read(1.0)
    source.close()
    with pytest.raises(SourceLost):
        source.open()
    with tcp_server({1: [("holding", 0, [48])]}, port):
        source.open()
        assert readings(source.read(1.0)) == [{"voltage_V": 48.0}]
        source.close()


def test_a_device_that_hangs_up_between_polls_loses_nothing():
    """Some close a connection on which nothing was asked for a while: it is made again within the poll."""
    asked = []

    def script(frame):
        asked.append(frame)
        return [tcp_answer(frame, [len(asked)]), None]

    with ScriptedServer(script) as device:
        source = opened(on_host(device.port, volts()))
        polls = [readings(source.read(1.0)) for _ in range(3)]
        source.close()
    assert polls == [[{"voltage_V": 1.0}], [{"voltage_V": 2.0}], [{"voltage_V": 3.0}]]


def test_a_device_that_hangs_up_instead_of_answering_is_lost():
    """It is asked once more at most, not for ever."""
    with ScriptedServer(lambda frame: [None]) as device:
        source = opened(on_host(device.port, volts()))
        with pytest.raises(SourceLost):
            source.read(1.0)
        source.close()
        assert len(device.requests) == 1


def test_nobody_at_the_address_may_come_later():
    """Connection refused is SourceLost with a sentence, not a mistake of the user's."""
    port = free_port()
    with pytest.raises(SourceLost, match=rf"127\.0\.0\.1:{port}: no connection \(connection refused\)"):
        on_host(port, volts()).open()


def test_a_port_that_vanishes_is_lost():
    """The pseudo-terminal is closed under the reader."""
    device = ScriptedPort(Counting({}))
    source = opened(on_port(device.name, volts()))
    assert readings(source.read(1.0)) == [{"voltage_V": 1.0}]
    device.close()
    with pytest.raises(SourceLost, match="the port is gone"):
        source.read(1.0)
    source.close()
    with pytest.raises(SourceLost, match="the port is gone"):
        source.open()


def test_a_port_plugged_in_again_is_read_again(monkeypatch):
    """For a moment it may be there but not yet ours (EACCES): that is waited for."""
    with ScriptedPort(Counting({})) as device:
        source = opened(on_port(device.name, volts()))
        source.close()
        with monkeypatch.context() as patched:
            patched.setattr(serial, "serial_for_url", refusing(13))
            with pytest.raises(SourceLost, match="the port is gone"):
                source.open()
        source.open()
        assert readings(source.read(1.0)) == [{"voltage_V": 1.0}]
        source.close()


def refusing(number):
    def refuse(*_, **__):
        raise serial.SerialException(number, "injected")

    return refuse


@pytest.mark.parametrize(("number", "words"), [
    (13, "may not be opened (permission denied)"), (2, "there is no such port; 'shuntbook ports'"),
    (16, "another program"), (11, "another program"), (5, "cannot be opened as a serial port"),
])  # fmt: skip
def test_a_port_that_cannot_be_opened_says_why(monkeypatch, number, words):
    """EACCES, ENOENT, EBUSY, EAGAIN and another error, injected: tests may run as root."""
    monkeypatch.setattr(serial, "serial_for_url", refusing(number))
    with pytest.raises(InputError) as caught:
        on_port("ttyNONE", volts()).open()
    assert words in str(caught.value)
    assert str(caught.value).startswith("ttyNONE: ")


def test_two_meters_on_one_serial_port_take_turns():
    """Two sources in two threads, one bus, one clock; when one is closed the other reads on."""
    clock = SteadyClock()
    got = {1: [], 2: []}
    with rtu_server({1: [("holding", 0, [11])], 2: [("holding", 0, [22])]}) as port:
        sources = {unit: opened(on_port(port, volts(), unit=unit, clock=clock)) for unit in got}

        def poll(unit):
            got[unit] = [readings(sources[unit].read(1.0)) for _ in range(10)]

        threads = [threading.Thread(target=poll, args=(unit,)) for unit in got]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        sources[1].close()
        after = readings(sources[2].read(1.0))
        sources[2].close()
    assert got == {1: [[{"voltage_V": 11.0}]] * 10, 2: [[{"voltage_V": 22.0}]] * 10}
    assert after == [{"voltage_V": 22.0}]


def test_two_meters_on_one_serial_port_need_the_same_settings():
    """The second one, at another speed, is refused while the first is open."""
    with rtu_server({1: [("holding", 0, [11])]}) as port:
        one = opened(on_port(port, volts()))
        with pytest.raises(InputError, match="with other settings"):
            modbus_source(parse_address(f"modbus-rtu:{port}?baud=9600"), profile(volts()), SteadyClock())
        one.close()


def test_time_outs_are_events_and_not_lines_on_the_terminal(capfd, caplog):
    """pymodbus would log each one."""
    with ScriptedPort(lambda frame: []) as device:
        source = opened(on_port(device.name, volts(), timeout_s=0.1))
        assert kinds(source.read(1.0)) == ["no answer"]
        source.close()
    assert capfd.readouterr() == ("", "")
    assert caplog.text == ""


# --- profiles and addresses ---


GOOD = """[modbus]
unit = 3
address_base = "one"

[modbus.registers.current_A]
address = 108
type = "int16"
not_a_value = [0x8000]
"""


def test_a_profile_as_a_person_writes_it(tmp_path):
    """What is not said has its default."""
    path = tmp_path / "meter.toml"
    path.write_text(GOOD, encoding="utf-8")
    part = read_toml(path, Profile).modbus
    entry = part.registers["current_A"]
    assert (part.unit, part.wire(entry.address), entry.table, entry.scale) == (3, 107, "holding", 1.0)
    assert entry.not_a_value == [32768]
    assert modbus_source(parse_address("modbus-tcp:box"), read_toml(path, Profile), SteadyClock()).quantities == (
        "current_A",
    )


@pytest.mark.parametrize(("change", "words"), [
    (('type = "int16"', 'type = "int12"'), "meter.toml:7: modbus.registers.current_A.type: must be 'int16', 'uint16'"),
    (("address = 108", 'address = "108"'), "meter.toml:6: modbus.registers.current_A.address: must be a whole number"),
    (("address = 108", "address = 0"), "registers.current_A.address must be from 1 to 65536"),
    (("address = 108", "adress = 108"), "there is no such key; did you mean address?"),
    (("address = 108", 'address = 108\nunit = "V"'), "'V' is a unit of voltage, not of current"),
    (("registers.current_A", "registers.currant"), "'currant' is no quantity; the quantities are current_A"),
    (("unit = 3", "unit = 300"), "meter.toml:2: modbus.unit: must be at most 255"),
    (("unit = 3", "timeout_s = 0"), "modbus.timeout_s: must be greater than 0"),
    (("not_a_value = [0x8000]", "direction = { address = 9, draw = [1], return = [1] }"), "no value stands twice"),
])  # fmt: skip
def test_mistakes_in_a_profile_are_told_plainly(tmp_path, change, words):
    """Key, line and what to write instead."""
    path = tmp_path / "meter.toml"
    assert change[0] in GOOD
    path.write_text(GOOD.replace(*change), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_toml(path, Profile)
    assert words in str(caught.value)


@pytest.mark.parametrize(("text", "words"), [
    ("modbus-tcp:box:70000", "HOST or HOST:PORT"), ("modbus-tcp:box:port", "HOST or HOST:PORT"),
    ("modbus-tcp:box?baud=9600", "no setting 'baud'"), ("modbus-tcp:box?unit=256", "unit must be a whole number"),
    ("modbus-rtu:port?unit=0", "unit must be a whole number from 1 to 247"),
    ("modbus-rtu:port?parity=N", "none, even or odd"),
    ("modbus-rtu:port?timeout=0", "timeout must be a number above 0"),
])  # fmt: skip
def test_mistakes_in_an_address_are_told_plainly(text, words):
    """One sentence that quotes the address."""
    with pytest.raises(InputError) as caught:
        modbus_source(parse_address(text), profile(volts()), SteadyClock())
    assert words in str(caught.value)
    assert str(caught.value).startswith(text)


def test_without_a_profile_registers_mean_nothing():
    """The sentence says what a profile needs."""
    for none in (None, SimpleNamespace(modbus=None, sunspec=None, side=None, sampling=None)):
        with pytest.raises(InputError, match=r"table \[modbus\]"):
            modbus_source(parse_address("modbus-tcp:box"), none, SteadyClock())


def test_what_the_address_says_goes_before_the_profile():
    """Unit 2 in the address, 9 in the profile."""
    with ScriptedServer(lambda frame: [tcp_answer(frame, [1])]) as device:
        source = modbus_source(
            parse_address(f"modbus-tcp:127.0.0.1:{device.port}?unit=2"),
            profile(volts(), unit=9, side="ac"),
            SteadyClock(),
        )
        opened(source).read(1.0)
        source.close()
        assert device.requests[0][6] == 2
    assert (source.side, source.sampling, source.cadence, source.quantities) == (
        "ac",
        "instant",
        "polled",
        ("voltage_V",),
    )


# --- laws ---


def test_no_command_ever_writes_to_a_device():
    """No call of pymodbus but its two reads of registers stands anywhere in the package."""
    dangerous = {name for name in dir(ModbusClientMixin) if not name.startswith("_")} - {
        "read_holding_registers", "read_input_registers", "connect", "close",
    }  # fmt: skip
    assert any(name.startswith("write_") for name in dangerous)
    users = {
        path: ast.parse(path.read_text(encoding="utf-8"))
        for room in ("ingest", "analysis", "cli")
        for path in sorted((ROOT / room).rglob("*.py"))
        if "pymodbus" in path.read_text(encoding="utf-8")
    }
    attributes = {
        path.name: {n.attr for n in ast.walk(tree) if isinstance(n, ast.Attribute)} for path, tree in users.items()
    }
    assert {name: found & dangerous for name, found in attributes.items()} == {name: set() for name in attributes}
    assert "read_holding_registers" in attributes["checked_reads.py"]  # the search sees what it should


def test_the_modbus_adapters_load_nothing_heavy():
    """Neither pandas, scipy nor matplotlib, and no second Modbus stack."""
    code = (
        "import sys\nfrom shuntbook.ingest.modbus import probe, registers, sunspec\n"
        "from shuntbook.ingest.modbus.sunspec_models import model\nassert model(802)\n"
        "print([m for m in ('pandas', 'scipy', 'matplotlib', 'sunspec2') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT.parent)
    assert done.stdout == "[]\n"
