"""What was drawn between the notes of a log: one stretch from each marker to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import HowRead

from .amounts import Amounts, Charge
from .charge import ChargeSums
from .completed import CompletedReadings, Reader


@dataclass(frozen=True)
class MarkedStretch:
    """What went out and came back from one marker to the next, or to the log's end.

    Parameters
    ----------
    at_us, text : int, str
        The marker. [us]
    start_us, stop_us : int
        The stretch, as far as it was measured. [us]
    whole : Charge
        All that was found in it.
    """

    at_us: int
    text: str
    start_us: int
    stop_us: int
    whole: Charge

    @property
    def charge(self) -> Amounts | None:
        """What went out and came back [Ah]; None where the log cannot say."""
        return self.whole.charge

    @property
    def energy(self) -> Amounts | None:
        """What went out and came back [Wh]; None where the log cannot say."""
        return self.whole.energy


class MarkedSums:
    """Integrate each stretch between markers: the sums of a fold, without what is read.

    Readings are handed only to the stretches they touch.

    Parameters
    ----------
    how : HowRead
        What a reading stands for.
    quantities : set of str
        The quantities the log has; charge or energy must follow from them.
    markers : sequence of (int, str)
        Instants [us] and texts, in any order.
    from_us, to_us : int or None
        Only what lies between these instants. [us]
    """

    def __init__(
        self,
        how: HowRead,
        quantities: set[str],
        markers: Sequence[tuple[int, str]],
        *,
        from_us: int | None = None,
        to_us: int | None = None,
    ) -> None:
        ordered = sorted(markers)
        ends = [at for at, _ in ordered[1:]]
        self._stretches = []
        for k, (at, text) in enumerate(ordered):
            end = ends[k] if k < len(ends) else None
            low = at if from_us is None else max(at, from_us)
            high = end if to_us is None else to_us if end is None else min(end, to_us)
            if high is None or high > low:
                self._stretches.append((text, at, ChargeSums(how, quantities, from_us=low, to_us=high)))

    def take(self, read: CompletedReadings) -> None:
        """Take in what the next readings complete."""
        if not self._stretches:
            return
        first_us, last_us = read.ends_us
        for _, _, sums in self._stretches:
            low, high = sums.window
            if (low is None or low <= last_us) and (high is None or high >= first_us):
                sums.take(read)

    def result(self) -> tuple[MarkedStretch, ...]:
        """Return the stretches in which anything was measured, in order."""
        found = []
        for text, at, sums in self._stretches:
            charge = sums.result()
            if charge.span.start_us is not None and charge.span.stop_us is not None:
                start_us = max(charge.span.start_us, at)
                found.append(MarkedStretch(at, text, start_us, charge.span.stop_us, charge))
        return tuple(found)


class MarkedFold:
    """Integrate each stretch between markers, as a fold; see `MarkedSums` for the arguments.

    Notes
    -----
    It carries one reading of each signal.
    """

    def __init__(
        self,
        how: HowRead,
        quantities: set[str],
        markers: Sequence[tuple[int, str]],
        *,
        from_us: int | None = None,
        to_us: int | None = None,
    ) -> None:
        self._sums = MarkedSums(how, quantities, markers, from_us=from_us, to_us=to_us)
        self._reader = Reader(how, quantities)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if len(chunk):
            self._sums.take(self._reader.take(chunk))

    def result(self) -> tuple[MarkedStretch, ...]:
        """Return the stretches in which anything was measured, in order."""
        return self._sums.result()
