"""The answer in words: what the load took, what the bank gave, and what came past the bank."""

from dataclasses import replace

import pytest
from health_cycles import cycles
from logs_of_days import day_log, zone_of
from report_scenes import make_log, make_report, with_facts, with_parts

from shuntbook.analysis.cycles.cycle import RunKind, TwoKinds
from shuntbook.analysis.health.finding import WRONG_SIGN, Finding
from shuntbook.analysis.one_log import from_array
from shuntbook.analysis.several_logs.over_logs import over_logs
from shuntbook.analysis.several_logs.report import Report
from shuntbook.cli.render.page import figures
from shuntbook.cli.render.page.first_screen import first_screen
from shuntbook.cli.render.page.log_tables import compared
from shuntbook.cli.render.terminal.cycles import cycles_answer
from shuntbook.cli.render.terminal.report import report_answer
from shuntbook.cli.render.wording import answer, numbers, shown
from shuntbook.cli.render.wording.several_sentences import headline


def made(count=10, *, charge_Ah=8.35, energy_Wh=206.0, in_part=0, too_brief=0):
    """A load's runs with these amounts in their summary, so many of them without an end, so many beside them."""
    runs = cycles(90.0, [600.0] * count)
    each = [replace(cycle, complete=k >= in_part) for k, cycle in enumerate(runs.cycles)]
    total = {"charge_Ah": charge_Ah, "charge_u95_Ah": 0.08, "energy_Wh": energy_Wh, "energy_u95_Wh": 3.0}
    total["too_brief"] = too_brief
    return replace(runs, cycles=tuple(each), summary=replace(runs.summary, **total))


def said(runs):
    """The answer of such runs."""
    return answer.load_total(runs, "the well pump").sentence


@pytest.mark.parametrize(
    ("runs", "sentence"),
    [
        (made(), "The well pump took 8.35 Ah ± 0.08 (206 Wh ± 3) in 10 runs."),
        (made(1), "The well pump took 8.35 Ah ± 0.08 (206 Wh ± 3) in 1 run."),
        (made(in_part=1), "The well pump took 8.35 Ah ± 0.08 (206 Wh ± 3) in 10 runs, 1 of them seen only in part."),
        (made(1, in_part=1), "The well pump took 8.35 Ah ± 0.08 (206 Wh ± 3) in 1 run, seen only in part."),
    ],
)
def test_the_load_took_so_much_in_so_many_runs(runs, sentence):
    """One sentence; what was seen only in part is said."""
    assert said(runs) == sentence


def test_what_runs_too_brief_leave_is_the_least():
    """No ± that pretends: the lower ends, rounded down, and how many runs are in them; in whichever unit is known."""
    others = "the others were too brief to be measured."
    assert said(made(too_brief=353)) == (
        f"The well pump took at least 8.2 Ah (200 Wh) in 10 of 363 runs or more; {others}"
    )
    runs = made(charge_Ah=None, too_brief=1)
    runs = replace(runs, cycles=tuple(replace(cycle, charge_Ah=None) for cycle in runs.cycles))
    assert said(runs) == f"The well pump took at least 200 Wh in 10 of 11 runs or more; {others}"
    assert answer.load_total(made(too_brief=1), "it").charge == "at least 8.2 Ah"


def test_behind_an_inverter_energy_stands_alone():
    """No amp-hours of the bank are made up."""
    runs = made(charge_Ah=None)
    energy_only = replace(runs, cycles=tuple(replace(cycle, charge_Ah=None) for cycle in runs.cycles))
    assert said(energy_only) == "The well pump took 206 Wh ± 3 in 10 runs."


def test_runs_of_unknown_amount_are_counted_out_loud():
    """Eight of ten runs have an amount; the rest is not guessed."""
    runs = made(charge_Ah=None, energy_Wh=None)
    each = [
        replace(cycle, charge_Ah=None if k < 2 else 0.5, charge_u95_Ah=None if k < 2 else 0.05, energy_Wh=None)
        for k, cycle in enumerate(runs.cycles)
    ]
    runs = replace(runs, cycles=tuple(each))
    assert said(runs) == "The well pump took 4.0 Ah ± 0.4 in 8 of 10 runs; of the others the amount is not known."


def test_two_loads_of_like_draw_are_not_taken_for_one():
    """Nobody knows which runs are the pump's."""
    kind = RunKind(5, 90.0, 780.0, 0.0)
    runs = replace(made(), two_kinds=TwoKinds((kind, kind), None))
    assert said(runs).startswith("The well pump, or another load of like draw, took 8.35 Ah")


