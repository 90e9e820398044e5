"""Rows in order of time, however many there are: sorted some at a time, then merged stretch by stretch."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from .stored import Scratch, Times, forget, slices


def rows_by_time(time_us: Times, scratch: Scratch) -> Iterator[Times]:
    """Yield the numbers of rows in order of time, some at a time, those of one instant as they were written.

    All rows of one instant come together.
    """
    runs = list(slices(len(time_us)))
    if len(runs) == 1:
        yield np.argsort(time_us, kind="stable")
        return
    ordered_us, numbers = scratch.times(len(time_us)), scratch.times(len(time_us))
    for run in runs:
        order = np.argsort(time_us[run], kind="stable")
        ordered_us[run], numbers[run] = time_us[run][order], order + run.start
        forget(time_us, ordered_us, numbers)
    for low_us, high_us in pairwise(_cuts(ordered_us, runs)):
        # What lies between two instants is of every run one piece.
        pieces = [slice(*(run.start + ordered_us[run].searchsorted((low_us, high_us)))) for run in runs]
        # Run by run, so that of one instant what was written first stays ahead.
        order = np.argsort(np.concatenate([ordered_us[piece] for piece in pieces]), kind="stable")
        yield np.concatenate([numbers[piece] for piece in pieces])[order]
        forget(ordered_us, numbers)


def _cuts(ordered_us: Times, runs: list[slice]) -> list[int]:
    """Return instants from the first row to behind the last, with about a quarter of a run's rows between two."""
    every = max((runs[0].stop - runs[0].start) // len(runs), 1)
    samples = np.sort(np.concatenate([ordered_us[run][::every] for run in runs]))
    first, last = (int(end) for end in (samples[0], max(ordered_us[run.stop - 1] for run in runs)))
    return sorted({first, *samples[:: max(len(runs) // 4, 1)].tolist(), last + 1})
