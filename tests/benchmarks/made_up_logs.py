"""Logs for the benchmarks, written a stretch at a time so that their length costs no memory."""

import numpy as np

from shuntbook.ingest.log.log import Readings, new_log, to_batch
from shuntbook.ingest.log.meta import LogMeta

#: Readings made and written at once.
AT_ONCE = 1 << 18
T0_US = 1_750_000_000_000_000


def write_log(path, count, quantities):
    """Write a log of one reading a second: a pump, a fridge and a lamp over sun and a drifting baseline, with noise."""
    rng = np.random.default_rng(3)
    with new_log(path, quantities) as writer:
        for first in range(0, count, AT_ONCE):
            time_s = np.arange(first, min(first + AT_ONCE, count), dtype=float)
            made = _made_up(time_s, rng)
            time_us = T0_US + time_s.astype(np.int64) * 1_000_000
            writer.write(to_batch(Readings(time_us, {name: made[name] for name in quantities})))
        writer.finish(LogMeta(gap_limit_s=10.0, usual_interval_s=1.0, rows_read=count, rows_kept=count))
    return path


def _made_up(time_s, rng):
    """Amps, volts and watts at these times."""
    current_A = 2 + 3 * np.sin(time_s / 2500) - 8 * np.clip(np.sin(time_s * 2 * np.pi / 86400), 0, 1)
    for draw_A, period_s, run_s in ((30, 1800, 90), (4, 1700.3, 700), (8, 7200, 900)):
        current_A += draw_A * (time_s % period_s < run_s)
    current_A += 90 * (time_s % 1800 == 0)
    current_A = np.round(current_A + rng.normal(0, 0.05, len(time_s)), 2)
    voltage_V = np.round(25 - 0.02 * current_A + rng.normal(0, 0.005, len(time_s)), 2)
    return {"current_A": current_A, "voltage_V": voltage_V, "power_W": np.round(voltage_V * current_A, 1)}
