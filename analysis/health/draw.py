"""What the running draw says: a pump that runs dry, a draw that drifts, a load or an inverter that is overloaded."""

from __future__ import annotations

from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from ..readings.chunk import SECONDS_PER_HOUR, BoolArray, FloatArray
from ..wording import figure, spell
from .finding import Advice, Check, Rule, Severity
from .hardly_seen import taken_as_one
from .limits import HealthLimits
from .runs import LEAST_CYCLES, Runs
from .trends import DAY_US, trend_of

DRY_ADVICE: Final = Advice(
    "The pump possibly runs dry or has lost its prime: the well is drawn down, air is in the suction line, a foot "
    "valve leaks. A closed valve, a broken shaft, gas in the water or a low voltage look the same.",
    "Switch the pump off at its breaker and lock it off: running dry ruins seals and bearings within minutes. Let the "
    "well recover, then look at water level, valves and voltage; work at the well is for a licensed pump installer.",
    "Switch the pump off at its breaker and lock it off.",
)
DRIFT_ADVICE: Final = Advice(
    "Rising: wear, sand or scale, bearings, a failing capacitor, a lower water level. Falling: a worn impeller, a "
    "leak in the riser, less water. A change of the bank's voltage shows in amps, not in watts.",
    "Compare volts, amps and flow with those when the pump was new. Anything at the motor's terminals is mains: a "
    "licensed electrician or pump installer measures there.",
    "Compare volts, amps and flow with those when the pump was new.",
)
OVERLOAD_ADVICE: Final = Advice(
    "The load draws more than it, or its inverter, is made for: a jammed or worn pump, a failing capacitor, a low "
    "voltage, or an inverter that is too small. Heat shortens the life of both.",
    "Compare the plate with what was measured, and check that the site file has the right plate and rating. Do not "
    "reset a tripped overload again and again; let a licensed electrician look for the reason.",
    "Check that the site file has the right plate and rating.",
)
STANDING_ADVICE: Final = Advice(
    "Something draws all the time: an inverter's own idling, a charger, a light left on, a leak of current.",
    "Switch off one circuit after another at its breaker and watch the meter. Do not pull cables at the bank under "
    "load.",
    "Switch off one circuit after another at its breaker and watch the meter.",
)
#: A load's usual draws, and those of a dry pump, are alike: half of them lie within this share of their median. [1]
USUAL_ALIKE: Final = 0.1
DRY_ALIKE: Final = 0.2
#: A run that draws as much more or less than usual may be another load's. [1]
OWN_DRAW: Final = 0.3
#: A dry pump still draws as much of its usual draw (trade sources: 40 %, and some room): less is another load's. [1]
DRY_LEAST: Final = 0.35
#: Runs that were found to draw less from their start on count up to this share, the top of what trade sources say, with
#: some room. [1]
LESS: Final = 0.8
#: At the log's end two are enough, if they draw the same to within this share. [1, 1]
TWO_DRY: Final = 2
SAME_DRAW: Final = 0.05
#: So many dry runs in a row count though the pump drew as usual afterwards. [1]
DRY_FOR_A_WHILE: Final = 5
#: From the first dry run to the last this share of the runs are dry: a pump that draws as usual in between is not. [1]
DRY_IN_A_ROW: Final = 0.8
#: Fewer dry runs than this, which go on for so long and so many times as long as usual, count only at the log's end:
#: there one is enough. [1, s]
LEAST_DRY: Final = 3
LEAST_DRY_S: Final = 900.0
#: One by itself that ended sooner may be two other loads that stepped together: common practice, no source. [s]
ALONE_S: Final = 1800.0
#: Against the plate, which is not the pump's own draw, a dry pump's is surely lower: a motor that is not fully loaded
#: draws less than its plate says as well. [1]
OF_PLATE: Final = (0.33, 0.67)
#: And its runs do not end as a tank makes them: so many times its drawdown over the flow, or so long. [1], [s]
TIMES_TANK: Final = 2.0
PLATE_RUN_S: Final = 300.0
#: What a motor may draw beyond its plate: a 4-inch submersible at its service factor draws 1.43 times the plate's watts
#: (960 W for 670 W; a submersible-motor manual, from memory), and a tenth for what the estimate does not know. [1]
OVER_PLATE: Final = 1.6
#: A rating is crossed or not: fewer runs tell than where runs are compared with each other. [1]
LEAST_RATED: Final = 4
OVER_PLATE_WORDS: Final = f"is {OVER_PLATE:g} times the plate's estimate"
PLATE_SOURCE: Final = (
    "1.43 times the plate at a motor's service factor (a submersible-motor manual, from memory), and more"
)
#: Watts are needed for a drift; amps alone move with the bank's voltage by as much on top. [1]
BY_VOLTAGE: Final = 0.15
#: Where starts are resolved, a dry pump's surge over its draw is at least this share of the usual one; clouds have
#: none. [1]
SURGE_OF_DRY: Final = 0.6
#: Change of the runs' own length that makes their draws different things: a pump's draw falls within each run. [1]
RUNS_ALIKE: Final = 0.5
#: Days with runs that a drift must be seen on. [1]
LEAST_DAYS: Final = 3


