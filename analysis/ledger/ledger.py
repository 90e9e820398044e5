"""The ledger: what each local day and each marked demo drew and gave back, and how hard it drew."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from datetime import tzinfo
from functools import partial

import numpy as np

from ..charge.amounts import Charge
from ..charge.between_notes import LinesInOrder, MarkedStretch, MarkedSums, SharedSums
from ..charge.charge import ChargeSums
from ..charge.completed import CompletedIntervals, CompletedReadings, Reader, Window
from ..readings.chunk import SECONDS_PER_HOUR, Chunk, FloatArray
from ..readings.log_facts import only_ends
from ..readings.measured_span import HowRead
from .falls import BelowFullest
from .local_days import LocalDay, days_in
from .sustained import NOTHING_SEEN, HighestDraw, PeakDraw

Demo = tuple[int, int | None, str]
"""Beginning [us], end [us] or None where no later note ends it, and the note's text."""


@dataclass(frozen=True, slots=True)
class Totals:
    """What had gone out and come back since the log's first reading [Ah], and the time measured until then [h]."""

    drawn_Ah: float
    returned_Ah: float
    covered_h: float


@dataclass(frozen=True, slots=True)
class LedgerLine:
    """One day or one demo.

    ``text`` is the date, year-month-day, or the note's text; ``start_us`` and ``stop_us`` are a day's two midnights, or
    a demo's beginning and end; ``whole`` is what went out and came back, ``current`` [A] and ``power`` [W] how much was
    drawn at most; ``at_end`` is what the log had seen by then, or by the last reading, and ``deepest_Ah`` how far the
    bank stood below the log's fullest moment so far at most; both None without amps at the bank.
    """

    text: str
    start_us: int
    stop_us: int
    whole: Charge
    current: PeakDraw
    power: PeakDraw
    at_end: Totals | None
    starts: int = 0
    deepest_Ah: float | None = None

    @property
    def measured_s(self) -> float:
        """Time that readings stand for. [s]"""
        return max(self.whole.span.covered_s, self.whole.energy_span.covered_s if self.whole.energy_span else 0.0)

    @property
    def not_measured_s(self) -> float:
        """The rest of its time. [s]"""
        return max((self.stop_us - self.start_us) / 1e6 - self.measured_s, 0.0)


@dataclass(frozen=True)
class Ledger:
    """Days and demos, each in order; those in which nothing was measured are left out.

    ``current`` [A] and ``power`` [W] are the highest draws of the whole log: ten minutes may pass midnight, and a log
    without dates has no days. ``deepest_Ah`` is how far the bank stood below its fullest moment so far at most;
    0 without amps at the bank.
    """

    days: tuple[LedgerLine, ...] = ()
    demos: tuple[LedgerLine, ...] = ()
    current: PeakDraw = NOTHING_SEEN
    power: PeakDraw = NOTHING_SEEN
    deepest_Ah: float = 0.0

    def with_intervals(
        self, sure: Callable[[Charge], Charge], starts_us: Sequence[int], marked: Sequence[MarkedStretch] = ()
    ) -> Ledger:
        """Return the same with the intervals that `sure` gives amounts, and with the starts that each line holds.

        What is `marked` has them already: a demo is the stretch from its note to the next.
        """
        by_note = {(stretch.at_us, stretch.text): stretch.whole for stretch in marked}
        at_us = np.asarray(starts_us, dtype=np.int64)

        def without_evidence(line: LedgerLine) -> Charge:
            # It has served its purpose; a year of days would hold megabytes of it.
            return replace(sure(line.whole), evidence=None)

        def sure_line(line: LedgerLine, whole: Charge) -> LedgerLine:
            low, high = np.searchsorted(at_us, [line.start_us, line.stop_us]).tolist()
            return replace(line, whole=whole, starts=high - low)

        days = (sure_line(line, without_evidence(line)) for line in self.days)
        demos = (
            sure_line(line, by_note.get((line.start_us, line.text)) or without_evidence(line)) for line in self.demos
        )
        return replace(self, days=tuple(days), demos=tuple(demos))


def demos_of(markers: Sequence[tuple[int, str]]) -> tuple[Demo, ...]:
    """Return the demos that notes mark: each from its note to the next; those that only end end one."""
    ordered = sorted(markers)
    ends: list[int | None] = [*(at for at, _ in ordered[1:]), None][: len(ordered)]
    return tuple(
        (at, end, text)
        for (at, text), end in zip(ordered, ends, strict=True)
        if not only_ends(text) and (end is None or end > at)
    )


