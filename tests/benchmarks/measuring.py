"""Whole processes measured in turns: seconds, processor seconds and the most memory each took."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

_MAIN = "from shuntbook.cli.main import main; main()"


def ours(*arguments: str | Path) -> list[str]:
    """Return the command line of a shuntbook command."""
    return [sys.executable, "-c", _MAIN, *map(str, arguments)]


@dataclass(eq=False)
class Contestant:
    """A command that is run again and again, and what its runs took.

    Attributes
    ----------
    name : str
        What the table calls it.
    commands : sequence of argument lists
        Run one after the other; their times add up, and of their memory the largest counts.
    start : Contestant, optional
        The same on an hour's log: what is taken off for the time net of start-up.
    wall_s, cpu_s, peak_MB : list of float
        One figure a run; `cpu_s` is that of all threads together.
    """

    name: str
    commands: Sequence[Sequence[str]]
    start: Contestant | None = None
    wall_s: list[float] = field(default_factory=list)
    cpu_s: list[float] = field(default_factory=list)
    peak_MB: list[float] = field(default_factory=list)

    def run(self) -> None:
        """Run the commands once."""
        runs = [_run(command) for command in self.commands]
        self.wall_s.append(sum(run[0] for run in runs))
        self.cpu_s.append(sum(run[1] for run in runs))
        self.peak_MB.append(max(run[2] for run in runs))

    @property
    def median_s(self) -> float:
        """The middle of its times, net of start-up where one is known. [s]"""
        return statistics.median(self.wall_s) - (self.start.median_s if self.start else 0.0)

    @property
    def least_s(self) -> float:
        """Its shortest time, net of start-up where one is known. [s]"""
        return min(self.wall_s) - (self.start.least_s if self.start else 0.0)

    @property
    def least_cpu_s(self) -> float:
        """Its shortest processor time, net of start-up where one is known. [s]"""
        return min(self.cpu_s) - (self.start.least_cpu_s if self.start else 0.0)


def _run(command: Sequence[str]) -> tuple[float, float, float]:
    """Run a command and return its seconds, processor seconds and most memory [s, s, MB]."""
    begun = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    errors = process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    took_s = time.perf_counter() - begun
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(command)}\nended with {process.returncode}: {errors}")
    return took_s, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def in_turns(contestants: Sequence[Contestant], times: int) -> None:
    """Run all contestants once, then all again, so that what else the machine does falls on each alike."""
    everyone = [*contestants, *(each.start for each in contestants if each.start is not None)]
    for _ in range(times):
        for contestant in everyone:
            contestant.run()


def table(title: str, contestants: Sequence[Contestant], rows: int | None) -> list[str]:
    """Return what each took, and how many times that the first took: its time over theirs."""
    ours = contestants[0]
    lines = [title, f"  {'':34}{'median':>9}{'least':>9}{'CPU':>9}{'peak':>9}{'ours/it':>9}{'readings':>14}"]
    for each in contestants:
        speed = f"{rows / each.median_s / 1e6:10.2f} M/s" if rows and each.median_s > 0 else ""
        ratio = f"{ours.median_s / each.median_s:9.2f}" if each.median_s > 0 else f"{'':9}"
        figures = f"{each.median_s:7.2f} s{each.least_s:7.2f} s{each.least_cpu_s:7.2f} s{max(each.peak_MB):6.0f} MB"
        lines.append(f"  {each.name:34}{figures}{ratio}{speed}")
    return lines
