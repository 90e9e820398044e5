"""What a load's cycles are held against: the owner's own limits first, then published ones, each with its source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from ..equipment.demand import power_factors
from ..equipment.inverter_losses import DESIGN_SOURCE, beyond_idle_W, efficiency, losses_of
from ..equipment.water import PRECHARGE_BELOW_KPA, PRECHARGE_SOURCE, atmosphere_kPa, below_cut_in, drawdown_L
from ..nameplate.estimate import estimate
from ..not_known import Refusal
from ..readings.chunk import SECONDS_PER_HOUR, Side
from ..site.battery_kinds import kind_of
from ..site.motor_kinds import TURNING, motor_of, turns
from ..site.motor_tables import REDUCED_SOURCE, starts_limit
from ..site.site import Inverter, Limits, Load, Site, Water
from ..site.units import SI, DisplayUnits
from ..wording import figure

COMMON_PRACTICE: Final = "common practice, no source"
OWNER: Final = "the site file"
#: A submersible motor should run at least a minute, so that the heat of the start is carried off. [s]
MINIMUM_RUN_S: Final = 60.0
MINIMUM_RUN_SOURCE: Final = "a submersible-motor manual; National Driller: at least 1 min a run, for all sizes"
#: A tank whose shortest run is T starts the pump at most every 4 T, when half of what the pump gives is drawn (the
#: shortest cycle of a lift station, 4 D / Q; from memory). A third more often than that, some runs were shorter. [1]
BURST_ALLOWANCE: Final = 4 / 3
#: Draw of a pump that runs dry, as a share of its own usual draw: trade sources say 0.4 to 0.75 of full-load amps. [1]
DRY_SHARE: Final = 0.7
DRY_SOURCE: Final = "trade sources disagree (dry running draws 40 to 75 % of the usual amps), none is a standard"
#: A hose may keep a pump running for an hour or more: what goes on far longer than that has not cut out. [s]
LONGEST_RUN_S: Final = 2 * 3600.0
#: Slow change of the running draw over a log that is worth a look. [1]
DRIFT_SHARE: Final = 0.1
TANK_SOURCE: Final = "Boyle's law with the site file's tank, pressures and flow (National Driller)"


@dataclass(frozen=True)
class Bound:
    """A limit's value, in the unit its name says, and where it is from.

    ``direct`` tells whether it is published for motors that are switched straight on; nobody has said so of drives.
    """

    value: float
    source: str
    direct: bool = False


@dataclass(frozen=True)
class HealthLimits:
    """What a load's runs are held against; None where there is nothing to hold them against.

    `minimum_run_s` is the shortest run that does a motor no harm, `tank_run_s` the shortest that a sound tank allows:
    its drawdown over the pump's flow. `starts_per_day` is an average over months, `starts_per_hour` for the busiest
    hour. What goes on for longer than `longest_run_s` has not cut out. `dry_share` is what a dry pump draws at most, of
    its usual draw; `drift_share` is the change of the draw over a log. [1]

    `lowest_V` is for the bank during a run, `resting_V` right before a start. At `cut_off_V` the load's inverter
    switches itself off; for a load on the bank the bank is to be cut off there. `standing_W` is the highest draw while
    the load rests. `continuous_W` and `surge_W` are what the load's inverter can give for good and at a start,
    `plate_W` what the plate makes one expect, all as the meter sees it. `published_for_pumps` tells whether the
    shortest run and the starts a day are those published for submersible pump motors, `drive` whether the site file
    says that the load is behind a drive.
    """

    kind: str | None
    minimum_run_s: Bound
    starts_per_day: Bound
    starts_per_hour: Bound
    longest_run_s: Bound
    dry_share: Bound
    drift_share: Bound
    tank_run_s: Bound | None
    lowest_V: Bound | None
    resting_V: Bound | None
    standing_W: Bound | None
    continuous_W: Bound | None
    surge_W: Bound | None
    plate_W: Bound | None
    cut_off_V: Bound | None = None
    nominal_V: float | None = None
    published_for_pumps: bool = True
    drive: bool = False
    shown: DisplayUnits = SI

    @property
    def is_motor(self) -> bool | None:
        """Whether the site file says that the load is a motor; None without a site file."""
        return None if self.kind is None else self.kind in TURNING

    @property
    def is_pump(self) -> bool | None:
        """Whether the site file says that the load is a pump; None without a site file."""
        return None if self.kind is None else self.kind == "pump"

    @property
    def if_motor(self) -> str:
        """What a title adds where nobody said that the load is a motor."""
        return "" if self.is_motor else " (if it is a motor)"

    @property
    def if_pump(self) -> str:
        """What a title adds where nobody said that the load is a pump."""
        return "" if self.is_pump else " (if it is a pump)"

    @property
    def precharge(self) -> str:
        """Where the air pressure of an empty tank should be, in words."""
        return f"about {below_cut_in(self.shown)}"


def limits_for(site: Site | None, load: Load | None, side: Side = "dc") -> HealthLimits:
    """Return the limits for a load: the owner's own first, then the published ones for its size.

    On side ``ac``, behind an inverter, the meter sees the load's watts; at the bank also the inverter's losses.
    """
    own = site.limits if site is not None else Limits()
    larger = load is not None and load.hp is not None and load.hp >= 1
    published = MINIMUM_RUN_SOURCE + ("; trade: 2 min from 1 hp on" if larger else "")
    minimum_run_s = _own(own.minimum_run_s, MINIMUM_RUN_S, published, direct=True)
    starts_per_day = _starts(own, load)
    inverter = site.inverter_of(load) if site is not None and load is not None else None
    return HealthLimits(
        kind=None if load is None else load.kind,
        minimum_run_s=minimum_run_s,
        starts_per_day=starts_per_day,
        starts_per_hour=_burst(own, minimum_run_s, starts_per_day),
        longest_run_s=_own(own.longest_run_s, LONGEST_RUN_S, COMMON_PRACTICE),
        dry_share=_own(own.dry_running_pct, DRY_SHARE, DRY_SOURCE, whole=100),
        drift_share=_own(own.draw_drift_pct, DRIFT_SHARE, COMMON_PRACTICE, whole=100),
        tank_run_s=_tank_run_s(site.water, load) if site is not None else None,
        lowest_V=_lowest_V(site, inverter) if site is not None and side == "dc" else None,
        resting_V=_resting_V(site) if site is not None and side == "dc" else None,
        standing_W=None if own.standing_draw_W is None else Bound(own.standing_draw_W, OWNER),
        continuous_W=_at_meter(inverter, load, "continuous", side),
        surge_W=_at_meter(inverter, load, "surge", side),
        plate_W=_plate_W(site, load, side) if site is not None and load is not None else None,
        cut_off_V=_cut_off_V(site, inverter) if site is not None and side == "dc" else None,
        nominal_V=None if site is None else site.bank.nominal_V,
        published_for_pumps=own.minimum_run_s is None or own.starts_per_day is None,
        drive=load is not None and load.start == "drive",
        shown=SI if site is None else site.shown,
    )


def _own(own: float | None, default: float, source: str, *, whole: float = 1.0, direct: bool = False) -> Bound:
    """Return the owner's limit, so many of a whole, else a default."""
    return Bound(default, source, direct) if own is None else Bound(own / whole, OWNER)


