"""Internal resistance from sags, and the sag at the next start."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.bank.resistance import Resistance, resistance, resistance_of_cycles, stated_resistance
from shuntbook.analysis.bank.sag import Sag, loaded_V, sag
from shuntbook.analysis.cycles.cycle import Cycle
from shuntbook.analysis.equipment.bank_voltage import VoltageFloor
from shuntbook.analysis.not_known import Missing, Refusal
from shuntbook.analysis.site.tables import Bank
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.analysis.sureness.meter_figures import Accuracy


def found(got):
    """The result, which must be one."""
    assert isinstance(got, Resistance), got
    return got


@given(st.floats(0.001, 0.1), st.lists(st.floats(1, 300), min_size=6, max_size=40))
def test_without_noise_the_resistance_is_exact(ohm, amps):
    """Ohm's law at every step: the estimate and both ends of its interval."""
    got = found(resistance(np.array(amps), ohm * np.array(amps))).mohm
    assert (got.value, got.low, got.high) == pytest.approx((1000 * ohm,) * 3)


def test_a_quarter_of_wild_steps_does_not_move_it():
    """The breakdown point of the estimate is 29 % (Hodges and Lehmann 1963); a mean would be three times too high."""
    amps = np.full(40, 50.0)
    volts = 0.01 * amps + np.linspace(-0.01, 0.01, 40)
    volts[:10] += 5.0
    got = found(resistance(amps, volts)).mohm
    assert got.value == pytest.approx(10.0, abs=0.2)
    assert 1000 * np.mean(volts / amps) > 30


def test_what_is_no_rise_of_the_draw_is_left_out():
    """Of eleven steps one fell, one stood, and one has no volts: eight are left, each of 10 mohm."""
    amps, volts = np.full(11, 50.0), np.full(11, 0.5)
    amps[:2], volts[2] = (-50.0, 0.0), np.nan
    got = found(resistance(amps, volts))
    assert got.steps == 8
    assert got.mohm == Within(*map(pytest.approx, (10.0, 10.0, 10.0)))


def test_the_signed_rank_interval_is_the_tabulated_one():
    """For ten values the two-sided 95 % interval leaves out 8 of the 55 pair means (Wilcoxon's table: 8 at n = 10)."""
    ratios = np.array([1.0, 2, 4, 8, 16, 32, 64, 128, 256, 512])
    means = np.sort([(a + b) / 2 for k, a in enumerate(ratios) for b in ratios[k:]])
    got = found(resistance(np.ones(10), ratios)).mohm
    assert (got.low, got.high) == pytest.approx((1000 * means[8], 1000 * means[-9]))


def test_the_meters_factors_widen_the_interval():
    """1 % of amps that are wrong by one factor all day do not average out: 0.95 % of the result either way."""
    amps = np.full(50, 60.0)
    for current in (
        Accuracy(1.0, 0.0),
        Accuracy(0.4, 0.0, class_pct=0.6),
    ):  # of the reading, and of its class: they add
        got = found(resistance(amps, 0.01 * amps, current=current, voltage=Accuracy(0.0, 0.0))).mohm
        assert (got.low, got.high) == pytest.approx((9.905, 10.095), abs=5e-4)


def test_too_few_steps_or_no_sag_give_none():
    """Five steps cannot make a 95 % interval by ranks (2/32 > 5 %); a voltage that rises is no resistance."""
    five = resistance(np.full(5, 50.0), np.full(5, 0.5))
    rising, still = (resistance(np.full(9, 50.0), np.full(9, fall_V)) for fall_V in (-0.5, 0.0))
    assert isinstance(five, Missing)
    assert isinstance(still, Missing)
    assert "there are 5" in five.sentence
    assert isinstance(rising, Missing)
    assert five.add == rising.add == ("bank.resistance_mohm",)


def test_a_stated_resistance_is_taken_with_a_margin():
    """A quarter either way (common practice, no source); without it the key is named."""
    size = {"nominal_V": 24.0, "capacity_Ah": 420.0}
    got = found(stated_resistance(Bank(**size, resistance_mohm=16.0)))
    assert (got.mohm.low, got.mohm.high, got.steps) == (12.0, 20.0, 0)
    missing = stated_resistance(Bank(**size))
    assert isinstance(missing, Missing)
    assert missing.add == ("bank.resistance_mohm",)


def a_cycle(**more):
    """A run of the pump: 26 A, started with 80 A, the voltage 0.8 V lower."""
    figures = {
        "load": None, "start_us": 0, "stop_us": 1, "run_s": 60.0, "off_before_s": 60.0, "surge_A": 80.0,
        "surge_ratio": 3.0, "surge_resolved": True, "run_A": 26.0, "peak_W": 1.0, "run_W": 1.0, "charge_Ah": 1.0,
        "energy_Wh": 1.0, "sag_V": 0.8, "complete": True,
    }  # fmt: skip
    return Cycle(**{**figures, **more})


