"""What changes would do, as lines of text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from typing import TYPE_CHECKING

from ....analysis.not_known import Missing
from ..wording.numbers import amount, capital, duration, number, shortened, uncapital
from ..wording.what_if import asked_changes, every_figure, side_by_side, what_changes_do
from .answer import Block, Reply
from .columns import Columns
from .forecast import CAUTION, CAUTION_MAINS, more_than_held
from .site import conductor_lines, mains_side

if TYPE_CHECKING:
    from ....analysis.what_if.figures import ChangedFigure
    from ....analysis.what_if.what_if import WhatIf


def what_if_answer(result: WhatIf, log: str | None = None) -> Reply:
    """Return what changes would do: what matters, whether the system carries it then, the figures side by side."""
    before = result.before
    basis = f"by its runs in {shortened(log)}" if log is not None else "by its plate, nothing measured"
    # By the plate alone a load that nothing is known of runs all the time: "now" is then no day of anybody's.
    basis += "; now taken to run all the time" if log is None and before.taken.duty >= 1 else ""
    how_long = duration(before.hours * 3600)
    asked = f"{capital(shortened(result.load))} for {how_long}, {basis}; with {asked_changes(result)}"
    lines: list[Block] = [*what_changes_do(result), f"{asked}."]
    # Of a system in which nothing was changed there is nothing to compare.
    if not result.nothing_judged:
        rows = side_by_side(result)
        # What the ± and the brackets are stands where they do: the rows may find no room.
        difference = "difference (95 %)" if any(_has_ends(each) for each in result.figures) else "difference"
        heads = ("", "now", "then", difference)
        table = Columns(rows, heads=heads, right=(1, 2), indent="  ")
        lines.append(table if rows else "No figure that is known changes.")
    lines += [*more_than_held(result.after), *mains_side(before)]
    return Reply(
        lines,
        list(_reasons(result)),
        "every figure, its interval and limit, what was assumed",
        caution=CAUTION if before.inverter is None else CAUTION_MAINS,
    )


def _has_ends(row: ChangedFigure) -> bool:
    return row.differs and row.difference is not None and row.difference.low < row.difference.high


def _reasons(result: WhatIf) -> Iterator[Block]:
    """Yield every figure with its interval and limit, what was assumed, and the cautions."""
    yield Columns(every_figure(result), heads=("", "now", "then", "held against"), indent="  ")
    if isinstance(result.runs, Missing):
        yield result.runs.sentence
    else:
        times = result.runs.times
        if times.low < times.high and isfinite(times.high):
            ends = f"{number(times.low)} to {number(times.high)}"
            yield f"The tank gives {number(times.value)} times the water then ({ends})."
    # The words on bank, inverter and cables of both, so that nobody has to ask twice.
    same = result.before.conductors == result.after.conductors
    for what, each in (("now", result.before), ("then", result.after)):
        yield f"{what}: {amount(each.taken.energy_Wh.value, 'Wh')}; {uncapital(each.word.sentence)}"
        yield from [] if same else conductor_lines(each.conductors)
    yield from conductor_lines(result.after.conductors) if same else []
    yield ""
    yield from (f"assumed: {text}" for text in dict.fromkeys((*result.assumptions, *result.after.taken.assumptions)))
    yield ""
    yield "Before you work on any of it:"
    yield from (f"  {text}" for text in result.after.cautions)
