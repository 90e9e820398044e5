"""Answers of Modbus devices over TCP and a serial line: short, long, late, another's, exceptions, noise."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from modbus_devices import ScriptedPort, ScriptedServer, answer, crc, exception, tcp_answer

from shuntbook.ingest.events import Reading
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.source import SourceLost, SteadyClock
from shuntbook.ingest.modbus.registers import ModbusRegisters, modbus_source
from shuntbook.ingest.profiles.modbus_part import ModbusPart

from .case import Case
from .damage import bytes_damaged
from .law import Fault

_POLLS = 3
#: How long an answer is waited for. [s]
_TIMEOUT_S = 0.03
_WAYS = (
    "right",
    "right",
    "right",
    "short",
    "cut",
    "long",
    "function",
    "unit",
    "late",
    "exception",
    "noise",
    "silence",
    "two",
    "torn",
    "damaged",
)


def make(rng: random.Random) -> Case:
    """Return what a device does with each request: a way to answer, and a number that chance decides by."""
    count = rng.choice([1, 2, 10])
    script = [[rng.choice(_WAYS) if rng.random() < 0.8 else "right", rng.randrange(2**32)] for _ in range(30)]
    return Case("modbus", known={"over": rng.choice(["rtu", "tcp"]), "count": count, "script": script})


def run(case: Case, folder: Path) -> str:
    """Poll the device a few times, and compare every reading with the true answers to its own questions."""
    del folder
    device_of: Callable[[Any], Any] = ScriptedPort if case.known["over"] == "rtu" else ScriptedServer
    script = _Script(case)
    with device_of(script) as device:
        source = _source(case, device)
        events = []
        try:
            source.open()
            for _ in range(_POLLS):
                events += source.read(1.0)
        except SourceLost as lost:
            if not str(lost).isprintable():
                raise Fault(f"no plain sentence: {lost!r}") from None
        finally:
            source.close()
    values = [event.values["voltage_V"] for event in events if isinstance(event, Reading)]
    if strange := [x for x in values if x not in script.true]:
        raise Fault(f"readings that no answer gave: {strange}; true: {script.true}; {script.ways}")
    return f"{case.known['over']} {len(values)} readings"


def _source(case: Case, device: Any) -> ModbusRegisters:
    registers = {"voltage_V": {"address": 0, "type": "uint32"}}
    part = ModbusPart.model_validate({"registers": registers})
    profile: Any = SimpleNamespace(modbus=part, sunspec=None, side=None, sampling=None)
    clock = SteadyClock()
    if case.known["over"] == "rtu":
        return modbus_source(
            parse_address(f"modbus-rtu:{device.name}?baud=115200&timeout={_TIMEOUT_S}"), profile, clock
        )
    return modbus_source(parse_address(f"modbus-tcp:127.0.0.1:{device.port}?timeout={_TIMEOUT_S}"), profile, clock)


class _Script:
    """Answers requests one after the other; each true answer has a number of its own."""

    def __init__(self, case: Case) -> None:
        self._ways = list(case.known["script"])
        self._is_rtu = case.known["over"] == "rtu"
        self._late = b""
        self.true: list[float] = []
        self.ways: list[str] = []

    def __call__(self, frame: bytes) -> list[Any] | None:
        if self._is_rtu and frame[1] != 3:
            return None  # the question by which the line is settled
        if not self._is_rtu and len(frame) < 8:
            return []
        way, seed = self._ways.pop(0) if self._ways else ("right", 0)
        self.ways.append(way)
        number = 1000 + len(self.ways) * 7919
        steps, is_true = self._answer(frame, way, number, random.Random(seed))
        if is_true:
            self.true.append(float(number))
        return steps

    def _whole(self, frame: bytes, registers: list[int]) -> bytes:
        if self._is_rtu:
            body = answer(frame, registers)
            return bytes(body + crc(body))
        return bytes(tcp_answer(frame, registers))

    def _answer(self, frame: bytes, way: str, number: int, rng: random.Random) -> tuple[list[Any], bool]:
        """Return what to send, and whether it holds the true answer to this question."""
        registers = [number >> 16, number & 0xFFFF]
        right = self._whole(frame, registers)
        match way:
            case "right":
                late, self._late = self._late, b""
                return [late + right] if self._is_rtu and rng.random() < 0.5 else [right], True
            case "short":
                return [self._whole(frame, registers[:1])], False
            case "long":
                return [self._whole(frame, [*registers, 7, 7])], False
            case "cut":
                return [right[: rng.randrange(len(right))]], False
            case "function" | "unit":
                return [self._another(frame, way, registers)], False
            case "late":
                self._late = right
                return [_TIMEOUT_S * rng.choice([1.2, 2.5]), right], True
            case "exception":
                return [self._exception(frame, rng.choice([1, 2, 4, 6, 11, 0, 200]))], False
            case "two":
                return [right + right], True
            case "torn":
                at = rng.randrange(len(right))
                return [right[:at], rng.choice([0.001, 0.01]), right[at:]], True
            case "damaged" if self._is_rtu:
                return [bytes_damaged(right, rng, 2)], True
            case "noise" if self._is_rtu:
                return [rng.randbytes(rng.choice([1, 9, 300]))], False
        return [], False

    def _another(self, frame: bytes, way: str, registers: list[int]) -> bytes:
        if not self._is_rtu:
            return bytes(tcp_answer(frame, registers, **{way: 1}))
        asked = bytes([frame[0] + (way == "unit"), frame[1] + (way == "function")]) + frame[2:]
        return self._whole(asked, registers)

    def _exception(self, frame: bytes, code: int) -> bytes:
        if self._is_rtu:
            body = exception(frame, code)
            return bytes(body + crc(body))
        return frame[:2] + struct.pack(">HHBBB", 0, 3, frame[6], frame[7] | 0x80, code)
