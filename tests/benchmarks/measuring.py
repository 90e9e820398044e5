"""Whole processes measured in turns: seconds, processor seconds and the most memory each took."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

_MAIN = "from shuntbook.cli.main import main; main()"


def command(*arguments: str | Path, python: str = sys.executable) -> list[str]:
    """Return the command line of a shuntbook command, as the version that an interpreter has installed."""
    return [python, "-c", _MAIN, *map(str, arguments)]


class Spent(NamedTuple):
    """What one process took. [s, s, MB]"""

    wall_s: float
    cpu_s: float
    peak_MB: float


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
        The same on an hour's log: what is taken off for readings a second.
    prepare : callable
        Called before each run; what it takes does not count.
    first : bool
        Whether each run is the first of its kind: nothing compiled, and no list of the machine's fonts.
    runs : list of list of Spent
        One list a run, in it one entry a command.
    """

    name: str
    commands: Sequence[Sequence[str]]
    start: Contestant | None = None
    prepare: Callable[[], object] = lambda: None
    first: bool = False
    runs: list[list[Spent]] = field(default_factory=list)

    def run(self) -> None:
        """Run the commands once."""
        self.prepare()
        with TemporaryDirectory() as empty:
            caches = {"PYTHONPYCACHEPREFIX": empty, "MPLCONFIGDIR": empty} if self.first else {}
            self.runs.append([_run(each, os.environ | caches) for each in self.commands])

    @property
    def median_s(self) -> float:
        """The middle of its times. [s]"""
        return statistics.median(sum(each.wall_s for each in run) for run in self.runs)

    @property
    def least_cpu_s(self) -> float:
        """Its shortest processor time, all threads and processes together. [s]"""
        return min(sum(each.cpu_s for each in run) for run in self.runs)

    @property
    def peak_MB(self) -> float:
        """The most memory of one process. [MB]"""
        return max(each.peak_MB for run in self.runs for each in run)

    @property
    def net_s(self) -> float:
        """The middle of its times, net of start-up where one is known. [s]"""
        return self.median_s - (self.start.median_s if self.start else 0.0)


@dataclass(eq=False)
class Part(Contestant):
    """What one command of another contestant took of it; nothing is run for it."""

    whole: Contestant | None = None

    def run(self) -> None:
        """Take the last run's first command."""
        assert self.whole is not None
        self.runs.append(self.whole.runs[-1][:1])


def _run(arguments: Sequence[str], environment: dict[str, str]) -> Spent:
    begun = time.perf_counter()
    process = subprocess.Popen(arguments, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=environment)
    assert process.stderr is not None
    errors = process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    took_s = time.perf_counter() - begun
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(arguments)}\nended with {process.returncode}: {errors}")
    return Spent(took_s, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def in_turns(contestants: Sequence[Contestant], rounds: int) -> None:
    """Run all contestants once, then all again, so that what else the machine does falls on each alike."""
    everyone = [*contestants, *(each.start for each in contestants if each.start is not None)]
    for _ in range(rounds):
        for contestant in everyone:
            contestant.run()


def table(title: str, contestants: Sequence[Contestant], count: float = 0.0, unit: str = "") -> list[str]:
    """Return what each took, and how many times that the first took: its time over theirs."""
    reference = contestants[0]
    lines = [f"{title:36}{'median':>10}{'CPU':>10}{'peak':>9}{'ours/it':>9}{'net' if count else '':>12}"]
    for each in contestants:
        ratio = f"{reference.median_s / each.median_s:9.2f}"
        net = f"{count / each.net_s:10.2f} {unit}" if count and each.net_s > 0 else ""
        lines.append(
            f"  {each.name:34}{each.median_s:8.2f} s{each.least_cpu_s:8.2f} s{each.peak_MB:6.0f} MB{ratio}{net}"
        )
    return lines
