"""The page in a real browser: quiet, whole without scripts, in reach of everyone, and right on paper."""

import base64
import io
from itertools import product
from unicodedata import normalize

import pytest
from browsers import WIDTHS, browser, faults, faults_of_access, opened
from hostile_page import hostile_report
from report_scenes import make_later, make_report

from shuntbook.cli.render.page.page import render

#: Our own aims for the demo's two logs with everything folded: width and the most it may be high. [CSS px]
MOST_HIGH = {1100: 10_000, 360: 16_000}
#: Width and height of a sheet (ISO 216; ANSI for Letter). [in]
PAPERS = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}
UNFOLD = "document.querySelectorAll('details').forEach(d => d.open = true)"


@pytest.fixture(scope="module")
def driven():
    """One browser for the whole file."""
    with browser() as found:
        yield found


@pytest.fixture(scope="module")
def pages(demo, tmp_path_factory):
    """The demo's page, the page of one log, and a page whose texts mean harm."""
    folder = tmp_path_factory.mktemp("pages")
    for name, report in (("one", make_report(make_later())), ("hostile", hostile_report())):
        (folder / f"{name}.html").write_text(render(report), encoding="utf-8")
    return {"demo": demo / "page.html"} | {name: folder / f"{name}.html" for name in ("one", "hostile")}


@pytest.mark.parametrize(
    ("name", "dark"),
    [
        ("demo", False),
        ("hostile", True),
        pytest.param("demo", True, marks=pytest.mark.night),
        pytest.param("hostile", False, marks=pytest.mark.night),
    ],
)
def test_page_is_quiet_and_stands_upright(driven, pages, name, dark):
    """No word in the console, nothing asked for, no script run, and no scrolling sideways at any width."""
    for width in WIDTHS:
        opened(driven, pages[name], width, dark=dark)
        assert faults(driven) == []
        assert driven.execute_script("return performance.getEntriesByType('resource').length") == 0
        assert driven.title.endswith("what was measured")
        assert driven.execute_script("return document.documentElement.scrollWidth") <= width
        driven.execute_script(UNFOLD)
        assert driven.execute_script("return document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize(
    ("name", "dark", "width"),
    [
        ("demo", False, 1440),
        ("hostile", True, 360),
        *[
            pytest.param(*other, marks=pytest.mark.night)
            for other in product(["demo", "hostile"], [False, True], [360, 1440])
            if other not in {("demo", False, 1440), ("hostile", True, 360)}
        ],
    ],
)
def test_page_has_no_grave_fault_of_access(driven, pages, name, dark, width):
    """Nothing serious or critical by axe-core's rules (WCAG 2 among them), folded and unfolded."""
    opened(driven, pages[name], width, dark=dark)
    assert faults_of_access(driven) == {}
    driven.execute_script(UNFOLD)
    assert faults_of_access(driven) == {}


def test_axe_is_awake(driven, pages):
    """A page with an unnamed picture and pale text is found out: the tests above can fail."""
    opened(driven, pages["one"], 1440)
    driven.execute_script("document.querySelector('main p').style.color = '#ddd'")
    assert "color-contrast" in faults_of_access(driven)


@pytest.mark.parametrize("width", MOST_HIGH)
def test_demo_s_page_is_short(driven, pages, width):
    """With everything folded two logs are no scroll without end."""
    opened(driven, pages["demo"], width)
    assert driven.execute_script("return document.documentElement.scrollHeight") <= MOST_HIGH[width]


def test_page_is_whole_without_scripts(driven, pages):
    """With scripts switched off every heading, picture and table is there for those who listen."""
    driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        opened(driven, pages["one"], 1440)
        tree = driven.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    finally:
        driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    told = [(node["role"]["value"], node.get("name", {}).get("value", "")) for node in tree if not node["ignored"]]
    roles = [role for role, _ in told]
    assert ("heading", "Is the well pump healthy?") in told
    assert {"main", "navigation", "banner", "contentinfo", "DisclosureTriangle"} <= set(roles)
    assert all(name for role, name in told if role in {"image", "heading", "table", "DisclosureTriangle"})
    assert roles.count("image") >= 3


def test_page_works_by_keyboard(driven, pages):
    """The first stop skips to the content; links come in order; a fold opens by Enter; every stop can be seen."""
    from selenium.webdriver.common.keys import Keys

    def press(key):
        driven.switch_to.active_element.send_keys(key)
        return driven.execute_script(
            "const e = document.activeElement, s = getComputedStyle(e);"
            "return [e.tagName, e.getAttribute('href') || e.innerText, s.outlineStyle, e.getBoundingClientRect().width]"
        )

    opened(driven, pages["one"], 1440)
    assert press(Keys.TAB)[:2] == ["A", "#main"]
    assert press(Keys.ENTER)[0] in {"MAIN", "A"}
    stops = [press(Keys.TAB) for _ in range(15)]
    assert [stop[1] for stop in stops[:3]] == ["#log-1-finding-1", "#log-1-took", "#log-1-health"]
    assert all(outline != "none" and width > 10 for _, _, outline, width in stops)
    kinds = [kind for kind, *_ in stops]
    assert "SUMMARY" in kinds
    while press(Keys.TAB)[0] != "SUMMARY":
        pass
    press(Keys.ENTER)
    assert driven.execute_script("return document.activeElement.parentElement.open")


