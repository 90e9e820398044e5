"""The site file: what it may say, what cannot be, what contradicts itself, and what it means in words."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from shuntbook.analysis.check_site.contradictions import contradicting, contradictions
from shuntbook.analysis.check_site.description import describe
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.site.site import Limits, Site
from shuntbook.analysis.site.unit_tables import Units
from shuntbook.cli.commands.check_site import command
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.toml.toml_file import read_toml

# The demo's invented site; its figures are ours.
MARROWBROOK = """
name = "Marrowbrook wash shed"
zone = "Europe/London"
[bank]
chemistry = "flooded_lead_acid"
nominal_V = 24
capacity_Ah = 420
hour_rate_h = 20
strings = 2
batteries = 8
battery_V = 6
usable_depth_pct = 50
cut_off_V = 22.0
[[inverters]]
name = "wash shed inverter"
continuous_VA = 3000
surge_VA = 6000
surge_s = 5
output_V = 230
efficiency_pct = 88
idle_W = 28
[[inverters]]
name = "seedling house inverter"
continuous_W = 500
efficiency_curve = [[50, 70], [300, 88]]
[[loads]]
name = "well pump"
kind = "pump"
inverter = "wash shed inverter"
voltage_V = 230
current_A = 5.0
hp = 0.5
code_letter = "M"
[[loads]]
name = "fridge"
kind = "compressor"
power_W = 60
duty_pct = 35
[array]
power_W = 1150
sun_hours_h = 4.2
performance_ratio = 0.62
controller = "pwm"
[[conductors]]
name = "bank to wash shed inverter"
gauge_AWG = "3/0"
length_m = 1.8
fuse_A = 200
carries = ["wash shed inverter"]
[water]
load = "well pump"
tank_volume_gal = 44
precharge_psi = 38
cut_in_psi = 40
cut_out_psi = 60
flow_gal_per_min = 10
head_m = 40
[[meters]]
name = "bank shunt"
side = "dc"
range_A = 500
reading_pct = 0.5
sampling = "instant"
[limits]
minimum_run_s = 60
"""


def read(folder: Path, text: str) -> Site:
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    return read_toml(path, Site)


def changed(old: str, new: str) -> str:
    """Return the demo's site file with one place changed."""
    assert MARROWBROOK.count(old) == 1, old
    return MARROWBROOK.replace(old, new)


def mistake(folder: Path, text: str) -> str:
    with pytest.raises(InputError) as caught:
        read(folder, text)
    return str(caught.value).replace(str(folder / "site.toml"), "site.toml")


@pytest.fixture
def site(tmp_path):
    return read(tmp_path, MARROWBROOK)


def test_us_figures_are_held_in_the_units_used_inside(site):
    """Gallons and psi become litres and kilopascals."""
    assert site.water is not None
    # NIST SP 811, appendix B.8: 1 gal (US) = 3.785 412 L, 1 psi = 6.894 757 kPa; as many digits as printed there.
    assert site.water.volume_L == pytest.approx(44 * 3.785412, rel=1e-6)
    assert site.water.pump_L_per_min == pytest.approx(10 * 3.785412, rel=1e-6)
    pressures_kPa = (site.water.air_kPa, site.water.start_kPa, site.water.stop_kPa)
    assert pressures_kPa == pytest.approx((38 * 6.894757, 40 * 6.894757, 60 * 6.894757), rel=1e-6)


def test_either_key_of_a_pair_gives_the_same(tmp_path, site):
    """A tank and a cable described in either unit are the same tank and cable."""
    # NIST SP 811, appendix B.8: 1 ft = 0.3048 m exactly.
    metric = changed("tank_volume_gal = 44", "tank_volume_L = 166.558").replace("length_m = 1.8", "length_ft = 5.9055")
    other = read(tmp_path, metric)

    assert other.water is not None
    assert other.water.volume_L == pytest.approx(site.water.volume_L, rel=1e-5)
    assert other.conductors[0].one_way_m == pytest.approx(site.conductors[0].one_way_m, rel=1e-5)


def test_names_lead_to_their_tables(site):
    """Loads, inverters and meters are found by name; the pump of the water system is the main pump."""
    pump = site.load("well pump")
    assert site.main_pump() is pump
    assert site.inverter_of(pump) is site.inverter("wash shed inverter")
    assert site.inverter_of(site.load("fridge")) is None
    assert site.meter("bank shunt").side == "dc"
    with pytest.raises(Refusal, match="no load called 'kettle'; it has: well pump, fridge"):
        site.load("kettle")


