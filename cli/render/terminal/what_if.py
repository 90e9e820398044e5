"""What changes would do, as lines of text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from typing import TYPE_CHECKING, Final

from ....analysis.not_known import Missing
from ..wording.numbers import amount, capital, duration, number, shortened, uncapital
from ..wording.site_sentences import unsafe_conductors
from ..wording.what_if import change_matters, difference_of, figure_of, limit_of
from .answer import Block, Reply
from .columns import Columns
from .forecast import CAUTION, CAUTION_MAINS

if TYPE_CHECKING:
    from ....analysis.forecast.forecast import Forecast
    from ....analysis.what_if.figures import ChangedFigure
    from ....analysis.what_if.what_if import WhatIf

#: Told among the reasons: the same in Wh, and what the runs tell already.
_AMONG_REASONS: Final = frozenset({"energy_Wh", "drawdown_L"})


def what_if_answer(result: WhatIf, log: str | None = None) -> Reply:
    """Return what changes would do: what matters, whether the system carries it then, the figures side by side."""
    before, after = result.before, result.after
    changes = "; ".join(shortened(text) for text in result.changes)
    basis = f"by its runs in {shortened(log)}" if log is not None else "by its plate, nothing measured"
    how_long = duration(before.hours * 3600)
    asked = f"{capital(shortened(result.load))} for {how_long}, {basis}; with {changes}"
    asked += "; in brackets 95 %" if any(_has_ends(each) for each in result.figures) else ""
    lines: list[Block] = [*unsafe_conductors(after.conductors), *(_not_judged(each) for each in result.not_judged)]
    # Of a system in which nothing was changed there is nothing to compare.
    if not result.nothing_judged:
        differing = [each for each in result.figures if each.differs]
        short = [each for each in differing if each.after is not None and each.code not in _AMONG_REASONS]
        lines += [
            *result.sizes,
            *change_matters(result),
            *result.amiss,
            *_words(before, after),
            f"{asked}.",
            *([_table(short, result)] if short else ["No figure that is known changes."]),
        ]
    else:
        lines.append(f"{asked}.")
    return Reply(
        lines,
        list(_reasons(result)),
        "every figure with its interval and limit, what was assumed, the cautions",
        caution=CAUTION if before.inverter is None else CAUTION_MAINS,
    )


def _has_ends(row: ChangedFigure) -> bool:
    return row.differs and row.difference is not None and row.difference.low < row.difference.high


def _not_judged(missing: Missing) -> str:
    return f"Not judged: {uncapital(missing.sentence)}"


def _words(before: Forecast, after: Forecast) -> list[str]:
    """Say whether the system carries it; now and then where that differs."""
    if before.word == after.word and after.word.verdict == "holds":
        return [f"Then as now {uncapital(after.word.sentence.partition(':')[0])}."]
    if before.word == after.word:
        return [f"Then as now: {uncapital(after.word.sentence)}"]
    return [f"Then: {uncapital(after.word.sentence)} Now: {uncapital(before.word.sentence)}"]


def _table(figures: list[ChangedFigure], result: WhatIf) -> Columns:
    rows = [
        [row.name, *(figure_of(row, value, result) for value in (row.before, row.after)), difference_of(row, result)]
        for row in figures
    ]
    return Columns(rows, heads=("", "now", "then", "difference"), right=(1, 2), indent="  ")


def _reasons(result: WhatIf) -> Iterator[Block]:
    """Yield every figure with its interval and limit, what was assumed, and the cautions."""
    rows = [
        [
            each.name,
            figure_of(each, each.before, result, ends=True),
            figure_of(each, each.after, result, ends=True),
            limit_of(each),
        ]
        for each in result.figures
    ]
    yield Columns(rows, heads=("", "now", "then", "held against"), indent="  ")
    if isinstance(result.runs, Missing):
        yield result.runs.sentence
    else:
        times = result.runs.times
        if times.low < times.high and isfinite(times.high):
            ends = f"{number(times.low)} to {number(times.high)}"
            yield f"The tank gives {number(times.value)} times the water then ({ends})."
    # The words on bank, inverter and cables of both, so that nobody has to ask twice.
    for what, each in (("now", result.before), ("then", result.after)):
        yield f"{what}: {amount(each.taken.energy_Wh.value, 'Wh')}; {each.word.sentence}"
        for check in each.conductors:
            yield f"  conductor '{shortened(check.conductor)}': {check.verdict}"
    yield ""
    yield from (f"assumed: {text}" for text in dict.fromkeys((*result.assumptions, *result.after.taken.assumptions)))
    yield ""
    yield "Before you work on any of it:"
    yield from (f"  {text}" for text in result.after.cautions)
