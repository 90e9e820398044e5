"""A measured load after a change, and the water its tank gives then: by closed forms, on one simulated log each."""

from dataclasses import replace
from functools import lru_cache
from math import inf, sqrt

import numpy as np
import pytest
from what_if_truth import PUMP, System, read

from shuntbook.analysis.bank.resistance import Resistance
from shuntbook.analysis.bank.seen_starts import SeenStarts
from shuntbook.analysis.equipment.bank_voltage import usual_loaded_V
from shuntbook.analysis.equipment.water import tank_plan
from shuntbook.analysis.forecast.stretches import Stretches
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.tables import Array, Conductor
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.analysis.what_if.cables import CableChange
from shuntbook.analysis.what_if.changes import (
    ArrayChange,
    BankChange,
    PrechargeChange,
    PressureChange,
    Setup,
    TankChange,
)
from shuntbook.analysis.what_if.load_after import Factors, factors, load_after
from shuntbook.analysis.what_if.replay import replayed
from shuntbook.analysis.what_if.tank_runs import FLOW_OFF, PRESSURES_OFF, VOLUME_OFF, TankRuns, tank_runs
from shuntbook.analysis.what_if.what_if import what_if

PSI = 6.894757293168


@lru_cache
def a_log(air_share=1.0, **more):
    """Return a site, and how its pump behaves in a log of a day; its bank and starts as if they had been seen."""
    scene, seen = read(System(120.0, air_share, 40.0, 60.0, **more), 7)
    ohms = Resistance(Within(10.0, 8.0, 12.0), 9, ())
    starts = SeenStarts(Within(22.0, 21.0, 22.5), 9, True, ())
    return scene.site, replace(seen, resistance=ohms, starts=starts, before_V=24.0, start_Wh=Within(2.0, 1.0, 3.0))


def after(**by):
    return a_log()[1], load_after(a_log()[1], Factors(**by))


def test_longer_runs_are_fewer_of_the_same_water():
    was, will = after(length=2.0)
    assert will.starts_per_h.value == pytest.approx(was.starts_per_h.value / 2)
    assert will.duty == was.duty
    assert will.runs.run_h == pytest.approx(2 * was.runs.run_h)
    # As many starts' energy as before in runs of twice the length, and half as many of them.
    assert will.runs.energy_Wh == pytest.approx(was.runs.run_W * 2 * was.runs.run_h + was.runs.start_Wh)
    assert will.runs.charge_Ah / was.runs.charge_Ah == pytest.approx(will.runs.energy_Wh / was.runs.energy_Wh)
    saved_Wh = was.amount(24.0, "Wh").value - will.amount(24.0, "Wh").value
    each_Wh = was.runs.start_Wh / was.runs.runs
    assert saved_Wh == pytest.approx(each_Wh * 24 * was.starts_per_h.value / 2, abs=1e-6)
    assert will.scatter_Wh == pytest.approx(sqrt(2) * was.scatter_Wh)
    assert will.scatter_Ah == pytest.approx(sqrt(2) * was.scatter_Ah)
    lengths, before = np.diff(will.stretches_Wh.edges_h), np.diff(was.stretches_Wh.edges_h)
    assert lengths[1::2] == pytest.approx(2 * before[1::2])
    assert lengths.sum() == pytest.approx(2 * before.sum())
    assert will.starts == was.starts
    assert will.resistance == was.resistance


def test_more_use_is_more_runs_of_the_same_length():
    was, will = after(use=1.5)
    assert will.starts_per_h.value == pytest.approx(1.5 * was.starts_per_h.value)
    assert will.duty.value == pytest.approx(1.5 * was.duty.value)
    assert will.runs == was.runs
    assert will.amount(24.0, "Ah").value == pytest.approx(1.5 * was.amount(24.0, "Ah").value)
    assert np.diff(will.stretches_Wh.edges_h).sum() == pytest.approx(np.diff(was.stretches_Wh.edges_h).sum() / 1.5)
    assert will.stretches_Wh.taken == pytest.approx(was.stretches_Wh.taken)


def test_another_inverter_changes_every_draw_alike():
    was, will = after(draw=1.1)
    for name in ("run_W", "run_A", "start_A"):
        for end in ("value", "low", "high"):
            assert getattr(getattr(will, name), end) == pytest.approx(1.1 * getattr(getattr(was, name), end)), name
    assert will.digit_W == pytest.approx(1.1 * was.digit_W)
    assert will.digit_A == pytest.approx(1.1 * was.digit_A)
    assert will.peak_W == pytest.approx(1.1 * was.peak_W)
    assert will.runs.energy_Wh == pytest.approx(1.1 * was.runs.energy_Wh)


