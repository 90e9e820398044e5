"""Runs too brief and starts too many: what wears a motor out."""

from __future__ import annotations

from dataclasses import replace
from math import floor
from typing import Final

import numpy as np

from ..cycles.failed_starts import BRIEF_SHARE
from ..readings.chunk import SECONDS_PER_HOUR, BoolArray
from ..wording import figure, spell
from .finding import Advice, Check, Rule, Severity
from .hardly_seen import at_cut_off, hardly_seen
from .limits import Bound, HealthLimits
from .runs import LEAST_CYCLES, Runs, busiest_hour
from .tank import AIR_CHECK_FIRST, AIR_FIRST_STEP

_CAUSES: Final = (
    "A pressure tank that has lost its air charge, a tank too small for the pump, a pressure switch set too narrow, or "
    "a leak. Every start heats the motor, and a short run does not carry the heat off."
)
#: Where nobody said that it is a pump.
_FIRST_STEP_ELSE: Final = "Find out what starts it so often; of a well pump, have the air of its tank checked first."
#: Starts that nobody reaches, where none is too many.
NO_LIMIT: Final = 1e9
#: Why limits are not held against a drive's starts.
_ONLY_DIRECT: Final = (
    "the limits published are for motors switched straight on, and a drive starts its motor softly; set minimum_run_s "
    "and starts_per_day in the site file"
)
#: A limit per day is an average: a log shorter than this says nothing about it. [h]
LEAST_HOURS: Final = 20.0
#: In a log shorter than an hour starts count at so many times the rate allowed in the busiest hour, from as many on as
#: anything is judged from: common practice, no source. [1]
BURST: Final = 2.0
#: So many times the starts allowed in an hour leave no time for runs as long as they should be. [1]
SURELY_BRIEF: Final = 2.0


def short_cycling(runs: Runs, limits: HealthLimits) -> Check:
    """Judge whether runs are too short, and how often the load starts.

    Two thirds of the runs of the log, or of its newest third, are shorter than the limit even with half the spacing of
    the readings added at either end. The limit per day is an average over months and needs a log of most of a day;
    the busiest hour is held against what a tank of the right size allows.
    """
    check = _held_against(runs, limits)
    if check.finding is None or not (limits.drive or runs.cycles.by_drive):
        return check
    # Only what holds behind a drive can be crossed; what is within the limits of direct starts is so all the more.
    held = _but_for_direct(limits)
    if held is not None and (of_held := _held_against(runs, held)).finding is not None:
        return of_held
    return _rule(limits).not_judged(f"{check.finding.evidence}: {_ONLY_DIRECT}")


def _but_for_direct(limits: HealthLimits) -> HealthLimits | None:
    """Return what can be crossed without the limits that are published for direct starts; None where none is left."""
    run, day, hour = limits.minimum_run_s, limits.starts_per_day, limits.starts_per_hour
    if run.direct and day.direct and hour.direct:
        return None
    return replace(
        limits,
        minimum_run_s=Bound(0.0, "") if run.direct else run,
        starts_per_day=Bound(NO_LIMIT, "") if day.direct else day,
        starts_per_hour=Bound(NO_LIMIT, "") if hour.direct else hour,
    )


def _held_against(runs: Runs, limits: HealthLimits) -> Check:
    """Hold the runs against these limits, whatever starts the load."""
    rule = _rule(limits)
    if (cannot := runs.cannot_tell(rule, limits.minimum_run_s.value)) is not None:
        # Starts can be counted where runs cannot be measured; but not where they are several loads'.
        if runs.mixed:
            return cannot
        by_rises = _by_rises(runs, limits, rule)
        # Of brief runs those that follow each other closely are not told apart, and rises are.
        more = by_rises if _more_rise_than_start(runs) else None
        return more or _by_starts_alone(runs, limits, rule, cannot.remark) or by_rises or cannot
    short = runs.briefer(limits.minimum_run_s.value)
    brief = runs.mostly(short)
    a_day = _too_many_a_day(runs, limits)
    often = a_day is not None or busiest_hour(runs.start_us) > limits.starts_per_hour.value
    evidence = _evidence(runs, short, limits) + (
        f"; {a_day:.0f} starts in 24 h on average" if a_day is not None else ""
    )
    # Runs that are seen may be the long ones only.
    if not often and (by_rises := _by_rises(runs, limits, rule)) is not None:
        return by_rises
    if not brief and not often:
        return rule.passed(evidence)
    what = " and ".join(["starts too often"] * often + ["runs too briefly"] * brief)
    if _of_another_kind(limits):
        evidence += f"; the limit is that of submersible pump motors, and this is a {limits.kind}"
    which = short if brief else np.ones(len(short), dtype=bool)
    severity = _severity(limits, brief=brief, often=often)
    plain = _often(runs, limits, a_day) if often else _brief(runs, limits, short)
    title = f"{runs.name} {what}{limits.if_motor}"
    return rule.found(severity, title, evidence, _advice(limits), plain, runs.starts(which))


