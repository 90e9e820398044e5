"""The page's charts in a real browser: one drawing that moves, tells what the log says, and can be saved."""

import base64
import json
import re
import struct
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from browsers import WIDTHS, as_wide_as, browser, faults, opened, until
from page_reading import NASTY_LABEL
from report_scenes import SECOND_US, START_US, folded, make_log, make_report, make_site, with_facts

import shuntbook
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import Span
from shuntbook.cli.render.page.page import render

# A browser draws every chart of a page, also where other work takes most of the machine.
pytestmark = pytest.mark.timeout(400)
CHART = "const chart = charts[arguments[0]], drawing = chart.drawings.find((d) => d.svg.getClientRects().length);"
# Of the demo's charts: the whole log of its second week, which has a reading a second, and its pump's runs.
WEEK, RUNS = 0, 2


@pytest.fixture(scope="module")
def driven():
    """One window for all."""
    with browser() as found:
        yield found


@pytest.fixture(scope="module")
def watched():
    """A window of which all is kept that it asks for."""
    with browser(watched=True) as found:
        yield found


def of(driven, place, script, *more):
    """What a script comes to that looks at a chart."""
    return driven.execute_script(f"{CHART} {script}", place, *more)


def seen(driven, place):
    """Bring a chart on the screen, unfolded; return where its first panel is."""
    of(driven, place, "chart.figure.closest('details')?.setAttribute('open', '')")
    return of(
        driven,
        place,
        """chart.figure.scrollIntoView({block: "center", behavior: "instant"});
        const svg = drawing.svg.getBoundingClientRect(), scale = svg.width / drawing.svg.viewBox.baseVal.width;
        const [left, top, right, bottom] = drawing.boxes[0];
        return {x: svg.left + left * scale, y: svg.top + top * scale, width: (right - left) * scale,
                height: (bottom - top) * scale}""",
    )


def shown(driven, place):
    """From where to where the x axis of a chart goes."""
    return of(driven, place, "return chart.range")


def said(driven, place):
    """What the line under a chart says."""
    return of(driven, place, "return chart.reading.textContent")


def press(driven, place, name):
    """Press one of a chart's buttons."""
    button = "[...chart.figure.querySelectorAll('button')].find((b) => b.textContent === arguments[1])"
    of(driven, place, f"{button}.click()", name)


def mouse(driven, kind, x, y, **more):
    """Do something with the mouse, as a browser gets it from a person's hand."""
    driven.execute_cdp_cmd("Input.dispatchMouseEvent", {"type": kind, "x": x, "y": y, **more})


def touch(driven, kind, *points):
    """Put fingers on the page, move or lift them."""
    fingers = [{"x": x, "y": y, "id": place} for place, (x, y) in enumerate(points)]
    driven.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": fingers})


def swipe(driven, start, step):
    """Draw a finger over the page, in steps of so many pixels."""
    (x, y), (dx, dy) = start, step
    touch(driven, "touchStart", (x, y))
    for far in range(1, 12):
        touch(driven, "touchMove", (x + dx * far, y + dy * far))
    touch(driven, "touchEnd")


def asked(driven):
    """The addresses the page has asked for since it was last looked at."""
    events = [json.loads(entry["message"])["message"] for entry in driven.get_log("performance")]
    sent = [event["params"]["request"]["url"] for event in events if event["method"] == "Network.requestWillBeSent"]
    return {url for url in sent if not url.startswith("data:")}


def page_of(folder, log, **how):
    """The page of one log."""
    page = folder / "page.html"
    page.write_text(render(make_report(log, **how)), encoding="utf-8")
    return page


def one_log(values, step_us=SECOND_US, start_us=START_US, **facts):
    """A log of these amps, a reading a second, with no runs, notes or gaps."""
    us = start_us + np.arange(len(values), dtype=np.int64) * step_us
    log = with_facts(make_log(), **{"markers": (), **facts})
    span = Span(int(us[0]), int(us[-1]), len(us), len(us) * step_us / SECOND_US, ())
    charge, cycles = replace(log.charge, span=span), replace(log.cycles, cycles=())
    envelopes = {"current_A": folded(Chunk(us, {"current_A": np.asarray(values, dtype=float)}), "current_A")}
    return replace(log, envelopes=envelopes, findings=(), cycles=cycles, charge=charge)


