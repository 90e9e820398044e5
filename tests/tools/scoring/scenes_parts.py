"""The physical parts of the scenes: water, motors and other loads, inverter, bank, array and meter.

All are functions of time that can be asked at any instants, so that a log of days costs no more than its readings.
The tank (Boyle's law) and the inverter's loss are those of the sample data's simulator, `sample_data.physics`.
Numbers are typical of small off-grid places and made up, unless a source stands beside them.

Not modelled: ripple at mains frequency, warming of cells, friction in pipes; a pump's flow is the same all through a
run (its power is not).
"""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.signal import lfilter

from shuntbook.sample_data.physics import RESTED_V, SOC_PCT, Inverter, Tank

#: AC watts of 4-inch single-phase submersible motors by rated horsepower: a submersible-motor manual, from memory;
#: 1/3, 2 and 3 hp go on in the same proportion.
MOTOR_W = {1 / 3: 480.0, 0.5: 670.0, 0.75: 940.0, 1.0: 1210.0, 1.5: 1770.0, 2.0: 2300.0, 3.0: 3300.0}


@dataclass(frozen=True)
class Load:
    """A load that runs from each of `starts` to each of `stops` [s], at `run_W` once it has settled.

    Its start is `surge` times that and dies away in `surge_s`, held below `limit_W`; with `soft_s` it climbs to its
    draw instead. By the end of a run the draw has fallen by the share `fall`. Within `spells` (start, stop, factor)
    it is multiplied by a factor: a motor that ages. Within `dry` it settles to a share of its draw, and starts as
    ever. ``wobble`` is the share by which it wanders.
    """

    name: str
    starts: np.ndarray
    stops: np.ndarray
    run_W: float
    surge: float = 1.0
    surge_s: float = 0.3
    limit_W: float = np.inf
    soft_s: float = 0.0
    fall: float = 0.0
    wobble: float = 0.0
    spells: tuple = ()
    dry: tuple = ()
    ac: bool = True
    power_factor: float = 0.95

    def instants(self, length_s):
        """How many instants show all of a run. [1]."""
        return 400

    def power_W(self, time_s):
        """Its power at these times. [W]."""
        if not len(self.starts):
            return np.zeros_like(time_s)
        i = np.maximum(np.searchsorted(self.starts, time_s, side="right") - 1, 0)
        on = (time_s >= self.starts[i]) & (time_s < self.stops[i])
        since_s = np.where(on, time_s - self.starts[i], 0.0)
        through = since_s / np.minimum(self.stops[i] - self.starts[i], 1e6)
        # Pressure rises faster towards the end of a run, as the air is squeezed.
        shape = 1 - self.fall * (0.6 * through + 0.4 * through**2)
        shape += self.wobble * np.sin(time_s / 3.1 + 7 * np.sin(time_s / 17.0))
        if self.soft_s:
            shape *= np.minimum(0.15 + 0.85 * since_s / self.soft_s, 1.0)
        for start, stop, factor in self.dry:
            shape = np.where((time_s >= start) & (time_s < stop), shape * factor, shape)
        shape += (self.surge - 1) * np.exp(-((since_s / self.surge_s) ** 3))
        for start, stop, factor in self.spells:
            shape = np.where((time_s >= start) & (time_s < stop), shape * factor, shape)
        return np.where(on, np.minimum(self.run_W * shape, self.limit_W), 0.0)


def load_of(name, runs, run_W, **more):
    """A load from a list of (start, stop)."""
    runs = np.array(runs, dtype=float).reshape(-1, 2)
    return Load(name, runs[:, 0], runs[:, 1], run_W, **more)


# --- water ----------------------------------------------------------------------------------------------------------


def drawdown_L(tank_L, air_share, cut_in_psi, cut_out_psi):
    """What a tank gives between cut-out and cut-in, with a share of the right amount of air left in it. [L]."""
    tank = Tank(tank_L)
    air = tank.air_amount(cut_in_psi - 2.0) * air_share
    return tank.water_at(air, cut_out_psi) - tank.water_at(air, cut_in_psi)