def _brief(runs: Runs, limits: HealthLimits, short: BoolArray) -> str:
    """Say how long the runs that are too short usually last, and how long they should."""
    run, least = spell(float(np.median(runs.run_s[short]))), spell(limits.minimum_run_s.value)
    return f"{runs.name} runs for {run} at a time. {_it_should(limits)} be at least {least}."


def _often(runs: Runs, limits: HealthLimits, a_day: float | None) -> str:
    """Say how often the load starts and should: an average against the limit that is one, like against like.

    An average is said of most of a day, or where even it is more than the busiest hour may have; else that hour is. A
    log that is shorter has no hour to speak of: what it holds is told as it is.
    """
    should, hours = _it_should(limits), runs.cycles.covered_s / SECONDS_PER_HOUR
    if _is_short(runs):
        seen = f"{len(runs.start_us)} times in {spell(runs.span_s)}"
        return f"{runs.name} started {seen}. {should} be {_an_hour(limits)} in an hour."
    rate, allowed = len(runs.start_us) / max(hours, 1.0), floor(limits.starts_per_day.value / 24)
    average = a_day is not None or rate > limits.starts_per_hour.value
    # Of few a day an hour has none: then the day is told.
    if average and round(rate) > allowed > 0:
        return f"{runs.name} starts {rate:.0f} times an hour. {should} be at most {allowed} on average."
    if a_day is not None:
        return f"{runs.name} starts {a_day:.0f} times a day. {should} be at most {limits.starts_per_day.value:g}."
    return f"{runs.name} started {busiest_hour(runs.start_us)} times in one hour. {should} be {_an_hour(limits)}."


def _an_hour(limits: HealthLimits) -> str:
    return f"at most {floor(limits.starts_per_hour.value)}"


def _it_should(limits: HealthLimits) -> str:
    """Begin a sentence with whom the limit is for, where the site file does not say that the load is such a one."""
    if _of_another_kind(limits):
        return "For a submersible pump it should"
    return "It should" if limits.is_motor else "For a motor it should"


def _by_starts_alone(runs: Runs, limits: HealthLimits, rule: Rule, why_not: str) -> Check | None:
    """Judge by the starts, where the lengths of runs are not known: too few are whole, or readings are too far apart.

    `why_not` says which; that runs are too brief may be sure all the same. None where the starts say nothing either:
    neither more of them in an hour than allowed nor, in a log too short for that, enough of them as close together as
    if there were twice as many.
    """
    # In a log shorter than an hour a rate stands in for the busiest hour, at twice what is allowed.
    most, allowed = busiest_hour(runs.start_us), limits.starts_per_hour.value
    a_day, rate = _too_many_a_day(runs, limits), _rate_per_hour(runs)
    if most <= allowed and a_day is None and not (len(runs.start_us) >= LEAST_CYCLES and rate > BURST * allowed):
        return None
    evidence = _most_starts(runs, limits)
    evidence += f"; {a_day:.0f} starts in 24 h on average" if a_day is not None else ""
    evidence += f", as many as {rate:.0f} an hour" if most <= allowed and a_day is None else ""
    short = runs.briefer(limits.minimum_run_s.value)
    brief = int(runs.whole.sum()) >= LEAST_CYCLES and runs.mostly(short)
    evidence += f"; {_surely_brief(runs, limits, short)}" if brief else f"; their lengths were not judged: {why_not}"
    severity = _severity(limits, brief=brief or most > SURELY_BRIEF * allowed, often=True)
    every = runs.starts(np.ones(len(runs.start_us), dtype=bool))
    title = f"{runs.name} starts too often{' and runs too briefly' * brief}{limits.if_motor}"
    return rule.found(severity, title, evidence, _advice(limits), _often(runs, limits, a_day), every)


def _surely_brief(runs: Runs, limits: HealthLimits, short: BoolArray) -> str:
    """Say how many runs are too short even with all that the spacing of the readings may hide of them."""
    return (
        f"{int(short.sum())} of {int(runs.whole.sum())} whole runs are surely under {spell(limits.minimum_run_s.value)}"
    )


def _more_rise_than_start(runs: Runs) -> bool:
    """Tell whether rises prove more starts in an hour than runs do, of a load with brief runs among these."""
    seen = hardly_seen(runs) if runs.cycles.brief_runs else None
    return seen is not None and seen.most > (1 + BRIEF_SHARE) * busiest_hour(runs.start_us)


