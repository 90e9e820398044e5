"""The flow from day to day: a pump that gives less and less, and one that does not."""

from dataclasses import replace

import numpy as np
import pytest
from health_cycles import cycles, site

from shuntbook.analysis.charge.amounts import Charge
from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.ledger.ledger import LedgerLine
from shuntbook.analysis.ledger.sustained import NOTHING_SEEN
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.pump_pulse.days import PulseDay
from shuntbook.analysis.pump_pulse.flow_trend import FlowTrend, flow_falls, flow_trend
from shuntbook.analysis.pump_pulse.pulse import pump_pulse, with_days
from shuntbook.analysis.readings.measured_span import Span
from shuntbook.analysis.site.units import DisplayUnits
from shuntbook.analysis.stats.interval95 import Within

DAY_US = 86400 * 1_000_000
T0_US = 1_781_000_000 * 1_000_000


def days_of(flows):
    """A day for each flow; None where the day tells none."""
    figures = [None if x is None else Within(x, 0.9 * x, 1.1 * x) for x in flows]
    return [
        PulseDay(str(k), k * DAY_US, (k + 1) * DAY_US, 86400.0, 3000.0, 20, None, flow, None, None)
        for k, flow in enumerate(figures)
    ]


def scattered(flows, seed=1):
    """The same flows as days tell them: off by some percent each."""
    return np.asarray(flows) * np.random.default_rng(seed).normal(1, 0.04, len(flows))


def test_a_pump_that_loses_two_thirds_in_a_month_is_found():
    """From 38 L/min to 13: the change and its interval, both ends, and what to do first."""
    days = days_of(scattered(np.linspace(38, 13.3, 30)))
    trend = flow_trend(days)
    assert trend.verdict == "falling"
    assert trend.change.holds(13.3 / 38 - 1)
    assert (trend.first_L_per_min, trend.last_L_per_min) == (pytest.approx(38, rel=0.08), pytest.approx(13.3, rel=0.15))
    finding = flow_falls(trend, DisplayUnits(flow="gal/min")).finding
    assert finding.severity == "watch"
    assert "gal/min" in finding.plain and "25 %" in finding.plain
    assert "from memory" in finding.source


def test_a_straight_line_is_told_exactly():
    """Half of it lost over 20 days: the ends, the days, and an interval that is a tenth of the loss either way."""
    trend = flow_trend(days_of(np.linspace(40, 20, 21)))
    assert (trend.first_L_per_min, trend.last_L_per_min, trend.span_d) == pytest.approx((40, 20, 20))
    assert (trend.change.low, trend.change.value, trend.change.high) == pytest.approx((-0.55, -0.5, -0.45))
    assert (trend.days, trend.verdict) == (21, "falling")


def test_no_pump_loses_more_than_it_gave():
    """One that dies down within days: a straight line would end below nought."""
    change = flow_trend(days_of(40 * np.exp(-np.arange(20)))).change
    assert -1.0 == change.low <= change.value <= change.high


@pytest.mark.parametrize("seed", range(20))
def test_a_healthy_pump_is_left_in_peace(seed):
    """Scatter alone is no fall; nor is a loss of a tenth, which no limit asks after."""
    assert flow_falls(flow_trend(days_of(scattered(np.full(30, 38.0), seed)))).outcome == "passed"
    tenth = flow_trend(days_of(scattered(np.linspace(38, 34.2, 30), seed)))
    assert flow_falls(tenth).outcome == "passed"


def test_a_flow_that_rises_is_no_finding_of_a_fall():
    """A tank that loses air looks like a pump that gains."""
    trend = flow_trend(days_of(scattered(np.linspace(20, 40, 20))))
    assert trend.verdict == "rising"
    assert flow_falls(trend).outcome == "passed"


def test_few_days_say_nothing():
    """Four days of thirty that tell a flow are too few, and seven in a row; the reason is said."""
    flows = [38.0 - k if k < 7 else None for k in range(30)]
    trend = flow_trend(days_of(flows))
    assert isinstance(flow_trend(days_of([*flows[:4], *[None] * 20, 30.0][1:])), Missing)
    assert isinstance(flow_trend(days_of([*flows[:4], *[None] * 20, 30.0])), FlowTrend)
    assert isinstance(trend, Missing)
    assert flow_falls(trend).outcome == "not judged"
    assert "7 days" in flow_falls(trend).remark
    assert isinstance(flow_trend(days_of([*flows[:7], 30.0])), FlowTrend)


def lines(count):
    """The ledger's lines of so many days from the first run on."""
    starts = [T0_US + k * DAY_US for k in range(count)]
    spans = [Span(us, us + DAY_US, 100, 86400.0, ()) for us in starts]
    wholes = [Charge(None, span, None, None, None, None) for span in spans]
    return [
        LedgerLine(f"2026-06-{9 + k:02}", us, us + DAY_US, whole, NOTHING_SEEN, NOTHING_SEEN, None)
        for k, (us, whole) in enumerate(zip(starts, wholes, strict=True))
    ]


def test_days_of_a_log_add_up_to_it():
    """Running time, starts and water of all days are those of the log; a run over midnight counts on both."""
    count = 12
    rng = np.random.default_rng(3)
    made = cycles(rng.uniform(70, 140, 30 * count), DAY_US / 1e6 / 30 - 112)
    place, runs = site(), Runs(made, 1.0)
    span = Span(T0_US, T0_US + count * DAY_US, 100, count * 86400.0, ())
    pulse = with_days(pump_pulse(place, place.load("well pump"), runs, span, ()), runs, lines(count))
    assert sum(day.starts for day in pulse.days) == 30 * count
    assert sum(day.running_s for day in pulse.days) == pytest.approx(np.nansum(runs.run_s), rel=1e-6)
    assert sum(day.pumped_L.value for day in pulse.days) == pytest.approx(pulse.pumped.pumped_L.value, rel=0.1)
    assert pulse.falls.outcome == "passed"
    assert all(day.flow_L_per_min.holds(pulse.flow.flow_L_per_min.value) for day in pulse.days)
    on_the_stroke = int(runs.start_us[30])
    turn = with_days(
        pulse, runs, [replace(each, start_us=on_the_stroke, stop_us=on_the_stroke + 1) for each in lines(1)]
    )
    assert [day.starts for day in turn.days] == [1]
    short = with_days(pump_pulse(place, place.load("well pump"), runs, span, ()), runs, lines(3))
    assert short.falls is None
