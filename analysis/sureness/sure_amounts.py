"""Charge and energy of a log, whole and from marker to marker, with how sure they are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from shuntbook.analysis.charge.amounts import Charge
from shuntbook.analysis.charge.between_notes import MarkedStretch, MarkedSums
from shuntbook.analysis.charge.charge import ChargeFold, ChargeSums
from shuntbook.analysis.charge.completed import CompletedReadings, Reader
from shuntbook.analysis.charge.instants import InstantsFold, looked_at
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import HowRead

from .amount_intervals import with_intervals
from .meter_figures import MeterFigures
from .signal_errors import UnseenStarts


class AmountsAnalysis:
    """Integrate a log, and each stretch between its markers, as a fold.

    It carries one reading of each signal, and one piece in which instants are looked at.

    Parameters
    ----------
    how : HowRead
        What a reading stands for.
    quantities : set of str
        The quantities the log has.
    figures : MeterFigures
        How far the meter's readings may be off.
    markers : sequence of (int, str)
        Instants [us] and texts.
    from_us, to_us : int or None
        Only what lies between these instants. [us]
    """

    def __init__(
        self,
        how: HowRead,
        quantities: set[str],
        figures: MeterFigures,
        markers: Sequence[tuple[int, str]] = (),
        *,
        from_us: int | None = None,
        to_us: int | None = None,
    ) -> None:
        self._figures = figures
        self._charge = ChargeSums(how, quantities, from_us=from_us, to_us=to_us)
        self._marked = MarkedSums(how, quantities, markers, from_us=from_us, to_us=to_us)
        self._reader = Reader(how, quantities)
        self._otherwise: ChargeFold | None = None
        if how.other_gap_limit_s is not None:
            other = replace(how, gap_limit_s=how.other_gap_limit_s, other_gap_limit_s=None)
            self._otherwise = ChargeFold(other, quantities, from_us=from_us, to_us=to_us)
        signal = looked_at(how.side, how.sampling, quantities)
        self._instants = InstantsFold(signal, how.gap_limit_s) if signal else None

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if len(chunk):
            self.take(self.read(chunk))

    def read(self, chunk: Chunk) -> CompletedReadings:
        """Join the next readings, at least one, to those before; `take` is to have what they complete, in order."""
        return self._reader.take(chunk)

    def work_out(self, read: CompletedReadings) -> None:
        """Do ahead, in any thread, what needs nothing but what was read, so that `take` is quick."""
        if read.within(self._charge.window) is read:
            read.work_out()

    def take(self, read: CompletedReadings) -> None:
        """Take in what the next readings complete, where somebody else reads them."""
        self._charge.take(read)
        self._marked.take(read)
        if self._otherwise is not None:
            self._otherwise.add(read.chunk)
        if self._instants is not None:
            self._instants.add(read.chunk)

    def result(
        self, starts: UnseenStarts | None = None, starts_us: Sequence[int] = ()
    ) -> tuple[Charge, tuple[MarkedStretch, ...]]:
        """Return what all readings so far amount to.

        Parameters
        ----------
        starts : UnseenStarts, optional
            What one start may have drawn unseen; its count is taken from `starts_us`.
        starts_us : sequence of int
            When the load started. [us]
        """
        sure = self.sure(starts, starts_us)
        marked = tuple(replace(stretch, whole=sure(stretch.whole)) for stretch in self._marked.result())
        charge = sure(self._charge.result())
        if self._otherwise is not None:
            charge = replace(charge, otherwise=sure(self._otherwise.result()))
        return charge, marked

    def sure(self, starts: UnseenStarts | None, starts_us: Sequence[int]) -> Callable[[Charge], Charge]:
        """Return what gives amounts their intervals, by the starts that lie in their span."""
        at_us = np.asarray(starts_us, dtype=np.int64)
        instants = self._instants.result() if self._instants is not None else None

        def with_starts(charge: Charge) -> Charge:
            charge = charge.read_at(instants)
            low, high = charge.span.start_us, charge.span.stop_us
            if starts is None or low is None or high is None:
                return with_intervals(charge, self._figures)
            inside = int(((at_us >= low) & (at_us <= high)).sum())
            return with_intervals(charge, self._figures, starts.within(low, high, inside))

        return with_starts
