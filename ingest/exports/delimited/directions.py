"""Which way a current without a sign flows: a column of words beside it, known, asked for, or watched for later."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...errors import InputError, NamedColumn, Question, quoted
from ...log.arrow import strings
from ..amounts.numbers import NULLS, to_numbers
from .dialect import Dialect
from .header import stated_unit, words_of
from .header_words import BANK, DIRECTION_NAMES, EITHER_WAY, INTO, OUT, STATE_NAMES
from .plan import ColumnPlan, Directions, WatchedColumn, named
from .two_readings import SampledColumns

#: Words that change nothing about the way in a cell such as "CC Charge" or "en décharge".
_BESIDE = {"cc", "cv", "en", "the", "mode", "battery", "batterie", "bank", "current", "rate", "is"}
#: Words and letters that say a way only below a name that speaks of one: a relay is "in" and a switch "out", too.
_WEAK = {"c": "return", "d": "draw", "in": "return", "out": "draw", "ch": "return", "dis": "draw"}
#: Codes that are answers, not ways.
_ANSWERS = {"on", "ok", "no", "off", "yes", "an", "aus", "ein", "ja", "oui", "non"}
#: What a column such as "Charging" holds where it says yes or no.
_FLAGS = {
    "0",
    "1",
    "true",
    "false",
    "wahr",
    "falsch",
    "vrai",
    "faux",
    "no",
    "yes",
    "off",
    "on",
    "nein",
    "ja",
    "non",
    "oui",
}
#: Signs and arrows say a way under any name, if there are two of them.
_SIGNS = re.compile(r"[+-]1?|[-=]*[<>][-=]*|[←→↑↓⇐⇒⇑⇓▲▼△▽◀▶◄►⬆⬇⬅➡]")
#: A longer word is no code.
_CODE = re.compile(r"[+-]?\w{0,2}|[+-]")
#: More different words are notes, not ways. Common practice, no source.
_MOST_WORDS = 8
#: So small a share of all amps may stand beside words that say no way: the law of 0.1 %.
_LITTLE = 0.001
#: From this share on the words and the current's own sign agree. Common practice, no source.
_AGREE = 0.95


def way_of(word: str, *, named: bool = True) -> str | None:
    """Return ``draw`` or ``return`` for a word that says which way a current flows, else None.

    `named` tells whether the column's name speaks of directions, where letters and small words do, too.
    """
    parts = [part for part in re.split(r"[^a-zà-ÿ]+", word.lower()) if part]
    ways = {"draw" if p in OUT - _WEAK.keys() else "return" if p in INTO - _WEAK.keys() else None for p in parts}
    if len(parts) == 1 and named and parts[0] in _WEAK:
        return _WEAK[parts[0]]
    if None in ways and any(p not in _BESIDE for p in parts if p not in OUT | INTO):
        return None
    ways.discard(None)
    return ways.pop() if len(ways) == 1 else None


def question_of(column: WatchedColumn, cell: str) -> InputError | None:
    """Return what to ask where a cell is met; None where its word says nothing of a way or a meter."""
    word = cell.lower()
    if word in column.seen or word in _NOTHING:
        return None
    if column.meter:
        seen = ", ".join(map(quoted, sorted(column.seen)))
        return InputError(
            f"column {quoted(column.name)} says {quoted(word)} here and {seen} above, but a log holds one meter; "
            "export each alone, or name the columns in a profile (--profile) if it is the same one"
        )
    words = {word, *column.seen}
    says = way_of(word, named=column.named) is not None or (column.named and _are_codes(words)) or _may_say(words)
    if not says and not _is_flag(column.name, words):
        return None
    return _question(NamedColumn(column.index + 1, column.name), words, column.current, {cell, *column.cells})


class SignQuestion(NamedTuple):
    """What to ask about a sign that words contradict, and the first row of them."""

    row: int
    asked: Question


def question_of_sign(
    column: WatchedColumn, kinds: Sequence[str], inverse: NDArray[np.int64], flow: NDArray[np.float64]
) -> SignQuestion | None:
    """Return what to ask where words say that the bank is charged while a current with a sign is positive, else None.

    ``kinds`` are the column's different cells, `inverse` which of them each row holds, `flow` the current or power by
    row as it is taken; shapes (n,).
    """
    ways = [way_of(word, named=column.named) for word in kinds]
    factor = np.array([{"draw": 1.0, "return": -1.0}.get(way or "", 0.0) for way in ways])[inverse]
    x = np.nan_to_num(flow) * factor
    if column.reverse or _share_in_step(x) > 1 - _AGREE:
        return None
    word = kinds[int(inverse[x < 0][0])]
    from ..questions import signs

    return SignQuestion(int(np.flatnonzero(x < 0)[0]), signs.word_against(column.name, word, column.current))


def _share_in_step(x: NDArray[np.float64]) -> float:
    """Return which share of what flows goes with the words, by the rows of draw and of return multiplied by them."""
    total = float(np.abs(x).sum())
    return float(x[x > 0].sum()) / total if total else 1.0


_NOTHING = {word.lower() for word in NULLS} - {"-"}


def with_directions(
    dialect: Dialect,
    plans: Sequence[ColumnPlan],
    values: Mapping[str, NDArray[np.float64]],
    time: Iterable[int],
    *,
    reverse: bool,
) -> tuple[list[ColumnPlan], list[str], list[WatchedColumn]]:
    """Return the columns with the sign that words beside them give, sentences on it, and what is to be watched.

    `values` are the sample's readings by quantity; `time` the columns of the time; `reverse`: the person turns the
    sign.

    Raises
    ------
    InputError
        If a column may say the way, but not in words that are known.
    """
    flows = [plan for plan in plans if plan.quantity in ("current_A", "power_W") and plan.minus is None]
    unsigned = [plan for plan in flows if not (values[plan.quantity] < 0).any()]
    others = set(range(len(dialect.names))) - set(time) - {k for plan in plans for k in plan.indices}
    watched: list[WatchedColumn] = []
    for index in sorted(others) if flows else ():
        cells = [row[index].lower() for row in dialect.sample]
        words = set(cells) - _NOTHING
        of_name = words_of(dialect.names[index]) & (DIRECTION_NAMES | STATE_NAMES)
        if len(words) > _MOST_WORDS:
            continue
        if words and any(way_of(word, named=bool(of_name)) for word in words):
            if not unsigned:
                plans, sentences = _held_against_sign(dialect, plans, flows, values, index, cells, reverse=reverse)
                return list(plans), sentences, []
            return _signed(dialect, plans, unsigned, values, index, cells), [], []
        asks = bool(of_name) and _asks(words, strong=bool(of_name & DIRECTION_NAMES))
        asks = asks or _may_say(words) or _is_flag(dialect.names[index], words)
        if unsigned and (asks or _goes_with_volts(cells, values[unsigned[0].quantity], values.get("voltage_V"))):
            raise _question_in(dialect, index, words, named(dialect, unsigned[0]))
        if unsigned:
            at, cells_as_written = named(dialect, unsigned[0]), frozenset(dialect.column(index))
            seen = WatchedColumn(index, frozenset(words), dialect.names[index], at, named=bool(of_name))
            watched.append(replace(seen, reverse=reverse, cells=cells_as_written))
    return list(plans), [], watched


def _may_say(words: set[str]) -> bool:
    """Tell whether words say a way, but not which one for the bank; signs do if there are two."""
    if len(words) > 1 and all(map(_SIGNS.fullmatch, words - {"1"})):
        return True
    for word in words:
        parts = set(re.split(r"[^a-zà-ÿ]+", word)) - {""}
        if parts & EITHER_WAY and parts <= EITHER_WAY | _BESIDE:
            return True
    return False


def _is_flag(name: str, words: set[str]) -> bool:
    """Tell whether a column says yes or no to a way that is its name."""
    of_name = words_of(name)
    ways = of_name & (INTO | OUT) - _WEAK.keys()
    return bool(ways) and of_name <= INTO | OUT | BANK | _BESIDE and len(words) > 1 and words <= _FLAGS


#: So much of the volts the amps with a sign explain, and so small is what they leave beside what they leave without
#: one, where two words are two ways: common practice, no source. [1]
_EXPLAINED, _LEFT = 0.8, 0.25


def _goes_with_volts(cells: list[str], x: NDArray[np.float64], volts: NDArray[np.float64] | None) -> bool:
    """Tell whether volts go with the amps where they have one sign by one word, and the other by the other."""
    kinds = sorted(set(cells) - _NOTHING)
    if volts is None or len(kinds) != 2:
        return False
    sign = np.array([{kinds[0]: 1.0, kinds[1]: -1.0}.get(cell, 0.0) for cell in cells])
    rows = ~np.isnan(x + volts) & (sign != 0)
    if rows.sum() < 2 * _MOST_WORDS or not (np.ptp(x[rows]) and np.ptp(volts[rows]) and np.ptp(sign[rows])):
        return False
    unsigned, signed = (float(np.corrcoef(amps[rows], volts[rows])[0, 1]) ** 2 for amps in (x, x * sign))
    return signed > _EXPLAINED and 1 - signed < _LEFT * (1 - unsigned)


def _are_codes(words: set[str]) -> bool:
    return all(_CODE.fullmatch(word) and word not in _ANSWERS for word in words)


def _asks(words: set[str], *, strong: bool) -> bool:
    """Tell whether words that are not known may say a way: any below "Direction", two codes below "State"."""
    return bool(words) if strong else len(words) > 1 and _are_codes(words)


def _question_in(dialect: Dialect, index: int, words: set[str], current: NamedColumn) -> Question:
    column = NamedColumn(index + 1, dialect.names[index])
    return _question(column, words, current, {row[index].strip() for row in dialect.sample})


def _question(column: NamedColumn, words: set[str], current: NamedColumn, cells: Iterable[str]) -> Question:
    draw = [word for word in sorted(words) if way_of(word) == "draw"]
    back = [word for word in sorted(words) if way_of(word) == "return"]
    for word in sorted(words - {*draw, *back}):
        (back if draw else draw).append(word)
    # As they are written, since a profile knows no others.
    every, draw, back = ([c for c in sorted(cells) if c.lower() in known] for known in (words, draw, back))
    from ..questions import signs

    return signs.words_of_way(column, every, draw, back, current)


def _signed(
    dialect: Dialect,
    plans: Sequence[ColumnPlan],
    unsigned: Sequence[ColumnPlan],
    values: Mapping[str, NDArray[np.float64]],
    index: int,
    cells: list[str],
) -> list[ColumnPlan]:
    """Return the plans with directions by words that are known; words that say none must stand beside nothing."""
    x = np.nan_to_num(np.abs(values[unsigned[0].quantity]))
    none = set()
    for word in set(cells):
        if way_of(word) is not None:
            continue
        if x[[cell == word for cell in cells]].sum() > _LITTLE * x.sum():
            asked = _question_in(dialect, index, set(cells), named(dialect, unsigned[0]))
            sentence = f"{asked} ({quoted(word)} is the word that is not known)"
            raise Question(sentence, asked.what, asked.evidence, asked.choices)
        none.add(word)
    ways = {word: way_of(word) for word in cells}
    directions = Directions(
        index,
        frozenset(word for word, way in ways.items() if way == "draw"),
        frozenset(word for word, way in ways.items() if way == "return"),
        frozenset(none),
        recognised=True,
    )
    return [replace(plan, directions=directions) if plan in unsigned else plan for plan in plans]


def _held_against_sign(
    dialect: Dialect,
    plans: Sequence[ColumnPlan],
    flows: Sequence[ColumnPlan],
    values: Mapping[str, NDArray[np.float64]],
    index: int,
    cells: list[str],
    *,
    reverse: bool,
) -> tuple[Sequence[ColumnPlan], list[str]]:
    """Return the plans with their signs turned where the words say that return is positive, and that it was done."""
    factor = np.array([{"draw": 1.0, "return": -1.0}.get(way_of(cell) or "", 0.0) for cell in cells])
    x = np.nan_to_num(values[flows[0].quantity]) * factor
    share = _share_in_step(x)
    word, current = quoted(dialect.names[index]), quoted(dialect.names[flows[0].index])
    if share >= _AGREE or reverse:
        return plans, []
    if share > 1 - _AGREE:
        return plans, [f"column {word} does not go with the sign of {current}, which is taken as it is: check both"]
    turned = [turned_sign(plan) if plan in flows else plan for plan in plans]
    return turned, [f"{current} is positive where {word} says that the bank is charged, so its sign is turned"]


def turned_sign(plan: ColumnPlan) -> ColumnPlan:
    """Return a column's plan with its sign turned: there return is positive."""
    return replace(plan, scale=-plan.scale, offset=-plan.offset, turned=not plan.turned)


