"""Which column is taken for each quantity, of all that its words and unit allow."""

from __future__ import annotations

import re
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from ...errors import NamedColumn, Question, in_toml, quoted
from ...quantities import Unit
from .header import Meaning, meaning
from .header_words import EITHER_WAY, ELSEWHERE, INTO, ONE_WAY, OPPOSITES, OUT, REQUIRED


@dataclass(frozen=True)
class _Candidate:
    index: int
    name: str
    meaning: Meaning
    filled: bool

    @property
    def place(self) -> NamedColumn:
        return NamedColumn(self.index + 1, self.name)

    @property
    def rank(self) -> tuple[int, bool]:
        return self.meaning.strangeness, not self.filled


@dataclass(frozen=True)
class TakenColumn:
    """The column that is taken for a quantity, its unit, and the one that holds the way into the bank, if it has one.

    ``charging`` says that its name speaks of charging or of one way alone, ``turned`` that return is positive by it.
    """

    index: int
    unit: Unit
    into: int | None = None
    charging: bool = False
    turned: bool = False


def taken_alone(index: int, name: str, what: Meaning) -> TakenColumn:
    """Return a column that holds both ways of what its name means, with what the name says of the sign."""
    positive = positive_way(name)
    charging = positive is None and (what.charging or _tells_no_side(name, what))
    return TakenColumn(index, what.unit, charging=charging, turned=positive == "return")


def choose(
    names: Sequence[str], units: Sequence[str], filled: Sequence[bool] | None = None, stated: Container[str] = ()
) -> tuple[dict[str, TakenColumn], list[str]]:
    """Choose the column for each quantity by the header's cells and the units row's ('' where there is none).

    Returns what is taken by quantity, and in sentences what was left out although it looks like a quantity and
    what to look at twice. `filled`: whether a column holds any reading; of two alike, the one that does is taken.
    The quantities that are `stated` need no column.

    Raises
    ------
    InputError
        If two columns could equally be the current or voltage (or the power, where it is needed), or a unit is wrong.
    """
    candidates: dict[str, list[_Candidate]] = {}
    for index, (name, cell) in enumerate(zip(names, units, strict=True)):
        if name and (what := meaning(name, cell)) is not None:
            has_readings = filled is None or filled[index]
            if what.quantity in stated:
                continue
            candidates.setdefault(what.quantity, []).append(_Candidate(index, name, what, has_readings))
    _refuse_opposites(names, candidates, stated)
    chosen: dict[str, TakenColumn] = {}
    remarks: list[str] = []
    for quantity in sorted(candidates, key=lambda q: q == "power_W"):  # last: whether it is needed shows then
        needed = quantity in REQUIRED and not (quantity == "power_W" and {"current_A", "voltage_V"} <= chosen.keys())
        best, trouble = _best(quantity, candidates[quantity])
        into = _other_way(quantity, best, candidates[quantity])
        if into is not None:
            chosen[quantity] = into
        elif best is not None:
            chosen[quantity] = taken_alone(best.index, best.name, best.meaning)
            remarks += _look_twice(quantity, best)
        elif needed and trouble is not None:
            raise trouble
        else:
            remarks.append(f"{trouble}; neither is taken")
    return chosen, remarks


#: "Current In (A)", but neither "Current in A" nor "Strom in [A]".
_IN_LAST = re.compile(r"(amps|current|courant|power)[ _]in *([(\[]|$)", re.IGNORECASE)


def _tells_no_side(name: str, what: Meaning) -> bool:
    """Tell whether a name says one way only, or the way of something beside the bank: what it means for the bank?"""
    return bool(what.words & EITHER_WAY) or "charger" in what.words or _IN_LAST.search(name) is not None


