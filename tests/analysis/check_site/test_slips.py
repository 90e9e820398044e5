"""Slips of the pen in a site file: each is told with what to write, and figures of a usual size are never."""

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.check_site.contradictions import contradicting, contradictions
from shuntbook.analysis.check_site.slips import slips
from shuntbook.analysis.site.site import Site

# Invented, every figure of a usual size.
MILL = {
    "name": "Mill cottage",
    "bank": {"chemistry": "agm", "nominal_V": 24.0, "capacity_Ah": 400.0, "cut_off_V": 22.0, "charging_V": 28.4},
    "inverters": [
        {"name": "main", "continuous_VA": 3000.0, "surge_VA": 9000.0, "surge_s": 5.0, "efficiency_pct": 90.0,
         "idle_W": 20.0, "cut_off_V": 21.0},
    ],
    "loads": [
        {"name": "well pump", "kind": "pump", "inverter": "main", "voltage_V": 230.0, "current_A": 5.0, "hp": 0.5,
         "power_factor": 0.6, "start_s": 0.6},
        {"name": "fridge", "kind": "compressor", "power_W": 60.0, "duty_pct": 35.0},
    ],
    "array": {"power_W": 1200.0, "sun_hours_h": 4.0, "performance_ratio": 0.6},
    "conductors": [
        {"name": "main cable", "area_mm2": 95.0, "length_m": 2.0, "fuse_A": 225.0, "carries": ["main"]},
    ],
    "water": {"load": "well pump", "tank_volume_L": 170.0, "cut_in_kPa": 276.0, "cut_out_kPa": 414.0,
              "precharge_kPa": 262.0, "flow_L_per_min": 38.0, "head_m": 6.0},
    "meters": [
        {"name": "shunt", "side": "dc", "range_A": 500.0, "reading_pct": 0.5, "resolution_A": 0.01, "range_V": 60.0},
    ],
}  # fmt: skip


def mill(**changes):
    """The cottage with keys changed (``bank__capacity_Ah``); of lists of tables the first is meant, None takes away."""
    mill_file = copy.deepcopy(MILL)
    for path, value in changes.items():
        *tables, key = path.split("__")
        place = mill_file
        for table in tables:
            place = place[table]
            place = place[0] if isinstance(place, list) else place
        place.pop(key, None)
        if value is not None:
            place[key] = value
    return Site.model_validate(mill_file)


