"""What the bank's voltage says: too low before a run or in it, so low that the inverter ends it.

Runs that end because the inverter switches itself off say nothing about motor and tank.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ..readings.chunk import BoolArray, FloatArray
from ..wording import figure, spell
from .finding import Advice, Check, Rule, Severity
from .limits import Bound, HealthLimits
from .runs import LEAST_CYCLES, Runs

ADVICE: Final = Advice(
    "A bank that is empty, old or cold, cables or joints with too much resistance, or a load too large for the bank. "
    "Below its cut-off an inverter switches off; a motor at low voltage draws more and runs hot.",
    "Let the bank be charged, then compare its voltage at the terminals with that at the inverter while the load "
    "starts. A bank gives thousands of amps into a short: insulated tools, no jewellery, and a licensed electrician "
    "where in doubt.",
    "Let the bank be charged, then look at its voltage again while the load starts.",
)
#: Fewer runs than this may be chance, or a reading gone wrong; so many ask for action.
LEAST_RUNS: Final = 2
MANY_RUNS: Final = 8
#: The bank may stand so much above the inverter's cut-off when that switches off: meters and cables differ by some
#: percent (common practice, no source). [1]
ABOVE_CUT_OFF: Final = 1.02
#: Without a site file: inverters switch off at 10 to 11 V for 12 V nominal (data sheets, from memory), and the meter
#: may be off by a percent. [V per nominal V]
USUAL_CUT_OFF: Final = 1.01 * 11.0 / 12.0
#: Nominal voltages of banks, and by how much a bank usually stands above its own: 12.5 V for 12 V. [V], [1]
NOMINAL_V: Final = (12.0, 24.0, 36.0, 48.0)
STANDS: Final = 12.5 / 12.0
#: Runs are pinned to a voltage if nine of ten end within this share of it, once they have fallen by so much. [1]
PINNED: Final = 0.01
#: Where no cut-off is known, so many of the runs that are too short must end so. [1]
MOST: Final = 0.75


@dataclass(frozen=True)
class CutOff:
    """Which runs ended with the bank at the voltage at which their inverter switches off; `at` is None where none."""

    which: BoolArray
    at: Bound | None = None


def cut_off_of(runs: Runs, limits: HealthLimits) -> CutOff:
    """Tell which runs ended at the inverter's cut-off.

    Only runs that are shorter than a motor, or the tank, lets one expect are asked. They end at the cut-off of the
    site file; else most of them must end where inverters usually switch off, or all at one voltage to which they fell.
    """
    end_V, enough_s = runs.of("end_V"), limits.minimum_run_s.value
    enough_s = max(enough_s, limits.tank_run_s.value) if limits.tank_run_s is not None else enough_s
    # Long runs at a low voltage emptied the bank; only what is short may have been cut short.
    brief = (runs.run_s < enough_s) & ~np.isnan(end_V)
    if limits.cut_off_V is not None:
        return _at(brief & (end_V < ABOVE_CUT_OFF * limits.cut_off_V.value), limits.cut_off_V)
    none = CutOff(np.zeros(len(end_V), dtype=bool))
    if brief.sum() < LEAST_CYCLES:
        return none
    nominal_V = limits.nominal_V or nominal_of(float(np.median(runs.of("before_V")[brief])))
    # Without a cut-off in the site file two signs stand in: where inverters usually switch off, and one voltage for
    # all.
    low = brief & (end_V < USUAL_CUT_OFF * nominal_V)
    if low.sum() >= MOST * brief.sum():
        usual = f"where inverters on {figure(nominal_V, 'V')} usually switch off, from memory: the site file gives none"
        return _at(low, Bound(round(USUAL_CUT_OFF * nominal_V, 2), usual))
    pinned_V = _pinned_V(end_V[brief], runs.of("begin_V")[brief])
    if pinned_V is None:
        return none
    source = "the voltage at which the runs end, one like the other"
    return _at(brief & (np.abs(end_V / pinned_V - 1) < PINNED), Bound(round(pinned_V, 2), source))


def _at(which: BoolArray, at: Bound) -> CutOff:
    return CutOff(which, at if which.any() else None)


def nominal_of(stands_V: float) -> float:
    """Return the nominal voltage of a bank that stands at so much. [V]."""
    return min(NOMINAL_V, key=lambda nominal_V: abs(np.log(stands_V / (STANDS * nominal_V))))


def _pinned_V(end_V: FloatArray, begin_V: FloatArray) -> float | None:
    """Return the voltage to which all of these runs fell and at which they ended; None if they did not. [V]."""
    low, middle, high = np.quantile(end_V, [0.05, 0.5, 0.95])
    fallen_V = float(np.nanmedian(begin_V - end_V))
    # The runs must have fallen to it: a bank that hardly moves ends every run at one voltage, too.
    is_pinned = high - low < PINNED * middle and fallen_V > max(PINNED * middle, 2 * (high - low))
    return float(middle) if is_pinned else None


def without(runs: Runs, which: BoolArray) -> Runs:
    """Return the runs without some of them; what came before the next one is not known then."""
    if not which.any():
        return runs
    # The rest before a run that follows one left out began with a cut-off, so its length says nothing of the use.
    after = np.concatenate([[False], which[:-1]])
    cycles = [
        replace(cycle, off_before_s=None) if follows else cycle
        for cycle, out, follows in zip(runs.cycles.cycles, which, after, strict=True)
        if not out
    ]
    return replace(runs, cycles=replace(runs.cycles, cycles=tuple(cycles)), left_out=int(which.sum()))


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
    # A cut-off that is one of the limits anyway is not held against twice.
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
    evidence = [_below(bound, volts, words) for bound, volts, words in kinds if not np.isnan(volts).all()]
    evidence += [_cut_short(cut_off, runs)] if cut_off.at is not None else []
    if low.sum() < LEAST_RUNS:
        return rule.passed("; ".join(evidence))
    title = "The bank's voltage falls too low"
    if cut_off.which.sum() >= LEAST_RUNS:
        title += ": it possibly makes the inverter switch off in the middle of runs"
    # What only the voltage at which runs end tells is a guess at a cut-off that nobody stated.
    severity: Severity = "act" if low.sum() >= MANY_RUNS and kinds else "watch"
    plain = _plain(kinds, cut_off, runs)
    return rule.found(severity, title, "; ".join(evidence), ADVICE, plain, runs.starts(low))


def _plain(kinds: Sequence[tuple[Bound, FloatArray, str]], cut_off: CutOff, runs: Runs) -> str:
    """Say how far the bank fell, against the limit that most runs crossed; else where the inverter ended them."""
    crossed = [(bound, volts, words) for bound, volts, words in kinds if (volts < bound.value).any()]
    if not crossed:
        end_V = runs.of("end_V")[cut_off.which]
        return f"{len(end_V)} runs ended with the bank at {float(np.median(end_V)):.2f} V. It should stay above that."
    bound, volts, words = max(crossed, key=lambda kind: (kind[1] < kind[0].value).sum())
    return f"The bank fell to {np.nanmin(volts):.2f} V {words}. It should be at least {bound.value:g} V."


def _cut_short(cut_off: CutOff, runs: Runs) -> str:
    """Say which runs the voltage ended, and that they are not held against anything else."""
    end_V, run_s = runs.of("end_V")[cut_off.which], runs.run_s[cut_off.which]
    return (
        f"{len(end_V)} runs ended after {spell(float(np.median(run_s)))} (median) with the bank at "
        f"{end_V.min():.2f} to {end_V.max():.2f} V, so that their lengths say nothing of the load or of a tank"
    )


def _below(bound: Bound, volts: FloatArray, words: str) -> str:
    below = int((volts < bound.value).sum())
    return f"lowest {words} {np.nanmin(volts):.2f} V, below {bound.value:g} V in {below} of {len(volts)} runs"
