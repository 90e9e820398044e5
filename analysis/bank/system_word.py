"""Whether a system carries its load, in one sentence: what holds, what does not, and what was not judged.

A part that was not judged is never passed over: the whole then holds by its ratings and no further.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from ..equipment.judged import WORD, Judgement, worst
from .limits import BankCheck

_CARRIES: Final = {
    "holds": "The system carries it",
    "doubtful": "Whether the system carries it is doubtful",
    "fails": "The system does not carry it",
}
_VOLTS_OPEN: Final = "its voltage at a start not judged"
_NOT_KNOWN: Final = "Whether the system carries it is not known"


class InverterWord(NamedTuple):
    """The word on an inverter, by its name as it stands in a sentence; None where it was not judged.

    ``add`` says what to add for it to be judged; empty where nothing hangs on it, so that there is nothing to judge.
    """

    name: str
    verdict: Judgement | None
    add: str = ""


@dataclass(frozen=True)
class SystemWord:
    """The word on a whole system; ``verdict`` is None where nothing is wrong and yet not all was judged.

    ``parts`` are in short what it is from: the words on its parts, or what to add for the whole to be judged.
    """

    verdict: Judgement | None
    sentence: str
    parts: str


def system_word(
    inverters: Sequence[InverterWord], bank: BankCheck, *, conductor_fails: bool, absent: Sequence[str] = ()
) -> SystemWord:
    """Put the words on the parts of a system together.

    `absent` names what the site file has none of: where the bank alone was judged, nobody may think that these were.
    """
    words = [(each.name, each.verdict) for each in (*inverters, InverterWord("the bank", bank.verdict))]
    clauses = [f"{name} {WORD[word]}" for name, word in words if word is not None]
    # A bank that gives the amps may still fall to where all is switched off.
    if bank.verdict == "holds" and bank.volts_open:
        clauses[-1] += f" ({_VOLTS_OPEN})"
    judged: list[Judgement] = [word for _, word in words if word is not None]
    missing = [(each.name, each.add) for each in inverters if each.verdict is None and each.add]
    missing += [("the bank", to_add(bank))] if bank.verdict is None else []
    not_judged = [f"{name} was not judged ({add})" for name, add in missing]
    if conductor_fails:
        judged.append("fails")
        clauses.append("a conductor or its fuse fails")
    known, verdicts = worst(*judged), _listed(clauses)
    carries = _CARRIES[known]
    if conductor_fails and judged.count("fails") == 1:
        carries = "The system does not carry it safely"  # what fails is no rating
    # What fails is worth more than what was not judged; but it is added, so that nobody takes that for sound.
    if known != "holds":
        return SystemWord(known, f"{carries}: {_listed([*clauses, *not_judged])}.", verdicts)
    if not missing:
        if absent and len(clauses) == 1:
            names = ", ".join(absent)
            more = f"; not judged, since the site file has none: {names}"
            return SystemWord(known, f"{carries}: {verdicts}{more}.", f"{verdicts}; {names} not judged")
        return SystemWord(known, f"{carries}: {verdicts}.", verdicts)
    to_do = "; ".join(add for _, add in missing)
    if not clauses:
        return SystemWord(None, f"{not_judged[0][0].upper()}{'; '.join(not_judged)[1:]}.", to_do)
    if [name for name, _ in missing] == ["the bank"]:
        return SystemWord(None, f"It holds by its ratings; {not_judged[0]}: {verdicts}.", to_do)
    return SystemWord(None, f"{_NOT_KNOWN}: {'; '.join([*not_judged, verdicts])}.", to_do)


def absent_parts(inverters: Sequence[object], conductors: Sequence[object]) -> tuple[str, ...]:
    """Return what a site file has none of, for `system_word`."""
    return tuple(name for name, tables in (("inverter", inverters), ("cables", conductors)) if not tables)


def _listed(clauses: Sequence[str]) -> str:
    # Two read well with "and" alone; of three and more each must be found again.
    return " and ".join(clauses) if len(clauses) < 3 else f"{', '.join(clauses[:-1])}, and {clauses[-1]}"


def to_add(bank: BankCheck) -> str:
    """Say what to add for the bank to be judged, else why it was not."""
    if keys := bank.decides:
        return f"add {' or '.join(keys)} to the site file"
    return next((each.because for each in bank.not_judged if each.because), "nothing draws from it")


def weakest(words: Iterable[SystemWord]) -> SystemWord:
    """Return the word that asks for the most care: what fails, what is doubtful, what was not judged."""
    order: tuple[Judgement | None, ...] = ("fails", "doubtful", None, "holds")
    return min(words, key=lambda word: order.index(word.verdict))
