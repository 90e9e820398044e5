"""Checked reads of Modbus registers: an answer that is not surely the answer to the question never counts.

pymodbus checks a frame's checksum and unit id, and over TCP its transaction number. It does not check that the answer
has the function code and the number of registers that were asked for, so on a serial line it takes an answer that comes
late for the answer to the next question. Hence every answer is checked here, and after a failure the line must settle.
"""

from __future__ import annotations

from typing import Final

from pymodbus.exceptions import ConnectionException, ModbusException
from pymodbus.pdu import ModbusPDU

from ..events import Refused, Remark
from ..live.address import Address
from ..live.source import Clock, SourceLost
from ..profiles.modbus_part import LinePart, RegisterTable
from .connection import Bus, bus_of, cannot_open, line_settings

#: The most registers of one request (Modbus Application Protocol V1.1b3, sections 6.3 and 6.4).
MOST_REGISTERS = 125
#: Function codes (the same sections).
FUNCTIONS: Final[dict[RegisterTable, int]] = {"holding": 3, "input": 4}
#: What a device means by an exception code (the same, section 7).
EXCEPTIONS = {
    1: "illegal function: it does not know this kind of request",
    2: "illegal data address: it has no such registers",
    3: "illegal data value: it does not give so many registers at once",
    4: "server device failure",
    5: "acknowledge: it needs more time",
    6: "server device busy",
    8: "memory parity error",
    10: "gateway path unavailable",
    11: "gateway target device failed to respond",
}
#: Exceptions that a gateway gives for a device that is not there.
FROM_GATEWAY = (10, 11)
NO_ANSWER, EXCEPTION, WRONG_ANSWER = "no answer", "exception", "wrong answer"
#: How often a serial line is tried to be settled before a poll is given up.
_SETTLING = 3


class ModbusFault(Exception):  # noqa: N818 - a state, told by its kind
    """A request that gave no registers although the line stands; the next one may.

    Its `kind` is ``no answer``, ``exception`` (the device refused, with this `code`) or ``wrong answer``; `came` holds
    what came instead of an answer.
    """

    def __init__(self, kind: str, sentence: str, *, came: bytes = b"", code: int = 0) -> None:
        super().__init__(sentence)
        self.kind, self.came, self.code = kind, came, code

    def event(self, time_us: int) -> Refused | Remark:
        """Return it as an event: what came and is no answer is refused, all else is remarked."""
        if self.kind == WRONG_ANSWER:
            return Refused(time_us, self.kind, self.came.hex(" "), str(self))
        return Remark(time_us, self.kind, str(self))


