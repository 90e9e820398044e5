"""One disturbance at a time: what it costs, and that it makes nothing be read wrong."""

import pytest
from film_disturbed import disturbed

from shuntbook.ingest.film.digit_light.flicker import IN_STEP

#: Film by film some seconds; the whole is ``python tests/tools film_reading --only all``.
FIRST, LENGTH_S = 502, 8.0


def read_of(name, degree):
    """Return what was read of one film with a disturbance."""
    ((_, read),) = disturbed(name, FIRST, 1, LENGTH_S, [degree])
    assert read.wrong == []
    return read


@pytest.mark.parametrize(
    ("name", "degree", "share"), [("room", 0.3, 1.0), pytest.param("fading", 0.1, 0.85, marks=pytest.mark.night)]
)
def test_what_leaves_the_display_to_be_seen_costs_little(name, degree, share):
    """The room's light goes off, or segments take a quarter of a second to change: each jump of the load is read."""
    read = read_of(name, degree)
    assert read.read >= share * read.clear > 10
    assert len(read.delays_s) == read.jumps > 1 and max(read.delays_s) < 0.3


def test_what_is_left_of_a_value_on_a_cold_display_is_not_read_with_the_next_one():
    """Segments light at once and go out within a second: an 8 stands where a 3 follows a 4."""
    read = read_of("cold", 1.0)
    assert any("still changing" in reason for reason in read.why) and read.accepted > 20


@pytest.mark.parametrize(
    ("degree", "share"), [((50.0, 30.0), 0.75), pytest.param((100.0, 30.0), 0.9, marks=pytest.mark.night)]
)
def test_digits_that_flicker_row_by_row_are_read(degree, share):
    """In no frame are all digits lit alike; each is read where its own rows show it."""
    read = read_of("flicker", degree)
    assert read.read >= share * read.clear > 10 and read.jumps > 1


@pytest.mark.night
def test_a_flicker_in_step_with_the_camera_is_told():
    """The same digits are dark in each frame: the reason says what to do."""
    read = read_of("flicker", (50.0, 25.0))
    assert read.accepted == 0 and read.why.most_common(1)[0][0] == IN_STEP
