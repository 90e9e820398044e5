"""Site files as people write them: every form that is not the file's is answered with the line to write."""

import re
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.site.site import Site
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.toml.amounts import amount_of, right_line
from shuntbook.ingest.toml.toml_file import read_toml

SAMPLE = files("shuntbook.sample_data").joinpath("site.toml").read_text(encoding="utf-8")


def answers(folder, old, new):
    """Return the sentences on the sample site with one line in another form, and the number of that line."""
    assert SAMPLE.count(f"\n{old}") == 1, old
    text = SAMPLE.replace(f"\n{old}", f"\n{new}")
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_toml(path, Site)
    line = next(n for n, each in enumerate(text.split("\n"), 1) if each.startswith(new.split("\n")[0]))
    return str(caught.value).replace(str(path), "site.toml").split("\n"), line


# Conversions by NIST SP 811, appendix B.8: 1 bar = 100 kPa, 1 hp = 746 W, 1 ft = 0.3048 m.
@pytest.mark.parametrize(
    ("old", "new", "key", "write"),
    [
        ("hp = 0.5", "hp = 3/4", "loads[1].hp", "hp = 0.75"),
        ("hp = 0.5", 'hp = "1/2 hp"', "loads[1].hp", "hp = 0.5"),
        ("hp = 0.5", "hp = 1 1/2", "loads[1].hp", "hp = 1.5"),
        ("hp = 0.5", 'hp = "1½"', "loads[1].hp", "hp = 1.5"),
        ("hp = 0.5", "hp = 373 W", "loads[1].hp", "hp = 0.50020124"),
        ("hp = 0.5", "horsepower = 0.5", "loads[1].horsepower", "hp = 0.5"),
        ("nominal_V = 24", "nominal_V = 24,5", "bank.nominal_V", "nominal_V = 24.5"),
        ("nominal_V = 24", "nominal_V = 24 V", "bank.nominal_V", "nominal_V = 24"),
        ("nominal_V = 24", 'nominal_V = "24 V"', "bank.nominal_V", "nominal_V = 24"),
        ("nominal_V = 24", "nominal_V: 24", "bank.nominal_V", "nominal_V = 24"),
        ("nominal_V = 24", "nominal_V = 24  // volts", "bank.nominal_V", "nominal_V = 24"),
        ("nominal_V = 24", "nominal_V 24", "bank.nominal_V", "nominal_V = 24"),
        ("nominal_V = 24", "voltage = 24", "bank.voltage", "nominal_V = 24"),
        ("capacity_Ah = 420", "capacity = 420", "bank.capacity", "capacity_Ah = 420"),
        ("capacity_Ah = 420", "capacity_mAh = 420000", "bank.capacity_mAh", "capacity_Ah = 420"),
        ("capacity_Ah = 420", "capacity_Ah = 1.420,5", "bank.capacity_Ah", "capacity_Ah = 1420.5"),
        ("capacity_Ah = 420", "capacity_Ah = 1,420", "bank.capacity_Ah", "capacity_Ah = 1420, or capacity_Ah = 1.42"),
        ("cut_in_psi = 40", "cut_in_bar = 2.8", "water.cut_in_bar", "cut_in_kPa = 280"),
        ("cut_in_psi = 40", "cut_in_bar = 2,8", "water.cut_in_bar", "cut_in_kPa = 280"),
        ("cut_in_psi = 40", 'cut_in_psi = "2.8 bar"', "water.cut_in_psi", "cut_in_psi = 40.610567"),
        # Two figures of a plate, which nobody divides.
        ("cut_in_psi = 40", "cut_in_psi = 40/60", "water.cut_in_psi", "cut_in_psi = 40, or cut_in_psi = 60"),
        ("fuse_A = 200", 'fuse_A = "150-200 A"', "conductors[1].fuse_A", "fuse_A = 150, or fuse_A = 200"),
        ("cut_in_psi = 40", 'cut_in = "276 kPa"', "water.cut_in", "cut_in_kPa = 276"),
        ("cut_in_psi = 40", "cut_in = 40", "water.cut_in", "cut_in_kPa = 40, or cut_in_psi = 40"),
        ("precharge_psi = 38", "precharge_bar = 2.6", "water.precharge_bar", "precharge_kPa = 260"),
        ("flow_gal_per_min = 10", "flow_lpm = 38", "water.flow_lpm", "flow_L_per_min = 38"),
        ("tank_volume_gal = 44", 'tank_volume_gal = "166 L"', "water.tank_volume_gal", "tank_volume_L = 166"),
        ("length_m = 1.8", 'length_m = "6 ft"', "conductors[1].length_m", "length_ft = 6"),
        ("length_m = 1.8", "length_cm = 180", "conductors[1].length_cm", "length_m = 1.8"),
        ('gauge_AWG = "3/0"', "gauge_AWG = 3/0", "conductors[1].gauge_AWG", 'gauge_AWG = "3/0"'),
        ('gauge_AWG = "6"', "gauge_AWG = 6", "conductors[2].gauge_AWG", 'gauge_AWG = "6"'),
        ('gauge_AWG = "6"', 'gauge_AWG = "6 AWG"', "conductors[2].gauge_AWG", 'gauge_AWG = "6"'),
        ('gauge_AWG = "6"', 'gauge = "6"', "conductors[2].gauge", 'gauge_AWG = "6"'),
        ("fuse_A = 200", 'fuse_A = "200A"', "conductors[1].fuse_A", "fuse_A = 200"),
        ("fuse_A = 200", "fuse = 200", "conductors[1].fuse", "fuse_A = 200"),
        (
            'carries = ["wash shed inverter"]',
            'carries = "wash shed inverter"',
            "conductors[1].carries",
            'carries = ["wash shed inverter"]',
        ),
        ("continuous_VA = 3000", 'continuous_VA = "3 kW"', "inverters[1].continuous_VA", "continuous_W = 3000"),
        ("continuous_VA = 3000", "continuous_kVA = 3", "inverters[1].continuous_kVA", "continuous_VA = 3000"),
        ("surge_VA = 6000", "surge = 6000", "inverters[1].surge", "surge_VA = 6000, or surge_W = 6000"),
        ("surge_s = 5", 'surge_s = "0.1 min"', "inverters[1].surge_s", "surge_s = 6"),
        ("usable_depth_pct = 50", "usable_depth = 50", "bank.usable_depth", "usable_depth_pct = 50"),
        ("length_m = 1.8", "length_mm = 1800", "conductors[1].length_mm", "length_m = 1.8"),
        ("tank_volume_gal = 44", "tank_volume_m3 = 0.166", "water.tank_volume_m3", "tank_volume_L = 166"),
        ("capacity_Ah = 420", 'capacity_Ah = "1.234.567"', "bank.capacity_Ah", "capacity_Ah = 1234567"),
        ("surge_s = 5", "surge_ms = 5000", "inverters[1].surge_ms", "surge_s = 5"),
        ("usable_depth_pct = 50", 'usable_depth_pct = "50 %"', "bank.usable_depth_pct", "usable_depth_pct = 50"),
        ("performance_ratio = 0.62", "performance_ratio = 62", "array.performance_ratio", "performance_ratio = 0.62"),
        (
            "performance_ratio = 0.62",
            'performance_ratio = "62%"',
            "array.performance_ratio",
            "performance_ratio = 0.62",
        ),
        ("power_W = 1150", "power_kW = 1,15", "array.power_kW", "power_W = 1150"),
        ('chemistry = "flooded_lead_acid"', "chemistry = agm", "bank.chemistry", 'chemistry = "agm"'),
        ('chemistry = "flooded_lead_acid"', 'chemistry = "LiFePO4"', "bank.chemistry", 'chemistry = "lifepo4"'),
        ('chemistry = "flooded_lead_acid"', 'chemistry = "lithium"', "bank.chemistry", 'chemistry = "lifepo4"'),
        ('zone = "Europe/London"', "zone = Europe/London", "zone", 'zone = "Europe/London"'),
        ('name = "Marrowbrook wash shed"', "name = “Wash shed”", "name", 'name = "Wash shed"'),
        ('side = "dc"', 'side = "DC"', "meters[1].side", 'side = "dc"'),
        ("[bank]", "[battery]", "battery", "[bank]"),
        ("[bank]", "[[bank]]", "bank", "[bank]"),
        ("[bank]", "[Bank", "Bank", "[bank]"),
        ("[array]", "[[panels]]", "panels", "[array]"),
        ("[water]", "[tank]", "tank", "[water]"),
        ("[[meters]]", "[shunt]", "shunt", "[[meters]]"),
        ("[[meters]]", "[meters]", "meters", "[[meters]]"),
    ],
)
def test_another_form_is_answered_with_the_line_to_write(tmp_path, old, new, key, write):
    """One sentence alone: the file, the line, the key and what to write there."""
    (sentence,), line = answers(tmp_path, old, new)
    assert sentence.startswith(f"site.toml:{line}: {key}: ")
    assert re.sub(r" \(got .*| in (single|double) brackets", "", sentence.split("write ")[1]) == write