def well_runs(draws, usable_L, flow_L_per_min, span_s, *, at_start=0.6):
    """When the pressure switch runs the pump.

    Parameters
    ----------
    draws : list of (start, stop, flow)
        Water taken [s, s, L/min]; what overlaps adds up. A leak is a draw that never ends.
    usable_L : float or function of time
        Water between cut-in and cut-out. [L]
    flow_L_per_min : float
        What the pump gives.
    at_start : float
        Share of the usable water that is there at first; the pump is off then.
    """
    usable = usable_L if callable(usable_L) else (lambda _: usable_L)
    edges = np.unique([0.0, span_s, *(t for a, b, _ in draws for t in (a, b) if 0 < t < span_s)])
    change = np.zeros(len(edges))
    for start, stop, flow in draws:
        change[np.searchsorted(edges, max(start, 0.0))] += flow if start < span_s else 0.0
        if stop < span_s:
            change[np.searchsorted(edges, stop)] -= flow
    taken = np.cumsum(change)
    level, start_s, runs = at_start * usable(0.0), None, []
    for at, until, draw in zip(edges[:-1], edges[1:], taken[:-1], strict=True):
        now = float(at)
        while now < until:
            rate = ((flow_L_per_min if start_s is not None else 0.0) - draw) / 60.0
            goal = usable(now) if start_s is not None else 0.0
            left_s = (goal - level) / rate if abs(rate) > 1e-9 and (goal - level) / rate >= 0 else np.inf
            if now + left_s >= until:
                level += rate * (until - now)
                break
            now += left_s
            level = goal
            if start_s is None:
                start_s = now
            else:
                runs.append((start_s, now))
                start_s = None
    if start_s is not None:
        runs.append((start_s, np.inf))
    return [run for run in runs if run[0] > 0]


def hose(rng, span_s, on_s, off_s, flow):
    """Water taken in spells, each at a flow of its own."""
    draws, now = [], rng.uniform(*off_s)
    while now < span_s:
        stop = now + rng.uniform(*on_s)
        draws.append((now, stop, rng.uniform(*flow)))
        now = stop + rng.uniform(*off_s)
    return draws


