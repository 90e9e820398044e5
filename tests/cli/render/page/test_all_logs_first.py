"""What is shown first of many logs is about all of them: sum, runs, the worst day, what changed."""

import csv
import io
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from day_logs import RECHARGED, us
from health_cycles import site
from logs_of_days import day_log, days_from, zone_of
from page_reading import Reader, undrawn  # noqa: F401  (a fixture)
from report_scenes import make_report

from shuntbook.analysis.health.finding import WRONG_SIGN, Check, Finding
from shuntbook.analysis.one_log.from_array import straight_in_all, sure_from_array
from shuntbook.analysis.several_logs.over_logs import over_logs
from shuntbook.analysis.stats.interval95 import Component, judged
from shuntbook.cli.render.documents.csv_over_logs import BY_DAY, LEFT_OUT, NO_READINGS
from shuntbook.cli.render.documents.csv_tables import FILES, csv_files
from shuntbook.cli.render.documents.report import over_document
from shuntbook.cli.render.page.answer_tables import answer_bars_of_all
from shuntbook.cli.render.page.first_screen import first_screen
from shuntbook.cli.render.page.page import render, render_one_page
from shuntbook.cli.render.page.several_view import several_view
from shuntbook.cli.render.still_charts.clock_rows import clock_rows
from shuntbook.cli.render.still_charts.run_rows import MOST_NARROW
from shuntbook.cli.render.terminal.report import report_answer
from shuntbook.cli.render.wording import answer, clock, numbers, several_sentences, shown

PASSED = Check("short_cycling", "passed", "", "", "")
#: 23 October has no log; after 31 October all is well.
DAYS = [day for day in days_from("2026-10-20", 20) if str(day) != "2026-10-23"]
DAY_S = 86_400.0
NOTED_US = us("2026-10-31T10:40")
BAD = {"2026-10-28": 22, "2026-10-29": 35, "2026-10-30": 39, "2026-10-31": 37}


def a_day(day, rng):
    """A day's log: so many starts in one hour of a bad one; its load took 3 Ah in a good one and 20 in a bad one."""
    often = BAD.get(str(day), 0)
    starts_h = np.sort(np.concatenate([rng.uniform(8, 20, 30), 6 + np.arange(often) / 60]))
    plain = f"The well pump started {often} times in one hour. It should be at most 10."
    bad = Finding("short_cycling", "act", "It starts too often", "", "", "", plain=plain, first_step="Check the air.")
    log = day_log(day, starts_h, findings=(bad,) if often else (), run_s=15.0 if often else 75.0)
    took = {"charge_Ah": 20.0 if often else 3.0, "charge_u95_Ah": 0.1, "energy_Wh": 75.0, "energy_u95_Wh": 2.0}
    log = replace(log, cycles=replace(log.cycles, summary=replace(log.cycles.summary, **took)), checks=(PASSED,))
    if str(day) != "2026-10-31":
        return log
    return _longer(replace(log, facts=replace(log.facts, markers=((NOTED_US, RECHARGED),))), NOTED_US)


def _longer(log, since_us):
    """A log whose runs last as long as on good days from an instant on."""
    runs = tuple(replace(run, run_s=75.0) if run.start_us > since_us else run for run in log.cycles.cycles)
    return replace(log, cycles=replace(log.cycles, cycles=runs))


@pytest.fixture(scope="module")
def report():
    """Nineteen day-logs, four of them bad, and a note on the last of these."""
    rng = np.random.default_rng(5)
    logs = [a_day(day, rng) for day in DAYS]
    return make_report(*logs, over=over_logs(logs, zone_of))


def answer_of(report, width=80):
    """What the terminal says, in one line."""
    return " ".join(" ".join(report_answer(report).laid_out(width, explain=False)).split())


def test_the_largest_figure_is_that_of_all_logs(report):
    """15 good days of 3 Ah and four bad ones of 20 make 125 Ah; their ± add up to 1.9; on screen, sheet, wall, card."""
    (glance,) = first_screen(report, {}, None).glances
    runs = sum(len(log.cycles.cycles) for log in report.logs)
    assert (glance.value, glance.either_side) == ("125.0 Ah", "1.9")
    assert glance.beside.endswith(f"in {runs:,} runs")
    assert glance.title == "19 logs, Tue 20 Oct to Sun 8 Nov 2026"
    (answer,) = shown.answers_of(report)
    assert answer.figure == "125.0 Ah ± 1.9"
    assert any(answer.figure == "125.0 Ah ± 1.9" for step in shown.steps(report) for answer in step.answers)