def test_link_opens_the_fold_it_leads_into(driven, pages):
    """What is folded is found: a link to a table in a fold opens it (HTML standard, revealing algorithm)."""
    opened(driven, pages["one"], 1440)
    inside = driven.execute_script("return document.querySelector('details [id^=table]').id")
    driven.get(f"{pages['one'].as_uri()}#{inside}")
    assert driven.execute_script("return document.getElementById(arguments[0]).closest('details').open", inside)


@pytest.mark.parametrize("dark", [False, True])
def test_forced_colours_reach_the_charts(driven, pages, dark):
    """Where a reader has chosen the colours, text and lines of a chart have them, apart from the ground."""
    opened(driven, pages["one"], 1440, dark=dark, forced_colors="active")
    ground, ink = driven.execute_script(
        "const s = getComputedStyle(document.body); return [s.backgroundColor, s.color]"
    )
    drawn = driven.execute_script(
        "return [...document.querySelectorAll('.wide svg text')].map(e => getComputedStyle(e).fill)"
    )
    assert ground != ink
    assert set(drawn) <= {ink, ground}  # a name within a bar has the ground's
    assert drawn.count(ink) > 0.8 * len(drawn)
    lines = driven.execute_script(
        "return [...document.querySelectorAll('.wide svg path')].map(e => getComputedStyle(e).stroke)"
    )
    assert ink in lines


def test_nothing_moves(driven, pages):
    """Nothing is animated, so there is nothing to hold still for those who ask for less motion."""
    opened(driven, pages["one"], 1440, prefers_reduced_motion="reduce")
    moving = (
        "return [...document.querySelectorAll('*')].filter(e => { const s = getComputedStyle(e);"
        "return s.animationName != 'none' || s.scrollBehavior == 'smooth' || parseFloat(s.transitionDuration) }).length"
    )
    assert driven.execute_script(moving) == 0


@pytest.mark.parametrize(
    ("name", "paper"),
    [
        ("demo", "A4"),
        ("hostile", "Letter"),
        pytest.param("demo", "Letter", marks=pytest.mark.night),
        pytest.param("hostile", "A4", marks=pytest.mark.night),
    ],
)
def test_print_clips_nothing(driven, pages, name, paper):
    """As printed every fold but a long list is open, and no picture, table or line is wider than the sheet's inside."""
    inside_px = round((PAPERS[paper][0] - 2 * 14 / 25.4) * 96)
    opened(driven, pages[name], inside_px, media="print")
    wider = driven.execute_script(
        "return [...document.querySelectorAll('body *')].filter(e => !e.closest('.skip, .sr, clipPath, defs'))"
        ".filter(e => e.getBoundingClientRect().right > arguments[0] + 1).map(e => e.outerHTML.slice(0, 90))",
        inside_px,
    )
    assert wider == []
    folded = driven.execute_script(
        "return [...document.querySelectorAll('details:not(.long) > *')].filter(e => !e.closest('details.long'))"
        ".filter(e => !e.getBoundingClientRect().height).length"
    )
    assert folded == 0


def test_browser_s_pdf_holds_tables_and_what_was_opened(driven, pages):
    """Chromium's own print to PDF, A4 and Letter: short tables are on it, long lists only where they were opened."""
    pypdf = pytest.importorskip("pypdf")
    for width_in, height_in in PAPERS.values():
        opened(driven, pages["one"], 1100)
        asked = {"paperWidth": width_in, "paperHeight": height_in, "printBackground": True}
        text, sheets = _printed(driven, pypdf, asked)
        assert _squeezed("What went out and what came back") in text
        long_lists = ("Rows rejected", "steady-state transitions", "The highest start", "The estimate, step by step")
        assert not [words for words in long_lists if _squeezed(words) in text]
        assert len(sheets) <= 8
        assert float(sheets[0].mediabox.width) == pytest.approx(72 * width_in, abs=1)
        driven.execute_script(UNFOLD)
        text, _ = _printed(driven, pypdf, asked)
        assert all(_squeezed(words) in text for words in long_lists)


def _printed(driven, pypdf, asked):
    """Return the text of the page as printed, without spaces, and its sheets."""
    made = driven.execute_cdp_cmd("Page.printToPDF", asked)
    sheets = pypdf.PdfReader(io.BytesIO(base64.b64decode(made["data"]))).pages
    return _squeezed("".join(sheet.extract_text() for sheet in sheets)), sheets


def _squeezed(text):
    """Text without spaces and ligatures: a printed line may end within a word, at a hyphen."""
    return "".join(normalize("NFKC", text).split())
