"""Classes about what else runs may be: cut off by a low voltage, another load's, hours long, or hardly seen."""

import numpy as np
from scene_classes import HOUR, flow_of, usual
from scenes import fridge, lights, scene_class
from scenes_parts import cloudy, hose, household, load_of, well_runs

from shuntbook.sample_data.physics import RESTED_V, SOC_PCT

#: A sound tank starts no pump more often than this in an hour, for runs of a minute and more (see health_limits).
MOST_AN_HOUR = 20


def living(made, *, run_s=(65, 110), per_day_L=(250, 600)):
    """A household on a sound tank, for a day or some hours."""
    rng, flow = made.rng, flow_of(made)
    usable_L = flow * rng.uniform(*run_s) / 60
    made.runs = well_runs(
        household(rng, made.span_s, made.first_hour, rng.uniform(*per_day_L)), usable_L, flow, made.span_s
    )
    return made


@scene_class
def cut_off_chops(rng):
    """An empty bank: from some hour on the inverter switches itself off some seconds after each start."""
    made = usual(rng, (10.0, 26.0), (0.5, 1.0, 2.0))
    made.columns = ("current_A", "voltage_V")
    soc_pct, volts, amps = rng.uniform(5, 25), made.bank_V / 12, 1.15 * made.pump_W / made.bank_V
    cut_off_V = 10.75 * volts
    falls_V = np.interp(soc_pct, SOC_PCT, RESTED_V) * volts - cut_off_V * rng.uniform(0.995, 1.008)
    made.bank = {"soc_pct": soc_pct, "ohm": 0.9 * falls_V / amps, "lag_ohm": 0.25 * falls_V / amps, "lag_s": 30.0}
    made.bank["capacity_Ah"] = 60 * amps
    sound = living(made, per_day_L=(400, 800)).runs
    now, runs = rng.uniform(0.2, 0.5) * made.span_s, []
    earlier = [run for run in sound if run[1] < now]
    while now < made.span_s and len(runs) < 90:
        runs.append((now, now + max(rng.uniform(8, 18), 5 * made.every_s)))
        now = runs[-1][1] + (rng.uniform(90, 110) if rng.random() < 0.8 else rng.uniform(600, 3000))
    made.runs = [*earlier, *runs]
    made.rating = {"cut_off_V": cut_off_V}
    made.must, made.may = {"low_voltage"}, set()
    return made


@scene_class
def waterlogged_low_bank(rng):
    """A tank without air on a bank that is low, but not at the inverter's cut-off: the tank is to blame."""
    made = usual(rng, (1.5, 4.0), (0.2, 0.5, 1.0))
    made.bank, made.rating = {"soc_pct": rng.uniform(35, 50)}, {"cut_off_V": 10.5 * made.bank_V / 12}
    flow = flow_of(made)
    draws = hose(rng, made.span_s, (60, 400), (100, 500), (0.25 * flow, 0.6 * flow))
    made.runs = well_runs(draws, flow * rng.uniform(4, 14) / 60, flow, made.span_s)
    made.must, made.may = {"short_cycling"}, {"air_charge_lost", "low_voltage"}  # a start may dip below the cut-off
    return made


@scene_class
def irrigation(rng):
    """A household, and once or twice some hours of watering: runs that end by themselves."""
    made = living(usual(rng, (20.0, 30.0), (1.0, 2.0, 5.0)))
    begin = rng.uniform(0.2, 0.5) * made.span_s
    until = begin + rng.uniform(2.2, 6.0) * HOUR
    made.runs = sorted([(begin, until), *(r for r in made.runs if r[1] < begin - 120 or r[0] > until + 120)])
    return made


def beside(made, watts, *, run_s=(35, 55), every_s=(420, 800)):
    """Let a resistive appliance switch on and off all day."""
    rng, runs, now = made.rng, [], made.rng.uniform(60, every_s[1])
    while now < made.span_s:
        runs.append((now, now + rng.uniform(*run_s)))
        now += rng.uniform(*every_s)
    made.others.append(load_of("appliance", runs, watts))
    return made


@scene_class
def like_draw(rng):
    """An appliance that draws what the pump does, for less than a minute, a hundred times: it is no short-cycling."""
    made = living(usual(rng, (14.0, 30.0), (0.5, 1.0, 2.0), hp=float(rng.choice([1 / 3, 0.5, 0.75, 1.0]))))
    made.plate_off = rng.uniform(0.9, 1.1)
    made.pump["fall"] = rng.uniform(0.04, 0.1)
    return beside(made, made.pump_W * (1 - made.pump["fall"] * rng.uniform(0.2, 0.9)))


@scene_class
def like_draw_waterlogged(rng):
    """The same appliance beside a pump whose tank has no air: the pump short-cycles, whatever stands beside it."""
    made = usual(rng, (3.0, 6.0), (0.2, 0.5, 1.0), hp=float(rng.choice([1 / 3, 0.5, 0.75, 1.0])))
    made.plate_off = rng.uniform(0.9, 1.1)
    made.pump["fall"] = rng.uniform(0.04, 0.1)
    flow = flow_of(made)
    draws = hose(rng, made.span_s, (60, 400), (100, 500), (0.25 * flow, 0.6 * flow))
    made.runs = well_runs(draws, flow * rng.uniform(5, 14) / 60, flow, made.span_s)
    made.must, made.may = {"short_cycling"}, {"air_charge_lost"}
    return beside(made, made.pump_W * (1 - made.pump["fall"] * rng.uniform(0.2, 0.9)), run_s=(60, 200))


