"""From glyphs to a figure: its form, its sign, its unit where the display shows several in turn, and its point."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import InputError
from ..quantities import OF_DIMENSION, find_unit
from .display import FieldEntry, ShownInTurn, value_of
from .patterns import BLANK, MINUS, UNIT_LETTERS

#: Nothing but eights in so many places is no value: displays show that as they are switched on, and the grey segments
#: of one that is off look like it in a lit room.
_LAMP_TEST = 3


@dataclass(frozen=True)
class DisplayValue:
    """A value that stood on a display: in its quantity's unit, with what its last digit is worth."""

    quantity: str
    value: float
    last_digit: float
    text: str


class NoFigureError(ValueError):
    """Why glyphs are no figure, in words."""


def figure_of(entry: FieldEntry, glyphs: str, point: int | None) -> DisplayValue:
    """Return the figure that glyphs stand for.

    Raises
    ------
    NoFigureError
        If they have no form of one, or their point or unit cannot be told.
    """
    if entry.unit is not None:
        return _figure(entry, glyphs, point, signed=entry.signed)
    letters: dict[str, ShownInTurn] = {one.letter: one for one in entry.in_turn if one.letter is not None}
    if letters:
        if (one := letters.get(glyphs[-1])) is None:
            raise NoFigureError(f"{glyphs.strip()} ends in none of the letters {', '.join(letters)}")
        return _figure(one, glyphs[:-1], point, signed=entry.signed)
    fitting = []
    for one in entry.in_turn:
        figure = _figure(one, glyphs, point, signed=entry.signed)
        assert one.between is not None  # the model asks for letter or between
        unit = find_unit(one.unit)
        low, high = sorted((x + unit.add) * unit.multiply / unit.divide for x in one.between)
        fitting += [figure] if low <= figure.value <= high else []
    if len(fitting) != 1:
        raise NoFigureError(f"{glyphs.strip()} lies in none of the ranges of what is shown in turn")
    return fitting[0]


def _figure(entry: FieldEntry | ShownInTurn, glyphs: str, point: int | None, *, signed: bool) -> DisplayValue:
    shown = glyphs.lstrip(BLANK)
    digits = shown.removeprefix(MINUS)
    if set(UNIT_LETTERS) & set(digits):
        raise NoFigureError(f"{shown} has a letter where a digit should be")
    if not digits or not digits.isdigit():
        raise NoFigureError(f"{shown or 'nothing'} has a dark place or a stroke where a digit should be")
    if len(digits) >= _LAMP_TEST and len(digits) == len(glyphs) and set(digits) == {"8"}:
        raise NoFigureError(f"{shown} has all segments lit, as in a display's test of itself or one that is off")
    if shown != digits and not signed:
        raise NoFigureError(f"{shown} has a minus, which the profile does not expect (signed = true)")
    behind = entry.decimals if isinstance(entry.decimals, int) else None
    # A display that shows tenths shows the nought before them: without it a digit may be covered.
    if behind is not None and len(digits) <= behind:
        raise NoFigureError(f"{shown} has no digit before its decimal point")
    if behind is not None and point is not None and 0 <= point != (at := len(glyphs) - 1 - behind):
        raise NoFigureError(
            f"{shown} shows its decimal point after digit {point + 1}; by the profile it is after digit {at + 1} "
            f"(decimals = {behind})"
        )
    try:
        # As many places as before, so that the point's place is still that of its digit.
        value = value_of(entry, digits.rjust(len(glyphs)), point)
    except InputError as error:
        raise NoFigureError(f"{shown}: {error}") from None
    if behind is None:
        assert point is not None  # else no value
        behind = len(glyphs) - 1 - point
        if point < len(glyphs) - len(digits):
            raise NoFigureError(f"{shown} has its decimal point before its first digit")
    assert entry.unit is not None
    unit = find_unit(entry.unit)
    worth = 10.0**-behind * unit.multiply / unit.divide
    # No minus before a nought: some displays show -0.0.
    value = -value if shown != digits and value else value
    text = digits if not behind else f"{digits[:-behind]}.{digits[-behind:]}"
    return DisplayValue(OF_DIMENSION[unit.dimension], value, worth, shown[: len(shown) - len(digits)] + text)
