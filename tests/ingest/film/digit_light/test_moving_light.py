"""Displays that change slowly, as LCDs do in the cold: what is lit of two values at once is not read as a third."""

from itertools import groupby

import numpy as np
import pytest
from slow_digits import slow_glimpses

from shuntbook.ingest.film.digit_light.moving_light import MovingLight
from shuntbook.ingest.film.display import FieldEntry
from shuntbook.ingest.film.field_reader import Glimpse
from shuntbook.ingest.film.patterns import DOUBT
from shuntbook.ingest.film.seen import Seen
from shuntbook.ingest.film.stands import CHANGING, FrameJudge

FIELD = FieldEntry(corners=[[0, 0], [40, 0], [40, 10], [0, 10]], digits=4, decimals=1, unit="A")
APART_S = 1 / 15
#: A value is late on a display that fades by so many time constants at most.
FADES = 3.5
#: Values that follow one another, and how long each stands. [s]
CLIMB = tuple(f" {value}" for value in range(602, 622)), 0.5
JUMPS = tuple(text for text in (" 603", "  47", " 729", "  46") for _ in range(4)), 0.7
SWINGS = (" 603", " 604") * 14, 0.35


def judged(glimpses, **live):
    """Return frames once they are judged."""
    judge, seen = FrameJudge(FIELD, APART_S, **live), []
    for number, (time_s, glimpse) in enumerate(glimpses):
        seen += judge.add(Seen(number, time_s, glimpse))
    return seen + judge.end()


def wrong(seen, texts, every_s, late_s):
    """Return what was read and has not been on the display for long."""
    values = []
    for one in seen:
        first, last = (max(int((one.time_s - back_s) / every_s), 0) for back_s in (late_s, -0.1))
        shown = {float(text) / 10 for text in texts[first : last + 1]}
        if one.figure is not None and one.figure.value not in shown:
            values.append((round(one.time_s, 2), one.figure.value, shown))
    return values


@pytest.mark.parametrize(("texts", "every_s"), [CLIMB, JUMPS, SWINGS])
@pytest.mark.parametrize("fall_s", [0.2, 0.5, 1.0, 2.0])
def test_what_is_lit_of_two_values_at_once_is_not_read_as_a_third(fall_s, texts, every_s):
    """Of a 3 that becomes a 4 all that is lit looks like a 9 until the 3 has gone."""
    seen = judged(slow_glimpses(texts, every_s, fall_s=fall_s))
    assert wrong(seen, texts, every_s, FADES * fall_s) == []
    assert any(one.reason == CHANGING for one in seen) and any(one.figure is not None for one in seen)


def test_a_camera_that_knows_little_of_what_comes_is_as_strict():
    """It tells each value some seconds late."""
    texts, every_s = CLIMB
    seen = judged(slow_glimpses(texts[:12], every_s, fall_s=0.5), block_s=0.5, around_s=3.6)
    assert wrong(seen, texts, every_s, FADES * 0.5) == [] and any(one.figure is not None for one in seen)


@pytest.mark.parametrize("order", [1, 2])
def test_a_value_that_stands_is_read_once_the_one_before_has_gone(order):
    """However the light fades: at once, or after it has lingered."""
    texts = (" 603", " 604", " 588")
    seen = judged(slow_glimpses(texts, 6.0, fall_s=0.7, order=order))
    assert wrong(seen, texts, 6.0, FADES * 0.7) == []
    for k, text in enumerate(texts):
        late = [one.figure and one.figure.value for one in seen if 6 * k + 3 < one.time_s < 6 * k + 5.5]
        assert set(late) == {float(text) / 10}


def test_a_fast_display_is_read_at_each_of_its_values():
    """Nothing of it is still on its way for longer than a frame."""
    texts, every_s = CLIMB
    seen = judged(slow_glimpses(texts, every_s, fall_s=0.03, rise_s=0.03))
    read = [figure.value for figure, _ in groupby(one.figure for one in seen if one.figure is not None)]
    assert read == [float(text) / 10 for text in texts]
    assert sum(one.figure is None for one in seen) < 0.25 * len(seen)


def test_light_that_flickers_is_not_on_its_way():
    """A camera that takes row after row sees now this segment dim, now that."""
    rng = np.random.default_rng(1)
    seen = []
    for k, (time_s, one) in enumerate(slow_glimpses(CLIMB[0][:6], 1.2, fall_s=0.001, rise_s=0.001)):
        light = np.array(one.segments) * (1 + 0.12 * np.sin(1.7 * k + np.tile(np.arange(7.0), 4)))
        light += 0.01 * rng.normal(size=28)
        seen.append((time_s, Glimpse(one.glyphs, -1, "", one.light, (0.1,) * 4, segments=tuple(light))))
    assert [one.figure and one.figure.value for one in judged(seen)] == [(602 + k // 18) / 10 for k in range(108)]


@pytest.mark.parametrize(("last", "is_read"), [(0.66, False), (0.97, True)])
def test_a_segment_that_goes_out_while_another_value_stands_makes_no_figure(last, is_read):
    """It is lit less and less; one that is as bright at the end as it was is the value's own."""
    three, eight = np.array([1.0, 1, 1, 1, 0, 0, 1]), np.ones(7)
    glimpses = []
    for k in range(90):
        light = np.tile(eight, (4, 1))
        light[1, 6] = 0
        light[3] = three if k < 30 else eight
        if 30 <= k < 45:
            light[3, 5] = 1 - (1 - last) * (k - 30) / 14
        light[3, 4:6] *= k < 45
        text = "8083" if k < 30 or k >= 45 else "8088"
        glimpses.append((k * APART_S, Glimpse(text, -1, "", (1.0,) * 4, (0.1,) * 4, segments=tuple(light.ravel()))))
    seen = judged(glimpses)
    assert {one.figure is not None for one in seen[30:45]} == {is_read}
    assert all(one.figure is not None for one in seen[:30] + seen[45:])


@pytest.mark.parametrize(("fall_s", "is_quick"), [(0.03, True), (0.3, False)])
def test_a_display_that_changes_at_once_is_known_by_its_changes(fall_s, is_quick):
    """Its light may then rise and fall as a camera takes it row after row; light that takes long to go is none such."""
    glimpses = slow_glimpses(*CLIMB, fall_s=fall_s, rise_s=0.03)
    wave = 1 - 0.08 * (1 + np.sin(np.arange(len(glimpses)) / 4))
    light = np.array([one.segments for _, one in glimpses]).reshape(len(wave), -1, 7)
    light[:, -1, 0] *= wave
    moving = MovingLight(light, [time_s for time_s, _ in glimpses])
    read = np.array([[glyph != DOUBT for glyph in one.glyphs] for _, one in glimpses])
    assert moving.is_quick(read) == is_quick
    assert not moving.is_quick(np.zeros_like(read))


def test_which_digits_are_lit_moves_no_light():
    """The brightest digit goes dark: the others are held against their own light, and stay where they are."""
    light = np.ones((60, 3, 7)) * np.array([1.15, 1.0, 0.9])[:, None]
    light[30:, 0] = 0
    light /= light.max(axis=(1, 2), keepdims=True)
    moving = MovingLight(light, np.arange(60) * APART_S)
    assert not moving.goes_away(1, ["8"] * 60).any() and not moving.goes_away(2, ["8"] * 60).any()
    light[40:, 1, 3] *= 0.85
    assert MovingLight(light, np.arange(60) * APART_S).goes_away(1, ["8"] * 60)[40:43].all()
