"""Find the register that holds a value which the meter's own display shows, with its type, scale and sign."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..profiles.kept import Table, profile_text
from ..profiles.modbus_part import SIZES, RegisterTable, RegisterType, WordOrder
from ..quantities import scaled
from .likely import PAIRS, as_type
from .reach import reach
from .shown_value import ShownValue
from .watch import Look

#: What a whole number counts, and what a float does, as a rule. From memory.
_SCALES: Final = (1.0, 0.1, 0.01, 0.001, 0.0001, 10.0, 100.0)
_FLOAT_SCALES: Final = (1.0, 0.001, 1000.0)
_KINDS: Final[tuple[tuple[RegisterType, WordOrder | None], ...]] = (("int16", None), ("uint16", None), *PAIRS)
#: Quantities that go both ways: their whole numbers have a sign as a rule.
_BOTH_WAYS = ("current_A", "power_W", "temperature_degC")
#: The best candidate is held to be right if it leads by so much. Tried on made-up devices, no source.
FAR_AHEAD = 1.0
PROVEN_BY = 3
#: Where a register of 16 bits with a sign ends, and what a bank's meter must be able to show. Common practice, no
#: source.
_END: Final = 32767
_NEEDED: Final = {"current_A": 100.0, "voltage_V": 30.0, "power_W": 1000.0}
#: Values of one device stand as close together as this. [registers]
_CLOSE = 8
#: What a bank's voltage may be, to know a neighbour by. [V]
_BANK_V = (9.0, 66.0)
#: How well amps times volts must be watts that stand beside them.
_PRODUCT = 0.01


class SeenRound(NamedTuple):
    """What the display showed, and all registers as they were read meanwhile, several times."""

    shown: ShownValue
    looks: Sequence[Look]


@dataclass(frozen=True)
class Candidate:
    """One way to get the value on the display: ``value`` is what it gave last, in the display's unit.

    ``is_turned`` where the device's sign is the other one. ``cost`` is less the more plausible it is, for the reasons
    in ``reasons``. ``same_at`` are other places that held the same each time.
    """

    unit: int
    table: RegisterTable
    address: int
    type: RegisterType
    word_order: WordOrder | None
    scale: float
    is_turned: bool
    value: float
    cost: float
    reasons: tuple[str, ...] = ()
    same_at: tuple[tuple[RegisterTable, int], ...] = ()

    @property
    def _place(self) -> tuple[int, RegisterTable, int]:
        return self.unit, self.table, self.address

    def words(self, looks: Sequence[Look]) -> NDArray[np.uint16]:
        """Return its registers through time, shape (n, 1 or 2)."""
        return _words(self._place, SIZES[self.type], looks)

    def values(self, looks: Sequence[Look]) -> NDArray[np.float64]:
        """Return what it gives through time, in the display's unit."""
        raw = as_type(self.words(looks), self.type, self.word_order)
        return scaled(raw, self.scale) * (-1.0 if self.is_turned else 1.0)


def find(rounds: Sequence[SeenRound], *, others: Sequence[Sequence[Candidate]] = ()) -> list[Candidate]:
    """Return what gives the value on the display within its last digit in every round, the most plausible first.

    `others` are what was found for other values that the display showed: values of one device stand together.
    """
    every = [look for each in rounds for look in each.looks]
    matches = [candidate for candidate in _candidates(rounds[0]) if _holds(candidate, rounds[1:])]
    weighed = [_weighed(candidate, rounds, every, others) for candidate in matches]
    return _folded(sorted(weighed, key=lambda each: (each.cost, each._place, SIZES[each.type])), every)


def settled(candidates: Sequence[Candidate], rounds: Sequence[SeenRound] = ()) -> Candidate | None:
    """Return the candidate that is left or far ahead; None where it must still be told from others.

    What followed the display through `PROVEN_BY` different values is right, be it one of several registers that are.
    """
    if not candidates:
        return None
    best, *rest = candidates
    is_proven = len({each.shown.value for each in rounds}) >= PROVEN_BY
    return best if is_proven or not rest or rest[0].cost - best.cost >= FAR_AHEAD else None