def test_a_change_that_leaves_watts_and_ohms_leaves_the_starts_as_they_were_seen():
    """Also where nobody saw the volts before a start, without which another sag is not known."""
    seen = replace(a_log()[1], before_V=None)
    assert load_after(seen, Factors(length=2.0, use=0.5)).starts == seen.starts
    for by in (Factors(ohms=2.0), Factors(draw=2.0), Factors(start=Within.exactly(0.5))):
        assert isinstance(load_after(seen, by).starts, Missing)


def fallen(dip, times):
    """Where a start takes 24 V with so many times the ohms or watts: V^2 - E V + R P = 0, R P being dip x (E - dip)."""
    return (24 + sqrt(24**2 - 4 * times * dip * (24 - dip))) / 2


def test_fewer_cells_give_way_by_more_than_their_resistance():
    """Watts stay as volts fall: twice the ohms make more than twice the dip; where nothing gives them, it is said."""
    was, will = after(ohms=2.0)
    lowest = will.starts.lowest_V
    assert lowest.value == pytest.approx(fallen(2.0, 2.0))
    assert lowest.value < 24 - 2 * 2.0
    assert lowest.low == pytest.approx(fallen(3.0, 2.0))
    # At 2.5 times the dip of 3 V there is no such voltage any more: half of 24 V is the least that gives power.
    assert after(ohms=2.5)[1].starts.lowest_V.low == 12.0
    gone = after(ohms=4.0)[1].starts
    assert isinstance(gone, Missing)
    assert "would not give through its resistance" in gone.sentence
    assert was.starts.lowest_V.value == 22.0


def test_twice_the_watts_dip_as_deep_as_twice_the_ohms():
    """V^2 - E V + R P = 0 has both in one product."""
    lowest = after(draw=2.0)[1].starts.lowest_V
    assert [lowest.value, lowest.low, lowest.high] == pytest.approx([fallen(dip, 2.0) for dip in (2.0, 3.0, 1.5)])


def test_cells_of_another_kind_change_a_meters_amps_at_the_bank_alone():
    """The watts are the same; behind the inverter the volts are."""
    site, seen = a_log()
    load = site.load(PUMP)
    lithium = BankChange("b", chemistry="lifepo4").made_in(Setup(site, load)).site
    volts = [usual_loaded_V(each.bank)[0] for each in (site, lithium)]
    assert factors(site, lithium, load, seen, Missing("runs"), 1.0).amps == pytest.approx(volts[0] / volts[1]) != 1.0
    assert factors(site, lithium, load, replace(seen, side="ac"), Missing("runs"), 1.0).amps == 1.0


def test_another_start_asks_less_and_dips_less():
    was, will = after(start=Within(0.5, 0.4, 0.6))
    assert will.start_A == Within(0.5 * was.start_A.value, 0.4 * was.start_A.low, 0.6 * was.start_A.high)
    assert will.start_Wh == Within(1.0, 0.5, 1.5)
    assert will.runs.energy_Wh == pytest.approx(was.runs.run_W * was.runs.run_h + 0.5 * was.runs.start_Wh)
    # Dips of 2, 3 and 1.5 V: the deepest with the hardest start, the least with the gentlest.
    lowest = will.starts.lowest_V
    assert [lowest.value, lowest.low, lowest.high] == pytest.approx([23.0, 24 - 0.6 * 3.0, 24 - 0.4 * 1.5])
    assert load_after(replace(was, start_Wh=Within(2.0, -inf, inf)), Factors(start=Within.exactly(0.5))).start_Wh == (
        Within(1.0, -inf, inf)
    )


def test_more_cells_have_less_resistance():
    was, will = after(ohms=0.5)
    assert will.resistance.mohm == Within(5.0, 4.0, 6.0)
    lowest = will.starts.lowest_V
    assert [lowest.value, lowest.low, lowest.high] == pytest.approx([fallen(dip, 0.5) for dip in (2.0, 3.0, 1.5)])
    assert will.runs == was.runs
    of_another_kind = load_after(was, Factors(ohms=None))
    assert isinstance(of_another_kind.resistance, Missing)
    assert isinstance(of_another_kind.starts, Missing)


