"""The array: peak sun hours, losses, performance ratio, charging amps, and array against load."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.equipment.solar import (
    ArrayDay,
    Charging,
    array_day,
    array_day_Wh,
    array_to_load,
    charging_A,
    charging_V,
    compounded_loss_pct,
    performance_ratio,
)
from shuntbook.analysis.not_known import Missing, Refusal
from shuntbook.analysis.site.tables import Array, Bank

BANK = Bank(nominal_V=24.0, capacity_Ah=420.0, chemistry="flooded_lead_acid")


@pytest.mark.worked("PVEducation, average solar radiation (read)")
def test_sun_hours_are_kWh_per_square_metre():
    """8 kWh/m2 a day at 1 kW/m2 are 8 hours (PVEducation): a loss-free kilowatt gives 8 kWh."""
    assert array_day_Wh(1000.0, 8.0, 1.0) == 8000.0


def test_performance_ratio_of_a_day():
    """3.2 kWh from 1 kWp in 4 hours of full sun: 0.80 (IEC 61724-1, from memory)."""
    assert performance_ratio(3200.0, 1000.0, 4.0) == pytest.approx(0.80)
    with pytest.raises(Refusal):
        performance_ratio(3200.0, 0.0, 4.0)


def test_the_default_losses_compound_to_14_08_percent():
    """Soiling 2, shading 3, mismatch 2, wiring 2, connections 0.5, LID 1.5, nameplate 1, availability 3: NREL's
    defaults, as a published loss function lists them; 14.0757 %, not their sum of 15.0.
    """
    losses = [2, 3, 2, 2, 0.5, 1.5, 1, 3]
    assert compounded_loss_pct(losses) == pytest.approx(14.0757, abs=5e-5)
    assert sum(losses) == 15.0


@given(st.lists(st.floats(0, 99), min_size=1, max_size=8))
def test_losses_never_come_to_more_than_their_sum_or_than_all(losses):
    """Compounded, they are at least the largest, at most the sum, and under 100 %."""
    got = compounded_loss_pct(losses)
    assert max(losses) - 1e-9 <= got <= min(sum(losses), 100) + 1e-9
    assert compounded_loss_pct(losses[::-1]) == pytest.approx(got)


@pytest.mark.parametrize("losses", [[-1.0], [100.0]])
def test_impossible_losses_are_refused(losses):
    """A loss below nothing, or of everything."""
    with pytest.raises(Refusal):
        compounded_loss_pct(losses)


@pytest.mark.worked("IEEE 1013-2000, 3.1: the definition (read)", "its value (by hand)")
def test_array_to_load_of_the_standards_definition():
    """4.5 kWh/m2 a day x 10 A / 35 Ah = 1.29 (definition of IEEE 1013-2000, 3.1; arithmetic ours)."""
    assert array_to_load(4.5, 10.0, 35.0) == pytest.approx(1.29, abs=0.005)
    with pytest.raises(Refusal):
        array_to_load(4.5, 10.0, 0.0)


def test_a_day_of_the_demos_array():
    """1150 W x 4.2 h x 0.62 = 2994.6 Wh, one and a half times a use of 1996.4 Wh."""
    got = array_day(Array(power_W=1150.0, sun_hours_h=4.2, performance_ratio=0.62), daily_use_Wh=1996.4)
    assert isinstance(got, ArrayDay)
    assert (got.energy_Wh, got.to_load) == pytest.approx((2994.6, 1.5))


def test_losses_stand_in_for_a_performance_ratio():
    """85.92 % of 1000 W x 5 h, and the reader is told what is not among the losses."""
    losses = (2.0, 3.0, 2.0, 2.0, 0.5, 1.5, 1.0, 3.0)
    got = array_day(Array(power_W=1000.0, sun_hours_h=5.0, losses_pct=losses))
    assert isinstance(got, ArrayDay)
    assert got.energy_Wh == pytest.approx(5000 * (1 - 0.140757), abs=0.01)
    assert got.to_load is None
    assert any("14.08 %" in said for said in got.assumptions)


def test_amps_depend_on_the_controller():
    """An MPPT controller turns watts into amps at the charging voltage; a PWM one passes on the array's own amps."""
    charged = Bank(nominal_V=24.0, capacity_Ah=420.0, charging_V=28.0)
    mppt = charging_A(Array(power_W=1120.0, performance_ratio=0.7, controller="mppt"), charged)
    pwm = charging_A(Array(power_W=1120.0, performance_ratio=0.7, controller="pwm", current_A=30.0), charged)
    guessed = charging_A(Array(power_W=1120.0, performance_ratio=0.7, controller="pwm"), charged)
    assert isinstance(mppt, Charging)
    assert isinstance(pwm, Charging)
    assert isinstance(guessed, Charging)
    assert (mppt.current_A, pwm.current_A) == pytest.approx((28.0, 21.0))
    assert any("add array.current_A" in said for said in guessed.assumptions)


def test_charging_voltage_is_usual_for_the_chemistry():
    """Flooded lead-acid charges at 2.4 V a cell (makers' guides, from memory), unless the site file says."""
    volts, said = charging_V(BANK)
    assert volts == pytest.approx(28.8)
    assert "from memory" in said


@pytest.mark.parametrize(
    ("array", "key"),
    [
        (None, "array"),
        (Array(power_W=1150.0, sun_hours_h=4.2), "array.performance_ratio"),
        (Array(power_W=1150.0, performance_ratio=0.62), "array.sun_hours_h"),
    ],
)
def test_what_is_missing_is_named(array, key):
    """No yield without an array, its ratio and its hours of sun."""
    got = array_day(array)
    assert isinstance(got, Missing)
    assert key in got.add
