"""Measure how many readings a second steps and cycles take, on one core.

Run it from the repository's root::

    python tests/benchmarks cycles_speed [READINGS]

It prints the rate for a made-up log at one reading a second (a pump, a fridge and a lamp over a drifting baseline, with
noise), and the ratio of its time to that of plain NumPy differences of the same three columns, which does not depend on
how fast the machine is. Nothing is asserted: what counts is the number in the note of a change.
"""

import sys
import time

import numpy as np
from readings import chunk_of, how

from shuntbook.analysis.cycles.cycles import CycleFold

#: Readings handed over at once, about what a row group of a log holds.
AT_ONCE = 65_536


def a_log(count):
    """A long log with a start every half hour, and other loads."""
    rng = np.random.default_rng(3)
    time_s = np.arange(float(count))
    current_A = 2 + 3 * np.sin(time_s / 2500)
    for draw_A, period_s, run_s in ((30, 1800, 90), (4, 1700.3, 700), (8, 7200, 900)):
        current_A += draw_A * (time_s % period_s < run_s)
    current_A += 90 * (time_s % 1800 == 0)
    current_A = np.round(current_A + rng.normal(0, 0.05, count), 2)
    return chunk_of(time_s, current_A=current_A, voltage_V=np.round(25 - 0.02 * current_A, 2))


def seconds(work, times=5):
    """The shortest of some tries. [s]."""
    best = np.inf
    for _ in range(times):
        begun = time.process_time()
        work()
        best = min(best, time.process_time() - begun)
    return best


def main(readings=4e6):
    """Print both figures."""
    count = round(readings)
    chunk = a_log(count)

    def cycles():
        fold = CycleFold(how(), set(chunk.quantities))
        for start in range(0, count, AT_ONCE):
            fold.add(chunk.part(start, start + AT_ONCE))
        fold.result()

    def plain():
        for x in (chunk.time_us, *chunk.quantities.values()):
            np.diff(x)

    took_s, plain_s = seconds(cycles), seconds(plain)
    sys.stdout.write(f"{count / took_s / 1e6:.2f} million readings/s, {took_s / plain_s:.0f} x plain differences\n")
