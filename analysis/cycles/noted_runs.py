"""Runs of a load by a person's notes: ``pump on`` is a start, ``pump off`` or ``stopped`` a stop."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, Chunk, FloatArray, Fold, TimeArray
from .cycle import Cycle, Cycles, total_taken

#: What may follow: "pump on", "switched on again", but not "standing on the bank".
_AT_END = r"(?=\s*(?:$|[,.;:!(]|again\b|now\b|and\b|then\b|at\b|by\b))"
_STARTS = re.compile(rf"\bon{_AT_END}|\bstarts\b|\bstarted\b|\w\W+start{_AT_END}", re.IGNORECASE)
_STOPS = re.compile(rf"\boff{_AT_END}|\bstops\b|\bstopped\b|\bcuts? out\b|\w\W+stop{_AT_END}", re.IGNORECASE)
#: What is not, is yet to be, or is no load.
_NEITHER = re.compile(
    r"\b(?:not|never|no|isn't|won't|if|when|before|until|demo|test|log|capture|recording|show)\b", re.IGNORECASE
)
#: A draw that has fallen by this share of a run's own has stopped: common practice, no source. [1]
_FALLEN = 0.8

Event = Literal["start", "stop"]


def event_in(note: str) -> Event | None:
    """Return whether a note says that a load started or stopped; None where it says neither, or both."""
    starts, stops = bool(_STARTS.search(note)), bool(_STOPS.search(note))
    if starts == stops or _NEITHER.search(note):
        return None
    return "start" if starts else "stop"


class NotedRunsFold:
    """Find runs by notes, as a fold; those that readings show where no note tells of a start.

    A run begins with a note that says so, and ends with one that does or with the first reading by which its draw has
    gone. What it drew is what was noted meanwhile, above what stood before. Notes are of one load at a time: another
    start before a stop is none. All readings are kept, since a person types them.

    `levels` finds runs by the readings alone; `signal` is the quantity in which a run's end shows; notes are instants
    [us] and texts, in order.
    """

    def __init__(self, levels: Fold[Cycles], signal: str, notes: Sequence[tuple[int, str]] = ()) -> None:
        self._levels, self._signal = levels, signal
        self._notes = list(notes)
        self._chunks: list[Chunk] = []

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        self._levels.add(chunk)
        self._chunks.append(chunk)

    def note(self, at_us: int, text: str) -> None:
        """Take a note in that was typed just now. [us]"""
        self._notes.append((at_us, text))

    def result(self) -> Cycles:
        """Return the runs so far."""
        by_levels = self._levels.result()
        events = [(at_us, event) for at_us, text in self._notes if (event := event_in(text)) is not None]
        if not self._chunks or not any(event == "start" for _, event in events):
            return by_levels
        standing = _Standing.of(self._chunks)
        runs = _runs(events, standing, self._signal)
        cycles = [_cycle(run, standing, by_levels.load) for run in runs]
        rests = [None, *(_between(a, b) for a, b in pairwise(cycles))]
        cycles = [replace(cycle, off_before_s=rest) for cycle, rest in zip(cycles, rests, strict=True)]
        return _with(by_levels, cycles, standing)


@dataclass(frozen=True)
class _Standing:
    """What stands from reading to reading: instants [us], and quantities by name in their units."""

    time_us: TimeArray
    quantities: dict[str, FloatArray]

    @classmethod
    def of(cls, chunks: Sequence[Chunk]) -> _Standing:
        """Return all readings; what a line does not tell stands on."""
        time_us = np.concatenate([chunk.time_us for chunk in chunks])
        names = [name for name in ("current_A", "power_W") if name in chunks[0].quantities]
        return cls(time_us, {name: _filled(np.concatenate([c.quantities[name] for c in chunks])) for name in names})

    def at(self, us: float, name: str) -> float:
        """Return what stood just before an instant [us]; nothing before the first reading. [unit]"""
        k = int(np.searchsorted(self.time_us, us, side="left")) - 1
        return float(self.quantities[name][k]) if k >= 0 else 0.0

    def within(self, start_us: int, stop_us: int, name: str) -> tuple[FloatArray, FloatArray]:
        """Return what stood between two instants above what stood before [unit], and each for how long [s]."""
        inside = (self.time_us > start_us) & (self.time_us < stop_us)
        base = self.at(start_us, name)
        # A reading at the very start is the run's own: a person writes both in one minute.
        now = self.quantities[name][self.time_us <= start_us][-1:]
        values = np.concatenate([now if len(now) else [base], self.quantities[name][inside]]) - base
        edges = np.concatenate([[start_us], self.time_us[inside], [stop_us]])
        return values, np.diff(edges) / MICROSECONDS


def _filled(x: FloatArray) -> FloatArray:
    known = np.maximum.accumulate(np.where(np.isnan(x), -1, np.arange(len(x))))
    return np.where(known >= 0, x[known], 0.0)


def _runs(events: Sequence[tuple[int, Event]], standing: _Standing, signal: str) -> list[tuple[int, int | None]]:
    """Return the start and stop of each run; the last may not have stopped yet. [us]"""
    runs: list[tuple[int, int | None]] = []
    for at_us, event in events:
        # A start while it runs is none: a person notes what they see, and may note it again.
        if event != "start" or (runs and (runs[-1][1] is None or at_us < runs[-1][1])):
            continue
        noted = next((us for us, other in events if us > at_us and other == "stop"), None)
        gone = _gone_us(at_us, standing, signal)
        runs.append((at_us, min((us for us in (noted, gone) if us is not None), default=None)))
    return runs


def _gone_us(start_us: int, standing: _Standing, signal: str) -> int | None:
    """Return the first reading after a start by which its draw has gone; None where it draws on. [us]"""
    base, highest = standing.at(start_us, signal), 0.0
    at = np.flatnonzero(standing.time_us >= start_us)
    for us, x in zip(standing.time_us[at].tolist(), standing.quantities[signal][at].tolist(), strict=True):
        highest = max(highest, x - base)
        if highest > 0 and x - base <= (1 - _FALLEN) * highest:
            return int(us)
    return None


def _cycle(run: tuple[int, int | None], standing: _Standing, load: str | None) -> Cycle:
    """Return what was noted of a run; no surge is, since nobody reads one off a display."""
    start_us, stop_us = run
    amps, amp_hours, _ = _drawn(run, standing, "current_A")
    watts, watt_hours, peak_W = _drawn(run, standing, "power_W")
    return Cycle(
        load=load,
        start_us=start_us,
        stop_us=stop_us,
        run_s=None if stop_us is None else (stop_us - start_us) / MICROSECONDS,
        off_before_s=None,
        surge_A=None,
        surge_ratio=None,
        surge_resolved=False,
        run_A=amps,
        peak_W=peak_W,
        run_W=watts,
        charge_Ah=amp_hours,
        energy_Wh=watt_hours,
        sag_V=None,
        complete=stop_us is not None,
    )


def _drawn(
    run: tuple[int, int | None], standing: _Standing, name: str
) -> tuple[float | None, float | None, float | None]:
    """Return a run's usual draw [unit], what it took [unit h] and its highest [unit]; None where it is not known."""
    start_us, stop_us = run
    if name not in standing.quantities:
        return None, None, None
    values, length_s = standing.within(start_us, int(standing.time_us[-1]) if stop_us is None else stop_us, name)
    drawn = values > 0
    if not drawn.any() or not length_s[drawn].any():
        return None, None, None
    # The median by time: a person reads often at the start and seldom later.
    order = np.argsort(values[drawn])
    middle = np.searchsorted(np.cumsum(length_s[drawn][order]), length_s[drawn].sum() / 2)
    taken = float((values * length_s).sum()) / SECONDS_PER_HOUR
    return float(values[drawn][order][middle]), None if stop_us is None else taken, float(values.max())


