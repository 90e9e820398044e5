"""Which log of a fleet to look after first: the rule, and that nothing else decides."""

import random
import re
from dataclasses import replace

import pytest
from fleet_summaries import ORDER, found, log
from logs_of_days import day_log, days_from
from places import ROOT

from shuntbook.analysis.several_logs.fleet import (
    URGENCY,
    counts_of,
    ranked,
    starts_in_worst_hour,
    worst_first,
)
from shuntbook.analysis.several_logs.over_logs import wanting_a_look
from shuntbook.analysis.several_logs.pooled import taken_in_all
from shuntbook.cli.fleet.words import fleet_answer, gist_of, in_short, state_of, told


def test_act_comes_before_watch_before_what_could_not_be_read_before_the_rest():
    """The groups stand in this order, whatever is in them, and are counted."""
    by_group = [summary.log for summary in ranked(ORDER)]
    assert [name[0] for name in by_group[5:]] == ["u", "t", "b", "c", "a", "d"]
    counts = counts_of(ORDER)
    assert (counts.logs, counts.act, counts.watch, counts.not_read, counts.unfinished, counts.sound) == (
        11,
        5,
        2,
        2,
        1,
        2,
    )


def test_urgency_then_starts_then_number_decide_within_a_group():
    """A dry pump before short runs; then the most starts; two findings before one; one with a watch beside it."""
    assert [summary.log for summary in ranked(ORDER)][:5] == [
        "z-dry",
        "v-short",
        "x-short-often",
        "y-short-twice",
        "w-short",
    ]


def test_a_log_whose_runs_could_not_be_judged_is_not_sound():
    """Where `cycles` says "not judged", so does the fleet: in its count, its table and what is said of the log."""
    open_log = log("b-slow", not_judged=("short_cycling", "leak_down", "prime_lost"))
    watched = log("c-low", found("low_voltage", "watch"), not_judged=("short_cycling",), worst="low_voltage was seen")
    some = log("d-tank", not_judged=("leak_down",))
    counts = counts_of([open_log, watched, some, log("a-sound")])
    assert (counts.watch, counts.not_judged, counts.sound) == (1, 1, 2)
    assert in_short(counts) == "4 logs: 1 to watch, 1 not judged, 2 with nothing to act on or to watch"
    assert [state_of(each) for each in (open_log, watched, some)] == ["not judged", "watch", "-"]
    assert gist_of(open_log) == "not judged: length of runs, number of starts; water leaking away and 1 more"
    assert gist_of(watched) == "low_voltage was seen; not judged: length of runs, number of starts"
    assert gist_of(some) == "not judged: water leaking away"


def test_a_note_does_not_lend_urgency():
    """What only limits a log is no reason to go there first."""
    noted = log("a", found("prime_lost", "note"), found("standing_draw", "watch"))
    assert ranked([noted, log("b", found("leak_down", "watch"))])[0].log == "b"


@pytest.mark.parametrize("seed", range(5))
def test_order_of_arrival_does_not_matter(seed):
    """Workers end in any order; the ranking is the same, and alike logs stand by name."""
    alike = [log(f"same-{k:02d}", found("leak_down", "watch")) for k in range(12)]
    shuffled = random.Random(seed).sample(ORDER + alike, len(ORDER + alike))
    assert ranked(shuffled) == ranked(ORDER + alike)
    assert [s.log for s in ranked(shuffled) if s.log.startswith("same")] == [s.log for s in alike]


