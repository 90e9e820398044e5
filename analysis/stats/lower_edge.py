"""The lowest value that scattered values can have, by the lowest of them, with its 95 % interval."""

from __future__ import annotations

from typing import Final

import numpy as np

from ..readings.chunk import FloatArray
from .interval95 import Within

#: Fewer values than this say too little of their edge: common practice, no source. [1]
FEWEST_AT_EDGE: Final = 6
#: Of more than so many values only as many of the lowest count: further up they need not lie evenly any more. [1]
MOST_AT_EDGE: Final = 8
#: This share of the values may be something else than what they should be, and lie below the edge. [1]
STRAY: Final = 0.02
#: The lowest of few is a stray where it stands as far apart from the next as half of the others reach, and this share
#: of it lower: by chance alone the first is so once in sixty times. [1]
APART: Final = 0.5
FAR_LOWER: Final = 0.7


def lower_edge(values: FloatArray, off: FloatArray) -> Within:
    """Return the edge that values come down to by chance, and do not pass; at least `FEWEST_AT_EDGE` of them.

    Near the edge they are taken to lie evenly: none is likelier than another. So where the k-th lowest is known, the
    others below it are even random numbers between the edge and it, and the lowest of k - 1 of those lies in the
    lowest share 1 - a^(1 / (k - 1)) of the way with the probability 1 - a.

    Parameters
    ----------
    values : array, shape (n,)
        What was read, each the edge and something more, none below nought, in one unit.
    off : array, shape (n,)
        How far each may be off either way, as a limit. [unit of the values]

    References
    ----------
    Robson and Whitlock, Biometrika 51 (1964) 33, for the last two values; Weissman, J. Roy. Statist. Soc. B 43 (1981),
    for the last k (both from memory).
    """
    order = np.argsort(values, kind="stable")
    order = order[_strays(values[order]) :]
    lowest = order[: min(len(order), MOST_AT_EDGE)]
    x = values[lowest]
    first, reach = float(x[0]), float(x[-1] - x[0])
    below, middle = (reach * _of_reach(share, len(x)) for share in (0.05, 0.5))
    # Whatever was drawn, the edge lies below each of the values, as far as these are known.
    high = float(np.min((values + off)[order]))
    # The lowest of several readings is low by chance: half of what it may be off stands for that.
    likely = max(min(first - middle + float(off[lowest[0]]) / 2, high), 0.0)
    return Within(likely, min(max(first - below - float(off[lowest[0]]), 0.0), likely), high)


def _of_reach(share: float, count: int) -> float:
    """Return how far the edge lies below the lowest, in reaches from the lowest to the highest of so many values."""
    part = 1 - share ** (1 / (count - 1))
    return float(part / (1 - part))


def _strays(x: FloatArray) -> int:
    """Return how many of the lowest of values in order are left out as something else."""
    many = int(STRAY * len(x))
    if many or len(x) <= FEWEST_AT_EDGE:
        return many
    rest = x[1 : MOST_AT_EDGE + 1]
    apart = x[1] - x[0] > APART * (rest[-1] - x[0]) and x[0] < FAR_LOWER * x[1]
    return int(apart)
