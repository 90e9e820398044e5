"""The page says what the report holds, asks nothing of a network, and stays whole whatever a log brings along."""

import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from xml.etree import ElementTree

import numpy as np
import pytest

from shuntbook.analysis.cautions import CAUTIONS
from shuntbook.analysis.charge import Amounts, Charge, Gap, Span
from shuntbook.analysis.chunk import Chunk
from shuntbook.analysis.cycle_record import Cycle, Cycles, CycleSummary
from shuntbook.analysis.envelope import EnvelopeFold
from shuntbook.analysis.finding import Finding
from shuntbook.analysis.nameplate import compare, estimate
from shuntbook.analysis.report import CloseUp, LogFacts, LogReport, PlateCheck, Report
from shuntbook.analysis.site import Site
from shuntbook.cli.render import charts, svg
from shuntbook.cli.render.page import render
from shuntbook.cli.render.thinning import thinned

SECOND_US = 1_000_000
START_US = 1_781_000_000 * SECOND_US  # 9 June 2026, 10:13:20 UTC
# Elements that HTML never closes (HTML standard, "void elements").
VOID = {"meta", "br", "hr", "img", "input", "link", "area", "base", "col", "embed", "source", "track", "wbr"}
NASTY = '<script>alert("x")</script> & \' " $x^2$ \u202eabc\u200f \x07 עברית'


def make_site():
    """Marrowbrook, as far as the page needs it."""
    return Site.model_validate(
        {
            "name": "Marrowbrook",
            "bank": {"nominal_V": 24, "capacity_Ah": 420, "hour_rate_h": 20},
            "inverters": [{"name": "wash shed inverter", "continuous_VA": 3000, "efficiency_pct": 88, "idle_W": 28}],
            "loads": [
                {
                    "name": "well pump",
                    "kind": "pump",
                    "inverter": "wash shed inverter",
                    "voltage_V": 230,
                    "current_A": 5.0,
                    "hp": 0.5,
                    "power_factor": 0.58,
                }
            ],
        }
    )


def make_readings(cycles, length_s=3600):
    """Readings once a second: a fridge that comes and goes, and the pump on top while it runs."""
    second = np.arange(length_s)
    current_A = 3.0 + 2.0 * (second % 900 < 300) + 0.2 * np.sin(second / 7.0)
    for cycle in cycles:
        since_s = second - (cycle.start_us - START_US) / SECOND_US
        running = (since_s >= 0) & (since_s < (cycle.run_s or 0))
        current_A = current_A + running * (cycle.run_A or 0) + (since_s == 0) * 20.0
    voltage_V = 25.4 - 0.012 * current_A - second * 1e-4
    return Chunk(START_US + second * SECOND_US, {"current_A": current_A, "voltage_V": voltage_V})


def make_cycle(start_s, run_s=72.0, off_s=148.0, **changes):
    """One run of the pump, `start_s` after the log's start."""
    cycle = Cycle(
        load="well pump",
        start_us=START_US + round(start_s * SECOND_US),
        stop_us=START_US + round((start_s + run_s) * SECOND_US),
        run_s=run_s,
        off_before_s=off_s,
        surge_A=51.0,
        surge_ratio=1.65,
        surge_resolved=False,
        run_A=31.0,
        peak_W=1290.0,
        run_W=765.0,
        charge_Ah=0.625,
        energy_Wh=15.4,
        sag_V=0.63,
        complete=True,
    )
    return replace(cycle, **changes)


