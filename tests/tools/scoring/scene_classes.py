"""The classes of scenes: what each is about; the rest is left to chance by `scenes.plan`."""

import numpy as np
from scenes import FRIDGE, fridge, lights, plan, scene_class, spans_at_random
from scenes_parts import cloudy, drawdown_L, hose, household, load_of, wavy, well_runs

HOUR = 3600.0


def flow_of(made):
    """A flow that goes with the pump. [L/min]."""
    return float(np.clip(24 * made.hp**0.4 * made.rng.uniform(0.85, 1.3), 14, 60))


def watered(made, *, run_s=(60, 150), rests_s=(120, 700), on_s=(60, 500), share=(0.25, 0.7)):
    """A sound tank, sized for runs of at least `run_s`, and a hose now and then."""
    rng, flow = made.rng, flow_of(made)
    usable_L = flow * rng.uniform(*run_s) / 60
    draws = hose(rng, made.span_s, on_s, rests_s, (share[0] * flow, share[1] * flow))
    made.runs = well_runs(draws, usable_L, flow, made.span_s, at_start=rng.uniform(0.2, 0.9))
    tank_L = usable_L / (drawdown_L(100.0, 1.0, 40.0, 60.0) / 100.0)
    made.water = {"tank_volume_L": tank_L, "cut_in_psi": 40, "cut_out_psi": 60, "precharge_psi": 38}
    made.may |= {"short_cycling"} if run_s[0] < 60 else set()
    return made


def usual(rng, span_h=(2.0, 5.0), every_s=(0.2, 0.5, 1.0, 2.0), **more):
    """A few hours at a usual rate, some loads in the background."""
    made = plan(rng, rng.uniform(*span_h) * HOUR, float(rng.choice(every_s)), **more)
    made.others = [fridge(made), *lights(made, int(rng.integers(1, 4)), 40.0)]
    return made


@scene_class
def clean(rng):
    """One pump, a fine meter, nothing else but a steady base."""
    made = usual(rng)
    made.others = []
    made.meter |= {"noise": 0.01, "resolution": 0.01}
    made.place = {"hum_W": 0.0}
    return watered(made)


@scene_class
def noisy(rng):
    """A noisy meter: some percent of the pump's draw, reading by reading."""
    made = usual(rng)
    amps = made.pump_W / made.bank_V
    made.meter |= {"noise": amps * rng.uniform(0.01, 0.04), "noise_V": 0.03}
    return watered(made)


@scene_class
def base_switching(rng):
    """Many small and middling loads that come and go all the time."""
    made = usual(rng)
    most_W = 0.35 * made.pump_W
    made.others = [fridge(made), *lights(made, 8, most_W, 900.0)]
    return watered(made)


@scene_class
def clouds(rng):
    """An array under broken cloud; at times it gives more than is drawn."""
    made = usual(rng, every_s=(0.5, 1.0, 2.0))
    made.first_hour = rng.uniform(8.5, 12.5)
    peak_W = made.pump_W * rng.uniform(0.5, 1.5)
    made.sky = cloudy(rng, made.span_s, peak_W, made.first_hour)
    made.bank = {"soc_pct": rng.uniform(40, 65)}
    return watered(made)


@scene_class
def two_pumps(rng):
    """A second pump, smaller by some, that overlaps at times; each has its surge. The site file names the first."""
    made = usual(rng, every_s=(0.2, 0.5, 1.0))
    made = watered(made)
    second = hose(rng, made.span_s, (60, 600), (200, 900), (1, 1))
    watts = made.pump_W * rng.uniform(0.35, 0.75)
    runs = [(a, b) for a, b, _ in second]
    made.others.append(load_of("second pump", runs, watts, surge=rng.uniform(2, 4), surge_s=0.3, power_factor=0.7))
    return made


@scene_class
def every_10s(rng):
    """A reading every 10 s: no surge is seen."""
    made = usual(rng, (6.0, 20.0), (10.0,))
    return watered(made, rests_s=(300, 3000))


@scene_class
def every_60s(rng):
    """A reading a minute, and a pump that fills a cistern by a float switch: long runs."""
    made = usual(rng, (40.0, 90.0), (60.0,))
    made.meter |= {"sampling": str(rng.choice(["instant", "mean"]))}
    return watered(made, run_s=(420, 1800), on_s=(600, 3000), rests_s=(1200, 9000))


