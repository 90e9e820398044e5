"""The system's form in a real browser: what is said comes while one types, and nothing that is typed goes away."""

import tomllib

import pytest
from browsers import as_wide_as, browser, faults, until
from desks import desk, let_in
from selenium.webdriver.common.keys import Keys

FIRST = {
    "name": "Hill cabin",
    "bank.nominal_V": "12",
    "bank.capacity_Ah": "400",
    "inverters.0.continuous_W": "4 kW",
    "inverters.0.output_V": "230",
    "loads.0.hp": "3/4",
    "loads.0.voltage_V": "230",
    "loads.0.current_A": "6,4",
}
TANK = {
    "tank_volume_L": "20 gal",
    "cut_in_kPa": "40",
    "cut_out_kPa": "60",
    "precharge_kPa": "38 psi",
    "flow_L_per_min": "8 gal/min",
}


@pytest.fixture(scope="module")
def driven():
    """A browser."""
    with browser() as driven:
        yield driven


def field(driven, name):
    """A field of the form as it stands now."""
    return driven.find_element("css selector", f'[name="{name}"]')


def type_in(driven, name, text):
    """Type into a field in place of what stands there."""
    field(driven, name).send_keys(Keys.CONTROL, "a")
    # Into whatever has the focus: another form may have come in its place meanwhile.
    for letter in text:
        driven.switch_to.active_element.send_keys(letter)


def told_at(driven, name):
    """What a screen reader says of a field."""
    return driven.execute_script(
        "const field = document.querySelector(`[name='${arguments[0]}']`);"
        "const said = field.getAttribute('aria-describedby').split(' ').map((id) => document.getElementById(id));"
        "return said.map((each) => each?.textContent).join(' ')",
        name,
    )


@pytest.mark.parametrize("width", [390, pytest.param(1440, marks=pytest.mark.night)])
def test_from_nothing_to_a_file(driven, tmp_path, width):
    """Typed, told, mended, saved; on a phone as on a desk."""
    with desk(tmp_path) as client:
        let_in(driven, client)
        as_wide_as(driven, width)
        driven.get(f"{client.origin}/system")
        faults(driven)
        for name, text in FIRST.items():
            type_in(driven, name, text)
        type_in(driven, "bank.nominal_V", "abc")
        until(lambda: "Must be a number" in told_at(driven, "bank.nominal_V"), "a word on a voltage")
        assert field(driven, "bank.nominal_V").get_attribute("aria-invalid") == "true"
        assert name_of_focus(driven) == "bank.nominal_V"
        type_in(driven, "bank.nominal_V", "12")
        until(lambda: "Must be" not in told_at(driven, "bank.nominal_V"), "its end")
        for key, text in TANK.items():
            type_in(driven, f"water.{key}", text)
        # One unit of pressure is chosen once.
        for option in field(driven, "water.cut_in_kPa:unit").find_elements("tag name", "option"):
            if option.get_attribute("value") == "psi":
                option.click()
        assert field(driven, "water.cut_out_kPa:unit").get_attribute("value") == "psi"
        until(lambda: "less than a run should last" in told_at(driven, "water.tank_volume_L"), "a word on the tank")
        add_and_remove(driven)
        assert field(driven, "loads.0.hp").get_attribute("value") == "3/4"
        assert driven.execute_script("return document.documentElement.scrollWidth") <= width
        driven.find_element("css selector", "button.main").click()
        until(lambda: "saved=1" in driven.current_url, "saving")
        assert "Saved as hill-cabin.toml." in driven.find_element("css selector", "[data-saved]").text
        assert faults(driven) == []
    data = tomllib.loads((tmp_path / "hill-cabin.toml").read_text(encoding="utf-8"))
    assert [load["name"] for load in data["loads"]] == ["well pump", "kettle"]
    assert (data["water"]["cut_in_psi"], data["water"]["cut_out_psi"]) == (40, 60)


def name_of_focus(driven):
    """The name of the field that has the focus."""
    return driven.execute_script("return document.activeElement.name")


def add_and_remove(driven):
    """Two loads more, and one of them away again; what is typed goes into the new one at once."""
    for number, name in ((1, "kettle"), (2, "lamp")):
        driven.execute_script("document.querySelector('[value=\"add:loads\"]').click()")
        until(lambda n=number: name_of_focus(driven) == f"loads.{n}.name", "a new load")
        driven.switch_to.active_element.send_keys(name)
    driven.execute_script("document.querySelector('[value=\"remove:loads:2\"]').click()")
    until(lambda: not driven.find_elements("css selector", '[name="loads.2.name"]'), "its end")


def test_without_the_desk_what_was_typed_stays(driven, tmp_path):
    """Where its server was killed, saving leads nowhere, and says so."""
    with desk(tmp_path) as client:
        let_in(driven, client)
        driven.get(f"{client.origin}/system")
        type_in(driven, "name", "Hill cabin")
        client.process.kill()
        client.process.wait(60)
        driven.find_element("css selector", "button.main").click()
        until(lambda: "does not answer" in driven.find_element("css selector", "[role=status]").text, "a word on that")
        assert field(driven, "name").get_attribute("value") == "Hill cabin"
        driven.execute_script("window.onbeforeunload = null")
    assert list(tmp_path.iterdir()) == []


def test_what_stands_open_stays_open_when_it_becomes_one_of_many(driven, tmp_path):
    """A fifth load folds none of the four that somebody has before them; opened anew they are folded."""
    load = '[[loads]]\nname = "{}"\nvoltage_V = 12\ncurrent_A = 1\n'
    loads = "".join(load.format(name) for name in ("fan", "radio", "lamp", "fridge"))
    site = f'name = "cabin"\n[bank]\nnominal_V = 12\ncapacity_Ah = 100\n{loads}'
    (tmp_path / "site.toml").write_text(site, encoding="utf-8")
    with desk(tmp_path) as client:
        let_in(driven, client)
        as_wide_as(driven, 390)
        driven.get(f"{client.origin}/system?file=site.toml")
        add = driven.find_element("css selector", '[value="add:loads"]')
        driven.execute_script("arguments[0].click()", add)  # it may stand behind the bar
        until(lambda: driven.find_elements("css selector", '[name="loads.4.name"]'), "a fifth load")
        type_in(driven, "loads.4.name", "heater")
        assert field(driven, "loads.0.current_A").is_displayed()
        assert field(driven, "loads.4.current_A").is_displayed()
        (tmp_path / "site.toml").write_text(site + load.format("heater"), encoding="utf-8")
        assert client.get("/system?file=site.toml").text.count('<details class="item"') == 5
