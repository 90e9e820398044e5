"""Seeded, physical logs of loads at a bank, with the truth of every run: what `score_cycles.py` scores against.

`make(name, seed)` makes one log of a class, `class_names()` names them all; ``healthy`` is a class apart: sound places
of all sorts. The parts are in `scenes_parts`, the classes in `scene_classes`, those in which something is wrong in
`scene_faults`, harder ones in `scene_harder`. What counts as what:

- A true run is a run of the load that is asked for (the site's pump; without a site the largest draw, which is a pump,
  or a fridge where there is nothing else). Its charge is the integral of the current at the shunt less what would have
  flowed without the load, between switching on and off, and its energy likewise; behind an inverter it has energy only.
- ``seen`` is the share of its draw that reaches the shunt, the rest coming from the array while that holds the bank at
  its regulation voltage. Runs of which less than half is seen need not be found, and are not false if they are.
- ``sure`` is false for a run that is the load's but does not look like its others (a pump that is dry from its start),
  in a log without a site file: nobody could tell it from another load's. It need not be found either.
- An attempt (the inverter trips, or the motor stalls) is no run.
- ``must`` are the findings that a log has to give, ``may`` those that would be true as well; notes are always free.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta, timezone, tzinfo
from importlib import import_module

import numpy as np
from readings import T0_US, US, HowRead, how
from scenes_parts import MOTOR_W, Bank, Charger, Load, Meter, Place, load_of, no_sky

from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.site.site import Site
from shuntbook.sample_data.physics import Inverter

PUMP, FRIDGE = "well pump", "fridge"


@dataclass(frozen=True)
class TrueRun:
    """A run of the load that is asked for; `stop_s` is infinite where the log ends first. Times from the log's start.

    ``charge_Ah`` and ``energy_Wh`` are what flowed at the shunt more than without it, ``full_Ah`` and ``full_Wh`` what
    it took itself, of bank and array together.
    """

    start_s: float
    stop_s: float
    charge_Ah: float | None
    energy_Wh: float | None
    surge_A: float
    seen: float = 1.0
    sure: bool = True
    full_Ah: float | None = None
    full_Wh: float | None = None


@dataclass(frozen=True)
class TrueReturn:
    """What came back, by where it came from, and the clock of the place: what a charger adds to it is the charger's."""

    charger_Ah: float
    sun_Ah: float
    zone: tzinfo


@dataclass(frozen=True)
class Scene:
    """A log and its truth. `spacing_s` is the usual spacing of readings, `gaps` the stretches without any [s]."""

    name: str
    seed: int
    chunk: Chunk
    how: HowRead
    site: Site | None
    load: str
    runs: tuple[TrueRun, ...]
    attempts: tuple[tuple[float, float], ...]
    others: dict[str, list[tuple[float, float]]]
    gaps: tuple[tuple[float, float], ...]
    must: frozenset[str] = frozenset()
    may: frozenset[str] = frozenset()
    description: str = ""
    returned: TrueReturn | None = None

    @property
    def spacing_s(self) -> float:
        """The usual spacing of its readings. [s]."""
        return self.how.usual_interval_s

    @property
    def time_s(self):
        """Its readings' times, from the log's start. [s]."""
        return (self.chunk.time_us - T0_US) / US


