"""Conductors: resistance and drop by the table, and the screening of conductor and fuse."""

from math import inf, pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.equipment.conductor import (
    ADVISED_DROP_PCT,
    CONTINUOUS_FACTOR,
    Drop,
    check_conductor,
    check_conductors,
    drop,
    ohm_per_m,
    rated_A,
)
from shuntbook.analysis.equipment.protection import ampacity, protection
from shuntbook.analysis.not_known import Missing, Refusal
from shuntbook.analysis.site.conductor_tables import GAUGES
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.site.tables import Conductor

KFT_M = 304.8  # 1,000 ft

# NEC chapter 9, table 8: AWG, circular mils, ohm/kft solid (to 8 AWG) and stranded, uncoated copper at 75 degC.
# A popular page prints 3.07/1.93/1.21/0.764 as "stranded": those are the solid values.
TABLE_8 = [
    ("18", 1620, 7.77, 7.95),
    ("16", 2580, 4.89, 4.99),
    ("14", 4110, 3.07, 3.14),
    ("12", 6530, 1.93, 1.98),
    ("10", 10380, 1.21, 1.24),
    ("8", 16510, 0.764, 0.778),
    ("6", 26240, None, 0.491),
    ("4", 41740, None, 0.308),
    ("3", 52620, None, 0.245),
    ("2", 66360, None, 0.194),
    ("1", 83690, None, 0.154),
    ("1/0", 105600, None, 0.122),
    ("2/0", 133100, None, 0.0967),
    ("3/0", 167800, None, 0.0766),
    ("4/0", 211600, None, 0.0608),
]


def a_conductor(**more):
    """A conductor of the demo, invented; a size given in mm2 takes the gauge's place."""
    size = {} if "area_mm2" in more else {"gauge_AWG": "3/0"}
    length = {} if "length_ft" in more else {"length_m": 1.8}
    return Conductor(**{"name": "main", "fuse_A": 200.0, "carries": ("shed",), **size, **length, **more})


def site_of(conductor, **inverter):
    """A site with one inverter, its pump, a fridge on the DC side, and the conductor."""
    shed = {"name": "shed", "continuous_VA": 3000.0, "efficiency_pct": 88.0, "idle_W": 28.0, "cut_off_V": 21.5}
    pump = {"name": "pump", "kind": "pump", "inverter": "shed", "voltage_V": 230.0, "current_A": 5.0, "hp": 0.5,
            "power_factor": 0.58, "code_letter": "M"}  # fmt: skip
    return Site(
        name="shed",
        bank={"nominal_V": 24.0, "capacity_Ah": 420.0},
        inverters=[{**shed, **inverter}],
        loads=[pump, {"name": "fridge", "kind": "compressor", "current_A": 4.5}, {"name": "blank"}],
        array={"power_W": 1150.0, "performance_ratio": 0.62},
        conductors=[conductor.model_dump(exclude_none=True)],
    )


def checked(**more):
    """The check of one conductor."""
    conductor = a_conductor(**more)
    return check_conductor(conductor, site_of(conductor))


@pytest.mark.parametrize(("gauge", "mils", "solid", "stranded"), TABLE_8)
@pytest.mark.worked("NEC chapter 9, table 8 (read)")
def test_resistance_is_that_of_table_8(gauge, mils, solid, stranded):
    """Every row, solid and stranded; resistance times area is the same for all sizes to the table's rounding."""
    got = ohm_per_m(a_conductor(gauge_AWG=gauge)) * KFT_M
    assert got == pytest.approx(stranded, rel=1e-12)
    assert GAUGES[gauge].circular_mils == mils
    assert stranded * mils / 1000 == pytest.approx(12.9, rel=0.005)  # 12.84 to 12.93, computed from the table
    if solid is not None:
        assert ohm_per_m(a_conductor(gauge_AWG=gauge, strands="solid")) * KFT_M == pytest.approx(solid, rel=1e-12)


@pytest.mark.worked("an NEC voltage-drop quiz, 2 K I L / CM (read)")
def test_drop_of_the_published_example():
    """20 A, 100 ft one way, 12 AWG: a quiz prints 7.90 V by 2 K I L / CM with K = 12.9; table 8 gives 7.92 V, 6.6 %."""
    got = drop(a_conductor(gauge_AWG="12", length_ft=100.0), 20.0, 120.0)
    assert got.drop_V == pytest.approx(7.92, abs=0.005)
    assert got.drop_V == pytest.approx(2 * 12.9 * 20 * 100 / 6530, rel=0.003)
    assert got.drop_pct == pytest.approx(6.6, abs=0.05)


