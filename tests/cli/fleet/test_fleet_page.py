"""The fleet's page: what to look after first, whole whatever the logs are called, on a phone and on paper, too."""

import random
from dataclasses import replace

import pytest
from browsers import WIDTHS, as_wide_as, browser
from fleet_summaries import ORDER, found, log
from page_reading import NASTY, Reader, assert_sound

from shuntbook.analysis.cautions import CAUTIONS
from shuntbook.analysis.health.finding import WRONG_SIGN
from shuntbook.analysis.several_logs.fleet import LogSummary, ranked
from shuntbook.cli.fleet.chart import histogram
from shuntbook.cli.fleet.page import render
from shuntbook.cli.fleet.words import how_often, load_took, told


def read(summary, **changes):
    """A log with runs, as one that was read has."""
    figures = {"cycles": 12, "starts_per_hour": 3.2, "duty_cycle": 0.2, "median_run_s": 70.0, "drawn_Ah": 8.1}
    return replace(summary, **figures | changes)


FLEET = ranked([read(s) if s.status == "read" else s for s in ORDER])


def test_the_page_tells_order_findings_and_what_was_not_read():
    """Each log that has something to say is named once in the order; the pressing ones are told in full."""
    page = render(FLEET, "1.2.3")
    assert_sound(page)
    said = Reader(page).said
    assert "11 logs: 5 to act on, 2 to watch, 2 not read, 2 with nothing to act on or to watch." in said
    assert said.index("1. z-dry") < said.index("2. v-short") < said.index("6. u-low") < said.index("8. b-torn")
    assert "is damaged" in said
    assert "9 logs with runs, by starts an hour." in said
    assert all(text in said for text in CAUTIONS)


def test_the_answer_stands_first():
    """Which log to look after first, in plain words, what to do, and Ah over all; a fleet that is well says so."""
    dry = replace(found("prime_lost", "act"), plain="It drew 420 W. It should be 546 W.", first_step="Lock it off.")
    amounts = {"load_Ah": 8.35, "load_u95_Ah": 0.08, "runs_with_Ah": 12}
    said = Reader(render(ranked([*FLEET, read(log("a-dry", dry), **amounts)]), "1")).said
    assert "a-dry: It drew 420 W. It should be 546 W." in said
    assert (
        said.index("It drew 420 W.")
        < said.index("Lock it off.")
        < said.index("8.35 Ah ± 0.08")
        < said.index("The order")
    )
    well = Reader(render([read(log("b"), **amounts)], "1")).said
    assert "Healthy" in well
    assert "Not judged" in Reader(render([LogSummary("a", "not read", "is damaged")], "1")).said


def test_an_amount_is_told_of_as_many_runs_as_it_is_of():
    """Some runs whose amount is not known, or not in one of the units; and no amount where the sign seems wrong."""
    amounts = {"load_Ah": 8.35, "load_u95_Ah": 0.08, "load_Wh": 206.0, "load_u95_Wh": 2.0}
    both = read(log("a"), **amounts, runs_with_Ah=12, runs_with_Wh=12)
    assert told(both) == "took 8.35 Ah ± 0.08 (206.0 Wh ± 2.0) in 12 runs"
    assert told(replace(both, runs_with_Wh=9)) == "took 8.35 Ah ± 0.08 in 12 runs"
    assert told(replace(both, runs_with_Ah=9, runs_with_Wh=9)) == "took 8.35 Ah ± 0.08 (206.0 Wh ± 2.0) in 9 of 12 runs"
    brief = replace(both, load_u95_Ah=None, load_u95_Wh=None, runs_too_brief=30)
    assert told(brief) == "took at least 8.3 Ah (200 Wh) in 12 of 42 runs or more"
    assert "at least 8.3 Ah" in Reader(render([brief], "1")).said
    often = replace(brief, starts_per_hour=6.0, duty_cycle=0.1)
    assert how_often(often) == ("at least 42", "at least 21.0", "at least 10 %")
    assert how_often(replace(often, runs_too_brief=0)) == ("12", "6.00", "10 %")
    assert "at least 21.0" in Reader(render([often], "1")).said
    assert told(read(log("a"))) == "what its load took is not known"
    assert load_took(replace(both, codes=(WRONG_SIGN,))) == ""


def test_a_state_is_not_said_twice():
    """What was not judged begins with these words by itself."""
    left = read(log("a"), not_judged=("short_cycling",))
    said = Reader(render([left], "1")).said
    # And its figures are among the others', which are all there are here.
    assert "1 log with runs, by starts an hour." in said
    assert "not judged: length of runs, number of starts" in said
    assert "not judged: not judged" not in said


def test_the_same_fleet_gives_the_same_bytes():
    """Whatever the order in which its logs came in."""
    assert render(ranked(random.Random(1).sample(FLEET, len(FLEET))), "1") == render(FLEET, "1")


def test_names_and_reasons_stay_text():
    """What a folder, a site file or a damaged log brings along cannot become markup."""
    nasty = [
        read(log(NASTY, found("short_cycling", "act")), site_name=NASTY, load=NASTY, meter=NASTY, worst=NASTY),
        LogSummary(NASTY + "2", "not read", NASTY),
    ]
    page = render(ranked(nasty), "1")
    assert_sound(page)
    assert page.count("<script") == 1
    assert "&lt;script&gt;" in page


def test_a_large_fleet_makes_a_page_that_can_be_scrolled():
    """A hundred rows of each table; what is left out is said, and counted."""
    many = [read(log(f"{k:04d}", found("leak_down", "watch")), starts_per_hour=k / 100) for k in range(2_000)]
    page = render(ranked(many), "1")
    assert len(page) < 400_000
    assert Reader(page).said.count("And 1,900 more; all are in the Parquet file.") == 2


@pytest.mark.parametrize("fleet", [[LogSummary("a", "not read", "is damaged")], [LogSummary("a", cycles=0)]])
def test_a_fleet_without_runs_has_no_chart(fleet):
    """Nothing is drawn of nothing."""
    page = render(fleet, "1")
    assert_sound(page)
    assert "<svg" not in page


def test_it_fits_every_screen(tmp_path):
    """Nothing but a table of its own scroll is wider than the screen."""
    long = read(log("a/very/long/way/to/a/log/that/lies/deep/in/folders.parquet", found("leak_down", "watch")))
    path = tmp_path / "page.html"
    path.write_text(render(ranked([*FLEET, long]), "1"), encoding="utf-8")
    with browser() as driven:
        driven.get(path.as_uri())
        for width in WIDTHS:
            as_wide_as(driven, width)
            assert driven.execute_script("return document.documentElement.scrollWidth") <= width
        assert [entry for entry in driven.get_log("browser") if entry["level"] == "SEVERE"] == []


def test_a_legend_names_what_has_bars():
    """A group without a log is not in the legend, where it would have another group's colour."""
    drawn = histogram([("to act on", [40.0]), ("to watch", []), ("neither", [3.0])], "starts an hour", name="starts")
    assert [called in drawn for called in ("to act on", "to watch", "neither")] == [True, False, True]
