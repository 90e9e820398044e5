"""The system's form: from plates to a site file, from a person's file back to it with all else intact."""

import difflib
import html
import re
import shutil
import tomllib
from importlib.resources import files

import pytest
from desks import address, fields_of, text_of

SAMPLE = files("shuntbook.sample_data").joinpath("site.toml").read_text(encoding="utf-8")
#: What the few questions are answered with, in the units of the plates.
PLATES = {
    "name": "Hill cabin",
    "bank.nominal_V": "12 V",
    "bank.capacity_Ah": "4,8 kWh",
    "bank.chemistry": "flooded_lead_acid",
    "inverters.0.continuous_W": "4 kVA",
    "inverters.0.surge_W": "8000",
    "inverters.0.surge_s": "5",
    "inverters.0.output_V": "230",
    "loads.0.hp": "3/4",
    "loads.0.voltage_V": "230",
    "loads.0.current_A": "6,4",
    "array.power_W": "0,6 kW",
    "array.sun_hours_h": "4",
    "water.tank_volume_L": "20 gal",
    "water.cut_in_kPa": "2,8 bar",
    "water.cut_out_kPa": "4,1",
    "water.cut_out_kPa:unit": "bar",
    "water.precharge_kPa": "38 psi",
    "water.flow_L_per_min": "8 gal/min",
}


def opened(client, text=SAMPLE, name="site.toml"):
    """The form of a file of the folder that holds this text."""
    (client.folder / name).write_bytes(text.encode())
    return client.get(address("/system", file=name))


def sent(client, page, do="save", **changes):
    """The page after some fields of it were changed, and a button was pressed."""
    fields = fields_of(page) | {name: [text] for name, text in changes.items()}
    return client.send("/system", **fields, do=do)


def written(client, name="site.toml"):
    """What stands in a file of the folder."""
    return (client.folder / name).read_bytes().decode()


def names(client):
    """All that is in the folder, hidden files too."""
    return sorted(path.name for path in client.folder.iterdir())


def at_field(page, name):
    """What is said at a field: the texts of all that describes it."""
    field = re.search(rf'<(?:input|select|fieldset)[^>]* id="{re.escape(name)}"[^>]*>', page.text)[0]
    ids = re.search(r'aria-describedby="([^"]*)"', field)[1].split()
    texts = [re.search(rf'<p[^>]* id="{re.escape(each)}">(.*?)</p>', page.text, re.DOTALL)[1] for each in ids]
    return html.unescape(re.sub(r"<[^>]*>", "", " ".join(texts))).replace("\xa0", " ").replace("\u200b", "")


def value_at(page, name):
    """What stands in a field."""
    return fields_of(page)[name]


def button(page, words):
    """The value of the button that says so."""
    return next(
        html.unescape(value)
        for value, label in re.findall(r'<button name="do" value="([^"]*)"[^>]*>(.*?)</button>', page.text, re.DOTALL)
        if words in html.unescape(label)
    )


def changed(old, new):
    """The sample site with a line in another form; the remark behind it stays."""
    assert SAMPLE.count(f"\n{old}") == 1, old
    return SAMPLE.replace(f"\n{old}", f"\n{new}")


def differences(after, before=SAMPLE):
    """The lines that are other."""
    return [line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[0] in "+-"]


def test_a_new_system_by_what_its_plates_say(client, capsys):
    """The few questions make a file that is taken, under the system's name; then the next step is offered."""
    page = sent(client, client.get("/system"), **PLATES)
    assert names(client) == ["hill-cabin.toml"]
    data = tomllib.loads(written(client, "hill-cabin.toml"))
    assert data["bank"] == {"nominal_V": 12, "capacity_Ah": 400, "chemistry": "flooded_lead_acid"}
    assert data["inverters"] == [
        {"name": "inverter", "continuous_VA": 4000, "surge_W": 8000, "surge_s": 5, "output_V": 230}
    ]
    pump = {"kind": "pump", "inverter": "inverter", "voltage_V": 230, "current_A": 6.4, "hp": 0.75}
    assert data["loads"] == [{"name": "well pump"} | pump]
    assert data["water"] == {
        "load": "well pump",
        "tank_volume_gal": 20,
        "cut_in_kPa": 280,
        "cut_out_kPa": 410,
        "precharge_psi": 38,
        "flow_gal_per_min": 8,
    }
    assert "Saved as hill-cabin.toml." in text_of(page)
    for way in ("/forecast?site=hill-cabin.toml", "/capture", "/"):
        assert f'href="{way}"' in page.text
    assert "shuntbook check-site hill-cabin.toml" in text_of(page)
    # A tank that is too small for runs of a minute is told at its figures.
    assert "less than a run should last" in at_field(page, "water.tank_volume_L")
    assert "less than a run should last" in at_field(page, "water.flow_L_per_min")


