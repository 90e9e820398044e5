"""From a person's site file to the form and back; what check-site says stands at the fields."""

from __future__ import annotations

import difflib
import tomllib
from importlib.resources import files

import pytest

from shuntbook.cli.site_form.form import form_of, names_for, text_of
from shuntbook.cli.site_form.remarks import remarks_by_field
from shuntbook.cli.site_form.system import field_at
from shuntbook.cli.site_form.typed import Typed
from shuntbook.ingest.errors import InputError

SAMPLE = files("shuntbook.sample_data").joinpath("site.toml").read_text(encoding="utf-8")


def changed(old, new):
    """Return the sample site with a line in another form."""
    assert SAMPLE.count(f"\n{old}") == 1, old
    return SAMPLE.replace(f"\n{old}", f"\n{new}")


def differences(after, before=SAMPLE):
    """Return the lines that are other, without blank ones."""
    lines = difflib.ndiff(before.splitlines(), after.splitlines())
    return [line for line in lines if line[0] in "+-" and line[2:].strip()]


def test_a_form_written_as_it_was_read_changes_nothing():
    """Every field of a site file with all of them."""
    form = form_of(SAMPLE)
    assert len(form) > 80
    assert form["water", "cut_in_kPa"] == Typed("40", "psi")
    assert text_of(SAMPLE, form).text == SAMPLE
    assert text_of(SAMPLE, form).errors == {}


def test_what_the_form_shows_otherwise_stays_as_it_was():
    """More digits than are shown, and names with commas in them."""
    text = SAMPLE.replace("wash shed inverter", "shed, big").replace("length_m = 1.8", "length_m = 1.80000000000001")
    assert text_of(text, form_of(text)).text == text


def test_names_to_choose_are_those_of_the_form():
    """Of inverters alone, or of all that a cable may carry."""
    form, both = form_of(SAMPLE), ["wash shed inverter", "seedling house inverter"]
    assert names_for(field_at(("loads", 0, "inverter")), form) == both
    assert names_for(field_at(("conductors", 0, "carries")), form)[2:] == [
        "well pump",
        "seedling mats",
        "fridge",
        "lights",
        "array",
    ]


def test_one_field_changed_is_one_line_changed():
    """Remarks and order stay; a figure in another unit keeps its line."""
    after = text_of(SAMPLE, {("water", "cut_in_kPa"): Typed("2,8 bar")})
    assert differences(after.text) == ["- cut_in_psi = 40", "+ cut_in_kPa = 280"]
    after = text_of(SAMPLE, {("loads", 0, "hp"): Typed("3/4", "hp")}).text
    assert differences(after) == ["- hp = 0.5", "+ hp = 0.75"]


def test_what_cannot_be_read_is_told_at_its_field_and_the_rest_written():
    """Nothing that was typed right is lost."""
    written = text_of(SAMPLE, {("bank", "nominal_V"): Typed("abc"), ("bank", "strings"): Typed("4")})
    assert list(written.errors) == [("bank", "nominal_V")]
    assert tomllib.loads(written.text)["bank"]["strings"] == 4
    assert tomllib.loads(written.text)["bank"]["nominal_V"] == 24


def test_a_new_name_is_followed_wherever_it_stands():
    """Else the file would refer to what is not there any more."""
    after = tomllib.loads(
        text_of(SAMPLE, {("inverters", 0, "name"): Typed("big"), ("loads", 0, "name"): Typed("p")}).text
    )
    assert after["loads"][0]["inverter"] == "big"
    assert after["conductors"][0]["carries"] == ["big"]
    assert after["water"]["load"] == "p"
    assert remarks_by_field(text_of(SAMPLE, {("inverters", 0, "name"): Typed("big")}).text) == {}


def test_tables_come_and_go():
    """A load more, a load less, limits emptied, losses in a table of their own."""
    after = text_of(
        SAMPLE,
        {
            ("loads", 4, "power_W"): Typed("1 kW"),
            ("loads", 4, "name"): Typed("kettle"),
            ("loads", 1): None,
            ("limits", "minimum_run_s"): Typed(""),
            ("limits", "starts_per_day"): None,
            ("inverters", 0, "loss_model", "idle_W"): Typed("9"),
            ("inverters", 0, "loss_model", "proportional"): Typed("1.05"),
        },
    )
    data = tomllib.loads(after.text)
    assert [load["name"] for load in data["loads"]] == ["well pump", "fridge", "lights", "kettle"]
    assert "limits" not in data
    assert data["inverters"][0]["loss_model"] == {"idle_W": 9, "proportional": 1.05}
    assert all(
        "#" not in line or line.startswith(("- duty", "- minimum", "- starts")) for line in differences(after.text)
    )


