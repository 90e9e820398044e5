"""Addresses of live sources: ``serial:PORT?baud=19200``, ``modbus-tcp:HOST:PORT?unit=1``, ``hand:``."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import parse_qsl

from shuntbook.ingest.errors import InputError

#: Kind of source, and the module and name that make one. Nothing is imported until a source of the kind is asked for.
KINDS = {
    "serial": "live.serial_lines:SerialLines",
    "modbus-tcp": "modbus.registers:over_tcp",
    "modbus-rtu": "modbus.registers:over_rtu",
    "sunspec-tcp": "modbus.sunspec:over_tcp",
    "sunspec-rtu": "modbus.sunspec:over_rtu",
    "hand": "live.hand:HandReadings",
    "replay": "live.replay:Replay",
}


@dataclass(frozen=True)
class Address:
    """A source's kind, place and settings.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    place : str
        Port, host and port, or file.
    settings : dict of str to str
        What follows the question mark.
    text : str
        As it was written.
    """

    kind: str
    place: str
    settings: dict[str, str]
    text: str

    def only(self, *known: str) -> None:
        """Refuse settings that are none of `known`.

        Raises
        ------
        InputError
            Names the first one.
        """
        for name in self.settings:
            if name not in known:
                there = f"its settings are {', '.join(known)}" if known else "it has no settings"
                raise InputError(f"{self.text}: {self.kind} has no setting {name!r}; {there}")

    def whole(self, name: str, default: int, *, low: int, high: int) -> int:
        """Return a setting that is a whole number between `low` and `high`.

        Raises
        ------
        InputError
            If it is none.
        """
        text = self.settings.get(name)
        if text is None:
            return default
        if not text.lstrip("-").isdigit() or not low <= int(text) <= high:
            raise InputError(f"{self.text}: {name} must be a whole number from {low} to {high}, not {text!r}")
        return int(text)

    def number(self, name: str, default: float) -> float:
        """Return a setting that is a number above zero.

        Raises
        ------
        InputError
            If it is none.
        """
        text = self.settings.get(name)
        try:
            value = default if text is None else float(text)
        except ValueError:
            value = -1.0
        if not 0 < value < float("inf"):
            raise InputError(f"{self.text}: {name} must be a number above 0, not {text!r}")
        return value


def parse_address(text: str) -> Address:
    """Return the parts of an address.

    Raises
    ------
    InputError
        If its kind is not known or its settings are not ``name=value``.
    """
    kind, colon, rest = text.partition(":")
    if not colon or kind not in KINDS:
        known = ", ".join(f"{name}:" for name in KINDS)
        raise InputError(f"{text!r} is no live source; a source begins with one of {known}")
    place, _, query = rest.partition("?")
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=bool(query))
    except ValueError:
        raise InputError(f"{text}: what follows the question mark must read name=value, joined by &") from None
    if not place and kind != "hand":
        raise InputError(f"{text}: says no port, host or file after {kind}:")
    return Address(kind, place, dict(pairs), text)