def make_log(name="open_day", **changes):
    """An hour of the open day, or of the week after with ``run_s`` and ``off_s`` to shorten its runs."""
    run_s, off_s = changes.pop("run_s", 72.0), changes.pop("off_s", 148.0)
    cycles = tuple(make_cycle(t, run_s, off_s) for t in np.arange(100.0, 3400.0, run_s + off_s))
    readings = make_readings(cycles)
    gap = Gap(START_US + 1500 * SECOND_US, START_US + 1740 * SECOND_US)
    seconds = (readings.time_us - START_US) / SECOND_US
    kept = (seconds <= 1500) | (seconds >= 1740)
    kept_readings = Chunk(readings.time_us[kept], {n: x[kept] for n, x in readings.quantities.items()})
    log = LogReport(
        facts=LogFacts(
            name=name,
            meter="bank shunt",
            side="dc",
            sampling="instant",
            gap_limit_s=10.0,
            usual_interval_s=1.0,
            zone="Europe/London",
            zone_assumed=True,
            undated=False,
            source=f"{name}.csv",
            rows_read=3371,
            rows_kept=3362,
            rows_rejected=7,
            rows_merged=2,
            said=("Decimal comma taken from the rows.",),
            markers=((START_US + 200 * SECOND_US, "first crates"), (START_US + 2400 * SECOND_US, "visitors arrive")),
        ),
        charge=Charge(
            Span(START_US, START_US + 3599 * SECOND_US, int(kept.sum()), 3359.0, (gap,)),
            Amounts(13.254, 0.0),
            Amounts(331.7, 0.0),
            "volts x amps",
            None,
        ),
        cycles=Cycles(cycles, CycleSummary(len(cycles), 16.1, 0.322, run_s, off_s), "current_A"),
        findings=(
            Finding("sampling_too_slow", "note", "Starts are not resolved", "All starts.", "0.2 s", "common practice"),
        ),
        envelopes={q: folded(kept_readings, q) for q in ("current_A", "voltage_V")},
        close_up=CloseUp(cycles[0], readings.part(90, 190)),
        plate=make_plate(),
    )
    return replace(log, **changes)


def make_plate():
    """The pump's plate beside an hour's measurement."""
    reckoned = estimate(make_site(), "well pump", hours=0.322)
    return PlateCheck(reckoned, compare(reckoned, measured_energy_Wh=246.0, measured_charge_Ah=9.9))


def folded(readings, quantity):
    """The envelope of a quantity."""
    fold = EnvelopeFold(quantity)
    fold.add(readings)
    return fold.result()


def make_later():
    """The week after: the tank has lost its air."""
    short = Finding(
        "short_cycling",
        "act",
        "The pump short-cycles",
        "Runs 1 to 117 lasted 9 s in the median.",
        "A run of at least 60 s",
        "a submersible-motor manual's table of starts",
        "The tank has lost its air.",
        "Let the pressure down and measure the air.",
    )
    watch = Finding("standing_draw", "watch", "Something draws all the time", "3.0 A.", "25 W", "common practice")
    return make_log("week_later", run_s=9.0, off_s=19.0, findings=(watch, short))


def make_report(*logs, **changes):
    """A report of one log or several."""
    return replace(Report(make_site(), logs or (make_log(),), CAUTIONS, "0.0.test"), **changes)


def with_facts(log, **changes):
    """The log with other facts."""
    return replace(log, facts=replace(log.facts, **changes))


class Reader(HTMLParser):
    """Reads a page: which elements stay open, what text there is, which ids and links."""

    def __init__(self, page):
        super().__init__()
        self.open, self.wrong, self.ids, self.links, self.text = [], [], [], [], []
        self.tags = set()
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        for key, value in attrs:
            if key == "id":
                self.ids.append(value)
            elif key in {"href", "src", "action", "data", "poster", "srcset"}:
                self.links.append(value)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        self.handle_endtag(tag)

    def handle_endtag(self, tag):
        if tag in VOID:
            return
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data):
        if "style" not in self.open:
            self.text.append(data)

    @property
    def said(self):
        return " ".join(" ".join(self.text).split())


