"""What the bank's voltage says: pulled too low by a run, or too low before it."""

from __future__ import annotations

from typing import Final

import numpy as np

from .chunk import FloatArray
from .finding import Check, Rule, Severity
from .health_limits import Bound, HealthLimits
from .health_runs import Runs

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
    if not kinds:
        return Rule("low_voltage").not_judged("the site file gives no voltage to hold against; set low_voltage_V")
    rule = Rule(
        "low_voltage",
        "; ".join(f"at least {bound.value:g} V {words}" for bound, _, words in kinds),
        "; ".join(bound.source for bound, _, _ in kinds),
    )
    if all(np.isnan(volts).all() for _, volts, _ in kinds):
        return rule.not_judged("no run has a voltage beside it")
    low = np.any([volts < bound.value for bound, volts, _ in kinds], axis=0)
    said = "; ".join(_said(bound, volts, words) for bound, volts, words in kinds if not np.isnan(volts).all())
    if low.sum() < LEAST_RUNS:
        return rule.passed(said)
    severity: Severity = "act" if low.sum() >= MANY_RUNS else "watch"
    return rule.found(severity, "The bank's voltage falls too low", said, ADVICE, runs.starts(low))


def _said(bound: Bound, volts: FloatArray, words: str) -> str:
    below = int((volts < bound.value).sum())
    return f"lowest {words} {np.nanmin(volts):.2f} V, below {bound.value:g} V in {below} of {len(volts)} runs"