@dataclass
class Plan:
    """What a scene is to be made of; a class changes what it is about and leaves the rest to chance."""

    rng: np.random.Generator
    span_s: float
    every_s: float
    hp: float
    bank_V: float
    runs: list = field(default_factory=list)
    target: str = PUMP
    pump: dict = field(default_factory=dict)
    others: list = field(default_factory=list)
    first_hour: float = 10.0
    sky: object = None
    bank: dict = field(default_factory=dict)
    place: dict = field(default_factory=dict)
    meter: dict = field(default_factory=dict)
    side: str = "dc"
    with_site: bool = True
    columns: tuple[str, ...] = ("current_A", "voltage_V")
    jitter: float = 0.0
    uneven: float = 0.0
    whole_seconds: bool = False
    gaps: list = field(default_factory=list)
    dropped: float = 0.0
    spikes: int = 0
    attempts: list = field(default_factory=list)
    attempt_W: float = 0.0
    must: set = field(default_factory=set)
    may: set = field(default_factory=set)
    water: dict | None = None
    plate_off: float = 1.0
    limits: dict = field(default_factory=dict)
    rating: dict = field(default_factory=dict)
    unsure_from_s: float = np.inf
    start: str | None = None
    charger: Charger | None = None
    rated_A: float | None = None
    inverter: Inverter | None = None

    @property
    def pump_W(self) -> float:
        """AC watts of the pump, settled."""
        return self.pump["run_W"]


def plan(rng, span_s, every_s, *, hp=None, bank_V=None) -> Plan:
    """Everything by chance: motor, bank, inverter, meter, whether there is a site file."""
    hp = hp or rng.choice([1 / 3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0])
    bank_V = bank_V or rng.choice([v for v in (12.0, 24.0, 48.0) if hp <= {12.0: 0.5, 24.0: 1.5, 48.0: 3.0}[v]])
    made = Plan(rng, span_s, every_s, hp, bank_V)
    made.pump = {
        "run_W": MOTOR_W[hp] * rng.uniform(0.9, 1.1),
        "surge": rng.uniform(2.5, 5.0),
        "surge_s": rng.uniform(0.12, 0.5),
        "fall": rng.uniform(0.03, 0.12),
        "wobble": rng.uniform(0.0, 0.006),
        "power_factor": rng.uniform(0.55, 0.75),
    }
    made.plate_off = rng.uniform(0.85, 1.2)
    made.with_site = bool(rng.random() < 0.7)
    made.meter = {
        "gain": rng.normal(1.0, 0.003),
        "offset": rng.normal(0.0, 0.05),
        "noise": rng.uniform(0.01, 0.06),
        "resolution": rng.choice([0.01, 0.05, 0.1]),
        "noise_V": rng.uniform(0.002, 0.01),
        "resolution_V": rng.choice([0.001, 0.01]),
        "window_s": rng.choice([0.0, min(every_s, 0.5)]),
    }
    made.columns = _columns(rng.spawn(1)[0])
    rng.random()
    made.first_hour = rng.uniform(7.0, 17.0)
    return made


def _columns(rng) -> tuple[str, ...]:
    """What a meter at the bank writes: mostly amps and volts, some amps alone, some watts."""
    columns = ("current_A", "voltage_V"), ("current_A", "voltage_V", "power_W"), ("current_A",), ("power_W",)
    return columns[rng.choice(4, p=[0.55, 0.25, 0.1, 0.1])]


def lights(made: Plan, count=6, most_W=60.0, longest_s=3600.0):
    """Lamps and small things on the DC side, on and off at odd times."""
    return [
        load_of(
            f"light {k}", spans_at_random(made.rng, made.span_s, longest_s), made.rng.uniform(5.0, most_W), ac=False
        )
        for k in range(count)
    ]


def spans_at_random(rng, span_s, longest_s):
    """Runs of a person's making: a few, long and short."""
    runs, now = [], rng.uniform(0, 0.3 * span_s)
    while now < span_s:
        stop = now + rng.uniform(0.05, 1.0) * longest_s
        runs.append((now, stop))
        now = stop + rng.uniform(0.2, 2.0) * longest_s
    return runs