def assert_sound(page):
    """Balanced, ids once each, links only within, nothing that runs or fetches."""
    reader = Reader(page)
    assert reader.open == []
    assert reader.wrong == []
    assert len(reader.ids) == len(set(reader.ids))
    assert {link.removeprefix("#") for link in reader.links} <= set(reader.ids)
    assert not reader.tags & {"script", "iframe", "object", "link", "img", "base", "form"}
    assert not re.search(r"https?:|url\((?!#)|@import|javascript:| on\w+=", page)
    for drawing in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        ElementTree.fromstring(drawing)
        used = set(re.findall(r'(?:url\(#|href="#)([^")]+)', drawing))
        assert used <= set(re.findall(r' id="([^"]+)"', drawing))
    assert not re.search(r"\b(nan|None|inf)\b", reader.said)
    return reader.said


@pytest.fixture(scope="module")
def pages():
    """The page of one log and of two."""
    return {"one": render(make_report()), "two": render(make_report(make_log(), make_later()))}


@pytest.mark.parametrize("which", ["one", "two"])
def test_page_is_sound_and_small(pages, which):
    """The page is balanced HTML that fetches nothing, and fits a slow phone."""
    assert_sound(pages[which])
    assert len(pages[which].encode()) < 1_500_000  # our own budget, for a log


def test_page_is_the_same_bytes_each_time(pages):
    """Nothing on the page depends on when it was made."""
    assert render(make_report()) == pages["one"]


def test_figures_on_the_page_are_those_of_the_report(pages):
    """The first screen and the tables hold the report's own figures."""
    said = Reader(pages["one"]).said
    count = len(make_log().cycles.cycles)
    assert f"charge drawn 13.3 Ah energy drawn 332 Wh of the well pump, running 32 % of the time {count} starts" in said
    assert "the bank gave 13.3 Ah (332 Wh)" in said
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


def test_interval_is_shown_only_where_known(pages):
    """Without an interval there is no ± anywhere; with one it stands beside the value."""
    assert "±" not in Reader(pages["one"]).said
    log = make_log()
    known = replace(log, charge=replace(log.charge, charge=Amounts(13.254, 0.0, 0.21, 0.05, 0.22)))
    assert "13.25 ± 0.21 Ah" in assert_sound(render(make_report(known)))


def test_two_logs_start_with_a_comparison(pages):
    """The two logs stand side by side, and what asks for action comes before what wants watching."""
    said = Reader(pages["two"]).said
    assert said.index("What each log shows") < said.index("What it took out of the bank")
    assert "1 thing asks for action: The pump short-cycles." in said
    assert "act: The pump short-cycles; watch: Something draws all the time" in said
    assert "The tank has lost its air." in said


def test_long_lists_are_cut_and_say_so(pages):
    """Of 118 runs thirty are listed, and the page says where the others are."""
    count = len(make_later().cycles.cycles)
    assert f"… and {count - 30} more, see --json" in Reader(pages["two"]).said


def test_unresolved_surge_is_a_lower_bound(pages):
    """Where sampling is too slow for the surge the page says `at least`, and why."""
    said = Reader(pages["one"]).said
    assert "at least 51.0 A" in said
    assert "is a lower bound" in said
    log = make_log()
    seen = replace(log.close_up, cycle=replace(log.close_up.cycle, surge_resolved=True))
    assert "The start rose to 51.0 A" in assert_sound(render(make_report(replace(log, close_up=seen))))


def test_nameplate_steps_stand_with_their_origin(pages):
    """Every step of the estimate is on the page, and so are its assumptions."""
    said = Reader(pages["one"]).said
    check = make_plate()
    for step in check.estimate.steps:
        assert " ".join(step.origin.split()) in said
    for text in check.estimate.assumptions:
        assert text in said
    assert check.comparison.sentence in said


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
    log = with_facts(log, name=NASTY, meter=NASTY, source=NASTY, said=(NASTY,), markers=((START_US, NASTY),))
    site = make_site().model_copy(update={"name": NASTY})
    said = assert_sound(render(make_report(log, log, site=site)))
    assert '<script>alert("x")</script> & \' " $x^2$' in said
    assert "\u202e" not in said
    assert "\x07" not in said