def _starts(own: Limits, load: Load | None) -> Bound:
    """Return the starts a day: the owner's own, else those published for the motor's size. [1/d]."""
    if own.starts_per_day is not None:
        return Bound(own.starts_per_day, OWNER)
    hp = load.hp if load is not None and load.hp is not None else 0.5
    phases = load.phases if load is not None and load.phases is not None else 1
    try:
        limit = starts_limit(hp, phases, reduced=load is not None and load.start in ("soft", "drive"))
    except Refusal:
        # No table goes to such a size: then the one for small motors, the most lenient, holds.
        limit = starts_limit(0.5)
    size = "" if load is not None and load.hp is not None else ", for a motor up to 3/4 hp: the size is not known"
    return Bound(limit.per_day, limit.source + size, direct=limit.source != REDUCED_SOURCE)


def _burst(own: Limits, minimum_run_s: Bound, starts_per_day: Bound) -> Bound:
    """Return the starts in one hour that no tank for the shortest run allows. [1/h]."""
    if own.starts_per_hour is not None:
        return Bound(own.starts_per_hour, OWNER)
    # Whoever may start so often a day may do so in an hour as well, whatever the tank.
    by_tank = BURST_ALLOWANCE * SECONDS_PER_HOUR / (4 * minimum_run_s.value)
    source = "what a tank for such runs allows (at most one start in 4 times the run, from memory), and a third more"
    return Bound(max(by_tank, starts_per_day.value / 24), source, direct=minimum_run_s.direct or starts_per_day.direct)