def _by_rises(runs: Runs, limits: HealthLimits, rule: Rule) -> Check | None:
    """Judge by the rises that readings show of runs too brief for them: at least as many starts there were.

    None where they are not too many.
    """
    seen, allowed = hardly_seen(runs), limits.starts_per_hour.value
    hours = runs.cycles.covered_s / SECONDS_PER_HOUR
    if seen is None:
        return None
    a_day = 24 * seen.count / hours if hours >= LEAST_HOURS else 0.0
    if seen.most <= allowed and a_day <= limits.starts_per_day.value:
        return None
    if at_cut_off(seen, limits):
        return rule.not_judged(f"the bank stands at {seen.volts:.3g} V at its starts: the inverter may end the runs")
    unit = runs.cycles.signal[-1]
    by_part = "up to its draw" if runs.cycles.rises is not None and runs.cycles.rises.means else "its draw"
    length = spell(runs.cycles.covered_s) if _is_short(runs) else ""
    evidence = (
        f"at least {seen.most} starts in {length or 'the busiest hour'}, of runs too brief for the readings, by rises "
        f"of about {figure(seen.size, unit, digits=2)} ({by_part})"
    )
    evidence += f"; at least {a_day:.0f} in 24 h on average" if a_day > limits.starts_per_day.value else ""
    severity = _severity(limits, brief=seen.most > SURELY_BRIEF * allowed, often=True)
    name = runs.name if runs.cycles.load else "A load"
    plain = f"{name} started at least {seen.most} times in {length or 'one hour'}. "
    plain += f"{_it_should(limits)} be {_an_hour(limits)}{' in an hour' if length else ''}."
    if seen.most <= allowed:
        plain = (
            f"{name} starts at least {a_day:.0f} times a day. {_it_should(limits)} be at most "
            f"{limits.starts_per_day.value:g}."
        )
    title = f"{name} starts too often{limits.if_motor}"
    # An average is of all the time in which such rises come.
    over_us = seen.hour_us[(seen.in_hour > allowed) | (a_day > limits.starts_per_day.value)]
    holds_us = int(over_us[0]), int(over_us[-1])
    return rule.found(severity, title, evidence, _advice(limits), plain, (seen.busiest_us,), holds_us)


def _rate_per_hour(runs: Runs) -> float:
    """Return the starts an hour from the first to the last of a log that is shorter than an hour. [1/h]."""
    short = runs.span_s > 0 and _is_short(runs)
    return (len(runs.start_us) - 1) / runs.span_s * SECONDS_PER_HOUR if short else 0.0


def _advice(limits: HealthLimits) -> Advice:
    first_step = AIR_FIRST_STEP if limits.is_pump else _FIRST_STEP_ELSE
    return Advice(_CAUSES, AIR_CHECK_FIRST.format(below=limits.precharge), first_step)


def _rule(limits: HealthLimits) -> Rule:
    run, day, hour = limits.minimum_run_s, limits.starts_per_day, limits.starts_per_hour
    held = [
        (run.value > 0, f"at least {spell(run.value)} a run", f"run: {run.source}"),
        (
            day.value < NO_LIMIT,
            f"{day.value:g} starts in 24 h on average, which is {day.value / 24:.1f} an hour",
            f"starts: {day.source}",
        ),
        (hour.value < NO_LIMIT, f"{hour.value:g} starts in the busiest hour", f"busiest hour: {hour.source}"),
    ]
    given = [(limit, source) for holds, limit, source in held if holds]
    return Rule("short_cycling", "; ".join(limit for limit, _ in given), "; ".join(source for _, source in given))


def _too_many_a_day(runs: Runs, limits: HealthLimits) -> float | None:
    """Return the starts in 24 h on average where they are too many; None where not, or where the log is too short."""
    hours = runs.cycles.covered_s / SECONDS_PER_HOUR
    a_day = 24 * len(runs.start_us) / hours if hours >= LEAST_HOURS else 0.0
    return a_day if a_day > limits.starts_per_day.value else None


def _evidence(runs: Runs, short: BoolArray, limits: HealthLimits) -> str:
    whole = runs.run_s[runs.whole]
    median, shortest = (spell(float(x)) for x in (np.median(whole), whole.min()))
    return (
        f"{int(short.sum())} of {len(whole)} whole runs are too short (median of all {median}, shortest {shortest}); "
        f"{_most_starts(runs, limits)}"
    )


def _most_starts(runs: Runs, limits: HealthLimits) -> str:
    """Say how many starts the busiest hour holds, or the whole of a log that is shorter, and how many it may hold."""
    allowed = "" if limits.starts_per_hour.value >= NO_LIMIT else f" ({_an_hour(limits)})"
    if _is_short(runs):
        return f"{len(runs.start_us)} starts in {spell(runs.span_s)}"
    return f"{busiest_hour(runs.start_us)} starts in the busiest hour{allowed}"


def _is_short(runs: Runs) -> bool:
    """Tell whether a log is shorter than an hour, so that it holds no busiest one."""
    return max(runs.cycles.covered_s, runs.span_s) < SECONDS_PER_HOUR


def _severity(limits: HealthLimits, *, brief: bool, often: bool) -> Severity:
    """Both together ask for action; a limit that is published for another kind of motor only for a note.

    At twice the starts that an hour may have there is no time left for runs as long as they should be: then they are
    brief, whether anybody measured them or not.
    """
    if _of_another_kind(limits):
        return "note"
    return "act" if brief and often and limits.is_motor else "watch"


def _of_another_kind(limits: HealthLimits) -> bool:
    """Tell whether the limits are those of submersible pump motors, and the load is another kind of motor."""
    return limits.published_for_pumps and limits.kind in ("motor", "compressor")
