"""The verdict on a log and on several: one sentence that a visitor grasps, and honest where little was judged."""

from dataclasses import replace

import pytest
from logs_of_days import day_log, days_from, zone_of

from shuntbook.analysis.health.finding import Check, Finding
from shuntbook.analysis.several_logs.over_logs import over_logs
from shuntbook.cli.render.wording.verdict import Verdict, verdict_on, verdict_over

PASSED = Check("short_cycling", "passed", "", "", "")
FEW = "3 whole runs are too few to judge by; at least 8 are needed"


def finding(code, severity, plain, cycles=()):
    """A finding that says no more than it must."""
    return Finding(code, severity, code, "", "", "", cycles=cycles, plain=plain, first_step="Lock it off.")


OFTEN = finding("short_cycling", "act", "The well pump starts 41 times an hour. It should be at most 12.")
LEAK = finding("leak_down", "watch", "12 starts came evenly. 6 in a row may be a leak.")


def log_of(*findings, checks=(PASSED,), starts_h=(6.0, 12.0, 18.0), day="2026-06-20"):
    """A day's log with these findings."""
    log = day_log(day, starts_h)
    return replace(log, findings=findings, checks=checks, cycles=replace(log.cycles, load="well pump"))


def test_a_sound_log_is_healthy_without_ifs():
    """Every limit on its runs was judged, and none crossed."""
    assert verdict_on(log_of()) == Verdict("healthy", "The well pump is healthy: nothing here crosses a limit.")


def test_what_could_not_be_judged_is_said_of_a_healthy_log():
    """Two of the limits that runs should tell are open."""
    checks = (PASSED, *(Check(code, "not judged", "", "", "slow") for code in ("start_trip", "stalled_start")))
    verdict = verdict_on(log_of(checks=checks))
    assert verdict.state == "healthy"
    assert verdict.sentence == "The well pump is healthy as far as this log tells: 2 limits could not be judged."


def test_a_load_whose_runs_were_not_judged_is_not_called_healthy():
    """The reason stands there, and what a note says to do."""
    checks = (Check("short_cycling", "not judged", "", "", FEW), Check("overload", "passed", "", "", ""))
    note = replace(finding("sampling_too_slow", "note", "Too slow. It should be quick."), first_step="Log faster.")
    assert verdict_on(log_of(note, checks=checks)) == Verdict(
        "not judged", f"The well pump is not judged: {FEW}.", "Log faster."
    )


def test_a_log_without_a_run_has_nothing_to_judge():
    """No healthy pump is made of nothing seen."""
    verdict = verdict_on(log_of(starts_h=()))
    assert verdict.state == "not judged"
    assert verdict.sentence == "No run of the well pump was seen, so there is nothing to judge."
    hidden = replace(log_of(starts_h=()).cycles, in_clouds=True)
    verdict = verdict_on(replace(log_of(starts_h=()), cycles=hidden))
    assert verdict.sentence == (
        "No run of the well pump was seen, perhaps because of clouds, so there is nothing to judge."
    )


def test_the_worst_finding_is_told_and_of_equals_the_one_seen_last():
    """Act comes before watch; of two to act on the one that the newest runs show; of two alike the first checked."""
    starts = tuple(cycle.start_us for cycle in log_of().cycles.cycles)
    early = finding("start_trip", "act", "5 starts were cut off. It should be one at most.", cycles=starts[:1])
    late = finding("prime_lost", "act", "The well pump drew 420 W. It should be 546 W.", cycles=starts[-1:])
    assert verdict_on(log_of(LEAK, OFTEN)) == Verdict("act", OFTEN.plain, "Lock it off.")
    assert verdict_on(log_of(early, late)).sentence == late.plain
    assert verdict_on(log_of(OFTEN, late)).sentence == OFTEN.plain
    assert verdict_on(log_of(LEAK)).state == "watch"


def over(*findings, first="2026-10-24"):
    """A log a day, each with the finding that stands at its place, if any."""
    days = days_from(first, len(findings))
    return over_logs([log_of(*each, day=day) for each, day in zip(findings, days, strict=True)], zone_of)


def test_over_several_logs_the_state_is_that_of_the_newest_days_with_its_date():
    """Seven days too often, then eight healthy ones; what was stays, as history."""
    verdict = verdict_over(over(*[(OFTEN,)] * 7, *[()] * 8))
    assert (verdict.state, verdict.sentence) == ("healthy", "Since 31 Oct: healthy, 8 days.")
    assert verdict.history == "Before that, 24 to 30 Oct: short_cycling (7 of 7 days)."
    # Nobody said what was done about it, so that it is to be looked after still; weeks later no more.
    assert verdict.first_step == "Lock it off."
    assert verdict_over(over(*[(OFTEN,)] * 7, *[()] * 14)).first_step == ""


def test_a_finding_of_the_newest_days_says_since_when():
    """Its two sentences follow the date, and what to do first is the finding's."""
    verdict = verdict_over(over((), (OFTEN,), (LEAK, OFTEN), first="2026-06-19"))
    assert verdict.sentence == "Since 20 Jun: the well pump starts 41 times an hour. It should be at most 12."
    assert (verdict.state, verdict.first_step) == ("act", "Lock it off.")
    assert verdict.history == "Before that: healthy, 1 day."


@pytest.mark.parametrize(("first", "since"), [("2025-12-31", "31 Dec 2025"), ("2026-01-01", "1 Jan")])
def test_the_year_is_said_where_the_newest_day_has_another(first, since):
    """Two healthy days, over the turn of the year and after it."""
    assert verdict_over(over((), (), first=first)).sentence == f"Since {since}: healthy, 2 days."


def test_logs_that_tell_nothing_say_why_as_one_does():
    """Too few runs on every day."""
    logs = [
        log_of(day=day, checks=(Check("short_cycling", "not judged", "", "", FEW),))
        for day in days_from("2026-06-01", 2)
    ]
    verdict = verdict_over(over_logs(logs, zone_of))
    assert (verdict.state, verdict.history) == ("not judged", "")
    assert FEW in verdict.sentence