def fridge(made: Plan, run_W=None, *, ac=False):
    """A compressor by its thermostat, with a surge of its own."""
    rng = made.rng
    run_s, rest_s = rng.uniform(400, 900), rng.uniform(900, 2200)
    runs, now = [], rng.uniform(30, rest_s)
    while now < made.span_s:
        stop = now + run_s * rng.uniform(0.85, 1.2)
        runs.append((now, stop))
        now = stop + rest_s * rng.uniform(0.85, 1.2)
    watts = run_W or rng.uniform(55, 110)
    more = {"surge": rng.uniform(2.0, 6.0), "surge_s": 0.25, "fall": rng.uniform(0.05, 0.2)}
    return load_of(FRIDGE, runs, watts, ac=ac, power_factor=0.6, **more)


def build(name: str, seed: int, made: Plan) -> Scene:
    """Make the log of a plan."""
    place = _place(made)
    time_s = _times(made)
    meter = Meter(**made.meter)
    measure = place.behind_inverter if made.side == "ac" else place.at_bank
    parts = meter.averaged(measure, time_s)
    quantities = _shown(made, meter, parts)
    time_s, quantities = _spoilt(made, time_s, quantities)
    time_us = T0_US + np.rint(time_s * US).astype(np.int64)
    later = np.concatenate([[True], np.diff(time_us) > 0])
    chunk = Chunk(time_us[later], {n: x[later] for n, x in quantities.items()})
    spacing_s = np.diff(chunk.time_us) / US
    gap_limit_s = max(5 * float(np.percentile(spacing_s, 95)), 10.0)  # as convert sets it
    reading = how(made.side, meter.sampling, gap_limit_s, float(np.median(spacing_s)))
    runs = _true_runs(made, place)
    return Scene(
        name=name,
        seed=seed,
        chunk=chunk,
        how=reading,
        site=_site(made) if made.with_site else None,
        load=made.target,
        runs=runs,
        attempts=tuple(made.attempts),
        others={x.name: list(zip(x.starts.tolist(), x.stops.tolist(), strict=True)) for x in made.others},
        gaps=tuple(_gaps(chunk, gap_limit_s)),
        must=frozenset(made.must),
        may=frozenset(made.may),
        description=_described(made, len(runs)),
        returned=None if made.rated_A is None else _true_return(made, place, chunk, gap_limit_s),
    )


def _true_return(made: Plan, place: Place, chunk: Chunk, gap_limit_s: float) -> TrueReturn:
    """Integrate what came back, and what would have without the charger, over the time that was measured."""
    time_s = (chunk.time_us - T0_US) / US
    t = np.linspace(time_s[0], time_s[-1], int(np.clip(4 * len(time_s), 20_000, 400_000)))
    after = np.clip(np.searchsorted(time_s, t), 1, len(time_s) - 1)
    measured = time_s[after] - time_s[after - 1] <= gap_limit_s
    current_A, _ = place.at_bank(t)
    back_A = np.where(measured, np.maximum(-current_A, 0), 0)
    sun_A = np.where(measured, np.maximum(-current_A - place.given_A(t), 0), 0)
    whole_Ah, sun_Ah = (float(np.trapezoid(x, t / 3600)) for x in (back_A, sun_A))
    hour = (T0_US / US / 3600) % 24
    return TrueReturn(whole_Ah - sun_Ah, sun_Ah, timezone(timedelta(hours=(made.first_hour - hour + 12) % 24 - 12)))


def _described(made: Plan, runs: int) -> str:
    """Say in a line what was made."""
    parts = [f"{made.hp:.2g} hp, {made.bank_V:g} V, every {made.every_s:g} s, {made.meter.get('sampling', 'instant')}"]
    parts += [
        " ".join(made.columns),
        "site" if made.with_site else "no site",
        f"{runs} runs in {made.span_s / 3600:.1f} h",
    ]
    return ", ".join(parts)


