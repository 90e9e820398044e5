"""Run a command in a process of its own, and say what it took: net of start-up by taking off a run on a short log."""

import os
import subprocess
import sys
from dataclasses import dataclass

_MAIN = "import sys; from shuntbook.cli.main import main; sys.exit(main())"


@dataclass(frozen=True)
class Took:
    """Time by the clock, processor time of all threads, and the most memory that was held. [s], [s], [MB]"""

    wall_s: float
    cpu_s: float
    peak_MB: float

    def beyond(self, other):
        """What it took more than another run; the memory is its own."""
        return Took(self.wall_s - other.wall_s, self.cpu_s - other.cpu_s, self.peak_MB)


def run(*words):
    """Run ``shuntbook`` with these words, its output thrown away."""
    begun = os.times().elapsed
    command = [sys.executable, "-c", _MAIN, *map(str, words)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(map(str, words))} ended with status {process.returncode}")
    return Took(os.times().elapsed - begun, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
