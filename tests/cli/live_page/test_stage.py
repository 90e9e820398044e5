"""The stage for an audience, a phone's first screen, flags for notes, titles, and who comes late."""

from __future__ import annotations

import json
import os
import re
import signal
import time
from collections import Counter
from dataclasses import replace

import pytest
from browsers import as_wide_as, browser, until
from live_pages import NASTY, WEEK, Viewer, ask, capture, port_of, state_of, text_of
from places import SAMPLES

from shuntbook.analysis.health.finding import WRONG_SIGN, Finding
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.cli.capture.live_meter import LiveMeter
from shuntbook.cli.live_page.server import live_page
from shuntbook.cli.live_page.stage import stage
from shuntbook.cli.live_page.view import live_state
from shuntbook.cli.main import run
from shuntbook.ingest.events import Reading
from shuntbook.ingest.journal.opening import open_log

pytestmark = pytest.mark.xdist_group("captures")  # one at a time: they have clocks to keep

SITE = ["--site", str(SAMPLES / "site.toml")]
START_US = 1_780_000_000_000_000
NO_SECOND = {"second": "", "second_unit": ""}
#: What is smaller than 32 of 1,080 lines, stands out of the window or is cut off in its height; each with its text.
AMISS = """
const least = 32 * Math.min(innerHeight / 1080, innerWidth / 1920) - 0.01, wrong = [];
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const text = walk.currentNode.textContent.trim(), node = walk.currentNode.parentElement;
  if (!text || node.closest('script, style, noscript, .sr')) continue;
  const box = (node.closest('p') || node).getBoundingClientRect(); // what is longer is cut off there
  if (!box.width) continue;
  if (parseFloat(getComputedStyle(node).fontSize) < least) wrong.push(['small', text]);
  const out = box.left < -1 || box.top < -1 || box.right > innerWidth + 1 || box.bottom > innerHeight + 1;
  if (out) wrong.push(['out', text]);
}
for (const node of document.querySelectorAll('.shrinks, .beside, .way, .load, .parts, .others')) {
  const whole = node.scrollWidth <= node.clientWidth + 1 && node.scrollHeight <= 1.1 * node.clientHeight;
  if (!whole && !node.closest('.sr')) wrong.push(['cut', node.textContent]);
}
const root = document.documentElement, main = document.getElementById('main');
if (root.scrollHeight > innerHeight || root.scrollWidth > innerWidth) wrong.push(['scrolls', '']);
if (main.scrollHeight > main.clientHeight) wrong.push(['cut off', '']);
return wrong;
"""
#: How high the digits of the large figure are, by their ink, as a share of the window.
INK = """
const node = document.getElementById('amount-value'), style = getComputedStyle(node);
const pen = document.createElement('canvas').getContext('2d');
pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
const ink = pen.measureText(node.textContent);
return (ink.actualBoundingBoxAscent + ink.actualBoundingBoxDescent) / innerHeight;
"""
#: The lowest edge of what matches.
LOWEST = "return Math.max(...[...document.querySelectorAll(arguments[0])].map((x) => x.getBoundingClientRect().bottom))"


def stage_at(driven, port, width=1920, height=1080, *, dark=False):
    """Open the stage at a size, and wait for its first figure."""
    as_wide_as(driven, width, height=height, dark=dark)
    driven.get(f"http://127.0.0.1:{port}/stage")
    until(lambda: text_of(driven, "#amount-value"), "a figure")
    until(lambda: driven.execute_script("return document.querySelectorAll('.drawing svg').length"), "the chart")


@pytest.fixture(scope="module")
def late(tmp_path_factory):
    """Who comes after the end of a replay, whose page stays: a browser and the port."""
    folder = tmp_path_factory.mktemp("late")
    words = ["--mark", "2h29m=crates", "--mark", f"2h25m={NASTY}", "--page", "0", "--page-stays", "10m"]
    with (
        browser() as driven,
        capture(folder, *SITE, *words, "--title", "Open day", source=WEEK % "max") as (child, port, _),
    ):
        until(lambda: "stays up" in child.stderr.readline(), "the end")
        yield driven, port


