"""The page says what the report holds, asks nothing of a network, and stays whole whatever a log brings along."""

import re
import subprocess
import sys
from dataclasses import replace

import pytest
from page_reading import (
    NASTY,
    OF_WORDS_ALONE,
    Reader,
    assert_sound,
    undrawn,  # noqa: F401  (a fixture)
    without_scripts,
)
from places import ROOT
from report_scenes import (
    SECOND_US,
    START_US,
    folded,
    make_cycle,
    make_later,
    make_log,
    make_plate,
    make_readings,
    make_report,
    make_site,
    with_facts,
)

from shuntbook.analysis.cautions import CAUTIONS
from shuntbook.analysis.charge.amounts import Amounts, Charge, Sureness
from shuntbook.analysis.cycles.cycle import Cycles, CycleSummary
from shuntbook.analysis.health.finding import Finding
from shuntbook.analysis.one_log.log_report import CloseUp
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import HowRead, Span
from shuntbook.analysis.stats.interval95 import Component, judged
from shuntbook.cli.render.page import method
from shuntbook.cli.render.page.page import render


@pytest.fixture(scope="module")
def pages():
    """The page of one log and of two."""
    return {"one": render(make_report()), "two": render(make_report(make_log(), make_later()))}


#: The type sizes of all pages, and the steps of a projector's view, whose sizes go with its screen.
SIZES = {"small": 14, "text": 17, "head": 22, "large": 32, "larger": 48, "largest": 72}
_BY_NAME = re.compile(rf"var\(--(?:{'|'.join(SIZES)}|less)\)|inherit")


def test_every_style_sheet_has_the_six_sizes_alone():
    """By name; on the stage a share of its height, and on paper that of the root in points, by which all go."""
    sheets = {
        path.name: path.read_text(encoding="utf-8") for path in (ROOT / "cli/render/page/templates").glob("*.css")
    }
    root = re.findall(r"--(\w+): ([\d.]+)rem;", sheets["page.css"])
    assert {name: 16 * float(rem) for name, rem in root} == SIZES
    assert len(sheets) > 7
    for name, sheet in sheets.items():
        own = re.sub(r"\bhtml \{ font-size: [\d.]+pt;", "", sheet)
        sizes = re.findall(r"font-size:\s*([^;}]+)", own)
        allowed = {"live_chart.css": r"1em", "stage.css": r"calc\([\d.]+ \* var\(--u\)\)"}.get(name, r"$^")
        assert [x for x in sizes if not (_BY_NAME.fullmatch(x.strip()) or re.fullmatch(allowed, x.strip()))] == [], name


@pytest.mark.parametrize("which", ["one", "two"])
def test_page_is_sound_and_small(pages, which):
    """The page is balanced HTML that fetches nothing, and fits a slow phone."""
    assert_sound(pages[which])
    assert "default-src 'none'" in pages[which]
    page, _ = without_scripts(pages[which])
    # Our own budget for text and drawings.
    assert len(page.encode()) < 1_500_000


def test_page_is_the_same_bytes_each_time(pages):
    """Nothing on the page depends on when it was made."""
    assert render(make_report()) == pages["one"]


def test_figures_on_the_page_are_those_of_the_report(pages):
    """The first screen and the tables hold the report's own figures."""
    said = Reader(pages["one"]).said
    count = len(make_log().cycles.cycles)
    assert "Out of the bank 13.3 Ah all loads" in said
    assert "the bank gave 13.3 Ah (332 Wh)" in said
    assert f"{count} starts, 16.1 an hour; a usual run took 1 min 12 s." in said
    assert f"started {count} times, 16.1 an hour, and ran 32 % of the measured time" in said
    assert "a usual run lasted 1 min 12 s" in said
    assert "Rows read 3,371 Rows kept 3,362 Rows rejected 7 Rows with the same time, merged 2" in said
    assert "4 min" in said  # the gap: 1500 s to 1740 s
    # 13.254 Ah in 3,359 s: 13.254 * 3600 / 3359 = 14.2 A.
    assert "13.3 Ah net / 0.933 h measured = 14.2 A on average" in said


def test_times_are_those_of_the_logs_zone(pages):
    """In June the clocks of Europe/London are an hour ahead of UTC, and an assumed zone is called assumed."""
    said = Reader(pages["one"]).said
    assert "From 9 Jun 2026 11:13:20 to 12:13:19 (Europe/London)" in said
    assert "Europe/London, assumed" in said