def test_every_finding_has_its_urgency():
    """No code that a rule can give is missing from the list, and none stands there twice."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "analysis").rglob("*.py")))
    codes = set(re.findall(r'\bRule\(\s*"(\w+)"', text))
    assert len(codes) > 10
    assert codes == set(URGENCY)
    assert len(URGENCY) == len(set(URGENCY))


def took(name, load_Ah, load_Wh, *findings, **changes):
    """A log whose load took so much in ten runs."""
    amounts = {"load_Ah": load_Ah, "load_u95_Ah": None if load_Ah is None else 0.1, "load_Wh": load_Wh}
    runs = {"cycles": 10, "runs_with_Ah": 0 if load_Ah is None else 10, "runs_with_Wh": 10}
    return log(name, *findings, **amounts | runs | {"load_u95_Wh": 2.0} | changes)


def test_what_the_loads_took_in_all_is_added_up_once():
    """Two logs at the bank: their sum, and halves of intervals too; one from behind an inverter is in them already."""
    taken = taken_in_all([took("a", 8.0, 200.0), took("b", 2.0, 50.0), took("c", None, 45.0)])
    assert (taken.logs, taken.runs) == (2, 20)
    assert (taken.load_Ah, taken.load_Wh) == (10.0, 250.0)
    assert (taken.load_u95_Ah, taken.load_u95_Wh) == pytest.approx((0.2, 4.0))
    behind = taken_in_all([took("c", None, 45.0), log("d", status="not read")])
    assert (behind.logs, behind.load_Ah, behind.load_Wh) == (1, None, 45.0)
    assert taken_in_all([took("a", 8.0, None), took("b", 2.0, 50.0)]).load_Wh is None
    brief = taken_in_all([took("a", 8.0, 200.0), took("b", 2.0, 50.0, runs_too_brief=30)])
    assert (brief.load_Ah, brief.load_u95_Ah, brief.runs_too_brief) == (pytest.approx(9.8), None, 30)
    swapped = took("e", 90.0, 900.0, codes=("charge_wrong_sign",))
    assert taken_in_all([took("a", 8.0, 200.0), swapped]).load_Ah == 8.0


@pytest.mark.parametrize("seed", range(3))
def test_the_sum_is_the_same_to_the_last_bit_in_any_order(seed):
    """Workers end in any order."""
    made = random.Random(seed)
    logs = [took(f"{k}", made.uniform(0, 1e6), made.uniform(0, 1e-6)) for k in range(50)]
    assert taken_in_all(made.sample(logs, 50)) == taken_in_all(logs)


def test_the_answer_stands_in_twelve_lines_of_a_terminal():
    """How many are how, what all took, the first three with a sentence each, and how to see more."""
    pressing = replace(
        found("prime_lost", "act"), plain="The well pump drew 420 W in 6 runs. It should be at least 546 W."
    )
    fleet = ranked([*ORDER, took("a-dry", 8.0, 200.0, pressing), took("e-sound", 2.0, 50.0)])
    lines = fleet_answer(fleet).laid_out(80, explain=False)
    assert len(lines) <= 12
    assert all(len(line) <= 80 for line in lines)
    assert lines[2] == "The loads took 10.00 Ah ± 0.20 (250 Wh ± 4) in 20 runs of 2 logs."
    assert lines[3:5] == ["1. act: a-dry", f"   {pressing.plain}"]
    assert lines[-1].startswith("More with --explain: 10 more logs")
    sound = fleet_answer([took("e-sound", 2.0, 50.0)]).laid_out(80, explain=False)
    assert sound[2:4] == ["1. healthy: e-sound", "   took 2.00 Ah ± 0.10 (50.0 Wh ± 2.0) in 10 runs"]
    every = fleet_answer(fleet).laid_out(160, explain=True)
    assert sum("e-sound" in line and "2.00 Ah ± 0.10" in line for line in every) == 1
    assert told(log("f", cycles=0)) == "no run of its load was seen"


@pytest.mark.parametrize("seed", range(5))
def test_a_report_of_many_logs_ranks_them_as_a_fleet_does(seed):
    """The same days as logs of a report and as lines of a fleet: those with a finding stand in one order, by name."""
    made = random.Random(seed)
    logs = [
        day_log(
            day,
            sorted(made.uniform(0, 24) for _ in range(made.choice((3, 40, 90)))),
            findings=tuple(
                found(code, made.choice(("act", "watch", "note")))
                for code in made.sample(("short_cycling", "prime_lost", "leak_down", "draw_drift"), made.randint(0, 3))
            ),
        )
        for day in days_from("2026-10-01", 25)
    ]
    fleet = ranked(
        log(
            each.facts.name,
            *each.findings,
            most_starts=starts_in_worst_hour(each),
            start_us=each.charge.span.start_us,
        )
        for each in logs
    )
    pressing = [summary.log for summary in fleet if summary.acts or summary.watches]
    assert [each.facts.name for each in worst_first(made.sample(logs, len(logs)))] == pressing
    newest = logs[-1].facts.name
    wanted = {newest, next(name for name in pressing if name != newest)}
    assert {each.facts.name for each in wanting_a_look(logs)} == wanted


def test_a_day_of_more_starts_is_worse_than_one_of_more_findings():
    """39 starts in an hour stand before 22, whatever else was found of the quieter day; and notes alone nowhere."""
    often = day_log("2026-10-30", [6 + k / 40 for k in range(39)], findings=(found("short_cycling", "act"),))
    both = (found("short_cycling", "act"), found("air_charge_lost", "act"))
    seldom = day_log("2026-10-28", [6 + k / 24 for k in range(22)], findings=both)
    noted = day_log("2026-10-29", [6 + k / 80 for k in range(79)], findings=(found("short_cycling", "note"),))
    assert [each.facts.name for each in worst_first([seldom, noted, often])] == ["2026-10-30", "2026-10-28"]


def test_as_many_starts_are_as_bad_however_well_they_were_seen():
    """Runs too brief to be measured leave it at watching: 39 starts an hour stand before 22 to act on, 12 behind."""
    act, watch = found("short_cycling", "act"), found("short_cycling", "watch")
    logs = [log("a", act, most_starts=22), log("b", watch, most_starts=39), log("c", watch, most_starts=12)]
    assert [summary.log for summary in ranked([log("d", status="not read"), *logs])] == ["b", "a", "c", "d"]
    assert [summary.log for summary in ranked(logs[1:])] == ["b", "c"]