@scene_class
def one_pump_many_runs(rng):
    """One pump: a household's runs, hours of watering, and for the last days a tank without air. One kind of run."""
    made = usual(rng, (30.0, 60.0), (0.5, 1.0, 2.0))
    flow, fails_s = flow_of(made), rng.uniform(0.4, 0.7) * made.span_s
    full_L = flow * rng.uniform(70, 110) / 60
    usable = lambda t: full_L if t < fails_s else 0.1 * full_L  # noqa: E731
    draws = household(rng, made.span_s, made.first_hour, rng.uniform(500, 900))
    draws += [(a, a + rng.uniform(1, 2) * HOUR, 0.97 * flow) for a in rng.uniform(0, fails_s, 2)]
    made.runs = well_runs(draws, usable, flow, made.span_s)
    made.must, made.may = {"short_cycling"}, {"air_charge_lost"}
    return made


def proven(made, usable_L, flow, draws):
    """Let the pump run, and ask for short-cycling where enough of its starts show between readings."""
    made.runs = well_runs(draws, usable_L, flow, made.span_s)
    edges = np.array(made.runs)
    time_s = made.every_s * (np.arange(int(made.span_s / made.every_s)) + 1.0)
    k = np.maximum(np.searchsorted(edges[:, 0], time_s, side="right") - 1, 0)
    on = (time_s >= edges[k, 0]) & (time_s < edges[k, 1])
    rises_s = time_s[1:][on[1:] & ~on[:-1]]
    seen = np.searchsorted(rises_s, rises_s + HOUR) - np.arange(len(rises_s))
    made.must = {"short_cycling"} if len(seen) and seen.max() > 1.3 * MOST_AN_HOUR else set()
    made.may = {"short_cycling", "air_charge_lost"}
    return made


@scene_class
def waterlogged_hardly_seen(rng):
    """A tank without air, runs of seconds, instants 5 to 30 s apart: what rises is seen is a lower bound of starts."""
    made = usual(rng, (5.0, 24.0), (5.0, 10.0, 15.0, 20.0, 30.0))
    flow = flow_of(made)
    draws = hose(rng, made.span_s, (600, 2400), (300, 2000), (0.3 * flow, 0.6 * flow))
    return proven(made, flow * rng.uniform(3, 9) / 60, flow, draws)


@scene_class
def waterlogged_in_means(rng):
    """The same in means since the reading before."""
    made = waterlogged_hardly_seen(rng)
    made.meter |= {"sampling": "mean", "window_s": 0.0}
    return made


@scene_class
def waterlogged_behind(rng):
    """The same behind the inverter, in watts alone or with amps, instants or means."""
    made = waterlogged_hardly_seen(rng)
    made.side, made.others = "ac", [fridge(made, ac=True)]
    made.meter |= {"sampling": str(rng.choice(["instant", "mean"])), "offset": 0.0, "noise": 0.02}
    return made


@scene_class
def sound_slow(rng):
    """A sound household in readings 5 to 30 s apart, instants or means, with all sorts of things beside the pump."""
    made = living(usual(rng, (20.0, 60.0), (5.0, 10.0, 15.0, 20.0, 30.0)))
    made.meter |= {"sampling": str(rng.choice(["instant", "mean"])), "window_s": 0.0}
    made.others += lights(made, 3, 0.3 * made.pump_W, 900.0)
    # Beside lights that switch far more in all, nobody asks for a pump of few runs without a word of it.
    made.with_site |= len(made.runs) < 8
    if rng.random() < 0.5:
        kettle = [(a, a + rng.uniform(120, 260)) for a in np.sort(rng.uniform(0, made.span_s, 12))]
        made.others.append(load_of("kettle", kettle, rng.uniform(900, 2200)))
    return made


@scene_class
def sound_slow_sun(rng):
    """The same under an array and broken clouds, quick ones at times, and with a washing machine's drum for an hour."""
    made = sound_slow(rng)
    made.first_hour, made.bank = rng.uniform(6.0, 10.0), {"soc_pct": rng.uniform(40, 65)}
    edge_s, hold_s = ((2.0, 6.0), (20, 200)) if rng.random() < 0.4 else ((8.0, 60.0), (20, 400))
    peak_W = made.pump_W * rng.uniform(0.4, 1.5)
    made.sky = cloudy(rng, made.span_s, peak_W, made.first_hour, edge_s=edge_s, hold_s=hold_s)
    if made.with_site and rng.random() < 0.5:
        turns, now = [], rng.uniform(0.05, 0.3) * made.span_s
        until = now + HOUR
        while now < until:
            turns.append((now, now + rng.uniform(6, 14)))
            now = turns[-1][1] + rng.uniform(3, 8)
        made.others.append(load_of("drum", turns, made.pump_W * rng.uniform(0.15, 0.3), surge=1.5, power_factor=0.7))
    return made
