"""What people type as a change, and what is made of it."""

from dataclasses import asdict

import pytest

from shuntbook.cli.assembling.changes_asked import FORMS, change_of, changes_of, parted
from shuntbook.ingest.errors import InputError

PSI = 6.894757293168

ASKED = [
    ("tank 300 L", "TankChange", {"volume_L": 300.0}),
    ("Tank 80 gal", "TankChange", {"volume_L": 302.832943}),
    ("tank 0,3 m3", "TankChange", {"volume_L": 300.0}),
    ("tank for 60 s", "TankFor", {"run_s": 60.0}),
    ("tank for 2 min runs", "TankFor", {"run_s": 120.0}),
    ("pre-charge 2.5 bar", "PrechargeChange", {"air_kPa": 250.0}),
    ("precharge 38 psi", "PrechargeChange", {"air_kPa": 38 * PSI}),
    ("pressures 2.8..4.1 bar", "PressureChange", {"cut_in_kPa": 280.0, "cut_out_kPa": 410.0}),
    ("pressures 40 psi to 60 psi", "PressureChange", {"cut_in_kPa": 40 * PSI, "cut_out_kPa": 60 * PSI}),
    ("pressures 40-60 psi", "PressureChange", {"cut_in_kPa": 40 * PSI, "cut_out_kPa": 60 * PSI}),
    ("soft start", "StartChange", {"start": "soft"}),
    ("drive", "StartChange", {"start": "drive"}),
    ("direct start", "StartChange", {"start": "direct"}),
    ("inverter 3000 W", "InverterChange", {"continuous_W": 3000.0, "continuous_VA": None}),
    ("inverter 3 kVA, surge 6 kVA for 5 s", "InverterChange",
     {"continuous_VA": 3000.0, "surge_VA": 6000.0, "surge_s": 5.0, "surge_W": None}),
    ("bank 400 Ah", "BankChange", {"capacity_Ah": 400.0, "strings": None}),
    ("bank 3 strings", "BankChange", {"strings": 3}),
    ("bank two strings", "BankChange", {"strings": 2}),
    ("bank 300 Ah lithium", "BankChange", {"capacity_Ah": 300.0, "chemistry": "lifepo4"}),
    ("bank for 3 days", "BankFor", {"days": 3.0}),
    ("bank for 1.5 days without sun", "BankFor", {"days": 1.5}),
    ("array 1200 W", "ArrayChange", {"power_W": 1200.0}),
    ("array 1,2 kW", "ArrayChange", {"power_W": 1200.0}),
    ("charger 40 A", "ChargerChange", {"rated_A": 40.0}),
    ("generator 40 A", "ChargerChange", {"rated_A": 40.0}),
    ("cable 35 mm2", "CableChange", {"area_mm2": 35.0, "gauge_AWG": None}),
    ("cable 2/0 AWG", "CableChange", {"gauge_AWG": "2/0", "area_mm2": None}),
    ("cable 2/0", "CableChange", {"gauge_AWG": "2/0", "area_mm2": None}),
    ("fuse", "CableChange", {"gauge_AWG": None, "area_mm2": None}),
    ("cable", "CableChange", {"gauge_AWG": None, "area_mm2": None, "drop_pct": 3.0}),
    ("cable 2 %", "CableChange", {"drop_pct": 2.0}),
    ("use 500 L a day", "UseChange", {"water_L": 500.0, "run_s": None}),
    ("use 90 min a day", "UseChange", {"run_s": 5400.0, "water_L": None}),
    ("use 100 gal/day", "UseChange", {"water_L": 378.5411784}),
]  # fmt: skip


@pytest.mark.parametrize(("text", "kind", "figures"), ASKED)
def test_a_change_is_understood_as_people_write_it(text, kind, figures):
    change = change_of(text)
    assert type(change).__name__ == kind
    assert change.text == text
    for name, value in figures.items():
        assert asdict(change)[name] == (pytest.approx(value) if isinstance(value, float) else value)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("tank 300", "tank"), ("tank 300 W", "tank"), ("tank -3 L", "tank"), ("tank for 3 L", "tank"),
        ("pre-charge 2.5", "pre-charge"), ("pressures 4.1..2.8 bar", "pressures"), ("pressures 4 bar", "pressures"),
        ("soft landing", "start"), ("inverter 3000", "inverter"), ("inverter 3 kW, surge 5", "inverter"),
        ("inverter 3 kW, surge 5 kW for 3 L", "inverter"), ("bank 400 A", "bank"), ("bank", "bank"),
        ("bank for 3 Ah", "bank"), ("array 1200", "array"), ("cable 35 L", "cable"),
        ("fuse 300 A", "cable"), ("cable 25", "cable"), ("cable 7/0 AWG", "cable"),
        ("use 500 L", "use"), ("use 3 bar a day", "use"), ("tank 1,150 L", "tank"),
    ],
)  # fmt: skip
def test_a_wrong_change_is_one_sentence_with_how_to_write_it(text, kind):
    with pytest.raises(InputError) as error:
        change_of(text)
    (sentence,) = error.value.args
    assert sentence == f"--with: '{text}' is not understood; write it like {FORMS[kind]}"


def test_what_is_no_change_at_all_is_told_with_those_that_are():
    with pytest.raises(InputError) as error:
        changes_of(("tank 300 L", "pool 3", "tank 3"))
    first, second = error.value.args
    assert first.startswith("--with: 'pool 3' is no change that is known; write one of: tank 300 L, pre-charge 2.5 bar")
    assert "'tank 3' is not understood" in second


def test_one_field_of_a_form_holds_several():
    assert parted(" tank 300 L;soft start\n\ninverter 3 kVA, surge 6 kVA for 5 s\n") == (
        "tank 300 L", "soft start", "inverter 3 kVA, surge 6 kVA for 5 s",
    )  # fmt: skip
    assert parted("  ") == ()


@pytest.mark.parametrize("form", FORMS.values())
def test_what_the_sentences_show_can_be_written(form):
    for text in form.split('"')[1::2]:
        assert change_of(text).text == text