def _tank_run_s(water: Water | None, load: Load | None) -> Bound | None:
    """Return the shortest run that a sound tank allows; None where tank or flow are not known. [s]."""
    if water is None or load is None or water.load != load.name or water.pump_L_per_min is None:
        return None
    if water.switch_kPa is None:
        return None
    start_kPa, stop_kPa = water.switch_kPa
    air_kPa, assumed = water.air_kPa, ""
    if air_kPa is None:
        air_kPa = max(start_kPa - PRECHARGE_BELOW_KPA, 0.0)
        assumed = f"; pre-charge assumed {below_cut_in(water.shown)} ({PRECHARGE_SOURCE})"
    outside_kPa = atmosphere_kPa(water.height_m)
    usable_L = drawdown_L(water.volume_L, air_kPa, start_kPa, stop_kPa, outside_kPa)
    # With such pressures no water gets in, and no run is too short for it.
    if usable_L <= 0:
        return None
    return Bound(usable_L / water.pump_L_per_min * 60, TANK_SOURCE + assumed)


def _lowest_V(site: Site, inverter: Inverter | None) -> Bound | None:
    """Return the voltage that not even the dip of a start may pull the bank below. [V]."""
    if site.limits.low_voltage_V is not None:
        return Bound(site.limits.low_voltage_V, OWNER)
    # A start may pull the bank below its own cut-off for a moment; only an inverter minds that.
    return _cut_off_V(site, inverter) if inverter is not None else None


def _cut_off_V(site: Site, inverter: Inverter | None) -> Bound | None:
    """Return the voltage at which what feeds the load is switched off. [V]."""
    if inverter is not None:
        source = f"{OWNER}: where '{inverter.name}' switches itself off"
        return None if inverter.cut_off_V is None else Bound(inverter.cut_off_V, source)
    return None if site.bank.cut_off_V is None else Bound(site.bank.cut_off_V, f"{OWNER}: the bank's cut_off_V")


def _resting_V(site: Site) -> Bound | None:
    """Return the voltage below which the bank counts as empty. [V]."""
    if site.bank.cut_off_V is not None:
        return Bound(site.bank.cut_off_V, f"{OWNER}: the bank's cut_off_V")
    kind = kind_of(site.bank.chemistry)
    if kind.empty is None:
        return None
    return Bound(round(site.bank.nominal_V / kind.cell_V * kind.empty.value, 2), kind.empty.source)


def _at_meter(
    inverter: Inverter | None, load: Load | None, rating: Literal["continuous", "surge"], side: Side
) -> Bound | None:
    """Return an inverter's rating as the watts that a load may be seen to take at the meter; None without one.

    A rating in VA is reached by fewer watts: as many as the highest power factor that the load may have makes of it.
    """
    if inverter is None or load is None:
        return None
    given_W, given_VA = (getattr(inverter, f"{rating}_{unit}") for unit in ("W", "VA"))
    if given_VA is None and given_W is None:
        return None
    running, starting = power_factors(load)
    factor = (running if rating == "continuous" else starting).high
    # Where both are given the nearer decides.
    ac_W, unit = min((x * share, unit) for x, share, unit in ((given_W, 1.0, "W"), (given_VA, factor, "VA")) if x)
    source = f"{OWNER}: '{inverter.name}' gives {figure(given_VA if unit == 'VA' else ac_W, unit)}"
    source += " for good" if rating == "continuous" else ""
    source += f", at a power factor of {factor:.3g}{_of(load, rating)}" if unit == "VA" else ""
    # At the bank the load shows as what the inverter takes beyond its idling, which goes on between runs as well.
    if side == "ac":
        return Bound(ac_W, source)
    losses = losses_of(inverter)
    taken_W = beyond_idle_W(losses, ac_W)
    how = f"{100 * efficiency(losses, ac_W, with_idle=False):.0f} % efficiency"
    return Bound(taken_W, f"{source}, with {how} ({losses.key or DESIGN_SOURCE})")


def _of(load: Load, rating: str) -> str:
    if rating == "surge" and turns(load):
        return f" at most ({motor_of(load).standstill.source})"
    return "" if load.power_factor is not None else " at most, usual for its kind"


def _plate_W(site: Site, load: Load, side: Side) -> Bound | None:
    """Return the running watts that the plate makes one expect; None where it gives too little. [W]."""
    try:
        plate = estimate(site, load.name, hours=1.0)
    except Refusal:
        return None
    watts = plate.dc_W if side == "dc" else plate.ac_W
    return None if watts is None else Bound(watts, "the estimate from the plate")
