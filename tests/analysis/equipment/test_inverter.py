"""Inverters: what they take from the bank, and whether they hold the loads on them."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.equipment.conductor import rated_A
from shuntbook.analysis.equipment.demand import Demand, Power, demand, power_behind
from shuntbook.analysis.equipment.inverter_check import check_inverter, check_seen
from shuntbook.analysis.equipment.inverter_losses import LossTerms, beyond_idle_W, efficiency, given_W, losses_of
from shuntbook.analysis.equipment.judged import Condition, Judged, above, under, worst
from shuntbook.analysis.inverter_sides.loss_fit import LossFit, fit_losses
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.site.tables import Inverter, Load, LossModel
from shuntbook.analysis.stats.interval95 import Within

# A 3,000 VA inverter and a 1/2 hp pump with code letter M: the demo's, invented.
WASH_SHED = {"name": "wash shed", "continuous_VA": 3000.0, "surge_VA": 6000.0, "surge_s": 5.0}
PUMP = {"name": "pump", "kind": "pump", "inverter": "wash shed", "voltage_V": 230.0, "current_A": 5.0, "hp": 0.5,
        "code_letter": "M", "start_s": 0.5}  # fmt: skip


def site_of(*loads, inverters=(WASH_SHED,)):
    """A site with these loads and inverters."""
    bank = {"nominal_V": 24.0, "capacity_Ah": 420.0}
    return Site(name="shed", bank=bank, inverters=list(inverters), loads=list(loads))


def checked(*loads, **changes):
    """The check of the wash shed's inverter, some of its figures changed."""
    site = site_of(*loads, inverters=[{**WASH_SHED, **changes}])
    return check_inverter(site.inverters[0], site)


def without(table, *keys, **more):
    """A table with some keys left out and some changed."""
    return {key: value for key, value in {**table, **more}.items() if key not in keys}


def drawn_A(watts, efficiency_pct, lowest_V):
    """What an inverter takes from the bank at its rating and at the lowest voltage it works at."""
    inverter = {"name": "any", "continuous_W": watts, "efficiency_pct": efficiency_pct, "cut_off_V": lowest_V}
    site = site_of(inverters=[inverter])
    return rated_A(site.inverters[0], site.bank)


def test_current_of_the_published_example():
    """2500 W / 0.85 / 22 V = 133.69 A, printed 134 (J. Wiles, Sandia/NMSU, "PV Power Systems and the NEC")."""
    assert drawn_A(2500.0, 85.0, 22.0) == pytest.approx(133.6898, abs=5e-5)


def test_current_naive_and_honest():
    """4000 W at 24 V: 166.67 A if nothing is lost; 213.90 A at 22 V and 85 % (an inverter's wiring manual, p. 38)."""
    assert drawn_A(4000.0, 100.0, 24.0) == pytest.approx(166.67, abs=0.005)
    assert drawn_A(4000.0, 85.0, 22.0) == pytest.approx(213.90, abs=0.005)


def test_idle_draw_dominates_a_light_load():
    """An 80 W load, 25 W idle, a = 1.05: 73 % (the usual loss model, from memory; plain arithmetic)."""
    assert efficiency(LossTerms(25.0, 1.05, 0.0), 80.0) == pytest.approx(0.73, abs=0.005)


def test_losses_come_from_whatever_the_site_file_gives():
    """A loss model, a curve (idle in it), one figure (idle beside it), or the assumed 85 %, said so."""
    base = {"name": "x", "continuous_VA": 3000.0}
    model = losses_of(Inverter(**base, loss_model=LossModel(idle_W=28.0, proportional=1.05, square_per_W=2e-5)))
    curve = losses_of(Inverter(**base, efficiency_curve=[(50.0, 70.0), (300.0, 88.0)], idle_W=20.0))
    figure = losses_of(Inverter(**base, efficiency_pct=88.0, idle_W=28.0))
    nothing = losses_of(Inverter(**base))
    assert model.dc_W(1000) == pytest.approx(28 + 1050 + 20)
    assert (curve.dc_W(300), curve.dc_W(0)) == pytest.approx((300 / 0.88, 20.0))
    assert curve.dc_W(175) == pytest.approx(175 / 0.79)
    assert figure.dc_W(880) == pytest.approx(1028)
    assert nothing.dc_W(850) == pytest.approx(1000)
    assert "85 % was assumed" in " ".join(nothing.assumptions)


