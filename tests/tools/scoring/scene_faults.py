"""The classes of scenes in which something is wrong, and the findings that each has to give."""

from dataclasses import replace

import numpy as np
from scene_classes import HOUR, flow_of, usual, watered
from scenes import fridge, scene_class
from scenes_parts import hose, household, load_of, wavy, well_runs


@scene_class
def too_slow(rng):
    """A reading a minute, and runs not much longer: the log cannot show them."""
    made = usual(rng, (20.0, 40.0), (60.0,))
    made.with_site = True  # else nobody could tell which load is meant
    made = watered(made, run_s=(40, 70), share=(0.1, 0.3))
    made.must, made.may = {"sampling_too_slow"}, {"short_cycling"}  # a larger motor may start 100 times in 24 h
    return made


@scene_class
def inverter_trips(rng):
    """The start is too much for the inverter at times: it cuts out, and tries again; mostly it succeeds in the end."""
    made = watered(usual(rng, (2.0, 5.0), (0.1, 0.2, 0.5)))
    made.attempt_W = made.pump_W * made.pump["surge"]
    previous = 0.0
    chosen = rng.random(len(made.runs)) < rng.uniform(0.3, 0.8)
    for (start, stop), tries in zip(made.runs, chosen, strict=True):
        now = start
        for _ in range(int(rng.integers(1, 4)) if tries else 0):
            now -= rng.uniform(6.0, 25.0)
            lasted = rng.uniform(max(0.3, 2.5 * made.every_s), 1.3)
            if now - previous > 40:
                made.attempts.append((now, now + lasted))
        previous = stop
    made.attempts.sort()
    made.must = {"start_trip"} if len(made.attempts) >= 3 else set()
    made.may |= {"start_trip", "stalled_start", "surge_over_rating", "overload"}
    return made


@scene_class
def waterlogged(rng):
    """The tank has lost its air: runs of seconds while water is drawn."""
    made = usual(rng, (1.5, 4.0), (0.2, 0.5, 1.0))
    flow = flow_of(made)
    usable_L = flow * rng.uniform(4, 14) / 60
    draws = hose(rng, made.span_s, (60, 400), (100, 500), (0.25 * flow, 0.6 * flow))
    made.runs = well_runs(draws, usable_L, flow, made.span_s)
    made.water = {"tank_volume_L": 160.0, "cut_in_psi": 40, "cut_out_psi": 60, "precharge_psi": 38}
    made.must, made.may = {"short_cycling"}, {"air_charge_lost"}
    return made


@scene_class
def losing_air(rng):
    """The tank loses its air over days: runs and rests both shorten."""
    made = usual(rng, (72.0, 120.0), (1.0, 2.0))
    flow = flow_of(made)
    full_L = flow * rng.uniform(70, 110) / 60
    left = rng.uniform(0.08, 0.15)
    usable = lambda t: full_L * (1 - (1 - left) * min(t / (0.8 * made.span_s), 1.0))  # noqa: E731
    draws = household(rng, made.span_s, made.first_hour, rng.uniform(300, 600))
    made.runs = well_runs(draws, usable, flow, made.span_s)
    made.water = {"tank_volume_L": full_L / 0.258, "cut_in_psi": 40, "cut_out_psi": 60, "precharge_psi": 38}
    made.must, made.may = {"air_charge_lost"}, {"short_cycling"}
    return made


@scene_class
def leak_at_night(rng):
    """Nobody draws water, yet the pump runs at regular times."""
    made = usual(rng, (14.0, 30.0), (0.5, 1.0, 2.0))
    made.first_hour = 18.0
    flow = flow_of(made)
    usable_L = flow * rng.uniform(65, 120) / 60
    leak = usable_L / rng.uniform(12, 50)
    draws = [*household(rng, made.span_s, 18.0, 400.0), (0.0, 1e9, leak)]
    made.runs = well_runs(draws, usable_L, flow, made.span_s)
    made.must, made.may = {"leak_down"}, {"short_cycling"}
    return made


