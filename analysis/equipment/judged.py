"""What is asked of something against what it may give: one object from whose figures both verdict and sentence follow.

Nothing states a verdict by itself: whoever has more to say than the two figures adds a condition, and the worst of all
decides. So the sentence cannot say one thing and the verdict another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from ..stats.interval95 import Within

Judgement = Literal["holds", "doubtful", "fails"]

#: The words as they stand in a sentence.
WORD: Final[dict[Judgement, str]] = {"holds": "holds", "doubtful": "is doubtful", "fails": "fails"}
_WORSE: dict[Judgement, int] = {"holds": 0, "doubtful": 1, "fails": 2}


def worst(*verdicts: Judgement) -> Judgement:
    """Return the worst of some verdicts; ``holds`` where there is none."""
    return max(verdicts, key=_WORSE.__getitem__, default="holds")


def under(low: float, high: float, rating: float) -> Judgement:
    """Judge something that lies between `low` and `high` against the most it may be, all in one unit."""
    # Only where the whole interval lies on one side is the word sure.
    if high <= rating:
        return "holds"
    return "fails" if low > rating else "doubtful"


def above(low: float, high: float, floor: float) -> Judgement:
    """Judge something that lies between `low` and `high` against the least it may be, all in one unit."""
    if low >= floor:
        return "holds"
    return "fails" if high < floor else "doubtful"


@dataclass(frozen=True)
class Condition:
    """What a verdict hangs on besides the figures: the best it can be because of it, and that in words.

    The words are a clause that begins small: ``the start lasts 0.5 s of the 5 s it may``.
    """

    verdict: Judgement
    text: str


@dataclass(frozen=True)
class Judged:
    """One comparison; `verdict` and `sentence` are worked out from the rest.

    Parameters
    ----------
    what : str
        When or for what it is asked, as it continues ``1,150 VA``: ``running``.
    asked, of : Within, str
        What is asked, and its unit. [VA], [W], [A]
    rating, unit : float, str
        The most that may be asked, its unit as it was entered, and what it is of: ``VA``, ``A for a moment``.
    conditions : tuple of Condition
        What else the verdict hangs on.
    """

    what: str
    asked: Within
    of: str
    rating: float
    unit: str
    conditions: tuple[Condition, ...] = ()
    verdict: Judgement = field(init=False)
    sentence: str = field(init=False)

    def __post_init__(self) -> None:
        """Work out the verdict, and the sentence that ends in it."""
        by_figures = under(self.asked.low, self.asked.high, self.rating)
        verdict = worst(by_figures, *(each.verdict for each in self.conditions))
        asked = f"{between(self.asked)} {self.of} {self.what}, of {_number(self.rating)} {self.unit}"
        object.__setattr__(self, "verdict", verdict)
        object.__setattr__(self, "sentence", worded(asked, verdict, by_figures, self.conditions))

    @property
    def share(self) -> float:
        """What is asked over what may be given [1]."""
        return self.asked.value / self.rating


def worded(compared: str, verdict: Judgement, by_figures: Judgement, conditions: Sequence[Condition]) -> str:
    """Return what was compared with the verdict on it, why it is worse than the figures say, and what else was seen to.

    Parameters
    ----------
    compared : str
        The figures, as they begin the sentence.
    verdict, by_figures : {'holds', 'doubtful', 'fails'}
        On all together, and on the figures alone.
    """
    causes = [each.text for each in conditions if verdict != by_figures and each.verdict == verdict]
    # What holds is worth a word beside what holds; beside a cause only what is wrong, too.
    others = [each.text for each in conditions if each.text not in causes and not (causes and each.verdict == "holds")]
    since = f", since {' and '.join(causes)}" if causes else ""
    return f"{compared}: {verdict}{since}." + "".join(f" {text[0].upper()}{text[1:]}." for text in others)


def between(figure: Within) -> str:
    """Return the ends of a figure as they are printed, one where they are the same."""
    low, high = _number(figure.low), _number(figure.high)
    return low if low == high else f"{low} to {high}"


def _number(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"
