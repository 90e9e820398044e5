"""Invented loads, arrays and meters for the coverage of the uncertainty: what flows, and what a meter makes of it.

A *cell* holds what stays the same over a hundred logs: the kind of loads, the sampling and the meter's figures. A *log*
draws the rest anew: the instants of all switching, the levels within 3 % (so that the last digit falls anywhere), and
every error of the meter from the distribution that its figure stands for. All figures are invented for the purpose.
"""

from dataclasses import dataclass, replace

import numpy as np
from readings import T0_US, US, chunk_of, how
from true_signals import Signal, added, moved, sagging

from shuntbook.analysis.sureness.meter_figures import Accuracy, MeterFigures

HOUR_S = 3600.0
MOST_READINGS = 20_000
LEAST_INTERVALS = 3.3  # a run lasts at least three intervals, also where these vary by a tenth
ERRORS = ("gain", "offset", "resolution", "clock", "noise")


@dataclass(frozen=True)
class Load:
    """A load that runs and rests in turn, for times drawn between two bounds."""

    draw_A: float
    run_s: tuple[float, float]
    rest_s: tuple[float, float]
    slope: float = 0.0  # how much the draw changes from a run's start to its stop, as a share
    surge_A: float = 0.0  # extra draw of a start
    surge_s: float = 0.0


@dataclass(frozen=True)
class Cell:
    """What stays the same over the logs of a cell."""

    sampling: str
    every_s: float
    length_s: float
    figures: MeterFigures
    noise_A: float
    noise_V: float
    base_A: float
    loads: tuple[Load, ...]
    array_A: float = 0.0
    cloud_s: float = 0.0
    rest_V: tuple[float, float] = (25.4, 24.8)
    resistance_ohm: float = 0.02
    jitter: float = 0.0  # by which share the intervals vary
    window: bool = False
    gaps: bool = False
    ripple: float = 0.0  # amplitude of the loads' ripple, as a share of their draw
    beat_Hz: float = 0.0  # how fast it seems to go by in the readings; nought: each reading anywhere on it
    typed: bool = False  # held readings: typed after changes; else glances
    base_by_A: float = 0.0  # how far the base differs from log to log, beside the 3 %
    swell_A: float = 0.0  # how far the base rises and falls, as slowly as a sine of `swell_s`
    swell_s: float = HOUR_S

    @property
    def surge(self):
        """What a start draws above the running draw, and for how long. [A], [W] at the sagging bank, [s]."""
        load = max(self.loads, key=lambda load: load.surge_A)
        rest_V, running_A = sum(self.rest_V) / 2, self.base_A + load.draw_A
        extra_W = load.surge_A * (rest_V - self.resistance_ohm * (2 * running_A + load.surge_A))
        return load.surge_A, extra_W, load.surge_s


@dataclass(frozen=True)
class Log:
    """What the meter gave, how to read it, and what truly moved in the time it stands for."""

    chunk: object
    how: object
    window: dict
    truth: dict
    starts: int


# -- what flows --------------------------------------------------------------------------------------------------------


def switching(load, length_s, chance):
    """One load's current from before 0 to past `length_s`, and the instants of its starts and stops."""
    count = int(length_s / (load.run_s[0] + load.rest_s[0])) + 3
    run, rest = chance.uniform(*load.run_s, count), chance.uniform(*load.rest_s, count)
    level_A = load.draw_A * chance.uniform(0.97, 1.03)
    times = np.stack([rest, run], axis=1).ravel().cumsum()
    edges_s = np.concatenate([[0.0], times]) - chance.uniform(0, run[0] + rest[0])
    first, last = np.zeros(2 * count), np.zeros(2 * count)
    first[1::2], last[1::2] = level_A, level_A * (1 + load.slope)
    return Signal(edges_s, first, last), edges_s[1:]


def surges(load, edges_s, length_s):
    """The extra draw of each start: a block of `surge_A` for `surge_s`."""
    begin_s = edges_s[::2]
    begin_s = begin_s[(begin_s > 0) & (begin_s + load.surge_s < length_s)]
    knots = np.stack([begin_s, begin_s + load.surge_s], axis=1).ravel()
    level = np.zeros(len(knots) + 1)
    level[1::2] = load.surge_A
    return Signal(np.concatenate([[-1.0], knots, [length_s + 1]]), level, level)


