"""The page in five steps, in a real browser: keys lead through them, all fits, and the page is left as it was."""

from __future__ import annotations

import pytest
from browsers import as_wide_as, browser, faults, faults_of_access, opened, until
from places import ROOT
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

SIZES = [(1280, 720), (1920, 1080), (2560, 1440)]
#: What is larger than the step may show, in pixels: rounding.
SLACK = 1


@pytest.fixture(scope="module")
def driven():
    """One browser for all of them."""
    with browser() as open_browser:
        yield open_browser


@pytest.fixture
def page(driven, demo):
    """The demo's page, opened afresh on a screen as large as a projector's."""
    opened(driven, demo / "page.html", 1920, height=1080)
    return driven


def press(driven, *keys):
    """Press keys one after the other, wherever the focus is."""
    for key in keys:
        ActionChains(driven).send_keys(key).perform()


def begin(driven):
    """Press the button and wait for the first step."""
    driven.find_element("css selector", ".show-steps").click()
    until(lambda: driven.find_elements("css selector", "dialog.steps section"))


def where(driven):
    """What is said of the step on show, and what has the focus."""
    return driven.execute_script(
        "return [document.querySelector('.steps [aria-live]').textContent, document.activeElement.textContent]"
    )


def test_keys_lead_through_all_five_and_out_again(page):
    """Each step takes the focus and is announced; Esc gives the focus back to the button, and leaves nothing."""
    before = page.execute_script("return document.querySelectorAll('*').length")
    begin(page)
    for key, number, heading in (
        (None, 1, "What was measured"),
        (Keys.ARROW_RIGHT, 2, "What the well pump took"),
        (Keys.SPACE, 3, "Every run"),
        (Keys.PAGE_DOWN, 4, "What the bank gave"),
        (Keys.ARROW_RIGHT, 5, "The verdict"),
        (Keys.ARROW_RIGHT, 5, "The verdict"),
        (Keys.HOME, 1, "What was measured"),
        (Keys.ARROW_LEFT, 1, "What was measured"),
        (Keys.END, 5, "The verdict"),
        (Keys.PAGE_UP, 4, "What the bank gave"),
    ):
        if key is not None:
            press(page, key)
        assert where(page) == [f"Step {number} of 5: {heading}", heading]
    press(page, Keys.ESCAPE)
    until(lambda: not page.find_elements("css selector", "dialog.steps"))
    assert page.execute_script("return document.activeElement.className") == "show-steps"
    assert page.execute_script("return document.fullscreenElement") is None
    assert page.execute_script("return document.querySelectorAll('*').length") == before
    assert faults(page) == []


def test_buttons_do_what_the_keys_do(page):
    """Also with the space bar on a button, which then is no step ahead."""
    begin(page)
    _, following, leave = page.find_elements("css selector", ".steps button")
    following.click()
    assert where(page)[0].startswith("Step 2")
    page.execute_script("arguments[0].focus()", page.find_elements("css selector", ".steps button")[0])
    press(page, Keys.SPACE)
    assert where(page)[0].startswith("Step 1")
    leave.click()
    until(lambda: not page.find_elements("css selector", "dialog.steps"))


def test_it_says_what_the_page_says(page):
    """The answer, the verdict and the drawings are those of the page."""
    took = page.execute_script("return [...document.querySelectorAll('.took .figure')].map(x => x.textContent)")
    begin(page)
    press(page, Keys.ARROW_RIGHT)
    large = page.execute_script("return [...document.querySelectorAll('.steps .large')].map(x => x.textContent)")
    assert sorted(text.partition("±")[0].strip() for text in large) == sorted(took)
    press(page, Keys.ARROW_RIGHT)
    drawn = "return [...document.querySelectorAll(arguments[0] + ' .wide svg text')].map(x => x.textContent)"
    texts = page.execute_script("return [...document.querySelectorAll('.steps svg text')].map(x => x.textContent)")
    assert texts == page.execute_script(drawn, "[data-step=picture]")
    assert len(texts) > 5
    press(page, Keys.END)
    assert page.execute_script("return document.querySelector('.steps .mark').textContent").endswith("act")
    assert "41 times an hour" in page.execute_script("return document.querySelector('.steps .judged').textContent")


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_each_step_fits_a_projector_in_large_type(driven, demo, width, height):
    """Nothing is cut off or scrolled, and what is read is 22 px at least, the answer 72."""
    opened(driven, demo / "page.html", width, height=height)
    begin(driven)
    as_wide_as(driven, width, height=height)
    for number in range(1, 6):
        size = driven.execute_script(
            "const d = document.querySelector('dialog.steps');"
            "return [d.scrollWidth, d.scrollHeight, innerWidth, innerHeight]"
        )
        assert size[0] <= size[2] + SLACK, number
        assert size[1] <= size[3] + SLACK, number
        least = driven.execute_script(
            "return Math.min(...[...document.querySelectorAll('.steps h2, .steps p, .steps figcaption')]"
            ".filter(x => x.textContent).map(x => parseFloat(getComputedStyle(x).fontSize)))"
        )
        assert least >= 22
        if number == 2:
            answer = "return parseFloat(getComputedStyle(document.querySelector('.steps .large')).fontSize)"
            assert driven.execute_script(answer) >= 72
        press(driven, Keys.ARROW_RIGHT)


def test_ids_of_a_cloned_drawing_are_its_own(page):
    """No id comes twice, and what refers to one finds it."""
    begin(page)
    for _ in range(3):
        press(page, Keys.ARROW_RIGHT)
        ids = page.execute_script("return [...document.querySelectorAll('[id]')].map(x => x.id)")
        assert len(ids) == len(set(ids))
        refers = page.execute_script(
            "return [...document.querySelectorAll('.steps svg *')].flatMap(x => [...x.attributes])"
            ".map(a => a.value.match(/^(?:url[(])?#([A-Za-z][^)]*)/)?.[1]).filter(Boolean)"
        )
        assert set(refers) <= set(ids)


def test_a_reader_of_the_screen_finds_no_fault(page):
    """Each step by itself."""
    begin(page)
    for _ in range(5):
        assert faults_of_access(page) == {}
        press(page, Keys.ARROW_RIGHT)


def test_without_scripts_there_is_no_button(driven, demo):
    """Nor anything of the steps' texts."""
    opened(driven, demo / "page.html")
    driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    driven.get((demo / "page.html").as_uri())
    assert driven.find_elements("css selector", ".show-steps, dialog.steps, #steps section") == []
    driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def test_the_steps_cost_the_page_little(demo):
    """Their texts are a few thousand bytes, and their script and style no more than ten thousand."""
    text = (demo / "page.html").read_text(encoding="utf-8")
    start = text.index('<template id="steps">')
    assert text.index("</template>", start) - start < 4000
    templates = ROOT / "cli/render/page/templates"
    assert sum((templates / f"steps.{kind}").stat().st_size for kind in ("js", "css")) < 10_000


def test_a_log_without_runs_has_fewer_steps(driven, tmp_path, demo):
    """What a page has no figure for is no step."""
    page = tmp_path / "page.html"
    text = (demo / "page.html").read_text(encoding="utf-8").replace('data-step="picture"', "")
    page.write_text(text, encoding="utf-8")
    opened(driven, page, 1920, height=1080)
    assert driven.find_element("css selector", ".show-steps").text == "Show in four steps"