def test_idle_draw_has_one_key_or_the_other():
    """standby_W is the idle draw from either key."""
    base = {"name": "x", "continuous_VA": 3000.0}
    assert Inverter(**base, idle_W=9.0).standby_W == 9.0
    assert Inverter(**base, loss_model=LossModel(idle_W=28.0, proportional=1.05)).standby_W == 28.0


def test_a_code_letter_makes_the_start():
    """1/2 hp, letter M: 10.0 to 11.19 kVA/hp (NEC Table 430.7(B)), 5,000 to 5,595 VA, under 6,000 VA for 5 s."""
    got = checked(PUMP)
    assert isinstance(got.starting, Judged)
    assert (got.starting.asked.low, got.starting.asked.high) == pytest.approx((5000, 5595))
    assert isinstance(got.running, Judged)
    assert got.running.asked.value == pytest.approx(1150)
    assert (got.verdict, got.hardest) == ("holds", "pump")


@pytest.mark.parametrize(
    ("pump", "changes", "verdict"),
    [
        (PUMP, {"surge_VA": 4900.0}, "fails"),  # under the least the letter can be
        (PUMP, {"surge_VA": 5200.0}, "doubtful"),  # within what the letter can be
        (PUMP, {"surge_s": None}, "doubtful"),  # rated without seconds
        ({**PUMP, "start_s": 8.0}, {}, "fails"),  # longer than the 5 s it may
        (PUMP, {"surge_VA": None}, None),  # more than continuous, and no surge rating: nobody knows
        (PUMP, {"surge_VA": None, "continuous_VA": 900.0}, "fails"),  # what is known is too little already
        (PUMP, {"continuous_VA": 900.0}, "fails"),  # cannot even run it
        # 3 to 7 times 1,150 VA (trade pages) is 3,450 to 8,050 VA
        (without(PUMP, "code_letter"), {}, "doubtful"),
        (without(PUMP, "code_letter"), {"surge_VA": 9000.0}, "holds"),
        # 23 A before it turns (a typical 1/2 hp submersible, from memory): 5,290 VA
        (without(PUMP, "code_letter", locked_rotor_A=23.0), {"surge_VA": 5300.0}, "holds"),
        (without(PUMP, "code_letter", locked_rotor_A=23.0), {"surge_VA": 5280.0}, "fails"),
    ],
)
def test_the_word_is_against_the_entered_figures(pump, changes, verdict):
    """Ratings and seconds as entered; what the plate leaves open makes it doubtful."""
    assert checked(pump, **changes).verdict == verdict


def test_a_rating_in_watts_is_taken_as_volt_amperes_and_said():
    """5,290 VA against 6,000 W: held as so many VA, and the reader is told."""
    got = checked(PUMP, surge_VA=None, surge_W=6000.0)
    assert isinstance(got.starting, Judged)
    assert got.starting.unit == "W"
    assert any("taken as so many VA" in said for said in got.assumptions)


def test_both_continuous_ratings_count_and_the_nearer_decides():
    """1,150 VA are within 3,000 VA, but 667 W are not within 600 W."""
    got = checked({**PUMP, "power_factor": 0.58}, continuous_W=600.0)
    assert isinstance(got.running, Judged)
    assert (got.running.verdict, got.running.unit) == ("fails", "W")
    assert got.running.asked.value == pytest.approx(667)


def test_the_worst_coincidence_is_all_running_and_the_hardest_start():
    """A 1,000 W heater beside the pump: 1,000 + 5,595 VA at the start, and 2,150 VA running."""
    heater = {"name": "heater", "kind": "heater", "inverter": "wash shed", "power_W": 1000.0}
    got = checked(heater, PUMP)
    assert isinstance(got.starting, Judged)
    assert isinstance(got.running, Judged)
    assert got.running.asked.value == pytest.approx(2150)
    assert got.starting.asked.high == pytest.approx(6595)
    assert got.hardest == "pump"


def test_separate_inverters_never_add_up():
    """Two of 3,000 VA do not carry a load of 4,000 VA: each is judged for the loads on itself."""
    big = {"name": "saw", "kind": "heater", "inverter": "wash shed", "power_W": 4000.0}
    site = site_of(big, inverters=[WASH_SHED, {**WASH_SHED, "name": "other"}])
    first, second = (check_inverter(inverter, site) for inverter in site.inverters)
    assert first.verdict == "fails"
    assert second.loads == ()
    assert isinstance(second.running, Missing)
    assert "no load hangs on it" in second.running.sentence