def test_without_a_run_the_answer_says_so():
    """The log's answer is never empty."""
    log = make_log()
    none = replace(
        log,
        cycles=replace(
            log.cycles, cycles=(), summary=replace(log.cycles.summary, count=0, charge_Ah=None, energy_Wh=None)
        ),
    )
    assert answer.load_took(none) is None
    assert answer.first_answer(none) == "No load was seen to start and stop."
    hidden = replace(none, cycles=replace(none.cycles, in_clouds=True))
    assert answer.first_answer(hidden).endswith("stop. Clouds may hide it: log it behind its inverter, or at night.")
    unknown = replace(log, cycles=made(2, charge_Ah=None, energy_Wh=None))
    bare = tuple(replace(cycle, charge_Ah=None, energy_Wh=None) for cycle in unknown.cycles.cycles)
    unknown = replace(unknown, cycles=replace(unknown.cycles, cycles=bare))
    assert answer.first_answer(unknown) == "The well pump ran 2 times; what it took is not known."


def test_the_bank_gave_is_of_a_bank():
    """Behind an inverter no bank is seen."""
    log = make_log()
    assert answer.bank_gave(log).startswith("Out of the bank, all loads: ")
    assert answer.bank_gave(with_facts(log, side="ac")) is None


def test_what_came_past_the_bank_is_a_lower_bound(monkeypatch):
    """Rounded down, and of an array only where the site file has one."""
    log = make_log()
    monkeypatch.setattr(from_array, "sure_from_array", lambda log, unit: 0.8699)
    assert answer.past_the_bank(log) == ", at least 0.86 Ah of it straight from what charged it"
    assert answer.past_the_bank(replace(log, has_array=True)).endswith("of it straight from the array")
    past = ", and at least 0.86 Ah straight from what charged the bank."
    assert answer.bank_gave(log).endswith(past)
    assert answer.bank_gave(replace(log, has_array=True)).endswith(", and at least 0.86 Ah straight from the array.")
    monkeypatch.setattr(from_array, "sure_from_array", lambda log, unit: None)
    assert answer.past_the_bank(log) == ""


@pytest.mark.parametrize(
    ("x", "text"), [(0.8699, "0.86"), (1.0, "1.0"), (12.99, "12"), (1234.0, "1,200"), (0.0459, "0.045")]
)
def test_a_lower_bound_is_rounded_down(x, text):
    """Two digits; never more than it is."""
    assert answer.at_least(x) == text


def test_no_amount_is_told_of_a_log_whose_sign_seems_wrong():
    """What looks like runs are the rests between them: no figure, no picture, in any place that tells an answer."""
    log = make_log()
    turned = replace(log, findings=(Finding(WRONG_SIGN, "act", "", "", "", ""),))
    assert answer.load_took(log) is not None and answer.bank_gave(log) is not None
    assert answer.load_took(turned) is None and answer.bank_gave(turned) is None
    assert answer.first_answer(turned) == "What the well pump took is not known until the log is turned."
    report = Report(None, (turned,), (), "0")
    assert figures.picture(report, "p") is None and figures.energy_flow(report, "f") is None
    (glance,) = first_screen(report, {}, None).glances
    assert (glance.value, glance.beside) == ("not known", "until the log is turned")
    assert [tile.value for tile in glance.tiles if not tile.state] == ["not known"] * 3
    table = compared(make_report(log, turned))
    assert {row[2] for row in table.rows if row[0] not in ("Measured", "Findings")} == {numbers.UNKNOWN}
    assert all(row[1] != numbers.UNKNOWN for row in table.rows)
    for reply in (report_answer(report), cycles_answer(turned)):
        shown = "\n".join(reply.laid_out(80, explain=False))
        assert "not known" in shown and " Ah" not in shown


def with_use(day, charge):
    """A day's log whose one run took so much, if that is known."""
    log, amounts = day_log(day), {"charge_Ah": charge, "charge_u95_Ah": None if charge is None else 0.5}
    (run,), summary = log.cycles.cycles, replace(log.cycles.summary, **amounts)
    run = replace(run, energy_Wh=None, **amounts)
    return replace(log, cycles=replace(log.cycles, cycles=(run,), load="well pump", summary=summary))


