"""Classes about loads of several speeds and drives: a run lasts from rest to rest, at one draw after another."""

from dataclasses import dataclass, replace

import numpy as np
from scene_classes import usual
from scenes import PUMP, lights, scene_class
from scenes_parts import Load, cloudy, wavy

#: A variable torque takes power as the cube of the speed; what head and losses take at any speed, from memory. [1]
AT_LEAST = 0.2


@dataclass(frozen=True)
class Varying(Load):
    """A load whose draw is `share` of ``run_W`` at each of `at_s`, and on a line between them. [1], [s]."""

    at_s: np.ndarray = None
    share: np.ndarray = None

    def instants(self, length_s):
        """How many instants show all of a run. [1]."""
        return int(np.clip(10 * length_s, 400, 20000))

    def power_W(self, time_s):
        """Its power at these times. [W]."""
        i = np.maximum(np.searchsorted(self.starts, time_s, side="right") - 1, 0)
        on = (time_s >= self.starts[i]) & (time_s < self.stops[i])
        drawn = self.run_W * np.interp(time_s, self.at_s, self.share)
        return np.where(on, drawn * (1 + self.wobble * np.sin(time_s / 2.3 + 5 * np.sin(time_s / 13.0))), 0.0)


def varying(made, spells, *, ramp_s, stop_s=0.0, wobble=0.0):
    """Let the pump follow spells: for each run its start, and how long it holds each share of its draw. [s], [1]."""
    runs, at_s, share = [], [0.0], [0.0]
    for start, held in spells:
        now, last = start, 0.0
        for length_s, part in held:
            at_s += [now, now + min(ramp_s, 0.8 * length_s)]
            share += [last, part]
            now, last = now + length_s, part
        at_s += [now, now + stop_s + 1e-3]
        share += [last, 0.0]
        runs.append((start, now + stop_s))
    made.runs = runs
    edges = np.array(runs).reshape(-1, 2)
    load = Varying(PUMP, edges[:, 0], edges[:, 1], made.pump_W, wobble=wobble)
    made.others = [*made.others, replace(load, at_s=np.array(at_s), share=np.array(share))]
    made.must, made.may = set(), {"short_cycling"}
    return made


def stretches(made, length_s, rest_s, held):
    """Runs one after the other, each for a while at one draw and then another; `held` makes those of one run."""
    rng, spells, now = made.rng, [], made.rng.uniform(30, rest_s[1]) + 20 * made.every_s
    while now < made.span_s - 1.5 * length_s[1]:
        parts = held(rng.uniform(*length_s))
        spells.append((now, parts))
        now += sum(part[0] for part in parts) + max(rng.uniform(*rest_s), 6 * made.every_s)
    return spells


def of_speeds(made, speeds, changes):
    """Runs at a few fixed speeds, each after another by chance. [1]."""
    rng = made.rng

    def held(length_s):
        count = int(rng.integers(1, changes + 1))
        picked = [rng.choice(len(speeds))]
        while len(picked) < count:
            picked.append(rng.choice([k for k in range(len(speeds)) if k != picked[-1]]))
        least_s = max(20.0, 8 * made.every_s)
        return [(least_s + rng.dirichlet(np.ones(count))[0] * length_s, speeds[k]) for k in picked]

    return held


def on_demand(made, least_s=6.0):
    """Runs that follow the taps: the draw goes with the flow, and stands low for some seconds before the stop. [1]."""
    rng = made.rng
    least = rng.uniform(AT_LEAST, 0.4)

    def held(length_s):
        parts, left_s = [], length_s
        while left_s > 0:
            flow = rng.uniform(0.1, 1.0)
            part_s = min(max(rng.exponential(length_s / 3), least_s, 4 * made.every_s), left_s + 4 * made.every_s)
            parts.append((part_s, least + (1 - least) * flow ** rng.uniform(1.0, 2.5)))
            left_s -= part_s
        return [*parts, (max(rng.uniform(5, 20), 4 * made.every_s), least)]

    return held


