"""The state of a site by its newest days: what they have in common, since when, and what was before."""

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st
from logs_of_days import day_log, days_from, zone_of

from shuntbook.analysis.health.finding import Check, Finding
from shuntbook.analysis.several_logs.newest_state import JudgedDay, Month, MonthDay, judged_days, newest_state
from shuntbook.analysis.several_logs.over_logs import over_logs

SHORT, LEAK = (
    Finding(code, severity, code, "seen", "limit", "source", plain=f"{code} is seen. It should not be.")
    for code, severity in (("short_cycling", "act"), ("leak_down", "watch"))
)
FIRST = date(2026, 6, 1)
PASSED = Check("short_cycling", "passed", "", "", "")
OPEN = Check("short_cycling", "not judged", "", "", "too few runs")

kinds = st.sampled_from([(), (SHORT,), (LEAK,), (SHORT, LEAK)])


def days_of(findings):
    """Days one after another with these findings each."""
    return [JudgedDay(FIRST + timedelta(days=k), each) for k, each in enumerate(findings)]


@given(st.lists(kinds, min_size=1, max_size=30))
def test_the_days_since_are_the_longest_end_that_is_as_the_newest_day(findings):
    """Each of them has the newest day's worst finding, or none; the day before them is another, and no day is lost."""
    days = days_of(findings)
    state = newest_state(days)
    code = findings[-1][0].code if findings[-1] else None

    def alike(found):
        return code in {each.code for each in found} if code else not found

    assert (state.finding.code if state.finding else None) == code
    assert state.newest == days[-1].date
    assert state.since == days[-state.days].date
    assert all(alike(found) for found in findings[-state.days :])
    assert state.days == len(days) or not alike(findings[-state.days - 1])
    assert state.before == len(days) - state.days
    assert [day.findings for day in state.before_found] == [found for found in findings[: state.before] if found]


@given(st.lists(kinds, min_size=1, max_size=20), st.lists(kinds, max_size=20))
def test_older_days_change_only_the_history_unless_all_are_alike(newer, older):
    """What the newest days say does not depend on how far back the logs go."""
    alone, with_older = newest_state(days_of(newer)), newest_state(days_of(older + newer))
    assert with_older.finding == alone.finding
    assert with_older.days >= alone.days
    if alone.before:
        assert with_older.days == alone.days


def test_no_days_have_no_state():
    """Nothing judged, nothing said."""
    assert newest_state([]) is None


def test_a_day_that_was_not_judged_neither_counts_nor_breaks_the_row():
    """Four days, the third with too few runs: healthy since the second, on two days; the first had a finding."""
    checks = ((), (PASSED,), (OPEN,), (PASSED,))
    logs = [
        replace(day_log(day, (6.0, 12.0)), checks=check, findings=(SHORT,) if k == 0 else ())
        for k, (day, check) in enumerate(zip(days_from("2026-06-01", 4), checks, strict=True))
    ]
    days = judged_days(over_logs(logs, zone_of))
    assert [(day.date.day, len(day.findings)) for day in days] == [(1, 1), (2, 0), (4, 0)]
    state = newest_state(days)
    assert (state.finding, state.since.day, state.days, state.before) == (None, 2, 2, 1)


def test_a_finding_that_names_a_time_holds_all_of_it():
    """One run of the first day stands for what went on until the third: no day of these is healthy."""
    logs = [day_log(day, (6.0, 12.0)) for day in days_from("2026-06-01", 3)]
    start_us, stop_us = (log.cycles.cycles[0].start_us for log in (logs[0], logs[2]))
    bad = replace(SHORT, cycles=(start_us,), holds_us=(start_us, stop_us))
    logs = [replace(log, checks=(PASSED,), findings=(bad,) if k == 0 else ()) for k, log in enumerate(logs)]
    assert [len(day.findings) for day in judged_days(over_logs(logs, zone_of))] == [1, 1, 1]
    short = replace(bad, holds_us=None)
    logs[0] = replace(logs[0], findings=(short,))
    assert [len(day.findings) for day in judged_days(over_logs(logs, zone_of))] == [1, 0, 0]


def test_a_finding_holds_from_its_first_run_to_its_last_within_a_log_of_many_days():
    """A log of three days whose finding rests on the runs of the second: the first and the last are healthy."""
    one, two, three = (day_log(day, (6.0, 12.0)) for day in days_from("2026-06-01", 3))
    starts = tuple(cycle.start_us for cycle in two.cycles.cycles)
    whole = replace(one.charge.span, stop_us=three.charge.span.stop_us)
    log = replace(
        one,
        cycles=replace(one.cycles, cycles=one.cycles.cycles + two.cycles.cycles + three.cycles.cycles),
        charge=replace(one.charge, span=whole),
        ledger=replace(one.ledger, days=one.ledger.days + two.ledger.days + three.ledger.days),
        findings=(replace(SHORT, cycles=starts),),
        checks=(PASSED,),
    )
    days = judged_days(over_logs([log], zone_of))
    assert [[each.code for each in day.findings] for day in days] == [[], ["short_cycling"], []]


def test_notes_are_no_state():
    """A note limits the log and says nothing of the load."""
    note = replace(SHORT, severity="note")
    log = replace(day_log(FIRST, (6.0, 12.0)), findings=(note,), checks=(PASSED,))
    assert [day.findings for day in judged_days(over_logs([log], zone_of))] == [()]


def test_a_day_and_a_month_are_as_their_worst_finding():
    """Findings come with the gravest first; a day that could not be judged is neither healthy nor not."""
    day = over_logs([day_log(FIRST, (6.0, 12.0))], zone_of).days[0]
    days = [MonthDay(day, findings) for findings in (None, (), (LEAK,), (SHORT, LEAK))]
    assert [each.state for each in days] == ["not judged", "healthy", "watch", "act"]
    assert [Month(tuple(days[:k])).state for k in (3, 4)] == ["watch", "act"]
