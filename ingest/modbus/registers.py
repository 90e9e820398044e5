"""Modbus meters: any device whose registers a profile describes, over TCP or a serial line (RTU)."""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import InputError
from ..events import Event, Reading, Refused
from ..live.address import Address
from ..live.source import Cadence, Clock, LiveSource
from ..profiles.modbus_part import CODES, SIZES, ModbusPart, RegisterEntry, RegisterTable, RegisterType, WordOrder
from ..profiles.model import Profile
from ..quantities import scaled, unit_of
from .checked_reads import EXCEPTION, MOST_REGISTERS, ModbusFault, ModbusLine, modbus_line
from .connection import check_settings
from .plausible import RegisterDoubt, doubt_of

#: Registers by table and wire address.
Registers = dict[tuple[RegisterTable, int], int]


@dataclass(frozen=True, order=True)
class RegisterBlock:
    """Registers of one table that stand side by side; `address` as on the wire."""

    table: RegisterTable
    address: int
    count: int

    @property
    def end(self) -> int:
        """The address after the last one."""
        return self.address + self.count


def join(spans: Iterable[RegisterBlock], gap: int) -> list[RegisterBlock]:
    """Return as few requests as hold all spans, each of at most 125 registers.

    Spans are taken in the order of their addresses and may overlap; one joins the request before it if it begins no
    more than `gap` registers after that one's end and both fit. A span is never split.
    """
    # A request costs a device's time and the silence around it, a register that nobody wants two bytes.
    requests: list[RegisterBlock] = []
    for span in sorted(set(spans)):
        last = requests[-1] if requests else None
        if last is not None and span.table == last.table and span.address - last.end <= gap:
            end = max(last.end, span.end)
            if end - last.address <= MOST_REGISTERS:
                requests[-1] = RegisterBlock(last.table, last.address, end - last.address)
                continue
        requests.append(span)
    return requests


def take(line: ModbusLine, span: RegisterBlock) -> Registers:
    """Read a span; raises what `ModbusLine.read_registers` does."""
    words = line.read_registers(span.table, span.address, span.count)
    return {(span.table, span.address + k): word for k, word in enumerate(words)}


class ModbusRegisters(LiveSource):
    """A meter whose registers are asked for, one poll a reading.

    A poll is one request for each run of neighbouring registers. The time of its reading is the middle between the
    first question and the last answer. Where the device refuses a request, the other ones still give a reading, without
    what was refused; silence or a wrong answer ends the poll, and what it gave so far is kept.
    """

    cadence: Cadence = "polled"

    def __init__(
        self,
        line: ModbusLine,
        part: ModbusPart,
        clock: Clock,
        *,
        side: str,
        sampling: str,
        where: Callable[[str], str] = lambda _: "the profile",
    ) -> None:
        super().__init__(clock)
        self._where = where
        self.quantities = tuple(part.registers)
        self.side, self.sampling = side, sampling
        self._line = line
        self._plans = [_Plan(quantity, entry, part) for quantity, entry in part.registers.items()]
        self._requests = join((span for plan in self._plans for span in plan.spans), part.gap)

    def open(self) -> None:
        """Open the port or connection."""
        self._line.open()

    def close(self) -> None:
        """Close it."""
        self._line.close()

    def check(self) -> list[str]:
        """Ask once, and return what is odd; `InputError` where the profile must be wrong and can be mended."""
        registers, _, _ = self._ask()
        doubts = {plan.quantity: doubt for plan in self._answered(registers) if (doubt := plan.doubt(registers))}
        sentences = [f"{self._where(quantity)}: {doubt.sentence}" for quantity, doubt in doubts.items()]
        if any(doubt.way_out for doubt in doubts.values()):
            raise InputError(*sentences)
        return sentences

    def read(self, timeout_s: float) -> list[Event]:  # noqa: ARG002 - the line's own time-out counts
        """Ask once."""
        registers, times_us, events = self._ask()
        return events + self._reading(registers, times_us) if times_us else events

    def _ask(self) -> tuple[Registers, list[int], list[Event]]:
        """Return what was given, the instants of the exchanges [us], and what went wrong."""
        events: list[Event] = []
        registers: Registers = {}
        times_us: list[int] = []
        for span in self._requests:
            try:
                registers |= take(self._line, span)
            except ModbusFault as fault:
                events.append(fault.event(self._clock.now_us()))
                # A refusal concerns these registers alone; after silence the others would only wait as long again.
                if fault.kind != EXCEPTION:
                    break
            else:
                times_us += [self._line.asked_us, self._line.answered_us]
        return registers, times_us, events

    def _answered(self, registers: Registers) -> list[_Plan]:
        return [plan for plan in self._plans if all((span.table, span.address) in registers for span in plan.spans)]

    def _reading(self, registers: Registers, times_us: Sequence[int]) -> list[Event]:
        time_us = (times_us[0] + times_us[-1]) // 2
        events: list[Event] = []
        values = {}
        for plan in self._answered(registers):
            # Nought is nought in any order: that this one is wrong may show only when a load is switched on.
            if (doubt := plan.doubt(registers)) is not None and doubt.way_out:
                events.append(Refused(time_us, "cannot be", plan.raw_text(registers), doubt.sentence))
                continue
            try:
                value = plan.value(registers)
            except _UnknownDirectionError as error:
                events.append(Refused(time_us, "unknown direction", str(error.raw), str(error)))
                continue
            if value is not None:
                values[plan.quantity] = value
        if values:
            return [*events, Reading(time_us, values)]
        return events or [
            Refused(time_us, "no value", "", "the device answered, but gave none of the quantities a value")
        ]


