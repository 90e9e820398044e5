"""Which side of an inverter an export is from, and which of its columns are no watts, by their words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from .header import unit_said, words_of
from .header_words import AC, AC_ANYWHERE, DC, NOT_WATTS, REQUIRED


def not_watts(name: str, units_cell: str = "") -> str | None:
    """Return ``apparent power`` or ``reactive power`` if a column is that by its words or unit, else None."""
    unit, words = unit_said(name, units_cell), words_of(name)
    by_unit = unit.dimension if unit is not None else ""
    return next((kind for kind in NOT_WATTS if kind == by_unit or kind.split()[0] in words), None)


def ac_column(names: Sequence[str], units: Sequence[str], taken: Mapping[str, int]) -> str | None:
    """Return a column that speaks of alternating current; None where none does.

    RMS, a power factor, apparent and reactive power (VA, var) do, wherever they stand, and AC in the name of the
    current or voltage that is taken, or of the power if it is alone; unless what is taken is the bank's, or DC, by
    its name.

    Parameters
    ----------
    names, units : sequence of str
        The header's cells, and the units row's (empty where there is none).
    taken : dict of str to int
        Column index by quantity.
    """
    own = {names[taken[quantity]] for quantity in REQUIRED if quantity in taken}
    if any(words_of(name) & DC for name in own):
        return None
    if len(own) > 1 and "power_W" in taken:
        own.discard(names[taken["power_W"]])
    if "power_factor" in taken:
        return names[taken["power_factor"]]
    for name, cell in zip(names, units or [""] * len(names), strict=True):
        words = words_of(name)
        if words & AC_ANYWHERE or not_watts(name, cell) or (name in own and words & AC):
            return name
    return None


def looks_ac(names: Sequence[str], quantities: Iterable[str]) -> bool:
    """Tell whether names that are all taken speak of alternating current."""
    return "power_factor" in set(quantities) or ac_column(names, (), {}) is not None
