"""What a digit shows whose rows are lit one more, one less, and when a display flickers."""

import numpy as np
import pytest

from shuntbook.ingest.film.digit_light.flicker import Flicker, told_by_rows
from shuntbook.ingest.film.patterns import DOUBT, GLYPHS, glyph_among

#: How far down segments a to g and the point stand, in heights.
DOWN = np.array([0.0, 0.25, 0.75, 1.0, 0.75, 0.25, 0.5, 1.0])
#: Strokes b, c, e and f near their upper and lower ends.
ENDS = np.array([[0.1, 0.4], [0.6, 0.9], [0.6, 0.9], [0.1, 0.4]])
PATTERNS = {glyph: pattern for pattern, glyph in sorted(GLYPHS.items(), reverse=True)}
FULL = 160.0


def lit(glyph, light, share=1.0):
    """Return the light of a figure's segments, the point dark, and down its strokes, by the light of each row."""
    is_lit = np.array([PATTERNS[glyph] >> part & 1 for part in range(7)] + [0]) * share
    return FULL * is_lit * light(DOWN), FULL * is_lit[[1, 2, 4, 5], None] * light(ENDS)


def read(row, down):
    """Return the one figure that a look tells."""
    told = told_by_rows(row, down, FULL)
    return DOUBT if told is None else glyph_among(told.lit, told.known)


def falling(y):
    """Return light that falls from the top to the foot, to a quarter."""
    return 1 - 0.75 * y


def dip(y):
    """Return light with a dark row in the middle, as between two pulses."""
    return 0.3 + np.abs(2 * y - 1) * 0.7


@pytest.mark.parametrize("light", [falling, lambda y: falling(1 - y), dip, np.ones_like])
@pytest.mark.parametrize("glyph", "0123456789")
def test_a_figure_is_read_by_the_light_of_its_rows(glyph, light):
    """The dimmest row has a quarter of the brightest one's light; a dark segment has none of it."""
    assert read(*lit(glyph, light)) == glyph


@pytest.mark.parametrize(("glyph", "other"), [("7", "1"), ("8", "9"), ("3", "9"), ("6", "8"), ("8", "0")])
def test_where_no_light_is_nothing_is_dark(glyph, other):
    """The lower half of a figure, or its top, is not yet lit: it may be any that has the rest."""
    for light in (lambda y: np.clip(1 - 2 * y, 0, 1), lambda y: np.clip(1.6 * y - 0.6, 0, 1)):
        assert read(*lit(glyph, light)) in {DOUBT, glyph}
        assert read(*lit(other, light)) in {DOUBT, other}
    assert read(*lit("7", lambda y: np.clip(1.6 * y - 0.4, 0, 1))) == DOUBT


@pytest.mark.parametrize(("one", "other"), [("5", "2"), ("3", "6"), ("9", "0"), ("1", "7"), ("2", "3"), ("6", "9")])
def test_two_figures_in_change_are_none(one, other):
    """Both are half lit: what they have in common is twice as bright as what only one has, in the same rows or not."""
    for light in (np.ones_like, falling, dip):
        (row, down), (row_2, down_2) = lit(one, light, 0.5), lit(other, light, 0.5)
        assert read(row + row_2, down + down_2) in {DOUBT, one, other}


@pytest.mark.parametrize(("at_foot", "point", "told"), [(1.0, 0.8, True), (1.0, 0.0, False), (0.1, 0.0, None)])
def test_a_point_is_dark_only_where_its_foot_is_lit(at_foot, point, told):
    """It stands in the last rows."""
    row, down = lit("8", lambda y: 1 - (1 - at_foot) * y)
    row[7] = point * FULL
    assert told_by_rows(row, down, FULL).point is told


def seen(shares, *, is_clear=False, apart_s=1 / 15):
    """Return what has seen looks at one 8, each with a share of its light."""
    flicker = Flicker()
    for k, share in enumerate(shares):
        flicker.add(k * apart_s, np.full((1, 7), FULL * share), is_clear=is_clear)
    return flicker


@pytest.mark.parametrize(
    ("shares", "others", "is_seen"),
    [
        ((1.0, 0.6, 0.3), {}, True),
        ((1.0, 0.6, 0.3), {"is_clear": True}, False),
        ((1.0, 0.6, 0.3), {"apart_s": 1.0}, False),
        ((1.0, 0.98, 1.0), {}, False),
        ((1.0, 0.0, 0.0), {}, False),
    ],
)
def test_a_display_flickers_whose_light_changes_from_look_to_look(shares, others, is_seen):
    """One that is clear, stills, a steady one, and one that is switched do not."""
    assert seen(shares * 8, **others).is_seen == is_seen


def test_what_is_never_clear_and_never_changes_stands_still_against_the_camera():
    """It takes two seconds to be sure; a single clear look ends it."""
    assert not seen([1.0] * 29).is_still and seen([1.0] * 30).is_still
    assert not seen([1.0] * 40, is_clear=True).is_still and not seen((1.0, 0.5) * 20).is_still
    assert Flicker().is_uneven(np.array([[0.0] * 7, [1e-6] * 7, [5e-7] * 7]))
