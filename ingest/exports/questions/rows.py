"""The question whether rows that cannot be read may be left out."""

from __future__ import annotations

from ...errors import Choice, Question


def leave_out(sentence: str, evidence: str) -> Question:
    """Ask whether a log may lack rows: nothing but the person's word says that they do not matter."""
    choices = [Choice("yes: leave those rows out", {"allow_rejects": True})]
    return Question(sentence, "May the rows that cannot be read be left out?", evidence, choices)