def _words(place: tuple[int, RegisterTable, int], size: int, looks: Sequence[Look]) -> NDArray[np.uint16]:
    unit, table, at = place
    places = [(unit, table, at + k) for k in range(size)]
    rows = [[look[place] for place in places] for look in looks if all(place in look for place in places)]
    return np.array(rows, dtype=np.uint16).reshape(len(rows), size)


def _candidates(first: SeenRound) -> Iterator[Candidate]:
    places = sorted(set.intersection(*(set(look) for look in first.looks))) if first.looks else []
    known = set(places)
    for kind, order in _KINDS:
        starts = [(unit, table, at) for unit, table, at in places if (unit, table, at + SIZES[kind] - 1) in known]
        low, high = reach(starts, kind, order, first.looks)
        for scale in _FLOAT_SCALES if kind == "float32" else _SCALES:
            for is_turned in (False, True):
                shown = -first.shown.value if is_turned else first.shown.value
                # Nearly all are far off; the few that are left are looked at one by one.
                room = 2 * _room(first.shown)
                near = (scaled(low, scale) - room <= shown) & (shown <= scaled(high, scale) + room)
                for k in np.flatnonzero(near):
                    candidate = Candidate(*starts[k], kind, order, scale, is_turned, 0.0, 0.0)
                    if _gives(candidate, first):
                        yield candidate


def _room(shown: ShownValue) -> float:
    """Return how far a value may be off what the display shows: its last digit; a float32 is not exactly that."""
    return shown.digit * (1 + 1e-9) + abs(shown.value) * 1e-7


def _gives(candidate: Candidate, seen: SeenRound) -> bool:
    """Tell whether a candidate went through the value on the display, give or take its last digit."""
    with np.errstate(invalid="ignore", over="ignore"):
        values = candidate.values(seen.looks)
    if not len(values) or not np.all(np.isfinite(values)):
        return False
    room = _room(seen.shown)
    return bool(values.min() - room <= seen.shown.value <= values.max() + room)


def _holds(candidate: Candidate, rounds: Sequence[SeenRound]) -> bool:
    return all(_gives(candidate, each) for each in rounds)


def _weighed(
    candidate: Candidate, rounds: Sequence[SeenRound], every: Sequence[Look], others: Sequence[Sequence[Candidate]]
) -> Candidate:
    """Return a candidate with how plausible it is, and why."""
    values = candidate.values(every)
    costs = [
        *_of_type(candidate, rounds, every),
        _of_scale(candidate, rounds),
        (0.8, "its sign is the other one") if candidate.is_turned else None,
        _of_moves(values, rounds),
        _of_others(candidate, others),
        _of_product(candidate, rounds[-1]),
    ]
    weights = [each for each in costs if each is not None]
    reasons = tuple(reason for _, reason in weights if reason)
    return replace(candidate, value=float(values[-1]), cost=sum(cost for cost, _ in weights), reasons=reasons)


_Cost = tuple[float, str]


def _of_type(candidate: Candidate, rounds: Sequence[SeenRound], every: Sequence[Look]) -> Iterator[_Cost]:
    """Yield what speaks for or against a type and an order of words."""
    words = candidate.words(every).astype(np.int64)
    if words.shape[1] == 2 and _from_start(candidate, every[0]) % 2:
        yield 0.4, "begins at an odd register of its block"
    if candidate.word_order == "little":
        words = words[:, ::-1]
        yield 0.3, "low word first, which is rarer"
    if candidate.type == "float32":
        # What stands beside a float's high word gives nearly the same, whatever it is, but does not go along with it.
        if np.ptp(words[:, 0]) > 0:
            moves = np.ptp(words[:, 1]) > 0
            yield (-0.6, "both halves move") if moves else (1.2 if words[0, 1] else 0.6, "half of it stands still")
        return
    if words.shape[1] == 2:
        # Where the high word is nought or the sign alone, the low one gives the same by itself.
        is_filled = bool(((words[:, 0] != 0) & (words[:, 0] != 0xFFFF)).any())
        yield (0.0, "takes both registers") if is_filled else (_SAME if _is_wide_enough(candidate, rounds) else 0.9, "")
    elif not _is_wide_enough(candidate, rounds):
        yield 0.8, f"ends at {_END * candidate.scale:.3g}"
    yield from _of_sign(candidate, rounds, words)