@pytest.fixture(scope="module")
def playing(tmp_path_factory):
    """Who comes while the same goes on: a browser and the port."""
    shots, marks = [], ["--mark", "2h29m=crates", "--mark", f"2h25m={NASTY}"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("shuntbook.cli.capture.live_meter.Snapshot.at_end", lambda shot: shots.append(shot) or shot)
        log = tmp_path_factory.mktemp("playing") / "a.parquet"
        assert run(["capture", WEEK % "max", *SITE, *marks, "--out", str(log), "--quiet"]) == 0
    with live_page("127.0.0.1:0") as page, browser() as driven:
        shots = [replace(shot, connected=True) for shot in shots]
        page.publish(live_state(shots, title="Open day", elapsed_s=9e3, left_s=None, ended=False))
        yield driven, port_of(page)


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1920, 1080), (3840, 2160), (1024, 768)])
def test_the_stage_is_read_from_afar(playing, width, height):
    """Nothing small, cut off or to be scrolled to; the figure is a quarter as high as a screen of its shape."""
    driven, port = playing
    stage_at(driven, port, width, height, dark=width == 1280)
    assert driven.execute_script(AMISS) == []
    assert driven.execute_script(INK) >= 0.25 * min(1, width / height * 9 / 16)
    assert text_of(driven, "#title") == driven.title.removeprefix("Live: ") == "Open day"
    assert text_of(driven, "#amount-what") == "out of the bank to all loads since ‘crates’"
    assert text_of(driven, "#amount-unit") == "Ah"
    assert text_of(driven, "#flow-way") == "into the bank"
    assert text_of(driven, "#took").startswith("Since the start: the well pump took ")
    assert text_of(driven, "#severity") == "▲ act"
    assert "The well pump" in text_of(driven, "#worst")
    assert text_of(driven, "#others").startswith("Also: The pressure tank")


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1920, 1080), (1024, 768), (390, 844), (844, 390)])
def test_after_the_end_the_stage_shows_what_each_part_came_to(late, width, height):
    """That it is over, the whole, and every part with its amount; nothing that flows or runs."""
    driven, port = late
    stage_at(driven, port, width, height)
    assert driven.execute_script(AMISS) == []
    assert text_of(driven, "#link") == "It is over:"
    assert text_of(driven, "#amount-what") == "out of the bank to all loads from start to end"
    assert text_of(driven, "#took").startswith("The well pump took ")
    parts = driven.execute_script("return [...document.querySelectorAll('#parts li')].map((x) => x.innerText)")
    assert [part.split()[-1] for part in parts] == ["Ah", "Ah"]
    assert parts[1].startswith("‘crates’ ")
    seen = driven.find_element("tag name", "body").text
    assert not re.search(r"running|\d A\b|\d W\b", seen.partition("Amps")[0].split("Ah", 1)[1])


#: The share of the window, from its upper edge to its lower one, that the stage fills; and its smallest type [px].
FILLED = """
const boxes = [...document.querySelectorAll('#title, #ribbon, #drawing')].map((x) => x.getBoundingClientRect());
const worded = [...document.querySelectorAll('main *')].filter((x) => x.textContent.trim() && !x.closest('.sr'));
const smallest = Math.min(...worded.map((x) => parseFloat(getComputedStyle(x).fontSize)));
const from = Math.min(...boxes.map((x) => x.top)), to = Math.max(...boxes.map((x) => x.bottom));
return [(to - from) / innerHeight, smallest, boxes[1].height / innerHeight];
"""