def household(rng, span_s, first_hour, per_day_L):
    """What people take in a day: taps, flushes, showers, washing, some watering; next to nothing at night.

    About 685 L a day for three people (LBNL Home Energy Saver, eq. 26).
    """
    draws = []
    for day in range(int(span_s // 86400) + 2):
        left_L = per_day_L * rng.uniform(0.6, 1.3)
        while left_L > 0:
            hour = rng.choice([7.0, 12.5, 18.5], p=[0.4, 0.2, 0.4]) + rng.normal(0, 1.6)
            flow = rng.uniform(3.0, 11.0)
            liters = min(rng.choice([3.0, 8.0, 45.0, 60.0], p=[0.45, 0.3, 0.15, 0.1]) * rng.uniform(0.5, 1.5), left_L)
            start = (day * 24 + float(np.clip(hour, 5.5, 23.0)) - first_hour) * 3600
            draws.append((start, start + liters / flow * 60, flow))
            left_L -= liters + 0.5
    return [draw for draw in draws if draw[0] < span_s and draw[1] > 0]


# --- array, bank ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sky:
    """The array's power: a bell over the day, times what clouds let through.

    ``knots_s`` and ``through`` draw the clouds; between them the light goes in a straight line.
    """

    peak_W: float
    first_hour: float
    knots_s: np.ndarray
    through: np.ndarray

    def power_W(self, time_s):
        """What it could give at these times. [W]."""
        hour = (self.first_hour + time_s / 3600) % 24
        bell = np.maximum(np.sin(np.pi * (hour - 6) / 12), 0.0) ** 1.3
        return self.peak_W * bell * np.interp(time_s, self.knots_s, self.through)


def no_sky():
    """Night, or no array."""
    return Sky(0.0, 0.0, np.array([0.0]), np.array([1.0]))


def cloudy(rng, span_s, peak_W, first_hour, *, edge_s=(8.0, 60.0), hold_s=(20.0, 400.0), least=0.25):
    """Broken cloud: the light goes up and down by turns, with edges of some seconds."""
    knots, through, now, clear = [0.0], [1.0], 0.0, True
    while now < span_s:
        now += rng.uniform(*hold_s)
        knots.append(now)
        through.append(through[-1])
        clear = not clear
        now += rng.uniform(*edge_s)
        knots.append(now)
        through.append(rng.uniform(0.85, 1.05) if clear else rng.uniform(least, 0.6))
    return Sky(peak_W, first_hour, np.array(knots), np.array(through))


def wavy(rng, span_s, peak_W, first_hour, depth=0.2):
    """Thin high cloud: slow waves, no edges."""
    knots = np.arange(0.0, span_s + 60, 60.0)
    through = np.ones_like(knots)
    for period_s in (900.0, 2500.0, 7000.0):
        through += depth / 3 * np.sin(2 * np.pi * (knots / period_s + rng.uniform()))
    return Sky(peak_W, first_hour, knots, through)


@dataclass(frozen=True)
class Bank:
    """A bank: rested voltage, prompt resistance, and a polarisation that lags the current and recovers.

    ``regulation_V`` is where the charge controller holds it; ``accepts_A`` is what it takes then, ``floats`` whether
    it stands near there whenever the array gives enough (a full bank at noon), else it is emptier.
    """

    nominal_V: float
    capacity_Ah: float
    ohm: float
    lag_ohm: float
    lag_s: float
    soc_pct: float
    regulation_V: float
    accepts_A: float = 2.0
    floats: bool = False

    def slowly(self, net_W, step_s, given_A=0.0):
        """On a grid of steps, while it gives a net power: the rested voltage, and what the polarisation takes of it.

        `given_A` is what a charger gives meanwhile. [A]
        """
        fade = 1 - np.exp(-step_s / self.lag_s)
        if self.floats:
            rested_V = np.full_like(net_W, self.regulation_V - self.ohm * self.accepts_A)
        else:
            rested_V = np.full_like(net_W, self._rested(self.soc_pct))
        lag_V = np.zeros_like(net_W)
        for _ in range(3):
            current_A, _ = self.carries(net_W, rested_V - lag_V, given_A)
            lag_V = lfilter([fade], [1, fade - 1], self.lags_by(current_A))
            if not self.floats:
                soc = self.soc_pct - 100 * np.cumsum(current_A) * step_s / 3600 / self.capacity_Ah
                rested_V = self._rested(np.clip(soc, 0, 100))
        return rested_V, lag_V

    def lags_by(self, current_A):
        """What the polarisation comes to if a current lasts; charging polarises less. [V]."""
        return self.lag_ohm * np.where(current_A > 0, current_A, 0.3 * current_A)

    def _rested(self, soc_pct):
        return np.interp(soc_pct, SOC_PCT, RESTED_V) * self.nominal_V / 12

    def carries(self, net_W, behind_V, given_A=0.0):
        """Current [A] and terminal voltage [V] at a net power: V^2 - V x behind + R x P = 0, the larger root.

        Above the regulation voltage the controller turns the array down, and the bank takes what it takes there. A
        charger's amps, `given_A`, lift the voltage behind by R x I and flow in beside the rest.
        """
        behind_V = behind_V + self.ohm * given_A
        root = np.sqrt(np.maximum(behind_V**2 - 4 * self.ohm * net_W, (0.3 * behind_V) ** 2))
        volts = (behind_V + root) / 2
        current_A = net_W / volts
        held = volts > self.regulation_V
        current_A = np.where(held, (behind_V - self.regulation_V) / self.ohm, current_A)
        return current_A - given_A, np.minimum(volts, self.regulation_V)


@dataclass(frozen=True)
class Charger:
    """A charger that gives `full_A` in each of its `spells` (start, stop), reached in `ramp_s`. [A], [s]

    After `bulk_s` of a spell it tapers to nothing, the time constant of which is `taper_s`.
    """

    spells: tuple
    full_A: float
    ramp_s: float = 0.0
    bulk_s: float = np.inf
    taper_s: float = 3600.0

    def current_A(self, time_s):
        """What it gives at these times. [A]."""
        given = np.zeros_like(time_s)
        for start, stop in self.spells:
            since = time_s - start
            shape = np.clip(since / self.ramp_s, 0, 1) if self.ramp_s else np.ones_like(since)
            shape = shape * np.exp(-np.maximum(since - self.bulk_s, 0) / self.taper_s)
            given = np.where((time_s >= start) & (time_s < stop), self.full_A * shape, given)
        return given


@dataclass(frozen=True)
class Place:
    """All that hangs on one bank: inverter with its AC loads, DC loads, array; `dead` are spells the inverter is off.

    ``hum_W`` is the size of the small things that go on and off behind everything, in steps each some seconds long.
    """

    bank: Bank
    inverter: Inverter
    loads: tuple
    sky: Sky
    charger: Charger | None = None
    dead: tuple = ()
    base_W: float = 10.0
    drift_W: float = 0.0
    drift_period_s: float = 5000.0
    hum_W: float = 0.0
    span_s: float = 3600.0
    slow_s: np.ndarray = field(default=None)
    rested_V: np.ndarray = field(default=None)
    lag_V: np.ndarray = field(default=None)

    def ac_W(self, time_s, without=None):
        """Watts behind the inverter. [W]."""
        total = np.zeros_like(time_s)
        for load in self.loads:
            if load.ac and load.name != without:
                total += load.power_W(time_s)
        return total

    def dc_W(self, time_s, without=None):
        """Watts that all loads together take at the bank. [W]."""
        total = self.inverter.input_power(self.ac_W(time_s, without))
        for start, stop in self.dead:
            total = np.where((time_s >= start) & (time_s < stop), 0.0, total)
        for load in self.loads:
            if not load.ac and load.name != without:
                total = total + load.power_W(time_s)
        total = total + self.base_W + self.drift_W * np.sin(2 * np.pi * time_s / self.drift_period_s)
        return total + self.hum_W * np.sin(time_s / 1.7 + 5 * np.sin(time_s / 23.0))

    def own_W(self, time_s, name):
        """Watts at the bank that one load takes, with what the inverter loses for it. [W]."""
        return self.dc_W(time_s) - self.dc_W(time_s, name)

    def settled(self):
        """This place with the bank's slow state worked out."""
        step_s = float(np.clip(self.span_s / 60000, 0.5, 5.0))
        slow_s = np.arange(0.0, self.span_s + step_s, step_s)
        net_W = self.dc_W(slow_s) - self.sky.power_W(slow_s)
        rested_V, lag_V = self.bank.slowly(net_W, step_s, self.given_A(slow_s))
        return replace(self, slow_s=slow_s, rested_V=rested_V, lag_V=lag_V)

    def at_bank(self, time_s):
        """Current [A] and voltage [V] at the bank."""
        net_W = self.dc_W(time_s) - self.sky.power_W(time_s)
        return self.bank.carries(
            net_W, np.interp(time_s, self.slow_s, self.rested_V - self.lag_V), self.given_A(time_s)
        )

    def given_A(self, time_s):
        """What its charger gives. [A]."""
        return 0.0 if self.charger is None else self.charger.current_A(time_s)

    def without(self, time_s, name):
        """Current and voltage there would be, from the first of these times on, had a load not been switched on then.

        The bank goes on from its state at that time: what is left of the polarisation fades to what the other loads
        alone keep up.
        """
        net_W = self.dc_W(time_s, name) - self.sky.power_W(time_s)
        rested_V, lag_V = (np.interp(time_s[0], self.slow_s, x) for x in (self.rested_V, self.lag_V))
        given_A = self.given_A(time_s)
        stays_V = self.bank.lags_by(self.bank.carries(net_W, rested_V - lag_V, given_A)[0][0])
        lag_V = stays_V + (lag_V - stays_V) * np.exp(-(time_s - time_s[0]) / self.bank.lag_s)
        return self.bank.carries(net_W, rested_V - lag_V, given_A)

    def behind_inverter(self, time_s):
        """AC watts, RMS amps and volts behind the inverter: apparent power adds as vectors do."""
        watts, vars_ = np.zeros_like(time_s), np.zeros_like(time_s)
        for load in self.loads:
            if load.ac:
                part = load.power_W(time_s)
                watts += part
                vars_ += part * np.tan(np.arccos(load.power_factor))
        volts = np.full_like(time_s, 230.0)
        return watts, np.hypot(watts, vars_) / volts, volts


# --- the meter ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Meter:
    """A meter: gain, offset, noise, resolution; each reading averages over `window_s` before its instant.

    ``sampling`` mean: over all the time since the reading before.
    """

    gain: float = 1.0
    offset: float = 0.0
    noise: float = 0.02
    resolution: float = 0.01
    noise_V: float = 0.005
    resolution_V: float = 0.01
    window_s: float = 0.0
    sampling: str = "instant"

    def averaged(self, measure, time_s):
        """What a signal averages to before each instant."""
        if self.sampling == "instant" and not self.window_s:
            return measure(time_s)
        lengths = np.diff(time_s, prepend=2 * time_s[0] - time_s[1]) if self.sampling == "mean" else self.window_s
        count = 30 if np.max(lengths) > 5 else 10
        parts = [measure(time_s - lengths * (k + 0.5) / count) for k in range(count)]
        return tuple(np.mean([part[j] for part in parts], axis=0) for j in range(len(parts[0])))

    def shown(self, true, rng):
        """Amps or watts as it shows them."""
        return _rounded(self.gain * true + self.offset + rng.normal(0, self.noise, len(true)), self.resolution)

    def shown_V(self, true_V, rng):
        """Volts as it shows them."""
        return _rounded(true_V + rng.normal(0, self.noise_V, len(true_V)), self.resolution_V)


def _rounded(x, resolution):
    return np.round(x / resolution) * resolution + 0.0 if resolution else x
