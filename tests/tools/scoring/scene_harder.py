"""Harder classes: what else happens at a bank and looks like a load, or hides one."""

import numpy as np
from scene_classes import usual, watered
from scenes import scene_class, spans_at_random
from scenes_parts import Sky, cloudy, load_of


@scene_class
def sweeps(rng):
    """A charge controller that lets go of the array for a second or two every few minutes, to find its best point."""
    made = usual(rng, every_s=(0.2, 0.5, 1.0))
    made.first_hour, made.bank = rng.uniform(9.0, 11.0), {"soc_pct": rng.uniform(40, 60)}
    made.sky = _let_go(rng, made, made.pump_W * rng.uniform(0.4, 1.3), rng.uniform(240, 900), (0.8, 2.5))
    return watered(made)


def _let_go(rng, made, peak_W, every_s, for_s):
    """An even sky, and moments without any power."""
    knots, through, now = [0.0], [1.0], rng.uniform(0, every_s)
    while now < made.span_s:
        stop = now + rng.uniform(*for_s)
        knots += [now, now + 0.05, stop, stop + 0.3]
        through += [1.0, 0.05, 0.05, 1.0]
        now = stop + every_s * rng.uniform(0.9, 1.1)
    return Sky(peak_W, made.first_hour, np.array(knots), np.array(through))


@scene_class
def relay_controller(rng):
    """An old controller that takes the array off and on again by a relay, for some seconds to minutes, at noon."""
    made = usual(rng, every_s=(0.2, 0.5, 1.0))
    made.first_hour, made.with_site = rng.uniform(9.5, 11.0), True
    made.sky = _let_go(rng, made, made.pump_W * rng.uniform(0.2, 0.55), rng.uniform(40, 200), (10, 60))
    made.plate_off = rng.uniform(0.9, 1.15)
    return watered(made)


@scene_class
def charger(rng):
    """A generator charges the bank for an hour or more while the pump goes on as usual."""
    made = usual(rng, (4.0, 7.0), (0.5, 1.0, 2.0))
    start = rng.uniform(0.1, 0.3) * made.span_s
    stop = start + rng.uniform(0.25, 0.5) * made.span_s
    peak_W = made.pump_W * rng.uniform(0.7, 2.0)
    knots = np.array([0, start, start + 4, (start + stop) / 2, stop, stop + 1, made.span_s])
    made.sky = Sky(peak_W, 12.0, knots, np.array([0, 0, 1, 0.9, 0.4, 0, 0]))
    made.sky = Lasting(made.sky)
    made.bank = {"soc_pct": rng.uniform(30, 45)}
    return watered(made)


class Lasting:
    """A source that does not follow the sun."""

    def __init__(self, sky):
        self._sky = sky

    def power_W(self, time_s):
        """What it gives. [W]."""
        return self._sky.peak_W * np.interp(time_s, self._sky.knots_s, self._sky.through)


@scene_class
def washing(rng):
    """A washing machine: a drum that turns and rests by turns of some seconds for an hour, and a heater."""
    made = usual(rng, every_s=(0.2, 0.5, 1.0))
    made.with_site = True
    begin = rng.uniform(0.05, 0.3) * made.span_s
    turns, now = [], begin
    while now < min(begin + 3600, made.span_s):
        stop = now + rng.uniform(6, 14)
        turns.append((now, stop))
        now = stop + rng.uniform(3, 8)
    made.others.append(load_of("drum", turns, made.pump_W * rng.uniform(0.15, 0.4), surge=1.8, power_factor=0.7))
    heats = [(begin + 120, begin + 120 + rng.uniform(300, 900))]
    made.others.append(load_of("heater", heats, made.pump_W * rng.uniform(1.6, 2.5)))
    made.plate_off = rng.uniform(0.9, 1.12)
    return watered(made)