def test_what_is_answered_is_accepted(tmp_path):
    """Whoever writes the lines that the answers give has a sound file."""
    changes = [("hp = 0.5", "hp = 3/4"), ("[bank]", "[battery]"), ("cut_in_psi = 40", "cut_in_bar = 2,8")]
    text = SAMPLE
    for old, new in changes:
        text = text.replace(f"\n{old}", f"\n{new}")
    path = tmp_path / "site.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_toml(path, Site)
    sentences = str(caught.value).split("\n")
    assert len(sentences) == 3
    lines = text.split("\n")
    for sentence in sentences:
        number = int(sentence.removeprefix(f"{path}:").split(":")[0])
        lines[number - 1] = sentence.split("write ")[1].split(" (got")[0].split(" in single")[0]
    path.write_text("\n".join(lines), encoding="utf-8")
    assert read_toml(path, Site).water.cut_in_kPa == 280


@pytest.mark.parametrize("tables", ["[inverters]", "[inverter]", "[[inverter]]"])
def test_every_table_of_a_list_is_answered_and_the_rest_is_read(tmp_path, tables):
    """Two inverters in the wrong brackets are two sentences; what hangs on them is known all the same."""
    path = tmp_path / "site.toml"
    path.write_text(SAMPLE.replace("\n[[inverters]]", f"\n{tables}").replace("sun_hours_h = 4.2", "sun_hours_h = 42"))
    with pytest.raises(InputError) as caught:
        read_toml(path, Site)
    *two, sun = str(caught.value).split("\n")
    assert len(two) == 2
    assert all("write [[inverters]] in double brackets" in sentence for sentence in two)
    assert "array.sun_hours_h: must be at most 24 (got 42)" in sun


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("start_state_pct = 85", "fuse_A = 85", "it belongs in [[conductors]]"),
        ("start_state_pct = 85", 'zone = "UTC"', "it belongs at the top of the file, above the first [table]"),
        ("[array]", "[inverters.second]", 'each with its name: name = "second": write [[inverters]]'),
        ("[array]", "[bank]", "the table [bank] is there a second time"),
        ("cut_in_psi = 40", "// psi", "a remark begins with #"),
        ("cut_in_psi = 40", "cut_out_psi = 40", "the same key is there a second time"),
    ],
)
def test_what_stands_in_the_wrong_place_is_told_where_it_belongs(tmp_path, old, new, words):
    """Keys of other tables, tables of a name, and what is there twice."""
    sentences, _ = answers(tmp_path, old, new)
    assert any(words in sentence for sentence in sentences), sentences


