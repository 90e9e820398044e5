"""What stands over a film of a measurement: the figures of a second, what was taken so far, a note."""

from __future__ import annotations

from math import isnan

from .numbers import amount, capital, plus_minus, shortened


def figures(current_A: float, voltage_V: float, power_W: float, *, at_bank: bool) -> str:
    """Return amps, volts and watts of an instant, those that are known: ``74.5 A · 24.8 V · 1,848 W out of the bank``.

    NaN stands for what no reading tells. The way is said where the meter sits at the bank.
    """
    known = [x for x in (current_A, power_W) if not isnan(x)]
    texts = [
        amount(size, unit)
        for size, unit in ((abs(current_A), "A"), (voltage_V, "V"), (abs(power_W), "W"))
        if not isnan(size)
    ]
    way = ""
    if at_bank and known and known[0] != 0:
        way = " out of the bank" if known[0] > 0 else " into the bank"
    return (" · ".join(texts) or "no readings") + way


def so_far(out: float, back: float, unit: str) -> str:
    """Return what went out of the bank since a film began, and into it where that shows: always two decimals."""
    # A figure that runs is easier on the eye where its point stands still.
    texts = [f"{x:,.2f} {unit}" for x in (out, back)]
    into = f", {texts[1]} into it" if back >= 0.005 else ""
    return f"since the film began: {texts[0]} out of the bank{into}"


def used_so_far(energy_Wh: float) -> str:
    """Return what was used behind an inverter since a film began: always one decimal."""
    return f"since the film began: {energy_Wh:,.1f} Wh"


def run_so_far(taken: float, out: float, unit: str) -> str:
    """Return what the run that goes on has taken, and what went out since the film began, in a short line."""
    decimals = 2 if unit == "Ah" else 1
    return f"this run so far: {taken:,.{decimals}f} {unit}; since the film began: {out:,.{decimals}f} {unit}"


def run_took(load: str, took: float, u95: float | None, unit: str, *, at_least: bool) -> str:
    """Return what a run took that has just ended, with its interval."""
    least = "at least " if at_least else ""
    return f"{capital(load)} took {least}{plus_minus(took, u95, unit)} in this run"


def note(text: str) -> str:
    """Return a note as it stands over a film, on one line."""
    return f"note: {shortened(text, 120)}"
