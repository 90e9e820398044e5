"""Measure how many log-days a second a fleet takes: by one process, by two, and by two workers of a Dask scheduler.

Run it from the repository's root::

    python tests/benchmarks fleet_speed [LOG_DAYS]

A log-day is a reading of amps and volts a second for 24 hours, of a pump that starts some sixty times; twenty different
ones are simulated and stand for all (2,000 by default, about 1.6 GB in a temporary folder). It prints bytes and seconds
of a core a log-day, then for each way log-days a second, and its time against one process. Nothing is asserted: what
counts is the numbers in the note of a change, and how busy the machine was; on a busy one only the seconds of a core
mean much.
"""

import os
import sys
import time
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from dask_cluster import two_workers
from fleet_scenes import a_day, write_log, write_site

from shuntbook.analysis.several_logs.fleet import ranked
from shuntbook.cli.fleet.cluster import on_cluster
from shuntbook.cli.fleet.one_log import read_log
from shuntbook.cli.fleet.pool import on_this_machine
from shuntbook.cli.fleet.run import run_fleet, tasks_of, write_summaries

KINDS = 20


def write_days(folder, count):
    """Write the fleet; returns the bytes of a log-day."""
    first = []
    for k in range(min(count, KINDS)):
        _plan, chunk, how = a_day(k)
        first.append(write_log(folder / f"{k:06d}.parquet", chunk, how).read_bytes())
    for k in range(len(first), count):
        (folder / f"{k:06d}.parquet").write_bytes(first[k % KINDS])
    write_site(folder / "site.toml")
    return sum(map(len, first)) / len(first)


def of_a_core(tasks):
    """Seconds of a core that a log takes, once a process is warm: what other programs take is not in it."""
    read_log(tasks[0])
    begun_s = time.process_time()
    for task in tasks:
        read_log(task)
    return (time.process_time() - begun_s) / len(tasks)


def measure(name, engine, folder, count, base_s=None):
    """Run once over all, print the figures, and return the seconds and the summary's bytes."""
    begun_s = time.perf_counter()
    done = run_fleet(tasks_of([str(folder)]), engine, None, lambda *_: lambda: None)
    took_s = time.perf_counter() - begun_s
    assert {summary.status for summary in done.summaries} == {"read"}
    out = folder.parent / "summary.parquet"
    write_summaries(out, ranked(done.summaries))
    line = f"{name:<28} {count / took_s:7.2f} log-days/s  {done.took_s / count:6.3f} worker-s each"
    sys.stdout.write(f"{line}  x {(base_s or took_s) / took_s:.2f}\n")
    sys.stdout.flush()
    return took_s, out.read_bytes()


def main(log_days=2e3):
    """Print all figures."""
    count = round(log_days)
    with TemporaryDirectory() as place:
        folder = Path(place) / "logs"
        size = write_days(folder, count)
        sys.stdout.write(f"{count} log-days of {size / 1e3:.0f} kB; load of the machine {os.getloadavg()[0]:.1f}\n")
        core_s = of_a_core(tasks_of([str(folder)])[:KINDS])
        sys.stdout.write(f"{core_s:.3f} s of a core a log-day\n")
        base_s, first = measure("1 process", partial(on_this_machine, workers=1), folder, count)
        others = [measure("2 processes", partial(on_this_machine, workers=2), folder, count, base_s)]
        with two_workers(Path(place)) as address:
            others.append(
                measure("2 workers of a scheduler", partial(on_cluster, address=address), folder, count, base_s)
            )
        assert all(summary == first for _took_s, summary in others)
        sys.stdout.write(f"the same summary from all, {len(first) / count:.0f} bytes a log-day\n")
