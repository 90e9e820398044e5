"""How long a charger takes for what was taken, and whether its amps suit the bank."""

import pytest

from shuntbook.analysis.bank.charger_time import charger_fits, charger_times
from shuntbook.analysis.bank.limits import charging_judged
from shuntbook.analysis.site.tables import Bank, Charger
from shuntbook.analysis.stats.interval95 import Within


def a_bank(**keys):
    """A 24 V bank of 400 Ah."""
    return Bank.model_validate({"nominal_V": 24, "capacity_Ah": 400, **keys})


def rated(rated_A, **keys):
    """A charger of so many amps."""
    return Charger.model_validate({"name": "generator", "rated_A": rated_A, **keys})


@pytest.mark.parametrize(
    ("taken_Ah", "efficiency_pct", "rated_A", "hours"),
    [
        # Ah out / (share that comes out again x amps): plain sums, of which the first is a recharge by the sun at
        # 12 A x 0.86 of a table from memory, here with a charger of as many amps.
        (40.0, 90, 10.32, 4.307),
        (100.0, 80, 25.0, 5.0),
        (60.0, 100, 60.0, 1.0),
        (0.0, 90, 20.0, 0.0),
    ],
)
def test_the_charge_over_its_efficiency_and_the_amps_are_the_hours(taken_Ah, efficiency_pct, rated_A, hours):
    """By hand."""
    bank = a_bank(charge_efficiency_pct=efficiency_pct)
    (got,) = charger_times(bank, [rated(rated_A)], Within.exactly(taken_Ah))
    assert got.hours.value == pytest.approx(hours, abs=5e-4)
    assert any("tapers near full was left out" in text for text in got.assumptions)


def test_the_interval_is_that_of_what_was_taken_and_of_what_comes_out_again():
    """50 Ah, 45 to 55, of which 85 to 95 % come out again: 45 / 0.95 to 55 / 0.85 at 20 A."""
    (got,) = charger_times(a_bank(charge_efficiency_pct=90), [rated(20)], Within(50, 45, 55))
    assert (got.hours.low, got.hours.value, got.hours.high) == pytest.approx((45 / 19, 50 / 18, 55 / 17))


def test_the_bank_takes_in_no_more_than_its_maker_allows():
    """A charger of 100 A on a bank that takes in 50 A gives 50 A, and that is said."""
    bank = a_bank(chemistry="lifepo4", max_charge_A=50, charge_efficiency_pct=100)
    (got,) = charger_times(bank, [rated(100)], Within.exactly(100.0))
    assert (got.current_A, got.hours.value) == (50.0, pytest.approx(2.0))
    assert any("50 A at most (bank.max_charge_A)" in text for text in got.assumptions)


def test_nothing_is_owed_where_more_was_put_in():
    """Then there is no time to tell."""
    assert charger_times(a_bank(), [rated(20)], Within.exactly(-3.0)) == ()


@pytest.mark.parametrize(
    ("chemistry", "rated_A", "verdict", "words"),
    [
        # C/10 to C/5 of lead-acid, to C/4 of AGM, to C/2 of LiFePO4: common practice, no source.
        ("flooded_lead_acid", 40, "holds", "C/10 of the bank; C/10 to C/5 is usual of flooded lead-acid"),
        ("flooded_lead_acid", 80, "holds", "C/5 of the bank; C/10 to C/5"),
        ("flooded_lead_acid", 90, "doubtful", "C/4.44 of the bank, more than usual: C/10 to C/5"),
        ("flooded_lead_acid", 20, "holds", "C/20 of the bank, less than usual and slow"),
        ("flooded_lead_acid", 38, "holds", "C/10.5 of the bank; C/10"),
        ("agm", 100, "holds", "C/4 of the bank; C/10 to C/4 is usual of AGM"),
        ("agm", 101, "doubtful", "more than usual"),
        ("gel", 81, "doubtful", "usual of gel"),
        ("lifepo4", 200, "holds", "C/2 of the bank; C/10 to C/2 is usual of LiFePO4"),
        ("lifepo4", 210, "doubtful", "more than usual"),
        ("other", 40, "doubtful", "was not judged; add bank.chemistry or bank.max_charge_A"),
    ],
)
def test_amps_are_held_against_what_is_usual_of_the_kind(chemistry, rated_A, verdict, words):
    """Above it the charger is doubtful; below it only slow."""
    got = charger_fits(a_bank(chemistry=chemistry), rated(rated_A))
    assert got.verdict == verdict
    assert words in got.sentence
    assert "no source" in got.sentence or chemistry == "other"


@pytest.mark.parametrize(("rated_A", "verdict"), [(50, "holds"), (51, "fails")])
def test_the_makers_limit_goes_before_what_is_usual(rated_A, verdict):
    """A flooded bank whose maker allows C/8, and a charger at and above that."""
    bank = a_bank(chemistry="flooded_lead_acid", max_charge_A=50)
    got = charger_fits(bank, rated(rated_A))
    assert got.verdict == verdict
    assert "bank.max_charge_A" in got.sentence
    (part,) = charging_judged(bank, None, chargers=[rated(rated_A)])
    assert part.verdict == verdict
