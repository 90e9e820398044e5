"""The page's charts in a real browser: they draw, move and tell what the log says; without them the drawings stand."""

import json
import re
from contextlib import contextmanager

import numpy as np
import pytest
from browsers import WIDTHS, as_wide_as, browser, faults, opened, until
from page_reading import NASTY_LABEL
from report_scenes import START_US, make_log, make_report, make_site, with_facts

import shuntbook
from shuntbook.cli.render.page.page import render

# A browser draws every chart of a page, also where other work takes most of the machine.
pytestmark = pytest.mark.timeout(400)
CHART = "const chart = [...shuntbook.charts.values()][arguments[0]];"
# Of the demo's charts: the whole log of its second week, which has a reading a second, and its pump's runs.
WEEK, RUNS = 5, 7


@pytest.fixture(scope="module")
def driven():
    """One browser for all."""
    with browser() as found:
        yield found


def drawn(driven, place):
    """Bring a chart on the screen, unfolded, wait until it is drawn, and return where its first plot is."""
    driven.execute_script(f"{CHART} chart.figure.closest('details')?.setAttribute('open', '')", place)
    driven.execute_script(f"{CHART} chart.figure.scrollIntoView({{block: 'center'}})", place)
    until(lambda: driven.execute_script(f"{CHART} return chart.figure.classList.contains('drawn')", place), "drawing")
    seen = [None]

    def still():
        seen.append(box_of(driven, place))
        return seen[-1] == seen[-2]

    until(still, "coming to rest while the charts above are drawn")
    return seen[-1]


def box_of(driven, place):
    """Where the first plot of a chart is on the screen, once more brought into sight."""
    driven.execute_script(f"{CHART} chart.figure.scrollIntoView({{block: 'center'}})", place)
    return driven.execute_script(
        f"""{CHART} const plot = chart.views.roots[0].child_views[0];
        const box = plot.canvas_view.events_el.getBoundingClientRect();
        const inner = plot.frame.bbox;
        return {{x: box.left + inner.left, y: box.top + inner.top, width: inner.width, height: inner.height}}""",
        place,
    )


def count(driven):
    """How many charts there are."""
    return driven.execute_script("return shuntbook.charts.size")


def shown(driven, place):
    """From where to where the x axis of a chart goes."""
    return driven.execute_script(f"{CHART} return [chart.range.start, chart.range.end]", place)


def said(driven, place):
    """What the line under a chart says."""
    return driven.execute_script(f"{CHART} return chart.reading.textContent", place)


def press(driven, place, name):
    """Press one of a chart's buttons."""
    driven.execute_script(
        f"{CHART} [...chart.tools.querySelectorAll('button')].find((b) => b.textContent === arguments[1]).click()",
        place,
        name,
    )


def mouse(driven, kind, x, y, **more):
    """Do something with the mouse, as a browser gets it from a person's hand."""
    driven.execute_cdp_cmd("Input.dispatchMouseEvent", {"type": kind, "x": x, "y": y, **more})


def swipe(driven, start, step):
    """Draw a finger over the page, in steps of so many pixels."""
    (x, y), (dx, dy) = start, step
    for kind, far in (("touchStart", 0), *(("touchMove", far) for far in range(1, 12)), ("touchEnd", None)):
        points = [] if far is None else [{"x": x + dx * far, "y": y + dy * far}]
        driven.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def asked(driven):
    """The addresses the page has asked for since it was last looked at."""
    events = [json.loads(entry["message"])["message"] for entry in driven.get_log("performance")]
    sent = [event["params"]["request"]["url"] for event in events if event["method"] == "Network.requestWillBeSent"]
    return {url for url in sent if not url.startswith("data:")}


@pytest.mark.parametrize("width", WIDTHS)
def test_every_chart_draws_and_nothing_is_fetched(driven, demo, width):
    """At each width all charts draw within the page, the console has no fault, and only the page is asked for."""
    page = demo / "page.html"
    opened(driven, page, width)
    for place in range(count(driven)):
        box = drawn(driven, place)
        assert box["width"] > 0.6 * min(width, 1000) - 60
        ink = driven.execute_script(
            f"""{CHART} const canvas = chart.views.roots[0].child_views[0].canvas_view.compose().canvas;
            const seen = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
            return new Set(new Uint32Array(seen.buffer)).size""",
            place,
        )
        assert ink > 5  # paper, rules, text and the drawn line, each with its soft edges
    wide, room = driven.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert wide <= room
    assert faults(driven) == []
    assert asked(driven) <= {page.as_uri()}