def test_only_what_was_filled_in_is_written(client):
    """Nothing that was merely chosen beforehand; neither an inverter nor a pump nor a tank."""
    bank = {name: text for name, text in PLATES.items() if name == "name" or name.startswith("bank")}
    sent(client, client.get("/system"), **bank)
    assert tomllib.loads(written(client, "hill-cabin.toml")).keys() == {"name", "bank"}


def test_another_name_of_the_inverter_is_followed(client):
    """By the pump that hangs on it, though neither was in the file yet."""
    sent(client, client.get("/system"), **PLATES, **{"inverters.0.name": "big one", "loads.0.name": "the pump"})
    data = tomllib.loads(written(client, "hill-cabin.toml"))
    assert (data["loads"][0]["inverter"], data["water"]["load"]) == ("big one", "the pump")


def test_a_form_saved_as_it_was_opened_changes_nothing(client):
    """Byte by byte, with another system's line ends and its mark in front."""
    for text in (SAMPLE, "\ufeff" + SAMPLE.replace("\n", "\r\n"), SAMPLE.rstrip("\n")):
        page = sent(client, opened(client, text))
        assert written(client) == text
        assert "Saved as site.toml." in text_of(page)
        assert names(client) == ["site.toml"]


def test_one_field_changed_is_one_line_changed(client):
    """Remarks and order stay."""
    sent(client, opened(client), **{"water.cut_in_kPa": "2,8 bar"})
    assert [line for line in differences(written(client)) if line[2:].strip()] == [
        "- cut_in_psi = 40",
        "+ cut_in_kPa = 280",
    ]
    sent(client, opened(client), **{"inverters.0.continuous_VA": "3.2", "inverters.0.continuous_VA:unit": "kW"})
    (line,) = [line for line in differences(written(client)) if line.startswith("+ ")]
    assert line.startswith("+ continuous_W = 3200")
    assert line.endswith("# as the data sheet gives it: continuous_VA or continuous_W")


SLIPS = [
    # a line of the file, as somebody wrote it; the field; what is said there; what stands in the field
    ("hp = 0.5", "hp = 3/4", "loads.0.hp", "write hp = 0.75 (got 3/4)", "0.75"),
    ("nominal_V = 24", "nominal_V = 25,6", "bank.nominal_V", "write nominal_V = 25.6 (got 25,6)", "25.6"),
    ("cut_in_psi = 40", "cut_in_psi = 2,8 bar", "water.cut_in_kPa", "write cut_in_psi = 40.610567", "2.8"),
    ("idle_W = 28 ", "idle_W = 28 W ", "inverters.0.idle_W", "write idle_W = 28", "28"),
    ('name = "Marrowbrook', 'name = „Marrowbrook wash shed”#"', "name", "write name =", "Marrowbrook wash shed"),
]


@pytest.mark.parametrize(("old", "new", "field", "words", "shown"), SLIPS)
def test_a_slip_in_notation_is_shown_put_right_at_its_field(client, old, new, field, words, shown):
    """With its line; the file stays until it is saved, and then keeps its remarks."""
    text = changed(old, new)
    page = opened(client, text)
    assert words in at_field(page, field)
    assert re.search(r"Line \d+: ", at_field(page, field))
    assert value_at(page, field) == [shown]
    assert written(client) == text
    # It is still told after a look at something else.
    assert words in at_field(sent(client, page, do="check"), field)
    sent(client, page)
    tomllib.loads(written(client))
    assert len([line for line in differences(written(client), text) if line[0] == "+"]) == 1
    kept = re.search(r"#.*", text.splitlines()[text[: text.index(new)].count("\n")])
    assert kept is None or kept[0] in written(client)


