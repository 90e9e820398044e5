"""What was assumed of an export and can be stated, and what the lines above its header ask: in sentences."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import product

import numpy as np

from ...errors import Question, quoted
from ...log.arrow import strings
from ...quantities import Unit, scaled
from ..amounts.numbers import to_numbers
from .choice import positive_way
from .dialect import Dialect
from .header import stated_unit, words_of
from .header_words import AVERAGES, NOT_WATTS, REQUIRED, WORDS
from .plan import ColumnPlan, TimePlan, is_bare, named, unit_in_header
from .stated import Stated

#: Above it a voltage is more likely an inverter's output than a bank's: mains are 100 V and more, most banks of small
#: places 48 V and less (common practice, no source). Only a remark hangs on it. [V]
HIGH_V = 100.0


def remarks(
    dialect: Dialect, time: TimePlan, columns: Iterable[ColumnPlan], stated: Stated, ac_column: str | None
) -> list[str]:
    """Return in sentences what was assumed and can be stated; nothing about what is stated already."""
    by_quantity = {plan.quantity: plan for plan in columns}
    return [
        *_about_side(dialect, by_quantity, stated, ac_column),
        *_about_averages(dialect, by_quantity, stated),
        *_about_units(dialect, by_quantity.values()),
        *_about_start(time, stated),
    ]


def _about_side(dialect: Dialect, columns: dict[str, ColumnPlan], stated: Stated, ac_column: str | None) -> list[str]:
    lines = []
    if stated.side is None and ac_column is not None:
        lines.append(
            f"column {quoted(ac_column)} speaks of alternating current: taken as a meter behind an inverter (side ac); "
            "if it sits at the bank, add --side dc"
        )
    elif stated.side is None and (voltage_V := _median(dialect, columns.get("voltage_V"))) > HIGH_V:
        lines.append(f"volts of about {round(voltage_V, -1):.0f}: if this meter sits behind an inverter, add --side ac")
    elif stated.side is None and "power_W" in columns and "current_A" not in columns:
        lines.append("watts only, taken as at the bank (side dc); behind an inverter add --side ac")
    is_ac = stated.side == "ac" or (stated.side is None and ac_column is not None)
    if is_ac and not _tells_energy(columns):
        lines.append(
            "behind an inverter volts times amps are VA, not W: without a column in W, or one of the power factor, "
            "no energy can be worked out"
        )
    return lines


def _tells_energy(columns: dict[str, ColumnPlan]) -> bool:
    return "power_W" in columns or {"voltage_V", "current_A", "power_factor"} <= columns.keys()


def _median(dialect: Dialect, plan: ColumnPlan | None) -> float:
    """Return the median size of the sample's readings in the canonical unit; 0 where there are none."""
    if plan is None:
        return 0.0
    x = to_numbers(strings(dialect.column(plan.index)), plan.form).values
    x = plan.unit.to_canonical(scaled(x[~np.isnan(x)], plan.scale, plan.offset))
    # By hand: np.median would load numpy's masked arrays, which takes as long as to read a small export.
    return float(np.sort(np.abs(x))[len(x) // 2]) if len(x) else 0.0


def _about_averages(dialect: Dialect, columns: dict[str, ColumnPlan], stated: Stated) -> list[str]:
    if stated.sampling is not None:
        return []
    taken = [dialect.names[columns[q].index] for q in ("current_A", "voltage_V", "power_W") if q in columns]
    averages = [name for name in taken if words_of(name) & AVERAGES]
    if not averages:
        return []
    return [
        f"{' and '.join(map(repr, averages))}: if each reading is the average since the one before, add --sampling mean"
    ]


def _about_units(dialect: Dialect, columns: Iterable[ColumnPlan]) -> list[str]:
    """Return a remark on each column whose name says another unit than it is taken in, where no scale is stated."""
    lines = []
    for plan in columns:
        for index in (plan.index, plan.minus):
            if index is None or abs(plan.scale) != 1.0:
                continue
            stated = unit_in_header(dialect, index)
            if stated is not None and _is_another(stated, plan.unit):
                lines.append(
                    f"{quoted(dialect.names[index])} is taken in {plan.unit.symbol}, "
                    f"but the header says {stated.symbol}: check the unit in the profile"
                )
    return lines


def _is_another(stated: Unit, taken: Unit) -> bool:
    like = stated.dimension == taken.dimension or (taken.dimension == "power" and stated.dimension in NOT_WATTS)
    return like and stated != taken


def _about_start(time: TimePlan, stated: Stated) -> list[str]:
    if stated.start is not None and time.style.kind != "elapsed":
        return ["the times say their dates themselves, so --start is not used"]
    if time.style.unit == "days" and stated.times is None:
        return ["day numbers are counted from 1900; if that spreadsheet counts from 1904, --times 'sheet days 1904'"]
    return []


def questions_above(
    lines: Sequence[str], dialect: Dialect, columns: Sequence[ColumnPlan], *, reverse: bool
) -> Iterator[Question]:
    """Yield a question about what lines above the header say of sign or unit, where the header says nothing."""
    for (number, line), plan in product(enumerate(lines, 1), columns):
        word, where = quoted(dialect.names[plan.index]), f"line {number}, {quoted(line.strip())}"
        if is_bare(dialect, plan) and (unit := _prefix_said(line, plan)) is not None:
            evidence = f"{where}, speaks of {unit}, and column {word} has no unit"
            say = (
                ": write it into the header, or say "
                f'[quantities.{plan.quantity}] unit = "{unit}" or unit = "{plan.unit.symbol}" in a profile (--profile)'
            )
            two = (unit, plan.unit.symbol)
            from ..questions.units import which_unit

            yield which_unit(evidence, plan.quantity, named(dialect, plan), two, written=say)
        is_open = plan.quantity in ("current_A", "power_W") and plan.minus is None and not (reverse or plan.turned)
        if (
            is_open
            and positive_way(_without_filling(line)) == "return"
            and positive_way(dialect.names[plan.index]) is None
        ):
            from ..questions.signs import said_above

            yield said_above(where, plan.quantity, named(dialect, plan))


def _without_filling(line: str) -> str:
    """Return a line of plain words with signs and ways beside each other; hyphens between letters are no signs."""
    line = re.sub(r"(?<=\w)[-+](?=\w)", " ", line).replace("> 0", "+").replace("< 0", "-")
    return re.sub(r"\b(current|strom|courant|amps|values?|the|battery|is|are|shown|counted|as)\b", " ", line.lower())


def _prefix_said(line: str, plan: ColumnPlan) -> str | None:
    """Return a unit with a prefix (``mA``) that a line gives a quantity; behind a number it is an amount."""
    if plan.quantity not in REQUIRED or not words_of(line) & WORDS[plan.quantity]:
        return None
    for word in re.findall(r"(?<!\d )(?<!\w)[µμA-Za-z]{2}(?!\w)", line):
        unit = stated_unit(f"({word})")
        if unit is not None and unit.dimension == plan.unit.dimension and unit.multiply != unit.divide:
            return str(word)
    return None
