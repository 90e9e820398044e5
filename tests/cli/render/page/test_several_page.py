"""The page and the JSON of many logs: what all of them show first, hours unknown said, small however many."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from day_logs import LONDON, RECHARGED, made_log, us, write_month
from logs_of_days import day_log, days_from, zone_of
from page_reading import (
    NASTY,
    OF_WORDS_ALONE,
    Reader,
    assert_sound,
    undrawn,  # noqa: F401  (a fixture)
)
from readings import US
from report_scenes import make_report
from telling import told

from shuntbook.analysis.health.finding import Finding
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.several_logs.before_after import NamedChange
from shuntbook.analysis.several_logs.over_logs import over_logs
from shuntbook.cli.render.documents.report import report_document
from shuntbook.cli.render.page import several_view
from shuntbook.cli.render.page.page import render
from shuntbook.cli.render.wording import several_sentences
from shuntbook.cli.render.wording.numbers import UNKNOWN

HOUR_US = 3600 * US


def report_of(logs, change=None):
    """The report of several logs."""
    return make_report(*logs, over=over_logs(logs, zone_of, change=change))


def month(count=30, **changes):
    """Day-logs about the change of the clocks, with a gap on the second day; the pump short-cycles on two of them."""
    rng = np.random.default_rng(2)
    act = Finding("short_cycling", "act", "The pump short-cycles", "", "", "", "", "Isolate it first.")
    logs = []
    for k, day in enumerate(days_from("2026-10-20", count)):
        start_us, stop_us = us(f"{day}T00:00", LONDON), us(f"{days_from(str(day), 2)[1]}T00:00", LONDON)
        starts = start_us + np.sort(rng.integers(6 * HOUR_US, 22 * HOUR_US, 20))
        gap = (start_us + round(2.5 * HOUR_US), start_us + round(4.25 * HOUR_US))
        logs.append(
            made_log(
                f"day_{k + 1}",
                start_us,
                stop_us,
                starts.tolist(),
                gaps=[gap] if k == 1 else [],
                findings=(act,) if k in (3, 4) else (),
                **changes,
            )
        )
    return logs


@pytest.fixture(scope="module")
def page():
    """The page of thirty day-logs."""
    return render(report_of(month(), NamedChange(us("2026-11-05T12:00"), RECHARGED)))


def test_thirty_logs_make_a_sound_and_small_page(page):
    """Well under 5 MB, and the sections in their order."""
    said = assert_sound(page)
    assert len(page.encode()) < 2_500_000
    order = [
        "All logs together",
        "October 2026",
        "What was found",
        "Does anything change",
        "When does it start",
        "want a look first",
    ]
    assert sorted(order, key=said.index) == order


def test_only_logs_that_want_a_look_are_shown_in_full(page):
    """The newest, and the worst before it; their days lead to them."""
    assert page.count('class="log-title"') == 2
    assert page.count(" in full</a>") == 2
    assert "In 2 of 30 logs, day 4 the first and day 5 the last." in Reader(page).said


def test_months_open_to_their_days():
    """Sixty days of three months: each in a line with its days, runs, what the load took and its worst state."""
    view = several_view.several_view(report_of(month(60)), {})
    assert [m.name for m in view.months] == ["December 2026", "November 2026", "October 2026"]
    assert [len(m.rows) for m in view.months] == [18, 30, 12]
    december, _, october = view.months
    assert (october.days, october.runs, october.state, october.how_many) == ("12 days", "240 runs", "act", "on 2 days")
    assert (december.state, december.how_many) == ("not judged", "")  # no limit was looked at
    fourth = october.rows[3]
    assert (fourth.name, fourth.runs, fourth.state) == ("Fri 23 Oct", "20", "act")
    assert fourth.findings == ("The pump short-cycles",)
    assert all(not row.findings for m in view.months for row in m.rows if row.state != "act")


def test_months_are_lines_without_scripts_and_small():
    """Each month a fold with its table; the words in sight beside them are few, and the page of a hundred is small."""
    text = render(report_of(month(100)))
    assert "<script" not in text.partition('id="several"')[2].partition('id="several-found"')[0]
    assert text.count('<details class="month">') == 4
    assert len(text.encode()) < 1_500_000


def test_a_month_says_what_the_load_took_and_what_is_unknown():
    """Its days add up, also their intervals; a day without a run adds nothing, one without a figure says so."""
    logs = month(4)
    cycles = [
        replace(log.cycles, summary=replace(log.cycles.summary, charge_Ah=10.0, charge_u95_Ah=0.5)) for log in logs
    ]
    logs = [replace(log, cycles=each) for log, each in zip(logs, cycles, strict=True)]
    logs[2] = replace(logs[2], cycles=replace(logs[2].cycles, cycles=()))
    (only,) = several_view.several_view(report_of(logs), {}).months
    assert only.took == "30.0 Ah ± 1.5"
    assert [row.took for row in only.rows] == ["10.0 Ah ± 0.5", "10.0 Ah ± 0.5", UNKNOWN, "10.0 Ah ± 0.5"]
    assert [row.runs for row in only.rows] == ["20", "20", "0", "20"]


def test_logs_that_take_no_part_have_their_own_table():
    """Why each takes none, and what it shows by itself: no finding is lost because its log has no place in a month."""
    act = Finding("short_cycling", "act", "The pump short-cycles", "", "", "")
    logs = [*month(3), day_log("2026-10-20", name="loose", undated=True, findings=(act,))]
    view = several_view.several_view(report_of(logs), {})
    assert view.left_out.head[:2] == ("Log", "It")
    ((log, why, *_, found),) = view.left_out.rows
    assert (log, why, found) == ("loose", "has no dates", "1 act")
    assert sum(len(m.rows) for m in view.months) == 3
    assert several_view.several_view(report_of(month(3)), {}).left_out is None


def test_the_calendar_tells_unknown_from_nought(page):
    """The gap from 02:30 to 04:15 on 21 October: 03 is unknown, 02 and 04 in part; 25 October alone has 01 again."""
    rows = dict(re.findall(r'<tr><th scope="row">(\w+ \d+ \w+)</th>(.*?)</tr>', page))
    cells = re.findall(r"<td.*?</td>", rows["Wed 21 Oct"])
    seen = [re.sub(r"<[^>]*>", "", cell) for cell in cells[:6]]
    assert seen == ["0", "0", "no such hour on this day", "0+", "—unknown", "0+"]
    again = {day: "no such hour" not in row.split("</td>")[2] for day, row in rows.items()}
    assert [day for day, there in again.items() if there] == ["Sun 25 Oct"]
    assert len(rows) == 30


def test_two_logs_keep_their_page():
    """Two logs stand side by side as ever, without the overview; a named change brings it."""
    logs = month(2)
    assert several_view.several_view(report_of(logs), {}) is None
    named = report_of(logs, NamedChange(us("2026-10-20T12:00")))
    view = several_view.several_view(named, {})
    assert view is not None
    assert [len(m.rows) for m in view.months] == [2]
    assert several_view.logs_in_full(named) == tuple(logs)


def test_what_is_not_judged_is_not_called_equal():
    """Where a difference could not be worked out, none is told, nor that there is none; others keep their word."""
    over = report_of(month(12)).over
    first, *others = over.change.comparison.rows
    unknown = replace(first, difference=Missing("a difference", because="a log is too short"))
    comparison = replace(over.change.comparison, rows=(unknown, *others))
    changed = replace(over, change=replace(over.change, comparison=comparison))
    told, before = (several_view.before_and_after(each).rows for each in (changed, over))
    assert told[0][-1] == UNKNOWN
    assert told[1:] == before[1:]
    assert "no difference" in {row[-1] for row in told}


@OF_WORDS_ALONE
def test_many_names_do_not_swamp_title_and_sentences():
    """Without a site the title names the first and the last; nine logs left out are five and four more."""
    logs = [day_log(day, name=f"log {k}", undated=k > 3) for k, day in enumerate(days_from("2026-11-01", 13))]
    report = replace(report_of(logs), site=None)
    assert "<h1>13 logs: log 0 to log 12</h1>" in render(report)
    assert several_sentences.left_out_said(report.over)[0].endswith("log 8 and 4 more: each has no dates.")


def test_nasty_names_harm_nothing():
    """Script and right-to-left signs in names, meters, findings and the change's note."""
    finding = Finding("draw_drift", "watch", NASTY, NASTY, NASTY, NASTY, NASTY, NASTY)
    days = days_from("2026-11-01", 3)
    logs = [day_log(day, name=NASTY, meter=NASTY + str(k % 2), findings=(finding,)) for k, day in enumerate(days)]
    said = assert_sound(render(report_of(logs, NamedChange(us("2026-11-02T12:00"), NASTY))))
    assert "\u202e" not in said