def constant(value, length_s):
    """A signal that never changes."""
    return Signal(np.array([-1.0, length_s + 1]), np.array([value]), np.array([value]))


def swelling(cell, chance):
    """A draw that rises and falls slowly: a sine, in straight pieces, that begins anywhere."""
    count = int(cell.length_s / cell.swell_s * 48) + 4
    edges_s = -60.0 + np.arange(count) * cell.swell_s / 48
    value = cell.swell_A * np.sin(2 * np.pi * (edges_s / cell.swell_s + chance.uniform()))
    return Signal(edges_s, value[:-1], value[1:])


def sunshine(cell, chance):
    """What the array gives: half a sine from six to eighteen, dimmed by clouds that come and go over some seconds."""
    begin_h = chance.uniform(5, 18 - min(cell.length_s / HOUR_S, 12)) if cell.length_s < 13 * HOUR_S else 0.0
    count = int(cell.length_s / cell.cloud_s) + 3
    clear_s, cloud_s = chance.uniform(1, 12, count) * cell.cloud_s, chance.uniform(1, 6, count) * cell.cloud_s
    fade_s, thin = chance.uniform(2, 20, count), chance.uniform(0.2, 0.8, count)
    start_s = np.cumsum(clear_s + cloud_s) - cloud_s - chance.uniform(0, clear_s[0] + cloud_s[0])
    stop_s = start_s + cloud_s
    knots = np.stack([start_s, start_s + fade_s, stop_s - fade_s, stop_s], axis=1).ravel()
    dim = np.stack([np.ones(count), thin, thin, np.ones(count)], axis=1).ravel()
    grid = np.unique(np.concatenate([np.arange(-60.0, cell.length_s + 120, 60.0), knots]))
    grid = grid[(grid >= -60) & (grid <= cell.length_s + 120)]
    sun = np.maximum(np.sin(np.pi * (begin_h + grid / HOUR_S - 6) / 12), 0)
    value = -cell.array_A * chance.uniform(0.97, 1.03) * sun * np.interp(grid, knots, dim)
    return Signal(grid, value[:-1], value[1:])


def flowing(cell, chance):
    """The true current of one log, the instants of every change of a load, and those of every start."""
    base_A = cell.base_A * chance.uniform(0.97, 1.03) + within(cell.base_by_A, chance)
    parts = [constant(base_A, cell.length_s)]
    changes, starts = [np.empty(0)], [np.empty(0)]
    if cell.swell_A:
        parts.append(swelling(cell, chance))
    for load in cell.loads:
        signal, edges_s = switching(load, cell.length_s, chance)
        parts.append(signal)
        changes.append(edges_s)
        starts.append(edges_s[::2])
        if load.surge_A:
            parts.append(surges(load, edges_s, cell.length_s))
    if cell.array_A:
        parts.append(sunshine(cell, chance))
    return added(parts, cell.length_s), np.sort(np.concatenate(changes)), np.sort(np.concatenate(starts))


# -- what the meter makes of it ----------------------------------------------------------------------------------------


def within(limit, chance):
    """An error drawn from the rectangular distribution that a limit stands for."""
    return chance.uniform(-limit, limit)


def read(true, accuracy, noise, chance):
    """What a display shows: a factor and an offset for the whole log, white noise, and a last digit."""
    gain = (1 + within(accuracy.reading_pct / 100, chance)) * (1 + within(accuracy.class_pct / 100, chance))
    offset = within(accuracy.range_pct / 100 * accuracy.full_scale, chance) + within(accuracy.zero, chance)
    shown = true * gain + offset + chance.normal(0, 1, len(true)) * noise
    return np.rint(shown / accuracy.resolution) * accuracy.resolution if accuracy.resolution else shown


def instants(cell, changes_s, chance):
    """When readings are made, by a clock without error. [s]."""
    if cell.sampling == "held":
        return glances(cell, changes_s, chance)
    count = int((cell.length_s - 3 * cell.every_s) / (cell.every_s * (1 + cell.jitter / 2)))
    spacing = cell.every_s * (1 + chance.uniform(-cell.jitter, cell.jitter, count))
    return cell.every_s * (1 + chance.uniform(0, 1)) + np.cumsum(spacing)


