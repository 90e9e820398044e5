"""How sure charge and energy are, and what that rests on, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isfinite
from statistics import median
from typing import TYPE_CHECKING

from ....analysis.charge.amounts import budget_of
from ....analysis.not_known import Missing
from ....analysis.site.motor_tables import MOST_AT_START
from ....analysis.sureness.signal_errors import BOTH_IN_ONE
from . import clock
from .numbers import amount, duration, number, percent, plus_minus, rounded_u95, signed, with_sign

if TYPE_CHECKING:
    from ....analysis.charge.amounts import Amounts, Budget, Charge
    from ....analysis.several_logs.compared import Compared
    from ....analysis.several_logs.day_trends import Day
    from ....analysis.stats.interval95 import HowSure, Within
    from ....analysis.sureness.meter_figures import MeterFigures

#: Shares of the squared uncertainty below this are not worth a word. [1]
_WORTH_NAMING = 0.05
#: An interval of a sum from this share of it on is explained: common practice, no source. [1]
_WIDE = 0.05
NO_DIFFERENCE = "no difference that these logs can show"
#: Differences in time with a wider interval are told in minutes. [s]
_IN_MINUTES_S = 30.0


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


def why_so_wide(days: Sequence[Day], every_s: float | None) -> str:
    """Say where the ± of what the load took comes from, where few days make most of it; else nothing."""
    uses = [(day, day.figures.use.charge_u95_Ah or 0.0) for day in days]
    halves, took = [half for _, half in uses if half], sum(day.figures.use.charge_Ah or 0.0 for day in days)
    if not halves or sum(halves) < _WIDE * took:
        return ""
    worst = [(day, half) for day, half in uses if half > 2 * median(halves)]
    if not worst or sum(half for _, half in worst) < sum(halves) / 2:
        return ""
    runs = duration(median(day.figures.median_run_s or 0.0 for day, _ in worst))
    named = clock.days_named([day.date for day, _ in worst])
    apart = f", with a reading every {duration(every_s)}" if every_s else ""
    return f"The ± is that wide because each day's is added; most is of {named}: runs of {runs}{apart}."


def cells_of(row: Compared) -> list[str]:
    """Return a figure's name, its values in both logs, the difference, how many times, and what of it can be told."""
    return [row.name, figure(row.before.value, row.unit), figure(row.after.value, row.unit), *_apart(row)]


def _apart(row: Compared) -> list[str]:
    if isinstance(row.difference, Missing):
        return ["not judged", "", ""]
    apart = row.difference
    ratio = "" if row.ratio is None else f"{number(row.ratio.low)} to {number(row.ratio.high)}"
    if not row.differs:
        return [difference(apart, row.unit), ratio, NO_DIFFERENCE]
    return [difference(apart, row.unit), ratio, "more" if apart.value > 0 else "less"]


def figure(x: float, unit: str) -> str:
    """Return a figure as people write it: seconds as a duration."""
    return duration(x) if unit == "s" else amount(x, unit).rstrip()


def difference(apart: Within, unit: str) -> str:
    """Return a difference with its ends, with their signs and as many digits as the interval gives: ``+1.5 Ah, …``."""
    # The longer side gives the digits, so that neither end is told finer than it is known.
    half = max(apart.high - apart.value, apart.value - apart.low)
    if not isfinite(half):
        return _signed(apart.value, 2, unit)
    # Seconds would feign a precision that an interval of minutes does not have.
    if unit == "s" and half >= _IN_MINUTES_S:
        return "{}, {} to {}".format(*(with_sign(x, duration(abs(x))) for x in (apart.value, apart.low, apart.high)))
    digits = max(rounded_u95(half)[0], 0) if half > 0 else 2
    unit = "percentage points" if unit == "%" else unit
    value, low, high = (_signed(x, digits) for x in (apart.value, apart.low, apart.high))
    return f"{value} {unit}, {low} to {high}" if unit else f"{value}, {low} to {high}"


def _signed(x: float, digits: int, unit: str = "") -> str:
    return f"{with_sign(x, f'{abs(x):,.{digits}f}')} {unit}".rstrip()
