"""Whether columns can be what words or letters say, by their values; columns that say the unit of others by row."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import Final

import numpy as np

from ...errors import InputError, NamedColumn, in_toml, quoted
from ...log.arrow import strings
from ..amounts.numbers import like_unit, to_numbers
from .dialect import Dialect
from .directions import signs_of_counters
from .header import is_letter, meaning, words_of
from .plan import ColumnPlan, TimePlan, in_canonical, is_bare, named, one_less_other, unit_in_header
from .stated import Stated
from .two_readings import SampledColumns, Values, questions

#: Within which bounds the values of a quantity lie; of a frequency the middle one: from railways' mains to aircraft's
#: (16.7 and 400 Hz), and what a drive puts out. Common practice, no source.
PLAUSIBLE: Final = {
    "frequency_Hz": (5.0, 1000.0),
    "power_factor": (-1.05, 1.05),
    "state_of_charge_pct": (-1.0, 110.0),
}
#: Watts without a unit are volts x amps to within this share on the whole: common practice, no source; wide, since the
#: sample is short. [1]
_AGREES: Final = 0.3
#: So many rows show that a column counts something: whole numbers, three of them or more, that never fall and stand for
#: four rows or more as a rule. Common practice, no source.
_COUNTED_ROWS, _COUNTED_VALUES, _COUNTED_REPEAT = 20, 3, 4
_QUANTITIES: Final = {"current_A": ("current", "A"), "power_W": ("power", "W"), "voltage_V": ("voltage", "V")}
#: Names of such columns in English, German and French, and of a meter's range.
#: Names that say only that there are readings; and modes of a meter that measures alternating current.
_NO_NAMES = {"value", "values", "reading", "readings", "measurement", "wert", "messwert", "werte", "valeur", "mesure"}
_ALTERNATING = re.compile(r"(?i)ac|ac[ +]*(dc)?[ +]*[µum]?[avw]|[µum]?[avw] ?ac")
UNIT_NAMES = {"unit", "units", "einheit", "einheiten", "unité", "unite", "unités", "uom", "dim", "range"}


def borne_out(
    dialect: Dialect, plans: list[ColumnPlan], time: TimePlan, *, ac: bool, stated: Stated, name: str
) -> tuple[list[ColumnPlan], list[str]]:
    """Return the columns that can be what they are taken for by their words, and sentences on those left out.

    Where the meter is behind an inverter (`ac`), watts are not volts x amps. What is `stated` is not asked.

    Raises
    ------
    InputError
        If nothing is left to be integrated, or the values allow another reading of a column than its words.
    """
    values = {plan.quantity: sample_values(dialect, plan) for plan in plans}
    bare = {plan.quantity for plan in plans if is_bare(dialect, plan)}
    seen = {**dict(_implausible(values)), **dict(_not_borne_out(dialect, plans, values, bare, ac=ac))}
    wrong = {quantity: why for quantity, why in seen.items() if quantity not in stated.entries}
    sentences = [
        f"{quoted(dialect.names[p.index])} is not taken as {p.quantity}: {wrong[p.quantity]}"
        for p in plans
        if p.quantity in wrong
    ]
    left = [plan for plan in plans if plan.quantity not in wrong]
    reverse_sign = stated.reverse_sign
    if wrong.keys() & {"current_A", "power_W"} and not {"current_A", "power_W"} & {plan.quantity for plan in left}:
        sentence = f"{name}, line {dialect.header_line}: column {'; '.join(sentences)}"
        from ..questions.columns import lines, of_profile, word_of

        could_be = {
            f"{quoted(dialect.names[p.index])} is the {word_of(p.quantity)}, in {p.unit.symbol}": lines(
                p.quantity, named(dialect, p), unit=p.unit.symbol
            )
            for p in plans
            if p.quantity in wrong and p.quantity in _QUANTITIES
        }
        raise of_profile(sentence, "Which column is the current or the power?", could_be)
    columns = SampledColumns(dialect, {plan.quantity: plan for plan in plans}, values)
    believed = {plan.quantity for plan in left}
    counters = iter(()) if ac else signs_of_counters(columns.only(believed), reverse_sign=reverse_sign)
    for question in chain(questions(columns, believed, time, dc=not ac, reverse_sign=reverse_sign), counters):
        if not stated.settles(question):
            raise question.at(f"{name}, line {dialect.header_line}, ")
    return left, sentences


def refuse_signed_ways(dialect: Dialect, plans: list[ColumnPlan]) -> None:
    """Refuse two columns of one way each that hold signs of their own: what is less than nothing in one of them?"""
    for plan in plans:
        for index in () if plan.minus is None else (plan.index, plan.minus):
            x = to_numbers(strings([row[index] for row in dialect.sample]), plan.form).values
            if (x < 0).any():
                into, out = quoted(dialect.names[plan.minus or 0]), quoted(dialect.names[plan.index])
                ways = {"draw": "draw_positive", "charging": "return_positive"}
                from ..questions import signs
                from ..questions.columns import lines, of_profile

                alone = {
                    f"{quoted(dialect.names[k])} alone, {word} is positive": lines(
                        plan.quantity, NamedColumn(k + 1, dialect.names[k]), sign=sign
                    )
                    for k in (plan.index, plan.minus or 0)
                    for word, sign in ways.items()
                }
                raise of_profile(
                    f"columns {out} and {into} hold one way of {plan.quantity} each, but "
                    f"{quoted(dialect.names[index])} is below nothing at times",
                    signs.WHICH_WAY,
                    alone,
                    written="; say in a profile which one is to be taken, and what its sign means",
                )


def sample_values(dialect: Dialect, plan: ColumnPlan) -> Values:
    """Return the sample's readings, row by row, in the canonical unit; NaN where there is none."""
    x = to_numbers(strings([row[plan.index] for row in dialect.sample]), plan.form).values
    if plan.minus is not None:
        less = to_numbers(strings([row[plan.minus] for row in dialect.sample]), plan.form).values
        x = one_less_other(x, less)
    units = None if plan.units_at is None else strings([row[plan.units_at] for row in dialect.sample])
    return in_canonical(plan, x, units)


