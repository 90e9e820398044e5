"""What was drawn between the notes of a log: one stretch from each marker to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..readings.chunk import Chunk
from ..readings.measured_span import HowRead
from .amounts import Amounts, Charge
from .charge import ChargeSums
from .completed import CompletedReadings, Reader


@dataclass(frozen=True)
class MarkedStretch:
    """What went out and came back from one marker to the next, or to the log's end.

    ``at_us`` and ``text`` are the marker's; the stretch goes from ``start_us`` to ``stop_us``, as far as it was
    measured [us]; ``whole`` is all that is known of it.
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

    Readings are handed only to the stretches they touch. Markers are instants [us] and texts, in any order; charge or
    energy must follow from the quantities.
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
        ends = [*(at for at, _ in ordered[1:]), None]
        self._stretches = []
        for (at, text), end in zip(ordered, ends, strict=False):
            low = at if from_us is None else max(at, from_us)
            high = end if to_us is None else to_us if end is None else min(end, to_us)
            # Two notes at one instant, or a note outside the window, leave nothing between.
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
        stretches = []
        for text, at, sums in self._stretches:
            charge = sums.result()
            if charge.span.start_us is not None and charge.span.stop_us is not None:
                start_us = max(charge.span.start_us, at)
                stretches.append(MarkedStretch(at, text, start_us, charge.span.stop_us, charge))
        return tuple(stretches)


class MarkedFold:
    """Integrate each stretch between markers, as a fold; it carries one reading of each signal. See `MarkedSums`."""

    def __init__(self, how: HowRead, quantities: set[str], markers: Sequence[tuple[int, str]]) -> None:
        self._sums = MarkedSums(how, quantities, markers)
        self._reader = Reader(how, quantities)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if len(chunk):
            self._sums.take(self._reader.take(chunk))

    def result(self) -> tuple[MarkedStretch, ...]:
        """Return the stretches in which anything was measured, in order."""
        return self._sums.result()