def usual_draw(runs: Runs) -> float | None:
    """Return the pump's own learned draw: the median of the runs that draw most alike at the top. [runs.draw_unit].

    Runs that draw less than 0.8 of the ninth decile are not its usual ones, nor are those found to draw less. None
    where fewer than a handful are left, or where these differ so much that they are hardly one load's.
    """
    draw = runs.draw[~np.isnan(runs.draw) & ~runs.less]
    if runs.mixed or len(draw) < LEAST_CYCLES // (2 if runs.less.any() else 1):
        return None
    # The top of all draws, since a pump that ran dry for most of the log must not count as usual.
    usual = draw[draw >= 0.8 * np.quantile(draw, 0.9)]
    if len(usual) < LEAST_CYCLES // 2 or not _alike(usual, USUAL_ALIKE):
        return None
    return float(np.median(usual))


def draws_as_usual(runs: Runs) -> BoolArray:
    """Return which runs draw so nearly the usual that they are surely this load's; all where that is not known."""
    usual = usual_draw(runs)
    if usual is None:
        return np.ones(len(runs.draw), dtype=bool)
    return np.isnan(runs.draw) | (np.abs(runs.draw / usual - 1) <= OWN_DRAW)


def dry_runs(runs: Runs, limits: HealthLimits) -> BoolArray:
    """Return which runs draw so little, against the pump's own usual draw, that it may have run dry."""
    usual = usual_draw(runs)
    if usual is None:
        return np.zeros(len(runs.draw), dtype=bool)
    share = runs.draw / usual
    # Far less than a dry pump's is another load's, paired with this one by mistake.
    return runs.less & (share < LESS) | (share < limits.dry_share.value) & (share > DRY_LEAST)