def glances(cell, changes_s, chance):
    """When a person looks: at random, or some seconds after each change of a load; and at the beginning and the end."""
    inside = changes_s[(changes_s > 0) & (changes_s < cell.length_s - 60)]
    if cell.typed:
        times = inside + chance.exponential(cell.every_s, len(inside))
    else:
        times = chance.uniform(0, cell.length_s, int(cell.length_s / cell.every_s))
    times = np.concatenate([[0.0], times, [cell.length_s]])
    return np.unique(np.round(times[times <= cell.length_s], 1))


def recorded(cell, chance):
    """Simulate one log of a cell."""
    current_A, changes_s, starts_s = flowing(cell, chance)
    voltage_V = sagging(
        current_A, rest_start_V=cell.rest_V[0], rest_stop_V=cell.rest_V[1], resistance_ohm=cell.resistance_ohm
    )
    time_s = instants(cell, changes_s, chance)
    before_s = time_s[0] - cell.every_s
    if cell.sampling == "mean":
        true = [signal.means(np.concatenate([[before_s], time_s])) for signal in (current_A, voltage_V)]
    else:
        true = [signal.at(time_s) for signal in (current_A, voltage_V)]
    if cell.ripple:
        extra_A = (true[0] - cell.base_A) * cell.ripple * np.cos(phases(cell, time_s, chance))
        true = [true[0] + extra_A, true[1] - cell.resistance_ohm * extra_A]
    amps = read(true[0], cell.figures.current, cell.noise_A, chance)
    volts = read(true[1], cell.figures.voltage, cell.noise_V, chance)
    rate = 1 + within(cell.figures.clock_ppm * 1e-6, chance)
    span_s = (before_s if cell.sampling == "mean" else time_s[0], time_s[-1])
    if cell.window:
        length_s = span_s[1] - span_s[0]
        start_s = span_s[0] + chance.uniform(0, 0.5) * length_s
        span_s = (start_s, start_s + chance.uniform(0.05, 0.45) * length_s)
    seen = np.ones(len(time_s), dtype=bool)
    gap_limit_s = max(5 * cell.every_s * 1.1, 10.0)
    covered = [span_s]
    if cell.gaps:
        seen, covered = with_gap(cell, time_s, gap_limit_s, chance)
    return Log(
        chunk=chunk_of(time_s[seen] * rate, current_A=amps[seen], voltage_V=volts[seen]),
        how=how(sampling=cell.sampling, gap_limit_s=gap_limit_s, usual_interval_s=cell.every_s * rate),
        window={"from_us": us(span_s[0] * rate), "to_us": us(span_s[1] * rate)} if cell.window else {},
        truth=truth(current_A, voltage_V, covered),
        starts=int(np.sum((starts_s > span_s[0]) & (starts_s < span_s[1]))),
    )


def phases(cell, time_s, chance):
    """Where on the ripple's wave each reading falls."""
    if not cell.beat_Hz:
        return chance.uniform(0, 2 * np.pi, len(time_s))
    return 2 * np.pi * (cell.beat_Hz * time_s + chance.uniform())


def with_gap(cell, time_s, gap_limit_s, chance):
    """Leave out some readings in the middle; return which are seen, and the stretches they stand for."""
    long = int(np.ceil(gap_limit_s * 1.2 / cell.every_s)) + 1
    first = int(chance.integers(2, len(time_s) - 2 * long - 2))
    last = first + long + int(chance.integers(0, long))
    seen = np.ones(len(time_s), dtype=bool)
    seen[first:last] = False
    back_s = cell.every_s if cell.sampling == "mean" else 0.0
    return seen, [(time_s[0] - back_s, time_s[first - 1]), (time_s[last] - back_s, time_s[-1])]


def us(elapsed_s):
    """The instant, on the clock of `chunk_of`. [us]."""
    return T0_US + round(elapsed_s * US)


def truth(current_A, voltage_V, covered):
    """What truly moved in some stretches. [Ah], [Wh]."""
    amounts = {}
    for unit, volts in (("Ah", None), ("Wh", voltage_V)):
        drawn, returned = np.sum([moved(current_A, a, b, volts) for a, b in covered], axis=0) / HOUR_S
        amounts |= {f"drawn_{unit}": drawn, f"returned_{unit}": returned, f"net_{unit}": drawn - returned}
    return amounts