def test_one_lower_bound_makes_that_of_a_month():
    """The lower ends of all days add up, and how many runs are missing."""
    logs = [with_use(f"2026-06-0{k}", 8.0) for k in range(1, 5)]
    brief = replace(logs[1].cycles.summary, charge_Ah=7.5, charge_u95_Ah=None, too_brief=20)
    logs[1] = replace(logs[1], cycles=replace(logs[1].cycles, summary=brief))
    over = over_logs(logs, zone_of)
    assert answer.load_took_over(over).sentence == (
        "The well pump took at least 30 Ah in 4 of 24 runs or more; the others were too brief to be measured."
    )
    assert [day.figures.use.at_least for day in over.days] == [False, True, False, False]
    assert "the well pump started at least 24 times." in headline(over)[0]


def test_of_many_logs_it_is_what_the_load_took_in_all():
    """First on the terminal, with the halves of the intervals added up; of the others where one log does not tell."""
    logs = tuple(with_use(f"2026-06-0{k}", 8.0) for k in range(1, 5))
    over = over_logs(logs, zone_of)
    sentence = "The well pump took 32.0 Ah ± 2.0 in 4 runs."
    assert answer.load_took_over(over).sentence == sentence
    report = make_report(*logs, over=over)
    assert report_answer(report).laid_out(80, explain=False)[0] == sentence
    one_unknown = (*logs[:3], with_use("2026-06-04", None))
    assert answer.load_took_over(over_logs(one_unknown, zone_of)).sentence == (
        "The well pump took 24.0 Ah ± 1.5 in 3 of 4 runs; of the others the amount is not known."
    )
    cloudy = replace(logs[0], cycles=replace(logs[0].cycles, in_clouds=True))
    under_clouds = answer.load_took_over(over_logs((cloudy, *logs[1:]), zone_of)).sentence
    assert under_clouds.endswith("in 4 runs, some of them perhaps clouds.")
    turned = replace(logs[0], findings=(Finding(WRONG_SIGN, "act", "", "", "", ""),))
    assert answer.load_took_over(over_logs((turned, *logs[1:]), zone_of)) is None


def test_each_part_from_note_to_note_says_what_went_out_and_what_the_load_took():
    """Five runs begin and end in the first, none in the second; the third ends while it runs."""
    log = with_parts(make_log(), 90, 1190, 1195, 1250)
    cut = with_parts(make_log(), 90, 360, 600)
    first, second, third = shown.noted_parts(log)
    assert (first.text, first.in_line) == (
        "first crate",
        "18 min 20 s: 1.000 Ah ± 0.016 (25.0 Wh ± 0.4) out of the bank",
    )
    assert first.load == "3.12 Ah (77.0 Wh) in 5 runs"
    assert (second.load, third.load) == ("no run", "about 0.44 Ah (11 Wh) in part of a run")
    assert [part.load for part in shown.noted_parts(cut)] == [
        "0.625 Ah (15.4 Wh) in 1 run, and about 0.35 Ah (8.6 Wh) in part of another",
        "about 0.80 Ah (20 Wh) in parts of 2 runs",
    ]
    assert [part.load for part in shown.noted_parts(with_two_kinds(log))] == [""] * 3
    turned = replace(log, findings=(Finding(WRONG_SIGN, "act", "Draw and return seem swapped", *[""] * 3),))
    assert shown.noted_parts(turned) == shown.noted_parts(make_log()) == ()


def test_the_first_screen_of_a_log_alone_has_its_first_parts():
    """The others are counted; beside another log there is no room for any."""
    texts = [f"crate {k}" for k in range(6)]
    log = with_parts(make_log(), *range(90, 800, 100), texts=texts)
    (glance,) = first_screen(make_report(log), {}, None).glances
    assert [part.text for part in glance.parts] == texts[:4]
    assert glance.more == "and 2 more parts"
    both = first_screen(make_report(log, make_log("other")), {}, None).glances
    assert [(glance.parts, glance.more) for glance in both] == [((), "")] * 2


def with_two_kinds(log):
    """The log with runs of two loads that it does not tell apart."""
    kinds = TwoKinds((RunKind(8, 60.0, 780.0, 0.0), RunKind(7, 300.0, 790.0, 0.0)), None)
    return replace(log, cycles=replace(log.cycles, two_kinds=kinds))


def test_behind_an_inverter_a_part_has_no_charge():
    """Amps there are none of the bank's."""
    (part,) = shown.noted_parts(with_facts(with_parts(make_log(), 90, 1190), side="ac"))
    assert part.in_line == "18 min 20 s: 25.0 Wh ± 0.4 behind the inverter"
