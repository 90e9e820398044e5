"""The verdict on a log, or on several, in one sentence: what is worst, how it should be, and what to do first."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

from ....analysis.health.finding import is_judged, withheld
from . import answer, clock, log_sentences, numbers

if TYPE_CHECKING:
    from datetime import date

    from ....analysis.health.finding import Finding
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.newest_state import NewestState
    from ....analysis.several_logs.over_logs import OverLogs
    from .answer import LoadTotal

#: What a verdict comes to: its word is shown beside its sign and colour, never the colour alone.
State = Literal["act", "watch", "healthy", "not judged"]


@dataclass(frozen=True)
class Verdict:
    """What is to be said first of a log: its state, one sentence, and what to do first; empty where nothing is.

    ``history`` is what was before, where several logs tell; else empty.
    """

    state: State
    sentence: str
    first_step: str = ""
    history: str = ""


def verdict_on(log: LogReport) -> Verdict:
    """Return the verdict on a log: by its gravest finding, of equals by the one that was seen last."""
    serious = [finding for finding in log_sentences.by_severity(log) if finding.severity != "note"]
    if serious:
        return _by_finding(max(serious, key=lambda finding: (finding.severity == "act", _lasts(finding, log))))
    if not log.cycles.cycles:
        run = "run" if log_sentences.named_load(log) is None else f"run of {log_sentences.load_name(log)}"
        why = ", perhaps because of clouds," if log.cycles.in_clouds else ","
        return Verdict("not judged", f"No {run} was seen{why} so there is nothing to judge.")
    name = numbers.capital(log_sentences.load_name(log))
    if not is_judged(log.checks):
        note = next((finding for finding in log.findings if finding.first_step), None)
        return Verdict("not judged", f"{name} is not judged: {_why(log)}.", note.first_step if note else "")
    if left := len(withheld(log.checks)):
        limits = f"{numbers.counted(left, 'limit')} could not be judged"
        return Verdict("healthy", f"{name} is healthy as far as this log tells: {limits}.")
    return Verdict("healthy", f"{name} is healthy: nothing here crosses a limit.")


def verdict_over(over: OverLogs) -> Verdict:
    """Return the verdict on several logs of one site: the state of the newest days, dated, and what was before."""
    from ....analysis.several_logs.newest_state import judged_days, newest_state  # most reports are of one log

    state = newest_state(judged_days(over))
    if state is None:
        # Without days that could be judged the newest log says why.
        return verdict_on(over.logs[-1].log)
    return _of_newest(state, *_cured(state, over))


def _of_newest(state: NewestState, cured: str = "", by_change: bool = False) -> Verdict:
    """Return the verdict on the newest days; `cured` goes on with what may have cured the others, and whether it did.

    What was wrong of late and went by itself is still to be looked after.
    """
    since, history = f"Since {_date(state.since, state.newest)}", f"{_history(state)}{cured}"
    if state.finding is None:
        well, worst = numbers.counted(state.days, "day"), _worst_before(state)
        step = "" if worst is None or by_change or state.days >= _LONG_WELL else worst.first_step
        return Verdict("healthy", f"{since}: healthy, {well}.", step, history)
    verdict = _by_finding(state.finding)
    return replace(verdict, sentence=f"{since}: {numbers.uncapital(verdict.sentence)}", history=history)


def _worst_before(state: NewestState) -> Finding | None:
    """Return the gravest finding of the days before the newest, of equals the one seen last; None without any."""
    # Each day's own come worst first.
    gravest = [day.findings[0] for day in state.before_found]
    return max(reversed(gravest), key=lambda finding: finding.severity == "act", default=None)


def _cured(state: NewestState, over: OverLogs) -> tuple[str, bool]:
    """Say what a change between the last bad day and the days that are well since has to do with it, if it is one.

    The other tells whether it may have cured it.
    """
    change = over.change
    if state.finding is not None or not state.before_found or change is None or not change.named:
        return "", False
    from . import several_sentences  # most verdicts are on one log

    facts = several_sentences.facts_of(over)
    at = clock.local(change.at_us, facts)
    if not state.before_found[-1].date <= at.date() <= state.since:
        return "", False
    what = f"'{numbers.shortened(change.text)}' on" if change.text else "what was changed on"
    when = f"{numbers.capital(what)} {_date(at.date(), state.newest)}"
    if change.turn is None:
        return f" {when} may have cured it.", True
    # What came before the cure, or long before it, did not bring it about.
    until = several_sentences.until_said(change, facts)
    return (f" {when} did not cure it at once: {until}." if until else f" {when} came after it was over."), False


def _by_finding(finding: Finding) -> Verdict:
    state: State = "act" if finding.severity == "act" else "watch"
    return Verdict(state, numbers.sentence(finding.plain or finding.title), finding.first_step)


def _lasts(finding: Finding, log: LogReport) -> bool:
    """Tell whether a finding was seen in the newest third of the runs; what rests on none is so all the time."""
    cycles, span_us = log.cycles.cycles, finding.span_us
    return span_us is None or not cycles or span_us[1] >= cycles[-(len(cycles) // 3 + 1)].start_us


def _why(log: LogReport) -> str:
    """Say why a load's runs were not judged, in the words of the limit that decides."""
    return next((check.remark for check in log.checks if check.code == "short_cycling"), "too little was seen")


#: After so many days without it nobody need look after what was found: common practice, no source. [1]
_LONG_WELL: Final = 14


def _history(state: NewestState) -> str:
    """Say what was before the newest days; empty where nothing was judged before."""
    if not state.before:
        return ""
    days = numbers.counted(state.before, "day")
    if not state.before_found:
        return f"Before that: healthy, {days}."
    worst, named = _worst_before(state), clock.days_named([day.date for day in state.before_found])
    what = f": {numbers.uncapital(worst.title)}" if worst is not None else ""
    return f"Before that, {named}{what} ({len(state.before_found):,} of {days})."


def _date(day: date, newest: date) -> str:
    """Return a date without its year where that is the year of the newest day."""
    return f"{day.day} {day:%b}" if day.year == newest.year else f"{day.day} {day:%b %Y}"


def took_over(over: OverLogs, total: LoadTotal) -> str:
    """Return what the load took in all logs, with what of it surely came past the bank where it is no least anyway."""
    past = "" if total.too_brief else answer.past_the_bank_over(over)
    return f"{total.sentence.removesuffix('.')}{past}." if past else total.sentence
