"""Whether a system carries its load, in one sentence: what holds, what does not, and what was not judged.

A part that was not judged is never passed over: the whole then holds by its ratings and no further.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from ..equipment.judged import WORD, Judgement, worst
from .limits import BankCheck

_CARRIES: Final = {
    "holds": "The system carries it",
    "doubtful": "Whether the system carries it is doubtful",
    "fails": "The system does not carry it",
}


@dataclass(frozen=True)
class SystemWord:
    """The word on a whole system; ``verdict`` is None where nothing is wrong and yet not all was judged."""

    verdict: Judgement | None
    sentence: str


def system_word(
    inverters: Sequence[tuple[str, Judgement | None]], bank: BankCheck, *, conductor_fails: bool
) -> SystemWord:
    """Put the words on the parts of a system together.

    `inverters` are names as they stand in a sentence, and the word on each; None where it was not judged.
    """
    parts = [(name, word) for name, word in inverters if word is not None]
    clauses = [f"{name} {WORD[word]}" for name, word in parts]
    words: list[Judgement] = [word for _, word in parts]
    if bank.verdict is not None:
        words.append(bank.verdict)
        clauses.append(f"the bank {WORD[bank.verdict]}")
    if conductor_fails:
        words.append("fails")
        clauses.append("a conductor or its fuse fails")
    known = worst(*words)
    carries = _CARRIES[known]
    if conductor_fails and words.count("fails") == 1:
        carries = "The system does not carry it safely"  # what fails is no rating
    if bank.verdict is not None:
        return SystemWord(known, f"{carries}: {_listed(clauses)}.")
    no_word = f"the bank was not judged ({to_add(bank)})"
    # What fails is worth more than what was not judged; but it is added, so that nobody takes the bank for sound.
    if known != "holds":
        return SystemWord(known, f"{carries}: {_listed([*clauses, no_word])}.")
    if not clauses:
        return SystemWord(None, f"{no_word[0].upper()}{no_word[1:]}.")
    return SystemWord(None, f"It holds by its ratings; {no_word}: {_listed(clauses)}.")


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
