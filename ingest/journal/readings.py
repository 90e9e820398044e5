"""A journal's readings in order and in chunks, and a tally of everything else that it holds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

import numpy as np

from ..events import NOT_KEPT, OF_DISPLAY
from ..log.gap_limit import IntervalCount
from ..log.log import Readings, level_of
from ..log.timeline import merge_equal
from ..safe_files.rejects import Reject, RejectsFile
from .lines import JournalReader, Record

ROWS_A_CHUNK: Final = 1 << 14


@dataclass
class Tally:
    """What a journal holds, counted while its readings pass by."""

    journal: str
    rows: int = 0
    merged: int = 0
    refused: int = 0
    skipped: int = 0
    first_us: int | None = None
    last_us: int | None = None
    markers: list[tuple[int, str]] = field(default_factory=list)
    clock_steps: list[dict[str, float]] = field(default_factory=list)
    remarks: dict[str, tuple[int, str]] = field(default_factory=dict)
    of_display: dict[str, float] = field(default_factory=dict)
    intervals: IntervalCount = field(default_factory=IntervalCount)

    def note(self, record: Record, line: int) -> Reject | None:
        """Take in a record that is no reading; return it as a row of the rejects if it was refused."""
        match record:
            case ["marker", at_us, text]:
                self.markers.append((at_us, text))
            case ["clock step", at_us, step_s]:
                self.clock_steps.append({"at_us": at_us, "step_s": step_s})
            case ["remark", _, kind, text] if kind in OF_DISPLAY:
                self.of_display[kind] = float(text)
            case ["remark", at_us, kind, text]:
                count, first = self.remarks.get(kind, (0, f"first at {_instant(at_us)}: {text}"))
                first = text if kind == NOT_KEPT else first  # which the last of them says of all
                self.remarks[kind] = (count + 1, first)
            case ["refused", at_us, kind, text, reason]:
                self.refused += 1
                return Reject(self.journal, line, f"{kind}: {reason} ({_instant(at_us)})", text)
        return None

    def skip(self, at_us: int, values: object, line: int) -> Reject:
        """Leave out a reading that came before the one ahead of it; return it as a row of the rejects."""
        self.skipped += 1
        return Reject(self.journal, line, f"came before the reading ahead of it ({_instant(at_us)})", str(values))

    def count(self, readings: Readings, written: int) -> None:
        """Take in readings that are kept; `written` is how many there were before equal stamps were merged."""
        time_us = readings.time_us
        self.rows += len(time_us)
        self.merged += written - len(time_us)
        self.first_us = int(time_us[0]) if self.first_us is None else self.first_us
        self.last_us = int(time_us[-1])
        self.intervals.add(time_us, level_of(readings.quantities))

    def sentences(self) -> list[str]:
        """Return in sentences what happened."""
        lines = [
            first if kind == NOT_KEPT else f"{kind}: {count:,} x while capturing, {first}"
            for kind, (count, first) in self.remarks.items()
        ]
        if self.skipped:
            lines.append(f"{self.skipped:,} readings came before the one ahead of them and were left out")
        if self.merged:
            lines.append(f"{self.merged:,} readings shared a time stamp with another and were merged into it")
        return lines


def in_order(journal: JournalReader, tally: Tally, rejects: RejectsFile) -> Iterator[Readings]:
    """Yield a journal's readings in chunks of strictly increasing times; tally everything else.

    Readings with the same stamp are merged as in any source; one that came before the reading ahead of it, which a
    steady clock does not allow, is left out and put among the rejects.
    """
    times: list[int] = []
    rows: list[list[float | None]] = []
    for line, record in enumerate(journal, 2):  # the header is line 1
        if record[0] != "reading":
            rejects.add([row for row in [tally.note(record, line)] if row])
            continue
        _, at_us, values = record
        if times and at_us < times[-1]:
            rejects.add([tally.skip(at_us, values, line)])
            continue
        # Never between equal stamps: they are merged within a chunk.
        if len(times) >= ROWS_A_CHUNK and at_us > times[-1]:
            yield _chunk(times, rows, journal.quantities, tally)
            times, rows = [], []
        times.append(at_us)
        rows.append(values)
    if times:
        yield _chunk(times, rows, journal.quantities, tally)


def _chunk(times: list[int], rows: list[list[float | None]], quantities: tuple[str, ...], tally: Tally) -> Readings:
    values = np.array(rows, dtype=np.float64).reshape(len(times), len(quantities))  # None becomes NaN
    columns = {name: values[:, k] for k, name in enumerate(quantities)}
    readings = merge_equal(np.array(times, dtype=np.int64), columns)
    tally.count(readings, len(times))
    return readings


def _instant(time_us: int) -> str:
    return f"{datetime.fromtimestamp(time_us // 1_000_000, UTC):%Y-%m-%dT%H:%M:%SZ}"
