"""From measured amp-hours back to watts and hours: as people reckon it on paper, and as it was."""

from __future__ import annotations

from collections.abc import Iterator
from math import isclose
from typing import Final

from ..equipment.inverter_losses import given_W, losses_of
from ..not_known import Missing
from ..site.site import Inverter
from ..wording import figure
from .decomposition import Basis
from .lesson_step import BothSums, LessonStep

#: Figures within this share of each other are told as alike: no plate is more exact (common practice, no source). [1]
_ALIKE: Final = 0.005


def steps_back(sums: BothSums) -> tuple[LessonStep, ...] | Missing:
    """Return the steps from the measured amp-hours to watts and hours."""
    what, drawn = "way back from amp-hours to watts and hours", sums.drawn
    if not drawn.measured:
        return Missing(what, (), "nothing was measured")
    # Volts that were assumed would only give the assumption back.
    if drawn.charge_Ah is None or drawn.volts_basis != "measured":
        return Missing(what, (), "the log does not tell at which volts the bank gave its amp-hours")
    return tuple(_steps_back(sums, drawn.charge_Ah, drawn.bank_V or 0.0))


def _steps_back(sums: BothSums, charge_Ah: float, bank_V: float) -> Iterator[LessonStep]:
    paper, drawn = sums.paper, sums.drawn
    paper_Wh = charge_Ah * paper.nominal_V
    yield sums.step(
        "amp-hours",
        "Ah",
        (charge_Ah, None, charge_Ah),
        ("what the meter counted", "the same"),
        "Both begin with what went out of the bank.",
    )
    yield sums.step(
        "volts",
        "V",
        (paper.nominal_V, None, bank_V),
        ("the bank's nominal voltage", "what the bank stood at under it"),
        "Nominal volts are a name, and a bank seldom stands at them.",
    )
    yield sums.step(
        "watt-hours",
        "Wh",
        (paper_Wh, None, drawn.energy_Wh),
        ("amp-hours times nominal volts", "amp-hours times the volts that there were"),
        _not_nominal(charge_Ah, paper.nominal_V, bank_V),
    )
    # On paper the time comes from the plate's watts, and the watts from all of the time: one of them has to be known.
    yield sums.step(
        "hours",
        "h",
        (paper_Wh / paper.power_W, None, drawn.run_h),
        (
            "watt-hours over the displayed watts" if paper.by_display else "watt-hours over the plate's watts",
            "the time it ran",
        ),
        _why_hours(sums, paper_Wh / paper.power_W),
    )
    yield sums.step(
        "watts at the bank",
        "W",
        (paper_Wh / paper.hours, None, drawn.running_W),
        ("watt-hours over all of the time", "what the bank gave while it ran"),
        _why_watts_back(sums),
    )
    if sums.inverter is not None:
        yield _load_back(sums, sums.inverter, paper_Wh / paper.hours)


def _not_nominal(charge_Ah: float, nominal_V: float, bank_V: float) -> str:
    if isclose(bank_V, nominal_V, rel_tol=5e-4):
        return "The bank stood at its nominal voltage, so here the two agree."
    amps = figure(charge_Ah, "Ah")
    return (
        f"{amps} at {figure(nominal_V, 'V')} are not {amps.removesuffix(' Ah')} x {figure(nominal_V, 'Wh')}: the bank "
        f"stood at {figure(bank_V, 'V')}."
    )


def _why_hours(sums: BothSums, paper_h: float) -> str:
    paper_W, drawn = sums.paper.power_W, sums.drawn
    if isclose(paper_h, drawn.run_h, rel_tol=_ALIKE):
        return "Here paper leads to the time that it ran."
    too_short, more_watts = paper_h < drawn.run_h, paper_W > drawn.running_W
    wrong = "short" if too_short else "long"
    # With the right watts, or where it outweighs them, it is the other two that lead astray.
    if isclose(paper_W, drawn.running_W, rel_tol=_ALIKE) or too_short != more_watts:
        return f"The volts and the uneven draw make the time come out too {wrong}."
    return f"With {'more' if more_watts else 'fewer'} watts on paper than it drew, the time comes out too {wrong}."


def _why_watts_back(sums: BothSums) -> str:
    if sums.running_only:
        return "The volts and the uneven draw make the difference."
    if isclose(sums.drawn.run_h, sums.paper.hours, rel_tol=1e-9):
        return "It never paused, so the volts and the uneven draw make the difference."
    return f"Spread over its pauses it looks small. {sums.must_bear} must bear what it draws while it runs."


def _load_back(sums: BothSums, inverter: Inverter, paper_W: float) -> LessonStep:
    """Return the last step of a load on an inverter: what comes out behind it."""
    drawn = sums.drawn
    # Without a meter behind the inverter its losses by the site file lead there, and it is said that they do.
    losses = losses_of(inverter)
    load_W = given_W(losses, drawn.running_W) if drawn.load_W is None else drawn.load_W
    basis: Basis = drawn.load_basis
    if drawn.load_W is None:
        basis = "assumed" if losses.key is None else "estimated"
    # Two logs may disagree by more than the inverter loses: then nothing is said of a loss.
    lost = 1 - load_W / drawn.running_W
    why = f"The inverter keeps {figure(100 * lost, '%')} of it." if lost > 0 else "No loss shows here."
    if sums.paper.of == "VA" and not sums.paper.by_display:
        why += f" On the plate volts times amps come to {figure(sums.paper.power_W, 'VA')}."
    elif not sums.paper.by_display:
        why += f" The plate led to {figure(sums.paper.power_W, 'W')}."
    how = "the same, as if nothing were lost", "at the load, behind the inverter"
    return sums.step("watts of the load", "W", (paper_W, None, load_W), how, why, basis=basis)
