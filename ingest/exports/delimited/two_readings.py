"""Columns whose values allow another reading than their words: a question that names both, never silence."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...errors import NamedColumn, Question, quoted
from ...log.arrow import strings
from ...zone import NO_TIME
from ..times.instants import parse
from ..times.stamps import find_style, is_date_only
from .dialect import Dialect
from .header import words_of
from .header_words import ELSEWHERE
from .plan import ColumnPlan, TimePlan, is_bare, named

Values = NDArray[np.float64]
#: Fewer rows than these say nothing about what a column is. Common practice, no source, as all below.
_FEWEST: Final = 12
#: Watts and volts x amps are apart by a prefix where the better part of the rows agree on a factor within this. [1]
_NEAR: Final = 0.25
#: Amps without a unit that are whole numbers and reach the first, or any that reach the second, may be milliamps. [A]
_MANY_WHOLE_A, _MANY_A = 500.0, 2000.0
#: Whole amps that are usually more, beside volts of less, are milliamps under another name. [A], [V]
_NO_BANK_A, _SMALL_BANK_V = 1000.0, 100.0
#: Volts stand still within this share; what is farther from its level than this share comes and goes. [1]
_STEADY, _COMES_AND_GOES = 0.2, 0.5
#: Banks are neither below nor above this. [V]
_BANK_V: Final = (1.0, 1000.0)
#: A state of charge tells the direction where it changes in so many steps, none of them a jump. [1, percent points]
_SOC_STEPS, _SOC_JUMP = 4, 5.0
#: Two clocks are the same if they differ by no more than this share and two of the coarser one's steps. [1]
_CLOCKS_AGREE: Final = 0.02
_DAY_WORDS: Final = {"day", "days", "date"}
_DAY_S: Final = 86_400.0
#: A factor in a name: the unit's own (0.1 A, 10 mA, A/10), or one that the readings were multiplied by (x100, 10x).
_FACTOR = re.compile(
    r"[(\[]\s*(?:1/10+|0[.,]0*1|10+)\s*[munµkM]?[AVW]\s*[)\]]|\b[munµkM]?[AVW]\s*/\s*10+\b"
    r"|(?<![^\W_])[x×*]\s?10+(?!\d)|(?<!\d)10+\s?[x×*](?![^\W_])"
)


@dataclass(frozen=True)
class SampledColumns:
    """The columns that were recognised, by quantity, with the sample's readings in the canonical unit, row by row."""

    dialect: Dialect
    plans: Mapping[str, ColumnPlan]
    values: Mapping[str, Values]

    def only(self, quantities: Set[str]) -> SampledColumns:
        """Return some of the columns."""
        plans = {q: plan for q, plan in self.plans.items() if q in quantities}
        return SampledColumns(self.dialect, plans, {q: self.values[q] for q in plans})

    def name(self, quantity: str) -> str:
        """Return a column's name, as a sentence shows it."""
        return quoted(self.dialect.names[self.plans[quantity].index])

    def column(self, quantity: str) -> NamedColumn:
        """Return a column's place and name."""
        return named(self.dialect, self.plans[quantity])

    def known(self, *quantities: str) -> list[Values] | None:
        """Return these columns where all of them have a reading; None where one is not there or it is too few."""
        if not set(quantities) <= self.values.keys():
            return None
        rows = np.stack([self.values[quantity] for quantity in quantities])
        rows = rows[:, ~np.isnan(rows).any(axis=0)]
        return list(rows) if rows.shape[1] >= _FEWEST else None

    def is_bare(self, quantity: str) -> bool:
        """Tell whether nothing says a column's unit."""
        return quantity in self.plans and is_bare(self.dialect, self.plans[quantity])

    @property
    def unsigned_A(self) -> bool:
        """Whether the amps, as they are taken, are the bank's and never change sign."""
        plan = self.plans.get("current_A")
        if plan is None or plan.minus is not None or plan.directions is not None:
            return False
        x = self.values["current_A"]
        x = x[~np.isnan(x)]
        return len(x) >= _FEWEST and bool((x >= 0).all() or (x <= 0).all()) and bool((x != 0).any())


