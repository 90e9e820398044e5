"""The page's first screen in a real browser: verdict, answer and picture in sight at every size, scripts on or off."""

from dataclasses import replace

import pytest
from browsers import as_wide_as, browser, opened
from day_logs import LONDON, made_log, us
from examples import many
from hostile_page import hostile_report
from logs_of_days import days_from, zone_of
from report_scenes import make_later, make_log, make_report

from shuntbook.analysis.cycles.cycle import Cycles, CycleSummary
from shuntbook.analysis.several_logs.over_logs import over_logs
from shuntbook.cli.render.page.page import render

#: Width and height of the screens that the first screen is laid out for. [CSS px]
SCREENS = ((360, 780), (390, 844), (768, 1024), (1440, 900), (1920, 1080), (2560, 1440))
#: The type sizes of the page. [CSS px]
SIZES = {14, 17, 22, 32, 48, 72}
#: So many words of a section stand before its folds.
MOST_WORDS = 40
BOXES = """
const box = (e) => { const b = e.getBoundingClientRect(); return [e.className, b.top, b.bottom, b.left, b.right] };
return ['.verdict .sentence', '.glance .figure', '.glance .either', '.picture svg'].map(
  (name) => [...document.querySelectorAll(name)].filter((e) => e.checkVisibility()).map(box)[0] || null)
"""
TYPE = """
return [...new Set([...document.querySelectorAll('body, body *')]
  .filter((e) => e.checkVisibility() && !e.closest('svg'))
  .filter((e) => [...e.childNodes].some((n) => n.nodeType == 3 && n.data.trim()))
  .map((e) => parseFloat(getComputedStyle(e).fontSize)))]
"""
#: The words in drawings that are drawn smaller than twelve pixels, or stand out of their drawing.
IN_DRAWINGS = """
const seen = [...document.querySelectorAll('svg text')].filter((e) => e.checkVisibility() && e.textContent.trim());
const scale = (e) => { const m = e.getScreenCTM(); return Math.hypot(m.a, m.b) };
const size = (e) => scale(e) * parseFloat(getComputedStyle(e).fontSize);
const inside = (e) => {
  const a = e.getBoundingClientRect(), b = e.closest('svg').getBoundingClientRect();
  return a.left > b.left - 2 && a.right < b.right + 2;
};
return [seen.length, seen.filter((e) => size(e) < 12 || !inside(e)).map((e) => [size(e), e.textContent])]
"""
WORDS = """
const seen = (section) => {
  const walker = document.createTreeWalker(section, NodeFilter.SHOW_TEXT);
  let count = 0;
  while (walker.nextNode()) {
    const e = walker.currentNode.parentElement;
    if (e.closest('svg, script, style, .sr, summary, .plot-tools, details:not([open])')) continue;
    count += walker.currentNode.data.split(/\\s+/).filter((word) => /[\\p{L}\\p{N}]/u.test(word)).length;
  }
  return count;
};
return [...document.querySelectorAll('main section')].map((s) => [s.getAttribute('aria-labelledby'), seen(s)])
"""


@pytest.fixture(scope="module")
def driven():
    """One browser for the whole file."""
    with browser() as found:
        yield found


@pytest.fixture(scope="module")
def pages(demo, tmp_path_factory):
    """The demo's page, one of a log with and without a site, without a run, behind an inverter, and a hostile one."""
    folder = tmp_path_factory.mktemp("pages")
    quiet = make_log(cycles=Cycles((), CycleSummary(0, 0.0, 0.0, None, None), "current_A"), close_up=None, findings=())
    reports = {
        "site": make_report(_known(make_later())),
        "no site": make_report(_known(make_later()), site=None),
        "no runs": make_report(quiet),
        "hostile": hostile_report(),
        "days": _of_days("2026-10-22", 8),
    }
    for name, report in reports.items():
        (folder / f"{name}.html").write_text(render(report), encoding="utf-8")
    return {"demo": demo / "page.html"} | {name: folder / f"{name}.html" for name in reports}


def _of_days(first, count):
    """The report of a log a day, over the change of the clocks."""
    days = [str(day) for day in days_from(first, count + 1)]
    ends = [us(f"{day}T00:00", LONDON) for day in days]
    starts = [[us(f"{day}T{hour}:00", LONDON) for hour in range(10, 16)] for day in days]
    logs = [made_log(f"day {k}", ends[k], ends[k + 1], starts[k]) for k in range(count)]
    return make_report(*logs, over=over_logs(logs, zone_of))


def _known(log):
    """The log with what its runs took, and how sure that is."""
    summary = replace(log.cycles.summary, charge_Ah=32.0, charge_u95_Ah=2.6, energy_Wh=385.0, energy_u95_Wh=32.0)
    return replace(log, cycles=replace(log.cycles, summary=summary))