@pytest.mark.worked("NEC chapter 9, table 8, note 2 (from memory)", "a page on table 8: 82 % at 20 degC (read)")
def test_colder_copper_resists_less():
    """R2 = R1 (1 + 0.00323 (T - 75)) (NEC, from memory): at 20 degC 82 % of that at 75 degC (a page on table 8)."""
    cold, hot = (ohm_per_m(a_conductor(gauge_AWG="6", temperature_degC=t)) for t in (20.0, 75.0))
    assert cold / hot == pytest.approx(0.82, abs=0.005)


@pytest.mark.parametrize("gauge", ["12", "6", "2", "2/0", "4/0"])
@pytest.mark.worked("NEC chapter 9, table 8 (read)", "IEC 60028: annealed copper (from memory)")
def test_the_area_gives_what_the_gauge_gives(gauge):
    """Copper's resistivity and 2 % for the lay of strands (from memory) meet table 8 within 1 %, warm and cold."""
    for celsius in (75.0, 20.0):
        by_gauge = ohm_per_m(a_conductor(gauge_AWG=gauge, temperature_degC=celsius))
        by_area = ohm_per_m(a_conductor(area_mm2=GAUGES[gauge].area_mm2, temperature_degC=celsius))
        assert by_area == pytest.approx(by_gauge, rel=0.01)


# NEC table 310.16, copper at 75 degC (from memory); IEC 60364-5-52, table B.52.2, column B1 (from memory).
@pytest.mark.parametrize(
    ("size", "low_A", "high_A", "words"),
    [
        ({"gauge_AWG": "6"}, 65, 65, "65 A (6 AWG)"),
        ({"gauge_AWG": "4/0"}, 230, 230, "230 A (4/0 AWG)"),
        # thinner than the table's thinnest, 18 AWG with 7 A
        ({"gauge_AWG": "24"}, 0, 7, "less than 7 A (24 AWG, below its first size)"),
        ({"area_mm2": 2.5}, 24, 24, "24 A (2.5 mm²)"),
        ({"area_mm2": 120.0}, 269, 269, "269 A (120 mm²)"),
        ({"area_mm2": 33.6}, 101, 125, "101 to 125 A (33.6 mm², between two sizes)"),  # 25 and 35 mm2
        ({"area_mm2": 0.2}, 0, 6, "less than 6 A (0.2 mm², below its first size)"),
        ({"area_mm2": 500.0}, 458, inf, "458 A or more (500 mm², above its last size)"),
    ],
)
@pytest.mark.worked("NEC table 310.16; IEC 60364-5-52, table B.52.2 (from memory)")
def test_what_a_table_allows(size, low_A, high_A, words):
    """A size in the table has one figure, one between two rows lies between theirs."""
    got = ampacity(a_conductor(**size))
    assert (got.low_A, got.high_A, got.words) == (low_A, high_A, words)


# Copper area [mm2], and the most ohms that a kilometre of stranded copper may have at 20 degC.
@pytest.mark.parametrize(
    ("area_mm2", "most_ohm_per_km"),
    [(1.5, 12.1), (2.5, 7.41), (4, 4.61), (6, 3.08), (10, 1.83), (16, 1.15), (25, 0.727), (35, 0.524), (50, 0.387),
     (70, 0.268), (95, 0.193), (120, 0.153), (150, 0.124), (185, 0.0991), (240, 0.0754), (300, 0.0601)],
)  # fmt: skip
@pytest.mark.worked("IEC 60228, table 2, class 2 (from memory)")
def test_an_area_resists_as_much_as_the_standard_lets_it(area_mm2, most_ohm_per_km):
    """Copper of that very area would resist 3 to 9 % less, and a drop be told too small."""
    conductor = a_conductor(area_mm2=area_mm2, temperature_degC=20.0)
    assert 1000 * ohm_per_m(conductor) == pytest.approx(most_ohm_per_km)
    named, plain = (checked(area_mm2=each, temperature_degC=20.0) for each in (area_mm2, 1.001 * area_mm2))
    assert 0.90 < plain.resistance_mohm / named.resistance_mohm < 0.98
    assert any("IEC 60228" in text for text in named.assumptions)
    assert any("resistivity" in text for text in plain.assumptions)


