"""Live sources by their addresses: ``serial:PORT?baud=19200``, ``modbus-tcp:HOST:PORT?unit=1``, ``hand:``."""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar
from urllib.parse import parse_qsl

from ..errors import InputError
from .source import Clock, LiveSource

if TYPE_CHECKING:
    from ..profiles.model import Profile


Default = TypeVar("Default", str, None)

#: Kind of source, and the module and name that make one. Nothing is imported until a source of the kind is asked for.
KINDS = {
    "serial": "live.serial_lines:SerialLines",
    "modbus-tcp": "modbus.registers:modbus_source",
    "modbus-rtu": "modbus.registers:modbus_source",
    "sunspec-tcp": "modbus.sunspec:sunspec_source",
    "sunspec-rtu": "modbus.sunspec:sunspec_source",
    "camera": "film.camera:CameraReadings",
    "hand": "live.hand:HandReadings",
    "replay": "live.replay:Replay",
}


@dataclass(frozen=True)
class Address:
    """A source's kind (one of `KINDS`), its place and its settings.

    The place is a port, host and port, or file; ``text`` is the whole as it was written.
    """

    kind: str
    place: str
    settings: dict[str, str]
    text: str

    def only(self, *known: str) -> None:
        """Refuse settings that are none of `known`; the first one is named."""
        for name in self.settings:
            if name not in known:
                choice = f"its settings are {', '.join(known)}" if known else "it has no settings"
                raise InputError(f"{self.text}: {self.kind} has no setting {name!r}; {choice}")

    def whole(self, name: str, default: int, *, low: int, high: int) -> int:
        """Return a setting that is a whole number from `low` to `high`; `InputError` if it is none."""
        text = self.settings.get(name)
        if text is None:
            return default
        if not text.lstrip("-").isdigit() or not low <= int(text) <= high:
            raise InputError(f"{self.text}: {name} must be a whole number from {low} to {high}, not {text!r}")
        return int(text)

    def number(self, name: str, default: float) -> float:
        """Return a setting that is a number above nought; `InputError` if it is none."""
        text = self.settings.get(name)
        try:
            value = default if text is None else float(text)
        except ValueError:
            value = -1.0  # refused below, in the words for any number that will not do
        if not 0 < value < float("inf"):
            raise InputError(f"{self.text}: {name} must be a number above 0, not {text!r}")
        return value

    def one_of(self, name: str, default: Default, *known: str) -> str | Default:
        """Return a setting that is one of `known`, two or more; `InputError` if it, or the default, is none of them."""
        text = self.settings.get(name, default)
        if text is not None and text not in known:
            choice = f"{', '.join(known[:-1])} or {known[-1]}"
            raise InputError(f"{self.text}: {name} must be {choice}, not {text!r}")
        return text


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
    # Not urlsplit: a port's path, a drive's letter or an IPv6 address in a place is no part of a URL.
    place, _, query = rest.partition("?")
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=bool(query))
    except ValueError:
        raise InputError(f"{text}: what follows the question mark must read name=value, joined by &") from None
    if not place and kind != "hand":
        raise InputError(f"{text}: says no port, host or file after {kind}:")
    return Address(kind, place, dict(pairs), text)


def make_source(
    text: str, profile: Profile | None, clock: Clock, *, side: str | None = None, sampling: str | None = None
) -> LiveSource:
    """Return the source that an address names; nothing is opened yet.

    The `profile` says how its fields or registers become quantities; `side` and `sampling`, stated by the command line
    or a site file, go before the profile's. `InputError` if the address is wrong or the profile does not fit it.
    """
    address = parse_address(text)
    module, name = KINDS[address.kind].split(":")
    maker = getattr(importlib.import_module(f"shuntbook.ingest.{module}"), name)
    source: LiveSource = maker(address, profile, clock)
    if side is not None:
        source.side = side
    if sampling is not None and source.sampling != "held":  # what a person types stands until the next
        source.sampling = sampling
    return source
