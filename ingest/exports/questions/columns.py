"""Questions on what a column is, and on how its numbers are written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from ...errors import Choice, NamedColumn, Question, Setting, in_toml, quoted

#: What quantities are called in an answer.
WORDS: Final = {"current_A": "current", "power_W": "power", "voltage_V": "voltage"}


def lines(quantity: str, column: NamedColumn, **more: Setting) -> dict[str, Setting]:
    """Return the lines of a profile for a quantity that stands in a column, and what more is to be said of it."""
    # By its number: names may stand twice in a header, or be empty.
    keys: dict[str, Setting] = {"column": column.number}
    keys |= {"minus": column.minus} if column.minus is not None else {}
    return {f"quantities.{quantity}.{key}": value for key, value in (keys | more).items()}


def word_of(quantity: str) -> str:
    """Return what a quantity is called."""
    return WORDS.get(quantity, quantity)


def which_column(
    evidence: str, quantity: str, columns: Sequence[NamedColumn], unit: str | None = None, *, written: str
) -> Question:
    """Ask which of several columns a quantity is; `written` is how its sentence goes on after the evidence."""
    more = {} if unit is None else {"unit": unit}
    labels = [f"{quoted(column.name)}{f', in {unit}' if unit else ''}" for column in columns]
    choices = [Choice(label, lines(quantity, c, **more)) for label, c in zip(labels, columns, strict=True)]
    return Question(f"{evidence}{written}", f"Which column is the {word_of(quantity)}?", evidence, choices)


def one_way_each(out: NamedColumn, into: NamedColumn, quantity: str) -> Question:
    """Ask for two columns to be put together, of which each holds one way."""
    evidence = f"columns {quoted(out.name)} and {quoted(into.name)} each hold one way of {quantity}"
    sentence = (
        f"{evidence}; put them together in a profile, "
        f"the one that draws first: quantities.{quantity} = {{column = {in_toml(out.name)}, minus = "
        f"{in_toml(into.name)}}}; a profile takes only the columns it names, so name the others you want there, too"
    )
    return Question(
        sentence,
        "Which of them draws from the bank?",
        evidence,
        [
            Choice(f"{quoted(a.name)} draws, {quoted(b.name)} charges", lines(quantity, a, minus=b.number))
            for a, b in ((out, into), (into, out))
        ],
    )


def each_others(amps: NamedColumn, volts: NamedColumn, seen: str) -> Question:
    """Ask whether amps and volts have each other's names."""
    evidence = f"columns {quoted(amps.name)} and {quoted(volts.name)}: {seen}"
    sentence = (
        f"{evidence}, so either they have each other's names or the current is held; name both columns in a profile "
        "(--profile): [quantities.current_A] column and [quantities.voltage_V] column"
    )
    # Both columns in either answer, and their units: words that are each other's names say neither.
    choices = [
        Choice(f"{quoted(a.name)} holds the amps, {quoted(v.name)} the volts", lines("current_A", a, unit="A") | of_V)
        for a, v, of_V in (
            (amps, volts, lines("voltage_V", volts, unit="V")),
            (volts, amps, lines("voltage_V", amps, unit="V")),
        )
    ]
    return Question(sentence, "Which column holds the amps?", evidence, choices)


def decimal_mark(column: str, cell: str) -> Question:
    """Ask whether a mark is a decimal one or groups thousands."""
    word = "comma" if "," in cell else "point"
    number = cell.strip()
    evidence = f"column {quoted(column)}: {quoted(cell)} could be a decimal {word} or grouped thousands"
    # The number in plain digits by each mark: people know what their meter shows, not what a separator is called.
    grouped = number.replace(",", "").replace(".", "")
    plain = number.replace(",", ".")
    meant = {"comma": plain, "point": grouped} if word == "comma" else {"comma": grouped, "point": plain}
    return Question(
        f"{evidence}; say --decimal comma or --decimal point",
        f"Which number is {quoted(cell)}?",
        evidence,
        [Choice(f"{meant[mark]} (decimal {mark})", {"decimal": mark}) for mark in ("comma", "point")],
    )


def which_sheet(evidence: str, sheets: Sequence[str], *, written: str) -> Question:
    """Ask which of several sheets is meant; `written` is how its sentence goes on after the evidence."""
    choices = [Choice(sheet, {"sheet": sheet}) for sheet in sheets]
    return Question(f"{evidence}{written}", "Which sheet is meant?", evidence, choices)


def of_profile(evidence: str, what: str, labels: Mapping[str, dict[str, Setting]], *, written: str = "") -> Question:
    """Return a question with what each answer sets by its label; `written` is how its sentence goes on."""
    return Question(f"{evidence}{written}", what, evidence, [Choice(label, sets) for label, sets in labels.items()])
