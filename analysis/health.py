"""What a load's cycles say about its health: findings with evidence, limit and source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from .chunk import MICROSECONDS
from .cycle_record import Cycle, Cycles
from .finding import Finding
from .motor_tables import starts_limit
from .refusal import Refusal
from .sign_check import LEAST_SHARE, SignCheck
from .site import Load, Site

#: A submersible motor should run at least a minute, so that the heat of the start is carried off.
MINIMUM_RUN_S: Final = 60.0
MINIMUM_RUN_SOURCE: Final = "a submersible-motor manual; National Driller: at least 1 min a run, for all sizes"
#: Fewer short runs than this may be chance.
LEAST_CYCLES: Final = 5
#: A run must last this many readings before its length can be judged.
LEAST_READINGS: Final = 3
_HOUR_US: Final = 3600 * MICROSECONDS


@dataclass(frozen=True)
class CycleLimits:
    """What a load's runs are held against.

    Parameters
    ----------
    minimum_run_s : float
        Shortest run that does no harm. [s]
    starts_per_day : float
        Starts in 24 h, an average over months. [1/d]
    run_source, starts_source : str
        Where each is from.
    is_motor : bool or None
        Whether the site file says that the load is a motor; None without a site file.
    """

    minimum_run_s: float
    run_source: str
    starts_per_day: float
    starts_source: str
    is_motor: bool | None


def limits_for(site: Site | None, load: Load | None) -> CycleLimits:
    """Return the limits for a load: the owner's own first, then the published ones for its size."""
    own = site.limits if site is not None else None
    run_s, run_source = MINIMUM_RUN_S, MINIMUM_RUN_SOURCE
    if own is not None and own.minimum_run_s is not None:
        run_s, run_source = own.minimum_run_s, f"the site file ({MINIMUM_RUN_SOURCE})"
    if own is not None and own.starts_per_day is not None:
        starts, starts_source = own.starts_per_day, "the site file"
    else:
        starts, starts_source = _published_starts(load)
    is_motor = None if load is None else load.kind in ("pump", "motor", "compressor")
    return CycleLimits(run_s, run_source, starts, starts_source, is_motor)


def _published_starts(load: Load | None) -> tuple[float, str]:
    hp = load.hp if load is not None and load.hp is not None else 0.5
    phases = load.phases if load is not None and load.phases is not None else 1
    try:
        limit = starts_limit(hp, phases)
    except Refusal:
        limit = starts_limit(0.5)
    size = "" if load is not None and load.hp is not None else ", for a motor up to 3/4 hp: the size is not known"
    return limit.per_day, limit.source + size


def findings_of(cycles: Cycles, limits: CycleLimits, usual_interval_s: float | None) -> tuple[Finding, ...]:
    """Return what a load's cycles give reason to act on.

    Parameters
    ----------
    cycles : Cycles
        The cycles of one load.
    limits : CycleLimits
        What they are held against.
    usual_interval_s : float or None
        Median spacing of the readings. [s]
    """
    if limits.is_motor is False:
        return ()
    short = _short_cycling(cycles, limits)
    if short is None:
        return ()
    run_s = cycles.summary.median_run_s
    if usual_interval_s is not None and run_s is not None and run_s < LEAST_READINGS * usual_interval_s:
        return (_too_slow(run_s, usual_interval_s),)
    return (short,)


def _short_cycling(cycles: Cycles, limits: CycleLimits) -> Finding | None:
    """Judge whether runs are too short, and how often the load starts.

    The limit per day is an average over months: a busy hour may exceed its 24th part now and then, but not with runs
    that are too short as well.
    """
    whole = [cycle for cycle in cycles.cycles if cycle.run_s is not None]
    short = [cycle for cycle in whole if cycle.run_s is not None and cycle.run_s < limits.minimum_run_s]
    if len(short) < LEAST_CYCLES or 2 * len(short) < len(whole):
        return None
    busiest = busiest_hour(cycles.cycles)
    often = busiest > limits.starts_per_day / 24
    name = f"The {short[0].load}" if short[0].load else "The load"
    runs = [cycle.run_s for cycle in short if cycle.run_s is not None]
    condition = "" if limits.is_motor else " (if it is a motor)"
    return Finding(
        code="short_cycling",
        severity="act" if often and limits.is_motor else "watch",
        title=f"{name} starts too often and runs too briefly{condition}"
        if often
        else f"{name} runs too briefly{condition}",
        evidence=(
            f"{len(short)} of {len(whole)} whole runs are shorter than {limits.minimum_run_s:g} s "
            f"(median {float(np.median(runs)):.0f} s, shortest {min(runs):.0f} s); {busiest} starts in the busiest hour"
        ),
        limit=(
            f"at least {limits.minimum_run_s:g} s a run; {limits.starts_per_day:g} starts in 24 h on average, "
            f"which is {limits.starts_per_day / 24:.1f} an hour"
        ),
        source=f"run: {limits.run_source}; starts: {limits.starts_source}",
        causes=(
            "A pressure tank that has lost its air charge, a tank too small for the pump, a pressure switch set too "
            "narrow, or a leak. Every start heats the motor, and a short run does not carry the heat off."
        ),
        check_first=(
            "With the pump isolated and locked off and the tank's pressure relieved, let a licensed pump installer "
            "check the tank's air pressure: it should be about 2 psi (14 kPa) below the switch's cut-in with the tank "
            "empty of water."
        ),
    )


def wrong_sign(sign: SignCheck | None) -> Finding | None:
    """Return the finding that a log's current seems to be turned: its voltage rises when the draw does."""
    if sign is None or sign.plausible is not False:
        return None
    by = ""
    if sign.resistance_ohm is not None and sign.resistance_ohm < 0:
        by = f", by {-1000 * sign.resistance_ohm:.3g} mV for each amp more that is drawn"
    return Finding(
        code="charge_wrong_sign",
        severity="act",
        title="Draw and return seem to be swapped",
        evidence=(
            f"in {sign.against} of {sign.steps} sudden steps of the current the voltage rises with the draw{by}; "
            "at a bank it falls"
        ),
        limit=f"the voltage must not rise with the draw in {LEAST_SHARE:.0%} of the steps or more",
        source="a bank's internal resistance; common practice, no source",
        causes="The meter counts charging as positive, or its shunt is wired the other way round.",
        check_first="Convert the export again with --reverse-sign, or without; until then nothing here can be right.",
    )


def busiest_hour(cycles: tuple[Cycle, ...]) -> int:
    """Return the most starts that any 60 minutes hold."""
    starts = np.array([cycle.start_us for cycle in cycles], dtype=np.int64)
    if not len(starts):
        return 0
    return int((np.searchsorted(starts, starts + _HOUR_US, side="left") - np.arange(len(starts))).max())


def _too_slow(run_s: float, interval_s: float) -> Finding:
    return Finding(
        code="sampling_too_slow",
        severity="note",
        title="Readings are too far apart to judge how long the runs are",
        evidence=f"the usual run seems to last {run_s:.0f} s, with a reading every {interval_s:g} s",
        limit=f"a run must span at least {LEAST_READINGS} readings, {LEAST_READINGS * interval_s:g} s",
        source="common practice, no source",
        check_first=f"Take a log with a reading every {max(run_s / 10, 0.1):.1g} s or faster.",
    )
