"""Steps in the current at the bank by which more, or less, comes back: those at once that stand."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from ..cycles.cycle import Cycle
from ..readings.chunk import MICROSECONDS
from ..signal_levels.level_record import Stair

#: A step is over within this, or within some readings: chargers come up in seconds (common practice, no source). [s]
_AT_ONCE_S: Final = 10.0
#: Switched on and off it steps within this; the edge of a cloud takes longer: common practice, no source. [s]
_SHARP_S: Final = 3.0
#: Between two steps of one ramp it is level for no longer than this: common practice, no source. [s]
_MOMENT_S: Final = 4.0
#: So long nothing as large goes the other way, before it and after: common practice, no source. [s]
_STANDS_S: Final = 15.0
#: The edge of a cloud lasts so long, and goes on by such a share of its largest step: common practice, no source. [s]
_MOVES_S, _MOVES = 60.0, 0.2
#: What a step up and a step down of one charger differ by at most: the bank's voltage has changed meanwhile. [1]
_ALIKE: Final = 0.045
#: A run begins above its settled draw by so much at most: common practice, no source. [1]
_OWN_OFF: Final = 0.2


class ReturnStep(NamedTuple):
    """A step between two levels: by how much more comes back after it, and where it leads to (return < 0).

    ``until_us`` is its last part, where it has several; ``sharp`` tells whether it was seen to be over at once:
    a slow meter cannot tell it from the edge of a cloud.
    """

    at_us: float
    more_A: float
    after_A: float
    noise_A: float
    until_us: float
    sharp: bool


def return_steps(stairs: Sequence[Stair], interval_s: float) -> list[ReturnStep]:
    """Return the steps that happened at once and stand; those of one ramp are one."""
    steps: list[ReturnStep] = []
    for before, stair in pairwise(stairs):
        # Whatever a gap hides, nothing is bridged over it.
        if stair.after_gap:
            continue
        took_s = 2 * (stair.start_us - before.last_us) / MICROSECONDS
        if took_s > max(_AT_ONCE_S, 3 * interval_s):
            continue
        noise_A = max(before.least, stair.least)
        more_A, sharp = before.last - stair.first, took_s <= _SHARP_S
        step = ReturnStep(stair.start_us, more_A, stair.first, noise_A, stair.start_us, sharp)
        last = steps[-1] if steps else None
        if last is not None and _of_one_ramp(last, step, before):
            both_A = last.more_A + step.more_A
            step = ReturnStep(last.at_us, both_A, step.after_A, noise_A, step.until_us, sharp=False)
            steps.pop()
        steps.append(step)
    return [
        step._replace(sharp=step.sharp and not _moves_on(steps, k))
        for k, step in enumerate(steps)
        if not _undone(steps, k)
    ]


def _moves_on(steps: Sequence[ReturnStep], k: int) -> bool:
    """Tell whether steps before or after go on the same way: levels within the edge of a cloud, one after the other."""
    step, near_us = steps[k], _MOVES_S * MICROSECONDS
    around = [steps[n] for n in (k - 1, k + 1) if 0 <= n < len(steps)]
    return any(
        abs(other.at_us - step.at_us) <= near_us and other.more_A / step.more_A > _MOVES
        for other in around
        if step.more_A
    )


def _of_one_ramp(last: ReturnStep, step: ReturnStep, between: Stair) -> bool:
    """Tell whether two steps one after the other go the same way, with but a moment `between` them."""
    moment = between.last_us - between.start_us < _MOMENT_S * MICROSECONDS
    at_once = step.at_us - last.at_us <= _AT_ONCE_S * MICROSECONDS
    return between.start_us == last.until_us and moment and at_once and step.more_A * last.more_A > 0


def _undone(steps: Sequence[ReturnStep], k: int) -> bool:
    """Tell whether much of a step is taken back, or comes after as much the other way, at once: a start's surge."""
    step = steps[k]
    for way in (range(k - 1, -1, -1), range(k + 1, len(steps))):
        for other in (steps[n] for n in way):
            if abs(other.at_us - step.at_us) > _STANDS_S * MICROSECONDS:
                break
            if other.more_A * step.more_A < 0 and abs(other.more_A) > abs(step.more_A) / 2:
                return True
    return False


def is_own(change: ReturnStep, cycles: Sequence[Cycle], draw_A: float | None, interval_s: float) -> bool:
    """Tell whether a step is a start or a stop of the load that was looked for, by its instant and its size."""
    near_us = (2 * interval_s + 3.0) * MICROSECONDS
    # The array may carry part of its draw, and then less of it is seen; more than it draws is never its own.
    if draw_A is None or abs(change.more_A) > (1 + _OWN_OFF) * draw_A:
        return False
    # A run without an end may as well be what a charger left when it went off.
    ends = (cycle.stop_us if change.more_A > 0 else cycle.start_us for cycle in cycles if cycle.stop_us is not None)
    return any(end is not None and abs(end - change.at_us) <= near_us for end in ends)


def like_steps(one: ReturnStep, other: ReturnStep) -> bool:
    """Tell whether two steps, one up and one down, are of one size."""
    most_A = max(abs(one.more_A), abs(other.more_A))
    return abs(one.more_A + other.more_A) <= max(_ALIKE * most_A, one.noise_A / 2)
