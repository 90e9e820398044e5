"""Measure how many readings a second `charge` takes from a log, net of start-up, and how much memory.

Run it from the repository's root::

    python tests/benchmarks charge_speed [MILLIONS...]

It prints a line for logs of amps; amps and volts; amps, volts and watts, each at one reading a second and as long as is
asked for (10 million by default; 10 100 shows whether memory stays flat). Beside the rate by the clock stands that by
processor time, which other work on the machine moves less. Nothing is asserted.
"""

import sys
import tempfile
from pathlib import Path

from made_up_logs import write_log
from measuring import Contestant, in_turns, ours

QUANTITIES = ("current_A", "voltage_V", "power_W")


def measure(folder, millions, quantities):
    """Return what `charge` took for a log of so many million readings beyond what it takes for a thousand of them."""
    count = round(millions * 1_000_000)
    log, short = (write_log(Path(folder) / f"{n}.parquet", n, quantities) for n in (count, 1000))
    took = Contestant("charge", [ours("charge", log)], Contestant("", [ours("charge", short)]))
    in_turns([took], 1)
    return took


def main(*millions):
    """Print a line for each kind of log and each length."""
    for length in millions or (10.0,):
        for n in range(1, len(QUANTITIES) + 1):
            with tempfile.TemporaryDirectory() as folder:
                took = measure(folder, length, QUANTITIES[:n])
            sys.stdout.write(
                f"charge, {', '.join(QUANTITIES[:n])}: {length:g} million readings, {length / took.least_s:.1f} "
                "million/s, "
                f"{length / took.least_cpu_s:.1f} million/s of processor time, {max(took.peak_MB):.0f} MB at most\n"
            )
