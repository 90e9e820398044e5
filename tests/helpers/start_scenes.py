"""Readings of a load whose starts take a known time, as chunks and as logs of days."""

import numpy as np
from readings import US, chunk_of

from shuntbook.ingest.log.log import Readings, new_log, to_batch
from shuntbook.ingest.log.meta import LogMeta

#: Not whole spacings apart, so that each start meets the readings in its own way.
RUNS_S = (20.0, 320.03, 700.07, 1000.05)
LONG_S = 70.0


def readings(start_s, every_s, *, running_A=30.0, surge=4.0, noise_A=0.05, power=3.0, seed=1):
    """Runs whose draw beyond running falls as 0.5^((t / start_s)^power): half of it is gone after `start_s`."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, 1100.0, every_s) + rng.uniform(0, every_s)
    amps = np.full(len(time_s), 2.0)
    for start in RUNS_S:
        since_s = np.where((time_s >= start) & (time_s < start + LONG_S), time_s - start, np.nan)
        shape = 1 + (surge - 1) * 0.5 ** ((since_s / start_s) ** power)
        amps += np.nan_to_num(running_A * shape)
    amps += rng.normal(0, noise_A, len(time_s))
    return chunk_of(time_s, current_A=np.round(amps, 2), voltage_V=25.0 - 0.01 * amps)


def write_day(folder, day, start_s, *, every_s=0.1, **about):
    """Write a log of a day's eighteen minutes, and return where."""
    made = readings(start_s, every_s, seed=day)
    path = folder / f"day-{day:02d}.parquet"
    with new_log(path, list(made.quantities)) as writer:
        writer.write(to_batch(Readings(made.time_us + day * 86400 * US, dict(made.quantities))))
        facts = {"meter": "bank shunt", "zone": "UTC", "usual_interval_s": every_s, "gap_limit_s": 10.0}
        writer.finish(LogMeta(**facts, **about, source=[{"name": path.stem}]))
    return path
