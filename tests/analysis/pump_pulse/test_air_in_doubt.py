"""A tank whose air is in doubt: by a flow that no such pump can lift, and what is not said of its water then."""

import re
from dataclasses import replace

import numpy as np
import pytest
from health_cycles import DAY_S, cycles, judged

from shuntbook.analysis.cycles.cycle import CycleSummary
from shuntbook.analysis.equipment.hydraulics import HIGHEST, most_flow_L_per_min
from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.one_log.water_report import water_report
from shuntbook.analysis.pump_pulse.flow import with_flow
from shuntbook.analysis.pump_pulse.pulse import pump_pulse
from shuntbook.analysis.readings.measured_span import Span
from shuntbook.analysis.site.site import Site

PSI = 6.894757293168


def place(**water):
    """A 20-gallon tank on a 40/60 psi switch, and a pump of 1/2 hp whose flow nobody knows."""
    pressures = {"cut_in_psi": 40, "cut_out_psi": 60, "precharge_psi": 38}
    return Site.model_validate(
        {
            "name": "Marrowbrook",
            "bank": {"nominal_V": 24, "capacity_Ah": 420},
            "inverters": [{"name": "shed", "continuous_VA": 3000, "efficiency_pct": 88}],
            "loads": [{"name": "well pump", "kind": "pump", "inverter": "shed", "hp": 0.5, "voltage_V": 230}],
            "water": {"load": "well pump", "tank_volume_gal": 20, **pressures, **water},
        }
    )


def pulse_of(made, of):
    checks = tuple(judged(made, of).values())
    return checks, pump_pulse(of, of.load("well pump"), Runs(made, 1.0), Span(0, 86400_000_000, 1, DAY_S, ()), checks)


def runs_of(shortest_s, rest_s=2500.0, draw_W=780.0):
    return cycles(shortest_s * (1 + np.linspace(0.005, 0.9, 40)), rest_s, draw_W=draw_W)


@pytest.mark.parametrize(("lift", "head_kPa"), [({}, 50 * PSI), ({"head_m": 30.0}, 50 * PSI + 30 * 9.81)])
def test_the_most_that_is_lifted_is_flow_times_pressure(lift, head_kPa):
    """Watts in water are litres a second times kilopascals; at most such a share of those taken in ends up there."""
    most = most_flow_L_per_min(place(**lift).water, 1000.0)
    assert most / 60 * head_kPa == pytest.approx(HIGHEST * 1000.0)


@pytest.mark.parametrize(("draw_W", "doubtful"), [(784.0, True), (2000.0, False)])
def test_a_flow_beyond_the_pumps_power_puts_the_air_in_doubt(draw_W, doubtful):
    """19.5 L in 9 s against 345 kPa are 750 W in the water: too many for 784 W, and not for 2,000 W."""
    checks, pulse = pulse_of(runs_of(9.0, draw_W=draw_W), place())
    assert {check.code: check.outcome for check in checks}["air_charge_lost"] != "found"
    assert (pulse.flow.air == "in doubt") is doubtful
    assert ("more than this pump can lift with 784 W" in pulse.air_doubt) is doubtful
    figures = (pulse.flow.flow_L_per_min, pulse.flow.drawdown_L)
    assert (figures == (None, None)) is doubtful
    assert isinstance(pulse.pumped, Missing) is doubtful


def test_without_watts_the_plate_says_what_can_be_lifted():
    """Amps alone: 1.6 times the plate's estimate of 1/2 hp, about 1,330 W, lift 162 L/min at most, not 180."""
    without = {"cycle": lambda k, cycle: replace(cycle, run_W=None)}
    made = cycles(5.0 * (1 + np.linspace(0.005, 0.9, 40)), 2500.0, **without)
    assert "more than this pump can lift with 1," in pulse_of(made, place())[1].air_doubt


def test_an_impossible_flow_is_evidence_of_the_finding():
    """It stands in the check and in the finding; other checks, and a flow that may be, are left alone."""
    checks, pulse = pulse_of(runs_of(9.0, rest_s=20.0), place())
    told = {check.code: check for check in with_flow(checks, pulse.flow)}
    air = told["air_charge_lost"]
    assert air.finding.evidence == air.remark
    assert air.remark.endswith(pulse.flow.too_much)
    assert "of a tank with its air would mean" in air.remark
    before = {check.code: check for check in checks}
    assert [code for code, check in told.items() if check != before[code]] == ["air_charge_lost"]
    assert with_flow(checks, Missing("flow")) == checks


@pytest.mark.parametrize("plate", [{}, {"flow_L_per_min": 40.0}])
def test_the_evidence_reckons_with_the_figures_that_it_prints(plate):
    """Gallons or litres over seconds are the flow; beside the site file's, shares of it and of the water make 1.

    Whoever reckons after it must not find the tank sound.
    """
    _, pulse = pulse_of(runs_of(9.0, rest_s=20.0), place(**plate))
    number, ends = r"([\d.]+)", r"([\d.]+) to ([\d.]+)"
    told = re.search(
        rf"in {number} s \({ends}\); {number} gal \({ends}\).* {number} (gal|L)/min \({ends}\)", pulse.flow.too_much
    ).groups()
    per_min = 60 * (1.0 if told[7] == "gal" else 3.785411784)
    (fill, shortest, longest, water, least, most, flow), (low, high) = map(float, told[:7]), map(float, told[8:])
    assert flow == pytest.approx(per_min * water / fill, rel=0.02)  # printed to three digits
    # The flow's interval lies within that of its two figures at their worst, and holds what either alone moves it to.
    assert per_min * least / longest * 0.98 < low < flow < high < per_min * most / shortest * 1.02
    assert low < per_min * least / fill * 1.02
    if plate:
        of_plate, share = (
            float(x) for x in re.search(rf"{number} % of the site.* {number} % \(", pulse.flow.too_much).groups()
        )
        assert of_plate == pytest.approx(100 * flow / 40.0, rel=0.02)
        assert of_plate * share == pytest.approx(1e4, rel=0.02)
    else:
        watts, most_flow = (
            float(x) for x in re.search(rf"with {number} W: {number} gal/min at most", pulse.flow.too_much).groups()
        )
        assert "(70 % of the watts in the water, against 50 psi)" in pulse.flow.too_much
        assert most_flow * 3.785411784 / 60 * 50 * PSI == pytest.approx(0.7 * watts, rel=0.01)


def test_nothing_that_rests_on_the_tanks_water_is_said_of_one_in_doubt():
    """Its cost is not judged; with the pump's flow the water of a run is flow times time, whatever the tank holds."""
    made = runs_of(9.0, rest_s=20.0)
    summary = CycleSummary(40, None, None, 13.0, 20.0)
    made = replace(made, summary=summary)
    in_doubt = water_report(place().water, made, power_W=667.0, air_in_doubt=True)
    assert "the tank's air is in doubt" in in_doubt.cost.because
    sound = water_report(place().water, made, power_W=667.0)
    assert sound.cost.water_L == pytest.approx(sound.plan.drawdown_L)
    by_flow = water_report(place(flow_L_per_min=30.0).water, made, power_W=667.0, air_in_doubt=True)
    assert by_flow.cost.water_L == pytest.approx(30.0 * 13.0 / 60)


def test_gallons_of_a_tank_make_gallons_of_its_flow():
    """A file without a flow counts as its volume does; one with a flow as it is given."""
    assert place().shown.flow == "gal/min"
    assert place(flow_L_per_min=30.0).shown.flow == "L/min"