def test_the_units_of_a_large_site_are_looked_up_once(tmp_path, monkeypatch):
    """Each table is looked at for them, so that doing so for each table would cost the square of their number."""
    looked, real = [], Units.shown
    monkeypatch.setattr(Units, "shown", lambda units, tables: looked.append(1) or real(units, tables))
    wire = '[[conductors]]\nname = "wire {k}"\ngauge_AWG = "6"\nlength_m = 2\n'
    read(tmp_path, MARROWBROOK + "".join(wire.format(k=k) for k in range(50)))
    assert len(looked) == 1


def test_without_a_water_system_the_only_pump_is_the_main_one(tmp_path):
    """One pump is the main one; of two, neither is."""
    dry = MARROWBROOK[: MARROWBROOK.index("[water]")]
    main = read(tmp_path, dry).main_pump()
    assert main is not None
    assert main.name == "well pump"
    assert read(tmp_path, dry + '[[loads]]\nname = "second"\nkind = "pump"').main_pump() is None


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('inverter = "wash shed inverter"', 'inverter = "shed"', "loads[1].inverter", "no inverter called 'shed'"),
        ('load = "well pump"', 'load = "well"', "water.load", "it has: well pump, fridge"),
        ('carries = ["wash shed inverter"]', 'carries = ["array", "kettle"]', "conductors[1].carries", "'kettle'"),
        ('name = "fridge"', 'name = "well pump "', "loads[2].name", "the name of an earlier one"),
        ("cut_in_psi = 40", "cut_in_psi = 60", "water.cut_in_psi", "must be below the cut-out pressure"),
        ("cut_in_psi = 40", "cut_in_kPa = 420", "water.cut_in_kPa", "must be below the cut-out pressure"),
        ("tank_volume_gal = 44", "", "water", "needs tank_volume_L or tank_volume_gal"),
        ("length_m = 1.8", "length_m = 1.8\nlength_ft = 6", "conductors[1].length_ft", "says again what length_m says"),
        ("length_m = 1.8", "", "conductors[1]", "needs length_m or length_ft"),
        ("minimum_run_s = 60", "minimum_run_s = 60\nlongest_run_s = 60", "limits.longest_run_s", "must be longer than"),
        ("minimum_run_s = 60", "dry_running_pct = 170", "limits.dry_running_pct", "must be at most 100 (got 170)"),
        ("continuous_W = 500", "", "inverters[2]", "needs continuous_VA or continuous_W"),
        ("reading_pct = 0.5", "reading_pct = 5e99", "meters[1].reading_pct", "must be at most 1e+15 (got 5e+99)"),
        ("usable_depth_pct = 50", "usable_depth_pct = 120", "bank.usable_depth_pct", "must be at most 100 (got 120)"),
        ("nominal_V = 24", "nominal_V = 0", "bank.nominal_V", "must be greater than 0 (got 0)"),
        ("nominal_V = 24", "nominal_V = 24\nstart_state_pct = 101", "bank.start_state_pct", "at most 100 (got 101)"),
        ("nominal_V = 24", "nominal_V = 24\nrested_V = 0", "bank.rested_V", "must be greater than 0 (got 0)"),
        (
            "nominal_V = 24",
            "nominal_V = 24\nrested_V = 25.3\nstart_state_pct = 90",
            "bank.start_state_pct",
            "says again what rested_V says",
        ),
        (
            "nominal_V = 24",
            "nominal_V = 24\ntemperature_degC = 15\ntemperature_degF = 59",
            "bank.temperature_degF",
            "says again what temperature_degC says",
        ),
        ("nominal_V = 24", "nominal_V = 24\nresistance_mohm = -1", "bank.resistance_mohm", "greater than 0"),
        ("nominal_V = 24", "nominal_V = 24\npeukert_exponent = 0.9", "bank.peukert_exponent", "at least 1"),
        ("nominal_V = 24", "nominal_V = 24\ncharge_efficiency_pct = 105", "bank.charge_efficiency_pct", "at most 100"),
        ("capacity_Ah = 420", "capacity_Ah = 0", "bank.capacity_Ah", "must be greater than 0 (got 0)"),
        ("efficiency_pct = 88", "efficiency_pct = 120", "inverters[1].efficiency_pct", "must be at most 100 (got 120)"),
        ("[300, 88]", "[300, 120]", "inverters[2].efficiency_curve[2][2]", "must be at most 100 (got 120)"),
        (
            "idle_W = 28",
            "loss_model = { idle_W = 28, proportional = 1.05 }",
            "inverters[1].loss_model",
            "says again what efficiency_pct says",
        ),
        (
            "efficiency_pct = 88\nidle_W = 28",
            "loss_model = { idle_W = 28, proportional = 0.9 }",
            "inverters[1].loss_model.proportional",
            "must be at least 1 (got 0.9)",
        ),
        ("tank_volume_gal = 44", "tank_volume_gal = 0", "water.tank_volume_gal", "must be greater than 0 (got 0)"),
        ("head_m = 40", "head_m = 40\naltitude_ft = 60000", "water.altitude_ft", "must be at most 29500"),
        ("performance_ratio = 0.62", "losses_pct = [2, 100]", "array.losses_pct[2]", "must be less than 100 (got 100)"),
        ("performance_ratio = 0.62", "losses_pct = []", "array.losses_pct", "1"),
        (
            'controller = "pwm"',
            "losses_pct = [2, 3]",
            "array.losses_pct",
            "says again what performance_ratio says",
        ),
        ("sun_hours_h = 4.2", "sun_hours_h = 25", "array.sun_hours_h", "must be at most 24 (got 25)"),
        ("fuse_A = 200", "fuse_A = 0", "conductors[1].fuse_A", "must be greater than 0 (got 0)"),
        ("strings = 2", "strings = 0", "bank.strings", "must be at least 1 (got 0)"),
        ("[300, 88]", "[50, 88]", "inverters[2].efficiency_curve", "rising order"),
        ("[[50, 70], [300, 88]]", "[]", "inverters[2].efficiency_curve", "at least one pair"),
        ("[300, 88]", '[300, "88"]', "inverters[2].efficiency_curve[2][2]", "must be a number (got '88')"),
        ('code_letter = "M"', 'code_letter = "O"', "loads[1].code_letter", "not I, O or Q"),
        ("hp = 0.5", "phases = 2", "loads[1].phases", "must be 1 or 3"),
        ("hp = 0.5", "phases = true", "loads[1].phases", "must be a whole number"),
        ('gauge_AWG = "3/0"', 'gauge_AWG = "5/0"', "conductors[1].gauge_AWG", "such as '6' or '2/0'"),
        ('"Europe/London"', '"Europe/Lundon"', "zone", "did you mean 'Europe/London'?"),
        ('"Europe/London"', '"../../secret"', "zone", "must be the name of a time zone"),
    ],
)
def test_what_cannot_be_is_told_by_its_key(tmp_path, old, new, key, words):
    """A figure out of bounds, a name nothing has, a key too many or too few: one sentence at its line."""
    text = changed(old, new)
    sentence = mistake(tmp_path, text)

    place, rest = sentence.split(": ", 1)
    assert rest.startswith(f"{key}: ")
    assert words in rest
    assert "\n" not in sentence
    line = text.split("\n")[int(place.removeprefix("site.toml:")) - 1]
    assert key.split(".")[-1].split("[")[0] in line  # the line holds the key, or is the table's header


