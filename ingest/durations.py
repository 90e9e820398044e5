"""Lengths of time as a person writes them: ``150s``, ``15m``, ``1h30m``, ``0:02:30``."""

from __future__ import annotations

import re
from math import inf

from .errors import InputError

#: Three hundred years: longer than any log, and a number of microseconds that any clock can count. [s]
LONGEST_S = 1e10
_SECONDS = {"ms": 0.001, "s": 1.0, "sec": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_PART = re.compile(r"(\d+(?:\.\d+)?)\s*([a-z]+)\s*")
_CLOCK = re.compile(r"(?:(\d+):)?(\d+):(\d+(?:\.\d+)?)")


def seconds(text: str, *, what: str) -> float:
    """Return a length of time [s]: numbers each with ``ms``, ``s``, ``m``, ``h`` or ``d``, or ``h:m:s``.

    Raises
    ------
    InputError
        If the text is no length of time above zero and up to `LONGEST_S`, or a number alone, which may mean seconds as
        well as minutes; it names the option or key, `what`.
    """
    plain = text.strip().lower()
    if _NUMBER.fullmatch(plain) and 0 < float(plain) < inf:
        raise InputError(
            f"{what}: {text!r} has no unit; write {plain}s for seconds, {plain}m for minutes, {plain}h for hours"
        )
    total = _total(plain)
    if total > LONGEST_S:
        raise InputError(f"{what}: {text!r} is longer than any log, more than three hundred years; write a shorter one")
    if not total > 0:
        raise InputError(f"{what}: {text!r} is not a length of time; write it like 150s, 15m or 1h30m")
    return total


def _total(plain: str) -> float:
    """Return the seconds; 0 if they cannot be told."""
    if clock := _CLOCK.fullmatch(plain):
        hours, minutes, rest = clock.groups()
        return float(hours or 0) * 3600 + float(minutes) * 60 + float(rest)
    parts = list(_PART.finditer(plain))
    if "".join(part[0] for part in parts) != plain or any(part[2] not in _SECONDS for part in parts):
        return 0.0
    return sum(float(part[1]) * _SECONDS[part[2]] for part in parts)