@pytest.mark.parametrize(
    ("old", "new", "group", "words"),
    [
        ("[bank]", "[battery]  # mine", "group-bank", "write [bank] in single brackets"),
        ("[water]", "[[water]]", "group-water", "write [water] in single brackets"),
    ],
)
def test_a_slip_in_a_header_is_told_at_its_group(client, old, new, group, words):
    """And is put right in what is saved."""
    page = opened(client, changed(old, new))
    assert words in text_of_part(page, group)
    sent(client, page)
    assert f"\n{old}" in written(client)
    assert "mine" not in new or "# mine" in written(client)


def test_one_inverters_for_a_list_of_them(client):
    """In single brackets."""
    text = SAMPLE[: SAMPLE.index('[[inverters]]\nname = "seed')].replace("[[inverters]]", "[inverters]")
    page = opened(client, text)
    assert "write [[inverters]] in double brackets" in text_of_part(page, "group-inverters")
    assert value_at(page, "inverters.0.continuous_VA") == ["3000"]


def text_of_part(page, name):
    """What stands among the remarks of a group."""
    part = re.search(rf'data-remarks="{name}">(.*?)</p>', page.text, re.DOTALL)[1]
    return html.unescape(re.sub(r"<[^>]*>", "", part))


OFFERED = [
    # a line, as somebody wrote it; the field; what is said; the button; the line that it writes
    ("cut_in_psi = 40", "cut_in_bar = 2.8", "water.cut_in_kPa", "no such key", "cut_in_kPa = 280"),
    ("cut_in_psi = 40", "cut_in_psi = 2.8", "water.cut_in_kPa", "hardly a pressure", "cut_in_kPa = 280"),
    ("hp = 0.5", 'hp = "3/4"', "loads.0.hp", "Must be a number", "hp = 0.75"),
    ("hp = 0.5", "horsepower = 0.5", "loads.0.hp", "no such key", "hp = 0.5"),
    ("continuous_VA = 3000", "continuous_VA = 3", "inverters.0.continuous_VA", "if kVA", "continuous_VA = 3000"),
    ("capacity_Ah = 420", "capacity_Ah = 400000", "bank.capacity_Ah", "if Wh are meant", "capacity_Ah = 16666.7"),
    ("power_W = 1150", "power_W = 1.15", "array.power_W", "if kW are meant", "power_W = 1150"),
    ("usable_depth_pct = 50", "usable_depth_pct = 0.5", "bank.usable_depth_pct", "meant", "usable_depth_pct = 50"),
]


@pytest.mark.parametrize(("old", "new", "field", "words", "line"), OFFERED)
def test_what_is_surely_meant_is_a_button_away(client, old, new, field, words, line):
    """It stands at its field, and writes the right line in place of the wrong one, with its remark."""
    text = changed(old, new)
    page = opened(client, text)
    assert words in at_field(page, field)
    page = sent(client, page, do=button(page, f"Write {line}"))
    assert written(client) == text
    sent(client, page)
    assert f"\n{line}" in written(client)
    assert [each[0] for each in differences(written(client), text) if each[0] in "+-"] == ["-", "+"]
    before, after = (each.partition("#")[2] for each in differences(written(client), text))
    assert before == after


@pytest.mark.parametrize(
    ("old", "new", "fields", "words"),
    [
        ("range_A = 500", "range_A = 50", ["meters.0.range_A"], "what is above the range is not measured"),
        ("fuse_A = 200", "fuse_A = 400", ["conductors.0.fuse_A"], "The 400 A fuse is larger"),
        (
            "flow_gal_per_min = 10",
            "flow_gal_per_min = 30",
            ["water.tank_volume_L", "water.cut_in_kPa", "water.cut_out_kPa", "water.flow_L_per_min"],
            "it is too small",
        ),
        ("precharge_psi = 38", "precharge_psi = 28", ["water.precharge_kPa"], "12 psi below cut-in"),
    ],
)
def test_what_goes_against_practice_stands_at_its_fields(client, old, new, fields, words):
    """Apart from mistakes: it can be saved, and is told again then."""
    page = opened(client, changed(old, new))
    for field in fields:
        assert words in at_field(page, field)
        assert "Look again: " in at_field(page, field)
    assert " aria-invalid=" not in page.text
    assert words in at_field(sent(client, page), fields[0])


