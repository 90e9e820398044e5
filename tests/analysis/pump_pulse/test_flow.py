"""The pump's flow by its shortest runs: closed forms, what is left open, and simulated days."""

from dataclasses import replace
from math import inf

import numpy as np
import pytest
from flow_truth import pulse_of, true_day
from health_cycles import cycles, healthy, judged, site
from hypothesis import assume, given
from hypothesis import strategies as st

from shuntbook.analysis.equipment.water import cycle_times, drawdown_L
from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.pump_pulse.fill_time import NEWEST_RUNS, fill_time
from shuntbook.analysis.pump_pulse.flow import PumpFlow, drawdown_within, over, pump_flow
from shuntbook.analysis.pump_pulse.pulse import pump_pulse
from shuntbook.analysis.pump_pulse.pumped import PumpedWater, pumped_water, water_of
from shuntbook.analysis.readings.measured_span import Span
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.analysis.stats.lower_edge import lower_edge

PSI = 6.894757293168
DAY_S = 86400.0


def fine(made, within_s=0.05):
    """The same runs, their edges known to so many seconds each."""
    edged = (replace(cycle, start_within_s=within_s, stop_within_s=within_s) for cycle in made.cycles)
    return Runs(replace(made, cycles=tuple(edged)), 2 * within_s)


def water(**changes):
    """The water table of the 44-gallon tank."""
    return site().water.model_copy(update=changes)


def test_the_tank_takes_what_boyles_law_says():
    """National Driller, 2004-2008: 28/30/50 psi gives 0.295 of the volume; the interval holds what gauges are off."""
    of_100 = water(
        tank_volume_gal=None, tank_volume_L=100.0, precharge_psi=28, cut_in_psi=30, cut_out_psi=50,
    )  # fmt: skip
    taken = drawdown_within(of_100)
    assert taken.value == pytest.approx(29.5, abs=0.1)
    # A psi more at cut-in alone, and a psi less at cut-out: each of them must lie inside.
    for moved in ((28, 31, 50), (28, 30, 49), (27, 30, 50)):
        assert taken.holds(drawdown_L(100.0, *(p * PSI for p in moved)))
    assert 0.8 * taken.value < taken.low < taken.high < 1.2 * taken.value


def test_a_tank_whose_switch_is_not_known_tells_no_flow():
    """Its volume alone is kept; what it takes in is not guessed."""
    taken = drawdown_within(water(cut_out_psi=None))
    assert isinstance(taken, Missing)
    assert "water.cut_out_kPa" in taken.add


@given(st.floats(0.02, 0.8), st.floats(20, 60), st.floats(10, 60))
def test_steady_use_gives_the_time_of_filling_exactly(use, flow, drawdown):
    """Run = D / (Q - use) and rest = D / use: all runs are longer than D / Q, and yet that is what comes out."""
    times = cycle_times(drawdown, flow, use * flow)
    fill_s = fill_time(fine(cycles(np.full(12, times.on_s), times.off_s)))
    filling_s = 60 * drawdown / flow
    # How long it took to fill is known to the spacing of the readings: just at the limit either is right.
    assume(abs(times.on_s - 2.5 * filling_s) > 0.02 * filling_s + 0.5)
    if times.on_s <= 2.5 * filling_s:
        assert fill_s.value == pytest.approx(filling_s, rel=0.01)
        assert fill_s.holds(filling_s)
    else:
        assert isinstance(fill_s, Missing)


def test_runs_with_chance_use_come_down_to_the_time_of_filling():
    """Runs from the time of filling on, evenly: the interval holds it, and is narrow where there are many."""
    runs = fine(cycles(68 + 80 * np.linspace(0.01, 1, 60), 3000.0))
    fill_s = fill_time(runs)
    assert fill_s.holds(68.0)
    assert (fill_s.high - fill_s.low) / 68 < 0.2


def test_a_day_may_be_asked_for_by_itself():
    """Only its own runs count, and too few of them tell nothing."""
    run_s = np.r_[np.linspace(60, 120, 10), np.linspace(90, 150, 10)]
    runs = fine(cycles(run_s, 3000.0))
    second = np.arange(20) >= 10
    assert fill_time(runs, second).holds(90.0)
    assert not fill_time(runs, second).holds(60.0)
    assert "5 whole runs are too few" in fill_time(runs, np.arange(20) < 5).because


def test_only_runs_as_usual_count():
    """A run that draws half as much, or was dry from its start, says nothing of the tank."""
    run_s = np.linspace(70, 130, 20)
    whole = fill_time(fine(cycles(run_s, 3000.0)))
    briefly = np.r_[run_s, 20.0, 21.0, 22.0]
    other = fill_time(fine(cycles(briefly, 3000.0, draw_W=np.r_[np.full(20, 780.0), np.full(3, 400.0)])))
    assert other == whole


