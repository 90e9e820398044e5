"""Lengths of time as a person writes them: ``150s``, ``15m``, ``1h30m``, ``0:02:30``."""

from __future__ import annotations

import re

from .errors import InputError

_SECONDS = {"ms": 0.001, "s": 1.0, "sec": 1.0, "m": 60.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
_PART = re.compile(r"(\d+(?:\.\d+)?)\s*([a-z]*)\s*")
_CLOCK = re.compile(r"(?:(\d+):)?(\d+):(\d+(?:\.\d+)?)")


def seconds(text: str, *, what: str) -> float:
    """Return a length of time [s].

    Parameters
    ----------
    text : str
        A number of seconds, or numbers with ``ms``, ``s``, ``m``, ``h`` or ``d``, or ``h:m:s``.
    what : str
        The option or key, for the error.

    Raises
    ------
    InputError
        If the text is no length of time above zero.
    """
    plain = text.strip().lower()
    if clock := _CLOCK.fullmatch(plain):
        hours, minutes, rest = clock.groups()
        total = int(hours or 0) * 3600 + int(minutes) * 60 + float(rest)
    else:
        total, at = 0.0, 0
        while at < len(plain) and (part := _PART.match(plain, at)):
            unit = part[2] or "s"
            if unit not in _SECONDS:
                break
            total, at = total + float(part[1]) * _SECONDS[unit], part.end()
        if at < len(plain):
            total = 0.0
    if total <= 0:
        raise InputError(f"{what}: {text!r} is not a length of time; write it like 150s, 15m or 1h30m")
    return total