class ModbusLine:
    """One device on a bus; the last exchange began at ``asked_us`` and ended at ``answered_us`` on the capture's clock.

    Over TCP a failed exchange closes the connection: a new one holds no old answers, and transaction numbers are
    checked. On a serial line answers carry no number. After a failure nothing is sent for one time-out, what came is
    thrown away, and the first question goes to the other table of registers. Devices answer in order, and every
    device answers that question, if only with an exception; whatever comes before its answer is late and thrown away.
    A device that stays silent to it has been waited for twice as long as its time-out.
    """

    def __init__(self, bus: Bus, unit: int) -> None:
        self._bus, self.unit = bus, unit
        self.asked_us = self.answered_us = 0
        self._ever_open = self._answered_here = False
        self._in_doubt = bus.is_serial
        self._knows_other = False

    @property
    def place(self) -> str:
        """The host or port."""
        return self._bus.place

    def beside(self, unit: int) -> ModbusLine:
        """Return a line to another unit over the same connection: many devices take only one."""
        return ModbusLine(self._bus, unit)

    def open(self) -> None:
        """Open the connection if it is not open; `InputError` if the port never can be, else `SourceLost`."""
        with self._bus.lock:
            self._connect(ever_open=self._ever_open)
            self._bus.openers.add(self)
        self._ever_open, self._answered_here, self._in_doubt = True, False, self._bus.is_serial

    def close(self) -> None:
        """Close the connection, unless other meters on the same port still need it; never raises."""
        bus = self._bus
        with bus.lock:
            bus.openers.discard(self)
            if not bus.openers:
                bus.drop()

    def read_registers(self, table: RegisterTable, address: int, count: int) -> list[int]:
        """Ask for `count` registers, 1 to 125, from an `address` as on the wire; each is 0 to 65535.

        Raises
        ------
        ModbusFault
            If no answer came in time, the device refused, or what came is no answer to this question.
        SourceLost
            If the connection or port is gone.
        """
        with self._bus.lock:  # the meters of one port take turns, a whole exchange at a time
            if self._in_doubt:
                self._settle(table, address)
            reply = self._ask(table, address, count)
            self._check(reply, table, address, count)
            return list(reply.registers)

    def anyone_there(self) -> bool:
        """Tell whether the unit answers at all, be it with a refusal."""
        with self._bus.lock:
            try:
                reply = self._ask("holding", 0, 1)
            except ModbusFault:
                return False
            return not (reply.isError() and reply.exception_code in FROM_GATEWAY)

    def _settle(self, table: RegisterTable, address: int) -> None:
        """Have the line's last word be an answer to a question that no late answer fits."""
        other: RegisterTable = "input" if table == "holding" else "holding"
        # Why the other table: no answer that is still under way to an earlier question can have its function code, so
        # the first that has it shows that the line has nothing older left.
        for _ in range(_SETTLING):
            try:
                reply = self._ask(other, address, 1)
            except ModbusFault as fault:
                # Some devices keep silent to a table that they have not: then the wait itself has settled the line. One
                # that has answered there before is away.
                if fault.kind == NO_ANSWER and not self._knows_other:
                    break
                if fault.kind == NO_ANSWER:
                    raise
                continue
            if reply.function_code & 0x7F == FUNCTIONS[other]:
                self._knows_other = True
                break
            self._bus.keep_silent(self._bus.timeout_s)
        else:
            raise ModbusFault(WRONG_ANSWER, f"{self._who()} answers, but not what it is asked", came=self._bus.heard)
        self._in_doubt = False

    def _ask(self, table: RegisterTable, address: int, count: int) -> ModbusPDU:
        """Exchange one request for one answer, of whatever shape."""
        try:
            return self._exchange(table, address, count)
        except ConnectionException:
            # A device may close a connection on which nothing was asked for long: that is no loss yet.
            if self._bus.is_serial or not self._answered_here:
                raise self._lost() from None
        # Once more, and on a new connection, where a second loss counts.
        self._answered_here = False
        return self._ask(table, address, count)

    def _exchange(self, table: RegisterTable, address: int, count: int) -> ModbusPDU:
        bus = self._bus
        ask = bus.client.read_holding_registers if table == "holding" else bus.client.read_input_registers
        self._connect(ever_open=True)
        bus.await_turn()
        self.asked_us = bus.clock.now_us()
        try:
            reply = ask(address, count=count, device_id=self.unit)
        except (ConnectionException, OSError):
            bus.drop()
            raise ConnectionException("gone") from None
        except ModbusException:
            raise self._unheard() from None
        finally:
            self.answered_us = bus.clock.now_us()
            bus.exchanged()
        self._answered_here = True
        return reply

    def _connect(self, *, ever_open: bool) -> None:
        """Open what is not open, for instance after a time-out over TCP."""
        bus = self._bus
        try:
            bus.connect()
        except (OSError, ValueError) as error:
            bus.drop()
            raise cannot_open(bus.place, error, is_serial=bus.is_serial, ever_open=ever_open) from None

    def _unheard(self) -> ModbusFault:
        """Return the fault of a request that got no answer, or none that could be understood."""
        came = self._bus.heard
        self._doubt()
        if not came:
            return ModbusFault(NO_ANSWER, f"{self._who()} did not answer within {self._bus.timeout_s:g} s")
        sentence = f"{self._who()}: what came is no whole answer (wrong checksum or unit, stray or missing bytes)"
        return ModbusFault(WRONG_ANSWER, sentence, came=came)

    def _check(self, reply: ModbusPDU, table: RegisterTable, address: int, count: int) -> None:
        asked = f"{self._who()}, {_named(table, address, count)}"
        function = reply.function_code & 0x7F  # the top bit says that it is an exception
        # A refusal answers the question: the line is in order. Anything else that does not fit puts it in doubt.
        if function == FUNCTIONS[table] and reply.isError():
            code = reply.exception_code
            words = EXCEPTIONS.get(code, "a code that the standard does not know")
            raise ModbusFault(EXCEPTION, f"{asked}: the device refused with exception {code}, {words}", code=code)
        if function != FUNCTIONS[table] or len(reply.registers) != count:
            came = self._bus.heard
            self._doubt()
            got = f"{len(reply.registers)} registers by function {function}"
            sentence = f"{asked}: asked for {count} by function {FUNCTIONS[table]}, got {got}"
            raise ModbusFault(WRONG_ANSWER, sentence, came=came)

    def _lost(self) -> SourceLost:
        kind, what = ("port gone", "port") if self._bus.is_serial else ("connection lost", "connection")
        return SourceLost(kind, f"{self.place}: the {what} is gone; it is tried again")

    def _doubt(self) -> None:
        """Make sure that no late answer can be taken for that to the next question."""
        if self._bus.is_serial:
            self._in_doubt = True
            self._bus.keep_silent(self._bus.timeout_s)
        else:
            self._answered_here = False
            self._bus.drop()

    def _who(self) -> str:
        return f"{self.place}, unit {self.unit}"


def _named(table: RegisterTable, address: int, count: int) -> str:
    """Return registers in words."""
    which = f"registers {address} to {address + count - 1}" if count > 1 else f"register {address}"
    return f"{table} {which} (counted from 0)"


def modbus_line(address: Address, part: LinePart, clock: Clock, *, unit: int | None = None) -> ModbusLine:
    """Return a line to a unit, that of the address if none is named, over TCP or a serial port; opens nothing yet."""
    settings = line_settings(address, part)
    return ModbusLine(bus_of(address, settings, clock), settings.unit if unit is None else unit)
