"""Serial ports: which there are, and opening one with an error that says what to do."""

from __future__ import annotations

import errno
from contextlib import suppress
from dataclasses import dataclass

import serial
from serial.tools.list_ports import comports

from ..errors import InputError
from ..profiles.serial_part import SerialPart
from .address import Address
from .source import SourceLost

#: What a port raises when it is gone. POSIX's own error for terminals, at the wrong moment, is no OSError.
GONE: tuple[type[Exception], ...] = (OSError,)
with suppress(ImportError):
    from termios import error as terminal_error

    GONE = (OSError, terminal_error)
_NOT_OPENED: tuple[type[Exception], ...] = (*GONE, ValueError)
SETTINGS = ("baud", "parity", "stop_bits", "data_bits", "timeout")


#: What to do where no port is known.
NO_PORTS = "no serial port was found; plug the meter in, and on Linux see that you may use it (group dialout)"


@dataclass(frozen=True)
class Port:
    """A serial port and what the system calls it."""

    name: str
    description: str


def list_ports() -> list[Port]:
    """Return the serial ports that the system knows, by name."""
    # pyserial has "n/a" for a port that says nothing of itself.
    ports = (Port(port.device, "" if port.description == "n/a" else port.description or "") for port in comports())
    return sorted(ports, key=lambda port: port.name)


@dataclass(frozen=True)
class PortSettings:
    """How a port is set, and how long an answer or the end of a write is waited for. [s]."""

    baud: int
    parity: str
    stop_bits: int
    data_bits: int
    timeout_s: float

    @property
    def byte_us(self) -> float:
        """How long a byte takes on the wire, its start, parity and stop bits included. [us]."""
        return 1e6 * (1 + self.data_bits + (self.parity != "none") + self.stop_bits) / self.baud


def port_settings(address: Address, part: SerialPart | None) -> PortSettings:
    """Return the settings of an address; what it does not say is the profile's. `InputError` if one is wrong."""
    address.only(*SETTINGS)
    part = part or SerialPart(layout="pairs")
    return PortSettings(
        baud=address.whole("baud", part.baud, low=50, high=10_000_000),
        parity=address.one_of("parity", part.parity, "none", "even", "odd"),
        stop_bits=address.whole("stop_bits", part.stop_bits, low=1, high=2),
        data_bits=address.whole("data_bits", part.data_bits, low=7, high=8),
        timeout_s=address.number("timeout", part.timeout_s),
    )


def open_port(name: str, settings: PortSettings, *, ever_open: bool) -> serial.Serial:
    """Open a port, such as ``COM3`` or the path of a device, for this program alone.

    `InputError` if it can never be opened; `SourceLost` if it was open before and may come back.
    """
    try:
        return serial.serial_for_url(
            name,
            baudrate=settings.baud,
            bytesize=settings.data_bits,
            parity=settings.parity[0].upper(),
            stopbits=settings.stop_bits,
            timeout=settings.timeout_s,
            write_timeout=settings.timeout_s,
            exclusive=True,  # two readers would each get half of the bytes
        )
    except _NOT_OPENED as error:
        # Pulled out and put back it may be missing, or not yet ours, for seconds: only a first failure is final.
        if ever_open:
            raise SourceLost("port gone", f"{name}: the port is gone; it is tried again") from None
        raise InputError(f"{name}: {_why_not(error)}") from None


def _why_not(error: Exception) -> str:
    number, text = getattr(error, "errno", None), str(error)
    # Windows gives no number, only the words of the exception within.
    if number in (errno.EACCES, errno.EPERM) or "PermissionError" in text:
        return (
            "may not be opened (permission denied); on Linux your user must be in the group that owns the port, often "
            "dialout, elsewhere another program may hold it; 'shuntbook ports' lists the ports there are"
        )
    if number in (errno.EBUSY, errno.EAGAIN):
        return "another program is reading this port; close it first"
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO) or "FileNotFoundError" in text:
        return "there is no such port; 'shuntbook ports' lists those there are"
    return f"cannot be opened as a serial port with these settings ({text}); 'shuntbook ports' lists those there are"
