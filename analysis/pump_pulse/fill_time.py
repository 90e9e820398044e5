"""How long a pump takes to fill its tank from cut-in to cut-out when nothing is drawn: by its shortest runs.

A run ends when the tank is full, so what is drawn meanwhile makes it longer and nothing makes it shorter. A pump starts
while water is drawn, and at which point of a draw it does is chance: what is drawn after the start is anything from
nought up, and the runs come down to the time of filling evenly. A draw that goes on in all runs alike (a leak, a hose,
a drip line) lengthens all of them; the rests then say by how much: with a tank of D and a pump of flow Q a run takes
D / (Q - use) and a rest D / use, so that run x rest / (run + rest) is D / Q, whatever the use, as long as it is steady.
"""

from __future__ import annotations

from math import inf
from typing import Final

import numpy as np

from ..health.draw import OWN_DRAW
from ..health.finding import Rule
from ..health.runs import Runs
from ..not_known import Missing
from ..readings.chunk import BoolArray, FloatArray
from ..stats.interval95 import Within
from ..stats.lower_edge import FEWEST_AT_EDGE, MOST_AT_EDGE, lower_edge

#: Only the newest runs count, so that a month's first week does not stand for its last. [1]
NEWEST_RUNS: Final = 120
#: Where this share of the cycles, and so many, come to the same time to within a twentieth, they were steady use: tried
#: on simulated days of households, hoses, drip lines and leaks. [1]
STEADY_SHARE: Final = 0.25
LEAST_STEADY: Final = 5
STEADY_ALIKE: Final = 0.05
#: An interval whose end is so many times its beginning tells nobody anything: common practice, no source. [1]
WIDEST: Final = 2.5
_WHAT: Final = "flow of the pump by its runs"


def fill_time(runs: Runs, which: BoolArray | None = None) -> Within | Missing:
    """Return how long the tank takes from cut-in to cut-out with nothing drawn, with its 95 % interval. [s]

    Parameters
    ----------
    runs : Runs
        Of the pump on that tank.
    which : array of bool, optional
        Those of a day; by default the newest `NEWEST_RUNS`.
    """
    if runs.cycles.varies:
        return Missing(
            _WHAT, (), "it runs at several speeds or by a drive, as long as water is asked for, whatever the tank holds"
        )
    if (cannot := runs.cannot_tell(Rule(_WHAT), least=FEWEST_AT_EDGE)) is not None:
        return Missing(_WHAT, (), cannot.remark)
    fit = np.flatnonzero(_as_usual(runs) if which is None else _as_usual(runs) & which)[-NEWEST_RUNS:]
    if len(fit) < FEWEST_AT_EDGE:
        return Missing(_WHAT, (), f"{len(fit)} whole runs are too few for it; at least {FEWEST_AT_EDGE} are needed")
    run_s, off_s = runs.run_s[fit], _edges_off_s(runs)[fit]
    edge = lower_edge(run_s, off_s)
    low, likely = min(edge.low, _if_drawn_all_along(run_s, _longer_rest_s(runs)[fit])), edge.value
    steady = _steady(run_s, runs.rest_s[fit])
    # No use makes runs shorter than the tank: what the rests say counts only below that.
    if steady is not None and steady[1] < likely:
        low, likely = min(low, steady[0] - float(np.median(off_s))), steady[1]
    low = max(min(low, likely), 0.0)
    if edge.high > WIDEST * low:
        return Missing(_WHAT, (), "water was drawn in most runs, and the shortest are too few and too unlike to tell")
    return Within(likely, low, edge.high)


def _as_usual(runs: Runs) -> BoolArray:
    """Return which runs are whole and draw as the pump does: not dry, nor another load's."""
    draw = runs.of(f"run_{runs.draw_unit}")
    known = np.isfinite(draw)
    usual = float(np.median(draw[known])) if known.any() else 0.0
    # A run too short for its draw to be told is no reason to leave it out.
    alike = ~known | (np.abs(draw - usual) <= OWN_DRAW * usual)
    return np.asarray(runs.whole & alike & ~runs.less)


def _edges_off_s(runs: Runs) -> FloatArray:
    """Return how far the length of each run may be off by the spacing of the readings. [s]"""
    off = np.nan_to_num(runs.of("start_within_s")) + np.nan_to_num(runs.of("stop_within_s"))
    return np.asarray(np.where(off > 0, off, runs.usual_interval_s or 0.0))


def _longer_rest_s(runs: Runs) -> FloatArray:
    """Return the longer of the rests before and after each run; NaN where neither is known. [s]"""
    after = np.append(runs.rest_s[1:], np.nan)
    return np.asarray(np.fmax(runs.rest_s, after))


def _if_drawn_all_along(run_s: FloatArray, rest_s: FloatArray) -> float:
    """Return the time of filling if as much was drawn in the short runs as in the quieter rest beside them. [s]"""
    lowest = np.argsort(run_s, kind="stable")[:MOST_AT_EDGE]
    run, rest = run_s[lowest], rest_s[lowest]
    known = np.isfinite(rest) & (rest > 0)
    if not known.any():
        return inf  # nothing says how much it was, and no end comes of it
    return float(np.median((run * rest / (run + rest))[known]))


def _steady(run_s: FloatArray, rest_s: FloatArray) -> tuple[float, float] | None:
    """Return the shortest and the middle time of filling by cycles of steady use; None without such. [s]

    `rest_s` are the rests before the runs.
    """
    known = np.isfinite(rest_s) & (rest_s > 0)
    fills = np.sort((run_s * rest_s / (run_s + rest_s))[known])
    many = max(LEAST_STEADY, int(np.ceil(STEADY_SHARE * len(fills))))
    if len(fills) < many:
        return None
    spreads = fills[many - 1 :] / fills[: len(fills) - many + 1] - 1
    # Where most lie closest together: other cycles scatter, those of steady use are all alike.
    first = int(np.argmin(spreads))
    if spreads[first] > STEADY_ALIKE:
        return None
    alike = fills[first : first + many]
    return float(alike[0]), float(np.median(alike))
