"""Where returned charge came from, on simulated logs whose truth is known: two seeds a class.

``python tests/tools score_sources`` scores more of them.
"""

import pytest
from score_sources import CLASSES, judged, row


@pytest.mark.parametrize("name", [name for name in CLASSES if name not in ("charger_in_clouds", "charger_off")])
@pytest.mark.parametrize("seed", [2, pytest.param(4, marks=pytest.mark.night)])
def test_the_chargers_charge_is_told_right(name, seed):
    """Within 5 % of the truth, or the truth within what is told."""
    log = judged(name, seed)
    assert log["right"], log
    assert log["true"] > 1


@pytest.mark.parametrize("seed", [0, 1, *(pytest.param(seed, marks=pytest.mark.night) for seed in (2, 3))])
def test_sun_and_clouds_alone_are_no_charger(seed):
    """The site file has one that is never on: nothing is called its own."""
    log = judged("charger_off", seed)
    assert not log["tells"], log
    assert log["told"].value == 0 or log["true"] > 0


def test_a_wrong_answer_is_counted_as_one():
    """The score itself: what is told beside its own truth, and beside another."""
    log = judged("charger_no_array", 2)
    assert log["right"] and log["close"]
    assert "100.0%" in row("charger_no_array", [log])
    assert "0.0%" in row("charger_no_array", [log | {"right": False, "close": False}])


def test_a_run_that_a_charger_makes_up_for_is_no_fault():
    """In this log one came on in the middle of a run and gave what that drew: its settled draw is nought."""
    log = judged("charger_in_clouds", 7022)
    assert log["told"].low <= log["told"].value <= log["told"].high