def test_a_load_whose_plate_says_nothing_is_left_out_and_said():
    """It keeps the inverter from being judged, and names the keys; what fails does so all the same."""
    radio = {"name": "radio", "kind": "electronics", "inverter": "wash shed"}
    got = checked(PUMP, radio)
    assert got.verdict is None
    assert checked(PUMP, radio, continuous_VA=900.0).verdict == "fails"
    assert [missing.add for missing in got.left_out] == [("loads.current_A", "loads.power_W")]


@pytest.mark.parametrize(
    ("load", "running_VA"),
    [
        # 10 A at 240 V is 2,400 VA; a page calls it 2,400 W: never with a power factor below 1.
        ({"kind": "pump", "voltage_V": 240.0, "current_A": 10.0, "power_factor": 0.65}, 2400),
        ({"kind": "heater", "power_W": 90.0}, 90),
        # NEC Table 430.248: 1 hp at 230 V is 8.0 A
        ({"kind": "motor", "voltage_V": 230.0, "hp": 1.0}, 1840),
        ({"kind": "motor", "phases": 3, "voltage_V": 400.0, "current_A": 4.0}, 2771.3),
    ],
)
def test_running_volt_amperes_of_a_load(load, running_VA):
    """From amps, watts or horsepower; watts are never more than volt-amperes."""
    got = demand(Load(name="x", **load), Inverter(name="i", continuous_VA=3000.0))
    assert isinstance(got, Demand)
    assert got.running_VA == pytest.approx(running_VA, abs=0.1)
    assert got.running_W <= got.running_VA
    if load.get("power_factor"):
        assert got.running_W == pytest.approx(0.65 * 2400)


@given(st.floats(0.5, 30), st.floats(1, 9), st.floats(500, 20000))
def test_a_larger_rating_never_makes_it_worse(current_A, ratio, surge_VA):
    """The word gets no worse as the surge rating rises."""
    pump = without(PUMP, "code_letter", current_A=current_A, locked_rotor_A=current_A * ratio)
    order = ["holds", "doubtful", "fails"]
    small, large = (checked(pump, surge_VA=x, continuous_VA=400.0).starting for x in (surge_VA, 1.5 * surge_VA))
    if isinstance(small, Judged):
        assert isinstance(large, Judged)
        assert order.index(large.verdict) <= order.index(small.verdict)


def test_a_start_takes_no_less_than_running():
    """A pump behind a drive asks as much at its start as while it runs: 699 W at 0.95, not 736 VA x 0.7."""
    drive = without(PUMP, "code_letter", "hp", current_A=3.2, power_factor=0.95, locked_rotor_A=3.2)
    got = demand(Load(**drive), Inverter(**WASH_SHED))
    assert isinstance(got, Demand)
    assert (got.start_W().low, got.start_W().high) == pytest.approx((699.2, 699.2))


def test_what_was_seen_is_held_as_volt_amperes():
    """667 W at 0.58 are 1,150 VA: 900 VA fail, though it is less in watts. A rating in W alone is taken as VA.

    1,290 W at a start are 1,518 to 2,580 VA at 0.5 to 0.85 (from memory); the plate's 3,450 to 8,050 VA (3 to 7 times
    the running, trade pages) are then contradicted, and what was seen counts.
    """
    plate = Load(**without(PUMP, "code_letter", power_factor=0.58))
    for key in ("continuous_VA", "continuous_W"):
        inverter = Inverter(name="x", surge_VA=1400.0, **{key: 900.0})
        held, most = power_behind(plate, inverter, running_W=667.0, peak_W=1290.0)
        running, peak = check_seen(inverter, sustained=held, peak=most)
        assert isinstance(peak, Judged)
        assert running.asked.value == pytest.approx(1150)
        assert (peak.asked.low, peak.asked.high) == pytest.approx((1290 / 0.85, 1290 / 0.5))
        assert (running.verdict, peak.verdict) == ("fails", "fails")
    _, missing = check_seen(Inverter(name="x", continuous_W=500.0), sustained=held, peak=most)
    assert isinstance(missing, Missing)


