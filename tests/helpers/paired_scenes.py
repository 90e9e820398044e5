"""A load behind an inverter, logged there and at the bank by meters whose clocks differ, with the truth."""

from dataclasses import dataclass

import numpy as np
from load_scenes import gap_limit_s
from readings import T0_US, US, chunk_of, fed, how

from shuntbook.analysis.inverter_sides.clock_offset import clock_offset
from shuntbook.analysis.inverter_sides.log_steps import steps_of
from shuntbook.analysis.signal_levels.steps import StepFold


@dataclass
class Pair:
    """Two logs of one inverter: DC power = idle + a x AC power + b x (AC power)^2, other loads and sun at the bank."""

    runs_s: list
    every_dc_s: float = 1.0
    every_ac_s: float = 1.0
    offset_s: float = 0.0  # what to add to the times behind the inverter
    drift_ppm: float = 0.0
    run_W: float = 670.0
    surge: float = 4.0
    idle_W: float = 28.0
    a: float = 1.05
    b: float = 2e-5
    noise_A: float = 0.03
    noise_W: float = 1.0
    others: bool = True
    sun_W: float = 60.0
    means: bool = False
    gain_dc: float = 1.0
    gain_ac: float = 1.0
    seed: int = 1
    span_s: float = 3600.0

    def ac_W(self, time_s):
        """What the load takes at these times. [W]."""
        total = np.zeros_like(time_s)
        for start, stop in self.runs_s:
            on = (time_s >= start) & (time_s < stop)
            since = np.where(on, time_s - start, 0.0)
            total += on * self.run_W * (1 + (self.surge - 1) * np.exp(-((since / 0.25) ** 3)))
        return total

    def dc_W(self, time_s, rng):
        """What leaves the bank at these times. [W]."""
        ac_W = self.ac_W(time_s)
        total = self.idle_W + self.a * ac_W + self.b * ac_W**2
        if self.others:
            for start in rng.uniform(0, self.span_s, 8):
                total = total + 110.0 * ((time_s >= start) & (time_s < start + rng.uniform(100, 500)))
        return total - self.sun_W * (1 + np.sin(2 * np.pi * time_s / 1700.0 + rng.uniform(0, 6)))

    def logs(self):
        """The chunk at the bank and the one behind the inverter, each by its own clock."""
        rng = np.random.default_rng(self.seed)
        if self.means:
            fine_s = np.arange(0.0, self.span_s, 0.05)
            dc_W, ac_W = self.dc_W(fine_s, rng), self.ac_W(fine_s)
            dc_s, dc_W = _means(fine_s, dc_W, self.every_dc_s)
            ac_s, ac_W = _means(fine_s, ac_W, self.every_ac_s)
        else:
            dc_s = np.arange(rng.uniform(0, self.every_dc_s), self.span_s, self.every_dc_s)
            ac_s = np.arange(rng.uniform(0, self.every_ac_s), self.span_s, self.every_ac_s)
            dc_W, ac_W = self.dc_W(dc_s, rng), self.ac_W(ac_s)
        volts = 25.2 - 0.02 * dc_W / 25.0
        current_A = np.round(self.gain_dc * dc_W / volts + rng.normal(0, self.noise_A, len(dc_s)), 2)
        bank = chunk_of(dc_s, current_A=current_A, voltage_V=np.round(volts, 3))
        ac_clock_s = (ac_s - self.offset_s) / (1 + self.drift_ppm * 1e-6)
        watts = np.round(self.gain_ac * ac_W + rng.normal(0, self.noise_W, len(ac_s)), 1)
        return bank, chunk_of(ac_clock_s, power_W=watts)

    def how_dc(self):
        """What a reading at the bank stands for."""
        return how("dc", "mean" if self.means else "instant", gap_limit_s(self.every_dc_s), self.every_dc_s)

    def how_ac(self):
        """What a reading behind the inverter stands for."""
        return how("ac", "mean" if self.means else "instant", gap_limit_s(self.every_ac_s), self.every_ac_s)

    def steps(self):
        """The steps of both logs, and the stretch that the one at the bank measured."""
        bank, behind = self.logs()
        sampling = "mean" if self.means else "instant"
        found = []
        for chunk, reading in ((bank, self.how_dc()), (behind, self.how_ac())):
            plateaus = fed(StepFold(reading, set(chunk.quantities)), chunk).result()
            found.append(steps_of(plateaus, sampling))
        return *found, [(int(bank.time_us[0]), int(bank.time_us[-1]))]

    def offset(self):
        """The offset found."""
        at_bank, behind, spans = self.steps()
        return clock_offset(at_bank, behind, bank_spans_us=spans)

    def true_offset_s(self, at_us):
        """What to add at an instant of the clock behind the inverter. [s]."""
        return self.offset_s + self.drift_ppm * 1e-6 * (at_us - T0_US) / US


def _means(time_s, x, every_s):
    per = round(every_s / (time_s[1] - time_s[0]))
    count = len(x) // per
    return time_s[: count * per : per] + every_s, x[: count * per].reshape(count, per).mean(axis=1)


def random_runs(rng, count=8, span_s=3600.0):
    """Runs of uneven length and rest."""
    lengths = rng.uniform(30, 120, count)
    rests = rng.uniform(40, 1.6 * (span_s - lengths.sum()) / count - 40, count)
    starts = np.cumsum(rests) + np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    runs = [(float(a), float(a + b)) for a, b in zip(starts, lengths, strict=True)]
    return [run for run in runs if run[1] < span_s - 20]


def random_pair(seed, **changes):
    """A pair with everything left to chance: offset, drift, sampling, other loads, noise."""
    rng = np.random.default_rng(seed)
    every_dc_s, every_ac_s = rng.choice([0.5, 1.0, 2.0, 5.0], 2).tolist()
    made = {
        "runs_s": random_runs(rng),
        "every_dc_s": every_dc_s,
        "every_ac_s": every_ac_s,
        "offset_s": float(rng.uniform(-4000, 4000)),
        "drift_ppm": float(rng.normal(0, 60)),
        "noise_A": float(rng.uniform(0.01, 0.1)),
        "noise_W": float(rng.uniform(0.2, 4)),
        "seed": seed,
    }
    return Pair(**(made | changes))