def _place(made: Plan) -> Place:
    rng = made.rng
    loads = list(made.others)
    if made.target == PUMP and PUMP not in {x.name for x in loads}:
        loads.append(load_of(PUMP, made.runs, **made.pump))
    if made.attempts:
        starts, stops = np.array(made.attempts).T
        loads.append(Load("attempts", starts, stops, made.attempt_W))
    volts = made.bank_V / 12
    strength = max(made.pump["run_W"], 300) / 1000
    bank = {
        "nominal_V": made.bank_V,
        "capacity_Ah": rng.uniform(500, 900) * strength * 12 / made.bank_V + 100,
        "ohm": rng.uniform(0.003, 0.006) * volts**2 / strength,
        "lag_ohm": rng.uniform(0.002, 0.005) * volts**2 / strength,
        "lag_s": rng.uniform(40, 200),
        "soc_pct": rng.uniform(60, 95),
        "regulation_V": 14.4 * volts,
    }
    inverter = Inverter(rng.uniform(8, 35), rng.uniform(1.04, 1.12), rng.uniform(0.5, 3) * 1e-5 / strength)
    place = {"base_W": rng.uniform(5, 40), "hum_W": rng.uniform(0, 1.5), **made.place}
    sky = made.sky or no_sky()
    # A system that is looked at day after day has the same one each day.
    inverter = made.inverter or inverter
    parts = Bank(**{**bank, **made.bank}), inverter, tuple(loads), sky, made.charger
    return Place(*parts, span_s=made.span_s, **place).settled()


def _times(made: Plan):
    """When readings are taken: evenly, jittered, or unevenly."""
    rng, every_s = made.rng, made.every_s
    count = int(made.span_s / every_s)
    if made.uneven:
        steps = every_s * np.exp(rng.normal(0, made.uneven, count))
        time_s = np.cumsum(steps)
        return time_s[time_s < made.span_s]
    time_s = every_s * (np.arange(count) + 1.0)
    return time_s + made.jitter * every_s * rng.uniform(-0.5, 0.5, count)


def _shown(made: Plan, meter: Meter, parts):
    rng = made.rng
    if made.side == "ac":
        watts, amps, volts = parts
        shown_W = np.round(meter.gain * watts + rng.normal(0, max(0.002 * made.pump_W, 0.5), len(watts)), 1)
        return {
            "power_W": shown_W,
            "current_A": np.maximum(meter.shown(amps, rng), 0),
            "voltage_V": volts + np.round(rng.normal(0, 0.3, len(volts)), 1),
        }
    shown_A, shown_V = meter.shown(parts[0], rng), meter.shown_V(parts[1], rng)
    every = {"current_A": shown_A, "voltage_V": shown_V, "power_W": np.round(shown_A * shown_V, 1)}
    return {name: every[name] for name in made.columns}


def _spoilt(made: Plan, time_s, quantities):
    """Spikes, dropped rows, gaps, and stamps of whole seconds."""
    rng = made.rng
    main = quantities["power_W" if made.side == "ac" or "current_A" not in quantities else "current_A"]
    if made.spikes:
        at = rng.choice(len(main), made.spikes, replace=False)
        largest = np.max(np.abs(main))
        main[at] = rng.choice([-1.0, 1.0, 0.0, 3.0], made.spikes) * largest * rng.uniform(1, 5, made.spikes)
    seen = rng.random(len(time_s)) >= made.dropped
    for start, stop in made.gaps:
        seen &= (time_s < start) | (time_s > stop)
    time_s, quantities = time_s[seen], {n: x[seen] for n, x in quantities.items()}
    if made.whole_seconds:
        second, where = np.unique(np.floor(time_s), return_inverse=True)
        share = np.bincount(where)
        quantities = {n: np.bincount(where, x) / share for n, x in quantities.items()}
        time_s = second
    return time_s, quantities


def _gaps(chunk: Chunk, limit_s: float):
    time_s = (chunk.time_us - T0_US) / US
    for k in np.flatnonzero(np.diff(time_s) > limit_s):
        yield float(time_s[k]), float(time_s[k + 1])


