"""The nameplate's reasons in the terminal, in JSON, in tables and in the chart: the same figures everywhere."""

import json
from itertools import pairwise

import pytest
from page_reading import OF_WORDS_ALONE, undrawn  # noqa: F401  (a fixture)
from report_scenes import make_log, make_plate, make_report

from shuntbook.cli.render.documents.charge_and_runs import plate_document
from shuntbook.cli.render.documents.report import report_document
from shuntbook.cli.render.page.page import render
from shuntbook.cli.render.page.plate_tables import by_habit, left_out_on_paper, lesson, why
from shuntbook.cli.render.still_charts.bars import bars_of, waterfall
from shuntbook.cli.render.terminal.plate import plate_lines
from shuntbook.cli.render.wording.lesson import what_differs


def test_terminal_goes_from_paper_over_nameplate_to_the_measurement():
    """Three sums with the reasons between them, what is assumed, and what limits it."""
    lines = plate_lines(make_log())
    text = "\n".join(lines)

    assert [line.split()[0] for line in lines if line.startswith("  ") and line[2] != " "][:4] == [
        "on",
        "from",
        "measured:",
        "By",
    ]
    assert "takes volt-amperes for watts; the power factor leaves 58 % of them: −" in text
    assert "(estimated)" in text
    assert "(measured)" in text
    assert "assumed: The bank's voltage under load is not stated" in text
    assert "note: A meter at the bank sees the load and its inverter's loss as one" in text
    assert "1 h on paper are 1,150 Wh" in text


def test_terminal_says_why_nothing_is_compared():
    """Without a comparison the reason stands there; without a plate nothing does."""
    assert plate_lines(make_log(plate=None, no_plate="no run was seen whole"))[-1] == (
        "nameplate: not compared: no run was seen whole"
    )
    assert plate_lines(make_log(plate=None)) == []


@OF_WORDS_ALONE
def test_page_says_why_nothing_is_compared():
    """The page has the same sentence."""
    page = render(make_report(make_log(plate=None, no_plate="no run was seen whole")))

    assert "The nameplate is not compared: no run was seen whole." in page


@pytest.mark.parametrize("key", ["paper_to_estimate", "estimate_to_measured", "by_habit"])
def test_json_holds_parts_that_add_up(key):
    """What a script reads sums to the differences; each part has its basis and its sentence."""
    found = plate_document(make_plate())[key]

    for what, unit in (("energy", "Wh"), ("charge", "Ah")):
        whole = found[f"{what}_difference_{unit}"]
        assert sum(part[f"{what}_{unit}"] for part in found["parts"]) == pytest.approx(whole, rel=1e-9)
        assert whole == pytest.approx(found[f"{what}_to_{unit}"] - found[f"{what}_from_{unit}"])
    assert sum(part["share"] for part in found["parts"]) == pytest.approx(1.0)
    assert {part["basis"] for part in found["parts"]} <= {"measured", "estimated", "assumed"}
    assert all(part["sentence"].startswith(part["because"]) for part in found["parts"])


def test_json_of_a_report_has_the_keys_scripts_rely_on():
    """The keys from before are still there, and the document is plain JSON."""
    document = json.loads(json.dumps(report_document(make_report())))

    assert {"chain", "measured_energy_Wh", "energy_ratio", "paper_charge_ratio"} <= document["nameplate"].keys()
    assert document["nameplate"]["chain"][0]["step"] == "paper"
    assert document["paired"] == []


@OF_WORDS_ALONE
def test_both_sums_stand_beside_each_other_step_by_step():
    """On the page, in JSON, in the same figures; what no meter saw does not stand as measured."""
    check = make_plate()
    there, back = lesson(check.lesson)
    found = plate_document(check)

    assert [row[0].lower() for row in there.rows] == [step["name"] for step in found["steps"]]
    assert [row[0].lower() for row in back.rows] == [step["name"] for step in found["steps_back"]]
    cells = {row[0]: row for row in there.rows}
    assert cells["Watts"][1] == "1,150 W: 230 V x 5 A, taken for watts"
    assert cells["Watt-hours"][2].startswith(f"{check.runs.energy_Wh:.0f} Wh: ")
    assert cells["Hours"][1].startswith("19 min 19 s: ")  # 16 runs of 72.45 s
    assert "behind the inverter" in back.rows[-1][2] and ", reckoned: " in back.rows[-1][2]
    page = render(make_report())
    assert "On paper and measured, in 7 steps" in page
    assert "are not" in back.rows[2][3] and "x 24 Wh" in back.rows[2][3]


def test_without_amps_there_is_no_way_back_on_the_page():
    """The steps that need them are unknown, and what differs is told in watt-hours."""
    check = make_plate(charge_Ah=None)

    assert len(lesson(check.lesson)) == 1
    assert {row[0]: row for row in lesson(check.lesson)[0].rows}["Amp-hours"][2].startswith("unknown, not known: ")
    assert plate_document(check)["steps_back"] == []
    assert " Wh" in what_differs(check.lesson) and " Ah" not in what_differs(check.lesson)


def test_tables_end_with_the_whole_difference():
    """Each table's last row is what its parts amount to together; unknown charge is unknown in every row."""
    check = make_plate()
    for table, found in ((left_out_on_paper(check), check.left_out_on_paper), (why(check), check.why)):
        assert table.rows[-1][0] == "Together"
        assert len(table.rows) == len(found.reasons) + 1
    without = why(make_plate(charge_Ah=None))
    assert {row[2] for row in without.rows} == {"unknown"}
    assert by_habit(check) is not None


def test_each_bar_begins_where_the_one_above_ends():
    """From paper to measurement without a break, and each label has the sign of its bar."""
    bars = bars_of(make_plate())

    assert [bar.label.split(":")[0] for bar in bars if bar.is_sum] == ["on paper", "from the nameplate", "measured"]
    for before, bar in pairwise(bars):
        assert (bar.stop_Wh if bar.is_sum else bar.start_Wh) == pytest.approx(before.stop_Wh)
        if not bar.is_sum:
            assert ("+" in bar.label) == (bar.stop_Wh > bar.start_Wh)


def test_chart_is_drawn_with_whole_labels():
    """No digit of a label is lost, and the drawing says what it shows."""
    chart = waterfall(bars_of(make_plate()))

    assert 'aria-label="Energy on paper' in chart
    for bar in bars_of(make_plate()):
        assert bar.label in chart