def _is_wide_enough(candidate: Candidate, rounds: Sequence[SeenRound]) -> bool:
    """Tell whether one register could hold what such a meter must be able to show; if not, two are meant."""
    shown = rounds[-1].shown
    needed = max(_NEEDED.get(shown.quantity or "", 0.0), 4 * abs(shown.in_own_unit(shown.value)))
    return shown.in_own_unit(_END * candidate.scale) >= needed


def _from_start(candidate: Candidate, look: Look) -> int:
    """Return how far a candidate stands behind the first of the registers that are given around it."""
    first = candidate.address
    while (candidate.unit, candidate.table, first - 1) in look:
        first -= 1
    return candidate.address - first


def _of_sign(candidate: Candidate, rounds: Sequence[SeenRound], words: NDArray[np.int64]) -> Iterator[_Cost]:
    is_signed = candidate.type.startswith("int")
    if (words[:, 0] >= 0x8000).any():  # the two differ: a number so near its end is a negative one
        yield (0.0, "") if is_signed else (0.6, "")
        return
    both_ways = rounds[0].shown.quantity in (None, *_BOTH_WAYS)
    # They give the same as yet: the one of them that such a quantity has as a rule stands for both.
    if is_signed != both_ways:
        yield _SAME, ""


#: The cost of what gives the same as a likelier one, and is no other candidate.
_SAME = 100.0


def _of_scale(candidate: Candidate, rounds: Sequence[SeenRound]) -> _Cost:
    if candidate.type == "float32":
        return (0.0, "") if candidate.scale == 1 else (1.0, f"scale {candidate.scale:g}")
    # A display shows what the device counts, or a digit or two less.
    finer = round(np.log10(rounds[0].shown.digit / candidate.scale))
    return (0.4 * finer, "") if finer >= 0 else (-1.0 * finer, "counts less finely than the display shows")


def _of_moves(values: NDArray[np.float64], rounds: Sequence[SeenRound]) -> _Cost:
    different = len({each.shown.value for each in rounds})
    if different > 1:
        return 0.0, f"follows the display through {different} values"
    # A load's figures are never quite still; a constant of the device is.
    return (-0.3, "moves") if np.ptp(values) > 0 else (0.0, "")


def _of_others(candidate: Candidate, others: Sequence[Sequence[Candidate]]) -> _Cost | None:
    near = [ranked for ranked in others if any(_goes_with(candidate, each) for each in ranked[:_CLOSE])]
    return (-0.6 * len(near), "stands beside the other values") if near else None


def _goes_with(one: Candidate, other: Candidate) -> bool:
    apart = abs(one.address - other.address)
    return (
        (one.unit, one.table, SIZES[one.type], one.type == "float32", one.word_order)
        == (other.unit, other.table, SIZES[other.type], other.type == "float32", other.word_order)
        and SIZES[one.type] <= apart <= _CLOSE
    )  # fmt: skip


def _of_product(candidate: Candidate, seen: SeenRound) -> _Cost | None:
    """Look for neighbours of the same type that make volts times amps watts."""
    quantity = seen.shown.quantity
    if quantity not in ("current_A", "voltage_V", "power_W"):
        return None
    value = abs(seen.shown.in_own_unit(float(candidate.values(seen.looks)[-1])))
    beside = list(_neighbours(candidate, seen.looks[-1]))
    for at, first in beside:
        for other, second in beside:
            if at == other:
                continue
            pair = _as_volts_amps_watts(quantity, value, first, second)
            if pair is not None:
                return -0.5, f"{pair} with registers {min(at, other)} and {max(at, other)}"
    return None


