"""The kinds of battery: each figure against a published source that is not the one it was taken from."""

from itertools import pairwise
from math import log10

import numpy as np
import pytest

from shuntbook.analysis.bank.peukert import cold_multiplier
from shuntbook.analysis.bank.rested_state import Freezing, RestedState, freezing, rested_state
from shuntbook.analysis.bank.state_of_charge import charge_efficiency
from shuntbook.analysis.check_site.description import describe
from shuntbook.analysis.check_site.reckoned import checks
from shuntbook.analysis.equipment.bank_voltage import charging_V
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.battery_kinds import KINDS, LEAD_ACID, LEAD_CELL_V_PER_K, VOLTS_LESS_GRAVITY, kind_of
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.site.tables import Bank


def bank(**more):
    """A bank of 24 V, invented."""
    return Bank(**{"chemistry": "flooded_lead_acid", "nominal_V": 24.0, "capacity_Ah": 420.0, **more})


@pytest.mark.parametrize(
    ("chemistry", "rested_12V", "state_pct"),
    [
        # A battery maker's table of flooded 12 V batteries at 80 F.
        *(
            ("flooded_lead_acid", V, pct)
            for V, pct in ((12.65, 100), (12.45, 75), (12.24, 50), (12.06, 25), (11.89, 0))
        ),
        # East Penn's manual on sealed batteries, from memory.
        *(("agm", V, pct) for V, pct in ((12.80, 100), (12.60, 75), (12.30, 50), (12.00, 25), (11.80, 0))),
        *(("gel", V, pct) for V, pct in ((12.85, 100), (12.65, 75), (12.35, 50), (12.00, 25), (11.80, 0))),
    ],
)
@pytest.mark.worked(
    "a battery maker's table of flooded 12 V batteries (read)", "East Penn, manual on sealed batteries (from memory)"
)
def test_rested_volts_give_the_printed_state(chemistry, rested_12V, state_pct):
    """Each row of each kind's table, for a 24 V bank as warm as the table says."""
    warm = KINDS[chemistry].rest.at_degC
    got = rested_state(bank(chemistry=chemistry, temperature_degC=warm), 2 * rested_12V)
    assert isinstance(got, RestedState)
    assert got.state_pct.value == pytest.approx(state_pct, abs=0.01)
    assert got.state_pct.holds(state_pct)


@pytest.mark.parametrize(
    ("chemistry", "other_12V", "state_pct"),
    [
        # Flooded: two other pages at 75 % and 50 %, which differ by up to 0.09 V from the maker's.
        *(("flooded_lead_acid", V, pct) for V, pct in ((12.45, 75), (12.30, 50), (12.4, 75), (12.2, 50), (12.15, 25))),
        # Sealed: another maker's one table for both kinds (Trojan's user guide, from memory).
        *((kind, V, pct) for kind in ("agm", "gel") for V, pct in ((12.54, 75), (12.24, 50), (11.94, 25), (11.64, 0))),
    ],
)
@pytest.mark.worked("two trade pages on flooded batteries (read)", "Trojan, user's guide (from memory)")
def test_the_interval_of_a_rested_state_holds_other_published_tables(chemistry, other_12V, state_pct):
    """Tables differ by 5 to 15 % of state, and the interval is as wide as that."""
    warm = KINDS[chemistry].rest.at_degC
    got = rested_state(bank(chemistry=chemistry, temperature_degC=warm), 2 * other_12V)
    assert isinstance(got, RestedState)
    assert got.state_pct.holds(state_pct)
    # At the very end of the table both ends are cut off.
    assert got.state_pct.high - got.state_pct.low > (5 if state_pct else -1)


# H. Bode, Lead-Acid Batteries (1977): potentials of either plate by the acid's molality, as an open model of batteries
# prints them; acid by weight at each gravity from a table of sulphuric acid at 20 to 25 degC (from memory).
@pytest.mark.parametrize(
    ("gravity", "by_weight"), [(1.120, 0.172), (1.155, 0.216), (1.190, 0.261), (1.225, 0.304), (1.265, 0.351)]
)
@pytest.mark.worked("Bode, Lead-Acid Batteries, 1977, as an open model of batteries prints it (from memory)")
def test_the_flooded_table_is_that_of_the_acid_s_own_electrochemistry(gravity, by_weight):
    """Six cells of that acid stand within 0.03 V of what the maker prints beside the same gravity."""
    m = log10(by_weight / (1 - by_weight) / 0.098079)
    lead_dioxide_V = 1.628 + 0.074 * m + 0.033 * m**2 + 0.043 * m**3 + 0.022 * m**4
    lead_V = -0.294 - 0.074 * m - 0.030 * m**2 - 0.031 * m**3 - 0.012 * m**4
    table = KINDS["flooded_lead_acid"].rest
    assert table.volts[table.gravity.index(gravity)] == pytest.approx(6 * (lead_dioxide_V - lead_V), abs=0.03)