def test_what_changes_is_read_from_both_sites():
    site, seen = a_log()
    setup = Setup(site, site.load(PUMP))
    twice = BankChange("b", capacity_Ah=800.0).made_in(setup).site
    assert factors(site, twice, setup.load, seen, Missing("runs"), 1.0) == Factors(ohms=0.5)
    gel = BankChange("b", chemistry="gel").made_in(setup).site
    assert factors(site, gel, setup.load, seen, Missing("runs"), 2.0) == Factors(ohms=None, use=2.0)
    tank = TankChange("t", 240.0).made_in(setup).site
    runs = tank_runs(site, tank, seen, 1.0)
    length = factors(site, tank, setup.load, seen, runs, 1.0).length
    assert length == pytest.approx(runs.before.a_day.value / runs.after.a_day.value)
    assert 1.5 < length < 2.3


def runs_after(*changes, air_share=1.0, without=()):
    """Return how a pump runs after changes, by its log; keys of its water can be taken out of the file."""
    site, seen = a_log(air_share)
    if without:
        site = site.model_copy(update={"water": site.water.model_copy(update=dict.fromkeys(without))})
    setup = Setup(site, site.load(PUMP))
    for change in changes:
        setup = change.made_in(setup)
    return site, tank_runs(site, setup.site, seen, None)


def off(runs):
    return (runs.times.high - runs.times.low) / 2 / runs.times.value


def test_a_tank_counts_by_its_volume_alone_where_its_switch_is_not_known():
    """At the same pressures twice the tank gives twice the water, whichever they are; at others nobody can say."""
    keys = [f"{key}_{unit}" for key in ("cut_in", "cut_out", "precharge") for unit in ("kPa", "psi")]
    _, runs = runs_after(TankChange("t", 240.0), without=keys)
    assert runs.times.value == pytest.approx(2.0)
    _, runs = runs_after(PressureChange("p", 200.0, 300.0), without=keys)
    assert isinstance(runs, Missing)
    assert "water.cut_in_kPa" in runs.add


def test_a_tank_in_order_counts_by_the_share_of_the_two():
    _, runs = runs_after(TankChange("t", 240.0))
    assert runs.times.value == pytest.approx(2.0)
    assert off(runs) == pytest.approx(VOLUME_OFF)
    assert not any("By the log the tank gives" in text for text in runs.assumptions)


def test_other_pressures_are_less_sure():
    site, runs = runs_after(PressureChange("p", 30 * PSI, 50 * PSI), PrechargeChange("a", 28 * PSI))
    changed = site.water.model_copy(update={"cut_in_psi": 30.0, "cut_out_psi": 50.0, "precharge_psi": 28.0})
    assert runs.times.value == pytest.approx(tank_plan(changed).drawdown_L / tank_plan(site.water).drawdown_L)
    assert off(runs) == pytest.approx(PRESSURES_OFF)


def test_a_tank_that_lost_its_air_is_known_by_the_flow():
    site, runs = runs_after(PrechargeChange("a", 38 * PSI), air_share=0.25)
    # The file says that its air is right already, so the change is none; another tank is as it is written.
    assert runs.times == Within.exactly(1.0)
    site, runs = runs_after(TankChange("t", 121.0), air_share=0.25)
    assert runs.times.value == pytest.approx(121 / 120 * tank_plan(site.water).drawdown_L / runs.before_L)
    assert 3 < runs.times.value < 5
    assert off(runs) == pytest.approx(FLOW_OFF)
    assert any("the tank gives" in text and "of what it should" in text for text in runs.assumptions)


def in_doubt(*changes, without=(), mends=False):
    """Return how a pump runs after changes by its log, which puts its tank's air in doubt; and the site of before."""
    site, seen = a_log(0.25)
    if without:
        site = site.model_copy(update={"water": site.water.model_copy(update=dict.fromkeys(without))})
    setup = Setup(site, site.load(PUMP))
    for change in changes:
        setup = change.made_in(setup)
    return site, tank_runs(site, setup.site, replace(seen, air_doubt="short runs"), None, mends=mends)


def test_air_that_is_set_right_is_reckoned_from_what_the_log_says_of_the_tank():
    """A quarter of its air: the file's own pre-charge is no change of the file, and a great one of the tank."""
    site, runs = in_doubt(PrechargeChange("a", 38 * PSI), mends=True)
    assert runs.times.value == pytest.approx(tank_plan(site.water).drawdown_L / runs.before_L)
    assert 3 < runs.times.value < 5
    assert off(runs) == pytest.approx(FLOW_OFF)
    assert runs.after.run_s.value > 2 * runs.before.run_s.value
    assert any("the tank gives" in text and "of what it should" in text for text in runs.assumptions)


