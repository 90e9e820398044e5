"""What was drawn between the notes of a log, or in other windows of time that follow each other, such as days."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from functools import partial
from typing import Final, Generic, Protocol, TypeVar

from ..readings.chunk import MICROSECONDS, Chunk
from ..readings.energy_signals import energy_source
from ..readings.log_facts import only_ends
from ..readings.measured_span import HowRead
from .amounts import Amounts, Charge
from .charge import ChargeSums
from .completed import CompletedReadings, Reader, Window

LineResult_co = TypeVar("LineResult_co", covariant=True)
#: Before and after all that a log can hold. [us]
_NEVER_US: Final = 1 << 62


class OpenLine(Protocol[LineResult_co]):
    """What is written of one window."""

    def take(self, read: CompletedReadings) -> None:
        """Take in what the next readings complete, as far as it lies in the window."""

    def result(self) -> LineResult_co:
        """Return what the window holds so far."""


Line = TypeVar("Line", bound=OpenLine[object])
LineResult = TypeVar("LineResult")


class LinesInOrder(Generic[Line, LineResult]):
    """Lines of windows in which no two overlap: readings are handed only to those they touch.

    A line is opened when readings reach it, and only its result is carried once none can reach it any more: so what a
    log costs grows with its readings and with its windows, never with both multiplied.
    """

    def __init__(
        self,
        how: HowRead,
        quantities: AbstractSet[str],
        windows: Iterable[Window],
        opened: Callable[[Window], Line],
        result: Callable[[Line], LineResult],
    ) -> None:
        self._opened, self._result = opened, result
        self._usual_us = round((how.usual_interval_s or 0.0) * MICROSECONDS)
        self._signals = {
            name
            for name, is_read in (
                ("current", how.side == "dc" and "current_A" in quantities),
                ("power", energy_source(how.side, quantities) is not None),
            )
            if is_read
        }
        self._last_us: dict[str, int] = {}
        self._next_us = -_NEVER_US
        self._windows: list[tuple[int, int, Window]] = []
        self._open: dict[Window, Line] = {}
        self._over: dict[Window, LineResult] = {}
        for window in windows:
            self.add(window)

    def add(self, window: Window) -> None:
        """Add a window; one that is there already stays as it is."""
        start_us, stop_us = window
        entry = (-_NEVER_US if start_us is None else start_us, _NEVER_US if stop_us is None else stop_us, window)
        k = bisect_left(self._windows, entry[0], key=_start)
        if k == len(self._windows) or self._windows[k][0] != entry[0]:
            self._windows.insert(k, entry)

    def instants(self, first_us: int, last_us: int) -> set[int]:
        """Return the ends of windows that lie between two instants. [us]"""
        ends = (us for low, high, _ in self._touched(first_us, last_us) for us in (low, high))
        return {us for us in ends if first_us < us < last_us}

    def take(self, read: CompletedReadings) -> tuple[Line, ...]:
        """Hand what the next readings complete to the lines it touches; return these, before they are put away."""
        lines = []
        for _, _, window in self._touched(*read.ends_us):
            if window not in self._over:
                line = self._open.get(window)
                if line is None:
                    line = self._open[window] = self._opened(window)
                line.take(read)
                lines.append(line)
        return tuple(lines)

    def put_away(self, read: CompletedReadings) -> None:
        """Put away the lines that nothing reaches after these readings, which have been handed to all."""
        before_us, self._next_us = self._next_us, self._first_to_come(read)
        if self._next_us > before_us:
            for window in [each for each in self._open if each[1] is not None and each[1] <= self._next_us]:
                self._over[window] = self._result(self._open.pop(window))

    def _first_to_come(self, read: CompletedReadings) -> int:
        """Return before what instant nothing lies of all that comes after these readings. [us]"""
        for name in self._signals:
            pieces = getattr(read, name)
            if pieces is not None and len(pieces.at_us):
                self._last_us[name] = int(pieces.at_us[-1])
        # A signal goes on from its own last reading, however long ago that was; before its first a mean stands for one
        # usual interval.
        new_us = read.ends_us[1] - self._usual_us
        return min(self._last_us.get(name, new_us) for name in self._signals)

    def _touched(self, first_us: int, last_us: int) -> list[tuple[int, int, Window]]:
        # None overlaps another, so both their beginnings and their ends rise.
        low = bisect_left(self._windows, first_us, key=_stop)
        return self._windows[low : bisect_right(self._windows, last_us, key=_start)]

    def result_of(self, window: Window) -> LineResult | None:
        """Return what a window holds so far; None where no readings touched it."""
        line = self._open.get(window)
        return self._over.get(window) if line is None else self._result(line)

    def results(self) -> list[tuple[Window, LineResult]]:
        """Return what each window holds so far, in order; those that no readings touched are left out."""
        results = self._over | {window: self._result(line) for window, line in self._open.items()}
        return [(window, results[window]) for _, _, window in self._windows if window in results]


def _start(entry: tuple[int, int, Window]) -> int:
    return entry[0]


def _stop(entry: tuple[int, int, Window]) -> int:
    return entry[1]


@dataclass(frozen=True, slots=True)
class MarkedStretch:
    """What went out and came back from one marker to the next, or to the log's end; one that only ends begins none.

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

    Readings are handed only to the stretches they touch. Markers are instants [us] and texts, in any order; such as
    `only_ends` begin none. Charge or energy must follow from the quantities.
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
        self._marks: dict[Window, tuple[int, str]] = {}
        for (at, text), end in zip(ordered, ends, strict=False):
            low = at if from_us is None else max(at, from_us)
            high = end if to_us is None else to_us if end is None else min(end, to_us)
            # Two notes at one instant, or a note outside the window, leave nothing between.
            if (high is None or high > low) and not only_ends(text):
                self._marks[low, high] = at, text
        opened = partial(ChargeSums.over, how, quantities)
        self._stretches = LinesInOrder(how, quantities, self._marks, opened, ChargeSums.result)

    def take(self, read: CompletedReadings) -> None:
        """Take in what the next readings complete."""
        self._stretches.take(read)
        self._stretches.put_away(read)

    def shared(self, window: Window) -> SharedSums | None:
        """Return the sums of a stretch for whoever is fed the same readings after this; None if there is no such."""
        return SharedSums(window, self._stretches) if window in self._marks else None

    def result(self) -> tuple[MarkedStretch, ...]:
        """Return the stretches in which anything was measured, in order."""
        stretches = []
        for window, charge in self._stretches.results():
            (at, text), span = self._marks[window], charge.span
            if span.start_us is not None and span.stop_us is not None:
                stretches.append(MarkedStretch(at, text, max(span.start_us, at), span.stop_us, charge))
        return tuple(stretches)


@dataclass(frozen=True, slots=True)
class SharedSums:
    """The sums of a stretch that somebody else adds up."""

    window: Window
    _stretches: LinesInOrder[ChargeSums, Charge]

    def take(self, read: CompletedReadings) -> None:
        """Leave it: it was taken in already."""

    def result(self) -> Charge | None:
        """Return charge and energy so far; None where no readings touch it."""
        return self._stretches.result_of(self.window)


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
