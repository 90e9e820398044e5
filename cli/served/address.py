"""Where a page is served: from ``[HOST:]PORT`` to a port that listens and the address people type."""

from __future__ import annotations

import re
import socket
from contextlib import suppress
from ipaddress import IPv4Address, IPv6Address, ip_address

from ...ingest.errors import InputError
from ..exit import PortFailedError

_LOOPBACK = "127.0.0.1"
_FORM = re.compile(r"(?:(?P<host>\[[^\[\]]+\]|[^\[\]:\s/]+):)?(?P<port>[0-9]{1,5})")
_HIGHEST_PORT = 65535
#: An address that is nobody's (RFC 5737): asking which way leads to it sends nothing.
_NOBODY = ("192.0.2.1", 9)


def parse_page(text: str) -> tuple[str, int]:
    """Return host and port of ``[HOST:]PORT``; without a host, this computer alone.

    `InputError` if it reads otherwise.
    """
    form = _FORM.fullmatch(text.strip())
    port = int(form["port"]) if form else _HIGHEST_PORT + 1
    if form is None or port > _HIGHEST_PORT:
        raise InputError(
            f"--page: {text!r} must read PORT or HOST:PORT with a port from 0 to {_HIGHEST_PORT}, "
            "such as 8080, 0.0.0.0:8080 or [::1]:8080"
        )
    return (form["host"] or _LOOPBACK).strip("[]"), port


def listen(host: str, port: int, *, option: str = "--page", still: str = "; nothing was captured yet") -> socket.socket:
    """Return a socket that listens there; `PortFailedError` if the port cannot be had, or no such address is ours.

    The `option` is named in what is told then, and how things `still` are.
    """
    try:
        # One address of the host: a second one might not be free, and one link is what people type.
        family, _, _, _, where = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
        return socket.create_server((str(where[0]), port), family=family, backlog=128)
    except (OSError, UnicodeError) as error:
        why = (error.strerror if isinstance(error, OSError) else None) or "no such host"
        raise PortFailedError(
            f"{option}: port {port} of {host} cannot be had ({why}); "
            f"choose another one, or {option} 0 for any that is free{still}"
        ) from None


def bound_ip(listening: socket.socket) -> IPv4Address | IPv6Address:
    """Return the address a socket is bound to."""
    return ip_address(listening.getsockname()[0].partition("%")[0])


def host_to_type(host: str, listening: socket.socket) -> str:
    """Return the host for a link: the one that was asked for, or one of this computer's where that stands for all."""
    ip = bound_ip(listening)
    shown = _own_address(ip) if ip.is_unspecified else host
    return f"[{shown}]" if ":" in shown else shown


def own_names(host: str) -> frozenset[str]:
    """Return the names by which a browser may call this computer, in small letters."""
    name = socket.gethostname().lower()
    return frozenset({host.lower(), name, f"{name}.local"}) - {""}


def _own_address(ip: IPv4Address | IPv6Address) -> str:
    """Return an address of this computer in its network, else its name."""
    # Of several addresses the one is wanted that other computers in the network reach.
    if ip.version == 4:
        with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            asking.connect(_NOBODY)
            return str(asking.getsockname()[0])
    return socket.gethostname()