@pytest.mark.parametrize(
    ("width", "height"), [(390, 844), (360, 640), (768, 1024), (1080, 1920), (700, 720), (1024, 768), (844, 390)]
)
def test_the_stage_fills_a_narrow_or_upright_screen(playing, width, height):
    """From edge to edge, with nothing cut off, type to be read in the hand, and room for the chart."""
    driven, port = playing
    stage_at(driven, port, width, height)
    assert driven.execute_script(AMISS) == []
    filled, smallest, chart = driven.execute_script(FILLED)
    assert filled > 0.93
    assert smallest >= 12
    assert chart > 0.18
    whole = "return ['.way', '.took'].map((x) => document.querySelector('.stage ' + x))"
    cut = ".filter((x) => x.scrollWidth > x.clientWidth + 1 || x.scrollHeight > 1.1 * x.clientHeight).length"
    assert driven.execute_script(whole + cut) == 0


@pytest.mark.parametrize("width", [360, 390, 768, 1440])
def test_the_page_says_beside_the_figure_which_way_it_flows(playing, width):
    """In words and by its colour, without a sign; volts and watts have none; nothing wider than its place."""
    driven, port = playing
    as_wide_as(driven, width)
    driven.get(f"http://127.0.0.1:{port}/")
    until(lambda: text_of(driven, ".figures .way"), "a figure")
    ways = driven.execute_script("return [...document.querySelectorAll('.figures .way')].map((x) => x.textContent)")
    assert ways == ["into the bank", "", ""]
    assert text_of(driven, ".figures .value") == "6.85"
    assert text_of(driven, ".chart-said").startswith("From 10.4 A into the bank to 72.8 A out of the bank.")
    beside = "const [a, b] = ['.value', '.way'].map((x) => getComputedStyle(document.querySelector('.figures ' + x)));"
    assert driven.execute_script(beside + "return a.color === b.color")
    parts = "return [...document.querySelectorAll('.figures > div')]"
    assert driven.execute_script(parts + ".filter((x) => x.scrollWidth > x.clientWidth + 1).length") == 0


def pumped(length_s, *, load):
    """A pump that runs 18 s in every 45, read five times a second, and a note in every minute."""
    meter = LiveMeter(
        "bank", HowRead("dc", "instant", 10.0, 0.2), ("current_A", "voltage_V"), limits_for(None, None), load=load
    )
    for k in range(round(5 * length_s)):
        since_s = k / 5 % 45 - 10
        amps = 2.4 + (31.5 + 75 * max(0.0, 1 - since_s / 0.6) if 0 <= since_s < 18 else 0.0)
        if k % 300 == 200:
            meter.marked(f"crate {k // 300 + 1}", START_US + k * 200_000)
        meter.add([Reading(START_US + k * 200_000, {"current_A": amps, "voltage_V": 25.3 - 0.012 * amps})])
    return meter.snapshot(connected=True, trouble=Counter(), final=True)


@pytest.mark.parametrize(("width", "height"), [(1024, 768), (1280, 720), (1280, 577)])
def test_no_text_of_the_stage_is_cut_on_an_old_projector(width, height):
    """Title, sentence, what stretches came to; the chart marks its highest reading, and tells time as people do."""
    shot = pumped(170.0, load="well pump at the orchard")
    state = live_state([shot], title="Open day: a pump off a battery bank", elapsed_s=170.0, left_s=8.0, ended=False)
    with live_page("127.0.0.1:0") as page, browser() as driven:
        page.publish(state)
        stage_at(driven, port_of(page), width, height)
        assert driven.execute_script(AMISS) == []
        assert driven.execute_script("return document.querySelector('.drawing').clientHeight / innerHeight") > 0.15
        parts = driven.execute_script("return [...document.querySelectorAll('#parts li')].map((x) => x.textContent)")
        told = [f"‘{part.text}’ {part.charge.charge.drawn:.3f} Ah" for part in shot.parts]
        assert parts == told != []
        texts = driven.execute_script(
            "return [...document.querySelectorAll('.drawing text')].map((x) => x.textContent)"
        )
    assert "109 A" in texts
    ago = [text for text in texts if text.startswith("−")]
    assert ago
    assert not [text for text in ago if "." in text]