def _implausible(values: Mapping[str, Values]) -> Iterator[tuple[str, str]]:
    """Yield quantities whose values none of that kind has, and what is seen."""
    for quantity, (low, high) in PLAUSIBLE.items():
        x = values.get(quantity, np.empty(0))
        x = x[~np.isnan(x)]
        if not len(x):
            continue
        ends = (np.median(x),) * 2 if quantity == "frequency_Hz" else (x.min(), x.max())
        if ends[0] < low or ends[1] > high:
            yield quantity, f"its values, {x.min():g} to {x.max():g}, are none"


def _not_borne_out(
    dialect: Dialect, plans: list[ColumnPlan], values: Mapping[str, Values], bare: set[str], *, ac: bool
) -> Iterator[tuple[str, str]]:
    """Yield amps and watts without a unit that nothing speaks for, or that volts and amps speak against."""
    named = {plan.quantity: dialect.names[plan.index] for plan in plans}
    beside = {"current_A", "voltage_V", "power_W"} & named.keys()
    for quantity in ("current_A", "power_W"):
        if quantity not in bare:
            continue
        word, unit = _QUANTITIES[quantity]
        ask = f"write its unit into the header, as '{named[quantity]} ({unit})', or name it in a profile (--profile)"
        if _counts(values[quantity]):
            yield quantity, f"it has no unit, and it counts something; if it is the {word}, {ask}"
        elif is_letter(named[quantity]) and len(beside) == 1:
            yield quantity, f"a letter without a unit, and no other column bears it out; {ask}"
        elif quantity == "power_W" and not ac and _contradicts(values):
            yield quantity, f"it has no unit, and it is not volts x amps; if it is the {word}, {ask}"


def _counts(x: Values) -> bool:
    """Tell whether a column counts something up, as steps and cycles are counted."""
    x = x[~np.isnan(x)]
    # A reading falls as often as it rises; a counter of steps never falls and stands still most of the time.
    whole = _COUNTED_ROWS <= len(x) >= _COUNTED_REPEAT * len(np.unique(x)) and bool(
        (x == np.rint(x)).all() and (x >= 0).all()
    )
    return whole and bool((np.diff(x) >= 0).all()) and len(np.unique(x)) >= _COUNTED_VALUES


def _contradicts(values: Mapping[str, Values]) -> bool:
    """Tell whether the sample's watts are far from its volts x amps on the whole, beyond the amps' last digit."""
    if not {"current_A", "voltage_V", "power_W"} <= values.keys():
        return False
    rows = np.stack([values[quantity] for quantity in ("power_W", "voltage_V", "current_A")])
    power_W, voltage_V, current_A = np.abs(rows[:, ~np.isnan(rows).any(axis=0)])
    if not len(power_W):
        return False
    # Amps in whole or tenths may be off by half a digit, which is much of a small draw.
    digit_A = next(
        (q for q in (1.0, 0.1, 0.01) if np.allclose(np.rint(current_A / q) * q, current_A, atol=q / 1e4)), 0.0
    )
    ours, theirs = float((voltage_V * current_A).mean()), float(power_W.mean())
    return abs(ours - theirs) > _AGREES * max(ours, theirs) + digit_A * float(voltage_V.mean()) / 2 + 0.5


