"""What a single frame shows of a display: each figure of each build, and nothing where it is not clear."""

import cv2
import numpy as np
import pytest
from film_digits import GROUND, HIGH, TAUGHT, TOP, Pictures, patterns_of_digits
from film_shapes import BUILDS, STROKES

from shuntbook.ingest.film.digit_places.straighten import straightened
from shuntbook.ingest.film.field_reader import FieldReader
from shuntbook.ingest.film.patterns import DOUBT


@pytest.fixture(scope="module")
def display():
    """Hold a display of the first build and a reader that knows it."""
    pictures = Pictures()
    return pictures, pictures.reader()


def look(display, lit, over=()):
    """Return what a frame shows, some time after the last one."""
    pictures, reader = display
    look.time_s = getattr(look, "time_s", 100.0) + 0.01
    return reader.look(pictures.picture(lit, over), np.eye(3), look.time_s)


@pytest.mark.parametrize("number", range(len(BUILDS)))
def test_each_figure_of_each_build_is_read_in_each_place(number):
    """Also with dark places before the first digit."""
    pictures = Pictures(BUILDS[number])
    display = pictures, pictures.reader()
    for text in ("0123", "4567", "8901", "2345", "6789", " 123", "  78", "   5", " 909"):
        assert look(display, pictures.lit(text)).glyphs == text


def test_a_segment_too_many_or_too_few_is_that_figure_or_none(display):
    """Never another one: by patterns that the tests know by themselves."""
    pictures, figures = display[0], patterns_of_digits()
    for strokes, digit in figures.items():
        if pictures.build.strokes(digit) != strokes:
            continue
        for k, stroke in enumerate(STROKES):
            lit = pictures.lit(f"8{digit}31")
            lit[1, k] = 1 - lit[1, k]
            glyph = look(display, lit).glyphs[1]
            assert glyph in {figures.get(strokes ^ {stroke}, DOUBT), DOUBT} | ({"A", "P", "U"} - {digit})


@pytest.mark.parametrize("share", [0.3, 0.4, 0.5, 0.6, 0.7])
def test_half_a_change_is_neither_figure_nor_a_third(display, share):
    """What is lit in both of two figures is brighter than the rest: the digit is in doubt, or one of the two."""
    pictures = display[0]
    for old, new in ("1768", "3452"), ("7890", "6459"), ("5017", "7186"), ("8888", "1111"):
        glimpse = look(display, share * pictures.lit(new) + (1 - share) * pictures.lit(old))
        assert all(glyph in {a, b, DOUBT} for glyph, a, b in zip(glimpse.glyphs, old, new, strict=True))


@pytest.mark.parametrize("colour", [(20, 20, 20), (70, 90, 110), (200, 190, 180), (30, 36, 44)])
@pytest.mark.parametrize("covered", [1, 2, 3])
def test_a_first_digit_that_is_covered_is_not_taken_for_a_dark_place(display, colour, covered):
    """Though what is before it is plain, and of nearly the ground's own brightness."""
    pictures = display[0]
    glimpse = look(display, pictures.lit("6789"), [(0, pictures.place(covered - 1)[1], colour)])
    assert set(glimpse.glyphs[:covered]) == {DOUBT}
    assert "before it" in glimpse.reason or "beside" in glimpse.reason or "clear" in glimpse.reason


@pytest.mark.parametrize("part", [0.15, 0.3, 0.5, 0.7])
def test_a_digit_covered_in_part_is_in_doubt(display, part):
    """From its left edge on, so that 8 becomes 3 and 9 becomes 3."""
    pictures = display[0]
    left, right = pictures.place(1)
    glimpse = look(display, pictures.lit("1898"), [(left, left + part * (right - left), (75, 90, 110))])
    assert glimpse.glyphs[1] in {"8", DOUBT} and glimpse.glyphs[2:] in {"98", DOUBT * 2}