# -- the cells ---------------------------------------------------------------------------------------------------------


def log_uniform(low, high, chance):
    """A number whose logarithm is anywhere between two bounds alike."""
    return float(np.exp(chance.uniform(np.log(low), np.log(high))))


def some_load(draw_A, every_s, chance):
    """A load whose runs last at least three intervals."""
    least_s = max(LEAST_INTERVALS * every_s, chance.uniform(10, 120))
    return Load(
        draw_A=draw_A,
        run_s=(least_s, least_s * chance.uniform(1.2, 5)),
        rest_s=(least_s, least_s * chance.uniform(2, 10)),
        slope=chance.uniform(-0.05, 0.05),
    )


def some_figures(highest_A, chance):
    """What a data sheet may say; every source of error is large in some cells and absent in others."""
    current = Accuracy(
        reading_pct=chance.choice([0.05, 0.1, 0.5, 1.0]),
        range_pct=chance.choice([0.0, 0.02, 0.1, 0.2]),
        full_scale=highest_A * chance.uniform(1.1, 4),
        zero=chance.choice([0.0, 0.0, 0.01, 0.05]),
        resolution=chance.choice([0.0, 0.001, 0.01, 0.1]),
        class_pct=chance.choice([0.0, 0.0, 0.25, 0.5]),
    )
    voltage = Accuracy(
        reading_pct=chance.choice([0.05, 0.1, 0.5]),
        range_pct=chance.choice([0.0, 0.1]),
        full_scale=40.0,
        resolution=chance.choice([0.001, 0.01, 0.1]),
    )
    return MeterFigures(current=current, voltage=voltage, clock_ppm=chance.choice([20.0, 100.0, 200.0]))


def cell_of(scene, sampling, every_s, chance):
    """Draw a cell of a scene: `pump`, `mixed` or `charging`."""
    if scene == "pump":
        draws = [log_uniform(10, 120, chance)]
    else:
        draws = [log_uniform(0.5, 50, chance) for _ in range(int(chance.integers(2, 6)))]
    array_A = chance.uniform(10, 60) if scene == "charging" else 0.0
    return Cell(
        sampling=sampling,
        every_s=every_s,
        length_s=min(chance.uniform(1, 24) * HOUR_S, max(HOUR_S, MOST_READINGS * every_s)),
        figures=some_figures(max(sum(draws), array_A), chance),
        noise_A=log_uniform(0.002, 0.2, chance),
        noise_V=log_uniform(0.001, 0.02, chance),
        base_A=log_uniform(0.1, 3, chance),
        loads=tuple(some_load(draw_A, every_s, chance) for draw_A in draws),
        array_A=array_A,
        cloud_s=max(LEAST_INTERVALS * every_s, chance.uniform(45, 300)),
        rest_V=(chance.uniform(24.8, 26), chance.uniform(24.4, 25.6)),
        resistance_ohm=chance.uniform(0.005, 0.03),
        jitter=chance.choice([0.0, 0.1]),
    )


def steady_cell(sampling, every_s, chance, *, swells):
    """A cell of a draw that stands still, or swells by a digit or two, under a coarse digit and noisy volts."""
    digit_A = float(chance.choice([0.1, 0.2, 0.5, 1.0]))
    cell = cell_of("pump", sampling, every_s, chance)
    current = replace(cell.figures.current, resolution=digit_A, zero=0.0, full_scale=60.0)
    return replace(
        cell,
        figures=replace(cell.figures, current=current),
        base_A=digit_A * log_uniform(1.2, 60, chance),
        base_by_A=digit_A,
        swell_A=digit_A * chance.uniform(0.1, 2.5) if swells else 0.0,
        swell_s=log_uniform(900, 20_000, chance),
        noise_A=digit_A * chance.choice([0.01, 0.1, 0.3]),
        noise_V=log_uniform(0.002, 0.1, chance),
        length_s=max(cell.length_s, 2 * HOUR_S),
        loads=(),
    )