@scene_class
def prime_lost(rng):
    """The water fails within a run: the draw falls to half and the pump runs on, is stopped, and tried again dry."""
    made = watered(usual(rng, (3.0, 6.0), (0.5, 1.0, 2.0)))
    runs = [run for run in made.runs if run[1] < made.span_s - 1800]
    start = runs[int(rng.integers(len(runs) // 2, len(runs)))][0]
    factor = rng.uniform(0.4, 0.65)
    fails = start + rng.uniform(15, 40)
    stop = fails + rng.uniform(120, 900)
    tries = [run for run in runs if run[0] < start]
    tries.append((start, stop))
    for _ in range(int(rng.integers(2, 5))):
        again = tries[-1][1] + rng.uniform(60, 200)
        tries.append((again, again + rng.uniform(40, 120)))
    made.runs = [run for run in tries if run[1] < made.span_s]
    made.pump["spells"], made.unsure_from_s = ((fails, 1e9, factor),), fails
    made.must, made.may = {"prime_lost"}, {"never_cuts_out", "draw_drift", "short_cycling"}
    return made


def _a_day(rng):
    """Most of a day of a household, with fridge, lights and at times the sun."""
    made = usual(rng, (14.0, 26.0), (0.5, 1.0, 2.0))
    made.first_hour = rng.uniform(5.5, 8.0)
    flow = flow_of(made)
    draws = household(rng, made.span_s, made.first_hour, rng.uniform(900, 1800))
    made.runs = well_runs(draws, flow * rng.uniform(70, 120) / 60, flow, made.span_s)
    if rng.random() < 0.4:
        made.sky = wavy(rng, made.span_s, made.pump_W * rng.uniform(0.2, 0.8), made.first_hour)
    return made


@scene_class
def like_dry(rng):
    """Nothing is wrong: other loads are 35 to 75 % of the pump's size, a freezer, a kettle, lights, an oven."""
    made = _a_day(rng)
    kinds = {"freezer": _freezer, "kettle": _kettle, "evening": _evening, "oven": _oven}
    for name in rng.choice(list(kinds), int(rng.integers(1, 4)), replace=False):
        watts = made.pump_W * rng.uniform(0.35, 0.75)
        made.others.append(kinds[str(name)](made, watts))
    made.plate_off = rng.uniform(0.9, 1.12)
    return made


def _freezer(made, watts):
    """A large compressor by its thermostat."""
    return replace(fridge(made, watts, ac=True), name="freezer")


def _kettle(made, watts):
    """Two to five minutes, some times a day."""
    starts = np.sort(made.rng.uniform(0, made.span_s, int(made.rng.integers(2, 9))))
    return load_of("kettle", [(a, a + made.rng.uniform(100, 300)) for a in starts], watts)


def _evening(made, watts):
    """Lights or a heater in the evening, for hours; people draw water meanwhile."""
    start = (made.rng.uniform(17.0, 19.5) - made.first_hour) * HOUR
    return load_of("evening", [(start, start + made.rng.uniform(1.5, 4.0) * HOUR)], watts)


def _oven(made, watts):
    """On and off by its thermostat for an hour."""
    begin = made.rng.uniform(0.1, 0.9) * made.span_s
    return load_of("oven", [(begin + 180 * k, begin + 180 * k + made.rng.uniform(40, 120)) for k in range(20)], watts)


def _dry(made, from_s, until_s=1e9):
    """The water fails: the pump starts as ever and settles at a share of its draw, from 0.35 to 0.75."""
    made.pump["dry"] = ((from_s, until_s, float(made.rng.uniform(0.35, 0.75))),)
    made.must, made.may = {"prime_lost"}, {"never_cuts_out", "draw_drift", "short_cycling"}
    return made


@scene_class
def dry_to_the_end(rng):
    """From some start on there is no water: that run goes on to the end of the log, for an hour and more."""
    made = _a_day(rng)
    last = int(rng.integers(len(made.runs) // 2, max(len(made.runs) - 1, len(made.runs) // 2 + 1)))
    start = made.runs[last][0]
    made.runs = [*made.runs[:last], (start, np.inf)]
    if made.span_s - start < 3 * HOUR:  # nobody could tell
        made.span_s = start + 3 * HOUR
    _dry(made, start - 1)
    made.must |= {"never_cuts_out"} if made.span_s - start > 5 * HOUR else set()
    return made


@scene_class
def dry_starts(rng):
    """Without water from some start on; it is stopped by hand after minutes or hours, and tried again some times."""
    made = _a_day(rng)
    last = int(rng.integers(len(made.runs) // 2, len(made.runs) - 1))
    start = made.runs[last][0]
    made.runs, now = made.runs[:last], start
    for _ in range(int(rng.integers(3, 6))):
        stop = now + rng.choice([rng.uniform(120, 900), rng.uniform(0.5, 2) * HOUR])
        made.runs.append((now, stop))
        now = stop + rng.uniform(60, 600)
    made.span_s = max(made.span_s, now + 600)
    return _dry(made, start - 1)


@scene_class
def dry_first(rng):
    """The log begins with dry runs; then the water is back."""
    made = _a_day(rng)
    now, runs = rng.uniform(300, 1200), []
    for _ in range(int(rng.integers(3, 6))):
        runs.append((now, now + rng.uniform(120, 2400)))
        now = runs[-1][1] + rng.uniform(120, 900)
    made.runs = [*runs, *(run for run in made.runs if run[0] > now + 60)]
    made.with_site = True
    return _dry(made, 0.0, now)


@scene_class
def dry_within(rng):
    """The water fails within a run, which goes on dry to the log's end, or until someone stops it after an hour."""
    made = _a_day(rng)
    last = int(rng.integers(len(made.runs) // 2, len(made.runs) - 1))
    start = made.runs[last][0]
    fails = start + rng.uniform(20, 60)
    stop = rng.choice([np.inf, fails + rng.uniform(1, 3) * HOUR])
    made.runs = [*made.runs[:last], (start, stop)]
    made.span_s = max(made.span_s, fails + 2 * HOUR)
    return _dry(made, fails)


@scene_class
def stalled(rng):
    """The rotor does not turn at times: the full standstill draw for seconds until the protection opens."""
    made = watered(usual(rng, (2.0, 5.0), (0.2, 0.5, 1.0)))
    made.attempt_W = made.pump_W * made.pump["surge"]
    previous = 0.0
    for start, stop in made.runs:
        if rng.random() < 0.5:
            now = start - rng.uniform(30, 90)
            if now - previous > 60:
                made.attempts.append((now, now + rng.uniform(max(2.5, 3 * made.every_s), 6.0)))
        previous = stop
    made.must = {"stalled_start"} if len(made.attempts) >= 3 else set()
    made.may |= {"stalled_start", "start_trip", "surge_over_rating", "overload"}
    return made


@scene_class
def never_cuts_out(rng):
    """A worn pump no longer reaches the cut-out: after some usual runs it goes on for hours, until someone stops it."""
    made = watered(usual(rng, (9.0, 14.0), (1.0, 2.0, 5.0)))
    sound = [run for run in made.runs if run[1] < 0.3 * made.span_s]
    start = sound[-1][1] + rng.uniform(300, 900)
    made.runs = [*sound, (start, start + rng.uniform(3, 5) * HOUR)]
    made.must = {"never_cuts_out"}
    return made


@scene_class
def draw_drifts(rng):
    """A bearing that wears: within a week or two the running draw rises by a quarter."""
    made = usual(rng, (150.0, 300.0), (5.0,))
    flow = flow_of(made)
    draws = household(rng, made.span_s, made.first_hour, rng.uniform(500, 900))
    made.runs = well_runs(draws, flow * rng.uniform(70, 120) / 60, flow, made.span_s)
    more, parts = rng.uniform(0.2, 0.4), 40
    edges = np.linspace(0, made.span_s, parts + 1)
    steps = zip(edges[:-1], edges[1:], np.linspace(0, more, parts), strict=True)
    made.pump["spells"] = tuple((a, b, 1 + rise) for a, b, rise in steps)
    made.must = {"draw_drift"}
    return made


@scene_class
def low_voltage(rng):
    """A bank that is nearly empty and weak: its voltage falls below the owner's limit while the pump runs."""
    made = watered(usual(rng, hp=None), run_s=(90, 200))
    volts, amps = made.bank_V / 12, made.pump_W / made.bank_V
    made.bank = {
        "soc_pct": rng.uniform(20, 35),
        "ohm": 0.7 * volts / amps,
        "lag_ohm": 0.5 * volts / amps,
        "lag_s": 60.0,
    }
    made.with_site, made.limits = True, {"low_voltage_V": 11.3 * volts}
    made.columns = ("current_A", "voltage_V")
    made.must = {"low_voltage"}
    return made


@scene_class
def waterlogged_slow(rng):
    """A tank without air, and a reading each 10 to 30 s: the lengths of runs cannot be told, nor are they judged."""
    made = usual(rng, (4.0, 8.0), (10.0, 20.0, 30.0))
    made.with_site, flow = True, flow_of(made)
    usable_L = flow * rng.uniform(6, 12) / 60
    draws = hose(rng, made.span_s, (200, 900), (100, 500), (0.3 * flow, 0.6 * flow))
    made.runs = well_runs(draws, usable_L, flow, made.span_s)
    made.must, made.may = {"sampling_too_slow"}, {"short_cycling"}  # where rises enough are seen
    return made


@scene_class
def overload(rng):
    """An inverter whose plate says that it cannot give for good what the pump takes."""
    made = watered(usual(rng))
    made.with_site, made.columns = True, ("current_A", "voltage_V")
    made.rating = {"continuous_VA": made.pump_W * rng.uniform(0.6, 0.8)}
    made.must, made.may = {"overload"}, {"surge_over_rating"}
    return made


@scene_class
def surge_over_rating(rng):
    """A start above what the inverter's plate allows, in a log fast enough to see it."""
    made = watered(usual(rng, (1.0, 2.0), (0.05, 0.1)), rests_s=(60, 400))
    made.with_site, made.columns = True, ("current_A", "voltage_V")
    made.meter |= {"window_s": 0.0}
    made.pump |= {"surge": rng.uniform(3.0, 5.0), "surge_s": rng.uniform(0.25, 0.6)}
    # Its running volt-amperes are its watts over a power factor of 0.55 or more, within the continuous rating.
    made.rating = {"continuous_VA": 1.9 * made.pump_W, "surge_VA": 2.0 * made.pump_W, "surge_s": 5}
    made.must, made.may = {"surge_over_rating"}, {"start_trip"}
    return made


@scene_class
def standing_draw(rng):
    """Something draws all the time, more than the owner allows."""
    made = watered(usual(rng))
    made.with_site, made.columns = True, ("current_A", "voltage_V")
    made.place = {"base_W": rng.uniform(120, 300)}
    made.limits = {"standing_draw_W": 60.0}
    made.must = {"standing_draw"}
    return made
