"""Whether something holds: one word for every check against a figure that was entered."""

from __future__ import annotations

from typing import Final, Literal

Judgement = Literal["holds", "doubtful", "fails"]

#: The words as they stand in a sentence.
WORD: Final[dict[Judgement, str]] = {"holds": "holds", "doubtful": "is doubtful", "fails": "fails"}
_WORSE: dict[Judgement, int] = {"holds": 0, "doubtful": 1, "fails": 2}


def worst(*verdicts: Judgement) -> Judgement:
    """Return the worst of some verdicts; ``holds`` where there is none."""
    return max(verdicts, key=_WORSE.__getitem__, default="holds")


def under(low: float, high: float, rating: float) -> Judgement:
    """Judge something that lies between `low` and `high` against the most it may be, all in one unit."""
    if high <= rating:
        return "holds"
    return "fails" if low > rating else "doubtful"


def above(low: float, high: float, floor: float) -> Judgement:
    """Judge something that lies between `low` and `high` against the least it may be, all in one unit."""
    if low >= floor:
        return "holds"
    return "fails" if high < floor else "doubtful"