def prime_lost(runs: Runs, limits: HealthLimits) -> Check:
    """Judge whether the running draw has fallen well below this pump's own learned draw."""
    share = LESS if runs.less.any() else limits.dry_share.value
    rule = Rule(
        "prime_lost",
        f"a running draw of at least {100 * share:.0f} % of this pump's own usual one",
        limits.dry_share.source,
    )
    if taken_as_one(runs):
        return rule.not_judged("the readings are means, in which brief runs look like one that draws less")
    usual, unit = usual_draw(runs), runs.draw_unit
    if (of_plate := _of_plate(runs, limits)) is not None:
        return of_plate
    if usual is None:
        too_few = f"fewer than {LEAST_CYCLES} runs have a draw that can be compared, or they differ too much"
        return rule.not_judged(too_few)
    dry = dry_runs(runs, limits)
    low_runs = _judge_low(runs, dry)
    if low_runs.doubt:
        return rule.not_judged(low_runs.doubt)
    if not low_runs.dry:
        return rule.passed(f"usual draw {figure(usual, unit)}, lowest {figure(float(np.nanmin(runs.draw)), unit)}")
    dry_s = float(runs.lengths_s()[dry].sum())
    low = float(np.median(runs.draw[dry]))
    return rule.found(
        "act" if limits.is_pump else "watch",
        f"{runs.name} has possibly lost its prime or runs dry{limits.if_pump}",
        f"{int(dry.sum())} runs, {spell(dry_s)} together, drew {figure(low, unit)}, {100 * low / usual:.0f} % of the "
        f"usual {figure(usual, unit)}",
        DRY_ADVICE,
        f"{runs.name} drew {figure(low, unit)} in {_runs(int(dry.sum()))}. It should be at least "
        f"{figure(share * usual, unit)}.",
        runs.starts(dry),
    )


def _runs(count: int) -> str:
    return "one run" if count == 1 else f"{count} runs"


def _of_plate(runs: Runs, limits: HealthLimits) -> Check | None:
    """Judge against the plate a pump that draws less in all its runs, and does not cut out as a tank makes it.

    None where it draws about what its plate says, where its runs are as short as a pump's, or where nobody knows.
    """
    plate, draw = limits.plate_W, runs.of("run_W")
    known = runs.whole & ~np.isnan(draw) & (runs.run_s >= runs.least_s)
    if plate is None or not limits.is_pump or known.sum() < LEAST_RATED or not _alike(draw[known], USUAL_ALIKE):
        return None
    usual_W, usual_s = float(np.median(draw[known])), float(np.median(runs.run_s[known]))
    # With water the pump would have reached cut-out by then.
    cuts_out_s = PLATE_RUN_S if limits.tank_run_s is None else TIMES_TANK * limits.tank_run_s.value
    least, most = OF_PLATE
    if not least <= usual_W / plate.value <= most or usual_s < cuts_out_s:
        return None
    rule = Rule(
        "prime_lost",
        f"a running draw of at least {100 * most:.0f} % of what the plate makes one expect, where runs "
        f"go on for {spell(cuts_out_s)} and more",
        f"{plate.source}; {limits.dry_share.source}",
    )
    return rule.found(
        "watch",
        f"{runs.name} draws far less than its plate: it possibly runs dry",
        f"held against the plate, since no run drew more: {int(known.sum())} runs of {spell(usual_s)} (medians) drew "
        f"{figure(usual_W, 'W')}, {100 * usual_W / plate.value:.0f} % of {figure(plate.value, 'W')}",
        DRY_ADVICE,
        f"{runs.name} draws {figure(usual_W, 'W')}. By its plate it should be at least "
        f"{figure(most * plate.value, 'W')}.",
        runs.starts(known),
    )


class _LowRuns(NamedTuple):
    """What runs of a low draw tell: that the pump ran dry, or why that stays open; neither where they are nothing."""

    dry: bool = False
    doubt: str = ""


def _judge_low(runs: Runs, dry: BoolArray) -> _LowRuns:
    # One low run by itself, which ended soon, tells nothing: two appliances that step together look like it, and a pump
    # without water does not often stop by itself.
    ended_s = runs.run_s[dry]
    if len(ended_s) == 1 and ended_s[0] < ALONE_S:
        run = f"one run of {spell(float(ended_s[0]))}"
        return _LowRuns(doubt=f"{run} drew as little as a dry pump, which two other loads at once may do as well")
    if _is_dry(runs, dry):
        return _LowRuns(dry=True)
    # Runs that were not taken for this load's may still be.
    return _LowRuns(doubt=runs.perhaps_dry)