def test_a_run_without_an_amount_leaves_the_sum_of_the_others(report):
    """The first day's log knows the amounts of 29 of its 30 runs, 0.1 Ah each: 122 Ah of the others and 2.9 Ah."""
    first, *others = report.logs
    nothing = {"charge_Ah": None, "charge_u95_Ah": None, "energy_Wh": None, "energy_u95_Wh": None}
    known = {"charge_Ah": 0.1, "charge_u95_Ah": 0.01, "energy_Wh": 2.5, "energy_u95_Wh": 0.1}
    runs = [replace(run, **(known if k else nothing)) for k, run in enumerate(first.cycles.cycles)]
    cycles = replace(first.cycles, cycles=tuple(runs), summary=replace(first.cycles.summary, **nothing))
    logs = (replace(first, cycles=cycles), *others)
    over = over_logs(logs, zone_of)
    (glance,) = first_screen(make_report(*logs, over=over), {}, None).glances
    assert glance.value == "124.9 Ah"
    assert glance.beside.endswith(f"in {over.whole.starts - 1:,} of {over.whole.starts:,} runs")


def test_page_and_sheet_say_the_sum_and_the_days(report):
    """In the text of the page, too; the sheet is headed by all days, with the worst and the newest beside them."""
    sheet = Reader(render_one_page(report)).said.replace("\N{NO-BREAK SPACE}", " ")
    for words in ("19 logs, Tue 20 Oct to Sun 8 Nov 2026", "none on 23 Oct", "All 19 logs", "Worst: Fri 30 Oct"):
        assert words in sheet
    assert "Newest: Sun 8 Nov" in sheet
    page = Reader(render(report)).said.replace("\N{NO-BREAK SPACE}", " ")
    assert "The well pump took 125.0 Ah ± 1.9" in page


def test_the_worst_day_is_named_first_and_shown_in_full(report):
    """30 October with its 39 starts in an hour, then 31 and 29: in the terminal, on the first screen and the page."""
    assert len(report_answer(report).laid_out(80, explain=False)) <= 12
    text = answer_of(report)
    assert "Worst, Fri 30 Oct: the well pump started 39 times in one hour." in text
    assert "Then Sat 31 Oct and Thu 29 Oct." in text
    tile = first_screen(report, {}, None).glances[0].tiles[2]
    assert (tile.name, tile.value) == ("Worst", "Fri 30 Oct")
    page = render(report)
    wanted = page.partition("The logs that want a look first")[2].partition("</ol>")[0]
    assert [day for day in ("Fri 30 Oct", "Sat 31 Oct", "Thu 29 Oct") if day in wanted] == [
        "Fri 30 Oct",
        "Sat 31 Oct",
        "Thu 29 Oct",
    ]
    assert "8 Nov" not in wanted  # it is healthy
    assert 'class="log-title" id="log-' in page
    assert "2026-10-30" in page.partition('class="log-title"')[2]


def test_healthy_days_do_not_hide_the_bad_ones(report):
    """State, what was before, and that the note's change may have cured it: terminal, page and wall."""
    text = answer_of(report, 80)
    history = (
        "Before that, 28 to 31 Oct: it starts too often (4 of 11 days). 'tank recharged' on 31 Oct may have cured it."
    )
    assert first_screen(report, {}, None).verdict.first_step == ""
    assert "HEALTHY: Since 1 Nov: healthy, 8 days." in text
    assert history in text
    assert first_screen(report, {}, None).verdict.history == history
    assert history in shown.steps(report)[-1].lines


def test_without_a_note_nothing_is_said_to_have_cured_it(report):
    """Nor where the note lies before the bad days."""
    for markers in ((), ((us("2026-10-25T10:40"), "fence mended"),)):
        logs = [
            replace(log, facts=replace(log.facts, markers=markers if k == 4 else ()))
            for k, log in enumerate(report.logs)
        ]
        over = over_logs(logs, zone_of)
        text = answer_of(make_report(*logs, over=over), 200)
        assert "28 to 31 Oct: it starts too often (4 of 11 days)" in text
        assert "cured" not in text
        # What went by itself comes back by itself.
        assert "Do first: Check the air." in text
        assert several_sentences.changed_said(over) == ""


