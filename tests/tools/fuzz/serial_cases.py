"""What a serial port brings: lines of a meter, torn, mixed up, with wrong checksums, without an end, and noise."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any
from unittest import mock

from serial_devices import Meter, lines_of, readings, settle

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.events import Event, Refused
from shuntbook.ingest.live import serial_lines
from shuntbook.ingest.live.lines import checksum
from shuntbook.ingest.live.serial_lines import SerialLines
from shuntbook.ingest.live.source import SourceLost

from .case import Case
from .damage import NASTY_CELLS, bytes_damaged
from .law import Fault

_QUANTITIES = '[quantities.voltage_V]\ncolumn = "volts"\n[quantities.current_A]\ncolumn = "amps"\n'
_LAYOUTS = {
    "fields": 'layout = "fields"\nfields = ["volts", "amps"]',
    "pairs": 'layout = "pairs"',
    "json": 'layout = "json"',
    "pattern": "layout = \"pattern\"\npattern = 'V:(?P<volts>[\\d.]+) +A:(?P<amps>-?[\\d.]+)(?: .*)?'",
}
_CHECKED = '\n[serial.checksum]\nkind = "crc16_modbus"\nmark = "*"\n'
#: How long the line must rest before all has been read. [s]
_REST_S = 0.02
#: How long a source without a profile may listen for a line that explains itself. [s]
_LISTEN_S = 0.5


def _line(layout: str, volts: float, amps: float) -> str:
    match layout:
        case "fields":
            return f"{volts:.2f},{amps:.3f}"
        case "pairs":
            return f"volts={volts:.2f}, amps={amps:.3f}"
        case "json":
            return json.dumps({"volts": volts, "amps": amps})
    return f"V:{volts:.2f} A:{amps:.3f}"


def make(rng: random.Random) -> Case:
    """Return a profile, and chunks of bytes as they come."""
    layout = rng.choice(list(_LAYOUTS))
    checked = rng.random() < 0.5
    values = [
        (rng.randrange(2200, 2900) / 100, rng.randrange(-9000, 99_000) / 1000) for _ in range(rng.choice([1, 3, 20]))
    ]
    lines = [_line(layout, *pair).encode() for pair in values]
    sent = [_sealed(line) if checked else line for line in lines]
    damaged = [_damaged(line, rng) if rng.random() < 0.4 else line for line in sent]
    data = rng.choice([b"\n", b"\r\n"]).join([*damaged, b""])
    if rng.random() < 0.2:
        data = bytes_damaged(data, rng)
    data += rng.choice(
        [b"", b"", b"", rng.randbytes(300), b"9" * rng.choice([900, 1001, 5000]), b"\x00" * 200, sent[0][:5]]
    )
    text = f"[serial]\n{_LAYOUTS[layout]}\n{_CHECKED if checked else ''}\n{_QUANTITIES}"
    if rng.random() < 0.05:
        text = ""
    known: dict[str, Any] = {"profile": text, "right": values if checked and text else None}
    return Case("serial", chunks=_cut(data, rng), known=known)


def _sealed(line: bytes) -> bytes:
    return line + b"*%04X" % checksum(line, "crc16_modbus")


def _damaged(line: bytes, rng: random.Random) -> bytes:
    match rng.randrange(6):
        case 0:
            return line[: rng.randrange(len(line))]
        case 1:
            return line[rng.randrange(len(line)) :]
        case 2:
            return bytes_damaged(line, rng, 3)
        case 3:
            return line + line
        case 4:
            return line.replace(b"2", rng.choice(NASTY_CELLS).encode("utf-8", "replace"), 1)
    return rng.randbytes(rng.choice([1, 20, 2000]))


def _cut(data: bytes, rng: random.Random) -> list[bytes]:
    """Return bytes in the pieces in which a port might give them."""
    pieces = []
    while data:
        length = rng.choice([1, 7, 64, 1000, 4000])
        pieces.append(data[:length])
        data = data[length:]
    return pieces[:400]


def run(case: Case, folder: Path) -> str:
    """Send the bytes, and look at what was read."""
    meter = Meter(folder)
    source = lines_of(meter, case.known["profile"] or None)
    try:
        with mock.patch.object(serial_lines, "LISTEN_S", _LISTEN_S):
            return _read(case, meter, source)
    except (InputError, SourceLost) as error:
        if "\n" in str(error) or not str(error).isprintable():
            raise Fault(f"no plain sentence: {error}") from None
        return type(error).__name__
    finally:
        source.close()
        meter.pull_out()


def _read(case: Case, meter: Meter, source: SerialLines) -> str:
    if not case.known["profile"]:
        for chunk in case.chunks[:4]:
            meter.send(chunk)
    source.open()
    if case.known["profile"]:
        settle(source)
    events: list[Event] = []
    for chunk in case.chunks:
        meter.send(chunk)
        events += source.read(0.0)
    while more := source.read(_REST_S):
        events += more
    _check(case, events)
    return "readings" if readings(events) else "none"


def _check(case: Case, events: list[Event]) -> None:
    pairs = [(reading.values.get("voltage_V"), reading.values.get("current_A")) for reading in readings(events)]
    if any(x is not None and not abs(x) < 1e300 for pair in pairs for x in pair):
        raise Fault(f"not finite: {pairs}")
    right = case.known["right"]
    if right is not None and not {tuple(pair) for pair in pairs} <= {tuple(pair) for pair in right}:
        raise Fault(f"made up although the checksum was wrong: {set(pairs) - {tuple(pair) for pair in right}}")
    times_us = [event.time_us for event in events]
    if times_us != sorted(times_us):
        raise Fault(f"times go back: {times_us}")
    for event in events:
        if isinstance(event, Refused) and not (event.text.isascii() and event.text.replace("\t", "").isprintable()):
            raise Fault(f"refused with a text that no terminal should be given: {event.text!r}")