def test_a_room_that_grows_lighter_hides_nothing(display):
    """All grounds move alike, those of dark places too."""
    pictures, reader = display
    brighter = pictures.picture(pictures.lit(" 123")).astype(int) + 25
    assert reader.look(brighter.astype(np.uint8), np.eye(3), 300.0).glyphs == " 123"


def test_a_lamp_beside_the_digits_is_got_used_to():
    """One that lights some of them more: in doubt at first, and after some seconds read again."""
    pictures = Pictures()
    reader, glimpses = pictures.reader(), []
    lamp = np.linspace(60, 0, pictures.size[1])[None, :, None]
    for k in range(60):
        lit = pictures.picture(pictures.lit(" 123" if k % 2 else " 456"), seed=k) + lamp
        glimpses.append(reader.look(np.clip(lit, 0, 255).astype(np.uint8), np.eye(3), 20 + 0.31 * k).glyphs)
    assert glimpses[0][0] == DOUBT and glimpses[-1] == " 123"


def halo(pictures, text):
    """Return a picture whose segments shine on what is about them."""
    picture = pictures.picture(pictures.lit(text)).astype(np.float32)
    return np.clip(picture + 0.5 * cv2.GaussianBlur(picture - GROUND, (0, 0), 15.0), 0, 255).astype(np.uint8)


def test_a_dark_place_beside_digits_that_were_not_lit_before_is_dark():
    """A load starts: three bright digits stand where a narrow one did; but a hand there is seen as before."""
    pictures = Pictures()
    reader = pictures.reader()
    for k in range(36):
        reader.look(halo(pictures, "  11"), np.eye(3), 50 + 0.31 * k)
    covered = halo(pictures, " 888")
    covered[:, : round(pictures.place(0)[1])] = 80
    assert reader.look(halo(pictures, " 888"), np.eye(3), 80.0).glyphs == " 888"
    assert reader.look(covered, np.eye(3), 80.1).glyphs[0] == DOUBT


def test_grounds_are_held_against_what_lit_segments_have_in_each_colour(display):
    """Blue digits read in grey shine three times as much blue on what is beside them; no colour counts for more."""
    pictures, reader = display
    light = straightened(pictures.picture(pictures.lit("8888")), reader.box, np.eye(3))
    brighter = reader.model.brighter(light * np.array([2.4, 0.3, 0.3], np.float32), np.full(3, 1 / 3, np.float32))
    assert brighter == pytest.approx([2.4, 1.0, 1.0], rel=0.01)


def test_a_glare_that_rests_at_the_foot_of_a_digit_is_no_segment_of_it():
    """It is as bright as a lit segment, and lies otherwise on each digit."""
    pictures = Pictures()
    reader = FieldReader(pictures.reader().box, "light")
    y, x = np.mgrid[: pictures.size[0], : pictures.size[1]]
    glare = 80 * np.exp(-((x - pictures.place(1)[0] - HIGH / 2) ** 2 + (y - TOP - HIGH) ** 2) / 2 / 35**2)[..., None]
    for k in range(24 + len(TAUGHT)):
        text = TAUGHT[k % len(TAUGHT)]
        picture = np.clip(pictures.picture(0.5 * pictures.lit(text), seed=k) + glare, 0, 255).astype(np.uint8)
        glimpse = reader.look(picture, np.eye(3), 0.31 * k)
        assert k < 24 or glimpse.glyphs == text


def test_nothing_lit_and_no_display_are_said():
    """A frame with no digits has no figure, before the places are known and after."""
    pictures = Pictures()
    dark = np.full((*pictures.size, 3), GROUND, np.uint8)
    unknown = FieldReader(pictures.reader().box, "light")
    assert "not yet known" in unknown.look(dark, np.eye(3), 0.0).reason
    glimpse = pictures.reader().look(dark, np.eye(3), 20.0)
    assert set(glimpse.glyphs) == {DOUBT} and glimpse.reason
