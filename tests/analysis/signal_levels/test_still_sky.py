"""Under a still sky only what steps soon is left of the levels."""

import pytest
from level_lists import EVERY_S, level_list

from shuntbook.analysis.signal_levels.still_sky import sky_drift, still_sky


def amps_of(levels):
    """How each level is under a still sky. [A]."""
    return list(still_sky(levels, EVERY_S).first["current_A"])


def test_steps_stay_and_what_moves_slowly_goes():
    """A sun that moves the base by 1 A a minute; a load of 20 A that goes on to 30 A for 15 minutes in all."""
    levels = level_list((0, 10, 600), (30, 35, 300), (45, 55, 600), (25, 35, 600))

    # Ends of levels are medians of some readings; made by hand they are not, and half a reading's worth is taken twice.
    assert amps_of(levels) == pytest.approx([0, 20, 30, 0], abs=1.0)


def test_the_edge_of_a_cloud_is_no_step():
    """Over 40 s the base rises by 25 A, at once or by levels that hardly hold; a load's ramp, and its stair, stay."""
    at_once = level_list((0, 0, 300), (25, 25, 300, 40), (45, 45, 60, 5), (25, 25, 60, 5))
    by_levels = level_list((0, 0, 300), *((4 * k, 4 * k, 3, 2) for k in range(1, 6)), (25, 25, 300, 4), (45, 45, 60, 5))

    down_a_stair = level_list((0, 0, 300), (40, 40, 60), (20, 20, 3, 3), (10, 10, 3, 3), (0, 0, 300))

    assert amps_of(down_a_stair) == pytest.approx([0, 40, 20, 10, 0])
    assert amps_of(at_once) == pytest.approx([0, 0, 20, 0])
    assert amps_of(by_levels) == pytest.approx([*[0] * 7, 20])


def test_a_level_is_the_same_from_beginning_to_end():
    """What moved within it is the sun's; its times and all else stay."""
    levels = level_list((0, 10, 600), (30, 35, 300))
    still = still_sky(levels, EVERY_S)

    assert still.first == still.last == still.usual
    assert all(getattr(still, name) == getattr(levels, name) for name in ("start_us", "last_us", "least"))


def test_how_fast_the_sky_moves_levels_is_seen_in_long_ones():
    """Half of what three quarters of them stay below; nothing where none is long."""
    assert sky_drift(level_list((0, 6, 600), (30, 33, 300), (10, 16, 600))) == pytest.approx(0.45 * 0.01, rel=0.02)
    assert sky_drift(level_list((0, 6, 30))) == 0.0