def test_a_figure_that_may_be_two_is_asked_about(client):
    """What was written stays in its field until somebody says which."""
    page = opened(client, changed("capacity_Ah = 420", "capacity_Ah = 1,150"))
    assert "May be 1150 or 1.15" in at_field(page, "bank.capacity_Ah")
    assert value_at(page, "bank.capacity_Ah") == ["1,150"]
    page = sent(client, page)
    assert "Not saved yet: 1 to put right." in text_of(page)
    assert "capacity_Ah = 1,150" in written(client)
    sent(client, page, **{"bank.capacity_Ah": "1150"})
    assert "\ncapacity_Ah = 1150 " in written(client)


def test_what_cannot_be_is_told_at_its_field_and_nothing_is_lost(client):
    """Neither what was typed wrong nor what was typed right; the file stays."""
    page = sent(client, opened(client), **{"bank.nominal_V": "abc", "loads.0.hp": "3/4", "water.cut_in_kPa": "-1"})
    assert page.status == 400
    assert written(client) == SAMPLE
    assert "Must be a number" in at_field(page, "bank.nominal_V")
    assert "must be greater than 0" in at_field(page, "water.cut_in_kPa").lower()
    assert [value_at(page, name) for name in ("bank.nominal_V", "loads.0.hp")] == [["abc"], ["3/4"]]
    assert re.search(r'id="bank.nominal_V"[^>]*aria-invalid="true"', page.text)
    # Whoever has to go now keeps what can be kept.
    sent(client, page, do=button(page, "Save it unfinished"))
    assert tomllib.loads(written(client))["loads"][0]["hp"] == 0.75
    assert tomllib.loads(written(client))["bank"]["nominal_V"] == 24


def test_while_somebody_types_nothing_is_called_missing(client):
    """Of a new form; a check says it."""
    page = sent(client, client.get("/system"), do="live", name="Mine")
    assert "Still needed: the bank." in text_of(page)
    assert " aria-invalid=" not in page.text
    page = sent(client, page, do="check")
    assert "To put right: Bank: is missing." in text_of(page)
    assert names(client) == []


def test_a_figure_without_its_unit_is_marked_at_its_box_while_typed(client):
    """It is no empty field: nobody finds it by being told that it is missing."""
    page = sent(client, opened(client), do="live", **{"water.tank_volume_L": "60", "water.tank_volume_L:unit": ""})
    assert "Needs its unit: L or gal" in at_field(page, "water.tank_volume_L")
    assert "Still needed" not in text_of(page)


def test_what_is_to_be_put_right_is_a_link_to_its_sentence(client):
    """In a form of many screens a count leads nowhere."""
    page = sent(client, opened(client), do="check", **{"bank.nominal_V": "abc"})
    place = re.search(r'<a href="#(says-\d+)">1 to put right\.</a>', page.text)[1]
    assert re.search(rf'<input id="bank.nominal_V"[^>]* aria-describedby="{place} ', page.text)


def test_what_is_to_be_added_is_told_by_the_forms_own_names(client):
    """With the way there; the file's keys are for who writes the file."""
    page = opened(client, re.sub(r"\nflow_gal_per_min = .*", "", SAMPLE))
    address = "/forecast?site=site.toml&load=well+pump&how_long=1h&change=tank&figure=300+L"
    page = client.get(address)
    assert '<a href="/system?file=site.toml#water.flow_L_per_min">&#39;What the pump gives&#39;' in page.text
    assert "water.flow_gal_per_min" not in page.text


def test_loads_come_and_go(client):
    """Without a script; what stands in the others moves with them."""
    page = sent(client, opened(client), do=button(page_of(client), "Add a load"))
    fresh = {"loads.4.name": "kettle", "loads.4.kind": "heater", "loads.4.power_W": "1 kW", "loads.2.current_A": "x"}
    page = sent(client, page, do="remove:loads:1", **fresh)
    assert value_at(page, "loads.3.name") == ["kettle"]
    assert value_at(page, "loads.1.current_A") == ["x"]
    assert "Must be a number" in at_field(page, "loads.1.current_A")
    sent(client, page, **{"loads.1.current_A": "4.5"})
    data = tomllib.loads(written(client))
    assert [load["name"] for load in data["loads"]] == ["well pump", "fridge", "lights", "kettle"]
    assert data["loads"][3]["inverter"] == "wash shed inverter"
    assert "# ---- The array" in written(client)


