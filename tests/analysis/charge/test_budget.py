"""Which figure of a log a budget belongs to: what was drawn, unless that may be nothing."""

import pytest
from readings import how

from shuntbook.analysis.charge.amounts import Amounts, Charge, Sureness, budget_of
from shuntbook.analysis.readings.measured_span import Span
from shuntbook.analysis.stats.interval95 import Component, judged


def amounts(drawn, returned, *, u=0.1, volts=False):
    """Amounts, drawn with an error of the gain and returned with one of the zero; energy has one of volts as well."""
    more = [Component("voltage gain", u / 2)] if volts else []
    sure = Sureness(
        judged(drawn, [Component("gain", u), *more]),
        judged(returned, [Component("zero", u), Component("gain", 0.01), *more]),
        judged(drawn - returned, [Component("gain", u)]),
    )
    return Amounts(drawn, returned, sure)


def charge(of_charge, of_energy=None):
    """A log's amounts."""
    return Charge(how(), Span(0, 1, 2, 1.0, ()), of_charge, of_energy, None, None)


@pytest.mark.parametrize(
    ("drawn", "returned", "part"),
    [
        (8.13, 11.42, "drawn"),
        (8.13, 0.0, "drawn"),
        (0.1, 11.42, "returned"),
        (0.1, 0.05, "drawn"),
        (0.0, 3.0, "returned"),
    ],
)
def test_the_budget_is_that_of_what_was_drawn_unless_the_draw_may_be_nothing(drawn, returned, part):
    """More that came back does not make it another figure's: only a draw within its own interval of nothing does."""
    made = amounts(drawn, returned)
    budget = budget_of(charge(made))
    assert (budget.quantity, budget.part) == ("charge", part)
    assert budget.sure is getattr(made.sure, part)


def test_shares_are_those_of_the_figure_and_sum_to_one():
    """A source that only energy has is listed, without a share of the charge's."""
    budget = budget_of(charge(amounts(8.0, 9.0), amounts(200.0, 220.0, u=3.0, volts=True)))
    assert list(budget.sources) == ["gain", "voltage gain"]
    assert budget.share("gain") == pytest.approx(1.0)
    assert budget.share("voltage gain") is None
    assert budget.energy["voltage gain"].u == 1.5


def test_without_charge_the_energy_has_the_budget_and_without_intervals_nothing():
    """Behind an inverter there is energy alone."""
    energy = budget_of(charge(None, amounts(200.0, 0.0, u=3.0, volts=True)))
    assert (energy.quantity, energy.part) == ("energy", "drawn")
    assert energy.share("gain") == pytest.approx(0.8)
    assert budget_of(charge(None)) is None
    assert budget_of(charge(Amounts(8.0, 9.0))) is None