def test_runs_without_draw_or_edges_are_taken_as_they_are():
    """Where the draw is not known no run is another's; where the edges are not, each is off by a spacing."""
    bare = {"run_W": None, "run_A": None}
    made = cycles(np.linspace(70, 130, 20), 3000.0, cycle=lambda k, cycle: replace(cycle, **bare))
    fill_s = fill_time(Runs(made, 2.0))
    assert fill_s.high == 72.0
    # Known edges are each off by their own.
    assert fill_time(fine(cycles(np.linspace(70, 130, 20), 3000.0), 0.5)).high == 71.0
    # Without a rest nothing says how much was drawn: the edge alone counts.
    alone = cycles(np.linspace(70, 130, 20), 3000.0, cycle=lambda k, cycle: replace(cycle, off_before_s=None))
    edge = lower_edge(np.linspace(70, 130, 20), np.full(20, 2.0))
    assert fill_time(Runs(alone, 2.0)) == edge


def test_only_the_newest_runs_count():
    """A pump that gave twice as much in its first weeks does not give it any more."""
    run_s = np.r_[np.linspace(40, 80, 200), np.linspace(80, 160, NEWEST_RUNS)]
    assert fill_time(fine(cycles(run_s, 3000.0))).holds(80.0)
    assert not fill_time(fine(cycles(run_s, 3000.0))).holds(40.0)


def test_what_cannot_tell_is_said():
    """Few runs, slow readings, several speeds."""
    assert "too few" in fill_time(fine(healthy(5))).because
    assert "readings too far apart" in fill_time(fine(healthy(), 60.0)).because
    wide = fill_time(fine(cycles(np.array([70.0, 180, 320, 480, 700, 950]), np.full(6, 9000.0)), 0.5))
    assert wide.because.startswith("water was drawn in most runs")


def flow_at(per_min_L, plate=None, checks=()):
    """What is said of a pump of so many litres a minute on the 44-gallon tank, with this flow in the site file."""
    place = site()
    table = place.water.model_copy(update={"flow_gal_per_min": None, "flow_L_per_min": plate})
    fill_s = 60 * drawdown_L(44 * 3.785411784, 38 * PSI, 40 * PSI, 60 * PSI) / per_min_L
    place = place.model_copy(update={"water": table})
    runs = fine(cycles(fill_s * (1 + np.linspace(0.005, 0.9, 40)), 2500.0))
    return pump_pulse(place, place.load("well pump"), runs, Span(0, 86400_000_000, 1, DAY_S, ()), checks)


@pytest.mark.parametrize("per_min_L", [20.0, 38.0, 60.0])
def test_the_flow_is_the_tanks_water_over_its_time(per_min_L):
    """With everything as the site file says it is the pump's own flow."""
    pulse = flow_at(per_min_L)
    assert pulse.flow.flow_L_per_min.value == pytest.approx(per_min_L, rel=0.05)
    assert pulse.flow.flow_L_per_min.holds(per_min_L)
    # Its runs last so long together: the water of the day is that at this flow.
    running_min = pulse.pumped.running_s / 60
    assert pulse.pumped.per_day_L.holds(per_min_L * running_min)
    assert pulse.pumped.per_day_L.value == pytest.approx(pulse.flow.flow_L_per_min.value * running_min)


def test_air_and_flow_are_told_apart_only_by_the_site_files_flow():
    """A tank with half its air, or a pump of twice the flow: without a plate nobody knows, with one it is in doubt."""
    assert flow_at(76.0).flow.air == "not judged"
    assert flow_at(38.0, plate=38.0).flow.air == "nothing against it"
    # A worn pump is no doubt of the air: no tank takes more than it is built for.
    worn = flow_at(15.0, plate=38.0)
    assert worn.flow.air == "nothing against it"
    assert worn.flow.of_plate.holds(15 / 38)
    doubtful = flow_at(76.0, plate=38.0)
    assert doubtful.flow.air == "in doubt"
    assert isinstance(doubtful.pumped, Missing)
    assert "202 % of the site file's 10 gal/min" in doubtful.flow.air_why


def test_a_finding_on_the_air_puts_the_flow_in_doubt():
    """What health sees of the tank's air counts as well."""
    place = site()
    made = cycles(np.full(40, 12.0), 60.0)
    check = judged(made, place)["air_charge_lost"]
    assert check.outcome == "found"
    assert pump_flow(place.water, Within(12.0, 11.0, 12.5), check).air == "in doubt"


def test_another_finding_says_nothing_of_the_air():
    """Runs too brief for the motor by a tank that is too small: the flow stands."""
    place = site()
    checks = judged(cycles(np.full(40, 12.0), 60.0), place)
    others = [check for code, check in checks.items() if code != "air_charge_lost"]
    assert any(check.outcome == "found" for check in others)
    assert flow_at(38.0, plate=38.0, checks=others).flow.air == "nothing against it"
    assert flow_at(38.0, plate=38.0, checks=list(checks.values())).flow.air == "in doubt"


