"""What a load's cycles say about its health: every limit that was checked, and what was found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np

from ..cycles.cycle import Cycles
from ..quality.sign_check import LEAST_SHARE, SignCheck
from ..wording import spell
from .draw import draw_drift, overload, prime_lost, standing_draw
from .finding import Advice, Check, Finding, Rule
from .limits import COMMON_PRACTICE, HealthLimits
from .runs import LEAST_READINGS, Runs
from .short_cycles import short_cycling
from .starts import stalled_start, start_trip, surge_over_rating
from .tank import air_charge_lost, leak_down, never_cuts_out
from .trends import Trend, trends_of
from .voltage import cut_off_of, low_voltage, without

Judge = Callable[[Runs, HealthLimits], Check]

#: What is asked of a motor, of a pump, and of any load. A load of unknown kind is asked all of it.
OF_MOTORS: Final[tuple[Judge, ...]] = (short_cycling, start_trip, stalled_start)
OF_PUMPS: Final[tuple[Judge, ...]] = (air_charge_lost, leak_down, prime_lost, never_cuts_out)
OF_ALL: Final[tuple[Judge, ...]] = (draw_drift, low_voltage, overload, surge_over_rating, standing_draw)
#: What does not hold for a load of several speeds, or behind a drive, and why.
_AT_SPEEDS: Final = "it runs at several speeds, so "
_ON_DEMAND: Final = "it draws what is asked of it, so "
_BY_DRIVE: Final = "it is behind a drive, so "
NOT_AT_SPEEDS: Final[dict[Judge, str]] = {
    start_trip: "a start that fails does not show among its changes of draw",
    stalled_start: "a start that fails does not show among its changes of draw",
    air_charge_lost: "it runs as long as water is asked for, whatever the tank holds",
    prime_lost: "less draw may be less that is asked for",
    draw_drift: "another draw may be another use",
}
#: Without a site file a load is taken for a pump only if its runs are as short as a household tank's: common practice,
#: no source. [s]
PUMP_RUN_S: Final = 300.0
#: So many runs or rests too short to tell, or this share of them, are worth a note. [1]
LEAST_SHORT: Final = 2
SHORT_SHARE: Final = 0.05
#: Where runs below this share of the shortest good one cannot be told, a tank without air would not be seen. [1]
UNSEEN: Final = 0.5


@dataclass(frozen=True)
class Health:
    """What was checked, in a fixed order, and how the figures of the cycles change over days."""

    checks: tuple[Check, ...]
    trends: tuple[Trend, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What gives reason to act, to watch, or to know."""
        return tuple(check.finding for check in self.checks if check.finding is not None)


def health_of(
    cycles: Cycles, limits: HealthLimits, usual_interval_s: float | None, last_gap_us: int | None = None
) -> Health:
    """Hold a load's cycles against every limit that applies to its kind.

    `usual_interval_s` is the median spacing of the readings, `last_gap_us` when the log's last gap ended.
    """
    runs = Runs(cycles, usual_interval_s, last_gap_us)
    # What the cut-off ended says nothing of motor and tank, but everything of draw and voltage.
    by_itself = without(runs, cut_off_of(runs, limits).which)
    checks = [_held(judge, by_itself, limits) for judge in OF_MOTORS if limits.is_motor is not False]
    checks += _of_pump(by_itself, limits) if limits.is_pump is not False else []
    checks += [_held(judge, runs, limits) for judge in OF_ALL]
    if limits.is_motor is not False:
        checks.append(sampling_too_slow(runs, limits))
    return Health(tuple(checks), trends_of(runs))


def _of_pump(runs: Runs, limits: HealthLimits) -> list[Check]:
    """Ask what is asked of a pump; not of a load that nobody calls one and whose runs are not those of one."""
    # A fridge or a heater would be blamed for not behaving as a pump.
    usual_s = float(np.median(runs.run_s[runs.whole])) if runs.whole.any() else 0.0
    if limits.is_pump is None and usual_s > PUMP_RUN_S:
        why = f"runs of {spell(usual_s)} are not those of a pump on a tank; a site file can say that it is a pump"
        return [Rule(judge.__name__).not_judged(why) for judge in OF_PUMPS]
    return [_held(judge, runs, limits) for judge in OF_PUMPS]


