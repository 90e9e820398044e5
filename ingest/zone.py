"""Local clock times to UTC: zones, hours that happen twice, hours that never happen."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

import numpy as np
from numpy.typing import NDArray

from .errors import InputError, quoted

#: In the place of a time that there is none of: no clock ever shows it.
NO_TIME = int(np.iinfo(np.int64).min)
#: A row may come late by so much without a clock having been set: common practice, no source.
JITTER_US = 60_000_000
_QUARTER_US = 900_000_000
#: Files beside those of the zones: what this machine is set to, and clocks that count leap seconds.
_OF_THE_MACHINE = re.compile(r"(localtime|posixrules|Factory)$|right/")
#: What a zone's name begins with where it is called after a place; other names are old ones of the same zones.
_PLACES = re.compile(r"(Africa|America|Antarctica|Arctic|Asia|Atlantic|Australia|Europe|Indian|Pacific)/|UTC$")
_EPOCH = datetime(1970, 1, 1)


def zone_named(name: str, *, what: str) -> ZoneInfo:
    """Return a zone by its IANA name; `what` names the option or key in the error.

    Raises
    ------
    InputError
        If there is no such zone.
    """
    try:
        if _OF_THE_MACHINE.match(name):
            raise ZoneInfoNotFoundError
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(
            f"{what}: no time zone is called {quoted(name)}; use an IANA name such as Europe/London or UTC"
        ) from None


@cache
def zone_names() -> tuple[str, ...]:
    """Return the zones that this computer knows by a place, and UTC: those that people choose from."""
    return tuple(sorted(name for name in available_timezones() if _PLACES.match(name)))


def zone_of_computer() -> str:
    """Return the IANA name of the zone this computer is set to."""
    import tzlocal

    try:
        return str(tzlocal.get_localzone_name() or "UTC")
    except (LookupError, ValueError, OSError):
        return "UTC"


@dataclass
class LocalClock:
    """Turn a meter's local clock times, in the order they were written, into UTC.

    Offsets are looked up once per quarter hour: every zone's changes since 1970 fall on one. An hour that happens twice
    is resolved by order: it is the first one until the clock is seen to step back within it (by more than `JITTER_US`,
    which a row that comes late may), then the second. Where the newest row comes first, it is the second until the
    clock steps forward. A time that never happens has no UTC and comes back as `NO_TIME`.

    Attributes
    ----------
    newest_first : bool
        Whether the rows run backwards.
    ambiguous : int
        Rows that stood in an hour that happens twice.
    """

    zone: ZoneInfo
    newest_first: bool = False
    ambiguous: int = 0
    _turned: bool = False
    _last_us: int | None = None
    _cache: dict[int, tuple[int, int, bool]] = field(default_factory=dict)

    def to_utc(self, local_us: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return UTC instants; shape (n,), both in microseconds since 1970-01-01 00:00 [us]."""
        if not len(local_us):
            return local_us
        quarters = local_us // _QUARTER_US
        # Rows come mostly in order, so that a quarter hour is a stretch of them: few are to be sorted.
        begins = np.flatnonzero(np.diff(quarters, prepend=quarters[0] - 1))
        kinds, inverse = np.unique(quarters[begins], return_inverse=True)
        lengths = np.diff(begins, append=len(quarters))
        first, second, exists = np.array([self._offsets(q) for q in kinds.tolist()], dtype=np.int64).T[:, inverse]
        offset, twice = np.repeat(first, lengths), np.repeat((exists > 0) & (first != second), lengths)
        if twice.any():
            self.ambiguous += int(twice.sum())
            offset = np.where(self._is_second(local_us, twice), np.repeat(second, lengths), offset)
        else:
            self._turned = False
        self._last_us = int(local_us[-1])
        utc_us = local_us - offset
        return utc_us if exists.all() else np.where(np.repeat(exists > 0, lengths), utc_us, NO_TIME)

    def _is_second(self, local_us: NDArray[np.int64], twice: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Mark the rows of the repeated hour that belong to its second time."""
        before = np.concatenate([[local_us[0] if self._last_us is None else self._last_us], local_us[:-1]])
        back = local_us - before if self.newest_first else before - local_us
        turned = twice & (back > JITTER_US)
        # the state changes at a step back (to turned) and outside the repeated hour (to not turned): last change wins
        change = np.where(turned, 1, np.where(twice, -1, 0))
        at = np.maximum.accumulate(np.where(change >= 0, np.arange(len(change)), -1))
        state = np.where(at >= 0, change[np.maximum(at, 0)], int(self._turned)).astype(bool)
        self._turned = bool(state[-1] and twice[-1])
        return twice & (state ^ self.newest_first)

    def _offsets(self, quarter: int) -> tuple[int, int, bool]:
        """Return the UTC offsets of a local quarter hour's first and second occurrence, and whether it exists [us]."""
        if quarter not in self._cache:
            try:
                local = _EPOCH + timedelta(microseconds=quarter * _QUARTER_US)
                early, late = (local.replace(tzinfo=self.zone, fold=fold) for fold in (0, 1))
                offsets = [round((early.utcoffset() or timedelta()).total_seconds() * 1e6)]
                offsets += [round((late.utcoffset() or timedelta()).total_seconds() * 1e6)]
                # An hour that the clocks skip does not come back as itself from UTC.
                back = early.astimezone(UTC).astimezone(self.zone).replace(tzinfo=None)
                self._cache[quarter] = (offsets[0], offsets[1], back == local)
            except (OverflowError, ValueError):
                self._cache[quarter] = (0, 0, False)
        return self._cache[quarter]
