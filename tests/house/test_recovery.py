"""What was hidden in a simulation is found again within its stated interval, as often as stated."""

import pytest
from recovery import coverage


@pytest.fixture(scope="module")
def shares():
    """Five hundred runs of each; `python tests/tools recovery` does a thousand."""
    return coverage(500)


def test_intervals_hold_the_truth_in_93_percent_of_runs(shares):
    """Resistance, each term of the losses, efficiency, and both states of charge; 93 % is the bar."""
    assert len(shares) == 7
    assert {name: share for name, share in shares.items() if share < 0.93} == {}