#: Pre-charge 5 psi above the assumed one is 3 psi above cut-in: the tank then gives 1 - 57.7/74.7 of its volume.
ASSUMED_AIR_OFF = 1 - (1 - 57.696 / 74.696) / (52.696 / 54.696 - 52.696 / 74.696)


@pytest.mark.parametrize(("given", "air_off"), [(38, 1 / 52.696), (None, ASSUMED_AIR_OFF)])
def test_the_tanks_water_is_off_by_what_each_figure_is(given, air_off):
    """The parts by derivatives of V P1 (1/P2 - 1/P3), in quadrature (GUM, 5.1.2), beside what is told."""
    taken = drawdown_within(water(precharge_psi=given))
    low, high = (p + 14.696 for p in (40.0, 60.0))
    parts = 1 / low - 1 / high
    shares = (0.05, air_off, 1 / low**2 / parts, 1 / high**2 / parts, 0.025)
    u = sum(share**2 / 3 for share in shares) ** 0.5
    # Warm air takes in up to 5 % less: the middle lies 2.5 % below what the law says.
    assert (taken.high - taken.low) / 2 / taken.value == pytest.approx(1.96 * u, rel=0.05)
    assert (taken.high + taken.low) / 2 / taken.value == pytest.approx(1 - 0.025, abs=0.002)


def test_the_water_is_off_by_flow_and_pressure():
    """Of an exact flow it is off by what a pump gives more at less pressure, either way."""
    litres = water_of(Within.exactly(30.0), 600.0)
    assert (litres.low, litres.value, litres.high) == pytest.approx((300 * 0.94, 300.0, 300 * 1.06))
    wide = water_of(Within(30.0, 27.6, 32.4), 600.0)
    assert wide.high - 300 == pytest.approx(300 * (0.08**2 + 0.06**2) ** 0.5)


def test_a_log_without_readings_has_no_rest():
    """Nothing was measured, so nothing was quiet."""
    assert pump_pulse(None, None, fine(healthy()), Span(None, None, 0, 0.0, ()), ()).without_start is None


def test_a_pre_charge_nobody_gave_is_taken_as_it_should_be_and_known_less_well():
    """2 psi below cut-in: the same water, a wider interval, and a sentence that says so."""
    known = pump_flow(site().water, Within.exactly(70.0))
    assumed = pump_flow(water(precharge_psi=None), Within.exactly(70.0))
    assert assumed.flow_L_per_min.value == pytest.approx(known.flow_L_per_min.value)
    assert assumed.flow_L_per_min.low < known.flow_L_per_min.low
    assert any("Pre-charge 2 psi below cut-in" in text for text in assumed.assumptions)
    assert "no water at all" in pump_flow(water(precharge_psi=70), Within.exactly(70.0)).because


def test_without_a_tank_there_is_no_flow_and_still_the_time_of_rest():
    """A fridge has no flow; how long it did not start is known all the same."""
    pulse = pump_pulse(None, None, fine(healthy()), Span(0, 10**12, 1, 1e6, ()), ())
    assert isinstance(pulse.flow, Missing)
    assert not pulse.has_tank
    other = site().model_copy(update={"water": water(load="other pump")})
    assert "'other pump'" in pump_pulse(other, other.loads[0], fine(healthy()), Span(0, 1, 1, 1.0, ()), ()).flow.because


def test_a_quotient_keeps_its_lopsided_ends():
    """Of exact figures it is exact; of two with an end each the ends are those of the logarithms in quadrature."""
    assert over(Within.exactly(6.0), Within.exactly(2.0)) == Within.exactly(3.0)
    assert over(Within(6.0, 6.0, 6.0), Within(2.0, 1.0, 2.0)) == Within(3.0, 3.0, pytest.approx(6.0))
    assert over(Within(6.0, 6.0, inf), Within.exactly(2.0)).low == 3.0


def test_less_than_a_day_is_not_made_a_day():
    """Half a day of readings says what it pumped, and nothing of the other half."""
    flow = flow_at(38.0).flow
    assert pumped_water(flow, 600.0, DAY_S / 2).per_day_L is None
    whole = pumped_water(flow, 600.0, 2 * DAY_S)
    assert isinstance(whole, PumpedWater)
    assert whole.per_day_L.value == pytest.approx(flow.flow_L_per_min.value * 10 / 2)


@pytest.mark.parametrize("seed", range(8))
def test_simulated_days_hold_the_true_flow(seed):
    """Two days each of a household, hoses, a leak and a drip line, read by a meter at the bank among other loads."""
    use = ("household", "hoses", "leak", "drip line")[seed // 2]
    day = true_day(use, seed)
    flow = pulse_of(day, seed).flow
    assert isinstance(flow, PumpFlow)
    assert flow.flow_L_per_min.holds(day.flow_L_per_min)
    assert flow.flow_L_per_min.high / flow.flow_L_per_min.low < 2