class _UnknownDirectionError(Exception):
    def __init__(self, quantity: str, raw: int) -> None:
        super().__init__(f"{quantity}: the direction register holds {raw}, none of the profile's draw, return and none")
        self.raw = raw


class _Plan:
    """How one quantity is got from registers."""

    def __init__(self, quantity: str, entry: RegisterEntry, part: ModbusPart) -> None:
        self.quantity, self._entry = quantity, entry
        self._order = {
            "word_order": entry.word_order or part.word_order,
            "byte_order": entry.byte_order or part.byte_order,
        }
        self._unit = unit_of(quantity, entry.unit, column=quantity)
        self._span = RegisterBlock(entry.table, part.wire(entry.address), SIZES[entry.type])
        self.spans = [self._span]
        if entry.direction is not None:
            self.spans.append(RegisterBlock(entry.table, part.wire(entry.direction.address), 1))

    def value(self, registers: Mapping[tuple[RegisterTable, int], int]) -> float | None:
        """Return the quantity in its own unit; None where the device says that it has no value."""
        entry, words = self._entry, self._words(registers)
        raw = decode(words, entry.type, **self._order)
        # A profile may write the mark of "no value" as the number or as its bits: -32768 and 0x8000 are the same.
        if not math.isfinite(raw) or raw in entry.not_a_value or self._bare_bits(words) in entry.not_a_value:
            return None
        value = self._in_own_unit(raw)
        if entry.sign == "return_positive":
            value = -value
        return self._signed(value, registers) + 0.0  # no negative zeros

    def doubt(self, registers: Registers) -> RegisterDoubt | None:
        """Return why what the registers hold cannot be this quantity; None where it can, or is no value."""
        words = self._words(registers)
        marks = {decode(words, self._entry.type, **self._order), self._bare_bits(words)}
        if marks & set(self._entry.not_a_value):
            return None

        def read_as(kind: RegisterType, order: WordOrder) -> float | None:
            raw = decode(words, kind, word_order=order, byte_order=self._order["byte_order"])
            return self._in_own_unit(raw) if math.isfinite(raw) else None

        return doubt_of(self.quantity, self._entry, self._order["word_order"], read_as)

    def raw_text(self, registers: Registers) -> str:
        """Return the registers as they came."""
        return " ".join(f"{word:04X}" for word in self._words(registers))

    def _words(self, registers: Mapping[tuple[RegisterTable, int], int]) -> list[int]:
        span = self._span
        return [registers[span.table, span.address + k] for k in range(span.count)]

    def _in_own_unit(self, raw: float) -> float:
        return float(self._unit.to_canonical(np.array(scaled(raw, self._entry.scale, self._entry.offset))))

    def _bare_bits(self, words: Sequence[int]) -> int | None:
        return None if self._entry.type.startswith("float") else bits(words, **self._order)

    def _signed(self, value: float, registers: Mapping[tuple[RegisterTable, int], int]) -> float:
        direction = self._entry.direction
        if direction is None:
            return value
        span = self.spans[1]
        raw = registers[span.table, span.address]
        # The register alone decides the way: some devices turn the value's sign with it, some do not.
        if raw in direction.draw:
            return abs(value)
        if raw in direction.returned:
            return -abs(value)
        if raw in direction.none:
            return 0.0
        raise _UnknownDirectionError(self.quantity, raw)


def modbus_source(address: Address, profile: Profile | None, clock: Clock) -> ModbusRegisters:
    """Return the source of ``modbus-tcp:HOST:PORT?unit=1`` or ``modbus-rtu:PORT?unit=1&baud=9600``; opens nothing yet.

    `InputError` if the address is wrong or the profile has no table ``[modbus]``.
    """
    check_settings(address)
    if profile is None or profile.modbus is None:
        raise InputError(
            f"{address.text}: a profile must say which registers hold which quantities, in a table [modbus] with "
            "tables such as [modbus.registers.current_A]; give it with --profile ('shuntbook probe' shows what "
            "the device holds)"
        )
    line = modbus_line(address, profile.modbus, clock)
    side, sampling = profile.side or "dc", profile.sampling or "instant"

    def where(quantity: str) -> str:
        return profile.line_of("modbus", "registers", quantity)

    return ModbusRegisters(line, profile.modbus, clock, side=side, sampling=sampling, where=where)


def decode(
    registers: Sequence[int], kind: RegisterType, *, word_order: WordOrder = "big", byte_order: WordOrder = "big"
) -> int | float:
    """Return the number that registers hold; a float may be NaN or infinite.

    Parameters
    ----------
    registers : sequence of int, length `SIZES[kind]`
        Raw registers, each 0 to 65535, in the order of their addresses.
    word_order, byte_order : {'big', 'little'}
        Whether the more significant register comes first, and the more significant byte of each register. Modbus fixes
        the second (Application Protocol V1.1b3, section 4.2: big) but not the first, and devices break both.
    """
    words = registers if word_order == "big" else registers[::-1]
    raw = b"".join(word.to_bytes(2, byte_order) for word in words)
    value: int | float = struct.unpack(">" + CODES[kind], raw)[0]
    return value


def bits(registers: Sequence[int], *, word_order: WordOrder = "big", byte_order: WordOrder = "big") -> int:
    """Return registers as one unsigned number, the bits as they stand."""
    words = registers if word_order == "big" else registers[::-1]
    return int.from_bytes(b"".join(word.to_bytes(2, byte_order) for word in words), "big")