@pytest.mark.parametrize("width", WIDTHS)
def test_every_chart_fits_and_nothing_is_fetched(watched, demo, width):
    """At each width all charts stand within the page, the console has no fault, and only the page is asked for."""
    page = demo / "page.html"
    assert page.stat().st_size < 1_100_000  # our own budget: a megabyte, and what another sentence or two may take
    opened(watched, page, width)
    for place in range(watched.execute_script("return charts.length")):
        # Between a phone and a wide screen a chart has a little more than half, and its caption the rest.
        least = 0.41 * width if 640 < width <= 1008 else 0.6 * min(width, 1000) - 60
        assert seen(watched, place)["width"] > least
        press(watched, place, "Closer")
        press(watched, place, "Whole")
    wide, room = watched.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert wide <= room
    assert faults(watched) == []
    assert asked(watched) <= {page.as_uri()}


def test_a_pointer_reads_what_the_log_says(driven, demo):
    """Zoomed in, the reading under the pointer is the log's: its time in the zone of the site, its amps, its volts."""
    opened(driven, demo / "page.html")
    whole = shown(driven, WEEK)
    for _ in range(6):
        press(driven, WEEK, "Closer")
    start, end = shown(driven, WEEK)
    assert end - start == pytest.approx((whole[1] - whole[0]) / 64, rel=1e-3)
    table = shuntbook.open_log(demo / "week_later.parquet").to_pandas()
    times_ms = table.index.tz_convert("UTC").asi8 / {"us": 1e3, "ns": 1e6, "ms": 1}[table.index.unit]
    at, box = int(np.searchsorted(times_ms, (start + end) / 2)), seen(driven, WEEK)
    mouse(driven, "mouseMoved", box["x"] + box["width"] * (times_ms[at] - start) / (end - start), box["y"] + 40)
    row, local = table.iloc[at], table.index[at].tz_convert("Europe/London")
    until(lambda: said(driven, WEEK).startswith(f"{local.day} {local:%b %Y %H:%M:%S} · "), "the reading's time")
    current, voltage = re.findall(r"(?:current|voltage) (-?[\d.]+) [AV]", said(driven, WEEK))
    assert float(current) == pytest.approx(row["current_A"], rel=1e-3)
    assert float(voltage) == pytest.approx(row["voltage_V"], rel=1e-3)


def test_a_tap_finds_the_extreme_within_a_finger(driven, tmp_path):
    """A surge of one reading beside the finger is told, not the nearest reading; one farther off is not."""
    amps = np.full(3600, 3.0)
    amps[1000], amps[2000] = 137.0, -40.0
    opened(driven, page_of(tmp_path, one_log(amps)), 390)
    box, (start, end) = seen(driven, 0), shown(driven, 0)

    def tapped(second, off_px):
        x = box["x"] + box["width"] * ((START_US / 1000 + second * 1000) - start) / (end - start)
        touch(driven, "touchStart", (x + off_px, box["y"] + 60))
        touch(driven, "touchEnd")
        return re.search(r"current (-?[\d.]+) A", said(driven, 0))[1]

    assert tapped(1000, 15) == "137"
    assert tapped(1000, -20) == "137"
    assert tapped(2000, 18) == "-40"
    assert tapped(1000, 40) == "3"