def sun_and_pump_cell(sampling, every_s, chance):
    """A cell of a day with sun and clouds, a pump of short runs, a fridge and a few others: both signs in one mean."""
    cell = cell_of("charging", sampling, every_s, chance)
    kinds = {  # the draw, how long a run and a rest last at least, and how many times that at most
        "pump": ((10, 60), (45, 180), (120, 1800)),
        "fridge": ((2, 8), (300, 900), (600, 1800)),
        "kettle": ((15, 70), (90, 240), (3600, 14_400)),
        "lamps": ((0.5, 5), (1800, 7200), (1800, 7200)),
    }
    names = ["pump", *(name for name in ("fridge", "kettle", "lamps") if chance.uniform() < 0.7)]
    drawn = {name: [log_uniform(*bounds, chance) for bounds in kinds[name]] for name in names}
    loads = [
        Load(
            draw_A=draw_A,
            run_s=(run_s, run_s * chance.uniform(1.05, 2.5)),
            rest_s=(rest_s, rest_s * chance.uniform(1.5, 6)),
            slope=chance.uniform(-0.05, 0.05),
        )
        for draw_A, run_s, rest_s in drawn.values()
    ]
    array_A = log_uniform(6, 60, chance)
    highest_A = max(sum(load.draw_A for load in loads), array_A)
    return replace(
        cell,
        figures=some_figures(highest_A, chance),
        loads=tuple(loads),
        base_A=log_uniform(0.3, 6, chance),
        array_A=array_A,
        cloud_s=log_uniform(30, 600, chance),
        length_s=chance.uniform(8, 24) * HOUR_S,
    )


def held_cell(every_s, chance, *, typed):
    """A cell of readings by eye: glances some minutes apart, or typed some seconds after each change."""
    cell = cell_of("mixed", "held", 30.0, chance)
    every_s = chance.uniform(2, 20) if typed else chance.uniform(60, 1200)
    return replace(cell, every_s=every_s, typed=typed, jitter=0.0)


def surge_cell(every_s, chance):
    """A cell of pump cycles whose starts draw more for a shorter time than the spacing of the readings."""
    lasts_s = chance.uniform(0.2, min(2.0, 0.7 * every_s))
    cell = cell_of("pump", "instant", every_s, chance)
    load = replace(cell.loads[0], surge_A=cell.loads[0].draw_A * chance.uniform(1, 6), surge_s=lasts_s)
    return replace(cell, loads=(load,))


def rippled_cell(every_s, chance, *, beat_Hz):
    """A cell of a pump, and perhaps other loads, whose inverter's ripple is read at instants one to ten a second."""
    every_s = float(chance.choice([0.1, 0.5, 1.0]))
    cell = cell_of(str(chance.choice(["pump", "mixed"])), "instant", every_s, chance)
    loads = [replace(load, run_s=(60.0, 240.0), rest_s=(120.0, 700.0)) for load in cell.loads]
    length_s = chance.uniform(2, 4) * HOUR_S
    return replace(cell, loads=tuple(loads), length_s=length_s, ripple=chance.uniform(0.2, 1.0), beat_Hz=beat_Hz)


def in_step_cell(every_s, chance):
    """A cell of a load that is switched every few readings, in step with them; and rests for some time."""
    cell = cell_of("pump", "instant", every_s, chance)
    period_s = every_s * chance.integers(3, 9)
    run_s = period_s * chance.uniform(0.2, 0.8)
    load = replace(cell.loads[0], run_s=(run_s, run_s), rest_s=(period_s - run_s, period_s - run_s), slope=0.0)
    return replace(cell, loads=(load,), jitter=0.0)


def without(cell, sources):
    """The cell with some sources of error switched off, in what the meter does and in what is stated of it alike."""
    figures = cell.figures
    off = {
        "gain": {"reading_pct": 0.0, "class_pct": 0.0},
        "offset": {"range_pct": 0.0, "zero": 0.0},
        "resolution": {"resolution": 0.0},
    }
    for source in sources:
        if source in off:
            figures = replace(
                figures,
                current=replace(figures.current, **off[source]),
                voltage=replace(figures.voltage, **off[source]),
            )
    if "clock" in sources:
        figures = replace(figures, clock_ppm=0.0)
    if "noise" in sources:
        cell = replace(cell, noise_A=0.0, noise_V=0.0)
    return replace(cell, figures=figures)