def at_each_screen(driven, page, screens=SCREENS, *, scripts=True, **how):
    """Yield the width and the height of each screen with the page on it.

    By day it is loaded once for phones and once for the others, and made wider; by night it is loaded for each.
    """
    loaded = None
    for width, height in screens:
        as_wide_as(driven, width, height=height, **how)
        if loaded != many(width < 500, width):
            driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not scripts})
            driven.get(page.as_uri())
            driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
            loaded = many(width < 500, width)
        yield width, height


@pytest.mark.parametrize("name", ["demo", "site", "no site"])
def test_first_screen_holds_verdict_answer_and_picture(driven, pages, name):
    """They stand on it whole, light and dark alike, with scripts off as with scripts on, and nothing runs sideways."""
    places = []
    for dark, scripts in ((False, True), (True, False), (True, True), (False, False))[: many(2, 4)]:
        places.append([])
        for width, height in at_each_screen(driven, pages[name], scripts=scripts, dark=dark):
            boxes = driven.execute_script(BOXES)
            assert all(box is not None and box[1] >= 0 and box[2] <= height for box in boxes), boxes
            assert all(box[3] >= 0 and box[4] <= width for box in boxes)
            assert driven.execute_script("return document.documentElement.scrollWidth") <= width
            places[-1].append(boxes)
    assert all(each == places[0] for each in places)


def test_five_figures_are_on_the_first_screen(driven, pages):
    """The pump's Ah, the bank's, whether it is healthy, what to do first, and how sure: before anybody scrolls."""
    for _ in at_each_screen(driven, pages["demo"]):
        shown = driven.execute_script(
            "return [...document.querySelectorAll('.verdict *, .whose, .took *, .tile *, .explained')]"
            ".filter(e => e.checkVisibility() && e.getBoundingClientRect().bottom <= innerHeight)"
            ".map(e => e.textContent).join(' ')"
        ).replace("\N{NO-BREAK SPACE}", " ")
        # Of both logs, by `shuntbook cycles` and `charge`; how the second of them is goes before the first.
        for words in ("12.1 Ah", "± 2.0", "8.352 Ah", "± 0.076", "10.42 Ah", "Act", "First:", "Healthy"):
            assert words in shown


@pytest.mark.parametrize("name", ["demo", "site", "no site", "no runs", "hostile"])
def test_sections_are_short_and_type_has_six_sizes(driven, pages, name):
    """Before its folds a section has at most forty words; no text is of another size than the page's six."""
    for _ in at_each_screen(driven, pages[name], ((390, 900), (1440, 900))):
        counted = driven.execute_script(WORDS)
        assert len(counted) > 5
        assert [each for each in counted if each[1] > MOST_WORDS and each[0]] == []
        assert set(driven.execute_script(TYPE)) <= SIZES


@pytest.mark.parametrize("name", ["demo", "site", "no site", "days"])
def test_words_in_drawings_are_large_enough_at_every_width(driven, pages, name):
    """At least twelve pixels, those in folds too, on either side of each width at which the layout changes.

    By day so closely for the demo alone.
    """
    changes = [edge + more for edge in (640, 768, 832, 1008, 1024, 1184, 1216) for more in (0, 1)]
    widths = (360, 390, 430, 540, *changes, 1100, 1440, 1920, 2560)
    widths = widths if name == "demo" else widths[:: many(3, 1)]
    for width, _ in at_each_screen(driven, pages[name], [(width, 900) for width in widths]):
        driven.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
        count, amiss = driven.execute_script(IN_DRAWINGS)
        assert count > 20
        assert amiss == [], width


def test_lines_are_no_longer_than_is_read_well(driven, pages):
    """No paragraph or item of a list is wider than sixty-five of its own digits."""
    opened(driven, pages["demo"], 2560)
    driven.execute_script("document.querySelectorAll('details').forEach(d => d.open = true)")
    wide = driven.execute_script(
        "const pen = document.createElement('canvas').getContext('2d');"
        "return [...document.querySelectorAll('main section section p, main li, main dd, figcaption')].filter(e => {"
        "const s = getComputedStyle(e); pen.font = `${s.fontSize} ${s.fontFamily}`;"
        "return !e.closest('.tiles, nav') && e.getBoundingClientRect().width > 65 * pen.measureText('0').width + 1 })"
        ".map(e => e.textContent.slice(0, 60))"
    )
    assert wide == []
    assert driven.execute_script("return document.querySelector('.picture svg').getBoundingClientRect().width") <= 1600


def test_landmarks_have_names_of_their_own(driven, pages):
    """Of two logs the sections of one kind are told apart by the log they are of."""
    opened(driven, pages["demo"])
    tree = driven.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    told = [node.get("name", {}).get("value", "") for node in tree if node.get("role", {}).get("value") == "region"]
    names = [name for name in told if name]
    assert len(names) > 10
    assert len(names) == len(set(names))
