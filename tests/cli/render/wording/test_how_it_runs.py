"""A load of several speeds is told with the time at each, the same on the terminal, on the page and in JSON."""

from dataclasses import replace

import pytest
from health_cycles import cycles
from report_scenes import make_log, make_report

from shuntbook.analysis.cycles.cycle import CycleSummary, Speed
from shuntbook.analysis.site.site import Limits
from shuntbook.cli.render.documents.charge_and_runs import cycles_document
from shuntbook.cli.render.page.figures import runs as runs_figure
from shuntbook.cli.render.page.log_sections import health
from shuntbook.cli.render.page.log_tables import cycles as runs_table
from shuntbook.cli.render.terminal.columns import Columns
from shuntbook.cli.render.terminal.cycles import cycles_answer
from shuntbook.cli.render.wording import log_sentences
from shuntbook.cli.render.wording.how_it_runs import UNDER_ARRAY, at_speeds

SPEEDS = (Speed(8.0, 200.0, 720.0), Speed(28.0, 700.0, 90.0))


def at_two_speeds(**changes):
    """The open day's log, with a pump that runs at two speeds."""
    log = make_log()
    runs = tuple(replace(cycle, at_speeds=(72.0, 0.0), surge_ratio=None) for cycle in log.cycles.cycles)
    return replace(log, cycles=replace(log.cycles, cycles=runs, speeds=SPEEDS, **changes))


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({}, "It runs at 2 speeds: 200 W for 12 min and 700 W for 1 min 30 s."),
        ({"fixed_speeds": False}, "It draws what is asked of it: about 200 W for 12 min and 700 W for 1 min 30 s."),
        ({"speeds": (Speed(8.0, None, 720.0),)}, "It runs at one speed: 8.00 A for 12 min."),
    ],
)
def test_its_draws_are_one_sentence(changes, sentence):
    """Fixed speeds, what a drive follows, and amps where there are no watts."""
    assert at_speeds(replace(at_two_speeds().cycles, **changes)) == sentence


def test_draws_told_under_an_array_are_doubted():
    """Whoever reads them learns how to be surer."""
    assert at_speeds(at_two_speeds(under_array=True).cycles).endswith("1 min 30 s. " + UNDER_ARRAY)


def test_each_run_tells_the_time_at_each_draw():
    """A column for each on the page, one for all on the terminal, and levels in JSON for those that were held."""
    log = at_two_speeds()
    table, document = runs_table(log), cycles_document(log)

    at = [table.head.index(head) for head in ("At 200 W", "At 700 W")]
    assert [table.rows[0][k] for k in at] == ["1 min 12 s", "0 s"]
    assert "On average" in table.head
    assert "Highest at start" not in table.head
    shown = next(block for block in cycles_answer(log).reasons if isinstance(block, Columns))
    assert shown.heads[-1] == "draws"
    assert shown.rows[0][-1] == "200 W for 1 min 12 s"
    assert "surge" not in shown.heads
    assert document["cycles"][0]["levels"] == [{"draw_A": 8.0, "draw_W": 200.0, "lasted_s": 72.0}]
    assert [speed["lasted_s"] for speed in document["summary"]["speeds"]] == [720.0, 90.0]


def test_a_load_that_is_on_or_off_tells_of_no_speeds():
    """Nothing of it in its JSON, nor in its table."""
    table, document = runs_table(make_log()), cycles_document(make_log())

    assert not {"levels", "at_speeds"} & set(document["cycles"][0])
    assert "speeds" not in document["summary"]
    assert "Settled power" in table.head


def test_the_page_says_its_draws_beside_how_it_ran():
    """With the runs, in a sentence; nothing of a load that is on or off."""
    log, plain = at_two_speeds(), make_log()

    assert at_speeds(log.cycles) in health(make_report(log), log, "log").sentences
    assert at_speeds(plain.cycles) == ""


def test_no_line_of_direct_starts_is_drawn_for_a_drive():
    """The shortest good run is one for motors that are switched straight on; the owner's own is drawn for any."""
    log = at_two_speeds()
    following = replace(log, cycles=replace(log.cycles, fixed_speeds=False))
    own = Limits(minimum_run_s=45.0)

    assert "Shortest good run: 1 min" in runs_figure(log, None, "runs").caption
    assert "Shortest good run" not in runs_figure(following, None, "runs").caption
    assert "Shortest good run: 45 s" in runs_figure(following, own, "runs").caption


def test_bursts_are_told_in_place_of_one_usual_rest():
    """Eight starts with short rests, then minutes of quiet; of even rests the usual one."""
    rests = [*[20.0] * 7, 300.0] * 5
    summary = CycleSummary(40, 24.0, 0.1, 13.0, 20.0)
    log = make_log()
    in_bursts = replace(log, cycles=replace(cycles(13.0, rests), summary=summary))
    told = log_sentences.ran(in_bursts)
    assert told.endswith("It starts in bursts: about 8 runs with rests of 20 s, then 5 min of quiet.")
    assert "the rest between" not in told
    even = replace(log, cycles=replace(cycles(13.0, [20.0] * 40), summary=summary))
    assert log_sentences.ran(even).endswith("a usual run lasted 13 s, the rest between two runs 20 s.")