def test_a_pressure_of_hundreds_of_digits_is_told(tmp_path):
    """No sum can hold it, in either unit."""
    assert "water.cut_in_psi: must be " in mistake(tmp_path, changed("cut_in_psi = 40", f"cut_in_psi = {'4' * 400}"))


def test_mistakes_of_all_kinds_come_together(tmp_path):
    """A bad figure, a missing key, an unknown name and a twofold key are told in one go, also within one table."""
    text = changed("cut_in_psi = 40", "cut_in_psi = 70\ncolour = 1\nhead_ft = -3")
    text = text.replace("capacity_Ah = 420", "").replace('inverter = "wash shed inverter"', 'inverter = "x"')
    sentences = mistake(tmp_path, text).split("\n")

    assert [sentence.split(": ")[1] for sentence in sentences] == [
        "bank.capacity_Ah",
        "loads[1].inverter",
        "water.cut_in_psi",
        "water.colour",
        "water.head_ft",
        "water.head_m",
    ]


def test_a_sound_site_contradicts_itself_nowhere(site):
    """The demo's site gives no warning."""
    assert contradictions(site) == []


def assert_about_keys(site):
    """Each warning names what it is about, by paths that lead to keys of the site."""
    for remark in contradicting(site):
        assert remark.about, remark.sentence
        for *steps, key in remark.about:
            table = site
            for step in steps:
                table = table[step] if isinstance(step, int) else getattr(table, step)
            assert key in type(table).model_fields


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        # Water Systems Council, wellcare sheet, Jan 2007: pre-charge 2 psi below cut-in. Some print 28 psi for 40/60.
        ("precharge_psi = 38", "precharge_psi = 28", "12 psi below cut-in; it should be about 2 psi below"),
        ("precharge_psi = 38", "precharge_psi = 44", "4 psi above cut-in"),
        ("surge_VA = 6000", "surge_VA = 600", "(600 VA) is under its continuous rating (3,000 VA)"),
        ("surge_s = 5", "", "has no surge_s"),
        (
            "continuous_W = 500",
            "continuous_W = 500\ncontinuous_VA = 400",
            "more watts (500 W) than volt-amperes (400 VA)",
        ),
        ("idle_W = 28", "cut_off_V = 24", "not below the bank's nominal 24 V"),
        ("cut_off_V = 22.0", "cut_off_V = 25", "it would count as empty at once"),
        ("battery_V = 6", "battery_V = 12", "in 2 strings make 48 V"),
        ("batteries = 8", "batteries = 7", "cannot be shared evenly"),
        ("hp = 0.5", "hp = 0.5\npower_W = 1300", "that is 1150 VA, and watts are never more than volt-amperes"),
        ("hp = 0.5", "hp = 0.5\npower_W = 670\npower_factor = 0.8", "a power factor of 0.58, but power_factor is 0.8"),
        # 1/2 hp is 373 W at the shaft; such a pump takes 670 W (typical figure, from memory).
        ("hp = 0.5", "hp = 0.5\npower_W = 373", "it should be the power taken in"),
        ("hp = 0.5", "", "says nothing without hp"),
        ('code_letter = "M"', "locked_rotor_A = 4", "perhaps the two are swapped"),
        ("voltage_V = 230", "voltage_V = 115", "is made for 115 V, but 'wash shed inverter' gives 230 V"),
        ("power_W = 60", "power_W = 60\nvoltage_V = 12", "but the bank gives 24 V"),
        ("power_W = 60", "power_W = 60\nphases = 3", "three-phase but on no inverter"),
        ('kind = "pump"', 'kind = "heater"', "is a heater, not a pump"),
        ('side = "dc"', 'side = "dc"\ninverter = "wash shed inverter"', "on the DC side but behind"),
    ],
)
def test_what_contradicts_itself_is_a_warning(tmp_path, old, new, words):
    """Figures that are possible but do not go together give a sentence, first of all, and the file is still taken."""
    site = read(tmp_path, changed(old, new))
    warning, *_what_follows = contradictions(site)

    assert words in warning
    assert_about_keys(site)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        # The pump's (1150 VA x 0.65 / 0.88 + 28 W) / 22.8 V is 38 A.
        ("fuse_A = 200", "fuse_A = 30", "The 30 A fuse is under the running 38 A"),
        ('gauge_AWG = "3/0"', 'gauge_AWG = "12"', "The table allows 20 A"),
        ('gauge_AWG = "3/0"', 'gauge_AWG = "30"', "kept here from 18 to 4/0 AWG"),
        # Letter M and 1/2 hp: 5,000 to 5,595 VA (NEC Table 430.7(B)).
        (
            "surge_VA = 6000",
            "surge_VA = 4000",
            "5,000 to 5,595 VA with 'well pump' starting (locked-rotor), of 4,000 VA: fails",
        ),
        ("continuous_VA = 3000", "continuous_VA = 1000", "1,150 VA running (continuous), of 1,000 VA: fails"),
        ("hour_rate_h = 20", "peukert_exponent = 1.25", "says nothing without hour_rate_h"),
        (
            'chemistry = "flooded_lead_acid"',
            'chemistry = "lifepo4"\npeukert_exponent = 1.05',
            "Peukert's law is made for lead-acid",
        ),
        ('chemistry = "flooded_lead_acid"', 'chemistry = "lifepo4"\nrested_V = 26.4', "nearly flat"),
        ("usable_depth_pct = 50", "usable_depth_pct = 90", "50 % is usual"),
        ("cut_off_V = 22.0", "charging_V = 24", "not above its nominal_V"),
        # Plants on the grid come to 0.80 to 0.85 (trade).
        ("performance_ratio = 0.62", "performance_ratio = 0.95", "more than any array with a bank reaches"),
        ("sun_hours_h = 4.2", "current_A = 60", "19.2 V, too little to charge a bank of 24 V"),
        # 50 W at 70 % loses 21 W.
        ("continuous_W = 500", "continuous_W = 500\nidle_W = 30", "loses 21 W at 50 W"),
        # 10 gal/min from 60 m against 50 psi are 589 W of 747 W; small pumps and motors do not come to 0.70.
        ("head_m = 40", "head_m = 60", "589 W of 748 W end up in the water"),
    ],
)
def test_what_cannot_be_done_is_a_warning(tmp_path, old, new, words):
    """What follows from figures that are each possible: too small a fuse, wire, inverter or pump; said in one go."""
    site = read(tmp_path, changed(old, new))
    warnings = contradictions(site)

    assert any(words in warning for warning in warnings), warnings
    assert_about_keys(site)


