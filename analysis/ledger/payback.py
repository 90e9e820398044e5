"""When the array had paid a demo back: the bank as full again as when the demo began."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..charge.completed import CompletedIntervals
from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, FloatArray, TimeArray
from ..readings.measured_span import HowRead
from .running_charge import CurrentFold

if TYPE_CHECKING:
    from .ledger import LedgerLine

Demo = tuple[int, int, str]
"""Beginning and end [us] of a marked stretch, and its text."""


@dataclass(frozen=True, slots=True)
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
        # The next to begin stands last, so that it is quick to take it away.
        self._to_come = sorted(range(len(demos)), key=lambda k: demos[k][0], reverse=True)
        self._under_way: list[int] = []
        self._owing: TimeArray = np.empty(0, np.int64)  # which of the debts are neither under way nor paid
        self._balances: FloatArray = np.empty(0)  # what each of these owes [A s]
        self._gaps: list[tuple[TimeArray, TimeArray]] = []

    def take(self, pieces: CompletedIntervals) -> None:
        """Take in what the next readings of the current complete, where somebody else reads them."""
        if len(pieces.gap_start_us):
            self._gaps.append((pieces.gap_start_us, pieces.gap_stop_us))
        if not len(pieces.measured.stop_us):
            return
        # A debt costs nothing before its demo began and after it was paid, and between them no more than a sum.
        if len(self._owing):
            self._repay(pieces)
        while self._to_come and self._debts[self._to_come[-1]].start_us <= pieces.measured.stop_us[-1]:
            self._under_way.append(self._to_come.pop())
        for k in self._under_way:
            self._debts[k].follow(pieces, self._efficiency)
        ended = [k for k in self._under_way if self._debts[k].owed is not None]
        if ended:
            self._under_way = [k for k in self._under_way if self._debts[k].owed is None]
            owing = [k for k in ended if self._debts[k].paid_us is None]
            self._owing = np.append(self._owing, np.array(owing, np.int64))
            self._balances = np.append(self._balances, [self._debts[k].balance for k in owing])

    def _repay(self, pieces: CompletedIntervals) -> None:
        """Go on with all that owe at once: the same charge pays each."""
        growth = np.cumsum(_owing(pieces, self._efficiency))
        paid = self._balances + growth.min() <= 0
        for k, balance in zip(self._owing[paid].tolist(), self._balances[paid].tolist(), strict=True):
            self._debts[k].balance = balance
            self._debts[k].repay(pieces, growth)
        self._owing, self._balances = self._owing[~paid], self._balances[~paid] + growth[-1]

    def result(self) -> tuple[Payback, ...]:
        """Return each demo's debt so far, in the order they were named."""
        assumptions = (
            f"Of the charge put in, {100 * self._efficiency:g} % was taken to come out again.",
            "All that was returned is set against this demo alone, and all that other loads drew meanwhile too.",
        )
        for k, balance in zip(self._owing.tolist(), self._balances.tolist(), strict=True):
            self._debts[k].balance = balance
        gap_us = _GapTime(self._gaps)
        return tuple(debt.payback(assumptions, gap_us) for debt in self._debts)


class _GapTime:
    """How much time before an instant nothing was measured."""

    def __init__(self, gaps: Sequence[tuple[TimeArray, TimeArray]]) -> None:
        none = np.empty(0, np.int64)
        self._start_us, self._stop_us = (np.concatenate([none, *(gap[k] for gap in gaps)]) for k in (0, 1))
        self._before_us = np.concatenate([[0], np.cumsum(self._stop_us - self._start_us)])

    def until(self, us: int | None) -> int:
        """Return the time in gaps before an instant; all for None. [us]"""
        if us is None:
            return int(self._before_us[-1])
        k = int(np.searchsorted(self._stop_us, us, side="right"))
        cut_us = max(us - int(self._start_us[k]), 0) if k < len(self._start_us) else 0
        return int(self._before_us[k]) + cut_us


@dataclass
class _Debt:
    """One demo's debt [A s], while it is followed."""

    start_us: int
    stop_us: int
    text: str
    balance: float = 0.0
    owed: float | None = None
    paid_us: int | None = None

    def follow(self, pieces: CompletedIntervals, efficiency: float) -> None:
        """Go on until the demo is over, and with what is left of the readings after it."""
        measured = pieces.measured
        # Only what the array gave within the demo counts here; the bank keeps a share of it.
        self.balance += float(_owing(pieces.within((self.start_us, self.stop_us)), efficiency).sum())
        # At the demo's end the balance is the debt; what the array gave meanwhile may have paid it already.
        if measured.stop_us[-1] >= self.stop_us:
            self.owed = self.balance
            self.paid_us = self.stop_us if self.owed <= 0 else None
        if self.owed is not None and self.paid_us is None:
            after = pieces.within((self.stop_us, None))
            self.repay(after, np.cumsum(_owing(after, efficiency)))

    def repay(self, pieces: CompletedIntervals, growth: FloatArray) -> None:
        """Set against the debt what comes after the demo; `growth` is what its intervals add to it, summed. [A s]"""
        after = pieces.measured
        running = self.balance + growth
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

    def payback(self, assumptions: tuple[str, ...], gaps: _GapTime) -> Payback:
        owed_Ah = None if self.owed is None else self.owed / SECONDS_PER_HOUR
        # What is short beyond the demo's debt other loads have drawn since; it is not the demo's to pay.
        short_Ah = 0.0 if self.paid_us is not None else self.balance / SECONDS_PER_HOUR
        still_Ah = short_Ah if owed_Ah is None else min(short_Ah, max(owed_Ah, 0.0))
        amounts = (owed_Ah, self.paid_us, still_Ah, short_Ah - still_Ah)
        # From the demo's beginning until the debt was paid.
        uncovered_us = max(gaps.until(self.paid_us) - gaps.until(self.start_us), 0)
        return Payback(self.text, self.start_us, self.stop_us, *amounts, uncovered_us / MICROSECONDS, assumptions)


def _owing(pieces: CompletedIntervals, efficiency: float) -> FloatArray:
    """Return what each piece adds to the debt; below 0 where it pays [A s]."""
    above, below = pieces.split
    return above - efficiency * below


def paybacks_of(lines: Sequence[LedgerLine], paybacks: Sequence[Payback]) -> tuple[Payback | None, ...]:
    """Return when each demo was paid back; None where that was not followed."""
    by_demo = {(each.start_us, each.text): each for each in reversed(paybacks)}
    return tuple(by_demo.get((line.start_us, line.text)) for line in lines)