def _as_volts_amps_watts(quantity: str, value: float, first: float, second: float) -> str | None:
    """Tell in words that three numbers are volts, amps and watts, of which the first may be in steps of its own."""
    for one in (first, first / 10, first / 100):
        amps, volts, watts = {
            "current_A": (value, one, second),
            "voltage_V": (one, value, second),
            "power_W": (one, second / 100, value),
        }[quantity]
        is_bank = _BANK_V[0] <= volts <= _BANK_V[1]
        for factor in (1.0, 0.1):
            if is_bank and amps > 1 and abs(watts * factor - volts * amps) <= _PRODUCT * volts * amps:
                return f"{volts:g} V x {amps:g} A = {watts * factor:g} W"
    return None


def _neighbours(candidate: Candidate, look: Look) -> Iterator[tuple[int, float]]:
    """Yield the numbers of the same type that stand close by, as they are stored."""
    size = SIZES[candidate.type]
    for away in range(-_CLOSE // size, _CLOSE // size + 1):
        at = candidate.address + away * size
        words = _words((candidate.unit, candidate.table, at), size, [look]) if away else np.empty((0, size), np.uint16)
        if len(words):
            raw = abs(float(as_type(words, candidate.type, candidate.word_order)[0]))
            # Small whole numbers are states and counts, and make any product.
            if np.isfinite(raw) and (raw >= 100 or candidate.type == "float32"):
                yield at, raw


def _folded(candidates: Sequence[Candidate], every: Sequence[Look]) -> list[Candidate]:
    """Leave out what gives the same as a better one before it: a type as good, the other table, a second place."""
    best: list[Candidate] = []
    for candidate in candidates:
        if candidate.cost >= _SAME / 2:
            continue
        twin = next((k for k, each in enumerate(best) if _are_twins(each, candidate, every)), None)
        if twin is None:
            best.append(candidate)
        elif best[twin]._place != candidate._place:
            same_at = (*best[twin].same_at, (candidate.table, candidate.address))
            best[twin] = replace(best[twin], same_at=same_at)
    return best


def _are_twins(one: Candidate, other: Candidate, every: Sequence[Look]) -> bool:
    is_same_number = (one.unit, one.type, one.word_order, one.scale) == (
        other.unit, other.type, other.word_order, other.scale,
    )  # fmt: skip
    if not is_same_number or one.is_turned != other.is_turned:
        return False
    mine, theirs = one.words(every), other.words(every)
    # The same in both tables is one register; another place must have gone along with it.
    return np.array_equal(mine, theirs) and (one.address == other.address or bool(np.ptp(mine, axis=0).any()))


def found_profile(chosen: Mapping[str, Candidate], shown: Mapping[str, ShownValue], *, name: str | None = None) -> str:
    """Return the text of a profile, by which `capture` reads what was chosen for each quantity.

    `shown` has what the display showed of it. `InputError` if nothing was chosen, or from several units.
    """
    units = {candidate.unit for candidate in chosen.values()}
    if len(units) != 1:
        raise InputError("a profile is of one unit: choose registers of one" if units else "nothing was chosen")
    tables: dict[str, Table] = {"modbus": {"unit": units.pop(), "address_base": "zero"}}
    for quantity, candidate in chosen.items():
        tables[f"modbus.registers.{quantity}"] = {
            "address": candidate.address,
            "type": candidate.type,
            "table": candidate.table,
            "word_order": candidate.word_order,
            "unit": shown[quantity].unit,
            "scale": candidate.scale,
            "sign": "return_positive" if candidate.is_turned else "draw_positive",
        }
    values = ", ".join(f"{shown[quantity].text} ({quantity})" for quantity in chosen)
    remark = f"Found by what the meter's display showed: {values}. Addresses are as on the wire, counted from 0."
    return profile_text({"name": name}, tables, remark=remark)
