"""What a person should look at twice about an export: its side, averages, units, a start that is of no use."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from shuntbook.ingest.errors import quoted
from shuntbook.ingest.log.arrow import strings
from shuntbook.ingest.quantities import Unit

from .dialect import Dialect
from .header import unit_said, words_of
from .header_words import AVERAGES, NOT_WATTS
from .numbers import to_numbers
from .plan import ColumnPlan, TimePlan, Wishes

#: Above it a voltage is more likely an inverter's output than a bank's: mains are 100 V and more, most banks of small
#: places 48 V and less (common practice, no source). Only a remark hangs on it. [V]
HIGH_V = 100.0


def remarks(
    dialect: Dialect, time: TimePlan, columns: Iterable[ColumnPlan], wishes: Wishes, ac_column: str | None
) -> list[str]:
    """Return in sentences what was assumed and can be stated.

    Parameters
    ----------
    dialect : Dialect
        The text, with a sample of its rows.
    time : TimePlan
        What the time is.
    columns : iterable of ColumnPlan
        What the quantities are.
    wishes : Wishes
        What is stated: nothing is said about that.
    ac_column : str or None
        The column that speaks of alternating current, if one does.
    """
    by_quantity = {plan.quantity: plan for plan in columns}
    return [
        *_about_side(dialect, by_quantity, wishes, ac_column),
        *_about_averages(dialect, by_quantity, wishes),
        *_about_units(dialect, by_quantity.values()),
        *_about_start(time, wishes),
    ]


def _about_side(dialect: Dialect, columns: dict[str, ColumnPlan], wishes: Wishes, ac_column: str | None) -> list[str]:
    lines = []
    if wishes.side is None and ac_column is not None:
        lines.append(
            f"column {quoted(ac_column)} speaks of alternating current: taken as a meter behind an inverter (side ac); "
            "if it sits at the bank, add --side dc"
        )
    elif wishes.side is None and (voltage_V := _median(dialect, columns.get("voltage_V"))) > HIGH_V:
        lines.append(f"volts of about {round(voltage_V, -1):.0f}: if this meter sits behind an inverter, add --side ac")
    elif wishes.side is None and "power_W" in columns and "current_A" not in columns:
        lines.append("watts only, taken as at the bank (side dc); behind an inverter add --side ac")
    is_ac = wishes.side == "ac" or (wishes.side is None and ac_column is not None)
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
    x = plan.unit.to_canonical(x[~np.isnan(x)] * plan.scale + plan.offset)
    return float(np.median(np.abs(x))) if len(x) else 0.0


def _about_averages(dialect: Dialect, columns: dict[str, ColumnPlan], wishes: Wishes) -> list[str]:
    if wishes.sampling is not None:
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
            said = unit_said(dialect.names[index], dialect.units[index] if dialect.units else "")
            if said is not None and _is_another(said, plan.unit):
                lines.append(
                    f"{quoted(dialect.names[index])} is taken in {plan.unit.symbol}, "
                    f"but the header says {said.symbol}: check the unit in the profile"
                )
    return lines


def _is_another(said: Unit, taken: Unit) -> bool:
    like = said.dimension == taken.dimension or (taken.dimension == "power" and said.dimension in NOT_WATTS)
    return like and said != taken


def _about_start(time: TimePlan, wishes: Wishes) -> list[str]:
    if wishes.started and time.style.kind != "elapsed":
        return ["the times say their dates themselves, so --start is not used"]
    return []