def test_a_pointer_reads_what_the_log_says(driven, demo):
    """Zoomed in, the reading under the pointer is the log's: its time in the zone of the site, its amps, its volts."""
    opened(driven, demo / "page.html")
    box = drawn(driven, WEEK)
    whole = shown(driven, WEEK)
    for _ in range(6):
        press(driven, WEEK, "Zoom in")
    start, end = shown(driven, WEEK)
    assert end - start == pytest.approx((whole[1] - whole[0]) / 64, rel=1e-3)
    table = shuntbook.open_log(demo / "week_later.parquet").to_pandas()
    times_ms = table.index.tz_convert("UTC").asi8 / {"us": 1e3, "ns": 1e6, "ms": 1}[table.index.unit]
    at = int(np.searchsorted(times_ms, (start + end) / 2))
    x = box["x"] + box["width"] * (times_ms[at] - start) / (end - start)
    mouse(driven, "mouseMoved", x, box["y"] + 40)
    row, local = table.iloc[at], table.index[at].tz_convert("Europe/London")
    until(lambda: said(driven, WEEK).startswith(f"{local.day} {local:%b %Y %H:%M:%S} · "), "the reading's time")
    current, voltage = re.findall(r"(?:current|voltage) (-?[\d.]+) [AV]", said(driven, WEEK))
    assert float(current) == pytest.approx(row["current_A"], rel=1e-3)
    assert float(voltage) == pytest.approx(row["voltage_V"], rel=1e-3)


def test_a_drag_moves_and_the_ends_hold(driven, demo):
    """Dragged to the right, the chart shows as much of what was before; it stops at the log's ends."""
    opened(driven, demo / "page.html")
    box = drawn(driven, WEEK)
    whole = shown(driven, WEEK)
    press(driven, WEEK, "Zoom in")
    before, middle, y = shown(driven, WEEK), box["x"] + box["width"] / 2, box["y"] + 60

    # A slow machine may hold the button so long before it moves that it is no drag: then once more.
    def dragged():
        mouse(driven, "mousePressed", middle, y, button="left", buttons=1)
        for step in range(1, 6):
            mouse(driven, "mouseMoved", middle + 20 * step, y, button="left", buttons=1)
        mouse(driven, "mouseReleased", middle + 100, y, button="left")
        return shown(driven, WEEK)[0] < before[0]

    until(dragged, "moving")
    after = shown(driven, WEEK)
    assert after[1] - after[0] == pytest.approx(before[1] - before[0])
    for _ in range(9):
        press(driven, WEEK, "Later")
    assert shown(driven, WEEK)[1] == whole[1]
    press(driven, WEEK, "Whole")
    assert shown(driven, WEEK) == whole


def test_the_wheel_and_a_swipe_are_the_page_s(driven, demo):
    """The wheel scrolls the page, with Ctrl it zooms; a finger scrolls up and down, sideways it moves."""
    opened(driven, demo / "page.html", 360)
    box = drawn(driven, WEEK)
    whole, x, y = shown(driven, WEEK), box["x"] + box["width"] / 2, box["y"] + 60
    scrolled = driven.execute_script("return scrollY")
    mouse(driven, "mouseWheel", x, y, deltaX=0, deltaY=-90)
    until(lambda: driven.execute_script("return scrollY") < scrolled, "the page's scrolling")
    assert shown(driven, WEEK) == whole
    box = drawn(driven, WEEK)
    y, scrolled = box["y"] + 60, driven.execute_script("return scrollY")
    mouse(driven, "mouseWheel", x, y, deltaX=0, deltaY=-90, modifiers=2)
    until(lambda: shown(driven, WEEK) != whole, "zooming")
    press(driven, WEEK, "Whole")
    swipe(driven, (x, y), (0, -8))
    until(lambda: driven.execute_script("return scrollY") > scrolled + 50, "the page's scrolling by a finger")
    assert shown(driven, WEEK) == whole
    press(driven, WEEK, "Zoom in")
    before, box = shown(driven, WEEK), drawn(driven, WEEK)

    def moved():
        swipe(driven, (x, box["y"] + 60), (8, 0))
        return shown(driven, WEEK)[0] < before[0]

    until(moved, "moving by a finger")


