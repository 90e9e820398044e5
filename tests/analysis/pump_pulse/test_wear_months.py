"""A small form of the tool `wear_months`: simulated months of pumps that wear, and of healthy ones."""

import pytest
from wear_months import is_right, month_report, outcome

#: The first days, some on the way and the newest: a month in a third of its logs.
SOME_DAYS = (0, 1, 2, 3, 10, 18, 25, 26, 27, 28, 29)


def outcomes(kind, seed):
    """What came of a month's checks by some of its days."""
    return {check.code: check.outcome for check in month_report(kind, seed, SOME_DAYS).checks}


@pytest.mark.parametrize(("kind", "seed"), [("start", 0), ("healthy start", 0)])
def test_a_month_of_wear_is_found_and_a_healthy_one_is_silent(kind, seed):
    """By logs that are simulated and read as any log is."""
    came = outcomes(kind, seed)
    assert came["start_lengthens"] != "not judged"
    assert is_right(kind, came)


@pytest.mark.night
@pytest.mark.parametrize("seed", range(1, 6))
@pytest.mark.parametrize("kind", ["start", "healthy start"])
def test_whole_months(kind, seed):
    """All thirty logs of more systems."""
    assert is_right(kind, outcome(kind, seed)[0])