@pytest.mark.worked("a rule of the trade: volts of a cell are its gravity and 0.845 (from memory)")
def test_the_flooded_table_is_near_the_rule_of_gravities():
    """Within 0.03 V in the upper half; towards empty, where the rule is known to read low, within 0.1 V."""
    table = KINDS["flooded_lead_acid"].rest
    for state, volts, gravity in zip(table.state_pct, table.volts, table.gravity, strict=True):
        assert volts == pytest.approx(6 * (gravity + VOLTS_LESS_GRAVITY), abs=0.03 if state >= 50 else 0.11)


@pytest.mark.worked("CRC Handbook: standard entropies (from memory)")
def test_a_cell_at_rest_follows_its_temperature_by_the_entropy_of_what_reacts():
    """Pb + PbO2 + 2 H+ + 2 HSO4- gives 2 PbSO4 + 2 H2O: dE/dT = dS / 2F (CRC Handbook's entropies, from memory)."""
    gained_J_per_K = 2 * 148.5 + 2 * 69.95 - 64.8 - 68.6 - 2 * 131.8
    assert gained_J_per_K / (2 * 96485) == pytest.approx(LEAD_CELL_V_PER_K.value, abs=LEAD_CELL_V_PER_K.off)


# Vinal, Storage Batteries: temperature coefficient of a cell by its acid, mV/K (from memory).
@pytest.mark.parametrize("mV_per_K", [0.31, 0.33, 0.30, 0.24, 0.18])
@pytest.mark.worked("Vinal, Storage Batteries (from memory)")
def test_a_cell_at_rest_follows_its_temperature_as_measured(mV_per_K):
    """Acid of 1.10 to 1.30 lies within what is taken."""
    assert 1000 * LEAD_CELL_V_PER_K.value == pytest.approx(mV_per_K, abs=1000 * LEAD_CELL_V_PER_K.off)


@pytest.mark.parametrize("chemistry", LEAD_ACID)
def test_rested_volts_in_the_cold_are_set_right_by_electrochemistry(chemistry):
    """Twelve cells 20 K below the table stand 12 x 20 x 0.25 mV lower; a hydrometer's figure would be 173 mV."""
    degC = KINDS[chemistry].rest.at_degC - 20
    warm, cold = (rested_state(bank(chemistry=chemistry, temperature_degC=t), 24.6) for t in (degC + 20, degC))
    assert isinstance(warm, RestedState)
    assert isinstance(cold, RestedState)
    assert cold.in_table_V - warm.in_table_V == pytest.approx(0.060 / 2)
    assert cold.state_pct.value > warm.state_pct.value
    assert "electrochemistry" in " ".join(cold.assumptions)


@pytest.mark.parametrize(
    ("more", "voltmeter_pct", "off_V"),
    [
        # Other tables by 0.09 V, a voltmeter by so much of 12.30 V; of unknown warmth 20 K of 1.5 mV, of a cold one
        # 20 K that may be off by 0.6 mV each.
        ({"temperature_degF": 80.0}, 0.5, (0.09, 0.0615)),
        ({"temperature_degF": 80.0}, 2.0, (0.09, 0.246)),
        ({}, 0.5, (0.09, 0.0615, 0.03)),
        ({"temperature_degF": 44.0}, 0.5, (0.09, 0.0615, 0.012)),
    ],
)
def test_the_interval_is_that_of_limits_of_error_that_are_added(more, voltmeter_pct, off_V):
    """Each is anywhere within its limits: a grid of their sums holds 95 % in the same interval."""
    got = rested_state(bank(**more), 24.6, voltmeter_pct=voltmeter_pct)
    assert isinstance(got, RestedState)
    sums = np.zeros(1)
    for off in off_V:
        sums = np.add.outer(sums, np.linspace(-off, off, 151)).ravel()
    half_V = np.quantile(np.abs(sums), 0.95)
    table = KINDS["flooded_lead_acid"].rest
    low, high = (np.interp(got.in_table_V + side * half_V, table.volts, table.state_pct) for side in (-1, 1))
    assert (got.state_pct.low, got.state_pct.high) == pytest.approx((low, high), abs=0.3)