@scene_class
def irregular(rng):
    """Readings when they come: spacings that scatter by a factor of two and more."""
    made = usual(rng, every_s=(0.5, 1.0, 3.0))
    made.uneven = rng.uniform(0.3, 0.8)
    return watered(made, run_s=(70, 150))


@scene_class
def gaps(rng):
    """A log with holes: pulled plugs, a lost radio; and single rows that are missing."""
    made = usual(rng, every_s=(0.5, 1.0, 2.0))
    for _ in range(int(rng.integers(3, 9))):
        start = rng.uniform(0, made.span_s)
        made.gaps.append((start, start + float(np.exp(rng.uniform(np.log(12 + 6 * made.every_s), np.log(1200))))))
    made.dropped = rng.uniform(0.0, 0.03)
    return watered(made)


@scene_class
def soft_start(rng):
    """The motor is brought up in seconds: no surge."""
    made = usual(rng)
    made.pump |= {"surge": 1.0, "soft_s": rng.uniform(1.0, 6.0)}
    return watered(made)


@scene_class
def long_rests(rng):
    """A few runs in days: hours and hours of rest between them."""
    made = usual(rng, (72.0, 150.0), (2.0, 5.0))
    made.place = {"drift_W": rng.uniform(5, 40), "drift_period_s": 86400.0}
    now = rng.uniform(0.5, 10) * HOUR
    while now < made.span_s:
        stop = now + rng.uniform(70, 900)
        made.runs.append((now, stop))
        now = stop + rng.uniform(3, 30) * HOUR
    made.with_site = True
    return made


@scene_class
def behind_inverter(rng):
    """An AC meter behind the inverter: watts lead."""
    made = usual(rng, every_s=(0.5, 1.0, 2.0, 10.0))
    made.side = "ac"
    made.others = [fridge(made, ac=True), *_ac_things(made)]
    made.meter |= {"sampling": str(rng.choice(["instant", "mean"])), "offset": 0.0, "noise": 0.02}
    return watered(made, run_s=(65, 150))


def _ac_things(made):
    return [
        load_of(f"thing {k}", spans_at_random(made.rng, made.span_s, 1200), made.rng.uniform(20, 0.4 * made.pump_W))
        for k in range(3)
    ]


@scene_class
def drift(rng):
    """A baseline that wanders by as much as the pump draws, and an offset that creeps."""
    made = usual(rng)
    made.place = {"drift_W": made.pump_W * rng.uniform(0.2, 0.8), "drift_period_s": rng.uniform(1500, 7000)}
    made.sky = wavy(rng, made.span_s, made.pump_W * rng.uniform(0.3, 1.0), made.first_hour)
    made.bank = {"soc_pct": rng.uniform(40, 60)}
    return watered(made)


@scene_class
def sagging_bank(rng):
    """A weak bank: the volts sag through long runs, and the inverter takes more amps for the same watts."""
    made = usual(rng)
    volts = made.bank_V / 12
    amps = made.pump_W / made.bank_V
    made.bank = {
        "ohm": 0.4 * volts / amps * rng.uniform(0.6, 1.2),
        "lag_ohm": 1.0 * volts / amps * rng.uniform(0.5, 1.0),
        "lag_s": rng.uniform(40, 250),
    }
    constant_W = made.pump_W * rng.uniform(0.2, 0.6)
    made.others.append(load_of("constant power", [(0.1 * made.span_s, 0.9 * made.span_s)], constant_W))
    made.may = {"low_voltage"}
    return watered(made, run_s=(120, 400), on_s=(200, 900))


@scene_class
def noon_float(rng):
    """A full bank at noon, held at its regulation voltage: the array carries part of the pump."""
    made = usual(rng, (3.0, 5.0), (0.2, 0.5, 1.0, 2.0))
    made.first_hour = rng.uniform(9.5, 11.0)
    peak_W = 100 + made.pump_W * rng.uniform(0.1, 0.9)
    made.sky = wavy(rng, made.span_s, peak_W, made.first_hour, 0.1)
    made.bank = {"floats": True, "accepts_A": rng.uniform(0.5, 4.0)}
    return watered(made)