def test_ten_thousand_characters_do_not_swamp_the_page():
    """A very long name is cut; the page stays small."""
    long = "marrow " * 1500
    log = with_facts(make_log(name=long), meter=long, source=long, said=(long,), markers=((START_US, long),) * 40)
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
        charge=Charge(Span(None, None, 0, 0.0, ()), None, None, None, None),
        envelopes={},
        plate=None,
        findings=(),
    )
    log = with_facts(log, usual_interval_s=None, meter=None)
    said = assert_sound(render(make_report(log, site=None)))
    assert "unknown" in said
    assert "Voltage sag" not in said.split("How this was computed")[0]


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
    assert "From +0:00:00 to +0:59:59 after the log's start" in said
    assert not re.search(r"\b(1970|2026)\b", said)


def test_no_cycles_is_said():
    """A log in which nothing starts still makes a page."""
    log = make_log(cycles=Cycles((), CycleSummary(0, None, None, None, None), "current_A"), close_up=None, findings=())
    said = assert_sound(render(make_report(log)))
    assert "No load was seen to start and stop." in said
    assert "No finding" in said


def test_held_and_mean_readings_have_their_own_formulas():
    """What a reading stands for decides the formula on the page."""
    for sampling, words in (("held", "stands until the next one"), ("mean", "is the average of the dt seconds")):
        assert words in assert_sound(render(make_report(with_facts(make_log(), sampling=sampling))))


def test_chart_keeps_every_peak():
    """Putting buckets together for the screen loses no lowest and no highest reading."""
    rng = np.random.default_rng(7)
    readings = Chunk(START_US + np.arange(50_000) * SECOND_US, {"current_A": rng.normal(size=50_000)})
    whole = folded(readings, "current_A")
    thin = thinned(whole, 300)
    assert len(thin.time_us) <= 300
    assert thin.high.max() == readings.quantities["current_A"].max()
    assert thin.low.min() == readings.quantities["current_A"].min()


def test_chart_stays_small_with_many_cycles_and_gaps():
    """Ten thousand short runs and a thousand gaps make no heavier a drawing than the page can bear."""
    cycles = tuple(make_cycle(60.0 * i, 9.0, 51.0) for i in range(10_000))
    gaps = tuple(Gap(START_US + i * 600 * SECOND_US, START_US + (i * 600 + 60) * SECOND_US) for i in range(1000))
    log = make_log()
    span = Span(START_US, START_US + 600_000 * SECOND_US, 5, 1.0, gaps)
    log = replace(log, charge=replace(log.charge, span=span), cycles=replace(log.cycles, cycles=cycles))
    assert len(charts.whole_log(log)) < 400_000
    assert len(charts.run_and_rest(log, minimum_run_s=60.0)) < 400_000


def test_nothing_heavy_is_loaded_before_rendering():
    """Importing the page costs neither matplotlib nor jinja2."""
    code = "import sys, shuntbook.cli.render.page; print(sorted({'matplotlib', 'jinja2'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_markers_close_together_share_a_label():
    """Numbers of markers never lie on top of each other."""
    log = make_log()
    at = [START_US + second * SECOND_US for second in (100, 110, 120, 2000)]
    drawing = charts.whole_log(with_facts(log, markers=tuple((us, "crates") for us in at)))
    texts = re.findall(r"<text[^>]*>([^<]*)</text>", drawing)
    assert "1–3" in texts
    assert "4" in texts
    assert "crates" not in drawing


def test_colours_follow_the_page():
    """No colour is fixed in a drawing: all are variables that the style sheet sets for light, dark and paper."""
    drawing = charts.whole_log(make_log())
    assert not re.search(r"(fill|stroke): #(?!000000)[0-9a-f]{6}", drawing)
    assert "var(--draw)" in drawing


def test_label_of_a_drawing_is_escaped():
    """A drawing's label may hold any sign."""
    with svg.drawing(svg.NARROW) as figure:
        figure.add_subplot()
        drawing = svg.inline(figure, name="t", label='a "b" <c> & d')
    assert ElementTree.fromstring(drawing).attrib["aria-label"] == 'a "b" <c> & d'
