"""What the bank's voltage says: pulled too low by a run, or too low before it."""

from __future__ import annotations

from typing import Final

import numpy as np

from shuntbook.analysis.readings.chunk import FloatArray
from shuntbook.analysis.wording import spell

from .cut_off import CutOff, cut_off_of
from .finding import Check, Rule, Severity
from .limits import Bound, HealthLimits
from .runs import Runs

ADVICE: Final = (
    "A bank that is empty, old or cold, cables or joints with too much resistance, or a load too large for the bank. "
    "Below its cut-off an inverter switches off; a motor at low voltage draws more and runs hot.",
    "Let the bank be charged, then compare its voltage at the terminals with that at the inverter while the load "
    "starts. A bank gives thousands of amps into a short: insulated tools, no jewellery, and a licensed electrician "
    "where in doubt.",
)
#: Fewer runs than this may be chance, or a reading gone wrong; so many ask for action.
LEAST_RUNS: Final = 2
MANY_RUNS: Final = 8


def low_voltage(runs: Runs, limits: HealthLimits) -> Check:
    """Judge the lowest voltage during runs, and the voltage before they started."""
    kinds = [
        (bound, runs.of(field), words)
        for bound, field, words in (
            (limits.lowest_V, "lowest_V", "during a run"),
            (limits.resting_V, "before_V", "before a start"),
        )
        if bound is not None
    ]
    cut_off = cut_off_of(runs, limits)
    by_itself = [] if cut_off.at is None or cut_off.at in (limits.lowest_V, limits.resting_V) else [cut_off.at]
    if not kinds and not by_itself:
        return Rule("low_voltage").not_judged("the site file gives no voltage to hold against; set low_voltage_V")
    allowed = [f"at least {bound.value:g} V {words}" for bound, _, words in kinds]
    allowed += [f"no run that ends at about {bound.value:g} V" for bound in by_itself]
    sources = [bound.source for bound in (*(bound for bound, _, _ in kinds), *by_itself)]
    rule = Rule("low_voltage", "; ".join(allowed), "; ".join(sources))
    if np.isnan(runs.of("lowest_V")).all() and np.isnan(runs.of("before_V")).all():
        return rule.not_judged("no run has a voltage beside it")
    low = np.any([cut_off.which, *(volts < bound.value for bound, volts, _ in kinds)], axis=0)
    said = [_said(bound, volts, words) for bound, volts, words in kinds if not np.isnan(volts).all()]
    said += [_cut_short(cut_off, runs)] if cut_off.at is not None else []
    if low.sum() < LEAST_RUNS:
        return rule.passed("; ".join(said))
    title = "The bank's voltage falls too low"
    if cut_off.which.sum() >= LEAST_RUNS:
        title += ": it possibly makes the inverter switch off in the middle of runs"
    severity: Severity = "act" if low.sum() >= MANY_RUNS and kinds else "watch"
    return rule.found(severity, title, "; ".join(said), ADVICE, runs.starts(low))


def _cut_short(cut_off: CutOff, runs: Runs) -> str:
    """Say which runs the voltage ended, and that they are not held against anything else."""
    end_V, run_s = runs.of("end_V")[cut_off.which], runs.run_s[cut_off.which]
    return (
        f"{len(end_V)} runs ended after {spell(float(np.median(run_s)))} (median) with the bank at "
        f"{end_V.min():.2f} to {end_V.max():.2f} V, so that their lengths say nothing of the load or of a tank"
    )


def _said(bound: Bound, volts: FloatArray, words: str) -> str:
    below = int((volts < bound.value).sum())
    return f"lowest {words} {np.nanmin(volts):.2f} V, below {bound.value:g} V in {below} of {len(volts)} runs"
