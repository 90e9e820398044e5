"""When the array had paid a demo back: the bank as full again as when the demo began."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..charge.completed import CompletedIntervals
from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, FloatArray
from ..readings.measured_span import HowRead
from .running_charge import CurrentFold

if TYPE_CHECKING:
    from .ledger import LedgerLine

Demo = tuple[int, int, str]
"""Beginning and end [us] of a marked stretch, and its text."""


@dataclass(frozen=True)
class Payback:
    """What a demo owed the bank, and when that was paid.

    ``owed_Ah`` is what the bank was short of at the demo's end: drawn less what of the return it keeps; 0 or less where
    the array had carried the demo meanwhile, None until readings reach the end. ``paid_us`` is when it was made good;
    None where it was not, yet. ``still_owed_Ah`` is left of it at the last reading, never more than was owed, 0 once
    paid; ``more_since_Ah`` is what the bank was short of beyond that, drawn by whatever ran after the demo.
    ``uncovered_s`` is the time without readings from the demo's beginning until paid, or the last reading; not counted.
    """

    text: str
    start_us: int
    stop_us: int
    owed_Ah: float | None
    paid_us: int | None
    still_owed_Ah: float
    more_since_Ah: float
    uncovered_s: float
    assumptions: tuple[str, ...]


class PaybackFold(CurrentFold):
    """Follow what each demo owes the bank, as a fold; it carries one reading.

    `efficiency` is the share of the charge put in that comes out again. [1]
    """

    def __init__(self, how: HowRead, quantities: Set[str], demos: Sequence[Demo], *, efficiency: float) -> None:
        super().__init__(how, quantities)
        self._efficiency = efficiency
        self._debts = [_Debt(*demo) for demo in demos]

    def take(self, pieces: CompletedIntervals) -> None:
        """Take in what the next readings of the current complete, where somebody else reads them."""
        for debt in self._debts:
            debt.gaps += zip(pieces.gap_start_us.tolist(), pieces.gap_stop_us.tolist(), strict=True)
            debt.follow(pieces, self._efficiency)

    def result(self) -> tuple[Payback, ...]:
        """Return each demo's debt so far, in the order they were named."""
        assumptions = (
            f"Of the charge put in, {100 * self._efficiency:g} % was taken to come out again.",
            "All that the array returned is set against this demo alone, and all that other loads drew meanwhile too.",
        )
        return tuple(debt.payback(assumptions) for debt in self._debts)


@dataclass
class _Debt:
    """One demo's debt [A s], while it is followed."""

    start_us: int
    stop_us: int
    text: str
    balance: float = 0.0
    owed: float | None = None
    paid_us: int | None = None
    gaps: list[tuple[int, int]] = field(default_factory=list)

    def follow(self, pieces: CompletedIntervals, efficiency: float) -> None:
        if self.paid_us is not None:
            return
        measured = pieces.measured
        # Only what the array gave within the demo counts here; the bank keeps a share of it.
        self.balance += float(_owing(pieces.within((self.start_us, self.stop_us)), efficiency).sum())
        # At the demo's end the balance is the debt; what the array gave meanwhile may have paid it already.
        if len(measured.stop_us) and measured.stop_us[-1] >= self.stop_us and self.owed is None:
            self.owed = self.balance
            self.paid_us = self.stop_us if self.owed <= 0 else None
        if self.owed is not None and self.paid_us is None:
            self._repay(pieces.within((self.stop_us, None)), efficiency)

    def _repay(self, pieces: CompletedIntervals, efficiency: float) -> None:
        after = pieces.measured
        running = self.balance + np.cumsum(_owing(pieces, efficiency))
        paid = np.flatnonzero(running <= 0)
        if not len(paid):
            self.balance = float(running[-1]) if len(running) else self.balance
            return
        k = int(paid[0])
        before = self.balance if k == 0 else float(running[k - 1])
        # Within one spacing of readings the debt is taken to fall in a straight line.
        share = before / (before - float(running[k]))
        self.paid_us = int(after.start_us[k]) + round(share * float(after.length_s[k]) * MICROSECONDS)
        self.balance = 0.0

    def payback(self, assumptions: tuple[str, ...]) -> Payback:
        owed_Ah = None if self.owed is None else self.owed / SECONDS_PER_HOUR
        # What is short beyond the demo's debt other loads have drawn since; it is not the demo's to pay.
        short_Ah = 0.0 if self.paid_us is not None else self.balance / SECONDS_PER_HOUR
        still_Ah = short_Ah if owed_Ah is None else min(short_Ah, max(owed_Ah, 0.0))
        amounts = (owed_Ah, self.paid_us, still_Ah, short_Ah - still_Ah)
        return Payback(self.text, self.start_us, self.stop_us, *amounts, self._uncovered_s(), assumptions)

    def _uncovered_s(self) -> float:
        """Return the time in gaps from the beginning until the debt was paid [s]."""
        ends = ((start, stop if self.paid_us is None else min(stop, self.paid_us)) for start, stop in self.gaps)
        return sum(max(0, stop - max(start, self.start_us)) for start, stop in ends) / MICROSECONDS


def _owing(pieces: CompletedIntervals, efficiency: float) -> FloatArray:
    """Return what each piece adds to the debt; below 0 where it pays [A s]."""
    above, below = pieces.split
    return above - efficiency * below


def payback_of(line: LedgerLine, paybacks: tuple[Payback, ...]) -> Payback | None:
    """Return when a demo was paid back; None where that was not followed."""
    return next((each for each in paybacks if (each.start_us, each.text) == (line.start_us, line.text)), None)