def named_by_units(dialect: Dialect, names: Sequence[str]) -> list[str]:
    """Return the names, that of a column which says no more than that it holds readings by the units beside it.

    Raises
    ------
    InputError
        If those units are of several kinds, since rows are readings of several things then, or a cell says that the
        current alternates.
    """
    plain = [k for k, word in enumerate(names) if words_of(word) and words_of(word) <= _NO_NAMES]
    units = [k for k, word in enumerate(dialect.names) if words_of(word) & UNIT_NAMES]
    if len(plain) != 1 or len(units) != 1:
        return list(names)
    words = sorted(set(dialect.column(units[0])))
    kinds = {kind for kind, unit in _QUANTITIES.values() if any(like_unit(word, unit) for word in words)}
    value, says = quoted(names[plain[0]]), f"column {quoted(dialect.names[units[0]])} says {', '.join(words)}"
    if len(kinds) > 1:
        raise InputError(f"{says} by row, so {value} holds readings of several things; export one of them alone")
    taken = {other.quantity for word in names if (other := meaning(word)) is not None}
    for quantity, (kind, unit) in _QUANTITIES.items():
        if quantity not in taken and words and all(like_unit(word, unit) for word in words):
            if mode := next((c for row in dialect.sample for c in row if _ALTERNATING.fullmatch(c)), None):
                at = NamedColumn(plain[0] + 1, names[plain[0]])
                from ..questions.columns import lines, of_profile

                raise of_profile(
                    f"{says}, and a cell {quoted(mode)}",
                    "Is it alternating current?",
                    {"yes: the meter is behind an inverter": {"side": "ac", **lines(quantity, at)}},
                    written=f": if {value} is alternating current, say so in a profile (--profile): "
                    f'side = "ac" and quantities.{quantity} = {{column = {in_toml(at.name)}}}',
                )
            return [kind if k == plain[0] else word for k, word in enumerate(names)]
    return list(names)


def with_unit_columns(dialect: Dialect, plans: Sequence[ColumnPlan], name: str) -> list[ColumnPlan]:
    """Return the plans, those with the column of their units that have one.

    Raises
    ------
    InputError
        If a name says one unit and the column of units another.
    """
    ready = []
    free = set(range(len(dialect.names))) - {index for plan in plans for index in plan.indices}
    for plan in plans:
        at = [index for index in sorted(free) if _says_units_of(dialect, index, plan)]
        # Of several the one behind the readings, as they are written.
        behind = [index for index in at if index == plan.index + 1]
        choice = (behind or at)[:1] if behind or len(at) == 1 else []
        if choice:
            _check_name(dialect, plan, choice[0], name)
        ready.append(replace(plan, units_at=choice[0]) if choice else plan)
    return ready


def _says_units_of(dialect: Dialect, index: int, plan: ColumnPlan) -> bool:
    words = set(dialect.column(index))
    # One word alone may be a phase or a channel: then its name must speak of units.
    return (len(words) > 1 or bool(words and words_of(dialect.names[index]) & UNIT_NAMES)) and all(
        like_unit(word, plan.unit.symbol) is not None for word in words
    )


def _check_name(dialect: Dialect, plan: ColumnPlan, index: int, name: str) -> None:
    stated = unit_in_header(dialect, plan.index)
    words = set(dialect.column(index))
    if stated is not None and any(like_unit(word, stated.symbol) != stated for word in words):
        by_row = [like_unit(word, stated.symbol) for word in words]
        units = {stated.symbol, *(unit.symbol for unit in by_row if unit is not None)}
        from ..questions.columns import lines, of_profile

        raise of_profile(
            f"{name}, line {dialect.header_line}: column {quoted(dialect.names[plan.index])} says {stated.symbol} by "
            f"its name, and {quoted(dialect.names[index])} says {', '.join(sorted(words))} by row",
            f"In which unit is {quoted(dialect.names[plan.index])}?",
            {unit: lines(plan.quantity, named(dialect, plan), unit=unit) for unit in sorted(units)},
            written="; take the wrong one out of the file, or name the columns and their unit in a profile (--profile)",
        )
