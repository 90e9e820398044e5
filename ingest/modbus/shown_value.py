"""A value as a meter's own display shows it: its size, its last digit, and the unit beside it."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from ..errors import InputError, quoted
from ..quantities import OF_DIMENSION, Unit, UnknownUnitError, find_unit, unit_of

_FORM = re.compile(r"([+\-−]?)\s*(\d[\d.,]*|[.,]\d+)\s*(\D*)")
#: A comma, or several, that could group thousands.
_GROUPS = re.compile(r"\d{1,3}(,\d{3})+")


@dataclass(frozen=True)
class ShownValue:
    """A number on a display, in the display's unit; ``digit`` is what its last digit counts.

    Without a unit ``quantity`` is None: nobody said what it is.
    """

    text: str
    value: float
    digit: float
    unit: str | None = None
    quantity: str | None = None

    def in_own_unit(self, value: float) -> float:
        """Return a value in the display's unit as one in the quantity's own."""
        return value if self.quantity is None else float(_unit(self).to_canonical(np.array(value)))


def _unit(shown: ShownValue) -> Unit:
    return unit_of(shown.quantity or "", shown.unit, column=shown.text)


def parse_shown(text: str, *, what: str = "--find") -> ShownValue:
    """Return a value as it is typed from a display: ``74.5``, ``74,5 A``, ``-1250 W``.

    Raises
    ------
    InputError
        If it is no number, may be two, is nought, or its unit is none; `what` names the field or option.
    """
    parts = _FORM.fullmatch(text.strip())
    if parts is None:
        raise InputError(f"{what}: {quoted(text)} is no value of a display; type it as it stands there, such as 74.5 A")
    sign, digits, unit = parts[1], parts[2], parts[3].strip()
    plain = _plain(digits, text, what)
    size, places = float(plain), len(plain.partition(".")[2])
    if size == 0:
        # Nine of ten registers of a device hold nought.
        raise InputError(f"{what}: 0 tells nothing apart; let a load run, and type the value that is shown then")
    value = size if sign in ("", "+") else -size
    return ShownValue(text.strip(), value, 10.0**-places, *(_quantity(unit, what) if unit else (None, None)))


def _plain(digits: str, text: str, what: str) -> str:
    if "." not in digits and _GROUPS.fullmatch(digits):
        whole, point = digits.replace(",", ""), digits.replace(",", ".", 1)
        raise InputError(f"{what}: {quoted(text)} could be {whole} or {point}; write one of these")
    plain = digits.replace(",", "") if "." in digits else digits.replace(",", ".")
    try:
        float(plain)
    except ValueError:
        raise InputError(f"{what}: {quoted(text)} is no number; write it such as 1250.5") from None
    return plain


def _quantity(text: str, what: str) -> tuple[str, str]:
    """Return a unit's symbol and the quantity that it is the unit of."""
    if text in ("%", "pct"):
        return "%", "state_of_charge_pct"
    try:
        unit = find_unit(text)
    except UnknownUnitError as reason:
        raise InputError(f"{what}: {reason}; A, V, W, Ah, Wh, Hz and degC are, mA and kW as well") from None
    if unit.dimension not in OF_DIMENSION:
        raise InputError(f"{what}: {text} is a unit of {unit.dimension}, which no log holds; take another value")
    return unit.symbol, OF_DIMENSION[unit.dimension]