class LedgerFold:
    """Keep the ledger of a log, as a fold.

    The midnights of `zone` part the days; a log without dates has none, and no days. An interval that passes midnight
    is cut there, exactly. It carries one reading of each signal and the last ten minutes of the log and of each line
    that goes on, and grows by one line a day. Readings are read once and handed to the lines they touch. Demos are in
    order, and none overlaps another, as `demos_of` gives them.

    Raises
    ------
    Refusal
        If the log has neither current nor power that can be integrated.
    """

    def __init__(
        self, how: HowRead, quantities: AbstractSet[str], *, zone: tzinfo | None, demos: Sequence[Demo] = ()
    ) -> None:
        self._zone = zone
        self._reader = Reader(how, quantities)
        self._totals: FloatArray = np.zeros(3)  # drawn and returned [A s], and time [s], since the log began
        self._highest, self._below = _HighestOf(), BelowFullest()
        sums = partial(ChargeSums.over, how, quantities - {"charge_Ah"})
        sums((None, None))  # refuses at once where nothing can be integrated
        self._marked: MarkedSums | None = None
        self._day_texts: dict[Window, str] = {}
        demo_texts: dict[Window, str] = {(start, stop): text for start, stop, text in demos}

        def day(window: Window) -> _Line:
            return _Line(self._day_texts[window], sums(window))

        def demo(window: Window) -> _Line:
            shared = None if self._marked is None else self._marked.shared(window)
            return _Line(demo_texts[window], shared or sums(window))

        self._days = LinesInOrder(how, quantities, self._day_texts, day, _Line.result)
        self._demos = LinesInOrder(how, quantities, demo_texts, demo, _Line.result)

    def share(self, marked: MarkedSums) -> None:
        """Take the sums of demos from those of notes, which are to be fed each part before; before any reading."""
        self._marked = marked

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if len(chunk):
            for part in self.parts(self._reader.take(chunk)):
                self.take(part)

    def parts(self, read: CompletedReadings) -> Iterator[CompletedReadings]:
        """Yield what the next readings complete in parts that begin and end with the lines, so that sums are shared."""
        self._open_days(read)
        first_us, last_us = read.ends_us
        return read.parts(self._days.instants(first_us, last_us) | self._demos.instants(first_us, last_us))

    def take(self, read: CompletedReadings) -> None:
        """Take in one of the `parts` of what the next readings complete, where somebody else reads them."""
        self._highest.take(read)
        totals, deepest = None, 0.0
        if read.current is not None:
            totals = _TotalsAt(self._totals, read.current)
            self._totals, deepest = totals.at(None), self._below.deepest(read.current)
        for lines in (self._days, self._demos):
            for line in lines.take(read):
                if totals is not None:
                    line.at_end, line.deepest = totals.at(line.stop_us), max(line.deepest, deepest)
            lines.put_away(read)

    def _open_days(self, read: CompletedReadings) -> None:
        if self._zone is None:
            return
        days: dict[int, LocalDay] = {}
        for pieces in (read.current, read.power):
            if pieces is not None:
                stretches = ((pieces.measured.start_us, pieces.measured.stop_us), (pieces.at_us, pieces.at_us + 1))
                days |= {day.start_us: day for at in stretches for day in days_in(*at, self._zone)}
        for day in days.values():
            window = day.start_us, day.stop_us
            self._day_texts[window] = day.date.isoformat()
            self._days.add(window)

    def result(self) -> Ledger:
        """Return the lines so far."""
        days, demos = (
            tuple(line for _, line in lines.results() if line is not None) for lines in (self._days, self._demos)
        )
        return Ledger(days, demos, *self._highest.result(), self._below.most / SECONDS_PER_HOUR)


class _HighestOf:
    """The highest draw in amps and in watts."""

    def __init__(self) -> None:
        self._amps, self._watts = HighestDraw(), HighestDraw()

    def take(self, read: CompletedReadings) -> None:
        for pieces, highest in ((read.current, self._amps), (read.power, self._watts)):
            if pieces is not None:
                highest.add(pieces)

    def result(self) -> tuple[PeakDraw, PeakDraw]:
        return self._amps.result(), self._watts.result()


class _Line:
    """A line while it is being written."""

    def __init__(self, text: str, sums: ChargeSums | SharedSums) -> None:
        self._text, self._sums = text, sums
        self._highest = _HighestOf()
        self.at_end: FloatArray | None = None  # the log's totals at the window's end, or at the last reading
        self.deepest = 0.0  # below the log's fullest moment so far [A s]

    @property
    def stop_us(self) -> int | None:
        return self._sums.window[1]

    def take(self, read: CompletedReadings) -> None:
        self._sums.take(read)
        self._highest.take(read.within(self._sums.window))

    def result(self) -> LedgerLine | None:
        whole = self._sums.result()
        if whole is None or (whole.charge is None and whole.energy is None):
            return None
        stop_us = self.stop_us if self.stop_us is not None else whole.span.stop_us
        at_end = None if self.at_end is None else Totals(*(self.at_end / SECONDS_PER_HOUR).tolist())
        start_us = self._sums.window[0] or 0
        deepest_Ah = None if at_end is None else self.deepest / SECONDS_PER_HOUR
        return LedgerLine(
            self._text, start_us, stop_us or 0, whole, *self._highest.result(), at_end, deepest_Ah=deepest_Ah
        )


class _TotalsAt:
    """The running totals at any instant of some pieces."""

    def __init__(self, before: FloatArray, pieces: CompletedIntervals) -> None:
        self._before, self._pieces = before, pieces
        self._after = before + (pieces.sums.hours.total if len(pieces.measured.start_us) else 0.0)

    def at(self, us: int | None) -> FloatArray:
        """Return the totals at an instant; at the last one for None."""
        stop_us = self._pieces.measured.stop_us
        if us is None or not len(stop_us) or us >= stop_us[-1]:
            return self._after
        # A line ends within these pieces: only then are they cut and added up once more.
        before = self._pieces.within((None, us))
        sums: FloatArray = np.array([x.sum() for x in (*before.split, before.measured.length_s)])
        return self._before + sums