# Two cores, direct current, 70 degC: millivolts for each amp and metre.
@pytest.mark.parametrize(
    ("area_mm2", "mV"),
    [(1.5, 29), (2.5, 18), (4, 11), (6, 7.3), (10, 4.4), (16, 2.8), (25, 1.75), (35, 1.25), (50, 0.93), (70, 0.63),
     (95, 0.46), (120, 0.36)],
)  # fmt: skip
@pytest.mark.worked("BS 7671, table 4D2B, direct current (from memory)")
def test_a_pair_loses_what_the_wiring_rules_print(area_mm2, mV):
    """To the two digits that the rules print."""
    got = drop(a_conductor(area_mm2=area_mm2, length_m=1.0, temperature_degC=70.0), 1.0, 24.0)
    assert 1000 * got.drop_V == pytest.approx(mV, rel=0.025)


@pytest.mark.worked("IEC 60364-5-52, annex G: 0.0225 ohm mm2/m in service (from memory)")
def test_a_drop_by_the_installation_standard():
    """Two cores of 4 mm2, 25 m, 20 A: 2 x 0.0225 x 25 / 4 x 20 = 5.6 V, to 1 %."""
    got = drop(a_conductor(area_mm2=4.0, length_m=25.0), 20.0, 230.0)
    assert got.drop_V == pytest.approx(2 * 0.0225 * 25 / 4 * 20, rel=0.01)


# Diameters go by the 39th root of 92: n is 0 for 1/0, -1 for 2/0.
@pytest.mark.parametrize(
    ("gauge", "n"), [("18", 18), ("12", 12), ("6", 6), ("2", 2), ("1/0", 0), ("2/0", -1), ("4/0", -3)]
)
@pytest.mark.worked("ASTM B258: 0.005 in x 92^((36 - n) / 39) (from memory)")
def test_the_area_of_a_gauge_is_that_of_its_definition(gauge, n):
    diameter_mm = 0.127 * 92 ** ((36 - n) / 39)
    assert GAUGES[gauge].area_mm2 == pytest.approx(pi / 4 * diameter_mm**2, rel=0.003)


@given(st.floats(0.1, 100), st.floats(0, 500), st.sampled_from([row[0] for row in TABLE_8]))
def test_drop_is_in_proportion(length_m, current_A, gauge):
    """Twice the length or twice the current, twice the drop; both ways count."""
    one = drop(a_conductor(gauge_AWG=gauge, length_m=length_m), current_A, 24.0)
    assert drop(a_conductor(gauge_AWG=gauge, length_m=2 * length_m), current_A, 24.0).drop_V == pytest.approx(
        2 * one.drop_V
    )
    assert one.drop_V == pytest.approx(2 * length_m * current_A * ohm_per_m(a_conductor(gauge_AWG=gauge)))


@pytest.mark.worked("Wiles, Suggested Practices, Sandia/NMSU (read)")
def test_the_published_chain_from_watts_to_a_conductor():
    """2500 W / 0.85 / 22 V = 134 A, x 1.25 = 167 A printed; / 0.71 for 41 to 45 degC = 235 A (Wiles, Sandia/NMSU)."""
    site = site_of(a_conductor(), continuous_VA=2500.0, efficiency_pct=85.0, cut_off_V=22.0, idle_W=0.0)
    amps = round(rated_A(site.inverters[0], site.bank))
    assert amps == 134
    assert CONTINUOUS_FACTOR * amps == pytest.approx(167, abs=0.6)  # printed 167 for 167.5
    assert int(CONTINUOUS_FACTOR * amps) / 0.71 == pytest.approx(235, abs=0.5)


def test_a_sound_conductor_holds():
    """3/0 with 200 A: 3000 W / 0.88 + 28 W at 21.5 V is 160 A, x 1.25 = 200 A."""
    got = checked(fuse_A=200.0)
    assert got.protection.verdict == "holds"
    assert isinstance(got.running, Drop)
    # (667 / 0.88 + 28) W at 22.8 V
    assert got.running.current_A == pytest.approx((667 / 0.88 + 28) / 22.8, rel=1e-3)
    assert isinstance(got.starting, Drop)
    assert got.starting.drop_V > got.running.drop_V
    assert any("screening" in said for said in got.assumptions)