def test_the_bank_is_described_in_words(site):
    """Usable charge and energy are worked out: 50 % of 420 Ah, at 24 V 5.04 kWh."""
    assert (
        "Bank: 24 V flooded lead-acid, 420 Ah at the 20 h rate in 2 strings, made of 8 batteries of 6 V; "
        "50 % usable is 210 Ah, about 5.0 kWh at nominal voltage; not to go below 22 V."
    ) in describe(site)


def test_all_that_is_given_is_explained_back(tmp_path):
    """The bank in use, a loss model, a start's seconds, losses of the array, a solid wire and an altitude."""
    more = (
        ("batteries = 8", "batteries = 8\npeukert_exponent = 1.25\ntemperature_degF = 40\nrested_V = 25.3"),
        ("efficiency_pct = 88\nidle_W = 28", "loss_model = { idle_W = 28, proportional = 1.05, square_per_W = 2e-5 }"),
        ("hp = 0.5", 'hp = 0.5\nstart = "drive"\nstart_s = 0.5'),
        ("performance_ratio = 0.62", "losses_pct = [2, 3, 2, 2, 0.5, 1.5, 1, 3]\ncurrent_A = 33"),
        ('gauge_AWG = "3/0"', 'gauge_AWG = "10"\nstrands = "solid"\ntemperature_degC = 40'),
        ("head_m = 40", "head_m = 40\naltitude_m = 1829"),
    )
    text = MARROWBROOK
    for old, new in more:
        assert old in text
        text = text.replace(old, new)
    words = "\n".join(describe(read(tmp_path, text)))

    for phrase in (
        "40 °F, where lead-acid gives 77 % of its charge",  # 1/1.30, a battery-sizing table
        "Peukert exponent 1.25: at 84 A, 297 Ah",  # 420 x 4^-0.25
        "25.3 V at rest before the log begins",
        "takes 1098 W to give 1,000 W, 91 %",
        "28 W when idle",
        "behind a drive of any speed",
        "starts within 0.5 s",
        "33 A at that",
        "ratio of 0.859 give about 4.2 kWh",  # 1150 x 4.2 x 0.8592; NREL's losses
        "10 AWG, solid, at 104 °F",  # 40 °C
        "gives 11.8 gal",  # 4 % more than the 11.4 gal at the sea, as National Driller finds for 6,000 ft
        "1,829 m above the sea",
    ):
        assert phrase in words