@given(st.integers(-(10**6), 10**6), st.integers(0, 999), st.sampled_from(["V", " V", "volts", "kV", " mV"]))
def test_any_notation_of_a_number_means_that_number(whole, thousandths, unit):
    """Points and commas for the decimal, spaces and apostrophes between thousands, with a unit or none."""
    factor = {"kV": 1000, "mV": 0.001}.get(unit.strip(), 1)
    value = abs(whole) + thousandths / 1000
    plain = f"{abs(whole)}.{thousandths:03d}0"  # four decimals, which no thousands have
    for text in (plain, plain.replace(".", ","), f"{abs(whole):,}.{thousandths:03d}0".replace(",", "'")):
        assert amount_of(text).value == pytest.approx(value)
        line = right_line("nominal_V", f"{text}{unit}", ["nominal_V"])
        assert float(line.split(" = ")[1]) == pytest.approx(value * factor, rel=1e-7)


@given(st.integers(0, 9), st.integers(1, 99), st.integers(1, 99))
def test_fractions_are_sums(whole, over, under):
    """``2 3/4`` is 2.75."""
    assert amount_of(f"{whole} {over}/{under} hp").value == pytest.approx(whole + over / under)
    assert amount_of(f"{over}/{under}").value == pytest.approx(over / under)


@given(st.text(max_size=30))
def test_any_text_is_an_amount_or_none(text):
    """No text ends in a fault of ours, and what is taken for a figure begins like one."""
    amount = amount_of(text)
    assert amount is None or any(sign.isdigit() or sign in "½¼¾⅓⅔⅛" for sign in text)


@given(st.sampled_from([line for line in SAMPLE.split("\n") if line]), st.text(max_size=12), st.integers(0, 60))
def test_any_damage_to_a_line_is_a_sound_file_or_sentences(tmp_path_factory, line, more, at):
    """A line with anything put into it: each sentence begins with the file, none is a fault of ours."""
    path = tmp_path_factory.mktemp("damaged") / "site.toml"
    damaged = SAMPLE.replace(line, f"{line[:at]}{more}{line[at:]}", 1)
    path.write_bytes(damaged.encode("utf-8", "replace"))
    try:
        read_toml(path, Site)
    except InputError as error:
        for sentence in str(error).split("\n"):
            assert sentence.startswith(f"{path}")
