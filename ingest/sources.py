"""Make a live source from its address: the adapter's module is loaded only when it is asked for."""

from __future__ import annotations

import importlib

from .address import KINDS, parse_address
from .source import Clock, LiveSource


def make_source(
    text: str, profile: str | None, clock: Clock, *, side: str | None = None, sampling: str | None = None
) -> LiveSource:
    """Return the source that an address names; nothing is opened yet.

    Parameters
    ----------
    text : str
        The address, such as ``serial:PORT?baud=19200``.
    profile : str or None
        A profile's path or name.
    clock : Clock
        The capture's clock.
    side, sampling : str, optional
        Stated by the command line or a site file; they go before the profile's.

    Raises
    ------
    InputError
        If the address or the profile is wrong.
    """
    address = parse_address(text)
    module, name = KINDS[address.kind].split(":")
    made = None
    if profile is not None:
        from .profiles.model import load_profile

        made = load_profile(profile)
    maker = getattr(importlib.import_module(f".{module}", __package__), name)
    source: LiveSource = maker(address, made, clock)
    if side is not None:
        source.side = side
    if (
        sampling is not None and source.sampling != "held"
    ):  # what a person types stands until the next, whatever is said
        source.sampling = sampling
    return source
