"""Make a live source from its address: the adapter's module is loaded only when it is asked for."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

from .address import KINDS, parse_address
from .source import Clock, LiveSource

if TYPE_CHECKING:
    from shuntbook.ingest.profiles.model import Profile


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
