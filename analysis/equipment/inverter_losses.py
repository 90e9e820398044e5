"""From the AC watts an inverter gives to the DC watts it takes: by a loss model, a curve, or one figure.

Every efficiency in a result is from `losses_of`; nothing else reads the keys of an inverter's losses.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from ..site.tables import Inverter

#: A long-used design value (J. Wiles, Sandia/NMSU, "PV Power Systems and the NEC: Suggested Practices"). [1]
DESIGN_EFFICIENCY: Final = 0.85
DESIGN_SOURCE: Final = "a long-used design value (Sandia/NMSU, 'PV Power Systems and the NEC')"


class Losses(Protocol):
    """What any description of an inverter's losses can say."""

    @property
    def key(self) -> str | None:
        """The key of the site file that it is from; None where `DESIGN_EFFICIENCY` was assumed."""

    @property
    def idle_W(self) -> float:
        """What it takes while on with nothing running [W]."""

    @property
    def curve_W(self) -> tuple[float, float] | None:
        """First and last AC power of a curve, whose efficiency holds the idle draw; None without a curve [W]."""

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What this rests on, in plain sentences."""

    def dc_W(self, ac_W: float) -> float:
        """Return the DC power it takes to give an AC power, its idle draw included [W]."""


@dataclass(frozen=True)
class LossTerms:
    """The usual three-part model (from memory): DC W = idle + proportional x AC W + square x AC W squared.

    `key` is that of the site file which the terms are from.
    """

    idle_W: float
    proportional: float
    square_per_W: float
    assumptions: tuple[str, ...] = ()
    key: str | None = None

    @property
    def curve_W(self) -> None:
        """None: it is no curve."""

    def dc_W(self, ac_W: float) -> float:
        """Return the DC power it takes to give an AC power, its idle draw included [W]."""
        return self.idle_W + self.proportional * ac_W + self.square_per_W * ac_W**2


@dataclass(frozen=True)
class LossCurve:
    """Points of AC power [W] and efficiency [%], rising, the idle draw included; straight lines between, then the last.

    Below the first point it loses the watts that it loses there: losses do not shrink with the load as an efficiency
    held constant would have it. Nowhere are they less than the idle draw.
    """

    idle_W: float
    points: tuple[tuple[float, float], ...]
    assumptions: tuple[str, ...] = ()
    key: str | None = "efficiency_curve"

    @property
    def curve_W(self) -> tuple[float, float]:
        """First and last AC power of the curve [W]."""
        return self.points[0][0], self.points[-1][0]

    def dc_W(self, ac_W: float) -> float:
        """Return the DC power it takes to give an AC power; with nothing to give, the idle draw [W]."""
        if ac_W <= 0:
            return self.idle_W
        watts, percent = zip(*self.points, strict=True)
        # Efficiency is interpolated and not loss, as the data sheets draw their curves.
        at_W = max(ac_W, self.points[0][0])
        lost_W = at_W * (100 / float(np.interp(at_W, watts, percent)) - 1)
        return ac_W + max(lost_W, self.idle_W)


def losses_of(inverter: Inverter) -> Losses:
    """Return the losses of an inverter as its site file describes them.

    That is by a loss model or an efficiency curve (both hold the idle draw), one figure (without it), or nothing: then
    the long-used design value of 85 % is assumed, and said so.
    """
    # The description that says most comes first: a model, a curve, one figure.
    model = inverter.loss_model
    if model is not None:
        by_model = ("Losses by loss_model.",)
        return LossTerms(model.idle_W, model.proportional, model.square_per_W, by_model, "loss_model")
    idle_W, unknown = inverter.idle_W or 0.0, []
    if inverter.idle_W is None:
        unknown.append(f"The idle draw of '{inverter.name}' is not given and not counted (inverters.idle_W).")
    if inverter.efficiency_curve is not None:
        return LossCurve(idle_W, inverter.efficiency_curve, ("Losses by efficiency_curve.", *unknown))
    if inverter.efficiency_pct is not None:
        by_figure = ("Losses by efficiency_pct.", *unknown)
        return LossTerms(idle_W, 100 / inverter.efficiency_pct, 0.0, by_figure, "efficiency_pct")
    assumed = f"{100 * DESIGN_EFFICIENCY:g} % was assumed, {DESIGN_SOURCE}."
    assumptions = (*unknown, f"The efficiency of '{inverter.name}' is not given; {assumed}")
    return LossTerms(idle_W, 1 / DESIGN_EFFICIENCY, 0.0, assumptions)


def efficiency(losses: Losses, ac_W: float, *, with_idle: bool = True) -> float:
    """Return the share of the DC power, its idle draw among it or not, that comes out; 0 where nothing does [1]."""
    dc_W = losses.dc_W(ac_W) if with_idle else beyond_idle_W(losses, ac_W)
    return ac_W / dc_W if dc_W > 0 else 0.0


def beyond_idle_W(losses: Losses, ac_W: float) -> float:
    """Return what an inverter takes beyond its idle draw to give an AC power [W]."""
    return losses.dc_W(ac_W) - losses.idle_W


def given_W(losses: Losses, taken_W: float) -> float:
    """Return the AC power for which an inverter takes so much beyond its idle draw, by halving [W]."""
    low_W, high_W = 0.0, max(taken_W, 0.0)
    # The losses rise with the output whatever their description, so halving finds it; 60 halvings are below rounding.
    for _ in range(60):
        middle_W = (low_W + high_W) / 2
        low_W, high_W = (middle_W, high_W) if beyond_idle_W(losses, middle_W) < taken_W else (low_W, middle_W)
    return (low_W + high_W) / 2
