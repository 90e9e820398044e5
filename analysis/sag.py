"""How far the bank's voltage falls at the next start, against what switches the inverter off."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from .holds import Verdict, above
from .missing import Missing
from .refusal import Refusal
from .within import Within


@dataclass(frozen=True)
class Sag:
    """The lowest voltage to expect at a start, and what it means for the inverter.

    Parameters
    ----------
    lowest_V : Within
        Bank voltage while the start draws most; 0 at an end where the bank could not give the power at all. [V]
    cut_off_V : float
        The inverter switches off below this. [V]
    verdict : {'holds', 'doubtful', 'fails'}
        Whether the voltage stays above the cut-off, over the whole interval.
    assumptions : tuple of str
        What it rests on, in plain sentences.
    """

    lowest_V: Within
    cut_off_V: float
    verdict: Verdict
    assumptions: tuple[str, ...]


def loaded_V(source_V: float, resistance_ohm: float, power_W: float) -> float | None:
    """Return the voltage of a bank that gives a power through its resistance.

    Parameters
    ----------
    source_V : float
        Voltage before the power is drawn. [V]
    resistance_ohm : float
        Internal resistance. [ohm]
    power_W : float
        Power drawn, the same at any voltage, as an inverter draws it. [W]

    Returns
    -------
    float or None
        The larger root of V^2 - E V + R P = 0; None where the bank cannot give that power at all. [V]
    """
    under_root = source_V**2 - 4 * resistance_ohm * power_W
    return None if under_root < 0 else (source_V + sqrt(under_root)) / 2


def sag(
    before_V: float,
    resistance_mohm: Within,
    cut_off_V: float | None,
    *,
    extra_A: Within | None = None,
    extra_W: Within | None = None,
) -> Sag | Missing:
    """Say how far the voltage falls at the next start.

    Parameters
    ----------
    before_V : float
        Bank voltage before the start, under whatever else is running. [V]
    resistance_mohm : Within
        Internal resistance. [mohm]
    cut_off_V : float or None
        The inverter's low-voltage cut-off. [V]
    extra_A : Within, optional
        Extra draw of the start as measured at the bank. [A]
    extra_W : Within, optional
        Extra power of the start at the bank, where no draw was measured. [W]

    Returns
    -------
    Sag or Missing
        Missing without a cut-off.

    Raises
    ------
    Refusal
        If neither amps nor watts are given, or the voltage is not above 0.
    """
    if cut_off_V is None:
        return Missing("word on the sag at start", ("inverters.cut_off_V",), "the inverter's cut-off is not known")
    if not before_V > 0:
        raise Refusal(f"the bank's voltage before a start must be above 0 V, not {before_V:g}")
    low, middle, high = _lowest_V(before_V, resistance_mohm, extra_A, extra_W)
    said = (
        f"The bank stands at {before_V:.4g} V before the start; lower, it falls further.",
        "An inverter may ride through a dip that is shorter than its own delay; that is not counted on.",
    )
    return Sag(Within(middle, low, high), cut_off_V, above(low, high, cut_off_V), said)


def _lowest_V(before_V: float, mohm: Within, amps: Within | None, watts: Within | None) -> tuple[float, float, float]:
    """Return the voltage at the worst, the middle and the best of both intervals [V]."""
    ends = ((mohm.high, "high"), (mohm.value, "value"), (mohm.low, "low"))
    if amps is not None:
        low, middle, high = (max(before_V - r / 1000 * getattr(amps, end), 0.0) for r, end in ends)
    elif watts is not None:
        low, middle, high = (loaded_V(before_V, r / 1000, getattr(watts, end)) or 0.0 for r, end in ends)
    else:
        raise Refusal("the sag at a start needs the start's amps or watts")
    return low, middle, high