def questions(
    columns: SampledColumns, believed: Set[str], time: TimePlan, *, dc: bool, reverse_sign: bool
) -> Iterator[Question]:
    """Yield a question for each column that may be read in two ways.

    Of quantities that are not `believed` to be what they are called, only the prefix of watts is asked about: a wrong
    one is why they are not.
    """
    yield from _factors(columns)
    yield from _thousandfold(columns)
    columns = columns.only(believed)
    yield from _each_others(columns)
    yield from _prefix_of_amps(columns)
    yield from _prefix_of_volts(columns)
    if dc:
        yield from _signs_of_watts(columns)
        yield from _signs_of_charge(columns, reverse_sign=reverse_sign)
    yield from _clocks(columns, time)


def _factors(columns: SampledColumns) -> Iterator[Question]:
    """Yield a question where a name holds a factor: it may be applied to the readings, or still to be."""
    for quantity, plan in columns.plans.items():
        cells = columns.dialect.units
        words = f"{columns.dialect.names[plan.index]} ({cells[plan.index] if cells else ''})"
        if (match := _FACTOR.search(words)) is not None:
            from ..questions import units

            yield units.factor(columns.column(quantity), quantity, plan.unit.symbol, match[0])


def _thousandfold(columns: SampledColumns) -> Iterator[Question]:
    factor = _watts_by_product(columns)
    if factor is None or abs(np.log10(factor)) < 1:
        return
    from ..questions import units

    yield units.thousandfold(columns.column("power_W"), columns.column("current_A"), is_small=factor < 1)


def _watts_by_product(columns: SampledColumns) -> float | None:
    """Return 0.001, 1 or 1000 where most rows' watts are volts x amps times that; None where they are not. [1]"""
    if (rows := columns.known("power_W", "voltage_V", "current_A")) is None:
        return None
    power_W, product_W = np.abs(rows[0]), np.abs(rows[1] * rows[2])
    # The larger half: in small draws the last digits count for more than the prefix.
    large = (product_W > 0) & (power_W > 0) & (product_W >= np.median(product_W))
    if large.sum() < _FEWEST / 2:
        return None
    ratio = power_W[large] / product_W[large]
    near = (factor for factor in (1e-3, 1.0, 1e3) if (np.abs(ratio / factor - 1) < _NEAR).mean() > 0.8)
    return next(near, None)


