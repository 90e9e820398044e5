"""The charts beside the picture: bands as broad as what they carry, bars that fade over their interval, all starts."""

import re
from dataclasses import replace

import numpy as np
import pytest
from report_scenes import make_log, make_report, with_facts

from shuntbook.analysis.one_log.energy_flow import EnergyFlow
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.cli.render.page import figures
from shuntbook.cli.render.still_charts import all_starts, bars, energy_flow, svg

FRAMES = pytest.mark.parametrize("frame", [svg.WIDE, svg.NARROW], ids=lambda frame: frame.name)
SUNNY = EnergyFlow(
    "Wh", "dc", Within(200.0, 198.0, 202.0), Within(288.0, 282.0, 294.0), Within(206.0, 200.0, 212.0), 22.0
)


def texts_of(drawing):
    """What is written in a drawing."""
    return re.findall(r"<text[^>]*>([^<]*)</text>", drawing)


def heights_of_bands(drawing):
    """How high each band is at its left end and at its right one, as drawn: all that is curved. [px]."""
    heights = []
    for path in re.findall(r'<path d="(M[^"]*C[^"]*)"', drawing):
        points = [tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path)]
        left, right = min(x for x, _ in points), max(x for x, _ in points)
        ends = ([y for x, y in points if abs(x - end) < 0.02] for end in (left, right))
        heights.append(tuple(max(ys) - min(ys) for ys in ends))
    return heights


@FRAMES
def test_bands_are_as_broad_as_what_they_carry(frame):
    """Every band has the same pixels for a watt-hour, at both of its ends."""
    drawing = energy_flow.energy_flow(SUNNY, "the well pump", "the sun", name="t", frame=frame)
    wanted = [band.amount for band in energy_flow.bands_of(SUNNY, "the well pump", "the sun").bands]
    assert wanted == [184.0, 22.0, 16.0, 288.0]
    drawn = heights_of_bands(drawing)
    px_per_Wh = drawn[3][0] / 288.0
    for (left, right), amount in zip(drawn, wanted, strict=True):
        assert (left / px_per_Wh, right / px_per_Wh) == pytest.approx((amount, amount), abs=0.11 / px_per_Wh)


def test_what_flows_in_flows_out():
    """The bands of each bar are as high as what is written at it."""
    bands = energy_flow.bands_of(SUNNY, "the well pump", "the sun")
    ins, outs = (sum(stop.within.value for stop in stops) for stops in (bands.sources, bands.sinks))
    assert ins == pytest.approx(outs)
    assert ins == pytest.approx(sum(band.amount for band in bands.bands))


def test_a_charger_has_a_band_of_its_own():
    """Of 288 Wh that came back 100 are the charger's: sun and charger both flow into the bank, and all adds up."""
    flow = replace(SUNNY, charger=Within(100.0, 90.0, 110.0))
    bands = energy_flow.bands_of(flow, "the well pump", "the sun")
    assert names_of(bands.sources)[1:] == ["from the sun", "from the charger"]
    assert [band.amount for band in bands.bands][-2:] == [188.0, 100.0]
    assert sum(stop.within.value for stop in bands.sources) == pytest.approx(sum(b.amount for b in bands.bands))
    # All of it: then the sun has no bar where it gave nothing to the load either.
    alone = replace(flow, charger=flow.returned, straight=0.0)
    assert names_of(energy_flow.bands_of(alone, "the well pump", "the sun").sources)[1:] == ["from the charger"]


def names_of(stops):
    """What bars are called, without their figures."""
    return [stop.words.split("\n")[0] for stop in stops]


def test_what_is_not_known_is_not_drawn():
    """Nothing came back: no sun. No run: no load, but what all loads drew. Behind an inverter: no bank."""
    dark = replace(SUNNY, returned=Within.exactly(0.0), straight=0.0)
    assert names_of(energy_flow.bands_of(dark, "the pump", "the sun").sources) == ["from the bank"]
    idle = replace(dark, load=None)
    assert [stop.words.split("\n")[0] for stop in energy_flow.bands_of(idle, "the pump", "the sun").sinks] == [
        "all loads"
    ]
    behind = replace(dark, side="ac")
    assert "from the inverter" in energy_flow.spoken(behind, "the pump", "the sun")


def test_the_flow_says_what_the_meter_does_not_see():
    """Where the bank was charged, what the array gave to other loads is unknown: that is said in words."""
    log = make_log()
    dark = figures.energy_flow(make_report(log), "t")
    assert dark.remark == ""
    assert "not seen" not in dark.wide
    sunny = replace(log, charge=replace(log.charge, energy=replace(log.charge.energy, returned=50.0)))
    figure = figures.energy_flow(make_report(sunny), "t")
    assert "does not see" in figure.remark
    assert "not seen here: what came straight to other loads" in texts_of(figure.wide)
    assert "into the bank" in figure.wide
    assert len(figure.caption.split()) <= 25
    assert figure.tables[0].rows[0][0] == "From the bank"
    assert figure.tables[0].rows[-1] == ("Into the bank", "50.0 Wh")