@OF_WORDS_ALONE
def test_interval_is_shown_only_where_known(pages):
    """Without an interval there is no ± anywhere; with one it stands beside the value."""
    assert "±" not in Reader(pages["one"]).said
    log = make_log()
    sure = Sureness(*(judged(x, [Component("gain", u)]) for x, u in ((13.254, 0.107), (0.0, 0.02), (13.254, 0.11))))
    known = replace(log, charge=replace(log.charge, charge=Amounts(13.254, 0.0, sure)))
    assert "13.25 Ah ± 0.21" in assert_sound(render(make_report(known)))


def test_two_logs_start_with_a_comparison(pages):
    """The worst of the newest comes first, then both logs, and what asks for action before what wants watching."""
    said = Reader(pages["two"]).said
    order = ("▲ Act week later", "The pump short-cycles.", "open day, 9 Jun 2026", "What each log shows")
    assert sorted(order, key=said.index) == list(order)
    assert said.index("What each log shows") < said.index("What did it take out of the bank?")
    assert "act: The pump short-cycles; watch: Something draws all the time" in said
    assert "The tank has lost its air." in said


def test_long_lists_are_cut_and_say_so(pages):
    """Of many runs thirty are listed, and the page says so in words for its reader."""
    said, count = Reader(pages["two"]).said, len(make_later().cycles.cycles)
    assert f"Listed here are the first 30 of {count}; all of them count in the figures of this page." in said
    assert "--" not in said


@OF_WORDS_ALONE
def test_unresolved_surge_is_a_lower_bound(pages):
    """Where sampling is too slow for the surge, what hangs on it is a bound in both tables, and the page says why."""
    said = Reader(pages["one"]).said.replace("\N{NO-BREAK SPACE}", " ")
    runs, start = said.split("Runs of the well pump", 1)[1].split("This start", 1)
    for bound in ("≥ 51.0 A", "≥ 1,290 W", "≥ 1.65", "≥ 0.630 V"):
        assert bound in runs
        assert bound in start
    assert "is a lower bound" in said
    log = make_log()
    seen = replace(log.close_up, cycle=replace(log.close_up.cycle, surge_resolved=True))
    known = assert_sound(render(make_report(replace(log, close_up=seen)))).replace("\N{NO-BREAK SPACE}", " ")
    assert "The start rose to 51.0 A" in known
    assert "≥" not in known.split("This start", 1)[1]


def test_nameplate_steps_stand_with_their_origin(pages):
    """Every step of the estimate is on the page, and so are its assumptions."""
    said = Reader(pages["one"]).said
    check = make_plate()
    for step in check.estimate.steps:
        assert " ".join(step.origin.split()) in said
    for text in check.estimate.assumptions:
        assert text in said


@OF_WORDS_ALONE
def test_plate_is_compared_with_the_figures_of_the_table():
    """Sentence and table round alike, and charge that was not measured is left out and unknown, never 0."""
    said = assert_sound(render(make_report())).replace("\N{NO-BREAK SPACE}", " ")
    # 230 V x 5 A x 0.322 h = 370 Wh on paper; x 0.58 / 0.88 and 28 W idle, x 0.322 h = 253 Wh; 246 is 97 % and 66 %.
    assert "took 246 Wh: 3 % less than the 253 Wh reckoned from its nameplate, and 34 % less than the 370 Wh" in said
    assert "On paper 370 Wh 15.4 Ah 66 % From the nameplate 253 Wh 11.1 Ah 97 % Measured 246 Wh 9.90 Ah" in said
    said = assert_sound(render(make_report(make_log(plate=make_plate(charge_Ah=None))))).replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert "In charge" not in said
    assert "Measured 246 Wh — unknown 100 %" in said


def test_cautions_and_method_are_on_every_page(pages):
    """The usual cautions stand in full, and the formula can be used by hand."""
    said = Reader(pages["one"]).said
    for caution in CAUTIONS:
        assert caution in said
    assert "(i0 + i1) / 2 × dt / 3600" in said
    assert "0.0.test" in said


def test_nasty_text_is_escaped_wherever_it_comes_from():
    """Script, quotes, dollars, control signs and right-to-left text from log, site and markers harm nothing."""
    finding = Finding("draw_drift", "watch", NASTY, NASTY, NASTY, NASTY, NASTY, NASTY)
    log = make_log(
        findings=(finding,), cycles=Cycles((make_cycle(100, load=NASTY),), make_log().cycles.summary, "current_A")
    )
    log = with_facts(log, name=NASTY, meter=NASTY, source=NASTY, remarks=(NASTY,), markers=((START_US, NASTY),))
    site = make_site().model_copy(update={"name": NASTY})
    said = assert_sound(render(make_report(log, log, site=site)))
    assert '<script>alert("x")</script> & \' " $x^2$' in said
    assert "\u202e" not in said
    assert "\x07" not in said


