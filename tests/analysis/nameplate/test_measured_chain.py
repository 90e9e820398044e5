"""The measured chain beside the estimate's: what a log's runs took, and why that differs from the plate."""

from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from plate_sites import make
from report_scenes import make_cycle

from shuntbook.analysis.cycles.cycle import Cycles, CycleSummary
from shuntbook.analysis.nameplate.estimate import estimate
from shuntbook.analysis.nameplate.measured_chain import (
    RunTotals,
    habit_against_measured,
    measured_against_estimate,
    paper_against_estimate,
    run_totals,
)
from shuntbook.analysis.nameplate.plate_check import check_plate
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.site.site import Site
from shuntbook.cli.render.wording.lesson import reason_said

PUMP = {"kind": "pump", "current_A": 5.0, "power_factor": 0.58}
ALWAYS_ON = {"efficiency_pct": 88, "idle_W": 28, "always_on": True}


def cycles_of(*cycles):
    """Cycles as a log's result."""
    return Cycles(tuple(cycles), CycleSummary(len(cycles), None, None, None, None), "current_A")


def totals(**changes):
    """An hour of running at 790 W and 24.5 V, 10 Wh beyond that."""
    return replace(RunTotals(10, 0, 1.0, 800.0, 790.0, 800.0 / 24.5), **changes)


def by_source(result):
    """The reasons by their source."""
    return {reason.source: reason for reason in result.reasons}


def assert_adds_up(result):
    """The reasons sum to the differences to 1e-9 of these, or of the rounding of the sums themselves."""
    for whole, name in ((result.energy, "energy_Wh"), (result.charge, "charge_Ah")):
        parts = sum(getattr(reason, name) for reason in result.reasons)
        rounding = 1e-13 * (abs(whole.estimated) + abs(whole.measured))
        assert parts == pytest.approx(whole.difference, rel=1e-9, abs=rounding)


def test_totals_of_two_runs_by_hand():
    """60 s at 700 W taking 12 Wh and 120 s at 760 W taking 26 Wh: 740 W on average, 1 Wh beyond settled running."""
    # (60 x 700 + 120 x 760) / 180 = 740 W; 740 W x 0.05 h = 37 Wh of 38 Wh; 38 Wh / 1.52 Ah = 25 V.
    first = make_cycle(0.0, 60.0, run_W=700.0, energy_Wh=12.0, charge_Ah=0.48, energy_u95_Wh=0.2)
    second = make_cycle(500.0, 120.0, run_W=760.0, energy_Wh=26.0, charge_Ah=1.04, energy_u95_Wh=0.3)
    result = run_totals(cycles_of(first, second))

    assert (result.runs, result.left_out, result.lower_bound) == (2, 0, False)
    assert result.run_h == pytest.approx(0.05)
    assert result.run_W == pytest.approx(740)
    assert result.start_Wh == pytest.approx(1.0)
    assert result.bank_V == pytest.approx(25.0)
    assert result.energy_u95_Wh == pytest.approx(0.5)
    assert result.charge_u95_Ah is None


def test_runs_that_the_array_may_have_shared_are_left_out_where_there_are_others():
    """A lower bound tells nothing of the plate; but where there is nothing else, it is used and said."""
    own, shared = make_cycle(0.0), make_cycle(300.0, energy_Wh=5.0, array_may_share=True)

    assert run_totals(cycles_of(own, shared, make_cycle(600.0, complete=False))).left_out == 2
    assert run_totals(cycles_of(own, shared)).energy_Wh == pytest.approx(15.4)
    alone = run_totals(cycles_of(shared))
    assert (alone.lower_bound, alone.energy_Wh) == (True, 5.0)


@pytest.mark.parametrize(
    ("cycles", "words"),
    [
        ((), "no run of the load was seen whole"),
        ((make_cycle(0.0, complete=False),), "no run of the load was seen whole"),
        ((make_cycle(0.0, energy_Wh=None),), "watts .* were not read throughout"),
        ((make_cycle(0.0, run_W=None),), "watts .* were not read throughout"),
        ((make_cycle(0.0, energy_Wh=0.0),), "took 0 Wh .* not above 0"),
        ((make_cycle(0.0, energy_Wh=-3.0),), "took -3 Wh .* draw and return are swapped"),
    ],
)
def test_what_leaves_nothing_to_divide_is_refused(cycles, words):
    """No whole run, no watts, and energy that is zero or negative: no decomposition, and why."""
    with pytest.raises(Refusal, match=words):
        run_totals(cycles_of(*cycles))