def test_the_chart_draws_what_was_read():
    """Of a leap within a bucket no reading is drawn before its time: what goes up to 109 A was at 2.4 A just before."""
    recent = pumped(60.0, load=None).recent
    top = int(recent.value.argmax())
    assert recent.value[top] == pytest.approx(108.9)
    assert recent.value[top - 1] == pytest.approx(2.4)
    assert recent.time_us[top] - recent.time_us[top - 1] == 200_000


def test_the_large_figure_keeps_its_width_while_it_grows():
    """Each half second of a minute's run: as many decimals, and so many that the next figure differs."""
    meter = LiveMeter("bank", HowRead("dc", "instant", 10.0, 0.5), ("current_A",), limits_for(None, None))
    figures = []
    for k in range(120):
        meter.add([Reading(START_US + k * 500_000, {"current_A": 34.0})])
        figures.append(stage(meter.snapshot(connected=True, trouble=Counter()))["amount"]["value"])
    assert figures.pop(0) == "–"  # between one reading and nothing there is no amount
    assert {len(figure) for figure in figures} == {5}
    assert figures[-1] == f"{34 * 59.5 / 3600:.3f}"
    assert len(set(figures)) == len(figures)


def test_the_zone_is_named_where_it_is_another_place_s(monkeypatch):
    """This computer's clock needs no name."""
    # The library behind it keeps the first answer of a process.
    monkeypatch.setattr("shuntbook.cli.live_page.view.zone_of_computer", lambda: "Europe/London")
    told = []
    for zone in ("Europe/London", "Asia/Tokyo"):
        shot = replace(pumped(2.0, load=None), zone=zone)
        told.append(live_state([shot], title="", elapsed_s=1.0, left_s=None, ended=False).view["meters"][0]["clock"])
    assert "(" not in told[0]
    assert told[1].endswith(" (Asia/Tokyo)")


def test_notes_stand_as_flags_and_as_text(playing):
    """Two notes in the last quarter of an hour, one of them hostile: short, and nothing of it obeyed."""
    driven, port = playing
    for path in ("stage", ""):
        driven.get(f"http://127.0.0.1:{port}/{path}")
        until(lambda: text_of(driven, ".drawing .note"), "a flag")
        notes = driven.execute_script("return [...document.querySelectorAll('.note')].map((x) => x.textContent)")
        assert len(notes) == driven.execute_script("return document.querySelectorAll('.drawing .flag').length") == 2
        assert notes[0] == "crates"
        assert notes[1].startswith("<script>")
        assert len(notes[1].partition(": ")[0]) <= 24
        assert driven.execute_script("return window.hit") is None
        assert driven.execute_script("return document.querySelectorAll('script').length") == 1


@pytest.mark.parametrize(("width", "height"), [(390, 844), (360, 640)])
def test_a_phone_s_first_screen_holds_the_answers_and_the_findings(playing, width, height):
    """What the load took, Ah since the last note and since the start, and the first finding; no count of readings."""
    driven, port = playing
    as_wide_as(driven, width, height=height)
    driven.get(f"http://127.0.0.1:{port}/")
    until(lambda: text_of(driven, ".finding .title"), "a finding")
    tiles = driven.execute_script("return [...document.querySelectorAll('.took > div')].map((x) => x.textContent)")
    assert tiles[0].startswith("The well pump took")
    assert tiles[1].startswith("Out of the bank to all loads since ‘crates’")
    assert tiles[2].startswith("Out of the bank to all loads since the start")
    assert driven.execute_script(LOWEST, ".took > div") < height
    assert driven.execute_script(LOWEST, ".finding:first-child") < height
    assert driven.execute_script("return document.documentElement.scrollWidth") <= width
    assert "readings" not in text_of(driven, ".counts")