def test_json_has_all_of_it_with_unknown_null():
    """Days, trends, calendar and before and after, with null where nobody measured; no figure is NaN."""
    report = report_of(month(12))
    document = json.loads(json.dumps(report_document(report)["over_logs"], allow_nan=False))
    assert len(document["days"]) == len(document["calendar"]["days"]) == len(document["logs"]) == 12
    day = document["calendar"]["days"][1]["cells"]
    assert [cell["starts"] for cell in day[3:6]] == [0, None, 0]
    assert {trend["verdict"] for trend in document["trends"]} <= {"no change to be told", "rising", "falling"}
    assert document["before_after"]["comparison"]["figures"]
    assert document["findings"] == [
        {
            "code": "short_cycling",
            "severity": "act",
            "title": "The pump short-cycles",
            "plain": "",
            "logs": ["day_4", "day_5"],
        }
    ]
    assert report_document(make_report())["over_logs"] is None


# -- the command -------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def days(tmp_path_factory):
    """Four simulated day-logs, one every 30 s; a tank recharged on the second."""
    folder = tmp_path_factory.mktemp("days")
    paths = write_month(folder, days=4, every_s=30.0)
    from shuntbook.ingest.journal.opening import open_log
    from shuntbook.ingest.log.log import new_log, to_batch

    log = open_log(paths[1])
    (readings,) = log.scan()
    noted = replace(log.meta, markers=[(us("2026-10-11T10:40", LONDON), RECHARGED)])
    with new_log(paths[1], list(readings.quantities)) as writer:
        writer.write(to_batch(readings))
        writer.finish(noted)
    return paths


