"""Logs with something the matter, and what is said of their quality."""

import json
import re

import numpy as np
import pytest
from readings import US, chunk_of, fed, how

from shuntbook.analysis.quality.fitness import verdict_of
from shuntbook.analysis.quality.quality import QualityFold
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.cli.main import run

HOUR_S = 3600


def bank_log(seed=1, *, hours=2.0, every_s=1.0, sun_A=0.0, noise_A=0.02):
    """A bank's log: a fridge and a pump come and go, the sun wanders, volts sag by 12 milliohms and drift."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0, hours * HOUR_S, every_s)
    load_A = 1.4 + 4.0 * (time_s % 1500 < 500) + 30.0 * (time_s % 1000 > 900)
    sun = sun_A * (0.8 + 0.2 * np.sin(time_s / 700))
    current_A = np.round(load_A - sun + rng.normal(0, noise_A, len(time_s)), 2)
    drift_V = 25.2 - 0.1 * time_s / HOUR_S
    voltage_V = np.round(drift_V - 0.012 * (load_A - sun) + rng.normal(0, 0.004, len(time_s)), 2)
    return chunk_of(time_s, current_A=current_A, voltage_V=voltage_V)


def changed(chunk, **quantities):
    """The log with other columns; None takes one out."""
    q = {name: x for name, x in {**chunk.quantities, **quantities}.items() if x is not None}
    return Chunk(chunk.time_us, q)


def looked(chunk, reading=None, **known):
    """Quality and verdict of some readings."""
    reading = reading or how()
    found = fed(QualityFold(reading, tuple(chunk.quantities), **known), chunk).result()
    return found, verdict_of(found, reading)


def grades(verdict):
    """The three grades in order: amounts, cycles, surges."""
    return [use.grade for use in verdict.uses]


def codes(quality):
    """The doubts by code."""
    return {doubt.code for doubt in quality.doubts}


@pytest.fixture
def look(tmp_path, capsys):
    """Write a log by way of an export, and return what look says of it, as lines and as JSON."""

    def says(chunk, *options, convert=()):
        export, log = tmp_path / "a.csv", tmp_path / "a.parquet"
        names = list(chunk.quantities)
        heads = {"current_A": "current [A]", "voltage_V": "voltage [V]", "power_W": "power [W]"}
        rows = [f"time,{','.join(heads[name] for name in names)}"]
        for k, at in enumerate(chunk.time_us.tolist()):
            rows.append(f"{at // US},{','.join(f'{chunk.quantities[name][k]:.3f}' for name in names)}")
        export.write_text("\n".join(rows) + "\n", encoding="utf-8")
        log.unlink(missing_ok=True)
        assert run(["convert", str(export), "--out", str(log), *convert]) == 0
        capsys.readouterr()
        assert run(["look", str(log), *options]) == 0
        text = capsys.readouterr().out
        assert run(["look", str(log), *options, "--json"]) == 0
        # A line of the answer that a terminal's width ends goes on below it, set in.
        return re.sub(r"\n +", " ", text).splitlines(), json.loads(capsys.readouterr().out)

    return says