def test_keys_lead_from_page_to_stage_and_back(playing):
    """S and P; F asks for the full screen, and comes to nothing worse where that is refused."""
    driven, port = playing
    driven.get(f"http://127.0.0.1:{port}/")
    body = driven.find_element("tag name", "body")
    body.send_keys("s")
    until(lambda: driven.current_url.endswith("/stage"), "the stage")
    driven.find_element("tag name", "body").send_keys("f")
    until(lambda: driven.execute_script("return !!document.fullscreenElement"), "the full screen")
    driven.find_element("tag name", "body").send_keys("p")
    until(lambda: driven.current_url == f"http://127.0.0.1:{port}/", "the page")
    assert driven.get_log("browser") == []


def test_a_note_is_a_flag_as_soon_as_it_is_typed(tmp_path):
    """Typed at the terminal while page and stage are open; ahead of the newest reading it stands at the edge."""
    with browser() as driven, capture(tmp_path, "--page", "0", speed=100, typing=True) as (child, port, _):
        stage_at(driven, port)
        assert text_of(driven, ".note") == ""
        child.stdin.write("washing crates\n")
        child.stdin.flush()
        typed = time.monotonic()
        until(lambda: text_of(driven, ".drawing .note") == "washing crates", "the flag")
        assert time.monotonic() - typed < 10
        # Until a reading comes after the note, nothing is known to have gone out.
        words = "out of the bank to all loads since ‘washing crates’"
        until(lambda: text_of(driven, "#amount-what") == words, "the first reading since")


def test_a_note_that_only_ends_is_a_flag_and_no_new_stretch():
    """Stage, tiles and table say from which note to which; what is typed next begins a stretch."""
    meter = LiveMeter("bank", HowRead("dc", "instant", 10.0, 1.0), ("current_A",), limits_for(None, None))
    meter.marked("crates", START_US)
    meter.add([Reading(START_US + k * 10**6, {"current_A": 36.0}) for k in range(101)])
    meter.marked("Stop", START_US + 100 * 10**6)
    meter.add([Reading(START_US + k * 10**6, {"current_A": 72.0}) for k in range(101, 600)])

    def given():
        shot = meter.snapshot(connected=True, trouble=Counter(), final=True)
        return live_state([shot], title="", elapsed_s=1.0, left_s=None, ended=False).view["meters"][0]

    ended = given()
    assert ended["stage"]["amount"]["what"] == "out of the bank to all loads from ‘crates’ to ‘Stop’"
    assert ended["stage"]["amount"]["value"] == "1.000"
    assert [tile["what"] for tile in ended["took"]][-2:] == [
        "Out of the bank to all loads from ‘crates’ to ‘Stop’",
        "Out of the bank to all loads since the start",
    ]
    assert ended["amounts"]["rows"][1][0] == "from ‘crates’ to ‘Stop’"
    assert [note[1:] for note in ended["chart"]["notes"]] == [["crates", ""], ["Stop", ""]]
    meter.marked("tiles", START_US + 599 * 10**6)
    begun = given()
    assert begun["stage"]["amount"]["what"] == "since ‘tiles’"
    # What the one before came to stays, on the stage, beside its flag and in the table.
    assert begun["stage"]["parts"] == [{"what": "from ‘crates’ to ‘Stop’", "value": "1.000 Ah"}]
    assert [note[1:] for note in begun["chart"]["notes"]] == [["crates", "1.000 Ah"], ["Stop", ""], ["tiles", ""]]
    assert begun["amounts"]["rows"][1][:2] == ended["amounts"]["rows"][1][:2]
    assert [row[0] for row in begun["amounts"]["rows"]][2] == "since ‘tiles’"


