"""What a log, a day or a demo took of the bank's life, in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import numbers

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ....analysis.bank.wear import StretchWear, Wear
    from ....analysis.one_log.log_report import LogReport


def wear_sentences(log: LogReport, wear: Wear) -> Iterator[str]:
    """Say what the log took of the bank's life, and each demo; nothing where its amps were not read."""
    if wear.whole.full_cycles is None:
        return
    yield f"Wear of the bank by this log: {worn(wear.whole)}."
    demos = wear.lines[len(log.ledger.days) :]
    for line, each in zip(log.ledger.demos, demos, strict=True):
        # Without its maker's figures a demo's part of a cycle says nothing that its amp-hours do not.
        if each.life_pct is not None:
            yield f"“{numbers.shortened(line.text)}” took {worn(each)}."


def worn(of: StretchWear) -> str:
    """Return what a stretch took, such as ``0.02 full cycles, 0.0033 % of its life (0.05 GBP)``."""
    if of.full_cycles is None:
        return numbers.UNKNOWN
    text = f"{numbers.number(of.full_cycles.value)} full cycles"
    text += "" if of.depth_pct is None else f", down {numbers.number(of.depth_pct)} % at most"
    if of.life_pct is not None:
        text += f", {numbers.number(of.life_pct.value)} % of its life by its maker"
    if of.cost is not None:
        text += f", {cost(of)}"
    return text


def cost(of: StretchWear) -> str:
    """Return what a stretch cost of the bank, in the currency of its price; ``unknown`` without one."""
    if of.cost is None:
        return numbers.UNKNOWN
    return f"{numbers.number(of.cost.value)} {numbers.shortened(of.currency or '', 12)}"


def worn_cells(of: StretchWear) -> tuple[str, ...]:
    """Return the same as cells: full cycles, depth, share of its life, and the cost."""
    cycles = numbers.UNKNOWN if of.full_cycles is None else numbers.number(of.full_cycles.value)
    depth = numbers.UNKNOWN if of.depth_pct is None else f"{numbers.number(of.depth_pct)} %"
    life = numbers.UNKNOWN if of.life_pct is None else f"{numbers.number(of.life_pct.value)} %"
    return cycles, depth, life, cost(of)
