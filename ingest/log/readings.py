"""Readings of a log as they come: instants and quantities."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Readings(NamedTuple):
    """A stretch of readings: instants [us] and quantities by name, NaN where the meter gave none."""

    time_us: NDArray[np.int64]
    quantities: dict[str, NDArray[np.float64]]