def test_the_flags_of_a_chart_are_those_of_its_stretch():
    """At their buckets, the newest few, short; none from before the stretch."""
    how = HowRead("dc", "instant", 10.0, 1.0)
    meter = LiveMeter("bank shunt", how, ("current_A",), limits_for(None, None))
    meter.marked("too early", START_US)
    for second in range(1800):
        meter.add([Reading(START_US + second * 10**6, {"current_A": 1.0})])
        if second % 60 == 0:
            meter.marked(f"{second} " + "x" * 100, START_US + second * 10**6)
    shot = meter.snapshot(connected=True, trouble=Counter(), final=True)
    chart = live_state([shot], title="", elapsed_s=1.0, left_s=None, ended=False).view["meters"][0]["chart"]
    assert [text.split()[0] for _, text, _ in chart["notes"]] == [str(second) for second in range(1080, 1800, 60)]
    assert max(len(text) for _, text, _ in chart["notes"]) <= 24
    # An amp for a minute; the newest goes on.
    assert [total for *_, total in chart["notes"]] == [*(11 * ["0.017 Ah"]), ""]
    assert chart["notes"][0][0] == pytest.approx(START_US / 1e6 + 1080, abs=1)


def test_the_meter_at_the_bank_comes_first():
    """Of several, with its points; and one behind an inverter shows watts and Wh."""
    how = HowRead("ac", "instant", 10.0, 1.0)
    shots = []
    for name, side in (("shed", "ac"), ("bank", "dc")):
        how = HowRead(side, "instant", 10.0, 1.0)
        meter = LiveMeter(name, how, ("current_A", "power_W"), limits_for(None, None))
        amps = 4.0 if side == "ac" else -8.0
        meter.add([Reading(START_US + k * 10**6, {"current_A": amps, "power_W": 700.0}) for k in range(600)])
        shots.append(meter.snapshot(connected=True, trouble=Counter(), final=True))
    message = json.loads(live_state(shots, title="", elapsed_s=1.0, left_s=None, ended=False).message({}))
    bank, shed = message["meters"]
    assert (bank["name"], shed["name"]) == ("bank", "shed")
    assert set(message["points"][0]["value"]) == {-8.0}
    watts = {"second": "700", "second_unit": "W"}
    assert bank["stage"]["flow"] == {"value": "8.00", "unit": "A", "way": "into the bank", "beside": "", **watts}
    assert bank["figures"] == [
        {"word": "amps", "value": "8.00", "unit": "A", "way": "into the bank"},
        {"word": "watts", "value": "700", "unit": "W", "way": ""},
    ]
    assert bank["chart"]["said"] == "From 8.00 to 8.00 A into the bank."
    assert shed["stage"]["flow"]["way"] == "behind an inverter"
    assert (shed["stage"]["flow"]["value"], shed["stage"]["flow"]["unit"]) == ("700", "W")
    assert shed["stage"]["amount"]["unit"] == "Wh"
    assert shed["stage"]["amount"]["what"] == "taken by all loads since the start"


@pytest.mark.parametrize(("watts", "way"), [(700.0, "out of the bank"), (-700.0, "into the bank")])
def test_watts_alone_tell_the_way_at_the_bank(watts, way):
    """A meter of watts sits at the bank as well; it is behind no inverter."""
    meter = LiveMeter("bank", HowRead("dc", "instant", 10.0, 1.0), ("power_W",), limits_for(None, None))
    meter.add([Reading(START_US + k * 10**6, {"power_W": watts}) for k in range(600)])
    shot = meter.snapshot(connected=True, trouble=Counter(), final=True)
    given = live_state([shot], title="", elapsed_s=1.0, left_s=None, ended=False).view["meters"][0]
    assert given["stage"]["flow"] == {"value": "700", "unit": "W", "way": way, "beside": "", **NO_SECOND}
    assert given["figures"] == [{"word": "watts", "value": "700", "unit": "W", "way": way}]


def test_a_turned_sign_is_told_in_place_of_amounts():
    """While draw and return seem swapped neither page nor stage says how much went out of the bank, or which way."""
    meter = LiveMeter("bank", HowRead("dc", "instant", 10.0, 1.0), ("current_A",), limits_for(None, None))
    meter.add([Reading(START_US + k * 10**6, {"current_A": -8.0}) for k in range(600)])
    shot = meter.snapshot(connected=True, trouble=Counter(), final=True)
    turned = replace(shot, findings=(Finding(WRONG_SIGN, "act", "Draw and return seem swapped", "", "", ""),))
    told, before = (
        live_state([each], title="", elapsed_s=1.0, left_s=None, ended=False).view["meters"][0]
        for each in (turned, shot)
    )
    assert before["took"][0]["what"] == "Out of the bank to all loads since the start"
    assert [tile["value"] for tile in told["took"]] == ["not known"]
    assert told["stage"]["amount"]["value"] == "–"
    assert told["stage"]["amount"]["beside"] == "not known until the log is turned"
    assert (before["stage"]["flow"]["way"], told["stage"]["flow"]["way"]) == (
        "into the bank",
        "which way is not known",
    )


