"""What-if held against sums done by hand and worked examples, the source beside each."""

from math import inf

import pytest

from shuntbook.analysis.bank.bank import Runtime
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.what_if.cables import CableChange
from shuntbook.analysis.what_if.changes import (
    ArrayChange,
    BankChange,
    InverterChange,
    PrechargeChange,
    PressureChange,
    Setup,
    TankChange,
    UseChange,
)
from shuntbook.analysis.what_if.sizes import BankFor, TankFor
from shuntbook.analysis.what_if.what_if import what_if

PSI, GAL = 6.894757293168, 3.785411784


def a_site(**tables):
    """A pump behind an inverter, with tank, array and cable; any table can be another."""
    given = {
        "name": "shed",
        "bank": {"chemistry": "lifepo4", "nominal_V": 24.0, "capacity_Ah": 400.0, "usable_depth_pct": 80.0,
                 "start_state_pct": 100.0, "resistance_mohm": 10.0, "charging_V": 28.0, "charge_efficiency_pct": 100.0},
        "inverters": [{"name": "inv", "continuous_VA": 3000.0, "surge_VA": 6000.0, "surge_s": 5.0, "idle_W": 0.0,
                       "efficiency_pct": 85.0, "cut_off_V": 22.0, "always_on": True}],
        "loads": [{"name": "pump", "kind": "pump", "inverter": "inv", "power_W": 850.0, "power_factor": 0.8,
                   "voltage_V": 230.0, "hp": 0.5, "code_letter": "K", "start_s": 0.5}],
        "array": {"power_W": 1000.0, "sun_hours_h": 5.0, "performance_ratio": 0.7},
        "conductors": [{"name": "main", "gauge_AWG": "2", "length_m": 3.0, "fuse_A": 100.0, "carries": ["inv"]}],
        "water": {"load": "pump", "tank_volume_gal": 85.0, "precharge_psi": 28.0, "cut_in_psi": 30.0,
                  "cut_out_psi": 50.0, "flow_gal_per_min": 10.0},
    }  # fmt: skip
    return Site.model_validate(given | tables)


def then(code, *changes, site=None, load="pump", hours=1.0):
    """Return a figure after changes."""
    row = what_if(site or a_site(), load, changes, hours=hours).figure(code)
    assert row is not None
    assert row.after is not None
    return row.after.value


@pytest.mark.worked("Pelikan, National Driller 2004-2008 (read)")
def test_water_of_a_tank_at_a_published_share():
    """National Driller 2004-2008, Pelikan: 28/30/50 psi gives 0.295 of the volume, 85 gal gives 25.1 gal."""
    assert then("drawdown_L", TankChange("t", 85 * GAL)) / GAL == pytest.approx(25.1, abs=0.01)


@pytest.mark.worked("Pelikan, National Driller 2004-2008 (read)")
def test_water_of_a_tank_high_up():
    """The same author: at 6,000 ft, with 11.8 psi outside, 26.1 gal (his rounding; exact 26.19)."""
    site = a_site()
    high = a_site(water={**site.water.model_dump(exclude_none=True, exclude_unset=True), "altitude_ft": 6000.0})
    assert then("drawdown_L", TankChange("t", 85 * GAL), site=high) / GAL == pytest.approx(26.1, abs=0.15)


@pytest.mark.worked("Pelikan, National Driller 2004-2008: the formula (read)", "its value (by hand)")
def test_a_published_share_at_other_pressures():
    """Boyle's law at 40/60 psi and 38 psi, 14.7 psi outside: 0.2579 of the volume (the published formula, by hand)."""
    site = a_site()
    got = then("drawdown_L", PressureChange("p", 40 * PSI, 60 * PSI), PrechargeChange("a", 38 * PSI), site=site)
    assert got / (85 * GAL) == pytest.approx(0.2579, abs=0.0002)


@pytest.mark.worked("'How to Size a Pressure Tank', a trade sheet (read)")
def test_tank_for_two_minutes_at_15_gallons_a_minute():
    """A trade sheet, 'How to Size a Pressure Tank': 15 gpm x 2 min / 0.27 = 111 gal at 40/60 psi."""
    water = {"load": "pump", "tank_volume_gal": 44.0, "precharge_psi": 40.0, "cut_in_psi": 40.0, "cut_out_psi": 60.0,
             "flow_gal_per_min": 15.0}  # fmt: skip
    site = a_site(water=water)
    result = what_if(site, "pump", (TankFor("tank for 120 s", 120.0),), hours=1.0)
    drawn = result.figure("drawdown_L").after.value
    # The sheet rounds its share of 0.2677 up to 0.27, and so the tank down by a gallon.
    assert drawn / 0.2677 / GAL == pytest.approx(111, abs=1.5)
    assert result.sizes == ("For runs of 120 s the tank is to hold 112 gal or more.",)