def test_the_array_is_described_in_words(site):
    """A day's energy is peak power x hours of full sun x performance ratio: 1150 x 4.2 x 0.62 = 2995 Wh."""
    (array,) = [sentence for sentence in describe(site) if sentence.startswith("Array")]

    assert array.endswith("give about 3.0 kWh a day.")


def test_every_table_is_described(site):
    """Each table of the file has its sentence, and each name is in one."""
    words = "\n".join(describe(site))

    names = [each.name for each in (*site.inverters, *site.loads, *site.conductors, *site.meters)]
    assert all(f"'{name}'" in words for name in names)
    assert "fills a tank of 44 gal; starts at 40 psi and stops at 60 psi" in words
    assert "a run of at least 60 s" in words


def test_every_limit_is_described(tmp_path):
    """Each key of the owner's limits has its words."""
    keys = (*Limits.model_fields,)
    site = read(tmp_path, changed("minimum_run_s = 60", "\n".join(f"{key} = {70 + k}" for k, key in enumerate(keys))))
    (sentence,) = [sentence for sentence in describe(site) if sentence.startswith("Your own limits")]

    assert all(f" {70 + k} " in sentence for k in range(len(keys)))


def test_what_is_left_open_is_said(tmp_path):
    """A surge without its seconds, a missing fuse and an unknown pre-charge are named as such."""
    text = MARROWBROOK
    for line in ("surge_s = 5", "fuse_A = 200", "precharge_psi = 38", "sun_hours_h = 4.2", "reading_pct = 0.5"):
        text = text.replace(line, "")
    words = "\n".join(describe(read(tmp_path, text)))

    for phrase in (
        "6,000 VA for a time not given",
        "no fuse given",
        "pre-charge not given",
        "give sun_hours_h and performance_ratio",
        "accuracy not given",
    ):
        assert phrase in words