def test_runs_whose_amount_is_not_known_are_not_in_it():
    """The tile says of how many runs its figure is."""
    meter = LiveMeter("bank", HowRead("dc", "instant", 10.0, 1.0), ("current_A", "voltage_V"), limits_for(None, None))
    amps = [30.0 if k % 60 >= 40 else 1.0 for k in range(1200)]
    meter.add([Reading(START_US + k * 10**6, {"current_A": a, "voltage_V": 25.0}) for k, a in enumerate(amps)])
    shot = meter.snapshot(connected=True, trouble=Counter(), final=True)
    runs = shot.cycles.cycles
    nothing = {"charge_Ah": None, "charge_u95_Ah": None, "energy_Wh": None, "energy_u95_Wh": None}
    cycles = replace(
        shot.cycles,
        cycles=(replace(runs[0], **nothing, so_far_Ah=None, so_far_Wh=None), *runs[1:]),
        summary=replace(shot.cycles.summary, charge_Ah=None, energy_Wh=None),
    )
    state = live_state([replace(shot, cycles=cycles)], title="", elapsed_s=1.0, left_s=None, ended=False)
    assert f"{len(runs) - 1} of {len(runs)} runs" in state.view["meters"][0]["took"][0]["beside"]


def test_findings_stand_the_worst_first():
    """Whatever order they were looked for in."""
    severities = [finding["severity"] for finding in state_of("bank shunt").view["meters"][0]["findings"]]
    assert severities == sorted(severities, key=("act", "watch", "note").index)
    assert len(severities) > 1


def test_a_title_names_page_stage_and_tab(tmp_path):
    """Before any script runs; what is hostile in it is text, short and in one line."""
    nasty = "</title><script>window.hit=1</script>\x1b[2J\u202e\n" + "x" * 1000
    with capture(tmp_path, "--page", "0", "--title", nasty, speed=100) as (_, port, _key):
        until(lambda: "&lt;script&gt;" in ask(None, port=port)[2], "the title")
        for path in ("/", "/stage"):
            text = ask(None, path, port=port)[2]
            assert text.count("<script") == 1
            assert text.count("</title>") == 1
            assert "\x1b" not in text
            assert "\u202e" not in text
            assert "x" * 120 not in text
        with Viewer(port) as viewer:
            assert len(viewer.next()["title"]) <= 120


def test_how_long_no_page_stays_is_told(tmp_path, capsys):
    """What would do nothing is a mistake."""
    assert run(["capture", WEEK % "max", "--out", str(tmp_path / "a.parquet"), "--page-stays", "5m"]) == 2
    assert "ask for it with --page" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_who_comes_late_gets_the_last_state(tmp_path):
    """The log is whole and its result printed first; then the page answers until Ctrl-C, and the status is 0."""
    with capture(tmp_path, "--page", "0.0.0.0:0", "--page-stays", "10m", source=WEEK % "max") as (child, port, first):
        key = first
        until(lambda: "the page stays up for 10 min; Ctrl-C ends it" in child.stderr.readline(), "the end")
        assert open_log(tmp_path / "a.parquet").rows == 9000
        assert child.stdout.readline().startswith("a: The largest load took 12.1 Ah")
        until(lambda: "9,000 readings" in child.stdout.readline(), "the result")
        assert ask(None, "/updates", port=port)[0] == 403
        for _ in range(2):  # one after the other, each by a link of their own
            session = ask(None, f"/{key}", port=port)[1]["Set-Cookie"].partition(";")[0]
            with Viewer(port, session) as viewer:
                state = viewer.next()
                assert state["ended"]
                assert state["meters"][0]["took"][0]["what"] == "The largest load took from start to end"
                assert viewer.next() is None
            key = until(child.stderr.readline, "the next link").rstrip().rpartition("/")[2]
        child.send_signal(signal.SIGINT)
        assert child.wait(30) == 0