@scene_class
def fridge_alone(rng):
    """No pump runs, only a fridge: by a site file there is no run of the pump; without one the fridge's are found."""
    made = usual(rng, (8.0, 20.0), (0.5, 1.0, 2.0, 10.0))
    made.others = [fridge(made), *lights(made, 2, 20.0)]
    if not made.with_site:
        made.target = FRIDGE
    return made


@scene_class
def learned(rng):
    """No site file: the pump's draw is learned from the log, fridge and lights beside it."""
    made = usual(rng)
    made.with_site = False
    made.others = [fridge(made), *lights(made, 5, 0.3 * made.pump_W, 1500.0)]
    return watered(made)


@scene_class
def spikes(rng):
    """Lone false rows, high, negative or nought, and rows that are missing."""
    made = usual(rng)
    made.spikes = int(rng.integers(5, 40))
    made.dropped = rng.uniform(0, 0.01)
    return watered(made)


@scene_class
def fast(rng):
    """Twenty readings a second: each start's surge in full."""
    made = usual(rng, (0.6, 1.2), (0.05, 0.1))
    made.meter |= {"window_s": 0.0}
    return watered(made, rests_s=(60, 300))


@scene_class
def kettle(rng):
    """A kettle, heater or saw that draws about as much as the pump or more; the site file knows the pump."""
    made = usual(rng, every_s=(0.5, 1.0))
    made.with_site = True
    ratio = float(rng.choice([rng.uniform(0.4, 0.65), rng.uniform(1.6, 2.4)]))
    runs = [(a, min(b, a + 400)) for a, b in spans_at_random(rng, made.span_s, 900)]
    made.others.append(load_of("kettle", runs, made.pump_W * ratio))
    made.plate_off = rng.uniform(0.9, 1.12)
    return watered(made)


@scene_class
def whole_seconds(rng):
    """Several rows a second at times, stamped with whole seconds and merged."""
    made = usual(rng, every_s=(0.7, 0.9))
    made.whole_seconds, made.jitter = True, 0.5
    return watered(made)


@scene_class
def means(rng):
    """Each reading is the mean since the one before."""
    made = usual(rng, every_s=(1.0, 2.0, 5.0))
    made.meter |= {"sampling": "mean", "window_s": 0.0}
    return watered(made, run_s=(65, 150))


@scene_class
def healthy(rng):
    """A sound household: two hours to days, any sky, any loads, some with a site file."""
    kind = rng.choice(["hours", "day", "days", "cistern"], p=[0.4, 0.3, 0.2, 0.1])
    span_h = {"hours": (2, 6), "day": (20, 30), "days": (48, 120), "cistern": (24, 72)}[str(kind)]
    rates = {"hours": (0.2, 0.5, 1.0, 2.0), "day": (1.0, 2.0, 5.0), "days": (2.0, 5.0, 10.0), "cistern": (10.0, 60.0)}
    made = usual(rng, span_h, rates[str(kind)])
    sky = str(rng.choice(["none", "cloudy", "wavy", "float"], p=[0.4, 0.25, 0.25, 0.1]))
    if sky == "cloudy":
        made.sky = cloudy(rng, made.span_s, made.pump_W * rng.uniform(0.3, 1.2), made.first_hour)
    elif sky != "none":
        made.sky = wavy(rng, made.span_s, made.pump_W * rng.uniform(0.3, 1.2), made.first_hour)
        made.bank = {"floats": sky == "float"}
    if kind == "cistern":
        return watered(made, run_s=(420, 1800), on_s=(600, 3000), rests_s=(2400, 9000), share=(0.2, 0.5))
    flow = flow_of(made)
    usable_L = flow * rng.uniform(70, 130) / 60
    if kind == "hours":
        draws = hose(rng, made.span_s, (60, 300), (400, 1500), (0.2 * flow, 0.6 * flow))
    else:
        draws = household(rng, made.span_s, made.first_hour, rng.uniform(250, 700))
    made.runs = well_runs(draws, usable_L, flow, made.span_s)
    made.uneven = float(rng.choice([0.0, 0.3], p=[0.8, 0.2]))
    made.spikes = int(rng.choice([0, 3], p=[0.8, 0.2]))
    return made
