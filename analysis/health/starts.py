"""What the starts say: attempts that fail, and surges beyond what the inverter can give."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from ..cycles.cycle import Attempt
from ..readings.chunk import MICROSECONDS
from ..wording import figure, spell
from .finding import Advice, Check, Rule, Severity
from .limits import COMMON_PRACTICE, HealthLimits
from .runs import Runs

TRIP_ADVICE: Final = Advice(
    "The inverter or a breaker trips on the start and it is tried again: the surge is more than it can give, the "
    "bank's voltage falls below its cut-off under the surge, or a cable or joint has too much resistance.",
    "Look at the inverter's own display or log for overload or low battery, at the state of charge, and at the "
    "voltage at the inverter's terminals during a start. Isolate and lock off before a joint is touched: a bank gives "
    "thousands of amps into a short. A licensed electrician decides.",
    "Look at the inverter's display for overload or a low battery.",
)
STALL_ADVICE: Final = Advice(
    "The motor is fed but does not come up to speed: a failed start capacitor or relay, a jammed or sanded-up pump, or "
    "too low a voltage. Its overload opens and it is tried again; every try heats the windings.",
    "Switch the pump off at its breaker and lock it off before it burns out. Capacitors hold a dangerous charge: the "
    "control box, the motor and the well are for a licensed electrician or pump installer.",
    "Switch the pump off at its breaker and lock it off.",
)
SURGE_ADVICE: Final = Advice(
    "The load's start takes more than the inverter is rated for. It may hold for a moment and fail on a cold day or a "
    "low bank.",
    "Check the rating and its seconds in the data sheet, and the same in the site file. A soft starter or a larger "
    "inverter is a licensed electrician's choice.",
    "Compare the inverter's surge rating in its data sheet with the site file.",
)
#: An inverter that trips does so within seconds of the surge; a motor that does not turn draws until its overload
#: opens: common practice, no source. [s]
TRIP_S: Final = 2.0
#: One attempt may be chance; so many are a finding, and so many ask for action.
LEAST_ATTEMPTS: Final = 2
MANY_ATTEMPTS: Final = 4
#: Readings further apart than this do not show an attempt. [s]
ATTEMPT_SPACING_S: Final = 2.0
#: Surges above the rating before it is said.
LEAST_SURGES: Final = 2


class _Failure(NamedTuple):
    """One of the two ways in which starts fail: its words, in which `count` and `lasted` are filled in, and advice."""

    title: str
    plain: str
    advice: Advice


def start_trip(runs: Runs, limits: HealthLimits) -> Check:
    """Judge whether starts are cut off within seconds and tried again."""
    rule = Rule("start_trip", f"no more than one start that is cut off within {TRIP_S:g} s", COMMON_PRACTICE)
    kind = _Failure(
        f"{runs.name} was cut off right after its start, and tried again",
        f"{{count}} starts of {runs.within} were cut off after {{lasted}}. It should be one at most.",
        TRIP_ADVICE,
    )
    return _failed_starts(rule, runs, limits, kind, stalled=False)


def stalled_start(runs: Runs, limits: HealthLimits) -> Check:
    """Judge whether the load stays at its surge for seconds, gives up, and is tried again."""
    rule = Rule("stalled_start", f"no more than one start that stays at its surge beyond {TRIP_S:g} s", COMMON_PRACTICE)
    kind = _Failure(
        f"{runs.name} possibly stalls: starts stay at their surge and do not settle",
        f"{{count}} starts of {runs.within} stayed at their surge for {{lasted}}. It should be {TRIP_S:g} s at most.",
        STALL_ADVICE,
    )
    return _failed_starts(rule, runs, limits, kind, stalled=True)


def _failed_starts(rule: Rule, runs: Runs, limits: HealthLimits, kind: _Failure, *, stalled: bool) -> Check:
    """Judge the attempts, which are of one kind all together: as long as their median."""
    attempts = runs.cycles.attempts
    # An attempt may last a second: readings further apart that show none say nothing.
    if runs.usual_interval_s is None or runs.usual_interval_s > ATTEMPT_SPACING_S:
        return rule.not_judged(f"readings more than {ATTEMPT_SPACING_S:g} s apart do not show a start that fails")
    if not attempts and not runs.cycles.cycles:
        return rule.not_judged("no start was seen")
    if len(attempts) < LEAST_ATTEMPTS:
        return rule.passed(f"starts that failed: {len(attempts)}")
    lasted_s = float(np.median([attempt.lasted_s for attempt in attempts]))
    # All attempts are of one kind: what trips and what stalls are told apart by how long they last.
    if (lasted_s > TRIP_S) is not stalled:
        return rule.passed(f"{len(attempts)} starts failed, but they lasted {spell(lasted_s)}")
    starts = tuple(attempt.start_us for attempt in attempts)
    severity: Severity = "act" if len(attempts) >= MANY_ATTEMPTS and limits.is_motor else "watch"
    plain = kind.plain.format(count=len(attempts), lasted=spell(lasted_s))
    evidence = _evidence(attempts, lasted_s)
    return rule.found(severity, f"{kind.title}{limits.if_motor}", evidence, kind.advice, plain, starts)


def _evidence(attempts: Sequence[Attempt], lasted_s: float) -> str:
    peaks = [attempt.peak_A for attempt in attempts if attempt.peak_A is not None]
    highest = f", up to {figure(max(peaks), 'A')}" if peaks else ""
    span_s = (attempts[-1].start_us - attempts[0].start_us) / MICROSECONDS
    return f"{len(attempts)} starts failed within {spell(span_s)}; each lasted about {spell(lasted_s)}{highest}"


def surge_over_rating(runs: Runs, limits: HealthLimits) -> Check:
    """Judge the highest watts of the starts against the inverter's surge rating."""
    rating = limits.surge_W
    if rating is None:
        return Rule("surge_over_rating").not_judged("the site file gives no surge rating for the load's inverter")
    rule = Rule("surge_over_rating", f"at most {figure(rating.value, 'W')} at the meter", rating.source)
    peak_W = runs.of("peak_W")
    known = peak_W[~np.isnan(peak_W)]
    if not len(known):
        return rule.not_judged("watts were not read, or not worked out, during the starts")
    over = peak_W > rating.value
    unseen = "" if all(cycle.surge_resolved for cycle in runs.cycles.cycles) else "; the true surge may be higher"
    evidence = f"highest {figure(float(known.max()), 'W')}{unseen}"
    # Readings that may have missed the top can show a surge that is too high, but none that is not.
    if over.sum() < LEAST_SURGES and not any(cycle.surge_resolved for cycle in runs.cycles.cycles):
        return rule.not_judged(f"readings too far apart to see a whole surge; {evidence}")
    if over.sum() < LEAST_SURGES:
        return rule.passed(evidence)
    title = f"The start of {runs.within} takes more than its inverter is rated for"
    highest, most = (figure(x, "W") for x in (float(known.max()), rating.value))
    plain = f"A start of {runs.within} takes {highest}. Its inverter can give {most}."
    return rule.found("watch", title, f"{int(over.sum())} starts, {evidence}", SURGE_ADVICE, plain, runs.starts(over))