@pytest.mark.parametrize("change", [PrechargeChange("a", 38 * PSI), TankChange("t", 300.0)])
def test_without_the_flow_nobody_knows_what_a_tank_in_doubt_gives_now(change):
    """Neither its air set right nor another tank can be told then, and what would tell it is said."""
    _, runs = in_doubt(change, without=("flow_L_per_min",), mends=True)
    assert isinstance(runs, Missing)
    assert "the tank's air is in doubt" in runs.sentence
    assert runs.add == ("water.flow_L_per_min", "water.flow_gal_per_min")


def test_other_pressures_make_of_little_air_what_they_make_of_any():
    """Boyle: the water is the air's amount times 1 / p1 - 1 / p2, absolute; the pre-charge of the file says nothing."""
    _, runs = in_doubt(PressureChange("p", 30 * PSI, 50 * PSI), without=("flow_L_per_min",))
    low, high, was_low, was_high = (p * PSI + 101.325 for p in (30, 50, 40, 60))
    assert runs.times.value == pytest.approx((1 / low - 1 / high) / (1 / was_low - 1 / was_high))
    assert runs.times.value > 1
    assert in_doubt(without=("flow_L_per_min",))[1].times == Within.exactly(1.0)
    # With its flow known, so is what it gives, now and then.
    _, known = in_doubt(PressureChange("p", 30 * PSI, 50 * PSI))
    assert known.after_L == pytest.approx(known.before_L * runs.times.value)


@pytest.mark.parametrize(
    ("start", "stop", "told"),
    [
        (50, 70, "against 10 psi more on the mean it may give up to 15 % less"),
        (30, 50, "against 10 psi less on the mean it may give up to 15 % more"),
        (80, 100, "against 40 psi more on the mean it may give up to 60 % less"),
    ],
)
def test_how_much_less_a_pump_gives_at_other_pressures_is_told(start, stop, told):
    """1.5 % for each psi between the means of cut-in and cut-out, 50 psi now."""
    _, runs = runs_after(PressureChange("p", start * PSI, stop * PSI), PrechargeChange("a", (start - 2) * PSI))
    assert any(told in text for text in runs.assumptions)
    assert runs.less_flow == pytest.approx(0.015 * ((start + stop) / 2 - 50))


def test_one_start_more_or_less_falls_into_the_busiest_hour():
    """Beyond what the two ends of the tank make of it."""
    _, runs = runs_after(TankChange("t", 240.0))
    edges_s = 3600 * a_log()[1].stretches_Wh.edges_h
    off_s, run_s = np.diff(edges_s)[::2], np.diff(edges_s)[1::2]

    def busiest(times):
        starts_s = replayed(off_s, run_s, times).starts_s
        return max(int(((starts_s >= at) & (starts_s < at + 3600)).sum()) for at in starts_s)

    usual, few, many = (busiest(x) for x in (runs.times.value, runs.times.high, runs.times.low))
    assert runs.after.in_an_hour == Within(usual, min(few, usual) - 1, max(many, usual) + 1)


def test_what_a_tank_in_doubt_gives_after_it_is_by_the_log_until_its_air_is_set_right():
    """With little air it goes on giving less than the file says; with its air right what the file says."""
    _, little = in_doubt(PressureChange("p", 30 * PSI, 50 * PSI))
    assert little.after_L == pytest.approx(little.before_L * little.times.value)
    site, right = in_doubt(PrechargeChange("a", 38 * PSI), mends=True)
    assert right.after_L == tank_plan(site.water).drawdown_L
    assert right.after_L > 2 * little.after_L


def two_kinds_of_runs():
    """Return a site of unknown flow and its log, as if half of its runs had lasted 10 s and half 1,000 s."""
    site, seen = a_log()
    site = site.model_copy(update={"water": site.water.model_copy(update={"flow_L_per_min": None})})
    lengths_h = np.column_stack([np.full(40, 20_000.0), np.repeat([10.0, 1000.0], 20)]).ravel() / 3600
    runs = Stretches(np.append(0.0, np.cumsum(lengths_h)), np.arange(81.0))
    return site, replace(seen, stretches_Wh=runs)