def test_a_chart_in_a_closed_fold_draws_when_it_is_opened(driven, demo):
    """It waits until it can be seen, and then has the width of the page."""
    opened(driven, demo / "page.html")
    last = count(driven) - 1
    fold = f"""{CHART} const fold = document.createElement("details");
        chart.figure.before(fold); fold.append(chart.figure);
        fold.scrollIntoView({{block: "center"}}); window.fold = fold"""
    driven.execute_script(fold, last)
    drawn(driven, 0)
    assert not driven.execute_script(f"{CHART} return chart.figure.classList.contains('drawn')", last)
    driven.execute_script("fold.open = true")
    assert drawn(driven, last)["width"] > 800


def test_no_chart_is_a_trap_for_the_keyboard(driven, demo):
    """Charts are pictures with a name and out of the tab order; their buttons are in it."""
    opened(driven, demo / "page.html")
    drawn(driven, RUNS)
    stops = driven.execute_script(
        f"""{CHART} const within = (node) => [...node.querySelectorAll("*")].flatMap(
            (each) => [each, ...(each.shadowRoot ? within(each.shadowRoot) : [])]);
        return within(chart.holder).filter((each) => each.tabIndex >= 0).length""",
        RUNS,
    )
    assert stops == 0
    holder = driven.execute_script(f"{CHART} return [chart.holder.role, chart.holder.ariaLabel]", RUNS)
    assert holder == ["img", "Length of each run and of the rest before it, over time"]


def paper(driven, place):
    """The colour of a plot's ground, as it is drawn, and how many of the charts are drawings only."""
    return driven.execute_script(
        f"{CHART} return chart.views.roots[0].child_views[0].model.background_fill_color", place
    )


def test_light_and_dark_are_followed(driven, demo):
    """The ground of a chart is the page's, when it is opened and when the page turns from light to dark."""
    opened(driven, demo / "page.html", 768)
    drawn(driven, RUNS)
    press(driven, RUNS, "Zoom in")
    light, zoomed = paper(driven, RUNS), shown(driven, RUNS)
    assert light == "#fbfaf7"
    as_wide_as(driven, 768, dark=True)
    until(lambda: paper(driven, RUNS) == "#14181a", "turning dark")
    until(lambda: shown(driven, RUNS) == zoomed, "showing what it showed")
    opened(driven, demo / "page.html", 768, dark=True)
    drawn(driven, RUNS)
    assert paper(driven, RUNS) == "#14181a"


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
return [...document.querySelectorAll("figure")].map((figure) => [
  [...figure.querySelectorAll("svg")].filter(seen).length,
  [...figure.querySelectorAll(".plot, .plot-tools")].filter(seen).length])
"""


def test_paper_has_drawings_alone(driven, demo):
    """On a screen a chart stands in its drawing's place; printed, each figure is one drawing and no canvas."""
    opened(driven, demo / "page.html")
    places = range(count(driven))
    for place in places:
        drawn(driven, place)
    on_screen = driven.execute_script(VISIBLE)
    assert on_screen.count([0, 2]) == len(places)
    with printed(driven):
        assert {tuple(each) for each in driven.execute_script(VISIBLE)} == {(1, 0)}


def test_without_scripts_drawings_stand(driven, demo):
    """Where scripts are off, each figure is one drawing."""
    opened(driven, demo / "page.html")
    driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    driven.get((demo / "page.html").as_uri())
    driven.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
    found = driven.find_elements("css selector", "figure")
    for figure in found:
        assert [each.is_displayed() for each in figure.find_elements("css selector", "svg")].count(True) == 1
        assert not any(each.is_displayed() for each in figure.find_elements("css selector", ".plot, canvas"))
    driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert len(found) >= 10


def test_names_and_notes_stay_text(driven, tmp_path):
    """Markup in a note is told as text when the pointer is on it; it runs nothing and asks for no formula's library."""
    log = with_facts(make_log(name=NASTY_LABEL), meter=NASTY_LABEL, markers=((START_US + 1_200_000_000, NASTY_LABEL),))
    page = tmp_path / "page.html"
    page.write_text(
        render(make_report(log, site=make_site().model_copy(update={"name": NASTY_LABEL}))), encoding="utf-8"
    )
    opened(driven, page, 360)
    box = drawn(driven, 0)
    start, end = shown(driven, 0)
    at = ((START_US + 1_200_000_000) / 1000 - start) / (end - start)
    mouse(driven, "mouseMoved", box["x"] + box["width"] * at, box["y"] + 40)
    until(lambda: "</script><script>hit=1" in said(driven, 0), "the note")
    assert driven.execute_script("return window.hit") is None
    wide, room = driven.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert wide <= room
    assert faults(driven) == []
    assert asked(driven) <= {page.as_uri()}