#: So many steps of a counter tell a way. Common practice, no source.
_STEPS = 4
#: Words of counters of one way each.
_COUNTS_IN = (INTO | {"input"}) - {"charge"}
_COUNTS_OUT = OUT | {"output"}


def signs_of_counters(columns: SampledColumns, *, reverse_sign: bool) -> Iterator[Question]:
    """Yield a question where counters say that amps without a sign flowed both ways, or those with one the other."""
    if "current_A" not in columns.plans or columns.plans["current_A"].minus is not None:
        return
    current_A = columns.values["current_A"]
    amps = columns.name("current_A")
    counters = list(_counters(columns))
    ways = {way: (name, rises) for name, way, rises in counters}
    both = [(name, name) for name, way, rises in counters if not way and min((rises > 0).sum(), (rises < 0).sum()) > 3]
    if {"in", "out"} <= ways.keys() and all((ways[way][1] > 0).sum() >= _STEPS for way in ("in", "out")):
        both.append((ways["in"][0], ways["out"][0]))
    if both and columns.unsigned_A:
        names = " and ".join(map(quoted, dict.fromkeys(both[0])))
        from ..questions import signs

        yield signs.unsigned(
            f"columns {amps} and {names}: the amps never change their sign, and by what was counted it flowed both "
            "ways",
            "either all of it was drawn or a part was returned: name the column that says which way it flows in "
            "a profile ([quantities.current_A.direction]), or, if all was drawn, "
            '[quantities.current_A] sign = "draw_positive"',
            columns.column("current_A"),
        )
    for way, turn in (("in", 1.0), ("out", -1.0)):
        if reverse_sign or way not in ways or columns.unsigned_A:
            continue
        name, rises = ways[way]
        # A step is counted between two readings: both have the sign, or it says nothing.
        sign = np.sign(current_A[1:]) * (np.sign(current_A[1:]) == np.sign(current_A[:-1]))
        against, along = ((rises > 0) & (sign == turn)).sum(), ((rises > 0) & (sign == -turn)).sum()
        if against >= _STEPS and against > 4 * along:
            evidence = f"columns {amps} and {quoted(name)}: where it counts up the amps say the other way"
            from ..questions import signs

            yield signs.seems_charging(evidence, columns.column("current_A"))


def _counters(columns: SampledColumns) -> Iterator[tuple[str, str, NDArray[np.float64]]]:
    """Yield columns that count charge or energy: the name, the way that is counted, and how each row differs."""
    dialect = columns.dialect
    for index, name in enumerate(dialect.names):
        words = words_of(name)
        unit = stated_unit(name, dialect.units[index] if dialect.units else "")
        if unit is None or unit.dimension not in ("charge", "energy"):
            continue
        x = to_numbers(strings([row[index] for row in dialect.sample]), columns.plans["current_A"].form).values
        rises = np.nan_to_num(np.diff(x))
        # A counter that begins anew falls by all that it had.
        rises[rises == -np.nan_to_num(x[:-1])] = 0.0
        yield name, "out" if words & _COUNTS_OUT else "in" if words & _COUNTS_IN else "", rises
