"""Stamps in whole seconds or minutes that several rows share: where in it each was taken.

Where every second or minute holds as many rows, they are spread evenly. Where they are now more and now fewer, one
steady spacing may explain it all, as 45 s does where one minute holds one row and the next two: then the rows are laid
by it. Of minutes that no rhythm explains nobody knows where in them their rows belong; where it matters, that is asked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from .log import level_of
from .stored import parts_of, steps_of

SECOND_US = 1_000_000
MINUTE_US = 60 * SECOND_US
#: So many rows show a rhythm, from which none strays farther than this share of the grain; where fewer of the stamps
#: have several rows, these were written twice. Common practice, no source, as all below.
_FEWEST, _STRAYS, _OFTEN = 20, 0.1, 0.05
#: A count of rows that so many of the stamps have is the usual one; what is unsure of the rest matters where it moves
#: what flows by more than the second share, in 95 of 100 cases. [1]
_USUAL, _MATTERS = 0.9, 1e-3


@dataclass(frozen=True)
class LaidRows:
    """Instants of rows that shared stamps [us], and which grain these had: 0 where they are as they were. [us]"""

    time_us: NDArray[np.int64]
    grain_us: int


def lay(time_us: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]]) -> LaidRows:
    """Lay rows, in order of time, within the seconds or minutes that their stamps name.

    Raises
    ------
    InputError
        If minutes hold now more and now fewer rows without a rhythm, and it matters for what flowed.
    """
    # A minute before a second: stamps in whole minutes are whole seconds, too.
    grain_us = next((g for g in (MINUTE_US, SECOND_US) if not _any_between(time_us, g)), 0)
    if len(time_us) < 4 or not grain_us:
        return LaidRows(time_us, 0)
    several, stamps = _shared(time_us)
    if several / stamps < _OFTEN:
        return LaidRows(time_us, 0)
    # Only where many rows share their stamps are all looked at at once.
    counts = np.unique(time_us, return_counts=True)[1]
    steady = len(counts) > 1 and bool((counts > 1).mean() >= 0.8)
    if steady and (grain_us == SECOND_US or len(set(counts[1:-1].tolist())) == 1):
        return LaidRows(_spread(time_us, grain_us), grain_us)
    if (laid_us := _by_rhythm(time_us, grain_us)) is not None:
        return LaidRows(laid_us, grain_us)
    if grain_us == MINUTE_US:
        _refuse_uneven(counts, quantities)
    return LaidRows(_spread(time_us, grain_us), grain_us) if steady else LaidRows(time_us, 0)


def _any_between(time_us: NDArray[np.int64], grain_us: int) -> bool:
    """Tell whether an instant lies between two whole seconds or minutes."""
    return any((part % grain_us).any() for part in parts_of(time_us))


def _shared(time_us: NDArray[np.int64]) -> tuple[int, int]:
    """Return how many stamps several rows share, and how many stamps there are."""
    several, stamps, alone = 0, 1, True
    for _, steps in steps_of(time_us):
        same = steps == 0
        several += int(np.count_nonzero(same & np.append(alone, ~same[:-1])))
        stamps += int(np.count_nonzero(~same))
        alone = bool(~same[-1])
    return several, stamps


def _spread(time_us: NDArray[np.int64], grain_us: int) -> NDArray[np.int64]:
    """Spread the rows of each stamp evenly over `grain_us`; a first and last not full keep the usual spacing."""
    _, start, inverse, counts = np.unique(time_us, return_index=True, return_inverse=True, return_counts=True)
    # The rhythm is that of most stamps. A log that begins or ends within one has fewer rows there, not slower ones.
    usual = int(np.bincount(counts).argmax())
    room = counts.copy()
    room[[0, -1]] = np.maximum(counts[[0, -1]], usual)
    place = np.arange(len(time_us)) - start[inverse]
    late = np.zeros(len(counts), dtype=np.int64)
    late[0] = room[0] - counts[0]  # a log that begins within a second has its last rows
    return time_us + (place + late[inverse]) * grain_us // room[inverse]


def _by_rhythm(time_us: NDArray[np.int64], grain_us: int) -> NDArray[np.int64] | None:
    """Return instants at one spacing, each within its second or minute; None where no spacing does that. [us]"""
    if len(time_us) < _FEWEST:
        return None
    first_us, steps = time_us[0], np.diff(time_us)
    # No rhythm with several rows a stamp leaves one out; behind a pause it begins anew.
    begins = np.append(0, np.flatnonzero(steps > grain_us) + 1)
    on_end = steps[steps <= grain_us]
    x, place = (time_us - first_us).astype(np.float64), np.arange(len(time_us))
    low, high = 0.9 * float(on_end.mean()), 1.1 * float(on_end.mean())
    # How much room is left is concave in the spacing: thirds lead to its summit.
    for _ in range(80):
        one, other = low + (high - low) / 3, high - (high - low) / 3
        if _room(x, place, begins, one, grain_us).min() < _room(x, place, begins, other, grain_us).min():
            low = one
        else:
            high = other
    spacing = (low + high) / 2
    room = _room(x, place, begins, spacing, grain_us)
    if room.min() < -_STRAYS * grain_us:
        return None
    latest = np.minimum.reduceat(x + grain_us - spacing * place, begins)
    middle = np.repeat(latest - room / 2, np.diff(np.append(begins, len(x))))
    laid_us = np.rint(spacing * place + middle).astype(np.int64) + first_us
    return laid_us if (np.diff(laid_us) > 0).all() else None


def _room(
    x: NDArray[np.float64], place: NDArray[np.int64], begins: NDArray[np.int64], spacing: float, grain_us: int
) -> NDArray[np.float64]:
    """Return for each stretch how far it could be moved with all its rows within their stamps; below 0: not at all."""
    ahead = x - spacing * place
    return np.asarray(np.minimum.reduceat(ahead, begins) + grain_us - np.maximum.reduceat(ahead, begins))


def _refuse_uneven(counts: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]]) -> None:
    x = level_of(quantities)
    if x is None or len(x) < _FEWEST:
        return
    usual = np.bincount(counts).argmax()
    odd = counts != usual if (counts == usual).mean() >= _USUAL else np.ones(len(counts), dtype=np.bool_)
    odd[[0, -1]] = False
    # A row may lie anywhere in its part of the minute; what flows hangs on it by the step from its neighbour before to
    # the one behind.
    sigma_s = np.repeat(np.where(odd, 60 / counts / np.sqrt(12), 0.0), counts)
    x = np.nan_to_num(x)
    unsure = 2 * float(np.sqrt(np.square(sigma_s[1:-1] * (x[2:] - x[:-2]) / 2).sum()))
    seconds = np.repeat(60 / counts, counts)
    flow = max(float((np.maximum(way * x, 0) * seconds).sum()) for way in (1, -1))
    if unsure > _MATTERS * flow:
        share = 100 * unsure / max(flow, 1e-9)
        raise InputError(
            f"the times have no seconds, and a minute holds now {counts.min()} and now {counts.max()} rows: where in "
            f"it each was taken nobody knows, which moves what flowed by {share:.2g} %; export it with seconds (a "
            "spreadsheet leaves them out where its cells do not show them)"
        )