def _between(before: Cycle, after: Cycle) -> float | None:
    """Return the rest between two runs. [s]"""
    return None if before.stop_us is None else (after.start_us - before.stop_us) / MICROSECONDS


def _with(by_levels: Cycles, cycles: Sequence[Cycle], standing: _Standing) -> Cycles:
    """Return what was found by the readings with runs by notes in their stead."""
    runs = [cycle.run_s for cycle in cycles if cycle.run_s is not None]
    rests = [cycle.off_before_s for cycle in cycles if cycle.off_before_s is not None]
    covered_s = (int(standing.time_us[-1]) - int(standing.time_us[0])) / MICROSECONDS
    summary = replace(
        by_levels.summary,
        count=len(cycles),
        starts_per_hour=len(cycles) / covered_s * SECONDS_PER_HOUR if covered_s > 0 else None,
        duty_cycle=min(sum(runs) / covered_s, 1.0) if covered_s > 0 else None,
        median_run_s=float(np.median(runs)) if runs else None,
        median_off_s=float(np.median(rests)) if rests else None,
        other_runs=by_levels.summary.count + by_levels.summary.other_runs,
        charge_Ah=total_taken(cycles, "Ah"),
        energy_Wh=total_taken(cycles, "Wh"),
    )
    return replace(
        by_levels, cycles=tuple(cycles), summary=summary, attempts=(), shortest_run_s=None, on_since_first=False
    )
