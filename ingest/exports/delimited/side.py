"""Which side of an inverter a header speaks of, by its words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from .header import not_watts, words_of
from .header_words import AC, AC_ANYWHERE, DC, REQUIRED


def ac_column(names: Sequence[str], units: Sequence[str], taken: Mapping[str, int]) -> str | None:
    """Return a column that speaks of alternating current; None where none does.

    RMS, a power factor, apparent and reactive power (VA, var) do, wherever they stand, and AC in the name of the
    current or voltage that is `taken` (its index by quantity), or of the power if it is alone; unless what is taken is
    the bank's, or DC, by its name. `units` are the units row's cells, empty where there is none.
    """
    own = {names[taken[quantity]] for quantity in REQUIRED if quantity in taken}
    # The name of what is taken is nearer than a word elsewhere: a meter at the bank may show an inverter's volts, too.
    if any(words_of(name) & DC for name in own):
        return None
    # Watts of the AC side beside amps of the bank are common; the amps are what is integrated.
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
