"""How much of what a load took surely did not come out of the bank: said only beyond what may be wrong."""

from dataclasses import replace

import pytest
from report_scenes import make_cycle, make_log, with_facts

from shuntbook.analysis.charge.amounts import Amounts, Sureness
from shuntbook.analysis.cycles.cycle import RunKind, TwoKinds
from shuntbook.analysis.health.finding import Finding
from shuntbook.analysis.one_log.from_array import straight_in, straight_in_all, sure_from_array
from shuntbook.analysis.stats.interval95 import Component, judged
from shuntbook.analysis.sureness.meter_figures import Accuracy, MeterFigures, ZeroCheck


def log_of(*, took=8.0, u95=0.1, drawn=10.0, returned=5.0, straight=0.0, zero_A=0.0, run_s=1800.0):
    """A log with one run that took so much, of which this came straight from the array by its levels. [Ah]"""
    log = make_log()
    sure = Sureness(*(judged(x, [Component("zero", 0.05)]) for x in (drawn, returned, drawn - returned)))
    run = make_cycle(100.0, run_s, charge_Ah=took, straight_Ah=straight)
    summary = replace(log.cycles.summary, count=1, charge_Ah=took, charge_u95_Ah=u95)
    return replace(
        log,
        charge=replace(log.charge, charge=Amounts(drawn, returned, sure)),
        cycles=replace(log.cycles, cycles=(run,), summary=summary),
        figures=MeterFigures(current=Accuracy(reading_pct=1.0, range_pct=0.0, zero=zero_A)),
    )


def test_what_charged_the_bank_counts_less_what_zero_and_runs_may_be_off():
    """1 Ah by the levels; a zero that is known to 0.2 A takes 0.1 Ah of half an hour, the runs' own ± 1.25 %."""
    assert sure_from_array(log_of(straight=1.0), "Ah") == pytest.approx(0.9875)
    assert sure_from_array(log_of(straight=1.0, zero_A=0.2), "Ah") == pytest.approx(0.9 * 0.9875)
    checked = replace(log_of(straight=1.0).figures, zero_check=ZeroCheck(0, 1, 10, 0.3, 0.1, 9.0))
    assert sure_from_array(replace(log_of(straight=1.0), figures=checked), "Ah") == pytest.approx(0.9 * 0.9875)


def test_a_zero_that_may_be_the_sun_tells_nothing():
    """No more charge than the zero may be off; and none where it is not sure that anything came back at all."""
    assert sure_from_array(log_of(straight=0.1, zero_A=0.2), "Ah") is None
    assert sure_from_array(log_of(straight=1.0, returned=0.05), "Ah") is None


def test_a_load_that_took_more_than_the_bank_gave_had_the_rest_from_elsewhere():
    """Only as far as neither interval reaches: 8 ± 0.1 beside 7 ± 0.1 leave 0.8; beside 7.9 nothing."""
    assert sure_from_array(log_of(drawn=7.0), "Ah") == pytest.approx(8.0 - 0.1 - 7.0 - 1.96 * 0.05, abs=0.002)
    assert sure_from_array(log_of(drawn=7.9), "Ah") is None
    assert sure_from_array(log_of(drawn=7.0, u95=None), "Ah") is None


def test_nothing_is_said_behind_an_inverter_or_where_the_log_is_in_doubt():
    """Whose runs they are, or which way the current flows, must be known first."""
    log = log_of(straight=1.0)
    kind = RunKind(5, 60.0, 700.0, 0.0)
    assert sure_from_array(with_facts(log, side="ac"), "Ah") is None
    assert (
        sure_from_array(replace(log, cycles=replace(log.cycles, two_kinds=TwoKinds((kind, kind), None))), "Ah") is None
    )
    turned = Finding("charge_wrong_sign", "act", "", "", "", "")
    assert sure_from_array(replace(log, findings=(turned,)), "Ah") is None


def test_a_hundredth_of_it_is_not_worth_a_sentence():
    """0.05 Ah of 8."""
    assert sure_from_array(log_of(straight=0.05), "Ah") is None


@pytest.mark.parametrize(("surge_A", "run_A", "highest_A"), [(40.0, 20.0, 40.0), (None, 20.0, 20.0), (None, None, 0.0)])
def test_an_offset_that_is_a_share_of_the_range_goes_by_the_highest_that_was_seen(surge_A, run_A, highest_A):
    """1 % of it over half an hour, off the 1 Ah that the levels tell; where no start was seen, nothing."""
    log = log_of(straight=1.0)
    (run,) = log.cycles.cycles
    run = replace(run, surge_A=surge_A, run_A=run_A)
    figures = MeterFigures(current=Accuracy(reading_pct=1.0, range_pct=1.0))
    log = replace(log, cycles=replace(log.cycles, cycles=(run,)), figures=figures)
    assert sure_from_array(log, "Ah") == pytest.approx(0.9875 * (1.0 - 0.01 * highest_A / 2))
    # A smaller run beside it, which took nothing from the array, changes nothing.
    beside = replace(run, surge_A=None, run_A=None, straight_Ah=0.0)
    both = replace(log, cycles=replace(log.cycles, cycles=(run, beside)))
    assert sure_from_array(both, "Ah") == sure_from_array(log, "Ah")


def test_of_logs_together_what_is_sure_of_each_adds_up():
    """Where all their runs count; in amp-hours where a log has any."""
    log = log_of(straight=1.0)
    assert straight_in(log) == (pytest.approx(0.9875), "Ah")
    assert straight_in_all([log, log], 2) == (pytest.approx(2 * 0.9875), "Ah")
    assert straight_in_all([log, log], 3) == straight_in_all([], 0) == (0.0, "Ah")


@pytest.mark.parametrize(
    ("volts", "straight_Wh", "least_Wh"), [(25.0, 20.0, 17.5), (None, 20.0, None), (25.0, None, None)]
)
def test_watt_hours_count_by_the_volts_before_a_run(volts, straight_Wh, least_Wh):
    """A zero that may be 0.2 A off takes 2.5 Wh of half an hour at 25 V, of the 20 Wh that the levels tell."""
    log = log_of(zero_A=0.2)
    (run,) = log.cycles.cycles
    sure = Sureness(*(judged(x, [Component("zero", 0.05)]) for x in (250.0, 125.0, 125.0)))
    summary = replace(log.cycles.summary, energy_Wh=200.0, energy_u95_Wh=0.0)
    runs = (replace(run, before_V=volts, straight_Wh=straight_Wh),)
    log = replace(log, charge=replace(log.charge, energy=Amounts(250.0, 125.0, sure)))
    log = replace(log, cycles=replace(log.cycles, cycles=runs, summary=summary))
    assert sure_from_array(log, "Wh") == (least_Wh and pytest.approx(least_Wh))