def test_what_a_rested_state_rests_on_is_told():
    """Millivolts for each ten degrees, whose table, and of a sealed battery that its acid is by its volts."""
    told = " ".join(rested_state(bank(temperature_degC=5.0), 24.6).assumptions)
    assert "15 mV belong to each 10 °C" in told
    assert "others differ by up to 0.09 V" in told
    assert "by its volts" not in freezing(bank(), 50).source
    assert "by its volts" in freezing(bank(chemistry="gel"), 50).source


def test_a_bank_of_unknown_warmth_is_less_sure():
    """Give or take 20 K widens the interval by some millivolts, and it is told."""
    told, untold = (rested_state(bank(**more), 24.6) for more in ({"temperature_degF": 80.0}, {}))
    assert isinstance(told, RestedState)
    assert isinstance(untold, RestedState)
    assert untold.state_pct.high - untold.state_pct.low > told.state_pct.high - told.state_pct.low
    assert "not given" in " ".join(untold.assumptions)


@pytest.mark.parametrize(
    ("more", "volts", "words"),
    [
        ({"chemistry": "lifepo4"}, 26.5, "nearly flat"),
        ({"chemistry": "other"}, 25.5, "no maker's or standard's table"),
        ({"chemistry": None}, 25.5, "bank.chemistry"),
        ({}, 27.6, "it was charging, or just had"),
        ({}, 12.6, "check the volts"),
    ],
)
def test_a_rested_state_is_refused_where_volts_do_not_tell_it(more, volts, words):
    """Flat curves, chemistries without a table, a bank that was not at rest, volts of another bank."""
    got = rested_state(bank(**more), volts)
    assert isinstance(got, Missing)
    assert words in got.sentence


# IEEE 485, Table 1: factors for cells colder than 77 F, from memory.
@pytest.mark.parametrize(("degF", "factor"), [(30, 1.43), (40, 1.30), (50, 1.19), (60, 1.11), (65, 1.08), (70, 1.04)])
@pytest.mark.worked("IEEE 485, table 1 (from memory)")
def test_the_cold_takes_as_much_as_the_standard_says(degF, factor):
    """The trade's table is within 3 % of it."""
    assert cold_multiplier((degF - 32) / 1.8) == pytest.approx(factor, rel=0.03)


# Freezing points by state of charge as pages on flooded batteries print them: full -57 degC and below, half -24 to -27,
# empty -8 to -12 (trade, from memory).
@pytest.mark.parametrize(("state_pct", "from_degC", "to_degC"), [(100, -70, -50), (50, -28, -22), (0, -13, -7)])
@pytest.mark.worked("trade pages on flooded batteries in frost (from memory)")
def test_a_flooded_bank_freezes_where_it_is_printed(state_pct, from_degC, to_degC):
    """By its maker's gravities and a textbook's table of acid."""
    got = freezing(bank(), state_pct)
    assert isinstance(got, Freezing)
    assert from_degC <= got.at_degC <= to_degC


# Acid of 1.288 and 1.297, which full sealed batteries have by their volts, freezes between -52 degC at 1.250 and -70 at
# 1.300.
@pytest.mark.parametrize(("chemistry", "at_degC"), [("agm", -65.8), ("gel", -68.8)])
@pytest.mark.worked("Vinal, Storage Batteries: sulphuric acid (from memory)")
def test_a_full_sealed_bank_freezes_as_its_acid_does(chemistry, at_degC):
    assert freezing(bank(chemistry=chemistry), 100).at_degC == pytest.approx(at_degC, abs=0.3)


@pytest.mark.parametrize("chemistry", LEAD_ACID)
def test_a_bank_freezes_the_sooner_the_emptier_it_is(chemistry):
    """Of each lead-acid kind; sealed ones, whose acid is thicker, no sooner than flooded ones."""
    points = [freezing(bank(chemistry=chemistry), pct) for pct in (0, 20, 50, 80, 100)]
    flooded = [freezing(bank(), pct) for pct in (0, 20, 50, 80, 100)]
    assert all(a.at_degC > b.at_degC for a, b in pairwise(points))
    assert all(a.at_degC <= b.at_degC for a, b in zip(points, flooded, strict=True))


