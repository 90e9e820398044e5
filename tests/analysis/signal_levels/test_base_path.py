"""From base to base: a run is cut out where least is left to be explained."""

from level_lists import EVERY_S, level_list

from shuntbook.analysis.signal_levels.base_path import BasePath


def cut(levels, least=10.0, drift=0.0):
    """The runs of a load that draws so much at least: from which level to which."""
    return [tuple(stretch) for stretch in BasePath(levels, EVERY_S, least, drift).stretches()]


def test_a_run_goes_from_rest_to_rest():
    """At one level after another, up and down, and each run once."""
    levels = level_list((2, 300), (20, 60), (35, 60), (15, 60), (2, 300), (50, 100), (2, 300))

    assert cut(levels) == [(1, 4), (5, 6)]


def test_what_others_draw_is_no_run():
    """Steps of less than the least draw are others', however many lie on one another."""
    assert cut(level_list((2, 300), (8, 300), (14, 60), (8, 300), (2, 300))) == []


def test_two_runs_in_one_of_anothers_are_two():
    """A thermostat's load goes on for both of them: the base between them is another's."""
    levels = level_list((2, 300), (10, 60), (40, 60), (10, 60), (30, 60), (10, 60), (2, 300))

    assert cut(levels) == [(2, 3), (4, 5)]


def test_another_that_goes_on_within_a_run_leaves_another_base():
    """The run ends where it falls by its own draw, six amps above where it began."""
    assert cut(level_list((2, 300), (30, 60), (36, 60), (8, 300), (2, 300))) == [(1, 3)]


def test_a_ramp_belongs_to_its_run():
    """Levels on the way up and down, each below the least draw, begin and end it."""
    levels = level_list((2, 300), (7, 3), (11, 3), (30, 100), (8, 4), (2, 300))

    assert cut(levels) == [(1, 5)]


def test_a_run_without_an_end_is_open():
    """At a gap, and at the log's end; what comes behind a gap is rest until it rises."""
    levels = level_list((2, 300), (30, 60), (30, 60), (2, 60), (40, 60), (25, 60), gaps=(2,))

    assert cut(levels) == [(1, None), (4, None)]


def test_the_sky_may_move_the_base():
    """Behind a run of ten minutes the base is 12 A higher: the sun's doing, where it may be, and no run else."""
    levels = level_list((2, 300), (30, 300), (50, 300), (14, 300), (16, 300))

    assert cut(levels, drift=0.02) == [(1, 3)]
    assert cut(level_list((2, 300), (30, 300), (50, 300), (44, 300), (46, 300)), drift=0.001) == [(1, None)]


def test_no_levels_have_no_runs():
    """An empty list, and one level alone."""
    assert cut(level_list()) == []
    assert cut(level_list((2, 300))) == []
