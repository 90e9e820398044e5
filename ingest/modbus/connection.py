"""A connection to Modbus devices: a TCP socket or a serial port, which the meters on one bus share."""

from __future__ import annotations

import errno
import logging
import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace

import serial
from pymodbus import FramerType
from pymodbus.client import ModbusSerialClient, ModbusTcpClient
from pymodbus.exceptions import ConnectionException

from ..errors import InputError
from ..live.address import Address
from ..live.source import Clock, SourceLost
from ..profiles.modbus_part import LinePart

# pymodbus tells every time-out on the terminal; here they are counted and told as events.
logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)

Client = ModbusTcpClient | ModbusSerialClient
TCP_PORT = 502  # Modbus Messaging on TCP/IP Implementation Guide V1.0b, section 4.3
#: A character on the wire: start, eight bits, parity or a second stop bit, stop (Modbus over Serial Line V1.02, 2.5.1).
BITS_A_CHARACTER = 11
#: The silence that ends a frame: 3.5 characters, but never less than this (the same, 2.5.1.1). [s]
LEAST_SILENCE_S = 0.00175


@dataclass(frozen=True)
class LineSettings:
    """How a device is reached: its unit id, patience, and what the serial port needs."""

    unit: int
    timeout_s: float
    pause_s: float | None
    baud: int
    parity: str
    stop_bits: int


def is_serial(address: Address) -> bool:
    """Tell whether an address is that of a serial line (RTU) rather than a host."""
    return address.kind.endswith("rtu")


def check_settings(address: Address, *others: str) -> None:
    """Refuse settings that neither a line of this kind has, nor are among the `others`."""
    address.only("unit", "timeout", *(("baud", "parity", "stop_bits") if is_serial(address) else ()), *others)


def line_settings(address: Address, part: LinePart) -> LineSettings:
    """Return the settings of an address; what it does not say is the profile's. `InputError` if one is out of range."""
    # 0 and 248 to 255 are no devices on a serial line (Modbus over Serial Line V1.02, 2.2); over TCP they may be
    # gateways.
    low, high = (1, 247) if is_serial(address) else (0, 255)
    if not low <= part.unit <= high:
        raise InputError(f"{address.text}: unit must be from {low} to {high}, not {part.unit}")
    return LineSettings(
        unit=address.whole("unit", part.unit, low=low, high=high),
        timeout_s=address.number("timeout", part.timeout_s),
        pause_s=part.pause_s,
        baud=address.whole("baud", part.baud, low=50, high=10_000_000),
        parity=address.one_of("parity", part.parity, "none", "even", "odd"),
        stop_bits=address.whole("stop_bits", part.stop_bits, low=1, high=2),
    )


class _Tcp(ModbusTcpClient):
    """pymodbus's client, but a connection that fails says why."""

    def connect(self) -> bool:
        if self.socket is None:
            place = (self.comm_params.host, self.comm_params.port)
            self.socket = socket.create_connection(place, timeout=self.comm_params.timeout_connect)
        return True


class _Rtu(ModbusSerialClient):
    """pymodbus's client, but a port that fails says why, and waiting follows no clock that can be set."""

    def connect(self) -> bool:
        if self.socket is None:
            how = self.comm_params
            self.socket = serial.serial_for_url(
                how.host,
                baudrate=how.baudrate,
                parity=how.parity,
                stopbits=how.stopbits,
                timeout=how.timeout_connect,
                write_timeout=how.timeout_connect,
                exclusive=True,
            )
        return True

    def recv(self, size: int | None) -> bytes:  # noqa: ARG002 - what is there is taken; pymodbus puts frames together
        if self.socket is None:
            raise ConnectionException("the port is closed")
        try:
            # At least one byte is waited for, on the port's own time-out; pymodbus would look at a clock that can be
            # set.
            return bytes(self.socket.read(max(1, self.socket.in_waiting)))
        except OSError:
            self.close()  # type: ignore[no-untyped-call]
            raise ConnectionException("the port is gone") from None


class Bus:
    """One connection and the rules of taking turns on it.

    `make` makes pymodbus's client, called with what is to be told the bytes that go out and come in. An answer is
    waited for `timeout_s`; before each request it is silent for `pause_s`. Where `is_serial` answers carry no number,
    so that a late one must be waited for.
    """

    def __init__(
        self,
        place: str,
        make: Callable[[Callable[[bool, bytes], bytes]], Client],
        clock: Clock,
        *,
        timeout_s: float,
        pause_s: float,
        is_serial: bool,
    ) -> None:
        self.place, self.clock, self.timeout_s, self.is_serial = place, clock, timeout_s, is_serial
        self.lock = threading.RLock()
        self.openers: set[object] = set()
        self.heard = b""
        self.client = make(self._overhear)
        self._pause_us = round(pause_s * 1e6)
        self._silent_until_us = 0

    def _overhear(self, sending: bool, data: bytes) -> bytes:
        self.heard = b"" if sending else data
        return data

    def connect(self) -> None:
        """Open the port or connection if it is not open; `OSError` or `ValueError` if that fails."""
        self.client.connect()

    def keep_silent(self, length_s: float) -> None:
        """Let nothing be sent for a while."""
        self._silent_until_us = self.clock.now_us() + round(length_s * 1e6)

    def await_turn(self) -> None:
        """Wait until something may be sent; what came unasked is thrown away by pymodbus before it sends."""
        rest_us = self._silent_until_us - self.clock.now_us()
        if rest_us > 0:
            self.clock.sleep(rest_us / 1e6)

    def exchanged(self) -> None:
        """Begin the silence that follows every exchange."""
        self._silent_until_us = max(self._silent_until_us, self.clock.now_us() + self._pause_us)

    def drop(self) -> None:
        """Close the connection; it is opened again when next needed."""
        with suppress(OSError):
            self.client.close()  # type: ignore[no-untyped-call]