def _each_others(columns: SampledColumns) -> Iterator[Question]:
    """Yield a question where the amps stand still as a bank's volts do, and the volts come and go as amps do."""
    if (rows := columns.known("current_A", "voltage_V")) is None:
        return
    amps, volts = rows
    level_A, level_V = (float(np.sort(np.abs(x))[len(x) // 2]) for x in rows)
    stands = level_A >= _BANK_V[0] and bool((np.abs(np.abs(amps) / level_A - 1) <= _STEADY).all())
    goes = float((np.abs(np.abs(volts) - level_V) > _COMES_AND_GOES * level_V).mean()) > 0.2
    if stands and (goes or 0.05 < float((volts < 0).mean()) < 0.95):
        from ..questions.columns import each_others

        yield each_others(
            columns.column("current_A"),
            columns.column("voltage_V"),
            f"the amps stand still at about {level_A:.3g}, as a bank's volts do, and the volts are {volts.min():.3g} "
            f"to {volts.max():.3g}",
        )


def _prefix_of_amps(columns: SampledColumns) -> Iterator[Question]:
    if _watts_by_product(columns) == 1.0:
        return
    if not columns.is_bare("current_A"):
        yield from _too_many_amps(columns)
        return
    x = np.abs(columns.values["current_A"])
    x = x[~np.isnan(x)]
    highest = float(x.max(initial=0.0))
    if highest < (_MANY_WHOLE_A if bool((x == np.rint(x)).all()) else _MANY_A):
        return
    evidence = f"column {columns.name('current_A')} has no unit and reaches {highest:g}"
    yield _which(columns, "current_A", ("A", "mA"), evidence, ": it could be in A or in mA")


def _too_many_amps(columns: SampledColumns) -> Iterator[Question]:
    """Yield a question where amps by their name are whole thousands all the time, beside a small bank's volts."""
    if (rows := columns.known("current_A", "voltage_V")) is None:
        return
    amps, volts = np.abs(rows[0]), np.sort(np.abs(rows[1]))
    usual, usual_V = float(np.sort(amps)[len(amps) // 2]), float(volts[len(volts) // 2])
    if usual >= _NO_BANK_A and usual_V <= _SMALL_BANK_V and bool((amps == np.rint(amps)).all()):
        evidence = (
            f"column {columns.name('current_A')}: {usual:.4g} A all the time, at {usual_V:.3g} V, is more than a bank "
            "of that voltage carries"
        )
        yield _which(columns, "current_A", ("A", "mA"), evidence, ", so it could be in mA")


def _prefix_of_volts(columns: SampledColumns) -> Iterator[Question]:
    if not columns.is_bare("voltage_V") or _watts_by_product(columns) == 1.0:
        return
    x = np.abs(columns.values["voltage_V"])
    x = x[x > 0]
    if len(x) < _FEWEST or _BANK_V[0] <= (usual := float(np.median(x))) <= _BANK_V[1]:
        return
    unit = "mV" if usual > _BANK_V[1] else "kV"
    evidence = f"column {columns.name('voltage_V')} has no unit and is about {usual:.3g}: as V that is no bank"
    yield _which(columns, "voltage_V", ("V", unit), evidence, f", so it could be in {unit}")


def _which(columns: SampledColumns, quantity: str, two: tuple[str, str], evidence: str, could: str) -> Question:
    from ..questions import units

    written = units.say_units(quantity, two, f"{could}; write its unit into the header")
    return units.which_unit(evidence, quantity, columns.column(quantity), two, written=written)


def _signs_of_watts(columns: SampledColumns) -> Iterator[Question]:
    """Yield a question where watts say which way it flows, and the amps beside them do not, or say the contrary."""
    if (rows := columns.known("power_W", "current_A")) is None:
        return
    power_W, current_A = rows
    flows = (power_W != 0) & (current_A != 0)
    opposite = float((power_W * current_A < 0).sum())
    if opposite < 3 or opposite <= 0.02 * flows.sum():
        return
    from ..questions import signs

    watts, amps = columns.name("power_W"), columns.name("current_A")
    if columns.unsigned_A:
        evidence = (
            f"columns {amps} and {watts}: the amps never change their sign, and the watts do, in {opposite:.0f} of "
            f"{flows.sum()} rows"
        )
        yield signs.watts_alone(evidence, columns.column("power_W"), columns.column("current_A"))
    elif opposite > 0.9 * flows.sum():
        evidence = f"columns {amps} and {watts}: where one is positive the other is negative"
        yield signs.opposite_watts(evidence, columns.column("power_W"), columns.column("current_A"))


def _signs_of_charge(columns: SampledColumns, *, reverse_sign: bool) -> Iterator[Question]:
    """Yield a question where the state of charge says that the amps have no sign, or the other one."""
    if (rows := columns.known("state_of_charge_pct", "current_A")) is None or reverse_sign:
        return
    if words_of(columns.dialect.names[columns.plans["current_A"].index]) & ELSEWHERE:
        return  # a load's amps have one direction, whatever the bank does
    up_A, down_A = _means_by_step(*rows)
    from ..questions import signs  # few exports hold both

    soc, amps = columns.name("state_of_charge_pct"), columns.name("current_A")
    if columns.unsigned_A and min(len(up_A), len(down_A)) >= _SOC_STEPS:
        yield signs.unsigned(
            f"columns {amps} and {soc}: the amps never change their sign, and the state of charge rises and falls",
            "either all of it was drawn or a part was returned: name the column that says which way it flows in a "
            "profile ([quantities.current_A.direction]), or, if these amps are a load's alone, "
            '[quantities.current_A] sign = "draw_positive"',
            columns.column("current_A"),
        )
        return
    against = int((up_A > 0).sum() + (down_A < 0).sum())
    if against >= _SOC_STEPS and against > 0.8 * (len(up_A) + len(down_A)):
        yield signs.seems_charging(
            f"columns {amps} and {soc}: the state of charge rises while the amps are positive",
            columns.column("current_A"),
        )


def _means_by_step(soc_pct: Values, current_A: Values) -> tuple[Values, Values]:
    """Return the mean amps before each step of the state of charge: of those up, and of those down; no jumps."""
    at = np.flatnonzero(np.diff(soc_pct)) + 1
    steps = [(float(soc_pct[b] - soc_pct[a]), float(current_A[a:b].mean())) for a, b in pairwise([0, *at.tolist()])]
    up = [mean for step, mean in steps if 0 < step <= _SOC_JUMP]
    return np.array(up), np.array([mean for step, mean in steps if -_SOC_JUMP <= step < 0])


def _clocks(columns: SampledColumns, time: TimePlan) -> Iterator[Question]:
    """Yield a question where another column of the rows is a clock, too, and goes at another pace."""
    dialect, style = columns.dialect, time.style
    if style.kind == "calendar" and style.order is None:
        return
    own_s = _unwrapped(_seconds(dialect, time), wraps=style.unit == "h:m:s")
    used = {*time.indices}.union(*(plan.indices for plan in columns.plans.values()))
    for index in range(len(dialect.names)):
        if index in used or not dialect.names[index] or (other := _other_clock(dialect, index)) is None:
            continue
        other_s, coarse_s = other
        if (spans := _spans_apart(own_s, other_s, coarse_s)) is None:
            continue
        word = " and ".join(quoted(dialect.names[k]) for k in time.indices)
        alone = time.indices[0] + 1 if len(time.indices) == 1 else None
        evidence = (
            f"columns {word} and {quoted(dialect.names[index])} are both clocks, and do not agree: by {word}, as "
            f"{style.describe()}, {len(own_s)} rows last {_length(spans[0])}, by the other {_length(spans[1])}"
        )
        from ..questions.times import two_clocks

        yield two_clocks(evidence, {word: alone, quoted(dialect.names[index]): index + 1})


def _seconds(dialect: Dialect, time: TimePlan) -> Values:
    """Return the sample's times, row by row; NaN where there is none. [s]"""
    cells = [" ".join(row[k] for k in time.indices).strip() for row in dialect.sample]
    time_us = parse(strings(cells), time.style)
    return np.where(time_us == NO_TIME, np.nan, time_us / 1e6)


def _unwrapped(time_s: Values, *, wraps: bool) -> Values:
    if not wraps:
        return time_s
    steps = np.diff(time_s, prepend=time_s[:1])
    return np.asarray(time_s + _DAY_S * np.cumsum(steps < -0.9 * _DAY_S))


def _other_clock(dialect: Dialect, index: int) -> tuple[Values, float] | None:
    """Return a column as a clock, with its smallest step where it is coarse, else 0; None where it is none. [s]"""
    cells, word = dialect.column(index), dialect.names[index]
    if len(cells) < max(_FEWEST, len(dialect.sample)) or len(set(cells)) == 1:
        return None
    if words_of(word) & _DAY_WORDS and all(cell.isdigit() and len(cell) < 6 for cell in cells):
        return np.array([float(cell) for cell in cells]) * _DAY_S, _DAY_S
    style = find_style(cells, header=f"{word} {dialect.units[index] if dialect.units else ''}")
    if style is None or not (style.order if style.kind == "calendar" else style.unit):
        return None
    coarse_s = _DAY_S if all(map(is_date_only, cells)) else 0.0
    return _unwrapped(_seconds(dialect, TimePlan((index,), style)), wraps=style.unit == "h:m:s"), coarse_s


def _spans_apart(own_s: Values, other_s: Values, coarse_s: float) -> tuple[float, float] | None:
    """Return how long the rows last by either clock, where both go on steadily and do not agree; else None. [s]"""
    known = ~np.isnan(own_s + other_s)
    own_s, other_s = own_s[known], other_s[known]
    if len(own_s) < _FEWEST:
        return None
    rises, others = np.diff(own_s), np.diff(other_s)
    # A count of hours run, or of the time in a step, stands still or falls now and then: it is another's clock.
    steady = (others >= 0).all() if coarse_s else (others > 0).mean() > 0.95
    if not steady or (rises > 0).mean() <= 0.95 or (rises < 0).any() or (others < 0).any():
        return None
    own, other = float(own_s[-1] - own_s[0]), float(other_s[-1] - other_s[0])
    if other <= 0 or abs(own - other) <= _CLOCKS_AGREE * max(own, other) + 2 * coarse_s:
        return None
    quarters = np.linspace(0, len(own_s) - 1, 5).astype(int)[1:-1]
    shares = (own_s[quarters] - own_s[0]) / own, (other_s[quarters] - other_s[0]) / other
    in_step = np.abs(shares[0] - shares[1]) < 0.05 + 2 * coarse_s / other
    return (own, other) if in_step.all() else None


def _length(length_s: float) -> str:
    for unit, size_s in (("days", _DAY_S), ("h", 3600.0), ("min", 60.0)):
        if length_s >= 2 * size_s:
            return f"{length_s / size_s:.3g} {unit}"
    return f"{length_s:.3g} s"