@pytest.mark.filterwarnings("error")
def test_a_long_name_leaves_room_for_the_flow():
    """On the narrow screen, too; the library would give up laying it out, and say so on the terminal."""
    log = make_log()
    summary = replace(log.cycles.summary, energy_Wh=200.0)
    named = replace(log, cycles=replace(log.cycles, load="W" * 200, summary=summary))
    sunny = replace(named, charge=replace(log.charge, energy=replace(log.charge.energy, returned=50.0)))
    figure = figures.energy_flow(make_report(sunny), "t")
    for drawing in (figure.wide, figure.narrow):
        assert len(heights_of_bands(drawing)) >= 2


def slabs_of(axes):
    """From where to where each slice of a bar goes, and how solid it is."""
    return [(bar.get_x(), bar.get_x() + bar.get_width(), bar.get_alpha()) for bar in axes.patches]


def test_a_soft_bar_is_solid_up_to_the_low_end_and_gone_at_the_high_one():
    """Each slice begins where the one before ends, and is fainter."""
    import matplotlib.figure

    axes = matplotlib.figure.Figure().add_subplot()
    bars.soft_bar(axes, Within(8.35, 8.0, 9.0), (0.0, 1.0), svg.DRAW)
    slabs = slabs_of(axes)
    assert slabs[0] == (0.0, 8.0, 1.0)
    assert slabs[-1][1] == pytest.approx(9.0)
    assert [left for left, _, _ in slabs[1:]] == pytest.approx([right for _, right, _ in slabs[:-1]])
    solid = [alpha for _, _, alpha in slabs]
    assert solid == sorted(solid, reverse=True)
    assert 0 < solid[-1] < 0.1


def test_the_answer_is_drawn_with_its_interval():
    """The load's Ah first, what all drew below it; the figures are those of the sentences."""
    log = make_log()
    summary = replace(log.cycles.summary, charge_Ah=8.35, charge_u95_Ah=0.08)
    figure = figures.answer_bar(replace(log, cycles=replace(log.cycles, summary=summary)), "t")
    label = re.search(r'aria-label="([^"]*)"', figure.wide)[1]
    assert label == "The well pump: 8.35 Ah ± 0.08; Out of the bank, all loads: 13.3 Ah"
    assert texts_of(figure.wide) == ["The well pump", "Out of the bank, all loads"]
    assert texts_of(figures.answer_bar(log, "t").wide) == ["Out of the bank, all loads"]
    empty = replace(log, charge=replace(log.charge, charge=None, energy=None))
    assert figures.answer_bar(empty, "t") is None


def test_starts_that_were_read_too_slowly_are_not_drawn():
    """A log without starts read to their tops has no such chart."""
    assert figures.all_starts(make_log(), "t") is None


def test_the_demos_starts_are_drawn_with_words_on_the_curves(demo):
    """Ten starts of the open day, whose figures are those of its runs; the week after is read too slowly."""
    from shuntbook.cli.assembling.report import report_of
    from shuntbook.cli.opening.prepared_log import read_site

    report = report_of([demo / "open_day.parquet", demo / "week_later.parquet"], read_site(demo / "site.toml"), None)
    fast, slow = report.logs
    figure = figures.all_starts(fast, "t")
    starts = all_starts.of_log(fast)
    assert len(starts.each) == len(fast.cycles.cycles) == 10
    assert starts.surge == pytest.approx(float(np.median([c.surge_A for c in fast.cycles.cycles])), abs=0.5)
    assert starts.running == pytest.approx(float(np.median([c.run_A for c in fast.cycles.cycles])))
    words = texts_of(figure.wide)
    assert f"{starts.surge:.0f} A at the usual start" in words
    assert f"{starts.running:.1f} A running" in words
    assert slow.starts == ()
    assert figures.all_starts(slow, "t") is None


def test_pictures_of_logs_by_hand_and_behind_an_inverter():
    """What was noted, and what has watts alone, has a picture as well."""
    log = with_facts(make_log(), side="ac", sampling="mean")
    assert "run" in figures.picture(make_report(log), "t").wide
    assert figures.energy_flow(make_report(log), "t") is not None


def test_words_stand_beside_a_bar_that_is_too_short_for_them():
    """In the paper's colour they could not be read there; in a long bar they are."""
    short, long = Within(1.0, 0.9, 1.1), Within(100.0, 99.0, 101.0)
    drawing = bars.answer_bars([bars.AnswerBar("The pump", "", short), bars.AnswerBar("All loads", "", long)], name="t")
    colours = re.findall(r'<text style="[^"]*fill: var\(--(\w+)\)[^"]*"[^>]*>(?:The pump|All loads)', drawing)
    assert colours == ["ink", "paper"]


def test_of_many_logs_in_short_the_picture_is_still_drawn(demo, monkeypatch):
    """A log in short brings in no readings around its starts, but its runs are in the picture."""
    from shuntbook.analysis.several_logs import over_logs
    from shuntbook.cli.assembling import report as assembling

    logs = [demo / "open_day.parquet", demo / "week_later.parquet"]
    assert [len(log.starts) for log in assembling.report_of(logs, None, None).logs] == [10, 0]
    monkeypatch.setattr(assembling, "IN_SHORT", 2)
    monkeypatch.setattr(over_logs, "wanting_a_look", lambda reports: reports[1:])
    report = assembling.report_of(logs, None, None)
    assert [len(log.starts) for log in report.logs] == [0, 0]
    assert [row[1] for row in figures.picture(report, "t").tables[0].rows] == ["10", "103"]
    assert "103 runs" in figures.picture(report, "t").wide