def _refuse_opposites(
    names: Sequence[str], candidates: Mapping[str, Sequence[_Candidate]], stated: Container[str]
) -> None:
    """Stop at two columns of amps or watts that differ by opposite words alone, unless a plainer one is there."""
    words = [re.findall(r"[^\W_]+|[+-]", name.lower()) for name in names]
    for one, into in product(range(len(names)), OPPOSITES):
        if into[0] not in words[one]:
            continue
        other = sorted([*(set(words[one]) - {into[0]}), into[1]])
        pair = [k for k, name in enumerate(words) if sorted(set(name)) == other]
        base = meaning(re.sub(re.escape(into[0]), " ", names[one], flags=re.IGNORECASE))
        if not pair or base is None or base.quantity not in ("current_A", "power_W") or base.quantity in stated:
            continue
        if all(c.meaning.strangeness or c.index in (one, pair[0]) for c in candidates.get(base.quantity, ())):
            from ..questions.columns import one_way_each

            raise one_way_each(
                NamedColumn(pair[0] + 1, names[pair[0]]), NamedColumn(one + 1, names[one]), base.quantity
            )


def _best(quantity: str, columns: list[_Candidate]) -> tuple[_Candidate | None, Question | None]:
    """Return the column to take, or None and the question why it cannot be said which."""
    columns = sorted(columns, key=lambda column: (column.rank, column.index))
    if _other_way(quantity, columns[0], columns) is not None:
        return columns[0], None
    # In and out of the bank in two columns: either alone would be half of the draw.
    out = [column for column in columns if column.meaning.discharging]
    into = [column for column in columns if column.meaning.charging and column.filled]
    if quantity in ONE_WAY and out and into and columns[0] in (out[0], into[0]):
        from ..questions.columns import one_way_each

        return None, one_way_each(out[0].place, into[0].place, quantity)
    alike = [column for column in columns if column.rank == columns[0].rank]
    if len(alike) > 1:
        both = " and ".join(quoted(column.name) for column in alike[:2])
        line = f"quantities.{quantity} = {{column = {in_toml(alike[0].name)}}}"
        written = f"; say which one in a profile (--profile), such as {line}"
        from ..questions.columns import which_column

        evidence, places = f"columns {both} could both be {quantity}", [column.place for column in alike]
        return None, which_column(evidence, quantity, places, written=written)
    return columns[0], None


def _other_way(quantity: str, best: _Candidate | None, columns: Sequence[_Candidate]) -> TakenColumn | None:
    """Return two columns that hold one way each, named alike but for the words of the way, as one: out less in."""
    if best is None or quantity not in ("current_A", "power_W"):
        return None
    mine = best.meaning
    for other in columns:
        theirs = other.meaning
        if other is best or mine.unit != theirs.unit or mine.words - INTO - OUT != theirs.words - INTO - OUT:
            continue
        if mine.words & OUT and theirs.words & INTO and not theirs.words & OUT:
            return TakenColumn(best.index, mine.unit, other.index)
        if mine.words & INTO and not mine.words & OUT and theirs.words & OUT:
            return TakenColumn(other.index, mine.unit, best.index)
    return None


_SIGN, _WAY = r"([+-]|positi(?:v[a-z]*|f|ef)|n[eé]gati(?:v[a-z]*|f|ef)|pos|neg)", r"([a-zà-ÿ]+)"
_SIGN_FIRST = re.compile(rf"{_SIGN}\s*(?:=|:|is|means|for)?\s*{_WAY}")
_WAY_FIRST = re.compile(rf"{_WAY}\s*[=:]?\s*{_SIGN}")


def positive_way(name: str) -> str | None:
    """Return ``draw`` or ``return`` where a column's name says which of them is positive, else None."""
    text = name.lower().replace("−", "-").replace("–", "-")
    pairs = _SIGN_FIRST.findall(text)
    ways = {_way(sign, word) for sign, word in pairs} - {None}
    if not ways:
        ways = {_way(sign, word) for word, sign in _WAY_FIRST.findall(text)} - {None}
    return ways.pop() if len(ways) == 1 else None


def _way(sign: str, word: str) -> str | None:
    """Return which way is positive, by what one sign stands for."""
    out = word in OUT
    if not out and word not in INTO:
        return None
    return "draw" if out == (sign[0] in "+p") else "return"


def _look_twice(quantity: str, taken: _Candidate) -> list[str]:
    lines = []
    if elsewhere := sorted(taken.meaning.words & ELSEWHERE):
        lines.append(
            f"{quoted(taken.name)} is taken as {quantity} for want of a plainer column, "
            f"though it speaks of {elsewhere[0]!r}: check that it is the reading you mean"
        )
    return lines
