"""Boxes as hands draw them: too wide, too high, aside and askew; and those that hold something else."""

import numpy as np
import pytest
from film_drawing import Painter, corners_of
from film_frames import States, read_states
from film_plans import plan_of

from shuntbook.ingest.film.digit_places.straighten import Box
from shuntbook.ingest.film.field_reader import FieldReader
from shuntbook.ingest.film.follow import CameraFollower

#: The seeds of films of each kind of display.
SEEDS = {"led": 5, "lcd": 4}


def on_both(*ways):
    """Return what is tried on either kind of display: by day on one of them, in turns."""
    return [
        pytest.param(kind, *way, marks=[] if turn == k % 2 else [pytest.mark.night])
        for k, way in enumerate(ways)
        for turn, kind in enumerate(SEEDS)
    ]


@pytest.fixture(scope="module")
def frames(request):
    """Hold twelve frames of a film, their times, how its camera moved, and the volts' display."""
    plan = plan_of(SEEDS[request.param])
    painter, shown = Painter(plan), plan.shown[1]
    follower = CameraFollower([Box(corners_of(plan, one), one.digits) for one in plan.shown])
    seen = []
    for k in range(12):
        picture = painter.frame(round(k * 0.3 * plan.fps))
        seen.append((k * 0.31, picture, follower.moved(picture)))
    return plan, shown, seen


def as_drawn(way, exact, digits):
    """Return a box drawn in a certain way by its exact corners."""
    middle, along, down = exact.mean(axis=0), exact[1] - exact[0], exact[3] - exact[0]
    sides, ends = np.array([[-1], [1], [1], [-1]]), np.array([[-1], [-1], [1], [1]])
    low, high = exact.min(axis=0), exact.max(axis=0)
    return {
        "too wide": exact + 0.125 * sides * along,
        "too high": exact + 0.125 * ends * down,
        "too large": middle + 1.2 * (exact - middle),
        "aside": exact + 0.05 * along + 0.05 * down,
        "level": np.array([low, [high[0], low[1]], high, [low[0], high[1]]]),
        "too small": middle + 0.6 * (exact - middle),
        "elsewhere": exact + 0.5 * along,
        "too short": exact - np.outer([0, 1, 1, 0], along / digits),
        "one left out": exact + np.outer([1, 0, 0, 1], along / digits),
    }[way]


def glimpsed(frames, way, left_out=0):
    """Return what a reader that has learnt from the frames sees in each."""
    plan, shown, seen = frames
    box = Box(as_drawn(way, corners_of(plan, shown), shown.digits), shown.digits - left_out)
    reader = FieldReader(box, "light" if plan.kind == "led" else "dark")
    for time_s, picture, moved in seen:
        reader.look(picture, moved, time_s)
    reader.learn_from_few()
    reader.rewind()
    return [reader.look(picture, moved, time_s) for time_s, picture, moved in seen]


@pytest.mark.parametrize(
    ("frames", "way"), on_both(["too wide"], ["too high"], ["too large"], ["aside"], ["level"]), indirect=["frames"]
)
def test_the_digits_of_a_box_drawn_badly_are_read(frames, way):
    """A quarter too wide or too high, a twentieth aside, or level round a display that stands askew."""
    _, shown, seen = frames
    glimpses = glimpsed(frames, way)
    truth = [shown.text_at(time_s).replace(".", "") for time_s, *_ in seen]
    assert sum(one.glyphs == true for one, true in zip(glimpses, truth, strict=True)) >= 8


@pytest.mark.parametrize(
    ("frames", "way", "left_out"),
    on_both(["elsewhere", 0], ["too small", 0], ["one left out", 1], ["too short", 1]),
    indirect=["frames"],
)
def test_a_box_that_holds_no_whole_figure_is_told_in_a_sentence(frames, way, left_out):
    """Much too small, beside the digits, or with one of them left out: nothing is read, and it says what to do."""
    glimpses = glimpsed(frames, way, left_out)
    assert all("?" in one.glyphs for one in glimpses)
    assert any("draw" in one.reason for one in glimpses)


@pytest.mark.parametrize("seeds", [[47], pytest.param([31, 32], marks=pytest.mark.night)])
def test_states_of_digits_of_any_build_in_boxes_drawn_badly_are_read(seeds):
    """Most of those that nothing is before, and none wrong; also of digits that stand close together."""
    states = States()
    for seed in seeds:
        read_states(seed, 8, states, odd=True)
    assert states.wrong == []
    assert states.clear_read >= 0.9 * states.clear > 5