def verdicts(got):
    """The words, in the order fuse on conductor, drop, fuse, conductor."""
    return [each.verdict for each in got.screened]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"fuse_A": 225.0, "gauge_AWG": "4/0"}, ["holds", "holds", "holds", "holds"]),
        ({"fuse_A": 30.0}, ["holds", "holds", "fails", "holds"]),  # under the running 34 A
        ({"fuse_A": 100.0}, ["holds", "holds", "doubtful", "holds"]),  # under 125 % of the greatest current
        # 8 AWG: 50 A (NEC table 310.16, from memory), over the running current but not over the greatest
        ({"gauge_AWG": "8"}, ["fails", "holds", "holds", "doubtful"]),
        ({"gauge_AWG": "12", "fuse_A": 20.0}, ["holds", "doubtful", "fails", "fails"]),
        ({"area_mm2": 110.0, "fuse_A": 225.0}, ["holds", "holds", "holds", "holds"]),  # above 95 mm2 with 232 A
        ({"fuse_A": None}, ["fails", "holds", "holds"]),
    ],
)
def test_screening_of_fuse_and_conductor(changes, words):
    """Each against running and 125 % of the greatest current, and the fuse against the conductor."""
    conductor = a_conductor(**changes)
    site = site_of(conductor, efficiency_pct=90.0, cut_off_V=22.0)
    got = check_conductor(conductor, site)
    assert verdicts(got) == words


def test_a_load_in_watts_on_the_bank_takes_their_amps():
    """228 W at 95 % of 24 V are 10 A."""
    bank, lamp = {"nominal_V": 24.0, "capacity_Ah": 420.0}, {"name": "lamp", "kind": "lights", "power_W": 228.0}
    got = check_conductor(a_conductor(carries=("lamp",)), Site(name="shed", bank=bank, loads=[lamp]))
    assert isinstance(got.running, Drop)
    assert got.running.current_A == pytest.approx(10)
    assert isinstance(got.starting, Drop)
    assert got.starting.current_A == got.running.current_A


def test_the_hardest_start_of_several_counts():
    """Of two motors on one inverter the one whose start asks more; without any nothing is added."""

    def starting(*loads):
        site = Site(
            name="shed",
            bank={"nominal_V": 24.0, "capacity_Ah": 420.0},
            inverters=[{"name": "shed", "continuous_VA": 3000.0, "efficiency_pct": 88.0, "idle_W": 28.0,
                        "cut_off_V": 21.5}],
            loads=[{"inverter": "shed", "voltage_V": 230.0, **load} for load in loads],
        )  # fmt: skip
        got = check_conductor(a_conductor(), site)
        assert isinstance(got.starting, Drop)
        return got.starting.current_A

    small = {"name": "small", "kind": "motor", "power_W": 300.0, "locked_rotor_A": 5.0}
    large = {"name": "large", "kind": "motor", "power_W": 300.0, "locked_rotor_A": 20.0}
    heater = {"name": "heater", "kind": "heater", "power_W": 300.0}
    extra_VA = 230 * 20.0 - 300.0
    assert starting(small, large) == pytest.approx(((600 + extra_VA) / 0.88 + 28) / 21.5, rel=0.05)
    assert starting(small, large) == starting(large, small) > starting(small, heater)
    assert starting(heater) == pytest.approx((300 / 0.88 + 28) / 21.5)


def test_a_start_through_a_fuse_asks_for_a_slow_one():
    """Up to some 260 A at a start of the pump: more than 200 A, and less than 400 A."""
    told, untold = (" ".join(checked(fuse_A=amps, gauge_AWG="4/0").assumptions) for amps in (200.0, 400.0))
    assert "more than the 200 A of the fuse of 'main': it must be slow enough for that by its maker's curve" in told
    assert "slow enough" not in untold
    assert "slow enough" not in " ".join(checked(fuse_A=None).assumptions)


def test_a_long_thin_conductor_loses_more_than_advised():
    """3 % is advice (NEC 210.19(A), informational note): over it the word is doubtful, never fails."""
    got = checked(gauge_AWG="6", length_m=12.0)
    assert isinstance(got.running, Drop)
    assert got.running.drop_pct > ADVISED_DROP_PCT
    assert got.screened[1].verdict == "doubtful"
    assert "not a requirement" in got.screened[1].source


def test_it_carries_dc_loads_and_the_array_too():
    """4.5 A of the fridge; 1150 W x 0.62 at the charging voltage of the array."""
    for carries, amps in ((("fridge",), 4.5), (("array",), 1150 * 0.62 / (24 * 1.15)), (("fridge", "array"), 30.33)):
        got = checked(carries=carries)
        assert isinstance(got.running, Drop)
        assert got.running.current_A == pytest.approx(amps, abs=0.01)