def test_a_new_file_has_its_tables_in_order():
    """From nothing; whoever types bar is shown bar."""
    text = text_of(
        "",
        {
            ("water", "cut_in_kPa"): Typed("2,8", "bar"),
            ("bank", "capacity_Ah"): Typed("10 kWh"),
            ("bank", "nominal_V"): Typed("48 V"),
            ("name",): Typed("Mine"),
        },
    ).text
    assert text == (
        'name = "Mine"\n\n[bank]\nnominal_V = 48\ncapacity_Ah = 208.3\n\n[water]\ncut_in_kPa = 280\n\n'
        '[units]\npressure = "bar"\n'
    )
    assert form_of(text)["water", "cut_in_kPa"] == Typed("2.8", "bar")


def test_a_text_that_is_no_toml_is_told():
    """The form cannot show it."""
    with pytest.raises(InputError, match="not valid TOML"):
        form_of("hp = 3/4")
    with pytest.raises(InputError, match="not valid TOML"):
        text_of("hp = 3/4", {})


@pytest.mark.parametrize(
    ("old", "new", "where", "kind", "words"),
    [
        # What goes against practice: a fuse above its cable, a tank too small for runs of 60 s.
        ("fuse_A = 200", "fuse_A = 400", ("conductors", 0, "fuse_A"), "look again", "The 400 A fuse is larger"),
        ("flow_gal_per_min = 10", "flow_gal_per_min = 30", ("water", "tank_volume_L"), "look again", "too small"),
        (
            "precharge_psi = 38",
            "precharge_psi = 28",
            ("water", "precharge_kPa"),
            "look again",
            "12 psi below cut-in",
        ),
        ("current_A = 5.0", "current_A = 5000", ("loads", 0, "current_A"), "look again", "in another unit"),
        (
            "surge_VA = 6000",
            "surge_VA = 2000",
            ("inverters", 0, "surge_VA"),
            "look again",
            "the two are swapped",
        ),
        ("power_W = 1150", "power_W = 1", ("array", "power_W"), "look again", "if kW are meant"),
        ("cut_off_V = 22.0", "cut_off_V = 10", ("bank", "cut_off_V"), "look again", "that of another bank"),
        ("idle_W = 9", "idle_W = 900", ("inverters", 1, "idle_W"), "look again", "takes 900 W idle"),
        ("precharge_psi = 38", "", ("water", "precharge_kPa"), "not judged", "add water.precharge_kPa"),
        ("sun_hours_h = 4.2", "", ("array", "sun_hours_h"), "not judged", "add array.sun_hours_h"),
        ("nominal_V = 24", "nominal_V = 0", ("bank", "nominal_V"), "mistake", "must be greater than 0 (got 0)"),
        ("continuous_VA = 3000", "", ("inverters", 0, "continuous_VA"), "mistake", "needs continuous_VA or"),
        ("cut_in_psi = 40", "cut_in_psi = 70", ("water", "cut_in_kPa"), "mistake", "must be below the cut-out"),
        ("cut_in_psi = 40", "cut_in_bar = 2.8", ("water", "cut_in_kPa"), "mistake", "cut_in_bar: there is no such key"),
        ("hp = 0.5", "horsepower = 0.5", ("loads", 0, "hp"), "mistake", "write hp = 0.5"),
        ("nominal_V = 24", "nominal_V: 24", ("bank", "nominal_V"), "mistake", "write nominal_V = 24"),
        ("nominal_V = 24", "nominl_V = 24", ("bank", "nominal_V"), "mistake", "nominl_V: there is no such key"),
        ("[bank]", "[battery]", ("bank",), "mistake", "write [bank]"),
        ("[water]", "[[water]]", ("water",), "mistake", "write [water]"),
        ("[array]", "[array]\ncolour = 1", ("array", "colour"), "mistake", "colour: there is no such key"),
        ("hp = 0.5", "hp = 3/4", ("loads", 0, "hp"), "mistake", "write hp = 0.75"),
        ("capacity_Ah = 420", "", ("bank", "capacity_Ah"), "mistake", "is missing"),
    ],
)
def test_what_check_site_says_stands_at_its_fields(old, new, where, kind, words):
    """Of a file with a mistake, a contradiction, or something that cannot be judged."""
    remarks = remarks_by_field(changed(old, new))
    assert any(each.kind == kind and words in each.sentence for each in remarks[where]), remarks


def test_of_a_sound_file_nothing_is_said():
    """A form that shouts is not read."""
    assert remarks_by_field(SAMPLE) == {}