def test_a_group_is_unfolded_for_what_is_added_to_it(client):
    """Else what was asked for would not be seen."""
    page = client.get("/system")
    assert '<details class="group" id="group-chargers">' in page.text
    page = sent(client, page, do=button(page, "Add a charger"))
    assert '<fieldset class="group" id="group-chargers">' in page.text
    assert "New charger" in text_of(page)


def test_cables_and_fuses_stand_open(client):
    """What can end in a fire is in sight, also before there is any; and which cables are meant."""
    page = client.get("/system")
    assert '<fieldset class="group" id="group-conductors">' in page.text
    assert "Leave out those behind an inverter" in text_of(page)


def fold_of(page, anchor):
    """What stands in a fold, with its summary."""
    return re.search(rf'<details[^>]* id="{anchor}">(.*?)</details>', page.text, re.DOTALL)[1]


def test_what_few_plates_say_is_folded_also_where_it_is_filled_in(client):
    """The fold says how much of it there is; what most plates say, and what something is said of, is in sight."""
    page = opened(client)
    fold = fold_of(page, "more-bank")
    assert ": 12 filled in</span>" in fold
    assert 'name="bank.strings"' in fold and 'name="bank.usable_depth_pct"' not in fold
    # The sample's inverters have VA, where most plates have W.
    assert 'name="inverters.0.continuous_VA"' not in fold_of(page, "more-inverters-0")
    assert 'name="inverters.0.continuous_VA"' in page.text
    assert "filled in" not in text_of(client.get("/system"))
    wrong = opened(client, changed("charge_efficiency_pct = 85", "charge_efficiency_pct = 850"))
    assert 'name="bank.charge_efficiency_pct"' not in fold_of(wrong, "more-bank")


def test_of_many_loads_each_is_known_by_its_name(client):
    """Unfolded where something of it is to be put right; of a few all are in sight."""
    assert '<details class="item"' not in opened(client).text
    load = '[[loads]]\nname = "kettle"\nvoltage_V = 230\ninverter = "wash shed inverter"\npower_W = {}\n'
    text = SAMPLE.replace("\n# ---- The array", f"\n{load.format(2000)}\n# ---- The array")
    page = opened(client, text)
    assert page.text.count('<details class="item"') == 5
    assert "<summary>kettle</summary>" in page.text
    page = opened(client, text.replace("power_W = 2000", "power_W = -2000"))
    assert '<fieldset class="item" id="item-loads-4">' in page.text
    assert page.text.count('<details class="item"') == 4
    page = sent(client, page, do=button(page, "Add a load"))
    assert '<fieldset class="item" id="item-loads-5">' in page.text


@pytest.mark.parametrize("path", ["/system", "/capture"])
def test_a_time_zone_can_be_chosen_or_typed(client, path):
    """By the names of places."""
    page = client.get(path)
    assert re.search(r'name="zone"[^>]* list="zones"', page.text)
    zones = re.findall(r'<option value="([^"]+)">', re.search(r'id="zones">(.*?)</datalist>', page.text, re.DOTALL)[1])
    assert {"UTC", "Europe/London", "America/New_York"} <= set(zones)
    assert not [zone for zone in zones if zone.startswith(("Etc/", "US/", "posix"))]


def page_of(client):
    """The sample's form."""
    return client.get(address("/system", file="site.toml"))


def test_of_two_pages_the_second_undoes_nothing(client):
    """Both are kept, and it is told."""
    first, second = opened(client), page_of(client)
    sent(client, first, **{"loads.0.hp": "1"})
    page = sent(client, second, **{"array.power_W": "900"})
    assert names(client) == ["site-2.toml", "site.toml"]
    assert tomllib.loads(written(client))["loads"][0]["hp"] == 1
    assert tomllib.loads(written(client, "site-2.toml"))["array"]["power_W"] == 900
    assert "site.toml was changed after you opened it" in text_of(page)
    assert "as site-2.toml" in text_of(page)


