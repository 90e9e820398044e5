"""Something a log shows that the person should act on, and what was checked to find it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

Severity = Literal["note", "watch", "act"]

#: The most pressing first.
SEVERITIES: Final[tuple[Severity, ...]] = ("act", "watch", "note")

Outcome = Literal["passed", "found", "not judged"]

#: What the runs themselves say of a load or a tank: where this is not judged, nobody may think that all is well.
OF_RUNS: Final = (
    *("short_cycling", "start_trip", "stalled_start"),
    *("air_charge_lost", "leak_down", "prime_lost", "never_cuts_out"),
)


class Advice(NamedTuple):
    """What usually causes a finding, what to check first, and of that the first step in one short sentence."""

    causes: str
    check_first: str
    first_step: str


@dataclass(frozen=True)
class Finding:
    """A finding with its evidence, its limit and where the limit comes from.

    ``severity``: ``note`` limits the log or states a fact, ``watch`` wants an eye kept on it, ``act`` wants something
    done. ``causes`` and ``check_first`` are plain sentences. ``cycles`` are the starts of the runs, or of the attempts
    at one, that it rests on [us]. ``plain`` says in two short sentences what was seen and how it should be, with both
    figures, and ``first_step`` what to do first, for whoever sees nothing else. ``holds_us`` is from when to when it
    holds, where its cycles do not tell. [us]
    """

    code: str
    severity: Severity
    title: str
    evidence: str
    limit: str
    source: str
    causes: str = ""
    check_first: str = ""
    cycles: tuple[int, ...] = ()
    plain: str = ""
    first_step: str = ""
    holds_us: tuple[int, int] | None = None

    @property
    def span_us(self) -> tuple[int, int] | None:
        """From when to when it holds; None where that is all through its log. [us]"""
        return self.holds_us or ((self.cycles[0], self.cycles[-1]) if self.cycles else None)


@dataclass(frozen=True)
class Check:
    """One limit that was checked, whatever came of it: `code` is that of the finding it may lead to.

    `limit` and `source` are empty where there is no limit; `remark` is what was seen, or why it could not be judged.
    """

    code: str
    outcome: Outcome
    limit: str
    source: str
    remark: str
    finding: Finding | None = None


@dataclass(frozen=True)
class Rule:
    """A limit that cycles are held against, where it is from, and the three ways a check of it can end."""

    code: str
    limit: str = ""
    source: str = ""

    def passed(self, evidence: str) -> Check:
        """Return that nothing crossed the limit."""
        return Check(self.code, "passed", self.limit, self.source, evidence)

    def not_judged(self, reason: str) -> Check:
        """Return that the limit could not be checked."""
        return Check(self.code, "not judged", self.limit, self.source, reason)

    def found(
        self,
        severity: Severity,
        title: str,
        evidence: str,
        advice: Advice,
        plain: str,
        cycles: tuple[int, ...] = (),
        holds_us: tuple[int, int] | None = None,
    ) -> Check:
        """Return a finding; `plain` is what was seen and how it should be, in two short sentences."""
        causes, check_first, first_step = advice
        finding = Finding(
            *(self.code, severity, title, evidence, self.limit, self.source),
            *(causes, check_first, cycles, plain, first_step, holds_us),
        )
        return Check(self.code, "found", self.limit, self.source, evidence, finding)


#: The code of the finding that draw and return are swapped.
WRONG_SIGN: Final = "charge_wrong_sign"


def is_swapped(findings: Iterable[Finding]) -> bool:
    """Tell whether draw and return seem to be swapped: until the log is turned, no amount of it is what it is called.

    What looks like a load's runs are then the rests between them.
    """
    return any(finding.code == WRONG_SIGN for finding in findings)


def withheld(checks: Iterable[Check]) -> tuple[str, ...]:
    """Return the codes of what the runs should have told and could not, in order."""
    return tuple(check.code for check in checks if check.code in OF_RUNS and check.outcome == "not judged")


def is_judged(checks: Iterable[Check]) -> bool:
    """Tell whether enough of a load's runs was judged to call it healthy: of a motor, their length and number."""
    outcomes = {check.code: check.outcome for check in checks if check.code != WRONG_SIGN}
    decides = outcomes.get("short_cycling")
    # A load that is no motor is not asked for the length of its runs.
    return decides != "not judged" if decides else any(outcome != "not judged" for outcome in outcomes.values())
