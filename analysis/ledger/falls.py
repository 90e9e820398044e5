"""How deep a bank was drawn: below the fullest that it was so far, and fall by fall as fatigue is counted.

Both are by the amp-hours that were measured, none taken off for losses: what is put back beyond what was taken then
only makes the next fullest moment, and no error adds up from day to day. What flows between two readings is taken at
the second of them.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..charge.completed import CompletedIntervals
from ..readings.chunk import SECONDS_PER_HOUR, FloatArray
from ..readings.measured_span import HowRead
from .running_charge import CurrentFold

#: A turn is sought in so many readings first, then in twice as many, so that each turn costs but a few. [1]
_FIRST_LOOK: Final = 64


class BelowFullest:
    """Follow how far a bank stands below its fullest moment so far: part of a fold, which carries three figures."""

    def __init__(self) -> None:
        self.most = 0.0  # of all that `deepest` gave [A s]
        self._drawn = self._fullest = 0.0  # what was drawn less what came back [A s], and the least that it was

    def deepest(self, pieces: CompletedIntervals) -> float:
        """Take the next intervals in; return how far below its fullest moment it stood in them at most. [A s]"""
        above, below = pieces.split
        drawn = self._drawn + np.cumsum(np.concatenate([[0.0], above - below]))
        fullest = np.minimum(np.minimum.accumulate(drawn), self._fullest)
        self._drawn, self._fullest = float(drawn[-1]), float(fullest[-1])
        deepest = float((drawn - fullest).max())
        self.most = max(self.most, deepest)
        return deepest


@dataclass(frozen=True)
class Falls:
    """How far the charge of a bank fell each time, in no order; a fall that has not been made good yet is one, too.

    Counted by the rainflow method (ASTM E1049-85), each fall once: it is one cycle of that depth. [Ah]
    """

    depth_Ah: FloatArray


class FallsFold(CurrentFold):
    """Count how far the charge falls, as a fold; it carries one reading and the turns that are still open.

    Turns by less than `least_Ah` are none: what wavers by less is part of the fall or the rise around it. [Ah]
    """

    def __init__(self, how: HowRead, quantities: Set[str], *, least_Ah: float) -> None:
        super().__init__(how, quantities)
        self._least = least_Ah * SECONDS_PER_HOUR
        self._drawn = 0.0  # what was drawn less what came back [A s]
        self._draining: bool | None = None  # None until it is known which way the first turn goes
        self._most = self._fewest = 0.0  # of what was drawn, since the last turn
        self._turns: list[float] = []
        self._closed: list[float] = []

    def take(self, pieces: CompletedIntervals) -> None:
        """Take in what the next readings of the current complete, where somebody else reads them."""
        if not len(pieces.measured.stop_us):
            return
        above, below = pieces.split
        drawn = self._drawn + np.cumsum(above - below)
        self._drawn = float(drawn[-1])
        at, width = 0, _FIRST_LOOK
        while at < len(drawn):
            part = drawn[at : at + width]
            turned = self._turn(part)
            at, width = (at + len(part), 2 * width) if turned is None else (at + turned + 1, _FIRST_LOOK)

    def _turn(self, drawn: FloatArray) -> int | None:
        """Follow what was drawn up to the first turn; return where that was found out, None if there is none."""
        most = np.maximum(np.maximum.accumulate(drawn), self._most)
        fewest = np.minimum(np.minimum.accumulate(drawn), self._fewest)
        # A turn is known once the charge has come back from its furthest by enough to count.
        back = np.zeros(len(drawn), bool) if self._draining is False else most - drawn >= self._least
        on = np.zeros(len(drawn), bool) if self._draining is True else drawn - fewest >= self._least
        turned = np.flatnonzero(back | on)
        last = int(turned[0]) if len(turned) else len(drawn) - 1
        self._most, self._fewest = float(most[last]), float(fewest[last])
        if not len(turned):
            return None
        self._draining = bool(on[last])
        _push(self._turns, self._closed, self._fewest if self._draining else self._most)
        self._most = self._fewest = float(drawn[last])
        return last

    def result(self) -> Falls:
        """Return the falls so far."""
        turns, closed = [*self._turns], [*self._closed]
        if self._draining is not None:
            _push(turns, closed, self._most if self._draining else self._fewest)
        # Of the turns that nothing has closed, those downhill are falls; a rise takes nothing from a bank's life.
        still_open = np.diff(turns)
        falls = np.concatenate([closed, still_open[still_open > 0]]) / SECONDS_PER_HOUR
        return Falls(np.sort(falls))


def _push(turns: list[float], closed: list[float], turn: float) -> None:
    """Take a turn in, and close each swing that lies within those before and after it."""
    turns.append(turn)
    while len(turns) >= 4:
        before, swing, after = (abs(b - a) for a, b in zip(turns[-4:-1], turns[-3:], strict=True))
        if swing > before or swing > after:
            return
        closed.append(swing)
        del turns[-3:-1]
