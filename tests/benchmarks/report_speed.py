"""Measure how many readings a second `report` takes, and what its start-up and drawing take.

Run it from the repository's root::

    python tests/benchmarks report_speed [MILLIONS]

It writes the page of a log of amps, volts and watts with the sample's site file, and that of its first 86,400
readings: what the second takes is start-up and drawing, what the first takes beyond it are the readings. Nothing is
asserted.
"""

import sys
import tempfile
from pathlib import Path

from made_up_logs import write_log
from measuring import Contestant, in_turns, ours
from places import SAMPLES

QUANTITIES = ("current_A", "voltage_V", "power_W")
SITE = SAMPLES / "site.toml"


def measure(folder, millions):
    """Return what the report of a day took, and what that of so many million readings took beyond it."""
    commands = []
    for count in (86_400, round(millions * 1_000_000)):
        log = write_log(Path(folder) / f"{count}.parquet", count, QUANTITIES)
        commands.append(ours("report", log, "--site", SITE, "--out", log.with_suffix(".html")))
    day = Contestant("a day", commands[:1])
    beyond = Contestant("beyond it", commands[1:], day)
    in_turns([beyond], 1)
    return day, beyond


def main(millions=10.0):
    """Print both."""
    with tempfile.TemporaryDirectory() as folder:
        day, beyond = measure(folder, millions)
    sys.stdout.write(
        f"report: start-up and drawing {day.least_s:.1f} s ({day.least_cpu_s:.1f} s of processor time); "
        f"{millions:g} million readings, {millions / beyond.least_s:.2f} million/s, "
        f"{millions / beyond.least_cpu_s:.2f} million/s of processor time, "
        f"{max(beyond.peak_MB):.0f} MB at most\n"
    )