def test_the_plate_narrows_what_a_start_was_seen_to_ask():
    """3,500 W are 4,118 to 7,000 VA; letter M and 1/2 hp leave 5,000 to 5,595 of them (NEC Table 430.7(B))."""
    _, most = power_behind(Load(**PUMP), Inverter(**WASH_SHED), running_W=667.0, peak_W=3500.0)
    assert (most.VA.low, most.VA.value, most.VA.high) == pytest.approx((5000, 5000, 5595))


def test_starts_that_readings_missed_in_part_cannot_hold():
    """A highest reading within the rating says nothing of what lay between two readings; above it, it fails."""
    inverter = Inverter(**WASH_SHED)
    for watts, verdict in ((2000.0, None), (9000.0, "fails")):
        power = Power(watts, Within.exactly(watts))
        _, peak = check_seen(inverter, sustained=power, peak=power, resolved=False)
        assert (peak.verdict if isinstance(peak, Judged) else None) == verdict


FIGURES = st.floats(1, 1e5)
CONDITIONS = st.lists(
    st.builds(Condition, st.sampled_from(("holds", "doubtful", "fails")), st.sampled_from(("it rains", "it snows"))),
    max_size=3,
)


@given(st.lists(FIGURES, min_size=3, max_size=3).map(sorted), FIGURES, CONDITIONS)
def test_a_sentence_says_the_verdict_it_stands_for(asked, rating, conditions):
    """Whatever the figures and conditions: one word in the sentence, that of the verdict, and the worst of all."""
    low, value, high = asked
    got = Judged("running", Within(value, low, high), "VA", rating, "VA", tuple(conditions))
    assert re.findall("holds|doubtful|fails", got.sentence) == [got.verdict]
    assert got.verdict == worst(under(low, high, rating), *(each.verdict for each in conditions))
    for each in conditions:
        if each.verdict == got.verdict != under(low, high, rating):
            assert f", since {each.text}" in got.sentence or f" and {each.text}" in got.sentence


@pytest.mark.parametrize("locked_rotor_A", [4.0, 12.0, 20.0, 26.0, 40.0])
@pytest.mark.parametrize("start_s", [None, 0.3, 8.0])
@pytest.mark.parametrize("surge", [{}, {"surge_s": None}, {"surge_VA": None}, {"surge_VA": None, "surge_W": 5000.0}])
def test_every_word_on_an_inverter_agrees_with_its_sentence(locked_rotor_A, start_s, surge):
    """Ratings, seconds and starts in all combinations: no sentence has a word in it that is not its verdict."""
    pump = without(PUMP, "code_letter", *(["start_s"] if start_s is None else []), locked_rotor_A=locked_rotor_A)
    got = checked({**pump, **({} if start_s is None else {"start_s": start_s})}, **surge)
    words = []
    for part in (got.running, got.starting):
        if isinstance(part, Judged):
            assert re.findall("holds|doubtful|fails", part.sentence) == [part.verdict]
            words.append(part.verdict)
        else:
            assert part.add
    # What is missing is no doubt of what is there; but with it nothing holds.
    assert got.verdict == (None if len(words) < 2 and worst(*words) == "holds" else worst(*words))
    assert bool(got.to_add) is (len(words) < 2)


@pytest.mark.parametrize(
    ("low", "high", "is_under", "is_above"),
    [
        (4.0, 5.0, "holds", "doubtful"),
        (5.0, 5.0, "holds", "holds"),
        (5.0, 6.0, "doubtful", "holds"),
        (4.0, 6.0, "doubtful", "doubtful"),
        (5.1, 6.0, "fails", "holds"),
        (3.0, 4.9, "holds", "fails"),
    ],
)
def test_a_word_is_sure_where_the_whole_interval_lies_on_one_side(low, high, is_under, is_above):
    """Of a rating, or a floor, of 5: the limit itself is still within it."""
    assert (under(low, high, 5.0), above(low, high, 5.0)) == (is_under, is_above)


def test_an_inverter_that_nothing_hangs_on_is_not_judged():
    """No word on it at all, and the key is named."""
    got = check_inverter(Inverter(**WASH_SHED), site_of())
    assert got.verdict is None
    assert isinstance(got.running, Missing)
    assert got.running.add == ("loads.inverter",)