def test_without_the_pumps_flow_no_tank_is_sized():
    """Nothing is said of a size then, and what would tell it is."""
    water = {
        key: x
        for key, x in a_site().water.model_dump(exclude_none=True, exclude_unset=True).items()
        if "flow" not in key
    }
    site = a_site(water=water)
    change = TankFor("tank for 120 s", 120.0)
    assert change.answer(Setup(site, site.load("pump"))) == ""
    assert change.size_L(Setup(site, site.load("pump"))).add == ("water.flow_L_per_min", "water.flow_gal_per_min")


# Tables of diaphragm tanks give the water between the switch's pressures, the air being at cut-in: 20, 44 and 86 gal.
@pytest.mark.parametrize(
    ("volume_gal", "low_psi", "high_psi", "printed_gal"),
    [(20, 20, 40, 7.3), (20, 30, 50, 6.2), (20, 40, 60, 5.4), (44, 30, 50, 13.6), (86, 30, 50, 26.7), (86, 40, 60, 23)],
)
@pytest.mark.worked("tank makers' drawdown tables (from memory)")
def test_water_of_tanks_as_their_makers_print_it(volume_gal, low_psi, high_psi, printed_gal):
    changes = (
        TankChange("t", volume_gal * GAL),
        PressureChange("p", low_psi * PSI, high_psi * PSI),
        PrechargeChange("a", low_psi * PSI),
    )
    assert then("drawdown_L", *changes) / GAL == pytest.approx(printed_gal, rel=0.02)


@pytest.mark.worked("pumped sumps: 4 D / Q from start to start (from memory)")
def test_run_and_starts_of_a_tank_are_those_of_a_lift_station():
    """D = 15, Q = 10 a minute: a run of 90 s, at most 10 starts an hour, 4 D / Q apart (the usual result, memory)."""
    drawn_L = 15 * GAL
    volume_L = drawn_L / 0.295296
    assert then("run_s", TankChange("t", volume_L)) == pytest.approx(90, rel=1e-3)
    assert then("in_an_hour", TankChange("t", volume_L)) == pytest.approx(10, rel=1e-3)


@pytest.mark.worked("gallons a day over Pelikan's gallons a start (by hand)")
def test_starts_a_day_of_a_use():
    """500 gal a day from a tank of 25.1 gal: at most 20 starts (division by hand)."""
    assert then("a_day", UseChange("u", water_L=500 * GAL)) == pytest.approx(500 / 25.1, rel=0.002)


@pytest.mark.worked("LBNL Home Energy Saver, eq. 26: 65,992 gal a year for three people (read)")
def test_starts_a_day_of_a_household():
    """181 gal a day from a tank of 25.1 gal: at most 7.2 starts."""
    a_day = 37.2 * 3 + 69.2
    assert a_day == pytest.approx(65_992 / 365, rel=0.001)
    assert then("a_day", UseChange("u", water_L=a_day * GAL)) == pytest.approx(181 / 25.1, rel=0.005)


# Most starts in 24 h of single-phase motors, and the run that carries a start's heat off.
@pytest.mark.parametrize(("hp", "starts_a_day"), [(0.5, 300), (0.75, 300), (1.0, 100), (1.5, 100), (5.0, 100)])
@pytest.mark.worked("Franklin Electric, submersible motors: Application, Installation, Maintenance, table 3 (read)")
def test_a_tank_is_held_against_the_motor_manual(hp, starts_a_day):
    site = a_site()
    load = {**site.loads[0].model_dump(exclude_none=True, exclude_unset=True), "hp": hp}
    changes = (TankChange("t", 44 * GAL), UseChange("u", water_L=500.0))
    result = what_if(a_site(loads=[load]), "pump", changes, hours=1.0)
    assert result.figure("a_day").limit.value == starts_a_day
    shortest = result.figure("run_s").limit
    assert (shortest.value, shortest.at_most) == (60, False)


@pytest.mark.worked("'simplified IEEE method' of battery sizing, a trade page (read)")
def test_bank_by_a_simplified_worksheet():
    """After IEEE 1013: 1,000 Wh x 2.5 d / 0.5 x 1.30 at 40 F, 12 V: 6,500 Wh, 541.67 Ah."""
    bank = {"chemistry": "flooded_lead_acid", "nominal_V": 12.0, "capacity_Ah": 100.0, "usable_depth_pct": 50.0,
            "temperature_degF": 40.0}  # fmt: skip
    # A load of 1,000 Wh a day: 1,000 W for 1/24 of it, on the bank itself.
    loads = [{"name": "heater", "kind": "heater", "power_W": 1000.0, "duty_pct": 100 / 24}]
    site = Site.model_validate({"name": "shed", "bank": bank, "loads": loads})
    result = what_if(site, "heater", (BankFor("b", 2.5),), hours=1.0)
    assert result.sizes == ("For 2.5 days without sun the bank is to hold 542 Ah or more, for this load alone.",)


