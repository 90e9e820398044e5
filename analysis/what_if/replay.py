"""The runs of a log with another tank: the water that was drawn then, drawn again.

The log's own runs and rests say when water was drawn: a rest drains the tank from full to cut-in, whatever its size;
a run fills it again and gives what is drawn meanwhile. So counted in seconds of the pump, no flow need be known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..readings.chunk import FloatArray

#: Runs this short beside the others are those in which hardly anything was drawn.
_SHORTEST: Final = 0.05
#: So many cycles seem to come of a smaller tank than there is.
_STEADY: Final = 0.25
#: What is left in a tank is nothing below this share of it: rounding.
_NOTHING: Final = 1e-9


@dataclass(frozen=True)
class Replayed:
    """When runs began and how long they lasted, in seconds from the beginning of the first rest."""

    starts_s: FloatArray
    runs_s: FloatArray


def tank_s(off_s: FloatArray, run_s: FloatArray) -> float:
    """Return what the tank gives from full to cut-in, as the time the pump takes for it when nothing is drawn. [s]

    At one steady draw that is run x rest / (run + rest), whatever the draw; and no run is shorter than it.
    """
    # A tap that is closed for part of a rest makes the first of these larger, which many are and few are smaller.
    steady = float(np.quantile(off_s * run_s / (off_s + run_s), _STEADY))
    return min(steady, float(np.quantile(run_s, _SHORTEST)))


def replayed(off_s: FloatArray, run_s: FloatArray, times: float, *, longer: float = 1.0) -> Replayed:
    """Return the runs with a tank that gives so many times the water from full to cut-in, for the same water drawn.

    With `longer` taps are open for so many times as long, one after another where there is no time left between.
    """
    tank = tank_s(off_s, run_s)
    taken, rates = np.minimum(tank, run_s), np.maximum(run_s - tank, 0.0) / run_s
    # A tap that is open while the pump runs was opened before: as fast as in the run water was drawn at the end of the
    # rest, and nothing before that. Where that is longer than the rest it was drawn all through it.
    at_rest = np.maximum(rates, taken / off_s)
    drawn_s = taken / at_rest
    open_s = drawn_s + run_s
    closed_s = np.maximum(off_s - drawn_s - (longer - 1) * open_s, 0.0)
    lengths = np.column_stack([closed_s, longer * drawn_s, longer * run_s]).ravel()
    rates = np.column_stack([np.zeros_like(rates), at_rest, rates]).ravel()
    return _runs(lengths, rates, times * tank)


def _runs(lengths: FloatArray, rates: FloatArray, tank: float) -> Replayed:
    """Follow the level of a tank through stretches of steady draw; the pump fills it by one second a second."""
    starts, runs = [], []
    now, level, begun = 0.0, tank, None
    for length, rate in zip(lengths.tolist(), rates.tolist(), strict=True):
        until = now + length
        while True:
            change = (0.0 if begun is None else 1.0) - rate
            goal = tank if begun is not None else 0.0
            # A rest drains just what the tank gave: whether it was quite empty then must not hang on rounding.
            at_goal = abs(goal - level) <= _NOTHING * tank
            wait = 0.0 if at_goal else (goal - level) / change if abs(change) > _NOTHING else -1.0
            if wait < 0 or now + wait >= until:
                level += change * (until - now)
                now = until
                break
            now, level = now + wait, goal
            if begun is None:
                begun = now
            else:
                starts.append(begun)
                runs.append(now - begun)
                begun = None
    # A run that the end cuts fills the tank with nothing drawn any more.
    if begun is not None:
        starts.append(begun)
        runs.append(now - begun + tank - level)
    return Replayed(np.array(starts, dtype=np.float64), np.array(runs, dtype=np.float64))
