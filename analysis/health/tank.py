"""What runs and rests say about the pressure tank: its air, leaks, and a pump that never reaches cut-out.

While water is drawn at a steady rate a pump of flow Q fills a tank of drawdown D in D / (Q - use) and the use empties
it in D / use (the filling and emptying of a lift station's well; from memory). So no run is shorter than D / Q,
whatever is drawn, and only a smaller D makes runs and rests shrink together.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from ..readings.chunk import BoolArray, FloatArray
from ..wording import spell
from .bursts import MINIMUM_REST_S
from .draw import draws_as_usual, usual_draw
from .finding import Advice, Check, Rule, Severity
from .limits import COMMON_PRACTICE, OWNER, HealthLimits
from .runs import LEAST_CYCLES, Runs

_AIR_CAUSES: Final = (
    "The pressure tank has lost its air charge or its bladder: hardly any water fits between cut-out and cut-in, so "
    "the pump starts again and again while water is drawn. A tank far too small for the pump looks the same."
)
#: Of a tank that makes runs too short, whichever rule saw it: what to check, and how urgent it is. The pump may be the
#: only water there is: each start wears the motor, few large draws make few starts (common practice, no source).
AIR_CHECK_FIRST: Final = (
    "Do not put it off: each start wears the motor. Until then water drawn in few large amounts makes fewest starts; "
    "the installer decides whether the pump may run. With the pump isolated and locked off and the tank's pressure "
    "relieved, let a licensed pump installer check the tank's air pressure ({below} with the tank empty of water) and "
    "whether water comes out of the air valve. Never open a tank under pressure."
)
AIR_FIRST_STEP: Final = "Keep the pump off between uses; have a licensed pump installer check the tank's air soon."
LEAK_ADVICE: Final = Advice(
    "Water leaves the tank all the time: a leak in a pipe, a cistern that runs, or a check valve or foot valve that "
    "lets water back into the well. A drip line or a trough that is meant to run looks the same.",
    "Close the valve behind the tank for an hour with the pump isolated and watch its gauge: if the pressure still "
    "falls, the check valve or the pipe to the well leaks, else something on the house's side. Work on the well is "
    "for a licensed pump installer; relieve the pressure before anything is opened.",
    "Look whether water runs anywhere: a tap, a cistern, a wet spot.",
)
NEVER_ADVICE: Final = Advice(
    "The pump does not reach cut-out: a burst pipe or a tap left open, a worn pump, a falling well, a valve half "
    "shut, a pressure switch that is set too high or stuck. A switch that sticks closed can burst a tank.",
    "Look whether water runs anywhere, then at the gauge. If the pressure is high and the pump runs on, switch it off "
    "at its breaker and lock it off. Have the switch and the relief valve checked by a licensed pump installer.",
    "Look whether water runs anywhere; if not, switch the pump off at its breaker and lock it off.",
)
LONG_ADVICE: Final = Advice(
    "Watering or filling for hours looks like this, and so does a pump that reaches cut-out late: a tap left open, a "
    "burst pipe, a worn pump, a falling well.",
    "If nobody was drawing water for so long, look whether water ran anywhere, and watch the gauge when it runs on.",
    "Ask whether somebody drew water for so long; if not, look where it ran.",
)
#: Runs shorter than this share of the shortest run a sound tank allows: the flow on a plate is rough. [1]
OF_TANK_RUN: Final = 0.5
#: Runs and rests both shorter than this share of what the log itself showed before. [1]
OF_BEFORE: Final = 0.6
#: Runs and rests both below this share of what a motor needs, as long as water is drawn: hardly any drawdown. [1]
FAR_BELOW: Final = 0.5
#: Share of the runs that must agree. [1]
MOST: Final = 0.75
#: Rests that are alike: the longest of them is at most this many times the shortest.
ALIKE: Final = 1.25
#: So many rests in a row, over at least so long, with the pump running no larger share of the time.
LEAK_RESTS: Final = 6
LEAK_S: Final = 3 * 3600.0
LEAK_DUTY: Final = 0.2
#: A leak never stops: a rest so many times longer than the alike ones says that it did.
LEAK_STOPPED: Final = 1.5
#: A run of hours is also so many times as long as the usual ones, before it is worth a look. [1]
TIMES_USUAL: Final = 5.0
#: A run that still goes on at the log's end is judged earlier, if it is so many times as long as any other. [s, 1]
STILL_S: Final = 3600.0
TIMES_LONGEST: Final = 10.0


class _Shrunk(NamedTuple):
    """What shows that runs have become too short for the tank, in which of them, and how much that asks for."""

    evidence: str
    plain: str
    which: BoolArray
    severity: Severity = "watch"


def air_charge_lost(runs: Runs, limits: HealthLimits) -> Check:
    """Judge whether the tank still holds the water it should between two starts.

    Against the tank of the site file where its flow is known; else against the log's own earlier behaviour; else by
    runs and rests that are both far below what any tank of the right size gives. Runs that are too brief all the same
    do not tell that the tank has its air.
    """
    rule = _air_rule(limits)
    if (cannot := runs.cannot_tell(rule)) is not None:
        return cannot
    condition = "" if limits.is_pump else " (if it is a pump with a pressure tank)"
    title = f"The pressure tank has possibly lost its air charge{condition}"
    # The tank of the site file tells most; where it says nothing, the log's own past does, and then a bare guess.
    shrunk = _against_tank(runs, limits) or _against_before(runs) or _far_below(runs, limits)
    if shrunk is not None:
        advice = Advice(_AIR_CAUSES, AIR_CHECK_FIRST.format(below=limits.precharge), AIR_FIRST_STEP)
        return rule.found(shrunk.severity, title, shrunk.evidence, advice, shrunk.plain, runs.starts(shrunk.which))
    usual = spell(float(np.nanmedian(runs.run_s)))
    if runs.mostly(runs.briefer(limits.minimum_run_s.value)):
        return rule.not_judged(f"runs last {usual}, {_why_brief(limits)}")
    return rule.passed(f"usual run {usual}{_though_small(limits)}")


def _why_brief(limits: HealthLimits) -> str:
    """Say why runs too brief for the motor, though not by as much as a tank without air makes them, tell no more."""
    tank, least = limits.tank_run_s, spell(limits.minimum_run_s.value)
    if tank is None:
        return (
            f"less than {least}: a tank without its air and one that is too small look the same; its size, pressures "
            "and the pump's flow (water in the site file) tell more"
        )
    if _is_small(limits):
        return (
            f"less than {least}: the tank of the site file is too small for more ({spell(tank.value)}), so they do not "
            "tell whether it has its air"
        )
    return (
        f"less than {least}, but not less than half of what the tank takes ({spell(tank.value)}): the flow of a plate "
        "is too rough to tell whether it has its air"
    )


def _though_small(limits: HealthLimits) -> str:
    """Say of a tank that has its air if it is too small all the same: passed does not mean that it is right."""
    if limits.tank_run_s is None or not _is_small(limits):
        return ""
    return (
        f": the tank holds the water it was built for, but that is too little ({spell(limits.tank_run_s.value)} at the "
        f"pump's flow; a run should last {spell(limits.minimum_run_s.value)})"
    )


def _is_small(limits: HealthLimits) -> bool:
    return limits.tank_run_s is not None and limits.tank_run_s.value < limits.minimum_run_s.value


def _air_rule(limits: HealthLimits) -> Rule:
    tank = limits.tank_run_s
    if tank is not None:
        return Rule(
            "air_charge_lost",
            f"no run shorter than {spell(OF_TANK_RUN * tank.value)}: half of the {spell(tank.value)} that a tank with "
            "its air takes at the site file's flow, which is rough",
            tank.source,
        )
    return Rule(
        "air_charge_lost",
        f"at least {spell(limits.minimum_run_s.value)} a run and {spell(MINIMUM_REST_S)} a rest: not both below half "
        f"of that, nor both below {100 * OF_BEFORE:.0f} % of what they were before",
        f"run: {limits.minimum_run_s.source}; rest: a pump maker's trade figure; shares: {COMMON_PRACTICE}",
    )


def _against_tank(runs: Runs, limits: HealthLimits) -> _Shrunk | None:
    """Find runs shorter than the tank allows in the newest third of the log."""
    if limits.tank_run_s is None:
        return None
    limit_s = OF_TANK_RUN * limits.tank_run_s.value
    short = runs.run_s < limit_s
    # Only the newest third is asked: a tank that lost its air last week had sound runs before.
    newest = short[runs.whole][-max(LEAST_CYCLES, int(runs.whole.sum()) // 3) :]
    if newest.mean() < MOST:
        return None
    usual_s = float(np.median(runs.run_s[short]))
    least = spell(limits.tank_run_s.value)
    evidence = (
        f"runs of {spell(usual_s)} (median of {int(short.sum())}) where a tank with its air allows none below {least} "
        "at the site file's flow"
    )
    plain = f"Runs last {spell(usual_s)}. With air in its tank none would be shorter than {least}."
    return _Shrunk(evidence, plain, short, "act")


def _against_before(runs: Runs) -> _Shrunk | None:
    """Find that the newest third of runs and rests are both far shorter than those the log began with.

    It began with the cycles of its first quarter of time, or the first few: a tank that loses its air makes more and
    more of them.
    """
    known = runs.whole & ~np.isnan(runs.rest_s)
    if known.sum() < 3 * LEAST_CYCLES:
        return None
    run_s, rest_s, start_us = runs.run_s[known], runs.rest_s[known], runs.start_us[known]
    quarter = int(np.searchsorted(start_us, start_us[0] + (start_us[-1] - start_us[0]) // 4))
    before, now = slice(None, max(quarter, LEAST_CYCLES)), slice(-(len(run_s) // 3), None)
    limit_s = OF_BEFORE * float(np.quantile(run_s[before], 0.1))
    shorter = np.median(run_s[now]) < limit_s
    rests_too = np.median(rest_s[now]) < OF_BEFORE * np.median(rest_s[before])
    # Runs may be shorter because less is drawn; only a smaller drawdown shortens the time to fill it at no use.
    water = _tank_s(run_s, rest_s)
    if not (shorter and rests_too and np.median(water[now]) < OF_BEFORE * np.median(water[before])):
        return None
    evidence = (
        f"at first runs took {spell(float(np.median(run_s[before])))} and rests "
        f"{spell(float(np.median(rest_s[before])))}, at last {spell(float(np.median(run_s[now])))} and "
        f"{spell(float(np.median(rest_s[now])))} (medians)"
    )
    was, is_now = (spell(float(np.median(run_s[part]))) for part in (before, now))
    plain = f"Runs went from {was} to {is_now}. Below {spell(limit_s)} the tank has likely lost air."
    return _Shrunk(evidence, plain, known & (np.cumsum(known) > known.sum() - len(run_s) // 3))


def _far_below(runs: Runs, limits: HealthLimits) -> _Shrunk | None:
    """Find runs and rests that are both far below what a motor needs, in the newest third of the log."""
    both = (runs.run_s < FAR_BELOW * limits.minimum_run_s.value) & (runs.rest_s < FAR_BELOW * MINIMUM_REST_S)
    known = runs.whole & ~np.isnan(runs.rest_s)
    newest = both[known][-max(LEAST_CYCLES, int(known.sum()) // 3) :]
    if limits.tank_run_s is not None or len(newest) < LEAST_CYCLES or newest.mean() < MOST:
        return None
    run, rest = (spell(float(np.median(lengths_s[both]))) for lengths_s in (runs.run_s, runs.rest_s))
    evidence = f"{int(both.sum())} times the load ran for {run} after a rest of {rest} (medians)"
    least_run, least_rest = (spell(length_s) for length_s in (limits.minimum_run_s.value, MINIMUM_REST_S))
    plain = f"Runs last {run}, rests {rest}. A run should last at least {least_run}, a rest {least_rest}."
    return _Shrunk(evidence, plain, both)


def _tank_s(run_s: FloatArray, rest_s: FloatArray) -> FloatArray:
    """Return how long the pump alone would take to fill the tank, if the use was steady: D / Q. [s].

    From run = D / (Q - use) and rest = D / use.
    """
    return run_s * rest_s / np.maximum(run_s + rest_s, 1e-9)


def leak_down(runs: Runs, limits: HealthLimits) -> Check:
    """Judge whether the pump starts at equal intervals for hours, as it does when water leaves the tank by itself."""
    rule = Rule(
        "leak_down",
        f"not {LEAK_RESTS} or more rests in a row alike to a quarter, over {spell(LEAK_S)} or more, with the pump "
        f"running less than {100 * LEAK_DUTY:.0f} % of the time",
        COMMON_PRACTICE,
    )
    if (cannot := runs.cannot_tell(rule, least=LEAK_RESTS + 1)) is not None:
        return cannot
    regular = _regular(runs)
    if not regular.any():
        return rule.passed("the rests differ as use does")
    usual_s = float(np.median(runs.rest_s[regular]))
    run_s = float(np.median(runs.run_s[regular]))
    if _stopped(runs, regular, usual_s):
        return rule.passed("regular for a while, then the load rested for longer: a steady use that ended")
    return rule.found(
        "watch" if limits.is_pump else "note",  # a thermostat runs a fridge as regularly
        f"Water possibly leaks away: the pump starts at equal intervals{limits.if_pump}",
        f"{int(regular.sum())} runs of {spell(run_s)} come every {spell(usual_s + run_s)}, alike to a quarter",
        LEAK_ADVICE,
        f"{int(regular.sum())} starts came evenly, every {spell(usual_s + run_s)}. {LEAK_RESTS} in a row or more may "
        "be a leak.",
        runs.starts(regular),
    )


def _regular(runs: Runs) -> BoolArray:
    """Return which cycles belong to a long row of rests, and of runs, that are alike."""
    regular = np.zeros(len(runs.run_s), dtype=bool)
    if len(regular) < LEAK_RESTS:
        return regular
    rests = np.lib.stride_tricks.sliding_window_view(runs.rest_s, LEAK_RESTS)
    lengths = np.lib.stride_tricks.sliding_window_view(runs.run_s, LEAK_RESTS)
    # Two readings of either rest may each be off by a spacing.
    slack_s = 2 * (runs.usual_interval_s or 0.0)
    alike = rests.max(axis=1) <= ALIKE * rests.min(axis=1) + slack_s
    alike &= lengths.max(axis=1) <= ALIKE * lengths.min(axis=1) + slack_s
    alike &= lengths.sum(axis=1) <= LEAK_DUTY * (rests + lengths).sum(axis=1)
    for first in np.flatnonzero(alike):
        regular[first : first + LEAK_RESTS] = True
    # Counts the turns from regular to not and back.
    rows = np.cumsum(np.diff(regular, prepend=False))  # odd within a row
    for row in np.unique(rows[regular]):
        if np.sum((runs.rest_s + runs.run_s)[rows == row]) < LEAK_S:
            regular[rows == row] = False
    return regular


def _stopped(runs: Runs, regular: BoolArray, usual_s: float) -> bool:
    """Tell whether the load rested for much longer at any time after the regular row began."""
    after = runs.rest_s[int(np.argmax(regular)) :]
    return bool((after > LEAK_STOPPED * usual_s).any())


def never_cuts_out(runs: Runs, limits: HealthLimits) -> Check:
    """Judge whether a run still goes on at the log's end, far longer than usual.

    One that was as long and then ended did cut out, or was stopped: a note of a plain fact, unless the owner has set
    the limit.
    """
    limit = limits.longest_run_s
    rule = Rule(
        "never_cuts_out",
        f"no run that still goes on at the log's end after {spell(STILL_S)} and {TIMES_LONGEST:g} times the longest; "
        f"one longer than {spell(limit.value)} and {TIMES_USUAL:g} usual ones that ended is noted",
        limit.source,
    )
    others = runs.run_s[runs.whole & ~runs.less & (runs.run_s <= limit.value)]
    if len(others) < LEAST_CYCLES:
        return rule.not_judged(f"{len(others)} usual runs are too few to tell how long a run usually is")
    if (~np.isnan(runs.draw)).sum() >= LEAST_CYCLES and usual_draw(runs) is None:
        return rule.not_judged("the runs draw so differently that they may be several loads'")
    usual_s = float(np.median(others))
    lengths_s = runs.lengths_s()
    ended_s = max(limit.value, TIMES_USUAL * usual_s)
    goes_on_s = max(min(STILL_S, limit.value), TIMES_LONGEST * float(others.max()))
    long = lengths_s > ended_s
    # A run that goes on may be found early: there is still time to switch the pump off.
    long |= ~runs.whole & (lengths_s > goes_on_s)
    # Another run during it, or another draw, and it was mispaired: the start of one load with the stop of another.
    long &= runs.alone(lengths_s) & (draws_as_usual(runs) | runs.less)
    if not long.any() and runs.cycles.perhaps_dry is not None and runs.cycles.perhaps_dry.lasted_s > STILL_S:
        return rule.not_judged(runs.perhaps_dry)
    if not long.any():
        return rule.passed(f"the longest run took {spell(float(others.max()))}, a usual one {spell(usual_s)}")
    longest = spell(float(lengths_s[long].max()))
    most_s = ended_s if runs.whole[long].all() else min(goes_on_s, ended_s)
    plain = f"{runs.name} ran for {longest} in one go. It should be {spell(most_s)} at most."
    evidence = f"{int(long.sum())} of {len(long)} runs went on for up to {longest}"
    usual = f"; a usual run takes {spell(usual_s)} (median of {len(others)})"
    if (long & runs.less).any():
        evidence += f", {int((long & runs.less).sum())} of them at the draw of a pump that runs dry"
    elif runs.whole[long].all():
        title = f"{runs.name} ran for {longest} in one go, and stopped"
        severity: Severity = "watch" if limit.source == OWNER else "note"
        return rule.found(severity, title, f"{evidence}, and ended{usual}", LONG_ADVICE, plain, runs.starts(long))
    return rule.found(
        "watch",
        f"{runs.name} runs on and does not cut out",
        f"{evidence}{'' if runs.whole[long].all() else ', the last still when the log ended'}{usual}",
        NEVER_ADVICE,
        plain,
        runs.starts(long),
    )