def test_cycles_give_their_highest_reading():
    """0.8 V at a surge of 80 A is 10 mohm; so is what readings too far apart caught of each, 0.26 V at 26 A."""
    assert found(resistance_of_cycles([a_cycle()] * 8)).mohm.value == pytest.approx(10.0)
    slow = [a_cycle(surge_resolved=False, surge_A=26.0, sag_V=0.26)] * 4
    assert found(resistance_of_cycles([*slow, *[a_cycle(surge_resolved=False)] * 4])).mohm.value == pytest.approx(10.0)


def test_cycles_that_the_array_shared_or_without_volts_are_left_out():
    """Eight good ones of eleven."""
    others = [a_cycle(array_may_share=True), a_cycle(sag_V=None), a_cycle(surge_A=None)]
    assert found(resistance_of_cycles([*others, *[a_cycle()] * 8])).steps == 8
    assert isinstance(resistance_of_cycles([]), Missing)


@given(st.floats(20, 30), st.floats(0.001, 0.03), st.floats(0, 3000))
def test_a_loaded_bank_gives_the_power_at_its_terminals(source_V, ohm, power_W):
    """V x (E - V) / R is the power asked for, and V is above half of E; beyond E^2 / 4R there is no answer."""
    volts = loaded_V(source_V, ohm, power_W)
    if volts is None:
        assert power_W > source_V**2 / (4 * ohm)
        return
    assert volts >= source_V / 2
    assert volts * (source_V - volts) / ohm == pytest.approx(power_W, abs=1e-6)


def test_short_circuit_is_the_limit():
    """12.7 V through 5 mohm can give at most 12.7^2 / 0.02 = 8.06 kW (arithmetic; its short circuit is 2,540 A)."""
    assert loaded_V(12.7, 0.005, 8064) == pytest.approx(6.35, abs=0.05)
    assert loaded_V(12.7, 0.005, 8066) is None
    assert loaded_V(24.0, 0.25, 576.0) == 12.0  # the most it can give, at half of its voltage


FLOOR = VoltageFloor(21.0, "the inverter switches off")


@pytest.mark.parametrize(("cut_off_V", "verdict"), [(21.0, "holds"), (22.6, "doubtful"), (23.5, "fails")])
def test_the_sag_is_judged_over_its_whole_interval(cut_off_V, verdict):
    """24.5 V less 150 A x 8 to 16 mohm is 22.1 to 23.3 V."""
    got = sag(
        24.5, Within(12, 8, 16), VoltageFloor(cut_off_V, "the inverter switches off"), extra_A=Within(150, 150, 150)
    )
    assert isinstance(got, Sag)
    assert (got.lowest_V.low, got.lowest_V.high) == pytest.approx((22.1, 23.3))
    assert got.verdict == verdict


def test_a_start_in_watts_takes_more_amps_as_the_voltage_falls():
    """3,600 W from 24 V through 12 mohm: 21.995 V, lower than 24 V less 150 A x 12 mohm = 22.2 V."""
    got = sag(24.0, Within(12, 12, 12), FLOOR, extra_W=Within(3600, 3600, 3600))
    assert isinstance(got, Sag)
    assert got.lowest_V.value == pytest.approx((24 + (576 - 4 * 0.012 * 3600) ** 0.5) / 2)
    assert got.lowest_V.value < 22.2


def test_a_bank_that_cannot_start_it_has_no_voltage():
    """24 V less 3,000 A x 12 mohm is below 0 V; 24^2 / 0.048 = 12 kW is the most that 12 mohm let through."""
    for start in ({"extra_A": Within(3000, 3000, 3000)}, {"extra_W": Within(11000, 9000, 12001)}):
        got = sag(24.0, Within(12, 12, 12), FLOOR, **start)
        assert isinstance(got, Missing)
        assert "12,000 W at most" in got.sentence


def test_sag_without_a_cut_off_or_a_start():
    """What is missing of the cut-off is passed on; nothing to start is a mistake of the caller's figures."""
    none = Missing("word on the sag at start", ("inverters.cut_off_V",))
    assert sag(24.0, Within(12, 12, 12), none, extra_A=Within(1, 1, 1)) is none
    with pytest.raises(Refusal, match="amps or watts"):
        sag(24.0, Within(12, 12, 12), FLOOR)
    with pytest.raises(Refusal, match="above 0 V"):
        sag(0.0, Within(12, 12, 12), FLOOR, extra_A=Within(1, 1, 1))
    low = sag(0.5, Within(12, 12, 12), FLOOR, extra_A=Within(1, 1, 1))
    assert isinstance(low, Sag)
    assert low.lowest_V.value == pytest.approx(0.488)