def test_what_changed_when_is_one_sentence(report):
    """The note with its time, and the figures of the days on either side of it."""
    text = answer_of(report, 200)
    assert several_sentences.changed_said(report.over) in text
    assert several_sentences.changed_said(report.over).startswith("Changed 31 Oct 10:40, tank recharged: ")
    assert "usual run from 15 s to 1 min 15 s" in text


@pytest.mark.parametrize(
    ("since", "said", "verdict"),
    [
        ("2026-10-31T19:00", "not at 31 Oct 10:40 with 'tank recharged': ", "did not cure it at once: it went on as"),
        ("2026-10-31T06:10", "before 'tank recharged' at 31 Oct 10:40: ", "on 31 Oct came after it was over."),
    ],
)
def test_a_note_hours_beside_the_change_is_not_told_to_be_it(report, since, said, verdict):
    """Runs that stay brief for hours after the note, or were long before it: they tell when, and what is left to do."""
    k = next(k for k, log in enumerate(report.logs) if log.facts.markers)
    logs = list(report.logs)
    brief = tuple(replace(run, run_s=15.0) for run in logs[k].cycles.cycles)
    logs[k] = _longer(replace(logs[k], cycles=replace(logs[k].cycles, cycles=brief)), us(since))
    over = over_logs(logs, zone_of)
    turn = over.change.turn
    assert turn.last_us <= us(since) < turn.first_us
    changed = several_sentences.changed_said(over)
    assert changed.startswith("Changed between 31 Oct ")
    assert said in changed
    text = answer_of(make_report(*logs, over=over), 200)
    assert verdict in text
    assert "may have cured" not in text
    assert "Do first: Check the air." in text


# -- tables ------------------------------------------------------------------------------------------------------------


def rows_of(report, name):
    """The rows of one of a report's tables."""
    return list(csv.DictReader(io.StringIO(csv_files(report)[name].lstrip("\ufeff"))))


def test_each_day_is_a_row(report):
    """Its load's Ah with ±, runs, starts an hour and state; a day without a log is a row without figures."""
    rows = rows_of(report, "load_by_day.csv")
    assert set(csv_files(report)) == set(FILES)
    assert [date.fromisoformat(row["date"]) for row in rows] == days_from("2026-10-20", 20)
    by_date = {row["date"]: row for row in rows}
    assert sum(float(row["load_Ah"]) for row in rows if row["load_Ah"]) == pytest.approx(125.0)
    assert sum(int(row["runs"]) for row in rows if row["runs"]) == report.over.whole.starts
    bad, gone = by_date["2026-10-30"], by_date["2026-10-23"]
    assert (bad["load"], bad["state"], bad["load_Ah"], bad["load_u95_Ah"]) == ("well pump", "act", "20.0", "0.1")
    assert float(bad["starts_per_h"]) == pytest.approx(69 / 24)
    assert bad["busiest_hour"] == "39"
    assert "39 times" in bad["findings"]
    assert (gone["state"], gone["load_Ah"], gone["runs"]) == (NO_READINGS, "", "")
    assert by_date["2026-11-08"]["state"] == "healthy"


def test_a_lower_bound_is_called_one_wherever_it_stands(report):
    """The newest day's runs were not all measured: its amounts, and the sum, on sheet, bars and in the table by day."""
    *others, newest = report.logs
    summary = replace(newest.cycles.summary, charge_u95_Ah=None, energy_u95_Wh=None, too_brief=20)
    logs = (*others, replace(newest, cycles=replace(newest.cycles, summary=summary)))
    made = make_report(*logs, over=over_logs(logs, zone_of))
    sheet = Reader(render_one_page(made)).said.replace("\N{NO-BREAK SPACE}", " ")
    assert "The load took at least 120 Ah 20.00 Ah ± 0.10 at least 3.0 Ah" in sheet
    assert "Runs at least 723 69 at least 50" in sheet
    assert "Starts an hour at least 1.59 2.88 at least 2.08 Usual run" in sheet
    assert "In energy at least 1,300 Wh 75.0 Wh ± 2.0 at least 75 Wh" in sheet
    assert answer_bars_of_all(made.over)[0].text == "at least 120 Ah"
    days = {row["date"]: row["load_at_least"] for row in rows_of(made, "load_by_day.csv")}
    assert [date for date, least in days.items() if least == "true"] == ["2026-11-08"]


