"""The verdict on a log in one sentence: what is worst, how it should be, and what to do first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from . import log_sentences, numbers

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport

#: What a verdict comes to: its word is shown beside its sign and colour, never the colour alone.
State = Literal["act", "watch", "healthy", "not judged"]


@dataclass(frozen=True)
class Verdict:
    """What is to be said first of a log: its state, one sentence, and what to do first; empty where nothing is."""

    state: State
    sentence: str
    first_step: str = ""


def verdict_on(log: LogReport) -> Verdict:
    """Return the verdict on a log, by its gravest finding."""
    serious = [finding for finding in log_sentences.by_severity(log) if finding.severity != "note"]
    if serious:
        worst = serious[0]
        state: State = "act" if worst.severity == "act" else "watch"
        return Verdict(state, numbers.sentence(worst.plain or worst.title), worst.check_first)
    sentence, _ = log_sentences.verdict(log)
    judged = bool(log.cycles.cycles) and any(check.outcome == "passed" for check in log.checks)
    return Verdict("healthy" if judged else "not judged", sentence)