def speeds_of(rng, count):
    """Some fixed speeds, the highest at full draw. [1]."""
    while True:
        shares = np.append(np.sort(rng.uniform(0.08, 0.85, count - 1)), 1.0)
        if np.diff(np.log(shares)).min() > 0.2:
            return shares


@scene_class
def stepped(rng):
    """A small pump of three or four speeds alone behind its meter, watts, nobody's plate: days of it."""
    made = usual(rng, (10.0, 48.0), (2.0, 5.0, 10.0, 30.0))
    made.pump["run_W"], made.with_site, made.side, made.others = rng.uniform(40, 120), False, "ac", []
    held = of_speeds(made, speeds_of(rng, int(rng.integers(3, 5))), 5)
    spells = stretches(made, (200, 2400), (300, 4000), held)
    return varying(made, spells, ramp_s=rng.uniform(0.2, 2.0))


@scene_class
def stepped_at_bank(rng):
    """A pump of two to four speeds at the bank, beside lights; some with a site file that names its full draw."""
    made = usual(rng, (4.0, 12.0), (0.5, 1.0, 2.0))
    made.others = lights(made, 2, 0.04 * made.pump_W)
    held = of_speeds(made, np.maximum(speeds_of(rng, int(rng.integers(2, 5))), 0.2), 4)
    return varying(made, stretches(made, (60, 900), (120, 1500), held), ramp_s=rng.uniform(0.2, 2.0))


@scene_class
def drive(rng):
    """A drive at constant pressure that follows the taps, with ramps of seconds, over a steady base."""
    made = usual(rng, (2.0, 6.0), (0.2, 0.5, 1.0, 2.0))
    made.others = []
    spells = stretches(made, (20, 400), (60, 900), on_demand(made))
    return varying(
        made, spells, ramp_s=rng.uniform(0.5, 5.0), stop_s=rng.uniform(0.0, 1.5), wobble=rng.uniform(0, 0.01)
    )


@scene_class
def drive_beside(rng):
    """The same beside a fridge and lights, most with a site file."""
    made = usual(rng, (3.0, 8.0), (0.5, 1.0, 2.0))
    spells = stretches(made, (30, 600), (90, 900), on_demand(made))
    return varying(
        made, spells, ramp_s=rng.uniform(0.5, 4.0), stop_s=rng.uniform(0.0, 1.0), wobble=rng.uniform(0, 0.01)
    )


@scene_class
def drive_told(rng):
    """The same, and the site file says that it is a drive."""
    made = drive_beside(rng)
    made.with_site, made.start = True, "drive"
    return made


def _under(made, sky):
    """Put an array beside it that charges a bank which is not full. [W]."""
    made.first_hour = made.rng.uniform(5.0, 12.0)
    made.sky = sky(made.rng, made.span_s, made.pump_W * made.rng.uniform(0.5, 1.5), made.first_hour)
    made.bank = {"soc_pct": made.rng.uniform(40, 65)}
    return made


@scene_class
def drive_sun(rng):
    """A drive that the site file names, beside a fridge and lights, while an array charges under thin cloud."""
    return _under(drive_told(rng), wavy)


@scene_class
def drive_clouds(rng):
    """The same under broken cloud."""
    return _under(drive_told(rng), cloudy)


@scene_class
def stepped_sun(rng):
    """A pump of two to four speeds at the bank, beside lights, while an array charges: nobody says that it has any."""
    made = stepped_at_bank(rng)
    made.with_site = False
    return _under(made, wavy)


@scene_class
def stepped_small(rng):
    """Two or three runs in all, each at many speeds, and nobody says so."""
    made = stepped(rng)
    held = of_speeds(made, speeds_of(rng, 4), 9)
    spells = [spell for spell in stretches(made, (1500, 4000), (3000, 9000), held) if len(spell[1]) >= 5]
    made.others = []
    return varying(made, spells[: int(rng.integers(2, 4))], ramp_s=rng.uniform(0.2, 2.0))