def _is_dry(runs: Runs, dry: BoolArray) -> bool:
    """Tell whether the low draws are those of a dry pump: some of them, in a row, and alike."""
    if not dry.any():
        return False
    # Runs that settle lower from their start on were taken for the load's on more evidence than is asked for here.
    if (dry & runs.less).any():
        return True
    lengths_s = runs.lengths_s()
    usual_s = float(np.median(lengths_s[~dry])) if (~dry).any() else 0.0
    on_and_on = int((lengths_s[dry] > max(LEAST_DRY_S, LEAST_DRY * usual_s)).sum())
    # A pump that ran dry and then drew as usual has its water again: that takes more of them to be believed.
    for_good = bool(dry[~np.isnan(runs.draw)][-1:].all())
    enough = (TWO_DRY if _alike(runs.draw[dry], SAME_DRAW) else LEAST_DRY) if for_good else DRY_FOR_A_WHILE
    # Many short runs, or a few that went on and on: a dry pump does not reach cut-out.
    if dry.sum() < enough and on_and_on < (1 if for_good else LEAST_DRY):
        return False
    first, last = np.flatnonzero(dry)[[0, -1]]
    in_a_row = bool(dry[first : last + 1].mean() >= DRY_IN_A_ROW)
    # Before or after them it must have shown what it draws with water.
    if len(dry) - (last + 1 - first) < LEAST_RATED:
        return False
    return in_a_row and _alike(runs.draw[dry], DRY_ALIKE) and _starts_like_a_motor(runs, dry)


def _starts_like_a_motor(runs: Runs, dry: BoolArray) -> bool:
    """Tell whether the low draws begin with a surge as the usual ones do; True where that was not to be seen."""
    resolved = np.array([cycle.surge_resolved for cycle in runs.cycles.cycles])
    ratio = np.where(resolved, runs.of("surge_ratio"), np.nan)
    theirs, usual = ratio[dry & ~np.isnan(ratio)], ratio[~dry & ~np.isnan(ratio)]
    return not len(theirs) or not len(usual) or bool(np.median(theirs) >= SURGE_OF_DRY * np.median(usual))


def _alike(draw: FloatArray, share: float) -> bool:
    low, mid, high = np.quantile(draw, [0.25, 0.5, 0.75])
    return bool(high - low <= share * mid)


def draw_drift(runs: Runs, limits: HealthLimits) -> Check:
    """Judge whether the running draw changes slowly over days, by a robust slope and its interval."""
    share = limits.drift_share.value + (BY_VOLTAGE if runs.draw_unit == "A" else 0.0)
    in_amps = " (in amps, which follow the bank's voltage)" if runs.draw_unit == "A" else ""
    limit = f"a running draw that changes by less than {100 * share:g} % over the log{in_amps}"
    rule = Rule("draw_drift", limit, limits.drift_share.source)
    if runs.two_kinds:
        return rule.not_judged("two kinds of runs of like draw, and the log does not tell which are the load's")
    # What ran dry at the end would pass for a slow fall.
    draw = np.where(dry_runs(runs, limits), np.nan, runs.draw)
    trend = trend_of(runs, f"run_{runs.draw_unit}", draw)
    if trend is None:
        return rule.not_judged("the log has too few runs, or covers too few days, for a trend")
    a_day = f"{trend.per_day:+.3g} {runs.draw_unit} a day (95 %: {trend.low:+.3g} to {trend.high:+.3g})"
    # A pump's draw falls within each run, so shorter runs draw more on average.
    length = trend_of(runs, "run_s", runs.run_s)
    if length is not None and length.sure and abs(length.change) > RUNS_ALIKE:
        return rule.not_judged("the runs grow shorter or longer from day to day, so their draws cannot be compared")
    evidence = f"{a_day}, {100 * trend.change:+.1f} % in {trend.span_d:.1f} days, from {trend.count} runs"
    if not trend.sure or abs(trend.change) < share or not _every_day(runs, draw, trend.change):
        return rule.passed(evidence)
    way = "rises" if trend.per_day > 0 else "falls"
    went = "rose" if trend.per_day > 0 else "fell"
    plain = (
        f"The running draw {went} by {100 * abs(trend.change):.0f} % in {trend.span_d:.0f} days. It should stay within "
        f"{100 * share:.0f} %."
    )
    seen = runs.starts(~np.isnan(draw))
    return rule.found("watch", f"The running draw {way} from day to day", evidence, DRIFT_ADVICE, plain, seen)