def test_from_paper_to_nameplate_by_hand():
    """1,150 VA for an hour: the power factor takes 512.3 Wh off, the inverter's loss puts 120.2 Wh on."""
    # 1150 Wh -> 1150 x 0.58 / 0.88 = 757.95 Wh; L = (757.95 - 1150) / ln(757.95 / 1150) = -392.05 / -0.41689 = 940.40;
    # x ln 0.58 = -0.54473 -> -512.26; x -ln 0.88 = 0.12783 -> +120.21; together -392.05.
    result = paper_against_estimate(estimate(make(PUMP, inverter=ALWAYS_ON, nominal_V=24.0), "load", hours=1.0))
    reasons = by_source(result)

    assert reasons["power factor"].energy_Wh == pytest.approx(-512.26, abs=0.02)
    assert reasons["inverter efficiency"].energy_Wh == pytest.approx(120.21, abs=0.02)
    assert reasons["bank voltage"].energy_Wh == 0
    assert reasons["bank voltage"].charge_Ah > 0
    assert {reason.basis for reason in result.reasons} == {"estimated"}
    assert_adds_up(result)


def test_horsepower_on_paper_is_told_as_what_the_shaft_gives():
    """1/2 hp is 373 W on paper; what the motor takes in is more."""
    site = make({"hp": 0.5, "kind": "pump"}, inverter=ALWAYS_ON)
    (reason,) = [r for r in paper_against_estimate(estimate(site, "load", hours=1)).reasons if "takes in" in r.source]

    assert "horsepower is what the shaft gives, 373 W; the load takes in more, 733 W" in reason.because


def test_paper_may_start_from_a_display():
    """900 W on a display, 1,000 W on the plate: the sum on paper takes the display's, and it is said."""
    plate = estimate(make({"power_W": 1000}, inverter=ALWAYS_ON), "load", hours=0.25, displayed_W=900.0)
    result = paper_against_estimate(plate)

    assert plate.paper_Ah == pytest.approx(18.75)  # arithmetic, illustrative: 900 / 12 x 0.25
    assert "900 W from a display" in plate.steps[0].origin
    assert (
        "a display showed 900 W; by its plate the load takes 1,000 W" in by_source(result)["the load's power"].because
    )
    assert_adds_up(result)
    with pytest.raises(Refusal, match="a display showed must be a number above 0"):
        estimate(make({"power_W": 1000}), "load", hours=1, displayed_W=0.0)


@pytest.mark.parametrize(
    ("inverter", "idle_Wh"),
    [
        ({"efficiency_pct": 80, "idle_W": 20}, 80.0),  # all of 4 hours
        ({"efficiency_curve": [[100, 80]], "idle_W": 20}, 60.0),  # in the curve while running, at rest for 3 hours
        ({"efficiency_pct": 80, "idle_W": 20, "always_on": True}, None),
    ],
)
def test_paper_forgets_duty_and_idle_draw(inverter, idle_Wh):
    """A load that runs a quarter of the time, on an inverter that idles."""
    site = make({"power_W": 100, "duty_pct": 25}, inverter=inverter)
    result = paper_against_estimate(estimate(site, "load", hours=4))
    reasons = by_source(result)

    assert reasons["duty cycle"].energy_Wh < 0
    assert (reasons["idle draw"].energy_Wh if idle_Wh else reasons.get("idle draw")) == (
        pytest.approx(idle_Wh) if idle_Wh else None
    )
    assert result.energy.measured == pytest.approx(estimate(site, "load", hours=4).energy_Wh)
    assert_adds_up(result)


def test_a_shunt_alone_sees_load_and_inverter_as_one():
    """790 W against 757.95 W: 32.05 Wh of both together, 10 Wh of the starts."""
    plate = estimate(make(PUMP, inverter=ALWAYS_ON, nominal_V=24.0), "load", hours=1.0, running=True)
    result = measured_against_estimate(plate, totals())
    reasons = by_source(result)

    assert list(reasons) == ["load and inverter together", "starts and uneven running", "bank voltage"]
    assert reasons["load and inverter together"].energy_Wh == pytest.approx(790 - 757.9545, abs=0.001)
    assert reasons["starts and uneven running"].energy_Wh == pytest.approx(10)
    assert reasons["bank voltage"].charge_Ah < 0
    assert {reason.basis for reason in result.reasons} == {"measured"}
    assert "the load and its inverter together drew more" in reasons["load and inverter together"].because
    assert reason_said(reasons["load and inverter together"]).endswith(": +32.0 Wh, +1.36 Ah")
    assert "fewer amp-hours: −" in reason_said(reasons["bank voltage"])
    assert_adds_up(result)


def test_with_a_log_behind_the_inverter_the_two_are_told_apart():
    """655 W behind it instead of 667 W, 655 / 790 = 82.9 % efficiency instead of 88 %."""
    plate = estimate(make(PUMP, inverter=ALWAYS_ON), "load", hours=1.0, running=True)
    result = measured_against_estimate(plate, totals(), load_ac_W=655.0)
    reasons = by_source(result)

    assert reasons["the load's power"].energy_Wh < 0 < reasons["inverter efficiency"].energy_Wh
    assert reasons["inverter efficiency"].after == pytest.approx(655 / 790)
    assert reason_said(reasons["the load's power"]).startswith("the load drew less than its plate, 655 W for 667 W: −")
    assert_adds_up(result)