_PORTS: dict[str, tuple[LineSettings, Bus]] = {}
_PORTS_LOCK = threading.Lock()


def bus_of(address: Address, settings: LineSettings, clock: Clock) -> Bus:
    """Return the connection to an address, which nothing opens yet; meters on the same serial port share theirs.

    `InputError` if the place is no such thing, or the port is being read with other settings.
    """
    return (_rtu_bus if is_serial(address) else _tcp_bus)(address, settings, clock)


def _tcp_bus(address: Address, settings: LineSettings, clock: Clock) -> Bus:
    host, port = _host_and_port(address)

    def make(overhear: Callable[[bool, bytes], bytes]) -> Client:
        return _Tcp(host, port=port, timeout=settings.timeout_s, retries=0, trace_packet=overhear)

    pause_s = settings.pause_s or 0.0
    return Bus(address.place, make, clock, timeout_s=settings.timeout_s, pause_s=pause_s, is_serial=False)


def _rtu_bus(address: Address, settings: LineSettings, clock: Clock) -> Bus:
    port, how = address.place, replace(settings, unit=0)
    with _PORTS_LOCK:
        earlier, bus = _PORTS.get(port, (None, None))
        if bus is not None and earlier == how and bus.clock is clock:
            return bus
        # One that nobody holds open any more is of an earlier capture in this process, and no obstacle.
        if bus is not None and bus.openers:
            raise InputError(
                f"{address.text}: another meter is being read on {port} with other settings; "
                "baud, parity, stop_bits, timeout and pause must be the same for all meters on one port"
            )
        bus = _new_rtu_bus(port, how, clock)
        _PORTS[port] = (how, bus)
        return bus


def _new_rtu_bus(port: str, how: LineSettings, clock: Clock) -> Bus:
    def make(overhear: Callable[[bool, bytes], bytes]) -> Client:
        return _Rtu(
            port,
            framer=FramerType.RTU,
            baudrate=how.baud,
            parity=how.parity[0].upper(),
            stopbits=how.stop_bits,
            timeout=how.timeout_s,
            retries=0,
            trace_packet=overhear,
        )

    # A device that hears the next question too soon takes it for the tail of the one before.
    silence_s = max(3.5 * BITS_A_CHARACTER / how.baud, LEAST_SILENCE_S)
    pause_s = max(how.pause_s or 0.0, silence_s)
    return Bus(port, make, clock, timeout_s=how.timeout_s, pause_s=pause_s, is_serial=True)


def _host_and_port(address: Address) -> tuple[str, int]:
    host, colon, port = address.place.rpartition(":")
    # "[2001:db8::1]" ends in a colon and digits that are no port.
    if not colon or address.place.endswith("]"):
        host, port = address.place, str(TCP_PORT)
    if not port.isdigit() or not 0 < int(port) < 65536 or not host:
        raise InputError(f"{address.text}: the place must be HOST or HOST:PORT, with a port from 1 to 65535")
    return host.strip("[]"), int(port)


def cannot_open(place: str, error: Exception, *, is_serial: bool, ever_open: bool) -> InputError | SourceLost:
    """Return what to raise where a port or connection does not open: whether to try again, in words."""
    number = getattr(error, "errno", None)
    text = str(error)
    # A host may be switched on later; a port that is not there at the first try is a mistake in the address.
    if not is_serial:
        return SourceLost("no connection", f"{place}: {_why_not_connected(error)}")
    if ever_open:  # plugged in again, it may for a moment not be ours yet
        return SourceLost("port gone", f"{place}: the port is gone; it is tried again ({text})")
    if number in (errno.EACCES, errno.EPERM) or "PermissionError" in text:
        return InputError(
            f"{place}: may not be opened (permission denied); on Linux your user must be in the group that owns the "
            "port, often dialout, elsewhere another program may hold it"
        )
    if number in (errno.EBUSY, errno.EAGAIN):
        return InputError(
            f"{place}: another program, or another meter with other settings, is reading this port; close it first"
        )
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO) or "FileNotFoundError" in text:
        return InputError(f"{place}: there is no such port; 'shuntbook ports' lists those there are")
    return InputError(f"{place}: cannot be opened as a serial port with these settings ({text})")


def _why_not_connected(error: Exception) -> str:
    if isinstance(error, socket.gaierror):
        return "no host of this name is known"
    if isinstance(error, TimeoutError):
        return "nothing answered at this address"
    return f"no connection ({(getattr(error, 'strerror', None) or str(error)).lower()})"
