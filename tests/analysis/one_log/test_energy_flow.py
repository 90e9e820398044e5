"""Where energy went, as far as the meter shows: nothing is made up, and everything adds up."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from report_scenes import make_cycle, make_log, with_facts

from shuntbook.analysis.charge.amounts import Amounts, Sureness
from shuntbook.analysis.one_log.energy_flow import energy_flow
from shuntbook.analysis.stats.interval95 import HowSure, Within


def log_of(cycles, drawn_Wh, returned_Wh, **summary):
    """A log whose runs took what they say, beside these amounts at the bank."""
    log = make_log()
    taken = sum(cycle.energy_Wh for cycle in cycles)
    whole = replace(log.cycles.summary, count=len(cycles), energy_Wh=taken, energy_u95_Wh=1.0, **summary)
    charge = replace(log.charge, energy=Amounts(drawn_Wh, returned_Wh))
    return replace(log, charge=charge, cycles=replace(log.cycles, cycles=tuple(cycles), summary=whole))


def test_what_charged_the_bank_before_a_run_went_on_into_the_load():
    """Of 350 Wh 100 came straight from the array: they did not come out of the bank."""
    run = make_cycle(100.0, 1800.0, energy_Wh=350.0, straight_Wh=100.0)
    flow = energy_flow([log_of([run], 260.0, 40.0)])
    assert flow.straight == pytest.approx(100.0)
    assert flow.load_from_bank == pytest.approx(250.0)
    assert flow.others.value == pytest.approx(10.0)
    assert flow.load_from_bank + flow.others.value == pytest.approx(flow.drawn.value)


def test_the_load_takes_no_more_from_the_bank_than_the_bank_gave():
    """The bank gave 8 Wh less than the load took: these came from elsewhere, whatever the runs' levels say."""
    run = make_cycle(100.0, 600.0, energy_Wh=100.0)
    flow = energy_flow([log_of([run], 92.0, 0.0)])
    assert flow.straight == pytest.approx(8.0)
    assert flow.others.value == 0.0


def test_a_run_takes_no_more_from_the_array_than_it_took():
    """A small load under a strong sun took all of it from there, and no more."""
    run = make_cycle(100.0, 1800.0, energy_Wh=50.0, straight_Wh=50.0)
    flow = energy_flow([log_of([run], 0.0, 300.0)])
    assert (flow.straight, flow.load_from_bank) == (50.0, 0.0)


def test_logs_behind_an_inverter_do_not_count_twice():
    """What they show went through the bank's meter; alone they have no bank."""
    bank, behind = log_of([], 300.0, 0.0), with_facts(log_of([], 200.0, 0.0), side="ac")
    assert energy_flow([bank, behind]).drawn.value == 300.0
    flow = energy_flow([behind])
    assert (flow.side, flow.drawn.value, flow.load) == ("ac", 200.0, None)


def test_without_volts_the_flow_is_of_charge():
    """Amp-hours say as much where a log has no volts; mixed units are never added up."""
    log = make_log()
    no_volts = replace(log, charge=replace(log.charge, energy=None))
    assert energy_flow([no_volts]).unit == "Ah"
    assert energy_flow([no_volts, log]).drawn.value == pytest.approx(2 * 13.254)
    assert energy_flow([replace(log, charge=replace(log.charge, energy=None, charge=None))]) is None
    assert energy_flow([]) is None


def test_what_other_loads_took_is_as_unsure_as_the_two_it_is_the_difference_of():
    """The load took 350 Wh ± 1, of which 250 from the bank; the bank gave 260 Wh, 255 to 270."""
    run = make_cycle(100.0, 1800.0, energy_Wh=350.0, straight_Wh=100.0)
    log = log_of([run], 260.0, 40.0)
    sure = Sureness(
        *(HowSure(low, high, 1.0, 2.0, 1.0, ()) for low, high in ((255.0, 270.0), (38.0, 41.0), (0.0, 0.0)))
    )
    log = replace(log, charge=replace(log.charge, energy=replace(log.charge.energy, sure=sure)))
    flow = energy_flow([log])
    ends = 250.0 / 350.0
    assert flow.load == Within(350.0, 349.0, 351.0)
    assert (flow.drawn, flow.returned) == (Within(260.0, 255.0, 270.0), Within(40.0, 38.0, 41.0))
    assert flow.others.value == pytest.approx(10.0)
    assert (flow.others.low, flow.others.high) == pytest.approx((255.0 - ends * 351.0, 270.0 - ends * 349.0))
    assert flow.charging.value == pytest.approx(140.0)
    assert (flow.charging.low, flow.charging.high) == pytest.approx((38.0 + 349.0 / 3.5, 41.0 + 351.0 / 3.5))
    assert energy_flow([log, log]).load == Within(700.0, 698.0, 702.0)


def test_no_interval_goes_below_nothing():
    """A load of half a watt-hour ± 1 took nothing at the least; other loads never less than nothing."""
    run = make_cycle(100.0, 10.0, energy_Wh=0.5)
    flow = energy_flow([log_of([run], 0.6, 0.0)])
    assert flow.load == Within(0.5, 0.0, 1.5)
    assert flow.others.low == 0.0
    assert flow.charging == flow.returned
    unknown = log_of([run], 0.6, 0.0)
    summary = replace(unknown.cycles.summary, energy_u95_Wh=None)
    unknown = replace(unknown, cycles=replace(unknown.cycles, summary=summary))
    assert energy_flow([unknown]).load == Within.exactly(0.5)


def test_a_charger_is_taken_off_what_charged_the_bank():
    """Of 300 Wh that came back 100 are the charger's, or of 12 Ah 4; the rest is the sun's."""
    whole = SimpleNamespace(charger_Wh=Within(100.0, 90.0, 110.0), charger_Ah=Within.exactly(4.0))
    log = replace(log_of([], 0.0, 300.0), by_site=SimpleNamespace(sources=SimpleNamespace(whole=whole)))
    flow = energy_flow([log])
    assert (flow.charger, flow.sun) == (Within(100.0, 90.0, 110.0), Within(200.0, 190.0, 210.0))
    in_Ah = replace(log, charge=replace(log.charge, energy=None, charge=Amounts(0.0, 12.0)))
    assert energy_flow([in_Ah]).sun == Within.exactly(8.0)


def test_a_run_of_which_nothing_is_known_adds_nothing_from_the_array():
    """Without its amount, or the level it stands on, nobody can say what it took from where."""
    known = make_cycle(100.0, 1800.0, energy_Wh=350.0, straight_Wh=100.0)
    unknown = make_cycle(3000.0, 600.0, energy_Wh=0.0, straight_Wh=None)
    assert energy_flow([log_of([known, unknown], 400.0, 0.0)]).straight == pytest.approx(100.0)
    going_on = make_cycle(
        100.0, complete=False, energy_Wh=None, run_s=0.0, so_far_Wh=90.0, so_far_s=900.0, straight_Wh=10.0
    )
    log = log_of([], 400.0, 0.0)
    summary = replace(log.cycles.summary, count=1, energy_Wh=90.0)
    log = replace(log, cycles=replace(log.cycles, cycles=(going_on,), summary=summary))
    assert energy_flow([log]).straight == pytest.approx(10.0)