def test_an_idle_draw_that_the_log_cannot_see_apart_is_named():
    """Where the inverter is on for the load only, its idle draw is in the runs."""
    site = make(PUMP, inverter={"efficiency_pct": 88, "idle_W": 28})
    plate = estimate(site, "load", hours=1.0, running=True)

    assert "load, inverter loss and idle draw together" in by_source(measured_against_estimate(plate, totals()))
    apart = by_source(measured_against_estimate(plate, totals(), load_ac_W=655.0))
    assert apart["inverter efficiency and idle draw together"].before == pytest.approx(667 / (667 / 0.88 + 28))


def test_a_load_on_the_dc_side_has_its_power_alone():
    """There is no inverter to share the blame."""
    site = Site.model_validate(
        {"name": "s", "bank": {"nominal_V": 24, "capacity_Ah": 9}, "loads": [{"name": "winch", "power_W": 600}]}
    )
    result = measured_against_estimate(estimate(site, "winch", hours=1.0, running=True), totals())

    assert by_source(result)["the load's power"].energy_Wh == pytest.approx(190)
    assert by_source(paper_against_estimate(estimate(site, "winch", hours=1.0, running=True))).keys() == {
        "bank voltage"
    }


def test_by_habit_the_duty_cycle_is_a_reason():
    """Three hours taken for running all the time, one of them run."""
    plate = estimate(make(PUMP, inverter=ALWAYS_ON), "load", hours=3.0)
    result = habit_against_measured(plate, totals())

    assert by_source(result)["duty cycle"].after == pytest.approx(1 / 3)
    assert "ran only 33.3 % of the time, not 100 %" in by_source(result)["duty cycle"].because
    assert result.energy.estimated == pytest.approx(3 * 757.9545, abs=0.001)
    assert result.energy.measured == pytest.approx(800)
    assert_adds_up(result)


@given(
    watts=st.floats(5, 5000),
    pct=st.floats(30, 100),
    run_h=st.floats(0.01, 200),
    times=st.floats(0.2, 4),
    extra=st.floats(-0.3, 0.5),
    volts=st.floats(9, 60),
    behind=st.none() | st.floats(0.3, 0.99),
    duty=st.floats(1, 100),
)
def test_reasons_add_up_for_random_chains(watts, pct, run_h, times, extra, volts, behind, duty):
    """Paper, estimate and measurement of any load: energy and charge, running time and by habit."""
    site = make({"power_W": watts, "duty_pct": duty}, inverter={"efficiency_pct": pct, "idle_W": 7.0})
    run_W = watts * times
    energy_Wh = run_W * run_h * (1 + extra)
    runs = RunTotals(3, 0, run_h, energy_Wh, run_W, energy_Wh / volts)
    load_W = None if behind is None else run_W * behind
    running = estimate(site, "load", hours=run_h, running=True)
    habit = estimate(site, "load", hours=run_h * 100 / duty)
    assume(energy_Wh > 0)

    assert_adds_up(paper_against_estimate(running))
    assert_adds_up(paper_against_estimate(habit))
    result = measured_against_estimate(running, runs, load_ac_W=load_W)
    assert_adds_up(result)
    assert (result.energy.estimated, result.energy.measured) == pytest.approx((running.energy_Wh, energy_Wh))
    assert (result.charge.estimated, result.charge.measured) == pytest.approx((running.charge_Ah, energy_Wh / volts))
    assert_adds_up(habit_against_measured(habit, runs, load_ac_W=load_W))


def test_a_log_without_amps_has_reasons_in_energy_only():
    """Charge that was not measured has no parts, and no bank voltage."""
    plate = estimate(make(PUMP, inverter=ALWAYS_ON), "load", hours=1.0, running=True)
    result = measured_against_estimate(plate, totals(charge_Ah=None))

    assert result.charge is None
    assert {reason.charge_Ah for reason in result.reasons} == {None}
    assert reason_said(result.reasons[0]).endswith("+32.0 Wh")


def test_the_check_says_what_limits_it():
    """Left-out runs, idle draw, and a shunt that sees two things as one; by habit only where every run was seen."""
    site = make(PUMP, inverter={"efficiency_pct": 88, "idle_W": 28})
    whole = check_plate(site, "load", cycles_of(make_cycle(0.0)), covered_s=3600.0)
    cut = check_plate(site, "load", cycles_of(make_cycle(0.0), make_cycle(300.0, complete=False)), covered_s=3600.0)

    assert whole.habit is not None
    assert whole.habit.hours == pytest.approx(1.0)
    assert (cut.habit, cut.by_habit) == (None, None)
    assert any("1 of 2 runs are left out" in text for text in cut.remarks)
    assert any("as one" in text for text in whole.remarks)
    assert any("always_on = true" in text for text in whole.remarks)
    shared = check_plate(site, "load", cycles_of(make_cycle(0.0, array_may_share=True)), covered_s=3600.0)
    assert any("lower bound" in text for text in shared.remarks)