def test_a_log_alone_has_its_days_too(report):
    """Without other logs beside it."""
    (row,) = rows_of(make_report(report.logs[0]), "load_by_day.csv")
    assert (row["date"], row["load_Ah"], row["runs"]) == ("2026-10-20", "3.0", "30")


def test_trends_of_all_logs_are_in_their_table(report):
    """Each that the JSON has, on either side of the change."""
    rows = [row for row in rows_of(report, "trends.csv") if not row["log"]]
    wanted = over_document(report.over)["trends"]
    assert len(rows) == len(wanted) > 10
    for row, trend in zip(rows, wanted, strict=True):
        assert (row["name"], row["stretch"], row["verdict"]) == (trend["code"], trend["stretch"], trend["verdict"])
        assert row["usual"] == ("" if trend["usual"] is None else repr(trend["usual"]))


# -- days without readings, and days that are not drawn ----------------------------------------------------------------


def test_days_without_readings_are_named(report):
    """In the terminal's answer and in --explain; once on the page."""
    assert "No readings on 23 Oct." in answer_of(report, 200)
    view = several_view(report, {})  # there they stand below the title
    assert "23 Oct" in view.when and "23 Oct" not in " ".join(view.headline)
    assert several_sentences.without_readings(replace(report.over, days=report.over.days[4:])) == ""


def test_of_a_log_the_wrong_way_round_no_figure_is_told_of_many(report):
    """Its rests would be its runs: its day, and the sum, are not known until it is turned, wherever they stand."""
    *others, newest = report.logs
    wrong = Finding(WRONG_SIGN, "act", "Draw and return seem swapped", "", "", "")
    logs = (*others, replace(newest, findings=(wrong,)))
    over = over_logs(logs, zone_of)
    swapped = make_report(*logs, over=over)
    assert "What the well pump took, and the bank gave, in" in answer_of(swapped, 200)
    assert "not known until the log is turned" in answer_of(swapped, 200)
    assert not re.search(r"\d (Ah|Wh)|load started \d", answer_of(swapped, 200))
    figures = over.days[-1].figures
    assert (figures.runs, figures.charge, figures.use.charge_Ah, figures.measured_s) == (None, None, None, DAY_S)
    row = rows_of(swapped, f"{BY_DAY}.csv")[-1]
    assert [row[name] for name in ("state", "load_Ah", "load_Wh", "runs", "duty_cycle")] == ["act", "", "", "", ""]
    (month, _) = several_view(swapped, {}).months
    assert {month.rows[-1].took, month.rows[-1].runs, month.rows[-1].out} == {numbers.UNKNOWN}
    assert not re.search(r"\d (Ah|Wh)", " ".join(several_view(swapped, {}).headline))
    # Nor does it count in a trend; the day of the change is of neither side.
    assert sum(trend.count for trend in over.trends if trend.code == "starts_per_h") == len(DAYS) - 2


def test_a_day_of_a_log_that_takes_no_part_is_not_without_readings(report):
    """One of another zone: its day is there, but its midnights are others."""
    other = day_log(date(2026, 10, 23), zone="Asia/Tokyo")
    logs = (*report.logs, other)
    more = make_report(*logs, over=over_logs(logs, zone_of))
    assert [left.log for left in more.over.left_out] == [other]
    assert several_sentences.without_readings(more.over) == ""
    rows = {row["date"]: row for row in rows_of(more, f"{BY_DAY}.csv")}
    assert (rows["2026-10-23"]["state"], rows["2026-10-23"]["load_Ah"]) == (LEFT_OUT, "")


def test_days_in_a_row_are_named_by_their_ends():
    """One, two, more, over the end of a month; and not more than five times."""
    days = [date(2026, 10, 1), *days_from("2026-10-05", 2), *days_from("2026-10-30", 4)]
    assert clock.days_named(days) == "1 Oct, 5 and 6 Oct, 30 Oct to 2 Nov"
    assert clock.days_named([date(2026, 10, k) for k in range(1, 20, 2)]) == (
        "1 Oct, 3 Oct, 5 Oct, 7 Oct, 9 Oct and 5 times more"
    )