def test_below_its_first_point_a_curve_loses_what_it_loses_there():
    """100 W at 70 % lose 42.9 W: 10 W take 52.9 W, not 14.3; nothing takes the idle draw, and no load less than it."""
    base = {"name": "x", "continuous_VA": 3000.0}
    curve = losses_of(Inverter(**base, efficiency_curve=[(100.0, 70.0), (300.0, 90.0)], idle_W=20.0))
    assert curve.dc_W(10.0) == pytest.approx(10 + 100 / 0.7 - 100)
    assert curve.dc_W(0.0) == 20.0
    assert curve.dc_W(600.0) == pytest.approx(600 / 0.9)
    idles = losses_of(Inverter(**base, efficiency_curve=[(100.0, 95.0), (300.0, 97.0)], idle_W=20.0))
    assert [idles.dc_W(watts) for watts in (1.0, 100.0, 300.0)] == pytest.approx([21.0, 120.0, 320.0])


@given(st.lists(st.tuples(st.floats(5, 3000), st.floats(40, 99)), min_size=1, max_size=5, unique_by=lambda p: p[0]),
       st.just(0.0) | st.floats(1e-6, 60), st.floats(0.1, 4000))  # fmt: skip
def test_no_load_takes_less_than_itself_and_idling(points, idle_W, ac_W):
    """Whatever the curve: what goes in is what comes out and the idle draw, or more."""
    curve = losses_of(Inverter(name="x", continuous_VA=9.0, efficiency_curve=sorted(points), idle_W=idle_W))
    assert curve.dc_W(ac_W) >= ac_W + idle_W - 1e-9


@given(st.floats(0, 60), st.floats(1, 1.5), st.floats(0, 2e-4), st.floats(0, 3000))
def test_what_goes_in_tells_what_comes_out(idle_W, a, b, ac_W):
    """`given_W` undoes the losses."""
    losses = LossTerms(idle_W, a, b)
    assert given_W(losses, beyond_idle_W(losses, ac_W)) == pytest.approx(ac_W, abs=1e-6)


@given(st.floats(0, 60), st.floats(1, 1.3), st.floats(0, 2e-4))
def test_exact_readings_give_back_the_loss_model(idle_W, a, b):
    """Without noise the three terms are found to rounding."""
    ac = np.linspace(0, 2000, 40)
    got = fit_losses(ac, idle_W + a * ac + b * ac**2)
    assert isinstance(got, LossFit)
    found = (got.idle_W.value, got.proportional.value, 1e4 * got.square_per_W.value)
    assert found == pytest.approx((idle_W, a, 1e4 * b), abs=1e-6)
    assert got.terms.dc_W(500.0) == pytest.approx(idle_W + 500 * a + 250_000 * b)


def test_wild_readings_do_not_move_the_fit():
    """One reading in twelve is off by a kilowatt; plain least squares would put the idle draw some 80 W wrong."""
    rng = np.random.default_rng(3)
    ac = rng.uniform(0, 1500, 240)
    dc = 28 + 1.05 * ac + 2e-5 * ac**2 + rng.normal(0, 3, 240)
    dc[::12] += 1000
    got = fit_losses(ac, dc)
    assert isinstance(got, LossFit)
    assert got.idle_W.value == pytest.approx(28, abs=3)
    assert got.efficiency(1000.0).holds(1000 / (28 + 1050 + 20))


def test_two_levels_of_load_give_no_square_term():
    """Idle and one load: two figures can be told, the third is 0 and said; one level tells nothing."""
    ac = np.repeat([0.0, 700.0], 30)
    rng = np.random.default_rng(4)
    two = fit_losses(ac, 28 + 1.1 * ac + rng.normal(0, 1, 60))
    one = fit_losses(np.full(60, 700.0), np.full(60, 800.0))
    assert isinstance(two, LossFit)
    assert (two.square_per_W.value, two.square_per_W.high) == (0.0, 0.0)
    assert any("square term" in said for said in two.assumptions)
    assert two.idle_W.holds(28.0)
    assert isinstance(one, Missing)
    assert "never changed" in one.sentence


def test_too_few_or_unequal_readings_are_no_fit():
    """Fewer than twelve pairs: said. Arrays of different length: a mistake of the caller's."""
    assert isinstance(fit_losses(np.arange(5.0), np.arange(5.0)), Missing)
    with pytest.raises(ValueError, match="as many AC as DC"):
        fit_losses(np.arange(20.0), np.arange(19.0))