def test_two_new_systems_of_one_name_are_two_files(client):
    """Neither takes the other's place."""
    pages = [client.get("/system"), client.get("/system")]
    for page, volts in zip(pages, ("12", "24"), strict=True):
        sent(client, page, **PLATES | {"bank.nominal_V": volts, "bank.capacity_Ah": "100"})
    assert names(client) == ["hill-cabin-2.toml", "hill-cabin.toml"]
    assert [tomllib.loads(written(client, name))["bank"]["nominal_V"] for name in names(client)] == [24, 12]


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("../../outside", "outside.toml"),
        ("/etc/passwd", "etc-passwd.toml"),
        ("..", "site.toml"),
        ("con", "site.toml"),
        (".hidden", "hidden.toml"),
        ("a\\b:c", "a-b-c.toml"),
        ("Höhle 7", "höhle-7.toml"),
        ("w" * 200, f"{'w' * 60}.toml"),
        ("<script>x</script>", "script-x-script.toml"),
    ],
)
def test_a_systems_name_leads_nowhere(client, name, file):
    """Its file stands in the folder, whatever it is called; on the page it is text."""
    page = sent(client, client.get("/system"), **PLATES | {"name": name})
    assert names(client) == [file]
    assert tomllib.loads(written(client, file))["name"] == name
    assert "<script>x" not in page.text


@pytest.mark.parametrize("name", ["../site.toml", "none.toml", "/etc/passwd", ".hidden", "a/b.toml"])
def test_a_file_that_is_not_of_the_folder_is_neither_shown_nor_written(client, name):
    """By its address as by a form."""
    assert client.get(address("/system", file=name)).status == 200
    assert "root:" not in client.get(address("/system", file=name)).text
    before = sorted(path.name for path in client.folder.parent.iterdir())
    sent(client, client.get("/system"), **PLATES, file=name)
    assert sorted(path.name for path in client.folder.parent.iterdir()) == before
    assert set(names(client)) <= {"none.toml"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SAMPLE.replace("[array]", '[array]\nname = "'), "opened but not closed"),
        (f"{SAMPLE}\n[bank]\n", "[bank] is there a second time"),
        ("[bank]\nwhat is this\n", "is not valid TOML"),
    ],
)
def test_a_text_that_can_be_no_form_is_put_right_as_text(client, text, words):
    """With its line; then the form is back, and what is saved is what was put right."""
    page = opened(client, text)
    assert words in text_of(page)
    assert re.search(r"Line \d+, '.+': ", text_of(page))
    assert fields_of(page)["plain"] == ["\n" + text]
    again = client.send("/system", **fields_of(page) | {"plain": [text]}, do="plain")
    assert words in text_of(again)
    form = client.send("/system", **fields_of(page) | {"plain": [SAMPLE.replace("\n", "\r\n")]}, do="plain")
    assert written(client) == text
    sent(client, form)
    assert written(client) == SAMPLE


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"\x00" * 10, b"x" * 300_000])
def test_what_is_no_settings_file_is_told(client, content):
    """And stays as it is."""
    (client.folder / "site.toml").write_bytes(content)
    page = client.get("/system?file=site.toml")
    assert page.status == 200
    assert re.search("is not text|is not a text file|too large", text_of(page))
    assert (client.folder / "site.toml").read_bytes() == content


def test_a_large_system_is_taken_whole(client):
    """More fields than a form of any other page has."""
    loads = "".join(f'\n[[loads]]\nname = "l{n}"\nvoltage_V = 24\ncurrent_A = 1\n' for n in range(80))
    text = SAMPLE.replace("\n# ---- The array", f"{loads}\n# ---- The array")
    page = sent(client, opened(client, text), **{"loads.83.current_A": "2"})
    assert page.status == 200
    assert tomllib.loads(written(client))["loads"][83]["current_A"] == 2


