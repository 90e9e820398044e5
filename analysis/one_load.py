"""Which of the runs that a signal shows are those of one load."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .run_seen import SeenRun

#: Two draws belong to different loads if one is this many times the other.
OTHER_LOAD = 1.35
#: The load that matters has at least this share of what all runs drew.
WORTH_LOOKING = 0.2
#: A load known by its nameplate may draw this many times more or less than its plate says.
NEAR_PLATE = 2.5
#: A load cannot run twice at once: where more than this share of like runs overlap, there are two loads among them.
OVERLAPPING = 0.1

Picked = NDArray[np.int64]


def runs_of_one_load(runs: Sequence[SeenRun], expected: float | None) -> list[SeenRun]:
    """Return the runs of the expected load, or of the largest draw that matters, in order of time.

    Parameters
    ----------
    runs : sequence of SeenRun
        All runs, in order of their starts.
    expected : float or None
        The load's draw by its nameplate, in the unit of the signal.
    """
    if not runs:
        return []
    draws = np.array([max(run.draw, 1e-12) for run in runs])
    order = np.argsort(draws, kind="stable")
    likely = np.split(order, np.flatnonzero(np.diff(np.log(draws[order])) > np.log(OTHER_LOAD)) + 1)
    parts = [part for like in likely for part in _apart(runs, draws, like)]
    own = _largest(runs, draws, parts) if expected is None else _nearest(draws, parts, expected)
    return [runs[i] for i in sorted(own.tolist())]


def _apart(runs: Sequence[SeenRun], draws: NDArray[np.float64], like: Picked, times: int = 3) -> list[Picked]:
    """Split runs of like draw, in order of draw, where these differ most, as long as one would run twice at once.

    After so many `times` it is no matter of loads any more, and they stay together.
    """
    if not times or len(like) < 2 or _overlaps(runs, like) <= OVERLAPPING * len(like):
        return [like]
    at = int(np.argmax(np.diff(np.log(draws[like])))) + 1
    return [*_apart(runs, draws, like[:at], times - 1), *_apart(runs, draws, like[at:], times - 1)]


def _overlaps(runs: Sequence[SeenRun], part: Picked) -> int:
    """Count the runs that begin while another of them goes on."""
    picked = [runs[i] for i in sorted(part.tolist())]
    ends = np.maximum.accumulate([run.stop_us for run in picked])
    return int(np.sum([run.cycle.start_us for run in picked[1:]] < ends[:-1]))


def _nearest(draws: NDArray[np.float64], parts: list[Picked], expected: float) -> Picked:
    away = [abs(np.log(np.median(draws[part]) / expected)) for part in parts]
    best = int(np.argmin(away))
    return parts[best] if away[best] <= np.log(NEAR_PLATE) else np.empty(0, dtype=np.int64)


def _largest(runs: Sequence[SeenRun], draws: NDArray[np.float64], parts: list[Picked]) -> Picked:
    lengths = np.array([run.length_s for run in runs])
    drawn = np.array([float((draws[part] * lengths[part]).sum()) for part in parts])
    enough = min(WORTH_LOOKING * drawn.sum(), drawn.max())
    return parts[int(np.flatnonzero(drawn >= enough)[-1])]