def test_ten_thousand_characters_do_not_swamp_the_page():
    """A very long name is cut; the page stays small."""
    long = "marrow " * 1500
    log = with_facts(make_log(name=long), meter=long, source=long, remarks=(long,), markers=((START_US, long),) * 40)
    page = render(make_report(log))
    assert "…" in assert_sound(page)
    assert page.count("marrow") < 3000


def test_unknown_is_said_and_never_zero():
    """What a log cannot tell is `unknown`, and columns nobody knows are left out."""
    names = ("stop_us", "run_s", "off_before_s", "surge_A", "surge_ratio", "run_A", "peak_W", "run_W")
    unknown = dict.fromkeys((*names, "charge_Ah", "energy_Wh", "sag_V"))
    blank = replace(make_cycle(100), complete=False, **unknown)
    log = make_log(
        cycles=Cycles((blank,), CycleSummary(1, None, None, None, None), "current_A"),
        close_up=CloseUp(blank, make_readings(()).part(90, 190)),
        charge=Charge(HowRead("dc", "instant", 10.0, 1.0), Span(None, None, 0, 0.0, ()), None, None, None, None),
        envelopes={},
        plate=None,
        findings=(),
    )
    log = with_facts(log, usual_interval_s=None, meter=None)
    said = assert_sound(render(make_report(log, site=None)))
    assert "unknown" in said
    assert "Voltage sag" not in said.split("How was this computed?")[0]


def test_side_ac_has_energy_only():
    """Behind an inverter amps are no charge of the bank: the page says so and gives no amp-hours."""
    log = make_log(plate=None, close_up=None)
    readings = make_readings(log.cycles.cycles)
    power = Chunk(readings.time_us, {"power_W": readings.quantities["current_A"] * 24})
    log = replace(
        with_facts(log, side="ac"),
        charge=replace(log.charge, charge=None, energy_by="the power column"),
        envelopes={"power_W": folded(power, "power_W")},
        cycles=Cycles(tuple(replace(c, charge_Ah=None) for c in log.cycles.cycles), log.cycles.summary, "power_W"),
    )
    said = assert_sound(render(make_report(log)))
    assert "Amps behind an inverter are no charge of the bank" in said
    assert "The energy" in said
    assert "The bank" not in said
    assert "charge drawn" not in said
    assert not re.search(r"\d Ah", said)
    assert "VA, not W" in said


def test_undated_log_shows_no_calendar():
    """Times of a log without dates count from its start."""
    log = make_log()
    shift = lambda us: us - START_US  # noqa: E731
    cycles = tuple(replace(c, start_us=shift(c.start_us), stop_us=shift(c.stop_us)) for c in log.cycles.cycles)
    readings = make_readings(log.cycles.cycles)
    moved = Chunk(readings.time_us - START_US, readings.quantities)
    log = replace(
        with_facts(log, undated=True, markers=((5 * SECOND_US, "crates"),)),
        charge=replace(log.charge, span=Span(0, 3599 * SECOND_US, 3600, 3599.0, ())),
        cycles=replace(log.cycles, cycles=cycles),
        envelopes={"current_A": folded(moved, "current_A")},
        close_up=CloseUp(cycles[0], moved.part(90, 190)),
    )
    said = assert_sound(render(make_report(log)))
    assert "From +0:00:00 to +0:59:59 (after the log's start)" in said
    assert not re.search(r"\b(1970|2026)\b", said)


def test_no_cycles_is_said():
    """A log in which nothing starts still makes a page."""
    log = make_log(cycles=Cycles((), CycleSummary(0, None, None, None, None), "current_A"), close_up=None, findings=())
    said = assert_sound(render(make_report(log)))
    assert "No load was seen to start and stop." in said
    assert "No finding: there was no run to check." in said


@OF_WORDS_ALONE
@pytest.mark.parametrize(
    ("others", "words"),
    [(10, "(its plate says about 33 A); 10 runs of other loads were."), (0, "(its plate says about 33 A).")],
)
def test_a_load_that_did_not_run_is_named(others, words):
    """Where the load that was looked for did not run, the page says what was expected and what there was instead."""
    summary = CycleSummary(0, 0.0, 0.0, None, None, others)
    cycles = Cycles((), summary, "current_A", "well pump", 33.2456)
    said = assert_sound(render(make_report(make_log(cycles=cycles, close_up=None, findings=()))))
    assert f"No run like the well pump's was seen {words}" in said.replace("\N{NO-BREAK SPACE}", " ")
    assert "largest load" not in said
    assert "○ Not judged No run of the well pump was seen, so there is nothing to judge." in said.replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert "All loads took out of the bank 13.3 Ah (332 Wh)" in said


