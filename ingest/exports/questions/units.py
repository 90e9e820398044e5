"""Questions on the unit of a column, and on a factor that its name holds."""

from __future__ import annotations

import re
from collections.abc import Sequence

from ...errors import Choice, NamedColumn, Question, quoted
from .columns import lines, word_of


def unit_line(quantity: str, unit: str) -> str:
    """Return the line of a profile that says a unit."""
    return f'[quantities.{quantity}] unit = "{unit}"'


def which_unit(evidence: str, quantity: str, column: NamedColumn, units: Sequence[str], *, written: str) -> Question:
    """Ask in which of two units a column is; `written` is how its sentence goes on after what speaks for each."""
    return Question(
        f"{evidence}{written}",
        f"In which unit is {quoted(column.name)}, the {word_of(quantity)}?",
        evidence,
        [Choice(unit, lines(quantity, column, unit=unit)) for unit in units],
    )


def say_units(quantity: str, units: Sequence[str], write: str) -> str:
    """Return how a sentence says where the unit can be said."""
    return (
        f"{write}, or say {unit_line(quantity, units[0])} or {unit_line(quantity, units[1])} in a profile (--profile)"
    )


def factor(column: NamedColumn, quantity: str, unit: str, word: str) -> Question:
    """Ask whether the readings still need the factor that a name holds."""
    evidence = (
        f"column {quoted(column.name)} names a factor, {quoted(word)}: its readings could be in "
        f"{unit} as they stand, or still to be multiplied or divided by it"
    )
    sentence = (
        f"{evidence}; name the columns in a profile (--profile), with scale = 1.0 or the factor: "
        f"[quantities.{quantity}] column = {quoted(column.name)}, scale = 0.1"
    )
    # "0.1 A" and "x10" are written for a factor that was applied as well as for one that still is to be.
    size = _size_of(word)
    scales = {1.0: f"in {unit} as they stand", size: f"times {size:g}", 1 / size: f"times {1 / size:g}"}
    choices = [Choice(label, lines(quantity, column, unit=unit, scale=scale)) for scale, label in scales.items()]
    return Question(sentence, f"Is the factor of {quoted(column.name)} still to be applied?", evidence, choices)


def _size_of(word: str) -> float:
    # The forms that a name's factor is recognised by: 1/10, A/10, 0.1, 10.
    number = re.search(r"1/(10+)|/\s*(10+)|(0[.,]0*1)|(10+)", word)
    assert number is not None  # every such word holds one
    over, below, decimal, times = number.groups()
    return 1 / float(over or below) if over or below else float((decimal or times).replace(",", "."))


def thousandfold(watts: NamedColumn, amps: NamedColumn, *, is_small: bool) -> Question:
    """Ask which of watts and amps has another prefix, where they are a thousand apart."""
    how, unit_W, unit_A = ("a thousandth of", "kW", "mA") if is_small else ("a thousand times", "mW", "kA")
    evidence = (
        f"columns {quoted(watts.name)} and {quoted(amps.name)}: as they were read the watts are {how} volts x amps, "
        "so a unit is wrong"
    )
    sentence = (
        f"{evidence}; either {quoted(watts.name)} is in {unit_W} or {quoted(amps.name)} in {unit_A}: write it into "
        f"the header, or say {unit_line('power_W', unit_W)} or {unit_line('current_A', unit_A)} in a profile "
        "(--profile)"
    )
    # Either answer mends the product; a person knows which of the two figures is out of all proportion.
    choices = [
        Choice(f"{quoted(watts.name)} is in {unit_W}", lines("power_W", watts, unit=unit_W)),
        Choice(f"{quoted(amps.name)} is in {unit_A}", lines("current_A", amps, unit=unit_A)),
    ]
    return Question(sentence, "Which of the two units is wrong?", evidence, choices)
