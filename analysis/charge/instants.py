"""What readings at instants may make of something that is faster than they are, and what that does to an amount."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Set
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from ..cycles.in_step import InStep, InStepSums
from ..readings.blocks import BLOCK, Blocks
from ..readings.chunk import MICROSECONDS, Chunk, Sampling, Side, join
from ..readings.windows import Windows
from ..stats.interval95 import Component
from .ripple import Ripple, RippleSums

#: A symmetrical part makes an amount no less sure than itself; beyond, only the upper end goes further. [1]
_MOST: Final = 0.55
#: Nearly the end of an even distribution, in standard uncertainties. [1]
_REACH: Final = 0.95 * sqrt(3)
#: So many blocks that come one by one are looked at together. [1]
_MANY: Final = 16


@dataclass(frozen=True)
class Instants:
    """What instants may have been read in step with: an inverter's ripple, a load that switches in step with them.

    None where nothing shows.
    """

    ripple: Ripple | None
    in_step: InStep | None

    def components(self, drawn: float) -> Iterator[Component]:
        """Yield what they do to what was drawn, in its unit."""
        # One phase, met the same way from beginning to end, is one error of the whole log, even within its limits;
        # phases that vary are many, whose sum is normal. Only what is drawn pulses, so nothing is done to what comes
        # back.
        if self.ripple is not None:
            yield Component(
                "ripple",
                min(self.ripple.share, _MOST) * drawn,
                even=1.0 if self.ripple.slow else 0.0,
                reason="the draw fluctuates in proportion to itself: a ripple read at instants may not average out",
            )
        # The time on of each period is known to one reading: even, over the root of 3; and the same in all periods.
        if self.in_step is not None:
            yield Component(
                "load in step with the readings",
                min(self.in_step.share / sqrt(3), _MOST) * drawn,
                even=1,
                reason=f"its pattern repeats every {self.in_step.readings} readings, so its time on is known no better "
                "than to one of them",
            )

    def beyond(self, drawn: float) -> float:
        """Return by how much more the truth may lie above than symmetrical parts say; in the unit of `drawn`."""
        # No less than nothing was drawn, so what is beyond `_MOST` of it can only lie above.
        shares = (self.ripple.share if self.ripple else 0.0, self.in_step.share / sqrt(3) if self.in_step else 0.0)
        return drawn * _REACH * sum(max(share - _MOST, 0.0) for share in shares)


class InstantsFold:
    """Look for both in one quantity, as a fold.

    The tail it carries is a block of readings that is not full, and blocks and windows that wait for others.
    """

    def __init__(self, signal: str, gap_limit_s: float | None) -> None:
        self._signal, self._gap_limit_s = signal, gap_limit_s
        self._blocks = Blocks(BLOCK)
        self._single: list[Chunk] = []
        self._ripple, self._in_step = RippleSums(), InStepSums()

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        signal = chunk.with_values({self._signal: chunk.quantities[self._signal]})
        known = signal.having(self._signal)
        for full in self._blocks.apart(known):
            # No block needs another: those that begin in one chunk and end in the next wait until they are many.
            if len(full) > BLOCK:
                self._take(full, BLOCK, within=known)
            else:
                self._single.append(full)
        if len(self._single) >= _MANY:
            self._take_single()

    def _take_single(self) -> None:
        if self._single:
            self._take(join(self._single), BLOCK)
            self._single = []

    def _take(self, readings: Chunk, size: int, within: Chunk | None = None) -> None:
        """Look at whole blocks; they may lie `within` a chunk of which more is known."""
        # A row a block, so that windows never reach over a border, wherever chunks end.
        x, time_us = readings.quantities[self._signal].reshape(-1, size), readings.time_us.reshape(-1, size)
        within, limit_s = within or readings, self._gap_limit_s
        # Most logs have no gap to look for, and nothing below nought to leave out.
        if limit_s is not None and within.spacings_us()[1] <= limit_s * MICROSECONDS:
            limit_s = None
        windows = Windows.of(x, time_us, limit_s)
        self._ripple.add(windows)
        drawn = x if within.extremes(self._signal)[0] >= 0 else np.maximum(x, 0.0)
        self._in_step.add(float(drawn.sum()), windows)

    def result(self) -> Instants:
        """Return what is seen so far."""
        ended, rest = copy.deepcopy(self), self._blocks.rest()
        ended._take_single()
        if rest is not None:
            ended._take(rest, len(rest))
        ripple = ended._ripple.end()
        # Beats of a ripple repeat themselves, too, and would seem to be a load in step.
        return Instants(ripple, ended._in_step.end() if ripple is None else None)


def looked_at(side: Side, sampling: Sampling, quantities: Set[str]) -> str | None:
    """Return what is looked at: amps, else watts; None of means, of readings by eye, or behind an inverter."""
    # Behind an inverter a meter gives RMS values, which are taken over whole waves.
    if side != "dc" or sampling != "instant":
        return None
    return next((name for name in ("current_A", "power_W") if name in quantities), None)