@pytest.mark.worked("design of a small off-grid power system, 750 Wh, 62.5 Ah (read)")
def test_bank_of_a_small_lithium_system():
    """A published design: 300 Wh x 2 d / 0.8 at 12 V is 750 Wh, 62.5 Ah."""
    bank = {"chemistry": "lifepo4", "nominal_V": 12.0, "capacity_Ah": 100.0, "usable_depth_pct": 80.0}
    loads = [{"name": "radio", "kind": "electronics", "power_W": 12.5}]
    site = Site.model_validate({"name": "shed", "bank": bank, "loads": loads})
    result = what_if(site, "radio", (UseChange("u", run_s=86400.0), BankFor("b", 2.0)), hours=1.0)
    assert result.sizes == ("For 2 days without sun the bank is to hold 62.5 Ah or more, for this load alone.",)


@pytest.mark.worked("IEEE 1013-2000, 3.1: the definition (read)", "its value (by hand)")
def test_array_to_load_by_the_standard():
    """IEEE 1013-2000, 3.1: average kWh/m2 a day x amps at peak / daily Ah: 5 h x 50 A / 100 Ah = 2.5."""
    # 100 Ah a day: 24 V x 0.95 under load x 100 Ah = 2,280 Wh, on the bank itself, in 2.28 h of 1,000 W.
    bank = {"chemistry": "flooded_lead_acid", "nominal_V": 24.0, "capacity_Ah": 400.0, "charging_V": 28.0}
    site = Site.model_validate(
        {"name": "shed", "bank": bank, "loads": [{"name": "h", "power_W": 1000.0, "duty_pct": 9.5}],
         "array": {"power_W": 1000.0, "sun_hours_h": 5.0, "performance_ratio": 0.7}}
    )  # fmt: skip
    assert then("array_to_load", ArrayChange("a", 2000.0), site=site, load="h") == pytest.approx(2.5)


@pytest.mark.worked("amp-hours over amps (by hand)")
def test_sun_to_pay_back_is_amps_hours_over_amps():
    """2,000 W x 0.7 / 28 V are 50 A: 50 Ah need an hour of full sun (division by hand)."""
    result = what_if(a_site(), "pump", (ArrayChange("a", 2000.0),), hours=1.0)
    assert result.figure("sun_h").after.value == pytest.approx(result.figure("charge_Ah").after.value / 50)


@pytest.mark.worked("amp-hours over amps (by hand)")
def test_twice_the_bank_lasts_twice_as_long_by_counting():
    """Charge over amps: 400 Ah x 80 % at 850 W / 0.85 / 25.6 V = 39.06 A last 8.19 h, and 800 Ah 16.4 h (by hand)."""
    result = what_if(a_site(), "pump", (BankChange("b", capacity_Ah=800.0),), hours=1.0)
    left = result.before.bank.runtime
    assert isinstance(left, Runtime)
    assert result.figure("lasts_h").before.value == pytest.approx(320 / (1000 / 25.6))
    assert result.figure("lasts_h").after.value == pytest.approx(640 / (1000 / 25.6))


@pytest.mark.worked("resistors beside one another, Ohm (from memory)")
def test_two_strings_have_half_the_resistance():
    """Resistors beside one another (Ohm): the sag of a start halves, to the second order of the amps it takes."""
    site = a_site()
    bank = {**site.bank.model_dump(exclude_none=True, exclude_unset=True), "strings": 1}
    result = what_if(a_site(bank=bank), "pump", (BankChange("b", strings=2),), hours=1.0)
    row = result.figure("lowest_V")
    sags = [24.0 - each.value for each in (row.before, row.after)]
    # V^2 - E V + R P = 0: with half the R the sag is a little less than half.
    assert 0.42 < sags[1] / sags[0] < 0.5


@pytest.mark.worked("Wiles, Suggested Practices, Sandia/NMSU (read)", "NEC table 310.16 and 240.6(A) (from memory)")
def test_amps_of_an_inverter_at_its_lowest_voltage():
    """Wiles, Sandia/NMSU: 2,500 W / 22 V / 0.85 = 134 A; x 1.25 = 167 A. The cable that bears it is 2/0 (175 A)."""
    result = what_if(
        a_site(), "pump",
        (InverterChange("i", continuous_W=2500.0, surge_W=10_000.0, surge_s=5.0), CableChange("cable")), hours=1.0,
    )  # fmt: skip
    (check,) = result.after.conductors
    assert check.wanted_A == pytest.approx(1.25 * 134, rel=0.003)
    assert "2/0 AWG with a 175 A fuse" in result.sizes[0]