def test_closer_shows_single_readings_and_no_holes(driven, tmp_path):
    """Each reading is drawn once there is room, one path from edge to edge: only a real gap breaks it."""
    us = np.arange(9000)
    page = page_of(tmp_path, one_log(20 + 10 * (us % 2), sampling="mean"))
    opened(driven, page)
    for _ in range(6):
        press(driven, 0, "Closer")
    start, end = shown(driven, 0)
    d = of(driven, 0, "return drawing.svg.querySelector('[data-is=line-0] path').getAttribute('d')")
    assert d.count("M") == 1
    points = np.array([[float(x) for x in pair] for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", d)])
    left, _, right, *_ = of(driven, 0, "return drawing.boxes[0]")
    assert points[:, 0].min() <= left
    assert points[:, 0].max() >= right
    inside = points[(points[:, 0] >= left) & (points[:, 0] <= right)]
    # There and back, with the two ends of each mean: four corners a reading, on two heights.
    assert len(inside) == pytest.approx(4 * (end - start) / 1000, rel=0.1)
    assert len(np.unique(points[:, 1])) == 2


def test_a_gap_stays_a_gap(driven, tmp_path):
    """Closer in, the line ends where the gap begins, and the hatching lies between."""
    opened(driven, page_of(tmp_path, make_log()))  # its gap: 1500 s to 1740 s
    of(driven, 0, f"chart.show({START_US / 1000 + 1.4e6}, {START_US / 1000 + 1.84e6})")
    line, gap = (
        of(driven, 0, f"return drawing.svg.querySelector('[data-is={name}] path').getAttribute('d')")
        for name in ("line-0", "gaps")
    )
    left, _, right, *_ = of(driven, 0, "return drawing.boxes[0]")
    drawn_to = [left + (right - left) * far for far in (100 / 440, 340 / 440)]
    xs = np.array([float(x) for x, _ in re.findall(r"(-?[\d.]+) (-?[\d.]+)", gap)])
    assert (xs.min(), xs.max()) == pytest.approx(drawn_to, abs=0.2)
    assert line.count("M") == 2
    xs = np.array([float(x) for x, _ in re.findall(r"(-?[\d.]+) (-?[\d.]+)", line)])
    assert not ((xs > drawn_to[0] + 0.2) & (xs < drawn_to[1] - 0.2)).any()


def test_a_whole_chart_is_the_drawing_again(driven, demo):
    """Nothing is redrawn before somebody zooms, and `Whole` brings back what was drawn, to the letter."""
    opened(driven, demo / "page.html")
    drawn = of(driven, WEEK, "return drawing.svg.innerHTML")
    source = (demo / "page.html").read_text(encoding="utf-8")
    d = of(driven, WEEK, "return drawing.svg.querySelector('[data-is=line-0] path').getAttribute('d')")
    assert d in source
    press(driven, WEEK, "Closer")
    assert of(driven, WEEK, "return drawing.svg.innerHTML") != drawn
    press(driven, WEEK, "Whole")
    strip = re.compile(r' style="display: ?;?"| style=""')
    assert strip.sub("", of(driven, WEEK, "return drawing.svg.innerHTML")) == strip.sub("", drawn)


def test_a_drag_moves_and_the_ends_hold(driven, demo):
    """Dragged to the right, the chart shows as much of what was before; it stops at the log's ends."""
    opened(driven, demo / "page.html")
    whole = shown(driven, WEEK)
    press(driven, WEEK, "Closer")
    before, box = shown(driven, WEEK), seen(driven, WEEK)
    middle, y = box["x"] + box["width"] / 2, box["y"] + 60
    mouse(driven, "mousePressed", middle, y, button="left", buttons=1)
    for step in range(1, 6):
        mouse(driven, "mouseMoved", middle + 20 * step, y, button="left", buttons=1)
    mouse(driven, "mouseReleased", middle + 100, y, button="left")
    after = shown(driven, WEEK)
    moved = 100 * (before[1] - before[0]) / box["width"]
    assert before[0] - after[0] == pytest.approx(moved, rel=0.02)
    assert after[1] - after[0] == pytest.approx(before[1] - before[0])
    mouse(driven, "mousePressed", middle, y, button="left", buttons=1)
    mouse(driven, "mouseMoved", middle - 3 * box["width"], y, button="left", buttons=1)
    mouse(driven, "mouseReleased", middle, y, button="left")
    press(driven, WEEK, "Whole")
    assert shown(driven, WEEK) == whole


def test_keys_zoom_move_and_read(driven, demo):
    """By the keyboard plus, minus and 0 zoom; arrows read along and take the stretch with them."""
    opened(driven, demo / "page.html")
    whole = shown(driven, WEEK)
    svg = of(driven, WEEK, "return drawing.svg")
    svg.send_keys("++")
    start, end = shown(driven, WEEK)
    assert end - start == pytest.approx((whole[1] - whole[0]) / 4)
    svg.send_keys("-")
    assert shown(driven, WEEK)[1] - shown(driven, WEEK)[0] == pytest.approx((whole[1] - whole[0]) / 2)
    before = shown(driven, WEEK)
    for _ in range(25):
        svg.send_keys("\ue014")
    assert shown(driven, WEEK)[0] > before[0]
    assert " · current " in said(driven, WEEK)
    svg.send_keys("0")
    assert shown(driven, WEEK) == whole


def test_the_wheel_and_a_swipe_are_the_page_s(driven, demo):
    """The wheel scrolls the page, with Ctrl it zooms where the pointer is; a finger scrolls up and down."""
    opened(driven, demo / "page.html", 360)
    box = seen(driven, WEEK)
    whole, x, y = shown(driven, WEEK), box["x"] + box["width"] / 4, box["y"] + 60
    scrolled = driven.execute_script("return scrollY")
    mouse(driven, "mouseWheel", x, y, deltaX=0, deltaY=-90)
    until(lambda: driven.execute_script("return scrollY") < scrolled, "the page's scrolling")
    assert shown(driven, WEEK) == whole
    box = seen(driven, WEEK)
    y, scrolled = box["y"] + 60, driven.execute_script("return scrollY")
    mouse(driven, "mouseWheel", x, y, deltaX=0, deltaY=-90, modifiers=2)
    until(lambda: shown(driven, WEEK) != whole, "zooming")
    start, end = shown(driven, WEEK)
    assert start + (end - start) / 4 == pytest.approx(whole[0] + (whole[1] - whole[0]) / 4, abs=(end - start) / 100)
    press(driven, WEEK, "Whole")
    swipe(driven, (x, y), (0, -8))
    until(lambda: driven.execute_script("return scrollY") > scrolled + 50, "the page's scrolling by a finger")
    assert shown(driven, WEEK) == whole


def test_fingers_pinch_and_move(driven, demo):
    """Two fingers drawn apart go closer, and what was under them stays; one drawn sideways moves."""
    opened(driven, demo / "page.html", 360)
    box, whole = seen(driven, WEEK), shown(driven, WEEK)
    y, (left, right) = box["y"] + 60, (box["x"] + box["width"] * share for share in (0.4, 0.6))
    touch(driven, "touchStart", (left, y), (right, y))
    for far in range(1, 9):
        touch(driven, "touchMove", (left - 6 * far, y), (right + 6 * far, y))
    touch(driven, "touchEnd")
    start, end = shown(driven, WEEK)
    apart = right - left
    assert end - start == pytest.approx((whole[1] - whole[0]) * apart / (apart + 96), rel=0.05)
    assert (start + end) / 2 == pytest.approx(sum(whole) / 2, abs=(end - start) / 50)
    swipe(driven, (left, y), (8, 0))
    until(lambda: shown(driven, WEEK)[0] < start, "moving by a finger")


def ticks(driven, place):
    """What is written along the time axis of a zoomed chart, and how far from its left edge."""
    own = "[...drawing.svg.querySelectorAll('.own text')]"
    return of(driven, place, f"return {own}.map((each) => [each.textContent, +each.getAttribute('x')])")


def test_ticks_follow_the_zone_over_a_change_of_clocks(driven, tmp_path):
    """Europe/London, 25 October 2026: the clocks go back at one in the morning UTC (tz database: last Sunday)."""
    start_us = 1_792_886_400 * SECOND_US  # 25 October 2026, 00:00 UTC
    log = one_log(np.arange(6 * 60) % 7, 60 * SECOND_US, start_us, zone="Europe/London", gap_limit_s=600.0)
    opened(driven, page_of(tmp_path, log))
    ms = start_us / 1000
    of(driven, 0, f"chart.show({ms - 1e6}, {ms + 4 * 36e5})")
    (left, _, right, *_), (start, end) = of(driven, 0, "return drawing.boxes[0]"), shown(driven, 0)
    places = {text: start + (end - start) * (x - left) / (right - left) for text, x in ticks(driven, 0)}
    assert len(places) >= 5
    for text, at_ms in places.items():
        clock = datetime.fromtimestamp(round(at_ms / 1000 / 60) * 60, ZoneInfo("Europe/London"))
        assert f"{clock:%H:%M}" == text
    assert max(places.values()) > ms + 2 * 36e5
    mouse(driven, "mouseMoved", seen(driven, 0)["x"] + 60, seen(driven, 0)["y"] + 20)
    until(lambda: " BST · " in said(driven, 0), "the zone's name")


def test_no_chart_is_a_trap_for_the_keyboard(driven, demo):
    """A chart is one stop with a name, none within it; its buttons come after it."""
    opened(driven, demo / "page.html")
    seen(driven, RUNS)
    stops = of(
        driven, RUNS, "return [...drawing.svg.querySelectorAll('*')].filter((each) => each.tabIndex >= 0).length"
    )
    assert stops == 0
    name = of(driven, RUNS, "return [drawing.svg.getAttribute('role'), drawing.svg.ariaLabel, drawing.svg.tabIndex]")
    assert name == ["img", "Length of each run and of the rest before it, over time", 0]


def test_light_and_dark_are_followed(driven, demo):
    """A drawing's colours are the page's, also zoomed and when the page turns from light to dark."""
    opened(driven, demo / "page.html", 768)
    press(driven, WEEK, "Closer")
    colour = "return getComputedStyle(drawing.svg.querySelector('[data-is=line-0] path')).fill"
    light = of(driven, WEEK, colour)
    as_wide_as(driven, 768, dark=True)
    until(lambda: of(driven, WEEK, colour) != light, "turning dark")


@contextmanager
def printed(driven):
    """The page as it goes to paper."""
    driven.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        yield
    finally:
        driven.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


VISIBLE = """
const seen = (each) => each.getClientRects().length > 0;
return [...document.querySelectorAll("figure:has(.plot-tools)")].map((figure) => [
  [...figure.querySelectorAll("svg")].filter(seen).length,
  [...figure.querySelectorAll(".plot-tools")].filter(seen).length])
"""


def test_paper_has_drawings_alone(driven, demo):
    """On a screen a drawing has its line and buttons; printed, each figure is one drawing."""
    opened(driven, demo / "page.html")
    driven.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert {tuple(each) for each in driven.execute_script(VISIBLE)} == {(1, 1)}
    with printed(driven):
        assert {tuple(each) for each in driven.execute_script(VISIBLE)} == {(1, 0)}


def test_without_scripts_drawings_stand(driven, demo):
    """Where scripts are off, each figure is one drawing, and no button that would do nothing."""
    opened(driven, demo / "page.html")
    driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    driven.get((demo / "page.html").as_uri())
    driven.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
    counts = driven.execute_script(VISIBLE)
    driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert len(counts) >= 10
    assert {tuple(each) for each in counts} == {(1, 0)}


@pytest.mark.parametrize("width", [390, 1440])
def test_nothing_shifts(driven, demo, width):
    """While the page loads and a pointer goes along a chart, its layout shift stays below a hundredth."""
    opened(driven, demo / "page.html", width)
    box = seen(driven, WEEK)
    for far in range(0, 100, 7):
        mouse(driven, "mouseMoved", box["x"] + box["width"] * far / 100, box["y"] + 50)
    shift = driven.execute_async_script(
        """const done = arguments[0];
        new PerformanceObserver((list) => done(list.getEntries().reduce((sum, each) => sum + each.value, 0)))
          .observe({type: "layout-shift", buffered: true});
        setTimeout(() => done(0), 1500)"""
    )
    assert said(driven, WEEK) != ""
    assert shift < 0.01


def test_the_policy_lets_nothing_be_compiled_or_fetched(driven, demo):
    """Text cannot become a script, nor an address be asked, whatever stands in the page."""
    opened(driven, demo / "page.html")
    assert "unsafe-eval" not in (demo / "page.html").read_text(encoding="utf-8")
    tried = "try { new Function('return 1')(); return 'ran' } catch (error) { return error.name }"
    # The driver's own script may compile as long as it runs; what the page does later may not.
    driven.execute_script(
        "const added = document.createElement('script'); added.textContent = arguments[0]; document.body.append(added)",
        f"setTimeout(() => {{ window.tried = (() => {{ {tried} }})() }}, 50)",
    )
    assert until(lambda: driven.execute_script("return window.tried"), "trying") == "EvalError"
    fetched = "fetch('https://example.org').then(() => arguments[0]('went'), () => arguments[0]('refused'))"
    assert driven.execute_async_script(fetched) == "refused"


def test_a_saved_picture_is_whole(driven, demo):
    """An SVG with its own colours, type and size that stands alone; a PNG of twice its pixels; neither is a blank."""
    opened(driven, demo / "page.html")
    driven.set_script_timeout(60)
    press(driven, WEEK, "Closer")
    text = of(driven, WEEK, "return pictures.picture(drawing.svg).text")
    root = ElementTree.fromstring(text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert (root.attrib["width"], "var(--" in text, "data-x" in text) == ("1100", False, False)
    assert "#0072b2" in text
    assert root.attrib["font-family"]
    png = driven.execute_async_script(
        """const done = arguments[0], svg = charts[0].drawings[0].svg;
        pictures.asPng(pictures.picture(svg)).then((blob) => {
          const reader = new FileReader();
          reader.onload = () => done(reader.result.split(",")[1]);
          reader.readAsDataURL(blob);
        })"""
    )
    data = base64.b64decode(png)
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert struct.unpack(">II", data[16:24]) == (2200, 2 * int(float(root.attrib["height"])))
    assert len(data) > 10_000
    assert faults(driven) == []


def test_a_picture_is_saved_under_the_log_s_name(watched, demo, tmp_path):
    """The file is named after the log and the chart, and is made without asking for anything."""
    opened(watched, demo / "page.html")
    watched.execute_cdp_cmd("Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(tmp_path)})
    for name in ("Save picture", "as SVG"):
        press(watched, WEEK, name)
    wanted = {f"week-later-current-over-the-whole-log.{kind}" for kind in ("svg", "png")}
    until(lambda: {each.name for each in tmp_path.iterdir()} == wanted, "both files")
    assert faults(watched) == []
    assert not {url for url in asked(watched) if not url.startswith(("file:", "blob:"))}


def test_names_and_notes_stay_text(watched, tmp_path):
    """Markup in a note is told as text when the pointer is on it; it runs nothing and asks for nothing."""
    log = with_facts(make_log(name=NASTY_LABEL), meter=NASTY_LABEL, markers=((START_US + 1_200_000_000, NASTY_LABEL),))
    page = page_of(tmp_path, log, site=make_site().model_copy(update={"name": NASTY_LABEL}))
    opened(watched, page, 360)
    box, (start, end) = seen(watched, 0), shown(watched, 0)
    at = ((START_US + 1_200_000_000) / 1000 - start) / (end - start)
    mouse(watched, "mouseMoved", box["x"] + box["width"] * at, box["y"] + 40)
    until(lambda: "</script><script>hit=1" in said(watched, 0), "the note")
    assert watched.execute_script("return window.hit") is None
    wide, room = watched.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert wide <= room
    assert faults(watched) == []
    assert asked(watched) <= {page.as_uri()}
