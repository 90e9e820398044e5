"""Questions on which way a current flows, and which way counts as positive."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from ...errors import Choice, NamedColumn, Question, Setting, in_toml, quoted
from .columns import lines

POSITIVE: Final = "Is positive charging or drawing?"
WHICH_WAY: Final = "Which way does the current flow?"


def positive(
    sentence: str, evidence: str, quantity: str, column: NamedColumn, *, ways: Sequence[str] = ("charging", "drawing")
) -> Question:
    """Ask whether charging or drawing counts as positive in a column."""
    # Charging turns watts beside the amps with them, as --reverse-sign does; drawing is said of the column alone.
    draws = lines(quantity, column, sign="draw_positive")
    by_way: dict[str, dict[str, Setting]] = {"charging": {"reverse_sign": True}, "drawing": draws}
    return Question(sentence, POSITIVE, evidence, [Choice(f"positive is {way}", by_way[way]) for way in ways])


def contrary_volts(where: str, evidence: str, seen: str, amps: NamedColumn, *, by_profile: bool) -> Question:
    """Ask where a bank's volts speak against draw as positive; `seen` is the `evidence` within a sentence."""
    remedy = (
        'say sign = "draw_positive" for current_A in the profile'
        if by_profile
        else "a profile says so that names its columns (--profile): "
        f'quantities.current_A = {{column = {in_toml(amps.name)}, sign = "draw_positive"}}'
    )
    sentence = (
        f"{where}: {seen}, so {quoted(amps.name)} seems to count charging as positive: add --reverse-sign; or if "
        f"draw is positive all the same, {remedy}"
    )
    return positive(sentence, evidence, "current_A", amps)


def seems_charging(evidence: str, amps: NamedColumn) -> Question:
    """Ask where something beside the amps says that positive is charging."""
    sentence = (
        f"{evidence}, so they seem to count charging as positive, and not draw; add --reverse-sign, or if draw is "
        'positive, say [quantities.current_A] sign = "draw_positive" in a profile (--profile)'
    )
    return positive(sentence, evidence, "current_A", amps)


def charging_alone(column: NamedColumn, quantity: str) -> Question:
    """Ask where a name speaks of charging, or of one way alone."""
    evidence = (
        f"column {quoted(column.name)} speaks of charging or of one way, so it may count into the bank as positive"
    )
    sentence = (
        f"{evidence}: then add "
        f"--reverse-sign, since draw is positive in a log; if draw is positive there, say so in a profile: "
        f'quantities.{quantity} = {{column = {in_toml(column.name)}, sign = "draw_positive"}}'
    )
    return positive(sentence, evidence, quantity, column)


def said_above(where: str, quantity: str, column: NamedColumn) -> Question:
    """Ask where a line above the header says that charging is positive."""
    evidence = f"{where}, seems to say that charging is positive"
    sentence = (
        f"{evidence}: then add --reverse-sign, since draw is positive in "
        f'a log; if draw is positive there, say [quantities.{quantity}] sign = "draw_positive" in a '
        "profile (--profile)"
    )
    return positive(sentence, evidence, quantity, column)


def word_against(column: str, word: str, amps: NamedColumn) -> Question:
    """Ask where a word says that the bank is charged while the amps are positive."""
    evidence = f"column {quoted(column)} says {quoted(word)} here"
    sentence = (
        f"{evidence}, so {quoted(amps.name)} seems to count charging as "
        "positive, and not draw; add --reverse-sign, or if draw is positive, say so in a profile (--profile): "
        f'quantities.current_A = {{column = {in_toml(amps.name)}, sign = "draw_positive"}}'
    )
    return positive(sentence, evidence, "current_A", amps)


def unsigned(evidence: str, written: str, amps: NamedColumn) -> Question:
    """Ask where something beside amps without a sign says that they flowed both ways."""
    # Which column says the way cannot be listed: none of those that are there does, or it would have been read.
    choices = [Choice("all of it was drawn", lines("current_A", amps, sign="draw_positive"))]
    return Question(f"{evidence}; {written}", WHICH_WAY, evidence, choices)


def watts_alone(evidence: str, watts: NamedColumn, amps: NamedColumn) -> Question:
    """Ask where the watts have a sign and the amps have none."""
    sentence = (
        f"{evidence}; either all of it was drawn or those rows were returned: name {quoted(watts.name)} alone in a "
        "profile (--profile), or the column that says which way it flows ([quantities.current_A.direction])"
    )
    # Two columns that contradict each other are not both taken: one of them is left out.
    choices = [
        Choice("those rows were returned: take the watts alone", lines("power_W", watts), unused=(amps.number,)),
        Choice(
            "all of it was drawn: take the amps alone",
            lines("current_A", amps, sign="draw_positive"),
            unused=(watts.number,),
        ),
    ]
    return Question(sentence, WHICH_WAY, evidence, choices)


def opposite_watts(evidence: str, watts: NamedColumn, amps: NamedColumn) -> Question:
    """Ask which of watts and amps counts charging as positive."""
    sentence = (
        f"{evidence}, so one of them counts charging "
        'as positive; say sign = "return_positive" for that one in a profile (--profile)'
    )
    # Both are counted in turn: the bank's own volts cannot tell which of them is the other way round.
    choices = [
        Choice(f"{quoted(a.name)} counts charging as positive", lines(q, a, sign="return_positive"))
        for q, a in (("current_A", amps), ("power_W", watts))
    ]
    return Question(sentence, "Which of the two counts charging as positive?", evidence, choices)


def words_of_way(
    ways: NamedColumn, words: Sequence[str], draw: Sequence[str], back: Sequence[str], amps: NamedColumn
) -> Question:
    """Ask what words beside amps without a sign say of their way."""
    evidence = (
        f"column {quoted(ways.name)} ({', '.join(map(quoted, words))}) may say which way the current flows, and "
        f"{quoted(amps.name)} has no sign of its own"
    )
    sentence = (
        f"{evidence}; say in a profile what draws and what returns: "
        f"quantities.current_A = {{column = {in_toml(amps.name)}, direction = {{column = {in_toml(ways.name)}, "
        f"draw = [{', '.join(map(in_toml, draw))}], return = [{', '.join(map(in_toml, back))}]}}}}, or without "
        "direction if it does not; a profile takes only the columns it names, so name the others you want there, too"
    )
    # The words in either order; a word that is a name for neither way comes last.
    choices = [_by_words(ways, amps, one, other) for one, other in ((draw, back), (back, draw)) if one]
    choices.append(Choice("it says no way: all of it was drawn", lines("current_A", amps, sign="draw_positive")))
    return Question(sentence, WHICH_WAY, evidence, choices)


def _by_words(ways: NamedColumn, amps: NamedColumn, draw: Sequence[str], back: Sequence[str]) -> Choice:
    direction: dict[str, Setting] = {"direction.column": ways.number, "direction.draw": list(draw)}
    if back:
        direction["direction.return"] = list(back)
    sets = lines("current_A", amps, **direction)
    label = f"{' or '.join(map(quoted, draw))} is drawing"
    return Choice(label + (f", {' or '.join(map(quoted, back))} charging" if back else ""), sets)
