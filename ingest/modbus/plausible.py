"""Whether a register's value can be: a wrong order of words, or sign, gives amps and volts that no bank carries."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import ceil
from typing import Final

from ..profiles.modbus_part import SIZES, RegisterEntry, RegisterType, WordOrder

#: What lies beyond is no bank's. Volts: direct current above 1,500 V is no low voltage (IEC 60364-1, from memory);
#: amps, watts: common practice, no source. `largest` in a profile goes before them.
LARGEST: Final = {"current_A": 5_000.0, "voltage_V": 1_500.0, "power_W": 1_000_000.0}
#: A float so near nought, and not nought, is something else read as a float. Common practice, no source.
_HARDLY_ANY = 1e-12
_FAR_BEYOND = 100
#: The same bits with a sign, and without.
_OTHER_SIGN: Final[dict[RegisterType, RegisterType]] = {
    "int16": "uint16", "uint16": "int16", "int32": "uint32", "uint32": "int32", "int64": "uint64", "uint64": "int64",
}  # fmt: skip

#: The value that the registers give as another type and in another order of words; None where that is no number.
ReadAs = Callable[[RegisterType, WordOrder], float | None]


@dataclass(frozen=True)
class RegisterDoubt:
    """A value that cannot be: in words, and what would settle it (None where no other reading is plausible)."""

    sentence: str
    way_out: str | None


def doubt_of(quantity: str, entry: RegisterEntry, order: WordOrder, read_as: ReadAs) -> RegisterDoubt | None:
    """Return why a quantity's value cannot be, and the type or order with which it could; None where it can.

    Parameters
    ----------
    order : {'big', 'little'}
        The order of words that holds for the entry.
    """
    largest = entry.largest or LARGEST.get(quantity)
    if largest is None:
        return None
    value = read_as(entry.type, order)
    if _can_be(value, largest):
        return None
    others = ((change, read_as(kind, other)) for change, kind, other in _others(entry.type, order))
    # Nought in another order is nought in this one, too: it would show nothing.
    change, better = next(((c, x) for c, x in others if x and _can_be(x, largest)), (None, None))
    if value is None and better is None:
        return None  # the device says that it has no value
    unit = quantity.rsplit("_", 1)[1]
    gives = "no number" if value is None else f"{_shown(value)} {unit}"
    how = f"{entry.table} {entry.address}, {entry.type}{f', word_order {order}' if SIZES[entry.type] > 1 else ''}"
    begin = f"{quantity} ({how}) gives {gives}, which no bank carries"
    if better is None:
        return RegisterDoubt(f"{begin}: check its address, type and scale", None)
    # A large plant may have a little more; what is a hundred times as much nobody has.
    may_be = value is not None and largest < abs(value) <= _FAR_BEYOND * largest
    stays = (
        f"; if it is right all the same, add largest = {ceil(abs(value or 0.0) / 1000) * 1000:.1f}" if may_be else ""
    )
    return RegisterDoubt(f"{begin}; with {change} it is {_shown(better)} {unit}: change that{stays}", change)


def _shown(value: float) -> str:
    return f"{value:,.7g}" if abs(value) < 1e6 else f"{value:,.0f}" if abs(value) < 1e15 else f"{value:.3g}"


def _can_be(value: float | None, largest: float) -> bool:
    return value is not None and (value == 0 or _HARDLY_ANY < abs(value) <= largest)


def _others(kind: RegisterType, order: WordOrder) -> Iterator[tuple[str, RegisterType, WordOrder]]:
    """Yield the other ways to read the same registers, as a line of a profile says them."""
    other: WordOrder = "little" if order == "big" else "big"
    sign = _OTHER_SIGN.get(kind)
    if SIZES[kind] > 1:
        yield f'word_order = "{other}"', kind, other
    if sign is not None:
        yield f'type = "{sign}"', sign, order
    if SIZES[kind] > 1 and sign is not None:
        yield f'type = "{sign}" and word_order = "{other}"', sign, other