def _every_day(runs: Runs, draw: FloatArray, change: float) -> bool:
    """Tell whether the days' own medians move the same way: day and night may differ without any drift."""
    known = ~np.isnan(draw)
    day = (runs.start_us[known] - runs.start_us[0]) // DAY_US
    medians = np.array([np.median(draw[known][day == k]) for k in np.unique(day)])
    if len(medians) < LEAST_DAYS:
        return False
    i, j = np.triu_indices(len(medians), k=1)
    agree = float(np.mean(np.sign(medians[j] - medians[i]) == np.sign(change)))
    return agree >= 0.75  # of all pairs of days; half of them do by chance


def overload(runs: Runs, limits: HealthLimits) -> Check:
    """Judge the running draw against the inverter's continuous rating, and against the plate, in watts."""
    rating, plate = limits.continuous_W, limits.plate_W
    bounds = [
        (rating, "the inverter can give for good", "" if rating is None else rating.source),
        (None if plate is None else replace(plate, value=OVER_PLATE * plate.value), OVER_PLATE_WORDS, PLATE_SOURCE),
    ]
    given = [(bound, words, source) for bound, words, source in bounds if bound is not None]
    if not given:
        return Rule("overload").not_judged("the site file gives neither the inverter's rating nor the load's plate")
    rule = Rule(
        "overload",
        "; ".join(f"at most {figure(bound.value, 'W')} at the meter, what {words}" for bound, words, _ in given),
        "; ".join(source for *_, source in given),
    )
    draw = runs.highest_W
    known = draw[~np.isnan(draw)]
    if len(known) < LEAST_RATED:
        return rule.not_judged(f"fewer than {LEAST_RATED} runs have a draw in watts")
    usual_W = float(np.median(known))
    for bound, words, _ in given:
        if usual_W > bound.value:
            evidence = f"usual running draw {figure(usual_W, 'W')} of {len(known)} runs, more than what {words}"
            title = f"{runs.name} draws more than what {words}"
            severity: Severity = "act" if bound is rating else "watch"
            whose = "Its inverter can give" if bound is rating else "By its plate it should be at most"
            plain = f"{runs.name} draws {figure(usual_W, 'W')}. {whose} {figure(bound.value, 'W')}."
            return rule.found(severity, title, evidence, OVERLOAD_ADVICE, plain, runs.starts(draw > bound.value))
    return rule.passed(f"usual running draw {figure(usual_W, 'W')}")


def standing_draw(runs: Runs, limits: HealthLimits) -> Check:
    """Judge what is drawn while the load rests, where the owner has set a limit: none is published."""
    limit = limits.standing_W
    if limit is None:
        return Rule("standing_draw").not_judged("no limit is published; set standing_draw_W in the site file")
    rule = Rule("standing_draw", f"at most {limit.value:g} W while the load rests", limit.source)
    base_W = runs.cycles.base_W
    if base_W is None:
        return rule.not_judged("the draw between runs is not known in watts")
    evidence = f"{base_W:.0f} W between runs"
    if base_W <= limit.value:
        return rule.passed(evidence)
    hours = runs.cycles.covered_s / SECONDS_PER_HOUR
    a_day = f"{evidence}, {base_W * 24:.0f} Wh a day ({hours:.1f} h measured)"
    plain = f"{base_W:.0f} W are drawn while {runs.within} rests. It should be at most {limit.value:g} W."
    return rule.found("watch", "More is drawn all the time than was meant to be", a_day, STANDING_ADVICE, plain)
