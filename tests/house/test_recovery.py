"""What was hidden in a simulation is found again within its stated interval, as often as stated."""

import pytest
from recovery import coverage


@pytest.mark.parametrize(("runs", "least"), [(150, 0.9), pytest.param(500, 0.93, marks=pytest.mark.night)])
def test_intervals_hold_the_truth_in_93_percent_of_runs(runs, least):
    """Resistance, each term of the losses, efficiency, and both states of charge; 93 % is the bar.

    Of 150 runs at 95 % less than 90 % hold it once in three hundred draws; the tool `recovery` does a thousand.
    """
    shares = coverage(runs)
    assert len(shares) == 7
    assert {name: share for name, share in shares.items() if share < least} == {}