def _held(judge: Judge, runs: Runs, limits: HealthLimits) -> Check:
    """Hold the runs against one limit, if it holds for such a load."""
    if runs.cycles.varies and judge in NOT_AT_SPEEDS:
        of_speeds = _AT_SPEEDS if runs.cycles.fixed_speeds else _ON_DEMAND
        since = of_speeds if runs.cycles.speeds else _BY_DRIVE
        return Rule(judge.__name__).not_judged(f"{since}{NOT_AT_SPEEDS[judge]}")
    return judge(runs, limits)


def sampling_too_slow(runs: Runs, limits: HealthLimits) -> Check:
    """Judge whether runs or rests are too short for the spacing of the readings, so that findings are withheld."""
    rule = Rule(
        "sampling_too_slow", f"a run, and a rest, must span at least {LEAST_READINGS} readings", COMMON_PRACTICE
    )
    if not runs.least_s:
        return rule.not_judged("the spacing of the readings is not known")
    count, short = len(runs.start_us), int(runs.too_short.sum())
    # Readings that show runs of a tenth of a motor's shortest good one show a tank without air; closer ones are halved.
    needed_s, usual_s = limits.minimum_run_s.value / 10 / LEAST_READINGS, runs.usual_interval_s or inf
    spacing = spell(needed_s if needed_s < usual_s else usual_s / 2)
    denser = f"Take a log with a reading every {spacing} or faster."
    advice = Advice("", denser, denser)
    withheld = f"what lasts less than {spell(runs.least_s)} is not judged"
    if (more := runs.cycles.summary.too_brief) > 0:
        title = "Readings are too far apart to measure the shortest runs"
        evidence = f"at least {more:,} starts beside {count:,} runs that were measured: {withheld}"
        plain = f"At least {more:,} runs were too brief to be measured. A reading should come every {spacing}."
        return rule.found("note", title, evidence, advice, plain)
    if short >= LEAST_SHORT and short >= SHORT_SHARE * count:
        title = "Readings are too far apart to judge the shortest runs or rests"
        evidence = f"{short} of {count} runs, or the rests before them, are shorter: {withheld}"
        plain = f"{short} of {count} runs or rests are short. Only what lasts {spell(runs.least_s)} can be judged."
        return rule.found("note", title, evidence, advice, plain)
    # None of the runs seen need be too short: those that are cannot be seen.
    if runs.least_s >= UNSEEN * limits.minimum_run_s.value:
        title = "Readings are too far apart to see short runs"
        plain = f"Only runs of {spell(runs.least_s)} or more can be seen. A reading should come every {spacing}."
        return rule.found("note", title, f"{count} runs were seen; {withheld}", advice, plain)
    return rule.passed(f"{short} of {count} runs are shorter than {spell(runs.least_s)}, the shortest that can be told")


def until_turned(health: Health) -> Health:
    """Return that nothing is judged: what looks like runs in a log the wrong way round are the rests between them."""
    why = "what its runs are is not known until the log is turned"
    return Health(tuple(Rule(check.code, check.limit, check.source).not_judged(why) for check in health.checks))


def sign_check(sign: SignCheck | None) -> Check:
    """Judge whether the voltage falls when more is drawn, as a bank's does."""
    rule = Rule(
        "charge_wrong_sign",
        f"the voltage must not rise with the draw in {100 * LEAST_SHARE:.0f} % of the steps or more",
        f"a bank's internal resistance; {COMMON_PRACTICE}",
    )
    if sign is None or sign.plausible is None:
        return rule.not_judged("volts and amps are not both there, or do not step together often enough to tell")
    evidence = f"in {sign.against} of {sign.steps} sudden steps of the current the voltage rises with the draw"
    if sign.resistance_ohm is not None:
        evidence += f"; {1000 * abs(sign.resistance_ohm):.3g} mV for each amp"
    if sign.plausible:
        return rule.passed(evidence)
    return rule.found(
        "act",
        "Draw and return seem to be swapped",
        f"{evidence}; at a bank it falls",
        Advice(
            "The meter counts charging as positive, or its shunt is wired the other way round.",
            "Turn the log, captured or converted, with 'shuntbook convert LOG --reverse-sign --out OTHER'; until then "
            "nothing here can be right.",
            "Turn the log: shuntbook convert LOG --reverse-sign --out OTHER",
        ),
        f"Draw and return seem swapped: the volts rise with the draw, {sign.against} times of {sign.steps}.",
    )