@scene_class
def fast_clouds(rng):
    """Small broken clouds: the light steps within two to six seconds, by as much as the pump draws."""
    made = usual(rng, every_s=(0.2, 0.5, 1.0))
    made.first_hour, made.with_site = rng.uniform(9.0, 12.0), True
    made.bank = {"soc_pct": rng.uniform(40, 60)}
    peak_W = made.pump_W * rng.uniform(0.4, 1.2)
    made.sky = cloudy(rng, made.span_s, peak_W, made.first_hour, edge_s=(2.0, 6.0), hold_s=(20, 200))
    return watered(made)


@scene_class
def larger_pump(rng):
    """A larger pump, an irrigation pump say, beside the one that the site file knows; they overlap."""
    made = watered(usual(rng, every_s=(0.2, 0.5, 1.0), hp=float(rng.choice([1 / 3, 0.5, 0.75]))))
    made.with_site, made.plate_off = True, rng.uniform(0.9, 1.12)
    runs = [(a, b) for a, b in spans_at_random(rng, made.span_s, 1800)]
    watts = made.pump_W * rng.uniform(1.45, 2.5)
    made.others.append(load_of("larger pump", runs, watts, surge=rng.uniform(2.5, 4), fall=0.05, power_factor=0.7))
    return made


@scene_class
def weak_signal(rng):
    """A small pump over a large, restless base: the pump is a fraction of what flows."""
    made = usual(rng, every_s=(0.5, 1.0, 2.0), hp=1 / 3, bank_V=48.0)
    made.place = {"base_W": rng.uniform(800, 1500), "hum_W": rng.uniform(8, 25), "drift_W": rng.uniform(50, 200)}
    made.bank = {"ohm": rng.uniform(0.02, 0.05), "lag_ohm": rng.uniform(0.02, 0.04)}  # a bank that suits the base
    made.meter |= {"noise": 0.15, "resolution": 0.1}
    return watered(made)


@scene_class
def slow_meter(rng):
    """A meter that averages over some readings, as filters do: each edge is a slope."""
    made = usual(rng, every_s=(0.5, 1.0))
    made.meter |= {"window_s": made.every_s * rng.uniform(1.5, 3)}
    return watered(made)


@scene_class
def coarse(rng):
    """A meter that shows whole or half amps, or tens of watts."""
    made = usual(rng)
    made.meter |= {"resolution": float(rng.choice([0.5, 1.0])), "noise": rng.uniform(0.05, 0.4), "resolution_V": 0.1}
    return watered(made)


@scene_class
def limited_start(rng):
    """An inverter that holds the start at its limit: the motor takes seconds to come up, at twice the running draw."""
    made = usual(rng, every_s=(0.1, 0.2, 0.5, 1.0))
    made.pump |= {"surge": 4.0, "surge_s": rng.uniform(0.8, 3.0), "limit_W": made.pump_W * rng.uniform(1.6, 2.6)}
    return watered(made)


@scene_class
def search_mode(rng):
    """An inverter that sleeps and looks for a load once a second or so: pulses while nothing runs."""
    made = usual(rng, every_s=(0.1, 0.2, 0.5))
    looks, now, period_s = [], 0.0, rng.uniform(0.9, 3.0)
    while now < made.span_s:
        looks.append((now, now + 0.12))
        now += period_s
    made = watered(made)
    busy = np.array([(a - 1, b + 5) for a, b in made.runs])
    undisturbed = [(a, b) for a, b in looks if not np.any((a >= busy[:, 0]) & (a < busy[:, 1]))]
    made.others.append(load_of("looking", undisturbed, rng.uniform(15, 60), ac=False))
    return made


@scene_class
def runs_down(rng):
    """A bank that runs down within a day or two: the same watts take more and more amps, and nothing is wrong."""
    made = usual(rng, (20.0, 40.0), (1.0, 2.0, 5.0))
    made.bank = {"soc_pct": 95.0, "capacity_Ah": made.pump_W / made.bank_V * rng.uniform(3.0, 5.0)}
    return watered(made, run_s=(70, 200), rests_s=(600, 2400), share=(0.2, 0.5))