def test_no_word_on_the_freezing_of_other_kinds():
    """Lithium has no such acid, and of a kind that is not known it is said what to add."""
    lithium, unknown = freezing(bank(chemistry="lifepo4"), 50), freezing(bank(chemistry=None), 50)
    assert isinstance(lithium, Missing)
    assert isinstance(unknown, Missing)
    assert unknown.add == ("bank.chemistry",)


def site(*, array=False, **more):
    """A site of that bank alone, or with an array."""
    tables = bank(**more).model_dump(exclude_none=True, exclude={"shown"})
    return Site.model_validate({"name": "hut", "bank": tables, **({"array": {"power_W": 400.0}} if array else {})})


@pytest.mark.parametrize(
    ("more", "array", "words"),
    [
        ({"temperature_degC": -15.0, "usable_depth_pct": 100.0}, False, "freezes when it is 0 % full"),
        ({"temperature_degC": -15.0}, False, "freezes when it is 0 % full"),
        ({"temperature_degC": -15.0, "usable_depth_pct": 50.0}, False, ""),
        ({"temperature_degC": -35.0, "usable_depth_pct": 50.0}, False, "freezes when it is 50 % full"),
        ({"temperature_degC": -10.0, "chemistry": "lifepo4"}, True, "must not be charged"),
        ({"temperature_degC": -10.0, "chemistry": "lifepo4"}, False, ""),
        ({"temperature_degC": 1.0, "chemistry": "lifepo4"}, True, ""),
        ({"usable_depth_pct": 50.0}, True, ""),
    ],
)
def test_what_the_cold_ruins_is_told_before_it_does(more, array, words):
    """Ice in a lead-acid bank, and charging lithium in the frost; and nothing where neither threatens."""
    told = " ".join(each.sentence for each in checks(site(array=array, **more)) if "At −" in each.sentence)
    assert words in told
    assert bool(words) == bool(told)


def test_the_meaning_tells_where_a_cold_bank_freezes():
    """Below freezing point alone, at the state that its owner runs it down to."""
    cold, warm = (describe(site(temperature_degC=t, usable_depth_pct=50.0)) for t in (-5.0, 5.0))
    assert "50 % full, freezes at −24" in " ".join(cold)
    assert "freezes" not in " ".join(warm)


@pytest.mark.parametrize(
    ("chemistry", "low_12V", "high_12V", "efficiency_pct"),
    [
        # Charging: flooded 2.35 to 2.45 V a cell (Trojan's user guide); AGM 14.4 to 14.6 V, gel 13.8 to 14.1 V (East
        # Penn's manual); LiFePO4 14.0 to 14.6 V for four cells (data sheets). Efficiency by charge: flooded 85 to 95,
        # AGM 95 to 98, LiFePO4 99. All from memory.
        ("flooded_lead_acid", 14.1, 14.7, 90),
        ("agm", 14.4, 14.6, 96),
        ("gel", 13.8, 14.1, 96),
        ("lifepo4", 13.6, 14.6, 99),
    ],
)
@pytest.mark.worked("Trojan, user's guide; East Penn, manual on sealed batteries; LiFePO4 data sheets (from memory)")
def test_each_kind_is_charged_as_its_makers_say(chemistry, low_12V, high_12V, efficiency_pct):
    """At volts of its own, with its own share of the charge coming out again."""
    assert 2 * low_12V - 1e-9 <= charging_V(bank(chemistry=chemistry))[0] <= 2 * high_12V
    assert charge_efficiency(bank(chemistry=chemistry))[0] == pytest.approx(efficiency_pct / 100)


@pytest.mark.parametrize("chemistry", [*KINDS, "other", None])
def test_every_figure_of_a_kind_names_its_source(chemistry):
    """A source, "from memory", or that there is none."""
    kind = kind_of(chemistry)
    figures = [kind.loaded, kind.charging, kind.charge_efficiency, *([kind.empty] if kind.empty else [])]
    for each in figures:
        assert any(words in each.source for words in ("from memory", "IEEE", "no source"))
        assert 0 < each.off < each.value