def test_a_load_added_at_the_end_of_the_file_stays_there(client):
    """As people add one by hand."""
    text = f'{SAMPLE}\n[[loads]]\nname = "kettle"  # mine\nvoltage_V = 230\npower_W = 2000\n'
    sent(client, opened(client, text), **{"loads.4.power_W": "1.8 kW", "loads.0.hp": "3/4"})
    changes = [line.partition("#")[0].strip() for line in differences(written(client), text) if line[0] in "+-"]
    assert changes == ["- hp = 0.5", "+ hp = 0.75", "- power_W = 2000", "+ power_W = 1800"]


def test_more_than_a_form_holds_is_shown_as_text(client):
    """And said."""
    loads = "".join(f'\n[[loads]]\nname = "l{n}"\n' for n in range(120))
    page = opened(client, SAMPLE + loads)
    assert "too many for a form" in text_of(page)


def test_the_folders_systems_are_there_to_choose_from(client):
    """And a new one beside them."""
    (client.folder / "b.toml").write_text(SAMPLE, encoding="utf-8")
    page = opened(client)
    assert 'href="/system?file=b.toml"' in page.text
    assert 'href="/system"' in page.text.partition("<main")[2]
    assert 'href="/system?file=b.toml"' in client.get("/system").text


@pytest.mark.parametrize(
    "fields",
    [
        {"do": "save"},
        {"do": "save", "text": "!!!"},
        {"do": "write:{}"},
        {"do": 'write:{"at": ["name"], "key": "name", "literal": "1"}'},
        {"do": "remove:loads:99"},
        {"do": "remove:loads:²"},
        {"do": "add:nothing"},
        {"do": "add:bank"},
        {"loads.0": "x", "loads.x.hp": "1", "loads.-1.hp": "1", "loads.²": "1", "loads.0.hp.x": "1", "": "x"},
        {"loads.999999.name": "far"},
        {"name": "\0\ud83d".encode("utf-8", "replace"), "do": "check"},
    ],
)
def test_what_no_page_of_ours_sends_does_no_harm(client, fields):
    """It is answered, and writes nothing."""
    answer = client.send("/system", **fields)
    assert answer.status in (200, 400)
    assert names(client) == []


def test_a_folder_that_takes_nothing_is_told(client):
    """What was typed is still there."""
    page = opened(client)
    shutil.move(client.folder / "site.toml", client.folder / "other.toml")
    (client.folder / "site.toml").mkdir()
    try:
        answer = sent(client, page, **{"loads.0.hp": "1"})
        assert answer.status == 400
        assert value_at(answer, "loads.0.hp") == ["1"]
    finally:
        (client.folder / "site.toml").rmdir()


def test_what_a_plate_says_at_once_is_taken_into_both_fields_and_told(client):
    """Both pressures of a switch in the first of the two; batteries by their number, with what is known of each."""
    plates = {**PLATES, "bank.capacity_Ah": "2 x 6 V 210 Ah", "water.cut_in_kPa": "40/60 psi", "water.cut_out_kPa": ""}
    page = sent(client, client.get("/system"), do="check", **plates)
    assert value_at(page, "water.cut_in_kPa") == ["40 psi"]
    assert value_at(page, "water.cut_out_kPa") == ["60 psi"]
    assert "Taken as: The pump starts at 40 psi and stops at 60 psi." in at_field(page, "water.cut_in_kPa")
    assert "Taken as: 210 Ah: 2 batteries of 6 V are 1 row of 2 (12 V)" in at_field(page, "bank.capacity_Ah")
    sent(client, page)
    data = tomllib.loads(written(client, "hill-cabin.toml"))
    assert (data["water"]["cut_in_psi"], data["water"]["cut_out_psi"]) == (40, 60)
    assert (data["bank"]["batteries"], data["bank"]["strings"], data["bank"]["capacity_Ah"]) == (2, 1, 210)


def test_a_tank_alone_is_kept_with_its_pump(client):
    """Nothing is known of either but the litres on the tank's label."""
    plates = {"name": "Hill cabin", "bank.nominal_V": "12", "bank.capacity_Ah": "100", "water.tank_volume_L": "300 L"}
    sent(client, client.get("/system"), **plates)
    data = tomllib.loads(written(client, "hill-cabin.toml"))
    assert data["water"] == {"load": "well pump", "tank_volume_L": 300}
    assert [(load["name"], load["kind"]) for load in data["loads"]] == [("well pump", "pump")]