@pytest.mark.worked("an inverter's wiring manual: 214 A where a naive sum has 166 (read)")
def test_amps_of_a_large_inverter_on_24_volts():
    """4,000 W at 22 V and 85 %: 214 A, and not 4,000 / 24."""
    changed = InverterChange("i", continuous_W=4000.0, surge_W=8000.0, surge_s=5.0)
    (check,) = what_if(a_site(), "pump", (changed,), hours=1.0).after.conductors
    assert check.wanted_A / 1.25 == pytest.approx(214, abs=0.5)


@pytest.mark.worked("a battery FAQ on the sizing of backup power: 10 A, 24 h, half the time: 120 Ah at 120 V (read)")
def test_a_pump_that_runs_half_the_day():
    """1,200 W for 12 h are 14.4 kWh, and at 24 V x 0.95 with nothing lost 632 Ah."""
    bank = {"chemistry": "flooded_lead_acid", "nominal_V": 24.0, "capacity_Ah": 2000.0}
    loads = [{"name": "pump", "kind": "heater", "power_W": 1200.0, "duty_pct": 10.0}]
    site = Site.model_validate({"name": "shed", "bank": bank, "loads": loads})
    use = UseChange("u", run_s=12 * 3600.0)
    assert then("energy_Wh", use, site=site, hours=24.0) == pytest.approx(120 * 120)
    assert then("charge_Ah", use, site=site, hours=24.0) == pytest.approx(14_400 / 22.8)


@pytest.mark.worked("an NEC voltage-drop quiz, 2 K I L / CM (read)")
def test_drop_of_a_published_quiz():
    """Voltage drop 2 K I L / CM: 12 AWG, 20 A, 100 ft, K 12.9: 7.9 V, 6.6 % of 120 V (an NEC quiz; table 8 is near)."""
    site = Site.model_validate(
        {"name": "shed", "bank": {"nominal_V": 120.0, "capacity_Ah": 100.0},
         "loads": [{"name": "h", "kind": "heater", "current_A": 20.0}],
         "conductors": [{"name": "c", "gauge_AWG": "6", "length_ft": 100.0, "carries": ["h"]}]}
    )  # fmt: skip
    assert then("drop_pct", CableChange("c", gauge_AWG="12"), site=site, load="h") == pytest.approx(6.6, rel=0.01)


@pytest.mark.worked("Pouillet's law (from memory)")
def test_twice_the_copper_loses_half():
    """Pouillet's law: resistance is length over area."""
    site = a_site()
    # No sizes of the table, which knows how much thinner than its name a cable may be drawn.
    cable = {"name": "main", "area_mm2": 30.0, "length_m": 3.0, "carries": ["inv"]}
    result = what_if(a_site(conductors=[cable]), "pump", (CableChange("c", area_mm2=60.0),), hours=1.0)
    row = result.figure("drop_pct")
    assert row.after.value == pytest.approx(row.before.value / 2)
    assert site.conductors[0].gauge_AWG == "2"  # the site that was asked about stays what it is


@pytest.mark.worked("NEC table 430.7(B), code K (read)")
def test_locked_rotor_against_another_inverter():
    """NEC table 430.7(B): code K is 8.00 to 8.99 kVA a hp: half a hp asks 4,495 VA at most, of 5,000 VA 89.9 %."""
    changed = InverterChange("i", continuous_VA=2500.0, surge_VA=5000.0, surge_s=5.0)
    row = what_if(a_site(), "pump", (changed,), hours=1.0).figure("start_share_pct")
    assert row.after.high == pytest.approx(89.9, abs=0.1)
    assert row.after.high / row.before.high == pytest.approx(6000 / 5000)


@pytest.mark.worked("volt-amperes are watts over power factor (by hand)")
def test_running_against_another_inverter():
    """Apparent power is watts over power factor: 850 W / 0.8 = 1,062.5 VA, of 2,125 VA a half (by hand)."""
    changed = InverterChange("i", continuous_VA=2125.0, surge_VA=6000.0, surge_s=5.0)
    assert then("running_share_pct", changed) == pytest.approx(50)


@pytest.mark.worked("watt-hours over volts (by hand)")
def test_minutes_a_day_are_amp_hours_a_day():
    """90 min of 850 W through 85 % at 25.6 V are 58.6 Ah a day (by hand)."""
    assert then("charge_Ah", UseChange("u", run_s=5400.0), hours=24.0) == pytest.approx(1.5 * 1000 / 25.6)


def test_a_change_that_changes_nothing_leaves_all_figures():
    site = a_site()
    result = what_if(site, "pump", (TankChange("t", 85 * GAL), BankChange("b", capacity_Ah=400.0)), hours=1.0)
    assert [row.code for row in result.figures if row.differs] == []
    assert all(row.difference is None or row.difference.value == pytest.approx(0, abs=1e-9) for row in result.figures)
    assert result.not_judged == ()
    assert inf not in [row.after.value for row in result.figures if row.after]