@pytest.mark.parametrize(("changed", "use"), [(TankChange("t", 126.0), 1.0), (None, 1.2)])
def test_no_run_is_shorter_than_nothing(changed, use):
    """However far runs scatter: the root of two times 495 or 990 s below a median of 505 or 1,000 s would be."""
    site, seen = two_kinds_of_runs()
    then = site if changed is None else changed.made_in(Setup(site, site.load(PUMP))).site
    runs = tank_runs(site, then, seen, use)
    usual = runs.before.run_s
    assert [usual.value, usual.low, usual.high] == pytest.approx([505, 10, 1000])
    assert runs.after.run_s.low == 0.0


def test_what_is_asked_of_a_tank_in_doubt_is_told_in_the_answer():
    """A sentence for each change that asks for it; a change of something else asks for none."""
    site, seen = a_log(0.25)
    site = site.model_copy(update={"water": site.water.model_copy(update={"flow_L_per_min": None})})
    seen = replace(seen, air_doubt="short runs")
    told = what_if(site, PUMP, [TankChange("t", 300.0)], hours=24.0, measured=seen)
    assert any("the tank's air is in doubt" in text for text in told.amiss)
    assert told.figure("run_s") is None
    other = what_if(site, PUMP, [BankChange("b", capacity_Ah=800.0)], hours=24.0, measured=seen)
    assert not any("air is in doubt" in text for text in other.amiss)
    assert other.figure("run_s").difference.value == 0


def test_without_flow_or_air_a_tank_is_known_by_its_size():
    _, runs = runs_after(TankChange("t", 240.0), without=("flow_L_per_min",))
    assert runs.times.value == pytest.approx(2.0)
    assert runs.before_L is None
    assert any("water.flow_L_per_min" in text for text in runs.assumptions)
    _, runs = runs_after(TankChange("t", 240.0), without=("precharge_psi",))
    assert runs.times.value == pytest.approx(2.0)
    _, runs = runs_after(PressureChange("p", 200.0, 300.0), without=("precharge_psi",))
    assert isinstance(runs, Missing)
    assert runs.add == ("water.precharge_kPa", "water.precharge_psi")


def test_air_above_cut_out_lets_no_water_in():
    _, runs = runs_after(PrechargeChange("a", 70 * PSI))
    assert isinstance(runs, Missing)
    assert "no water at all" in runs.sentence


def test_the_interval_of_a_run_holds_tank_and_scatter():
    """Both lots of runs scatter, and the tank is off: the sides of a right angle."""
    _, runs = runs_after(TankChange("t", 240.0))
    assert isinstance(runs, TankRuns)
    usual = runs.after.run_s
    assert usual.low < usual.value < usual.high
    # No nearer than what the tank's own doubt makes of it, and no further than the shortest and the longest run.
    assert usual.high - usual.value >= 0.5 * VOLUME_OFF * usual.value
    assert usual.low > 0.3 * usual.value
    assert usual.high < 3 * usual.value
    chance = runs.before.a_day.high / runs.before.a_day.value
    assert runs.after.a_day.high / runs.after.a_day.value > chance > 1


def test_what_was_assumed_is_said_where_it_matters_and_nowhere_else():
    site, seen = a_log()

    def assumed(*changes):
        return " ".join(what_if(site, PUMP, changes, hours=1.0, measured=seen).assumptions)

    assert "on the mean it may give up to" in assumed(PressureChange("p", 200.0, 300.0))
    assert "on the mean it may give up to" not in assumed(TankChange("t", 240.0))


def test_a_pwm_array_gives_amps_with_its_watts():
    array = Array(power_W=1000.0, current_A=30.0, controller="pwm", performance_ratio=0.7)
    site = a_log()[0].model_copy(update={"array": array})
    made = ArrayChange("a", 1500.0).made_in(Setup(site, site.load(PUMP)))
    assert (made.site.array.power_W, made.site.array.current_A) == (1500.0, 45.0)


def test_which_cable_is_meant_must_be_plain():
    site = a_log()[0]
    asked = CableChange("c", area_mm2=35.0)
    assert "no cable of the site file carries 'inverter'" in asked.made_in(Setup(site, site.load(PUMP))).sentence
    cables = tuple(Conductor(name=name, area_mm2=25.0, length_m=2.0, carries=("inverter",)) for name in ("a", "b"))
    twice = site.model_copy(update={"conductors": cables})
    assert "2 cables carry 'inverter'" in asked.made_in(Setup(twice, twice.load(PUMP))).sentence
    once = site.model_copy(update={"conductors": cables[:1]})
    (made,) = asked.made_in(Setup(once, once.load(PUMP))).site.conductors
    assert (made.name, made.area_mm2) == ("a", 35.0)