def test_figures_of_a_usual_size_are_no_slips():
    """Nothing is told of the cottage."""
    assert contradictions(mill()) == []


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"inverters__continuous_VA": 3.0, "inverters__surge_VA": 9.0}, "write continuous_VA = 3000"),
        ({"inverters__continuous_VA": 3.0, "inverters__surge_VA": 9.0}, "write surge_VA = 9000"),
        ({"inverters__continuous_VA": None, "inverters__continuous_W": 2.4}, "write continuous_W = 2400"),
        ({"inverters__idle_W": 0.02}, "write idle_W = 20"),
        ({"inverters__idle_W": 2000.0}, "more than half of what it is made for"),
        ({"inverters__surge_s": 5000.0}, "write surge_s = 5"),
        ({"inverters__output_V": 24.0, "loads__voltage_V": 24.0}, "output_V of 'main' is 24"),
        ({"bank__capacity_Ah": 400_000.0}, "write capacity_Ah = 400."),
        ({"bank__capacity_Ah": 9600.0}, "write capacity_Ah = 400."),  # 24 V x 400 Ah = 9,600 Wh
        ({"bank__capacity_Ah": 0.4}, "min of what its inverter draws"),
        ({"bank__capacity_Ah": 9000.0, "bank__batteries": 4, "array": None}, "Each of the 4 batteries"),
        ({"bank__resistance_mohm": 0.012}, "write resistance_mohm = 12"),
        ({"bank__temperature_degC": 59.0}, "write temperature_degF = 59"),
        ({"bank__charging_V": 56.8}, "that of another bank than one of 24 V"),
        ({"bank__cut_off_V": 10.8}, "The bank's cut_off_V is 10.8 V, that of another bank"),
        ({"inverters__cut_off_V": 10.5}, "cut_off_V of 'main' is 10.5 V, that of another bank"),
        ({"bank__start_state_pct": 0.85}, "write 85"),
        ({"bank__usable_depth_pct": 0.5}, "write 50"),
        ({"inverters__efficiency_pct": 0.89}, "write 89"),
        ({"loads__duty_pct": 0.25}, "write 25"),
        ({"inverters__efficiency_pct": None, "inverters__efficiency_curve": [[300, 0.88]]}, "write percent"),
        ({"bank__max_charge_A": 150_000.0}, "write max_charge_A = 150"),
        ({"array__performance_ratio": None, "array__losses_pct": [0.02, 0.03, 0.1]}, "write [2, 3, 10]"),
        ({"array__power_W": 1.2}, "write power_W = 1200"),
        ({"array__power_W": 5.2}, "write power_W = 5200"),
        ({"array__sun_hours_h": 12.0}, "not hours of daylight"),
        ({"loads__power_W": 0.69, "loads__current_A": None, "loads__hp": None}, "write power_W = 690"),
        ({"loads__current_A": 5000.0}, "write current_A = 5"),
        ({"loads__current_A": 5000.0}, "one of the two is in another unit"),
        ({"loads__hp": 373.0}, "write hp = 0.500"),
        ({"loads__hp": 5.0}, "cannot give 5 hp"),
        ({"loads__start_s": 600.0}, "write start_s = 0.6"),
        ({"conductors__length_m": 2000.0}, "write length_m = 2"),
        ({"conductors__length_m": 900.0}, "check its length and size"),
        ({"meters__range_A": 75.0}, "'main' can draw from the bank 160 A"),  # (3,000 / 0.9 + 20) W / 21 V
        ({"meters__side": "ac", "meters__inverter": "main", "meters__range_A": 10.0}, "can give 13"),  # 3,000 / 230
        ({"meters__range_A": 500_000.0}, "write range_A = 500"),
        ({"meters__resolution_A": 10.0, "meters__range_A": 400.0}, "write resolution_A = 0.01"),
        ({"meters__range_V": 15.0}, "less than the bank's 24 V"),
        ({"meters__reading_pct": 50.0}, "reading_pct of 'shunt' is 50"),
        ({"meters__every_s": 60.0, "meters__gap_s": 10.0}, "all would be gaps"),
        ({"water__cut_in_kPa": 40.0}, "write cut_in_psi = 40"),
        ({"water__cut_out_kPa": 60.0, "water__cut_in_kPa": 40.0}, "write cut_out_psi = 60"),
        ({"water__cut_in_kPa": 2.8}, "write cut_in_kPa = 280"),
        # 40 over 60 is a household's pressure in no unit.
        ({"water__cut_in_kPa": 40 / 60}, "check its figure and its unit"),
        ({"water__precharge_kPa": 38.0}, "write precharge_psi = 38"),
        ({"water__precharge_kPa": None, "water__precharge_psi": 262.0}, "write precharge_kPa = 262"),
        # 20 L of tank: 0.258 of it (Boyle's law, as for 170 L) at 38 L/min is 8 s; a minute is the least for the motor
        ({"water__tank_volume_L": 20.0}, "fills the tank in 8 s"),
        ({"water__tank_volume_L": 60.0, "limits": {"minimum_run_s": 20.0}}, None),
        ({"water__flow_L_per_min": 0.6}, "h to fill the tank"),
        ({"water__tank_volume_L": 20.0, "loads__locked_rotor_A": 5.0}, None),  # a drive: it starts softly
    ],
)
def test_a_slip_is_told_with_what_to_write(changes, words):
    """Each figure that is almost surely a slip, among the sentences of `check-site`."""
    remarks = contradicting(mill(**changes))
    if words is None:
        assert remarks == []
    else:
        about = {place[-1] for remark in remarks if words in remark.sentence for place in remark.about}
        assert about & {key.split("__")[-1] for key in changes}, remarks


@st.composite
def usual_sites(draw):
    """Sites as people build them, from a hut to a farm: sizes from common practice, no source."""
    nominal_V = draw(st.sampled_from([12.0, 24.0, 48.0]))
    rated_W = draw(st.sampled_from([300.0, 600.0, 1500.0, 3000.0, 5000.0]))
    capacity_Ah = draw(st.floats(max(50.0, 0.1 * rated_W / nominal_V * 5), 1500.0))
    return mill(
        bank__nominal_V=nominal_V,
        bank__capacity_Ah=capacity_Ah,
        bank__cut_off_V=nominal_V * draw(st.floats(0.86, 0.95)),
        bank__charging_V=nominal_V * draw(st.floats(1.1, 1.22)),
        bank__resistance_mohm=draw(st.floats(1, 80)),
        bank__temperature_degC=draw(st.floats(-10, 40)),
        inverters__continuous_VA=rated_W,
        inverters__surge_VA=2 * rated_W,
        inverters__cut_off_V=nominal_V * draw(st.floats(0.83, 0.9)),
        inverters__idle_W=rated_W * draw(st.floats(0.003, 0.03)),
        loads__current_A=draw(st.floats(0.3, 0.8)) * rated_W / 230,
        loads__hp=0.2 * rated_W / 746,
        array__power_W=draw(st.floats(0.05, 0.5)) * capacity_Ah * nominal_V,
        conductors__length_m=draw(st.floats(0.5, 4)),
        meters__range_A=draw(st.floats(1.6, 4)) * rated_W / nominal_V,
        meters__resolution_A=0.1,
        meters__range_V=80.0,
        water__tank_volume_L=draw(st.floats(160, 500)),
    )


@given(usual_sites())
def test_usual_sites_have_no_slips(site):
    """Of any size, as long as the parts go together."""
    assert slips(site) == []
