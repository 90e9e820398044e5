"""Boxes drawn on a film in a real browser: by mouse, by touch, by keys; typed with scripts off; at both widths."""

from __future__ import annotations

import json

import pytest
from browsers import as_wide_as, browser, faults, faults_of_access, until
from desk_film import desk_film
from desks import let_in
from film_drawing import corners_of
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.actions.action_builder import ActionBuilder
from selenium.webdriver.common.actions.pointer_input import PointerInput
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.select import Select

pytestmark = pytest.mark.timeout(300)


@pytest.fixture
def seated(seat, tmp_path_factory):
    """Someone at a desk over a folder with a film, in a browser; yields it, the desk and the film's plan."""
    client, (plan, path) = seat.client(), desk_film(tmp_path_factory)
    (client.folder / path.name).write_bytes(path.read_bytes())
    with browser() as driven:
        let_in(driven, client)
        faults(driven)
        client.film = path.name
        yield driven, client, plan


def opened(driven, client, width):
    """The film's page, that wide."""
    as_wide_as(driven, width)
    driven.get(f"{client.origin}/film?file={client.film}")
    until(lambda: driven.execute_script("return document.querySelector('[data-picture] img').naturalWidth > 0"))


def in_picture(driven, point):
    """Where a point of the film is on the screen, from the picture's middle."""
    at = driven.execute_script(
        "const p = document.querySelector('[data-picture]'); p.scrollIntoView({block: 'center'});"
        "const r = p.getBoundingClientRect(); return [r.width / p.dataset.wide, r.width, r.height]"
    )
    return round(point[0] * at[0] - at[1] / 2), round(point[1] * at[0] - at[2] / 2)


def dragged(driven, first, last, kind="mouse"):
    """Press at a point of the film, go to another, and let go."""
    picture = driven.find_element("css selector", "[data-picture]")
    start, end = in_picture(driven, first), in_picture(driven, last)
    actions = ActionBuilder(driven, mouse=PointerInput(kind, kind), duration=50)
    pointer = actions.pointer_action
    pointer.move_to(picture, *start).pointer_down().move_to(picture, *end).pointer_up()
    actions.perform()


def upright(corners):
    """The first and the last corner of the rectangle round some corners."""
    return corners.min(axis=0), corners.max(axis=0)


def corners_typed(driven, box=1):
    """The corners that the form would send."""
    text = driven.find_element("id", f"corners-{box}").get_attribute("value")
    return [[float(x) for x in pair.split(",")] for pair in text.split()]


def what_is_read(driven, box=1):
    """What stands beside a box once it is no longer being asked for."""
    read = (
        f"const e = document.getElementById('says-{box}'); return e.classList.contains('waits') ? '' : e.dataset.read"
    )
    return driven.execute_script(read).replace("\xa0", " ")


@pytest.mark.parametrize(("width", "kind"), [(1440, "mouse"), pytest.param(390, "touch", marks=pytest.mark.night)])
def test_a_box_that_is_drawn_is_read_at_once(seated, width, kind):
    """Drawn round slanting digits, its corners moved onto them: the value that stands there, beside it at once."""
    driven, client, plan = seated
    shown = plan.shown[1]
    exact = corners_of(plan, shown)
    opened(driven, client, width)
    Select(driven.find_element("id", "unit-1")).select_by_value("V")
    Select(driven.find_element("id", "decimals-1")).select_by_value(str(shown.decimals))
    dragged(driven, *upright(exact), kind)
    drawn = corners_typed(driven)
    assert len(drawn) == 4
    for k, corner in enumerate(exact):
        dragged(driven, drawn[k], corner, kind)
    slack = 3 * 640 / driven.find_element("css selector", "[data-picture]").size["width"]
    assert abs(corners_typed(driven) - exact).max() <= slack
    value = until(lambda: what_is_read(driven))
    assert value == f"{shown.text_at(0.0).strip()} V"
    label = driven.execute_script("return document.querySelector('[data-picture] text').textContent")
    assert label.replace("\xa0", " ") == f"1: {value}"
    assert driven.execute_script("return document.documentElement.scrollWidth <= innerWidth")
    assert faults(driven) == []


def test_corners_are_moved_by_keys_alone(seated):
    """From a box that is put in the middle, a pixel of the film a key, ten with shift."""
    driven, client, _ = seated
    opened(driven, client, 1440)
    driven.find_element("css selector", "[data-place]").send_keys(Keys.ENTER)
    before = corners_typed(driven)
    keys = ActionChains(driven)
    keys.send_keys(Keys.ARROW_LEFT, Keys.ARROW_DOWN).key_down(Keys.SHIFT).send_keys(Keys.ARROW_LEFT).key_up(Keys.SHIFT)
    keys.send_keys(Keys.TAB, Keys.ARROW_UP).perform()
    after = corners_typed(driven)
    assert after[0] == [before[0][0] - 11, before[0][1] + 1]
    assert after[1] == [before[1][0], before[1][1] - 1]
    assert after[2:] == before[2:]
    assert "top right corner" in driven.switch_to.active_element.get_attribute("aria-label")
    until(lambda: "Not read" in driven.find_element("id", "says-1").text)


def test_faults_of_access(seated):
    """None, with a box and without, light and dark."""
    driven, client, _ = seated
    for width in (390, 1440):
        opened(driven, client, width)
        driven.find_element("css selector", "[data-place]").click()
        assert faults_of_access(driven) == {}
    driven.get(f"{client.origin}/film")
    assert faults_of_access(driven) == {}


@pytest.mark.night
def test_it_works_with_scripts_off(seated):
    """Corners are typed, the box stands in the picture and what is read beside it; then the film is read."""
    driven, client, plan = seated
    driven.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    as_wide_as(driven, 390)
    driven.get(f"{client.origin}/film?file={client.film}")
    assert not driven.find_element("css selector", "[data-draw]").is_displayed()
    shown = plan.shown[0]
    driven.find_element("id", "corners-1").send_keys(" ".join(f"{x:.0f},{y:.0f}" for x, y in corners_of(plan, shown)))
    driven.find_element("css selector", ".moment button").click()
    until(lambda: driven.find_elements("css selector", "polygon.is-read"))
    assert f"{shown.text_at(0.0).strip()} A" in driven.find_element("id", "says-1").text
    driven.find_element("css selector", "button[value=read]").click()
    until(lambda: "Say when that was" in driven.page_source)
    driven.find_element("id", "start").send_keys("06132026", Keys.TAB, "103005AM")
    driven.find_element("css selector", "button[value=read]").click()
    until(lambda: "has been read" in driven.page_source)
    driven.find_element("link text", "What it took").click()
    until(lambda: "Ah" in driven.page_source)
    assert json.dumps("A") in (client.folder / "display.toml").read_text(encoding="utf-8")
