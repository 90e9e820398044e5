"""What is shown to others: the same verdict as on the page, and of which log each figure is."""

from dataclasses import replace

from logs_of_days import day_log, zone_of
from report_scenes import make_later, make_log, make_report, with_facts, with_parts

from shuntbook.analysis.health.finding import WRONG_SIGN, Finding
from shuntbook.analysis.several_logs.over_logs import over_logs
from shuntbook.cli.render.page.first_screen import first_screen
from shuntbook.cli.render.wording import shown


def on(log, day):
    """The log as if it had been taken on another day."""
    later_us = (day - 9) * 86_400_000_000
    span = replace(log.charge.span, start_us=log.charge.span.start_us + later_us)
    return replace(log, charge=replace(log.charge, span=span))


def with_over(*logs):
    """A report of a few logs, with what they show together."""
    return make_report(*logs, over=over_logs(logs, zone_of))


def with_amount(log, known=None):
    """The log with what its runs took; of so many alone where not all are known."""
    summary = replace(log.cycles.summary, charge_Ah=8.35, charge_u95_Ah=0.08, energy_Wh=206.0, energy_u95_Wh=4.0)
    if known is not None:
        nothing = {"charge_Ah": None, "charge_u95_Ah": None, "energy_Wh": None, "energy_u95_Wh": None}
        runs = [replace(c, **nothing) if k >= known else c for k, c in enumerate(log.cycles.cycles)]
        return replace(
            log, cycles=replace(log.cycles, cycles=tuple(runs), summary=replace(log.cycles.summary, **nothing))
        )
    return replace(log, cycles=replace(log.cycles, summary=summary))


def test_two_logs_have_the_verdict_of_the_page_in_either_order():
    """The worse one, also where it is the older or was named first; and its sentence says which it is."""
    sound, worse = make_log(), on(make_later(), 2)
    for report in (with_over(sound, worse), with_over(worse, sound), make_report(worse, sound)):
        verdict = shown.told_verdict(report)
        assert (verdict.state, verdict.sentence) == ("act", "2 Jun: the pump short-cycles.")
        assert first_screen(report, {}, None).verdict.state == "act"
        assert shown.steps(report)[-1].verdict == verdict


def test_a_turned_log_is_named_beside_the_figure_of_the_other():
    """Nobody takes the figure that is shown for that of the log which cannot be right."""
    turned = replace(make_later(), findings=(Finding(WRONG_SIGN, "act", "Draw and return seem swapped", *[""] * 3),))
    report = with_over(on(turned, 2), with_amount(make_log()))
    assert shown.told_verdict(report).sentence == "2 Jun: draw and return seem swapped."
    assert [answer.of for answer in shown.answers(report.logs)] == ["9 Jun"]


def test_what_days_do_not_tell_apart_names_do():
    """Two meters of one day, and logs without dates."""
    log, other = with_amount(make_log()), with_amount(make_log("other_meter"))
    assert [answer.of for answer in shown.answers((log, other))] == ["open day", "other meter"]
    undated = tuple(with_facts(each, undated=True) for each in (log, on(other, 2)))
    assert {answer.of for answer in shown.answers(undated)} == {"open day", "other meter"}
    assert [answer.of for answer in shown.answers((log,))] == [""]


def test_an_amount_of_some_runs_is_not_told_of_all():
    """As the answer's sentence has it."""
    (answer,) = shown.answers((with_amount(make_log(), known=12),))
    assert answer.beside.endswith(f"in 12 of {len(make_log().cycles.cycles)} runs")


def test_of_many_logs_it_is_the_newest_days_that_are_told():
    """Dated by the state itself, so that no log's name stands before it."""
    logs = tuple(day_log(f"2026-06-0{k}") for k in range(1, 5))
    report = with_over(*logs)
    verdict, log = shown.verdict_of(report)
    assert shown.told_verdict(report) == verdict
    assert log is logs[-1]


def test_what_each_part_took_is_one_of_the_five_steps():
    """Of one log with notes, in place of the flow; of several logs the flow stays, which holds them all."""
    noted = with_parts(make_log(), 90, 1190, 2000)
    step = shown.steps(make_report(noted))[3]
    assert (step.heading, step.figure) == ("What each part took", "")
    assert [part.text for part in step.parts] == ["first crate", "second crate"]
    assert "Out of the bank, all loads: 13.3 Ah (332 Wh)." in step.lines
    for report in (make_report(make_log()), make_report(noted, make_later())):
        assert shown.steps(report)[3].figure == "flow"
        assert len(shown.steps(report)) == 5


def test_a_log_goes_by_the_title_of_its_capture():
    """Also where a site has a name; several logs have the site's."""
    titled = with_facts(make_log(), title="A pump off a battery bank")
    assert shown.place(make_report(titled)) == "A pump off a battery bank"
    assert shown.place(make_report(titled, make_later())) == "Marrowbrook"
    assert shown.place(make_report(make_log())) == "Marrowbrook"