def test_the_picture_names_the_days_that_it_skips(report):
    """Rows and days left out are all days, none twice; also where fewer are chosen of fewer."""
    rows = clock_rows(report.logs)
    few = rows.shown(12).shown(MOST_NARROW)
    assert sorted([*few.left_out_days, *(row.day for row in few.rows)]) == DAYS
    assert len(few.left_out_days) == few.left_out == len(DAYS) - MOST_NARROW
    assert f"not drawn: {clock.days_named(few.left_out_days)}"[:30] in _drawn(few)


def _drawn(rows):
    """The texts of the narrow drawing, one after another."""
    from shuntbook.cli.render.still_charts import run_rows, svg

    return " ".join(Reader(run_rows.drawn(rows, frame=svg.NARROW)).said.split())


def with_straight(log, straight_Ah):
    """A log whose runs took so much straight from what charged the bank, sure enough to be told."""
    runs = tuple(replace(run, straight_Ah=straight_Ah / len(log.cycles.cycles)) for run in log.cycles.cycles)
    back = log.charge.charge
    sure = replace(back.sure, returned=judged(50.0, [Component("gain", 0.2, even=1)]))
    charge = replace(log.charge, charge=replace(back, returned=50.0, sure=sure))
    return replace(log, cycles=replace(log.cycles, cycles=runs), charge=charge)


def test_what_came_past_the_bank_stands_beside_the_sum(report):
    """What is sure in each log adds up; terminal, page, wall and card say it, and the bank's bar begins behind it."""
    logs = [with_straight(log, 2.0) for log in report.logs]
    over = over_logs(logs, zone_of)
    made = make_report(*logs, over=over)
    each = [sure_from_array(log, "Ah") for log in logs]
    least, unit = straight_in_all(logs, over.whole.starts)
    assert (least, unit) == (pytest.approx(sum(each)), "Ah")
    assert 0.8 * 2.0 * len(logs) < least <= 2.0 * len(logs)
    said = f"at least {answer.at_least(least)} Ah"
    assert f"in 703 runs, {said} of it straight from what charged it." in answer_of(made)
    assert said in first_screen(made, {}, None).glances[0].beside
    assert said in shown.gave_of(made)
    load, bank = answer_bars_of_all(over)
    assert (load.start, bank.start) == (0.0, least)
    # Of a log that is counted in part nobody knows which of its runs are.
    assert answer.past_the_bank_over(over_logs([*logs, logs[3]], zone_of)) == ""


def test_why_the_sum_is_so_wide_is_one_clause(report):
    """Three days of brief runs make most of its ±: they are named; where each day has as much, nothing is said."""
    summaries = [log.cycles.summary for log in report.logs]
    wide = [
        replace(log, cycles=replace(log.cycles, summary=replace(each, charge_u95_Ah=8.0 if k in (8, 9, 10) else 0.1)))
        for k, (log, each) in enumerate(zip(report.logs, summaries, strict=True))
    ]
    (said,) = [line for line in several_sentences.headline(over_logs(wide, zone_of)) if "±" in line and "wide" in line]
    assert "most is of 29 to 31 Oct: runs of 15 s" in said
    assert not any("wide" in line for line in several_sentences.headline(report.over))


def test_hours_without_readings_are_named_beside_days(report):
    """23 October has no log, and the 25th a hole of three hours."""
    k, day = next((k, day) for k, day in enumerate(DAYS) if str(day) == "2026-10-25")
    gap = (us("2026-10-25T11:00"), us("2026-10-25T14:00"))
    holed = replace(day_log(day, gaps=[gap]), checks=(PASSED,))
    over = over_logs([*report.logs[:k], holed, *report.logs[k + 1 :]], zone_of)
    assert "No readings on 23 Oct and for 3 h of 25 Oct." in " ".join(several_sentences.headline(over)[0].split())
    assert several_sentences.headline(report.over)[0].endswith("No readings on 23 Oct.")


@pytest.mark.parametrize(("capacity", "said"), [(420.0, True), (1e5, False)])
def test_more_than_the_bank_holds_is_no_plausible_balance(report, capacity, said):
    """4 A out day and night for nineteen days, and nothing back: 1,824 Ah out of 420 Ah; a larger bank could."""
    place = site(bank={"capacity_Ah": capacity})
    remarks = [text for text in over_logs(report.logs, zone_of, site=place).remarks if text.startswith("The bank gave")]
    assert bool(remarks) is said
    assert not said or remarks[0].startswith("The bank gave 1,824 Ah more than came back, and holds 420 Ah: ")
    assert not said or remarks[0].endswith("is off, by 4 A at most.")
