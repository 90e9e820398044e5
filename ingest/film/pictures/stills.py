"""A folder of stills: which are in it, in which order, and when each was taken."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from itertools import groupby, pairwise
from pathlib import Path
from statistics import median_low
from typing import Final, NamedTuple

import numpy as np

from ...errors import InputError
from ...zone import NO_TIME, LocalClock, zone_named
from .when_taken import time_in_file, time_in_name

#: Endings of pictures.
STILLS: Final = (".jpg", ".jpeg", ".png", ".bmp", ".tif", ".tiff", ".webp")
_SECOND_US: Final = 1_000_000
_BEGINNING: Final = datetime(1970, 1, 1)
_NUMBER: Final = re.compile(r"(\d+)")


class Stills(NamedTuple):
    """Stills in the order in which they were taken, and how long after the first each was. [s]

    ``start_us`` is when the first was taken, UTC since 1970 [us], and ``whose`` says who tells it: both only where the
    stills tell it themselves. ``by_zone`` says whether that was by a local clock.
    """

    files: Sequence[Path]
    times_s: Sequence[float]
    start_us: int | None = None
    whose: str = ""
    by_zone: bool = False

    @property
    def apart_s(self) -> float:
        """How far apart they are usually; as they say nothing else, a second. [s]"""
        return median_low([b - a for a, b in pairwise(self.times_s)]) if len(self.files) > 1 else 1.0


def stills_in(folder: Path) -> list[Path]:
    """Return a folder's stills in the order of their names, in which 9 stands before 10."""
    return sorted((file for file in folder.iterdir() if file.suffix.lower() in STILLS), key=_by_number)


def _by_number(file: Path) -> list[tuple[int, str]]:
    parts = _NUMBER.split(file.name.lower())
    return [(int(part), part) if k % 2 else (0, part) for k, part in enumerate(parts)]


def evenly(files: Sequence[Path], apart_s: float) -> Stills:
    """Return stills that were taken evenly apart. [s]"""
    return Stills(files, [k * apart_s for k in range(len(files))])


def by_their_times(files: Sequence[Path], zone: str, name: str) -> Stills:
    """Return stills by the times that they tell themselves: all of them as cameras write them, or all in their names.

    Those without an offset are by the clocks of a zone.

    Raises
    ------
    InputError
        If one tells none.
    """
    ways: tuple[tuple[str, Callable[[Path], datetime | None]], ...] = (
        ("the clock of the stills' camera", time_in_file),
        ("the names of the stills", lambda file: time_in_name(file.stem)),
    )
    first_without: list[str] = []
    for whose, time_of in ways:
        taken = _taken(files, time_of)
        if isinstance(taken, Path):
            first_without.append(taken.name)
            continue
        utc_us = _utc_us(taken, zone, name)
        order = sorted(range(len(files)), key=lambda k: utc_us[k])
        files, utc_us = [files[k] for k in order], [utc_us[k] for k in order]
        times_s = list(_apart(utc_us))
        return Stills(files, times_s, utc_us[0], whose, by_zone=any(one.tzinfo is None for one in taken))
    raise InputError(
        f"{name}: its stills do not all say when they were taken ({first_without[0]} holds no time of its camera, "
        f"{first_without[1]} none in its name, such as 20261105_143000); add --every, such as --every 5s, or take out "
        "those that do not belong to them"
    )


def _taken(files: Sequence[Path], time_of: Callable[[Path], datetime | None]) -> list[datetime] | Path:
    """Return when each was taken, or the first that does not say."""
    taken = []
    for file in files:
        if (time := time_of(file)) is None:
            return file
        taken.append(time)
    return taken


def _utc_us(taken: Sequence[datetime], zone: str, name: str) -> list[int]:
    clock = LocalClock(zone_named(zone, what="--zone"))
    utc_us = []
    for time in taken:
        local = time if time.tzinfo is None else time.astimezone(UTC).replace(tzinfo=None)
        since = local - _BEGINNING
        us = (since.days * 86_400 + since.seconds) * _SECOND_US + since.microseconds
        if time.tzinfo is None:
            us = int(clock.to_utc(np.array([us], dtype=np.int64))[0])
        if us == NO_TIME:
            raise InputError(
                f"{name}: a still was taken at {local:%Y-%m-%d %H:%M:%S}, which never was in {zone}, since clocks were "
                "put forward then; name the zone of the camera's clock with --zone"
            )
        utc_us.append(us)
    return utc_us


def _apart(utc_us: Sequence[int]) -> Iterator[float]:
    """Yield how long after the first each was taken; those of one moment stand evenly in its second. [s]"""
    for us, same in groupby(utc_us):
        count = len(list(same))
        for k in range(count):
            yield (us - utc_us[0]) / _SECOND_US + k / count