def test_a_page_stays_no_longer_than_it_is_said(tmp_path):
    """Nor where it is ended from elsewhere."""
    with capture(tmp_path, "--page", "0", "--page-stays", "1s", source=WEEK % "max") as (child, _port, _key):
        assert child.wait(60) == 0
    (tmp_path / "other").mkdir()
    with capture(tmp_path / "other", "--page", "0", "--page-stays", "1h", speed=100) as (child, port, _key):
        until(lambda: ask(None, port=port)[0] == 200, "the page")
        time.sleep(1)
        child.send_signal(signal.SIGTERM)
        assert child.wait(60) == 0


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX knows them")
def test_one_ctrl_c_ends_the_capture_and_the_next_the_page(tmp_path):
    """Between the two whoever looks is told that it has ended."""
    with capture(tmp_path, "--page", "0", "--page-stays", "1h", speed=100) as (child, port, _key):
        with Viewer(port) as viewer:
            until(lambda: viewer.next()["meters"][0]["figures"], "a reading")
        child.send_signal(signal.SIGINT)
        until(lambda: "stays up" in child.stderr.readline(), "the end")
        with Viewer(port) as viewer:
            assert viewer.next()["ended"]
        child.send_signal(signal.SIGINT)
        assert child.wait(30) == 0


def crowded(name, side):
    """A meter whose every text is long and whose amounts have many digits."""
    meter = LiveMeter(name, HowRead(side, "instant", 10.0, 1.0), ("current_A", "power_W"), limits_for(None, None))
    meter.add([Reading(START_US + k * 10**6, {"current_A": 31_234.5, "power_W": 749_000.0}) for k in range(1200)])
    for second in range(600, 1200, 60):
        meter.marked(f"washing all of the crates that there are, {second}", START_US + second * 10**6)
    meter.add([Reading(START_US + k * 10**6, {"current_A": 31_234.5, "power_W": 749_000.0}) for k in range(1200, 3000)])
    shot = meter.snapshot(connected=False, trouble=Counter(), final=True)
    long = "The pump starts 41 times an hour and runs for a few seconds only. It should be at most 12. " * 3
    finding = Finding("short_cycling", "act", long, long, long, long, plain=long)
    return replace(shot, findings=(finding, finding, finding))


def test_a_crowded_stage_still_fits_and_keys_choose_the_meter():
    """Two meters, every text too long: cut off where they stand, the chart still there; 2 is the second meter."""
    shots = [crowded("the shed's meter " * 20, "ac"), crowded("the shunt at the bank " * 20, "dc")]
    state = live_state(shots, title="Open day " * 50, elapsed_s=1e5, left_s=1e6, ended=False)
    with live_page("127.0.0.1:0") as page, browser() as driven:
        page.publish(state)
        for size in ((1920, 1080), (1280, 720)):
            stage_at(driven, port_of(page), *size)
            assert [each for each in driven.execute_script(AMISS) if each[0] != "cut"] == []
            # The figure makes room for the chart.
            assert driven.execute_script(INK) >= 0.2
            assert driven.execute_script("return document.querySelector('.drawing').clientHeight / innerHeight") > 0.15
        assert text_of(driven, "#which").startswith("✕ NOT CONNECTED, trying again. the shunt at the bank")
        assert text_of(driven, "#flow-way") == "out of the bank"
        driven.find_element("tag name", "body").send_keys("2")
        until(lambda: "the shed's meter" in text_of(driven, "#which"), "the second meter")
        assert text_of(driven, "#flow-way") == "behind an inverter"
