"""The ledger: what each local day and each marked demo drew and gave back, and how hard it drew."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from datetime import tzinfo
from typing import Final

import numpy as np

from ..charge.amounts import Charge
from ..charge.charge import ChargeSums
from ..charge.completed import CompletedIntervals, CompletedReadings, Reader, Window
from ..readings.chunk import SECONDS_PER_HOUR, Chunk, FloatArray
from ..readings.measured_span import HowRead
from .local_days import LocalDay, days_in
from .sustained import NOTHING_SEEN, HighestDraw, PeakDraw

#: Notes that end a demo and begin none.
ENDINGS: Final = frozenset({"end", "stop", "off", "done"})

Demo = tuple[int, int | None, str]
"""Beginning [us], end [us] or None where no later note ends it, and the note's text."""


@dataclass(frozen=True)
class Totals:
    """What had gone out and come back since the log's first reading [Ah], and the time measured until then [h]."""

    drawn_Ah: float
    returned_Ah: float
    covered_h: float


@dataclass(frozen=True)
class LedgerLine:
    """One day or one demo.

    ``text`` is the date, year-month-day, or the note's text; ``start_us`` and ``stop_us`` are a day's two midnights, or
    a demo's beginning and end; ``whole`` is what went out and came back, ``current`` [A] and ``power`` [W] how much was
    drawn at most; ``at_end`` is what the log had seen by then, or by the last reading, None without amps at the bank.
    """

    text: str
    start_us: int
    stop_us: int
    whole: Charge
    current: PeakDraw
    power: PeakDraw
    at_end: Totals | None
    starts: int = 0

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
    without dates has no days.
    """

    days: tuple[LedgerLine, ...] = ()
    demos: tuple[LedgerLine, ...] = ()
    current: PeakDraw = NOTHING_SEEN
    power: PeakDraw = NOTHING_SEEN

    def with_intervals(self, sure: Callable[[Charge], Charge], starts_us: Sequence[int]) -> Ledger:
        """Return the same with the intervals that `sure` gives amounts, and with the starts that each line holds."""
        at_us = np.asarray(starts_us, dtype=np.int64)

        def line(line: LedgerLine) -> LedgerLine:
            low, high = np.searchsorted(at_us, [line.start_us, line.stop_us]).tolist()
            # The evidence has served its purpose; a year of days would hold megabytes of it.
            whole = sure(line.whole)
            return replace(line, whole=replace(whole, evidence=None), starts=high - low)

        return replace(self, days=tuple(map(line, self.days)), demos=tuple(map(line, self.demos)))


def demos_of(markers: Sequence[tuple[int, str]]) -> tuple[Demo, ...]:
    """Return the demos that notes mark: each from its note to the next; those of `ENDINGS` only end one."""
    ordered = sorted(markers)
    ends: list[int | None] = [*(at for at, _ in ordered[1:]), None][: len(ordered)]
    return tuple(
        (at, end, text)
        for (at, text), end in zip(ordered, ends, strict=True)
        if text.strip().lower() not in ENDINGS and (end is None or end > at)
    )


class LedgerFold:
    """Keep the ledger of a log, as a fold.

    The midnights of `zone` part the days; a log without dates has none, and no days. An interval that passes midnight
    is cut there, exactly. It carries one reading of each signal and the last ten minutes of each line and of the log,
    and grows by one line a day. Readings are read once and handed to the lines they touch.

    Raises
    ------
    Refusal
        If the log has neither current nor power that can be integrated.
    """

    def __init__(
        self, how: HowRead, quantities: AbstractSet[str], *, zone: tzinfo | None, demos: Sequence[Demo] = ()
    ) -> None:
        self._how, self._quantities, self._zone = how, quantities - {"charge_Ah"}, zone
        self._reader = Reader(how, quantities)
        self._totals: FloatArray = np.zeros(3)  # drawn and returned [A s], and time [s], since the log began
        self._highest = _HighestOf()
        self._days: list[_Line] = []
        self._demos = [self._line(text, (start, stop)) for start, stop, text in demos]
        self._line("", (None, None))  # refuses at once where nothing can be integrated

    def _line(self, text: str, window: Window) -> _Line:
        return _Line(text, window, ChargeSums(self._how, self._quantities, from_us=window[0], to_us=window[1]))

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if len(chunk):
            for part in self.parts(self._reader.take(chunk)):
                self.take(part)

    def parts(self, read: CompletedReadings) -> Iterator[CompletedReadings]:
        """Yield what the next readings complete in parts that begin and end with the lines, so that sums are shared."""
        self._open_days(read)
        first_us, last_us = read.ends_us
        ends = {us for line in (*self._days, *self._demos) for us in (line.start_us, line.stop_us) if us is not None}
        return read.parts(us for us in ends if first_us < us < last_us)

    def take(self, read: CompletedReadings) -> None:
        """Take in what the next readings complete, where somebody else reads them."""
        first_us, last_us = read.ends_us
        self._open_days(read)
        self._highest.take(read)
        totals = None
        if read.current is not None:
            totals = _TotalsAt(self._totals, read.current)
            self._totals = totals.at(None)
        # Days are in order, so the first one from behind that is over ends the search.
        for line in reversed(self._days):
            if line.stop_us is not None and line.stop_us <= first_us:
                break
            line.take(read, totals)
        # Demos may lie in any order and overlap a day's end, so each is asked.
        for line in self._demos:
            if line.start_us <= last_us and (line.stop_us is None or line.stop_us > first_us):
                line.take(read, totals)

    def _open_days(self, read: CompletedReadings) -> None:
        if self._zone is None:
            return
        days: dict[int, LocalDay] = {}
        for pieces in (read.current, read.power):
            if pieces is not None:
                stretches = ((pieces.measured.start_us, pieces.measured.stop_us), (pieces.at_us, pieces.at_us + 1))
                days |= {day.start_us: day for at in stretches for day in days_in(*at, self._zone)}
        known = {line.start_us for line in self._days}
        new = [day for start_us, day in days.items() if start_us not in known]
        self._days += [self._line(day.date.isoformat(), (day.start_us, day.stop_us)) for day in new]
        self._days.sort(key=lambda line: line.start_us)

    def result(self) -> Ledger:
        """Return the lines so far."""
        days, demos = (
            tuple(line for line in (open_line.result() for open_line in lines) if line is not None)
            for lines in (self._days, self._demos)
        )
        return Ledger(days, demos, *self._highest.result())


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

    def __init__(self, text: str, window: Window, sums: ChargeSums) -> None:
        self.text, self._window, self._sums = text, window, sums
        self._highest = _HighestOf()
        self._at_end: FloatArray | None = None

    @property
    def start_us(self) -> int:
        return self._window[0] or 0

    @property
    def stop_us(self) -> int | None:
        return self._window[1]

    def take(self, read: CompletedReadings, totals: _TotalsAt | None) -> None:
        near = read.within(self._window)
        self._sums.take(near)
        self._highest.take(near)
        if totals is not None:
            self._at_end = totals.at(self.stop_us)

    def result(self) -> LedgerLine | None:
        whole = self._sums.result()
        if whole.charge is None and whole.energy is None:
            return None
        stop_us = self.stop_us if self.stop_us is not None else whole.span.stop_us
        at_end = None if self._at_end is None else Totals(*(self._at_end / SECONDS_PER_HOUR).tolist())
        return LedgerLine(self.text, self.start_us, stop_us or 0, whole, *self._highest.result(), at_end)


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
