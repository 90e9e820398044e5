"""The smallest cable and its fuse, and what a short circuit is to the fuse: against worked examples and by law."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shuntbook.analysis.equipment.cable_choice import CableChoice, choose_cable
from shuntbook.analysis.equipment.conductor import ADVISED_DROP_PCT, check_conductor, currents, drop
from shuntbook.analysis.equipment.protection import Screened, ampacity
from shuntbook.analysis.equipment.short_circuit import breaking, prospective_A, stated_mohm
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.conductor_tables import AREA_AMPACITY_A, FUSES_A, FUSES_BY_AREA_A, GAUGES
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.stats.interval95 import Within


def a_site(amps=40.0, nominal_V=24.0, length_m=3.0, **more):
    """A bank with one load on it that draws so many amps without a break, and its cable."""
    conductor = {"name": "main", "gauge_AWG": "8", "length_m": length_m, "fuse_A": 40.0, "carries": ("load",), **more}
    return Site.model_validate(
        {
            "name": "shed",
            "bank": {"nominal_V": nominal_V, "capacity_Ah": 400.0},
            "loads": ({"name": "load", "kind": "heater", "current_A": amps},),
            "conductors": (conductor,),
        }
    )


def chosen(site, kind, **asked):
    got = choose_cable(site.conductors[0], site, kind, **asked)
    assert isinstance(got, CableChoice), got
    return got


# amps that last, volts, metres one way, kind; the cable and fuse that a reader of the table comes to by hand.
BY_HAND = [
    # NEC 210.20(A) and 240.4(D), as code courses work it: 16 A that last ask 20 A, and 12 AWG bears 20 A (from memory).
    (16.0, 120.0, 5.0, "AWG", "12 AWG", 20.0),
    # The same way: 24 A ask 30 A, 10 AWG; 40 A ask 50 A, 8 AWG at 75 degC (NEC table 310.16, from memory).
    (24.0, 120.0, 5.0, "AWG", "10 AWG", 30.0),
    (40.0, 120.0, 5.0, "AWG", "8 AWG", 50.0),
    # 3,000 VA at 24 V and 85 %, with 22 V lowest: 160 A ask 200 A, 3/0 AWG (NEC 690.8(B), from memory).
    (160.0, 24.0, 1.0, "AWG", "3/0 AWG", 200.0),
    # 12 V, 20 A over 5 m: 3 % is 0.36 V, so at most 1.8 mohm a metre; table 8 has 1.61 for 6 AWG, 2.55 for 8 AWG.
    (20.0, 12.0, 5.0, "AWG", "6 AWG", 25.0),
    # IEC 60364-5-52 table B.52.2, In between 1.25 Ib and Iz: 20 A ask 25 A; 4 mm2 bears 32 A, fuse 25 A (from memory).
    (20.0, 230.0, 2.0, "mm2", "4 mm²", 25.0),
    # 60 A ask 75 A: 16 mm2 bears 76 A, but the next fuse is 80 A, so 25 mm2.
    (60.0, 230.0, 2.0, "mm2", "25 mm²", 80.0),
]


@pytest.mark.parametrize(("amps", "volts", "length_m", "kind", "size", "fuse_A"), BY_HAND)
@pytest.mark.worked(
    "NEC 210.20(A), 240.4(D), 240.6(A), 690.8(B), table 310.16 (from memory)",
    "NEC chapter 9, table 8 (read)",
    "IEC 60364-5-52, table B.52.2, and IEC 60269-1 (from memory)",
)
def test_the_choice_is_what_a_reader_of_the_tables_comes_to(amps, volts, length_m, kind, size, fuse_A):
    got = chosen(a_site(amps, volts, length_m), kind)
    assert (got.size, got.fuse_A) == (size, fuse_A)
    assert got.wanted_A == pytest.approx(1.25 * amps)
    assert [source.split()[0] for source in got.sources] == ["NEC" if kind == "AWG" else "IEC"] * 2


# Horsepower, full-load amps of single-phase motors at 230 V; the gauge and fuse for 125 % of them.
@pytest.mark.parametrize(
    ("full_load_A", "gauge", "fuse_A"),
    [(4.9, "16 AWG", 10), (8.0, "16 AWG", 10), (12.0, "14 AWG", 15), (28.0, "8 AWG", 35)],
)
@pytest.mark.worked("NEC table 430.248: 1/2, 1, 2 and 5 hp (read)", "NEC 430.22: 125 % (read)")
def test_the_cable_of_a_motor_bears_125_percent_of_its_table_amps(full_load_A, gauge, fuse_A):
    got = chosen(a_site(full_load_A, 230.0, 3.0), "AWG")
    assert got.wanted_A == pytest.approx(1.25 * full_load_A)
    assert (got.size, got.fuse_A) == (gauge, fuse_A)


@pytest.mark.worked("NEC 240.6(A), standard ratings up to 600 A (from memory)")
def test_fuses_are_of_the_code_s_ratings():
    by_code = [15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400]
    assert list(FUSES_A) == [1, 3, 6, 10, *by_code, 450, 500, 600]


@pytest.mark.worked("ISO 3, preferred numbers: the series R10; smaller ones of IEC 60269-1 (from memory)")
def test_fuses_by_area_are_of_the_preferred_numbers():
    """From 16 to 630 A, in whole amps; below that there are fewer."""
    series = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
    by_series = [round(decade * each) for decade in (10, 100) for each in series]
    assert list(FUSES_BY_AREA_A) == [2, 4, 6, 10, *(each for each in by_series if 16 <= each <= 630)]


@pytest.mark.worked("NEC table 310.16, copper at 75 degC, and 240.4(D) (from memory)")
def test_every_gauge_bears_what_the_code_allows_it():
    by_table = {"14": 20, "12": 25, "10": 35, "8": 50, "6": 65, "4": 85, "3": 100, "2": 115, "1": 130, "1/0": 150,
                "2/0": 175, "3/0": 200, "4/0": 230}  # fmt: skip
    small = {"18": 7, "16": 10, "14": 15, "12": 20, "10": 30}
    assert {name: row.ampacity_A for name, row in GAUGES.items()} == by_table | small


@pytest.mark.worked("IEC 60364-5-52, table B.52.2, method B1; 0.75 and 1 mm2 as flexible cords (from memory)")
def test_every_area_bears_what_the_standard_allows_it():
    sizes = [0.75, 1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50, 70, 95, 120, 150, 185, 240, 300]
    amps = [6, 10, 17.5, 24, 32, 41, 57, 76, 101, 125, 151, 192, 232, 269, 300, 341, 400, 458]
    assert dict(zip(sizes, amps, strict=True)) == AREA_AMPACITY_A


@pytest.mark.worked("IEEE 946: a lead-acid battery gives ten times its 1-minute rate in a short circuit (from memory)")
def test_a_short_circuit_of_lead_acid_is_some_ten_times_the_minute_rate():
    """A cell that falls from 2.0 to 1.75 V at its 1-minute rate of 100 A has 2.5 mohm: its 1,000 A lie within."""
    got = prospective_A(2.0, Within.exactly(1000 * (2.0 - 1.75) / 100))
    assert got.holds(1000)
    assert got.low > 500


def test_what_the_next_smaller_size_fails_is_told():
    assert chosen(a_site(16.0, 120.0, 5.0), "AWG").decided_by == "current"
    assert chosen(a_site(20.0, 12.0, 5.0), "AWG").decided_by == "drop"
    assert chosen(a_site(60.0, 230.0, 2.0), "mm2").decided_by == "fuse"


@settings(deadline=None)
@given(
    amps=st.floats(0.5, 150), volts=st.sampled_from([12.0, 24.0, 48.0]), length_m=st.floats(0.2, 30),
    kind=st.sampled_from(["AWG", "mm2"]), drop_pct=st.floats(1, 10),
)  # fmt: skip
def test_a_choice_keeps_all_that_was_asked_and_no_smaller_size_does(amps, volts, length_m, kind, drop_pct):
    """By law, for any current, length and drop: cable >= fuse >= 125 % of the current, drop kept, none smaller."""
    site = a_site(amps, volts, length_m)
    got = choose_cable(site.conductors[0], site, kind, drop_pct=drop_pct)
    sizes = list(GAUGES) if kind == "AWG" else list(AREA_AMPACITY_A)
    fuses = FUSES_A if kind == "AWG" else FUSES_BY_AREA_A

    def fits(size):
        made = site.conductors[0].model_copy(
            update={"gauge_AWG": size, "area_mm2": None} if kind == "AWG" else {"gauge_AWG": None, "area_mm2": size}
        )
        allowed_A = ampacity(made).low_A
        lost = drop(made, amps, volts).drop_pct
        return any(1.25 * amps <= fuse <= allowed_A for fuse in fuses) and lost <= drop_pct

    fitting = [size for size in sizes if fits(size)]
    if not fitting:
        assert isinstance(got, Missing)
        assert "no single cable" in got.sentence
        return
    assert isinstance(got, CableChoice)
    assert (got.conductor.gauge_AWG or got.conductor.area_mm2) == fitting[0]
    assert 1.25 * amps <= got.fuse_A <= got.ampacity_A
    # What was chosen passes the screening that it would get in the site file.
    changed = site.model_copy(update={"conductors": (got.conductor,)})
    words = [each.verdict for each in check_conductor(got.conductor, changed).screened]
    assert words.count("holds") == len(words) - (got.running.drop_pct > ADVISED_DROP_PCT)


def test_a_drop_that_is_just_kept_is_kept():
    """Asked for what 6 AWG loses, 6 AWG does."""
    site = a_site(20.0, 12.0, 5.0)
    lost = chosen(site, "AWG").running.drop_pct
    again = chosen(site, "AWG", drop_pct=lost)
    assert again.size == "6 AWG"
    assert (again.kind, chosen(site, "mm2").kind) == ("AWG", "mm2")


def test_without_what_it_carries_there_is_no_size():
    site = a_site(carries=())
    got = choose_cable(site.conductors[0], site, "AWG")
    assert isinstance(got, Missing)
    assert got.add == ("conductors.carries",)


@pytest.mark.worked("IEC 61660-1 (from memory)")
def test_a_short_circuit_is_volts_over_resistance():
    """IEC 61660-1 in its simplest form (from memory): 1.05 x 24 V / 20 mohm is 1.26 kA; ends by those of the ohms."""
    got = prospective_A(24.0, Within(20.0, 15.0, 25.0))
    assert got.value == pytest.approx(1260)
    assert got.low == pytest.approx(1008)
    assert got.high == pytest.approx(1.5 * 1680)


@pytest.mark.parametrize(("fuse_kA", "word"), [(20.0, "holds"), (2.6, "holds"), (1.5, "doubtful"), (0.9, "fails")])
def test_a_fuse_is_held_against_the_short_circuit(fuse_kA, word):
    site = a_site(fuse_kA=fuse_kA)
    got = breaking(site.conductors[0], site.bank, Within(20.0, 15.0, 25.0))
    assert isinstance(got, Screened)
    assert got.verdict == word
    assert "1 to 2.5 kA" in got.sentence.replace(" kA to", " to")
    assert check_conductor(site.conductors[0], site, Within(20.0, 15.0, 25.0)).screened[-1] == got


def test_a_fuse_breaks_just_what_it_is_made_for():
    """1.5 x 1.05 x 24 V / 20 mohm are 1,890 A: 1.89 kA is enough, and half a thousandth less may not be."""
    site, ohms = a_site(fuse_kA=1.89001), Within.exactly(20.0)
    assert breaking(site.conductors[0], site.bank, ohms).verdict == "holds"
    less = a_site(fuse_kA=1.89 * 0.9995)
    assert breaking(less.conductors[0], less.bank, ohms).verdict == "doubtful"


def test_what_is_not_known_of_a_short_circuit_says_which_key_to_add():
    site = a_site()
    ohms = Within(20.0, 15.0, 25.0)
    without_rating = breaking(site.conductors[0], site.bank, ohms)
    assert isinstance(without_rating, Missing)
    assert without_rating.add == ("conductors.fuse_kA",)
    assert "2.5 kA may flow" in without_rating.sentence
    rated = a_site(fuse_kA=20.0)
    without_ohms = breaking(rated.conductors[0], rated.bank, None)
    assert isinstance(without_ohms, Missing)
    assert without_ohms.add == ("bank.resistance_mohm",)
    bare = a_site(fuse_A=None)
    assert breaking(bare.conductors[0], bare.bank, ohms) is None
    # Nothing judged makes no verdict worse.
    assert check_conductor(rated.conductors[0], rated).verdict == check_conductor(site.conductors[0], site).verdict


def test_the_stated_resistance_counts_where_none_was_measured():
    site = a_site(fuse_kA=20.0).model_copy(update={})
    bank = site.bank.model_copy(update={"resistance_mohm": 20.0})
    site = site.model_copy(update={"bank": bank})
    assert stated_mohm(bank) == Within(20.0, 15.0, 25.0)
    assert check_conductor(site.conductors[0], site).screened[-1].verdict == "holds"
    # A resistance that may be nothing sets no limit: then no fuse is surely enough.
    open_ended = check_conductor(site.conductors[0], site, Within(5.0, 0.0, 12.0)).screened[-1]
    assert open_ended.verdict == "doubtful"


def test_currents_of_the_load_are_those_of_the_site():
    site = a_site()
    carried = currents(site.conductors[0], site)
    assert not isinstance(carried, Missing)
    assert carried.greatest_A == 40.0
