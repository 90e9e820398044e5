"""Classes with a charger beside the sun, and with the sun alone: whence what came back."""

from itertools import pairwise

import numpy as np
from scene_classes import HOUR, usual, watered
from scenes import scene_class
from scenes_parts import Charger, cloudy, wavy


def charged(made, spells, *, tapers=False):
    """Give a place a charger for some spells, rated as its plate says and giving about that. [s]."""
    rng = made.rng
    made.rated_A = round(float(np.exp(rng.uniform(np.log(15), np.log(90)))))
    made.charger = Charger(
        tuple(spells),
        made.rated_A * rng.uniform(0.88, 1.03),
        ramp_s=float(rng.choice([0.0, rng.uniform(0.5, 8.0)])),
        bulk_s=rng.uniform(0.3, 0.9) * min((b - a for a, b in spells), default=1.0) if tapers else np.inf,
        taper_s=rng.uniform(0.7, 2.0) * HOUR,
    )
    # Room for all that is put in, and no regulation voltage that turns charger and array down together.
    made.bank |= {"soc_pct": rng.uniform(35, 60), "capacity_Ah": 12.0 * made.rated_A}
    made.with_site, made.columns = True, ("current_A", "voltage_V")
    made.must, made.may = set(), {"short_cycling", "low_voltage", "standing_draw", "draw_drift"}
    return made


def spells_between(rng, low_s, high_s, count=(1, 3), lasts_s=(0.4 * HOUR, 3 * HOUR)):
    """Some spells one after the other within a stretch, with rests between them. [s]."""
    number = int(rng.integers(*count, endpoint=True))
    cuts = np.linspace(low_s, high_s, number + 1)
    spells = []
    for a, b in pairwise(cuts):
        length = min(rng.uniform(*lasts_s), 0.8 * (b - a))
        start = a + rng.uniform(0.05, 0.95) * (b - a - length)
        spells.append((start, start + length))
    return spells


def skies(made, kind=None):
    """Broken cloud or thin cloud over an array of some size, in a place whose array carries its loads by day."""
    rng = made.rng
    peak_W = made.pump_W * rng.uniform(0.4, 1.6)
    kind = kind or str(rng.choice(["cloudy", "wavy"]))
    made.sky = (cloudy if kind == "cloudy" else wavy)(rng, made.span_s, peak_W, made.first_hour)
    return made


@scene_class
def charger_no_array(rng):
    """A charger by day or night, and no array; half of them taper."""
    made = usual(rng, (5.0, 12.0), (0.5, 1.0, 2.0, 5.0))
    made = charged(made, spells_between(rng, 0, made.span_s), tapers=bool(rng.random() < 0.5))
    return watered(made)


@scene_class
def charger_at_night(rng):
    """An array, a night from dusk to dawn and some of the day, and a charger in the dark; half of them taper."""
    made = usual(rng, (14.0, 20.0), (2.0, 5.0, 10.0))
    made.first_hour = rng.uniform(15.0, 18.0)
    dark_s = (22.5 - made.first_hour) * HOUR, (27.5 - made.first_hour) * HOUR
    made = charged(skies(made), spells_between(rng, *dark_s, (1, 1)), tapers=bool(rng.random() < 0.5))
    return watered(made, run_s=(70, 150), rests_s=(1200, 5000))


def by_day(rng, sky):
    """Some spells of a charger in daylight, beside the array under one kind of cloud."""
    made = usual(rng, (5.0, 8.0), (0.5, 1.0, 2.0, 5.0))
    made.first_hour = rng.uniform(8.0, 11.0)
    made = charged(skies(made, sky), spells_between(rng, 0.05 * made.span_s, 0.95 * made.span_s, (1, 2)))
    return watered(made, run_s=(70, 150), rests_s=(600, 3000))


@scene_class
def charger_by_day(rng):
    """A charger by day, beside thin cloud: sun and charger together."""
    return by_day(rng, "wavy")


@scene_class
def charger_in_clouds(rng):
    """A charger by day, beside broken cloud."""
    return by_day(rng, "cloudy")


@scene_class
def charger_into_the_night(rng):
    """A charger that is switched on in the evening's light and off in the dark, or on in the dark and off by day."""
    made = usual(rng, (14.0, 20.0), (2.0, 5.0, 10.0))
    made.first_hour = rng.uniform(15.0, 18.0)
    night, lasts = (22.0, 28.0), rng.uniform(1.5, 4.0)
    edge = float(rng.choice(night)) - rng.uniform(0.2, 0.8) * lasts
    start = (edge - made.first_hour) * HOUR
    made = charged(skies(made), [(start, start + lasts * HOUR)], tapers=bool(rng.random() < 0.5))
    return watered(made, run_s=(70, 150), rests_s=(1200, 5000))


@scene_class
def charger_off(rng):
    """A site file with a charger that is never on: sun, clouds, pump and fridge alone, by day, some through a night."""
    made = usual(rng, (5.0, 18.0), (0.5, 1.0, 2.0, 5.0, 10.0))
    made.first_hour = rng.uniform(7.0, 16.0)
    made = charged(skies(made), [])
    made.charger = None
    return watered(made, rests_s=(300, 3000))
