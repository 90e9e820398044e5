"""Whether a load runs at this moment: the newest reading, held against the last level that was found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..cycles.never_back import STANDS_BY

if TYPE_CHECKING:
    from ..cycles.cycle import Cycle, Cycles
    from ..signal_levels.level_record import Stair

#: Of what a load draws this share tells its runs from its rests; what is beyond the second is its start, or another
#: load: common practice, no source. [1]
_LEAST, _MOST = 0.5, 1.5


def running_now(cycles: Cycles, reading: float) -> bool | None:
    """Tell whether the load runs; None where that is not known yet.

    A level is one only when it has held for a second and more, so runs are known some time after they began or ended.
    The newest reading is ahead of them: it tells a start or a stop by how far it is from the last level.

    Parameters
    ----------
    cycles : Cycles
        What was found so far, by readings up to this one or somewhat before it.
    reading : float
        The newest one. [unit of ``cycles.signal``]
    """
    if not len(cycles.stairs):
        return None
    level, draws = cycles.stairs[-1], _draws(cycles)
    runs = _runs_at(level, cycles, draws)
    change = reading - level.last
    if runs is None or draws is None:
        # Of a load without any run so far it is only known that nothing has happened. Of few readings, and a step
        # among them, everything seems noise.
        return runs if abs(change) <= min(level.least, STANDS_BY[cycles.signal]) else None
    least, most = draws
    if runs:
        return change > -_LEAST * least
    return (True if change < _MOST * most else None) if change >= _LEAST * least else False


def _draws(cycles: Cycles) -> tuple[float, float] | None:
    """Return the least and the most that the load draws once it has settled; None before any of its runs. [unit]"""
    if cycles.speeds:
        each = [speed.draw_A if cycles.signal == "current_A" else speed.draw_W for speed in cycles.speeds]
        known = [draw for draw in each if draw is not None]
        return (min(known), max(known)) if known else None
    settled = (_of(cycles, cycle.run_A, cycle.run_W) for cycle in reversed(cycles.cycles))
    draw = next((draw for draw in settled if draw is not None), cycles.expected)
    if draw is None and cycles.on_since_first:
        draw = cycles.stairs[-1].last
    return None if draw is None else (draw, draw)


def _of(cycles: Cycles, amps: float | None, watts: float | None) -> float | None:
    return amps if cycles.signal == "current_A" else watts


def _runs_at(level: Stair, cycles: Cycles, draws: tuple[float, float] | None) -> bool | None:
    """Tell whether the load ran at the last level that was found."""
    if not cycles.cycles:
        return cycles.on_since_first
    newest = cycles.cycles[-1]
    if not _is_gap_since(newest, cycles):
        return newest.stop_us is None
    # It may have started or stopped where nothing was read: then only how high the level stands can tell.
    base = _of(cycles, newest.base_A, newest.base_W)
    return None if base is None or draws is None else level.last - base > _LEAST * draws[0]


def _is_gap_since(newest: Cycle, cycles: Cycles) -> bool:
    """Tell whether readings were missing since the newest run began, or since it ended."""
    since_us = newest.start_us if newest.stop_us is None else newest.stop_us
    for stair in reversed(cycles.stairs):
        if stair.start_us <= since_us:
            break
        if stair.after_gap:
            return True
    return False
