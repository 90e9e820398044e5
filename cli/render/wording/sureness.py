"""How sure charge and energy are, and what that rests on, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ....analysis.charge.amounts import budget_of
from ....analysis.site.motor_tables import MOST_AT_START
from ....analysis.sureness.signal_errors import BOTH_IN_ONE
from .numbers import percent, plus_minus, signed

if TYPE_CHECKING:
    from ....analysis.charge.amounts import Amounts, Budget, Charge
    from ....analysis.stats.interval95 import HowSure
    from ....analysis.sureness.meter_figures import MeterFigures

#: Shares of the squared uncertainty below this are not worth a word. [1]
_WORTH_NAMING = 0.05


def in_gaps_lines(charge: Charge) -> list[str]:
    """Return in words what the gaps may have held; a guess, in no figure."""
    guess = charge.in_gaps
    if guess is None:
        return []
    unit = "Ah" if charge.charge is not None else "Wh"
    gaps = "the gap" if len(charge.span.gaps) == 1 else "the gaps"
    return [f"had {gaps} run like the hours around, about {signed(guess.net, unit)} more (net); not counted"]


def net_sentence(amounts: Amounts, net: str) -> str:
    """Say whether more went out of the bank than came back; `net` is the size of the difference in words."""
    # A net that its own interval could turn round has no direction to tell.
    if amounts.net_u95 is not None and abs(amounts.net) <= amounts.net_u95:
        return f"As much came back as went out, within the interval: net {net}."
    if amounts.net > 0:
        return f"More went out than came back: net {net} out of the bank."
    return f"More came back than went out: net {net} into the bank."


def of_figure(budget: Budget) -> str:
    """Return which figure's ± a budget is that of, for instance ``of what was drawn (Ah)``."""
    return f"of what was {budget.part} ({'Ah' if budget.quantity == 'charge' else 'Wh'})"


def sureness_lines(
    charge: Charge, figures: MeterFigures, *, starts_known: bool = False, with_shares: bool = True
) -> list[str]:
    """Return in words what the uncertainty comes from, with its shares or without, and what was assumed for it."""
    budget = budget_of(charge)
    if budget is None:
        return []
    sure, lines = budget.sure, []
    if sure.components and with_shares:
        shares = "; ".join(_shares(sure))
        lines.append(f"where the ± {of_figure(budget)} comes from: {shares}")
    if sure.factor is not None:
        lines.append(f"the ± {of_figure(budget)} holds 95 %: {sure.factor:.2f} standard uncertainties here (GUM)")
    if any(part.source == BOTH_IN_ONE for part in sure.components):
        lines.append(
            "within one average draw and return cancel, so more of both flowed than the averages show; the net is right"
        )
    lines += [f"meter: {sentence}" for sentence in figures.assumed]
    lines += _zero_lines(figures)
    # Averages hold each surge in full; single readings catch it or do not.
    if charge.how.sampling == "instant" and not starts_known and _may_miss_starts(charge):
        lines.append(
            "surges of motor starts between two readings are not in it; with a site file (--site) they are, where a "
            "reading caught one"
        )
    if _shows_starts(charge):
        lines.append(
            f"a start may draw up to {MOST_AT_START:g} times the settled draw for half a second (usual for "
            "pumps and compressors), and between two values that were read off nobody sees it: the upper end allows "
            "for one at each start that shows no surge"
        )
    return lines


def _shows_starts(charge: Charge) -> bool:
    """Tell whether something was switched on whose surge may lie between two values that were read off."""
    facts = None if charge.evidence is None else charge.evidence.current or charge.evidence.power
    return facts is not None and facts.starts is not None and facts.starts.squares > 0


def _may_miss_starts(charge: Charge) -> bool:
    """Tell whether a start of half a second may fall between two readings."""
    return (charge.how.usual_interval_s or 0.0) > 0.5


def _shares(sure: HowSure) -> Iterator[str]:
    for component in sure.components:
        if (share := sure.share(component)) >= _WORTH_NAMING:
            yield f"{component.source} {percent(share)}"


def _zero_lines(figures: MeterFigures) -> list[str]:
    check = figures.zero_check
    if check is None:
        return []
    return [
        f"zero check: {plus_minus(check.offset_A, 2 * check.u_A, 'A')} from {check.readings:,} readings was taken off "
        "all of them"
    ]