@OF_WORDS_ALONE
def test_a_motor_alone_is_asked_about_its_health():
    """The pump is named in its heading; a load that nobody named, or that is no motor, is not asked how it is."""
    assert "Is the well pump healthy?" in assert_sound(render(make_report()))
    log = make_log()
    unnamed = replace(log.cycles, cycles=tuple(replace(c, load=None) for c in log.cycles.cycles))
    heater = make_site().loads[0].model_copy(update={"kind": "heater"})
    site = make_site().model_copy(update={"loads": (heater,)})
    for report in (make_report(replace(log, cycles=unnamed), site=None), make_report(log, site=site)):
        said = assert_sound(render(report))
        assert "What do the runs show?" in said
        assert "healthy" not in said


@pytest.mark.parametrize("side", ["dc", "ac"])
def test_too_little_measured_is_never_zero(side):
    """Where no reading stands for any time, charge and energy are not 0 but unknown."""
    nothing = Charge(HowRead("dc", "instant", 10.0, 1.0), Span(START_US, START_US, 1, 0.0, ()), None, None, None, None)
    log = make_log(charge=nothing, cycles=Cycles((), CycleSummary(0, None, None, None, None), "power_W"), close_up=None)
    said = assert_sound(render(make_report(with_facts(replace(log, plate=None), side=side))))
    assert "Too little was measured" in said
    assert not re.search(r"\d\W+(Ah|Wh)\b", said.split("How was this computed?")[0])


@OF_WORDS_ALONE
def test_energy_measured_for_less_time_has_its_own_average():
    """Where volts are missing for half of the time, watts are averaged over the other half."""
    log = make_log()
    half = Span(START_US, START_US + 1800 * SECOND_US, 1800, 1800.0, ())
    log = replace(log, charge=replace(log.charge, energy=Amounts(150.0, 0.0), energy_span=half))
    said = assert_sound(render(make_report(log))).replace("\N{NO-BREAK SPACE}", " ")
    assert "Energy 150 Wh 0 Wh 150 Wh 300 W" in said  # 150 Wh in half an hour
    assert "the bank's voltage while it gave" not in said


@OF_WORDS_ALONE
def test_rows_beside_each_other_have_one_unit():
    """Charge and energy of an hour stand in rows of their own, so that no row holds both."""
    ac = replace(with_facts(make_log("ac"), side="ac"), charge=replace(make_log().charge, charge=None))
    said = assert_sound(render(make_report(make_log(), ac))).replace("\N{NO-BREAK SPACE}", " ")
    assert "Charge drawn in an hour of readings, all loads 14.2 Ah — unknown" in said  # 13.254 Ah in 3,359 s
    assert "Energy drawn in an hour of readings, all loads 355 Wh 355 Wh" in said  # 331.7 Wh in 3,359 s


def test_method_says_which_log_a_rule_is_for():
    """Two logs with two rules have a term each, with the log's name; no term stands twice."""
    power = make_log("week_later")
    power = replace(power, charge=replace(power.charge, energy_by="the power column"))
    both = make_report(make_log(), power)
    terms = [term for term, _ in (*method.rules(both), *method.sums(both))]
    assert {"Charge", "Energy: open day", "Energy: week later", "By hand: open day"} <= set(terms)
    assert len(terms) == len(set(terms))
    one = make_report()
    assert {"Energy", "By hand"} <= {term for term, _ in (*method.rules(one), *method.sums(one))}


@OF_WORDS_ALONE
def test_without_a_site_the_title_says_what_it_names():
    """A log's name alone would be no title."""
    whose = "The well pump, log open day"
    page = render(make_report(site=None))
    assert f"<h1>{whose}</h1>" in page
    # A picture that is saved is called by its log alone.
    assert 'data-log="open day"' in page
    still = replace(make_log(), cycles=replace(make_log().cycles, cycles=()))
    assert "<h1>Log open day</h1>" in render(make_report(still, site=None))
    assert "<h1>Logs: open day and week later</h1>" in render(make_report(make_log(), make_later(), site=None))


@OF_WORDS_ALONE
def test_held_and_mean_readings_have_their_own_formulas():
    """What a reading stands for decides the formula on the page."""
    for sampling, words in (("held", "stands until the next one"), ("mean", "is the average of the dt seconds")):
        assert words in assert_sound(render(make_report(with_facts(make_log(), sampling=sampling))))


def test_nothing_heavy_is_loaded_before_rendering():
    """Importing the page costs neither matplotlib nor jinja2."""
    code = "import sys, shuntbook.cli.render.page.page; print(sorted({'matplotlib', 'jinja2'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