@pytest.mark.parametrize(
    ("carries", "words"),
    [
        ((), "conductors.carries"),
        (("pump",), "on the mains side no cable is judged"),
        (("blank",), "loads.current_A"),
    ],
)
def test_what_is_not_known_of_a_conductors_current_is_said(carries, words):
    """The drop is left out with the key to add; the resistance is there all the same."""
    got = checked(carries=carries)
    assert isinstance(got.running, Missing)
    assert words in got.running.sentence
    assert got.resistance_mohm > 0


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"gauge_AWG": "30"}, "18 to 4/0"), ({"strands": "solid"}, "not in the table as solid")],
)
def test_a_size_outside_the_table_is_refused_and_left_out(changes, words):
    """The function refuses; the check says what to give instead."""
    conductor = a_conductor(**changes)
    with pytest.raises(Refusal, match=words):
        ohm_per_m(conductor)
    (got,) = check_conductors(site_of(conductor))
    assert isinstance(got.resistance_mohm, Missing)
    assert "conductors.area_mm2" in got.resistance_mohm.add
    assert got.missing[0] is got.resistance_mohm


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"gauge_AWG": "6", "fuse_A": 65.0}, "holds"),  # no larger than the ampacity
        ({"gauge_AWG": "6", "fuse_A": 65.1}, "fails"),
        ({"gauge_AWG": "6", "fuse_A": 400.0}, "fails"),
        ({"gauge_AWG": "6", "fuse_A": 400.0, "carries": ()}, "fails"),  # whatever flows in it
        ({"gauge_AWG": "6", "fuse_A": 400.0, "carries": ("blank",)}, "fails"),
        ({"gauge_AWG": "30", "fuse_A": 10.0}, "fails"),  # in no table, but thinner than what may carry 7 A
        ({"gauge_AWG": "30", "fuse_A": 5.0}, "doubtful"),
        ({"gauge_AWG": "6", "strands": "solid", "fuse_A": 400.0}, "fails"),  # its resistance is in no table
        ({"area_mm2": 33.6, "fuse_A": 100.0}, "holds"),
        ({"area_mm2": 33.6, "fuse_A": 110.0}, "doubtful"),
        ({"area_mm2": 33.6, "fuse_A": 150.0}, "fails"),
        ({"area_mm2": 500.0, "fuse_A": 500.0}, "doubtful"),  # more copper than the table has
        ({"fuse_A": None}, "fails"),
        ({"fuse_A": None, "carries": ("blank",)}, "fails"),  # on the bank, however much it draws
        ({"fuse_A": None, "carries": ("array", "fridge")}, "fails"),
        ({"fuse_A": None, "carries": ("array",)}, "doubtful"),  # may be on the array's side of its controller
        ({"fuse_A": None, "carries": ("pump",)}, "doubtful"),  # may be behind the inverter
        ({"fuse_A": None, "carries": ()}, "doubtful"),
    ],
)
def test_a_fuse_protects_its_conductor_or_fails(changes, word):
    """The fuse against the table's figure, and none on the bank; never passed over for what else is not known."""
    conductor = a_conductor(**changes)
    got = check_conductor(conductor, site_of(conductor))
    assert got.protection.verdict == word, got.protection
    assert (got.verdict == "fails") == bool(got.failing)
    if word != "holds":
        assert got.verdict != "holds"


def test_a_conductor_of_which_not_enough_is_known_never_holds():
    """A fuse within the ampacity says nothing of what flows."""
    assert checked(carries=()).verdict == "doubtful"
    assert checked(carries=("blank",)).verdict == "doubtful"
    assert checked(carries=("fridge",)).verdict == "holds"


@given(st.sampled_from(sorted(GAUGES)), st.floats(0.1, 5000))
def test_a_fuse_above_the_ampacity_never_holds(gauge, fuse_A):
    """Of every gauge and every fuse."""
    conductor = a_conductor(gauge_AWG=gauge, fuse_A=fuse_A)
    word = check_conductor(conductor, site_of(conductor)).protection.verdict
    assert word == ("fails" if fuse_A > GAUGES[gauge].ampacity_A else "holds")


@given(st.floats(0.05, 1000), st.floats(0.1, 5000), st.floats(1, 3))
def test_a_thicker_conductor_or_a_smaller_fuse_is_never_worse(area_mm2, fuse_A, factor):
    """By area: the word may only become better."""
    site = site_of(a_conductor())
    order = ["holds", "doubtful", "fails"]
    word = order.index(protection(a_conductor(area_mm2=area_mm2, fuse_A=fuse_A), site).verdict)
    for area, fuse in ((area_mm2 * factor, fuse_A), (area_mm2, fuse_A / factor)):
        better = a_conductor(area_mm2=area, fuse_A=fuse)
        assert order.index(protection(better, site).verdict) <= word
