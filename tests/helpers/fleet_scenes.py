"""Small fleets of simulated logs, written as logs are: what the tests of `fleet` and its benchmark run over."""

import os
from pathlib import Path

import numpy as np
from readings import T0_US, US
from scenes import Plan, build, make, plan

from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.ingest.log.log import Readings, new_log, to_batch
from shuntbook.ingest.log.meta import LogMeta

#: A pump's place as its owner would write it down, by the plate of the pump.
SITE = """
name = "{name}"
zone = "UTC"

[bank]
nominal_V = {volts:g}
capacity_Ah = 400
hour_rate_h = 20

[[inverters]]
name = "inverter"
continuous_VA = {rating:.0f}
efficiency_pct = 90
idle_W = 20
always_on = true

[[loads]]
name = "well pump"
kind = "pump"
inverter = "inverter"
voltage_V = 230
power_W = {plate:.0f}
hp = {hp:g}
"""
#: Classes of simulated logs that are short, and in which something is the matter with two of them.
SHORT = ("clean", "waterlogged", "means", "prime_lost", "larger_pump", "irregular")


class Deadly(str):
    """The place of a log that ends the process which looks for it, as running out of memory would."""

    __slots__ = ()

    def __contains__(self, key):
        os._exit(9)


def write_log(path: Path, chunk: Chunk, how: HowRead, meter: str | None = None) -> Path:
    """Write readings as a log."""
    path.parent.mkdir(parents=True, exist_ok=True)
    meta = LogMeta(
        meter=meter,
        side=how.side,
        sampling=how.sampling,
        rows_read=len(chunk.time_us),
        rows_kept=len(chunk.time_us),
        gap_limit_s=how.gap_limit_s,
        usual_interval_s=how.usual_interval_s,
    )
    with new_log(path, list(chunk.quantities)) as log:
        log.write(to_batch(Readings(chunk.time_us, chunk.quantities)))
        log.finish(meta)
    return path


def write_site(path: Path, name="a made-up place", *, volts=24.0, watts=800.0, hp=0.75) -> Path:
    """Write a site file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(SITE.format(name=name, volts=volts, rating=6 * watts, plate=watts, hp=hp), encoding="utf-8")
    return path


def write_scene(path: Path, name: str, seed: int = 1) -> Path:
    """Write the simulated log of a class."""
    scene = make(name, seed)
    return write_log(path, scene.chunk, scene.how, meter=f"meter of {name}")


def write_fleet(folder: Path) -> Path:
    """Write six logs of an hour or some in folders of their own, one of these with a site file."""
    for name in SHORT:
        write_scene(folder / name / "pump.parquet", name)
    write_site(folder / "prime_lost" / "site.toml", volts=48, watts=800, hp=0.75)
    return folder


def a_day(seed: int) -> tuple[Plan, Chunk, HowRead]:
    """A log-day: a reading a second for 24 hours, a pump that starts some sixty times, a fridge's worth of noise."""
    rng = np.random.default_rng([71, seed])
    made = plan(rng, 86_400.0, 1.0, hp=0.75, bank_V=24.0)
    made.columns = ("current_A", "voltage_V")
    starts_s = np.cumsum(rng.uniform(600, 2_200, 62))
    runs_s = rng.uniform(25, 40, 62) if seed % 10 == 0 else rng.uniform(70, 160, 62)
    made.runs = [(s, s + r) for s, r in zip(starts_s, runs_s, strict=True) if s + r < made.span_s]
    scene = build("day", seed, made)
    assert scene.chunk.time_us[0] >= T0_US
    assert len(scene.chunk.time_us) > 0.99 * made.span_s
    assert scene.chunk.time_us[-1] - scene.chunk.time_us[0] < 86_400 * US
    return made, scene.chunk, scene.how
