"""What a log takes of the bank's life: full cycles and depth as measured, share and cost by its maker's figures.

Without the maker's cycle life or throughput there is no share: nothing is assumed of how long a battery lasts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from math import exp, log
from typing import Final

from ..charge.amounts import Charge
from ..ledger.falls import Falls
from ..ledger.ledger import Ledger
from ..not_known import Missing
from ..site.tables import Bank
from ..stats.interval95 import Within
from ..wording import figure

#: The charge of a swing is counted as a cycle of its own from this share of the capacity on: common practice, no
#: source. What shallower swings drew is in the full cycles all the same. [1]
SHALLOWEST: Final = 0.01
_TIME: Final = "Wear by cycles alone: a battery ages by years and by warmth, too."


@dataclass(frozen=True)
class BankLife:
    """What a bank gives in all its life by its maker, at the depths that a log shows: in full cycles of its capacity.

    `by` are the keys of the site file that it is from.
    """

    full_cycles: float
    by: str
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class StretchWear:
    """What a log, a day or a demo took of the bank's life.

    `full_cycles` is what was drawn over the rated capacity, None where it was not measured; `depth_pct` how far below
    its fullest moment of the log so far the bank stood at most, of the capacity, None where that is more than it holds;
    `life_pct` the share of its life [%] and `cost` that share of its price, in `currency`: None without the maker's
    figures, and without a price.
    """

    full_cycles: Within | None
    depth_pct: float | None
    life_pct: Within | None
    cost: Within | None
    currency: str | None


@dataclass(frozen=True)
class Wear:
    """The wear of the bank by a log: as a whole, and by the lines of its ledger, days before demos.

    `falls` are how many times the charge fell, and `deepest_fall_pct` how far at most, of the capacity.
    """

    whole: StretchWear
    lines: tuple[StretchWear, ...]
    life: BankLife | Missing
    falls: int
    deepest_fall_pct: float
    assumptions: tuple[str, ...]


def wear(bank: Bank, charge: Charge, ledger: Ledger, falls: Falls) -> Wear:
    """Return what a log, and each day and demo of its ledger, took of the bank's life."""
    depths_pct = falls.depth_Ah / bank.capacity_Ah * 100
    life = bank_life(bank, depths_pct.tolist())
    lines = (*ledger.days, *ledger.demos)
    counted = (
        f"A full cycle is the rated {bank.capacity_Ah:g} Ah drawn once. Depth is by the Ah measured, from the fullest "
        "moment of the log so far.",
    )
    return Wear(
        stretch_wear(bank, _drawn_Ah(charge), life, deepest_Ah=ledger.deepest_Ah),
        tuple(stretch_wear(bank, _drawn_Ah(line.whole), life, deepest_Ah=line.deepest_Ah) for line in lines),
        life,
        len(depths_pct),
        float(depths_pct.max(initial=0.0)),
        (*counted, *(life.assumptions if isinstance(life, BankLife) else ())),
    )


def _drawn_Ah(charge: Charge) -> Within | None:
    amounts = charge.charge
    if amounts is None:
        return None
    sure = amounts.sure
    return Within.exactly(amounts.drawn) if sure is None else Within(amounts.drawn, sure.drawn.low, sure.drawn.high)


def stretch_wear(
    bank: Bank, drawn_Ah: Within | None, life: BankLife | Missing, *, deepest_Ah: float | None = None
) -> StretchWear:
    """Return what was taken of a bank's life where so much was drawn, and the bank stood so far down [Ah]."""
    # Where more was drawn than the bank holds before any came back, the meter did not see what went in.
    depth_pct = None if deepest_Ah is None else deepest_Ah / bank.capacity_Ah * 100
    depth_pct = None if depth_pct is not None and depth_pct > 100 else depth_pct
    if drawn_Ah is None:
        return StretchWear(None, depth_pct, None, None, None)
    cycles = drawn_Ah.scaled(1 / bank.capacity_Ah)
    if isinstance(life, Missing):
        return StretchWear(cycles, depth_pct, None, None, None)
    share = cycles.scaled(1 / life.full_cycles)
    cost = None if bank.price is None else share.scaled(bank.price)
    return StretchWear(cycles, depth_pct, share.scaled(100), cost, bank.currency)


def bank_life(bank: Bank, depths_pct: Iterable[float]) -> BankLife | Missing:
    """Return what a bank gives in its life by its maker, at the depths of a log's falls [%].

    Each fall takes one cycle of as many as the maker gives at its depth (Palmgren and Miner's rule): so the full cycles
    of a life are the falls together over what they take together.
    """
    if bank.throughput_kWh is not None:
        full = bank.throughput_kWh * 1000 / (bank.nominal_V * bank.capacity_Ah)
        text = f"{figure(bank.throughput_kWh, 'kWh')} in its life are {full:,.4g} full cycles at its nominal voltage"
        return BankLife(full, "bank.throughput_kWh", (f"{text} (bank.throughput_kWh).", _TIME))
    rows = bank.cycle_life
    if rows is None:
        return Missing("share of the bank's life", ("bank.cycle_life", "bank.throughput_kWh"))
    depths = [min(pct, 100.0) for pct in depths_pct]
    by = "by the depths of this log"
    if not depths:
        # A short log shows nothing of how the bank is used: then it is used as its owner allows.
        depths = [bank.usable_depth_pct or rows[0][0]]
        by = f"cycled by {depths[0]:g} % (this log shows no deeper fall)"
    full = sum(depths) / 100 / sum(1 / cycles_at(rows, pct) for pct in depths)
    lasts = ", ".join(f"{cycles:,.6g} cycles of {pct:g} %" for pct, cycles in rows)
    assumptions = [
        f"By its maker it lasts {lasts} (bank.cycle_life); {by} that is {full:,.4g} full cycles.",
        *([] if max(depths) <= rows[-1][0] else [f"A fall of {max(depths):.3g} % is deeper than its maker's figures."]),
        _TIME,
    ]
    return BankLife(full, "bank.cycle_life", tuple(assumptions))


def cycles_at(rows: tuple[tuple[float, float], ...], depth_pct: float) -> float:
    """Return how many cycles of a depth [%] a maker's rows of depth [%] and cycles give.

    Between two rows a straight line through both on paper with logarithmic scales, as makers draw it; shallower than
    the first row as much charge in a life as there, which is less than a battery gives then; deeper than the last the
    line goes on, or as much charge where there is but one row.
    """
    (first_pct, first), (last_pct, last) = rows[0], rows[-1]
    if depth_pct <= first_pct or len(rows) == 1:
        return first * first_pct / depth_pct
    ends = next((pair for pair in pairwise(rows) if depth_pct <= pair[1][0]), (rows[-2], (last_pct, last)))
    (low_pct, more), (high_pct, fewer) = ends
    slope = log(fewer / more) / log(high_pct / low_pct)
    return more * exp(slope * log(depth_pct / low_pct))
