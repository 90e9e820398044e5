"""The levels that one level went through on slow ramps: a drive takes seconds from one to the next.

A pump's draw falls slowly while the pressure rises, so what moves by little at a time goes on with its level
(`levels`). Behind a drive it also goes from rest to run so. Here such a level is cut once more, at every stretch that
holds; who follows loads that are on or off alone has no need of it.
"""

from __future__ import annotations

from ..readings.chunk import MICROSECONDS
from .level_record import LevelRecord
from .levels import LEVEL_READINGS, LEVEL_S, LIKE_NOISE, Level, record
from .plateau import Plateau

#: A level that moves by more than this share of the step before it is looked into: common practice, no source. [1]
MOVES = 0.25


def with_inner(whole: LevelRecord, level: Level, before: Level | None, signal: str) -> LevelRecord:
    """Return what is kept of a level with the levels within it; `before` is the one that it follows."""
    if len(level.parts) < 2:
        return whole
    base = level.parts[0].traces[signal].first if before is None else before.last(signal)
    held = [part.traces[signal].usual for part in level.parts]
    moves = max(held) - min(held) > MOVES * abs(level.first(signal) - base)
    if not (moves or _leaves(level, signal)):
        return whole
    parts, ramp = _cut(level, signal)
    if len(parts) + len(ramp) < 2 or not parts:
        return whole
    inner, last = list[LevelRecord](), before
    for part in parts:
        inner.append(record(part, last, signal, at_start=LEVEL_READINGS, at_end=LEVEL_READINGS))
        last = part
    # What is known of its ends stays: only between them is there more to tell.
    inner[0].start_us, inner[0].burst = whole.start_us, whole.burst
    if ramp:
        inner[-1].leaves = ramp[0].first_us - ramp[0].step_s * MICROSECONDS / 2, ramp[0].step_s
    whole.inner = tuple(inner)
    return whole


def _cut(level: Level, signal: str) -> tuple[list[Level], list[Plateau]]:
    """Return the stretches of a level that hold, each with the short ones before it, and those after the last."""
    cut, between = list[Level](), level.between
    for part in level.parts:
        if not _holds(part):
            between = [*between, part]
        elif cut and not between and _goes_on(cut[-1].parts[-1], part, signal):
            cut[-1].parts.append(part)
        else:
            cut.append(Level([part], between, level.after_gap and not cut))
            between = []
    # What moves on from the last stretch is the way to the next level, which begins where it left for good.
    near = [i for i, part in enumerate(between, 1) if cut and not _is_off(cut[-1].parts[-1], part, signal)]
    return cut, between[max(near, default=0) :]


def _leaves(level: Level, signal: str) -> bool:
    """Tell whether a level ends on its way to the next."""
    end = level.parts[-1]
    if _holds(end):
        return False
    held = next((part for part in reversed(level.parts) if _holds(part)), None)
    return held is not None and _is_off(held, end, signal)


def _is_off(held: Plateau, part: Plateau, signal: str) -> bool:
    return abs(part.traces[signal].last - held.traces[signal].last) > part.least


def _holds(part: Plateau) -> bool:
    return part.count >= LEVEL_READINGS and part.last_us - part.first_us >= LEVEL_S * MICROSECONDS


def _goes_on(last: Plateau, part: Plateau, signal: str) -> bool:
    return abs(part.traces[signal].first - last.traces[signal].last) <= LIKE_NOISE * part.least
