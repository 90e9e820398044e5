"""Made-up logs of loads that switch, with the truth: what each run began, ended and took."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from readings import chunk_of, fed, how

from shuntbook.analysis.cycles.cycles import CycleFold


@dataclass
class Load:
    """A load that draws `draw_A` while on; its start is `surge` times that and dies away in `surge_s`.

    An inverter holds it at `limit` times its draw.
    """

    draw_A: float
    runs_s: list
    surge: float = 1.0
    surge_s: float = 0.3
    limit: float = np.inf

    def current_A(self, time_s):
        """Its current at these times. [A]."""
        total = np.zeros_like(time_s)
        for start, stop in self.runs_s:
            on = (time_s >= start) & (time_s < stop)
            since = np.where(on, time_s - start, 0.0)
            shape = 1 + (self.surge - 1) * np.exp(-((since / self.surge_s) ** 3))
            total += on * self.draw_A * np.minimum(shape, self.limit)
        return total


@dataclass
class Scene:
    """A log's making: loads over a baseline, read by a meter."""

    pump: Load
    every_s: float = 1.0
    span_s: float = 3600.0
    base_A: float = 2.0
    drift_A: float = 0.0
    noise_A: float = 0.02
    grain_A: float = 0.01
    rest_V: float = 25.2
    ohm: float = 0.02
    others: list = field(default_factory=list)
    seed: int = 1
    holes_s: list = field(default_factory=list)

    def chunk(self, **also):
        """Its readings: amps and volts (or whatever `also` makes of the current)."""
        rng = np.random.default_rng(self.seed)
        time_s = np.arange(0.0, self.span_s + self.every_s / 2, self.every_s)
        wander = self.drift_A * np.sin(2 * np.pi * time_s / 2500.0)
        true_A = self.base_A + wander + sum(load.current_A(time_s) for load in [self.pump, *self.others])
        noisy_A = true_A + rng.normal(0, self.noise_A, len(time_s))
        current_A = np.round(noisy_A / self.grain_A) * self.grain_A if self.grain_A else noisy_A
        voltage_V = np.round(self.rest_V - self.ohm * true_A, 3)
        kept = np.ones(len(time_s), dtype=bool)
        for start, stop in self.holes_s:
            kept &= (time_s < start) | (time_s > stop)
        make = also or {"current_A": lambda i, v: i, "voltage_V": lambda i, v: v}
        return chunk_of(time_s[kept], **{n: f(current_A, voltage_V)[kept] for n, f in make.items()})


def gap_limit_s(every_s):
    """The limit that convert would set for a steady interval. [s]."""
    return max(5 * every_s, 10.0)


def cycles_of(chunk, every_s=1.0, *, cuts=(), side="dc", sampling="instant", gap_s=None, **more):
    """The cycles of some readings."""
    reading = how(side, sampling, gap_s or gap_limit_s(every_s), every_s)
    return fed(CycleFold(reading, set(chunk.quantities), **more), chunk, cuts).result()


def evenly(first_s, run_s, rest_s, count):
    """Runs one after the other."""
    starts = first_s + np.arange(count) * (run_s + rest_s)
    return [(float(a), float(a + run_s)) for a in starts]


def clouds(peak_A, span_s, seed, turn_s=60.0):
    """What an array gives under quick clouds, as loads that draw less than nothing: another amount every minute."""
    rng = np.random.default_rng(seed)
    edges_s = np.cumsum(turn_s * rng.uniform(0.6, 1.4, int(span_s / (0.6 * turn_s)) + 1))
    return [
        Load(-peak_A * rng.uniform(0.1, 1.0), [(float(a), float(b))]) for a, b in pairwise(edges_s[edges_s < span_s])
    ]