def test_report_takes_a_note_or_a_time_for_the_change(days, capsys):
    """The note of one log's marker and the instant it stands at give the same two sides."""
    found = []
    for words in (RECHARGED, "2026-10-11T10:40"):
        status, out, err = told(capsys, "report", *days, "--json", "--changed-at", words)
        assert status == 0
        assert "reading 4 logs" in err
        found.append(json.loads(out)["over_logs"]["before_after"])
    assert found[0]["note"] == RECHARGED
    assert {**found[0], "note": None} == found[1]
    assert (found[0]["at"], found[0]["before_days"], found[0]["after_days"]) == ("2026-10-11T09:40:00Z", 1, 2)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("2027-01-01", "--changed-at: '2027-01-01' does not lie within the logs, which go from 10 Oct 2026"),
        ("new tank", "--changed-at: 'new tank' is no time such as 10:30"),
    ],
)
def test_a_change_that_is_none_is_said(days, capsys, words, sentence):
    """One sentence and status 2, before anything is read through."""
    status, out, err = told(capsys, "report", *days, "--json", "--changed-at", words)
    assert (status, out) == (2, "")
    assert sentence in err
    assert "reading" not in err


@OF_WORDS_ALONE
def test_the_terminal_tells_what_all_logs_show(days, capsys, tmp_path):
    """A few lines, not some for each log."""
    status, out, _ = told(capsys, "report", *days, "--out", tmp_path / "all.html")
    assert status == 0
    assert len(out.splitlines()) < 10
    status, out, _ = told(capsys, "report", *days, "--out", tmp_path / "all.html", "--force", "--explain")
    out = out.replace("\n  ", " ")
    assert re.search(r"In \d d[\d h]* of readings the bank gave \d+ Ah ± \d+", out)
    assert "days were measured long enough; at least 8 are needed" in out
    assert "In the last half of the logs beside the first" in out