def test_the_least_site_is_described(tmp_path):
    """A name and a bank are enough, and what is not given is not made up."""
    least = read(tmp_path, 'name = "shed"\n[bank]\nnominal_V = 12\ncapacity_Ah = 100')

    assert describe(least) == [
        "Site: shed, no time zone given, the computer's own is assumed.",
        "Bank: 12 V, 100 Ah.",
    ]


def test_check_site_prints_meaning_and_warnings(tmp_path):
    """The command says what the file means, and last what to look at again."""
    path = tmp_path / "site.toml"
    path.write_text(changed("precharge_psi = 38", "precharge_psi = 28"))

    result = CliRunner().invoke(command, [str(path)])

    assert result.exit_code == 0
    lines = result.stdout.replace("\n  ", " ").splitlines()
    first, (precharge, run) = lines[0], [line for line in lines if line.startswith("Look again")]
    assert first == "Marrowbrook wash shed: look again at 2 things in it."
    assert precharge.startswith("Look again: The pre-charge")
    # 166.6 L x (294.4 kPa / 377.1 kPa - 294.4 kPa / 515.0 kPa) is 34.8 L (Boyle's law), at 37.9 L/min
    assert run.startswith("Look again: 'well pump' fills the tank in 55 s")


@pytest.mark.parametrize(
    ("was", "now", "said"),
    [
        # 3/0 may carry 200 A, 2/0 175 A: NEC table 310.16, copper at 75 degC (from memory)
        ('"3/0"', '"2/0"', "Look again: 'bank to wash shed inverter' fails: The 200 A fuse is larger"),
        ("fuse_A = 200\n", "", "Look again: 'bank to wash shed inverter' fails: No fuse is given"),
        ("fuse_A = 200", "fuse_A = 20", "Look again: 'bank to wash shed inverter' fails: The 20 A fuse is under"),
        (
            'fuse_A = 200\ncarries = ["wash shed inverter"]',
            "",
            "Look again: 'bank to wash shed inverter' is doubtful: No fuse is given",
        ),
    ],
)
def test_a_fuse_that_does_not_protect_its_cable_is_a_contradiction(tmp_path, was, now, said):
    """It is told as such, with who decides, and nobody is told that nothing contradicts itself."""
    path = tmp_path / "site.toml"
    path.write_text(changed(was, now))

    result = CliRunner().invoke(command, [str(path)])

    (line,) = [line for line in result.stdout.replace("\n  ", " ").splitlines() if line.startswith(said)]
    assert "local codes and a licensed electrician decide" in line
    assert "Nothing in it contradicts itself" not in result.stdout


def test_check_site_gives_one_json_document(tmp_path, site):
    """With --json the same sentences are one document."""
    result = CliRunner().invoke(command, [str(tmp_path / "site.toml"), "--json"])

    document = json.loads(result.stdout)
    bank, conductors = document.pop("bank"), document.pop("conductors")
    assert [each["name"] for each in conductors] == [each.name for each in site.conductors]
    assert conductors[0]["wanted_A"] == pytest.approx(1.25 * 3000 / 0.88 / 21.5, rel=0.02)
    assert document == {"site": site.name, "description": describe(site), "warnings": []}
    assert bank["verdict"] == "holds"
    assert all(part["sentence"] in " ".join(document["description"]) for part in bank["compared"])


def test_check_site_passes_mistakes_on(tmp_path):
    """A mistake is raised as it is, for the one place that prints it and sets the status."""
    result = CliRunner().invoke(command, [str(tmp_path / "none.toml")])

    assert isinstance(result.exception, InputError)