def _true_runs(made: Plan, place: Place) -> tuple[TrueRun, ...]:
    """Work out each run of the load that is asked for."""
    load = next((x for x in place.loads if x.name == made.target), None)
    if load is None:
        return ()
    runs = zip(load.starts.tolist(), load.stops.tolist(), strict=True)
    return tuple(_true_run(made, place, load, start, stop) for start, stop in runs if start < made.span_s)


def _true_run(made: Plan, place: Place, load: Load, start: float, stop: float) -> TrueRun:
    """Integrate a run's draw over instants of its own: close together at its start, up to right before its stop."""
    until = min(stop, made.span_s) - 1e-6
    close_s = min(start + 6, until)
    t = np.unique(
        np.concatenate([np.linspace(start, close_s, 300), np.linspace(start, until, load.instants(until - start))])
    )
    hours = t / 3600
    own_W = load.power_W(t) if made.side == "ac" else place.own_W(t, load.name)
    i, v = place.at_bank(t)
    i0, v0 = place.without(t, load.name)
    above_W = own_W if made.side == "ac" else i * v - i0 * v0
    sums = [None] * 4
    if stop < made.span_s:
        sums = [float(np.trapezoid(x, hours)) for x in (i - i0, above_W, own_W / v, own_W)]
    charge_Ah, energy_Wh, full_Ah, full_Wh = sums
    settled = t - start > min(6, (until - start) / 2)
    share = np.median((i - i0)[settled]) / np.median((own_W / v)[settled])
    return TrueRun(
        start,
        stop,
        charge_Ah,
        energy_Wh,
        surge_A=float(np.max((i - i0)[t - start <= 5])),
        seen=1.0 if made.side == "ac" else min(float(share), 1.0),
        sure=made.with_site or start < made.unsure_from_s,
        full_Ah=full_Ah,
        full_Wh=full_Wh,
    )


def _site(made: Plan) -> Site:
    """A site file as its owner would write it: the plate is off by some tens of percent, as plates are."""
    plate_W = made.pump_W * made.plate_off
    tables = {
        "name": "a made-up place",
        "bank": {"nominal_V": made.bank_V, "capacity_Ah": 400, "hour_rate_h": 20},
        "inverters": [
            {
                "name": "inverter",
                "continuous_VA": 6 * made.pump_W,
                "efficiency_pct": 90,
                "idle_W": 20,
                "always_on": True,
            }
        ],
        "loads": [
            {"name": PUMP, "kind": "pump", "inverter": "inverter", "voltage_V": 230, "power_W": plate_W, "hp": made.hp}
        ],
    }
    tables["inverters"][0] |= made.rating
    if made.start:
        tables["loads"][0]["start"] = made.start
    if made.rated_A is not None:
        tables["chargers"] = [{"name": "charger", "rated_A": made.rated_A}]
        if made.sky is not None:
            tables["array"] = {"power_W": made.sky.peak_W}
    if made.limits:
        tables["limits"] = made.limits
    if made.water is not None:
        tables["water"] = {"load": PUMP, **made.water}
    return Site.model_validate(tables)


MAKERS: dict[str, Callable[[np.random.Generator], Plan]] = {}


def scene_class(maker):
    """Enter a function that makes a plan into the classes, by its name."""
    MAKERS[maker.__name__] = maker
    return maker


def enter_classes() -> None:
    """Import the modules that enter their classes into `MAKERS`; they build on this one, so not before it is there."""
    for module in ("scene_classes", "scene_faults", "scene_harder", "scene_runs", "scene_speeds", "scene_chargers"):
        import_module(module)


def make(name: str, seed: int) -> Scene:
    """Make the log of a class and a seed; the same again each time."""
    enter_classes()
    number = int.from_bytes(name.encode(), "little") % 2**31
    return build(name, seed, MAKERS[name](np.random.default_rng([number, seed])))


def class_names() -> list[str]:
    """Return the names of all classes, healthy logs apart."""
    enter_classes()
    return [name for name in MAKERS if name != "healthy"]
