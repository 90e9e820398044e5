"""One disturbance at a time: what it costs, and that it makes nothing be read wrong."""

import pytest
from film_disturbed import disturbed

#: Film by film some seconds; the whole is ``python tests/tools film_reading --only all``.
FIRST, LENGTH_S = 502, 8.0


def read_of(name, degree):
    """Return what was read of one film with a disturbance."""
    ((_, read),) = disturbed(name, FIRST, 1, LENGTH_S, [degree])
    assert read.wrong == []
    return read


@pytest.mark.parametrize(("name", "degree", "share"), [("room", 0.3, 1.0), ("fading", 0.1, 0.85)])
def test_what_leaves_the_display_to_be_seen_costs_little(name, degree, share):
    """The room's light goes off, or segments take a quarter of a second to change: each jump of the load is read."""
    read = read_of(name, degree)
    assert read.read >= share * read.clear > 10
    assert len(read.delays_s) == read.jumps > 1 and max(read.delays_s) < 0.3


def test_what_is_left_of_a_value_on_a_cold_display_is_not_read_with_the_next_one():
    """Segments light at once and go out within a second: an 8 stands where a 3 follows a 4."""
    read = read_of("cold", 1.0)
    assert any("not clear" in reason for reason in read.why) and read.accepted > 40
