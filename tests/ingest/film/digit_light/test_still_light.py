"""Light that rests on a display is taken off, and nothing else."""

import numpy as np
import pytest
from film_digits import GROUND, HIGH, LEFT, TAUGHT, TOP, Pictures

from shuntbook.ingest.film.digit_light.still_light import StillEdges, StillLight, flattened
from shuntbook.ingest.film.digit_places.straighten import straightened
from shuntbook.ingest.film.field_reader import FieldReader
from shuntbook.ingest.film.patterns import DOUBT

#: What lit segments have, in parts of what they have in a dark room: a dim display's.
DIM = 0.2


def glare(pictures, at, peak=50.0, wide=20.0):
    """Return a round gleam on the middle of a display, `at` so many heights from its left."""
    y, x = np.mgrid[: pictures.size[0], : pictures.size[1]]
    away = (x - LEFT - at * HIGH) ** 2 + (y - TOP - 0.45 * HIGH) ** 2
    return peak * np.exp(-away / 2 / wide**2)[..., None]


def taken(pictures, text, shows, over, seed=0):
    """Return a picture of a dim display that shows a text, light on dark or dark on light, under a light."""
    picture = pictures.picture(DIM * pictures.lit(text), seed=seed).astype(float)
    picture = picture if shows == "light" else 200 - (picture - GROUND)
    return np.clip(picture + over, 0, 255).astype(np.uint8)


def taught(pictures, shows, over):
    """Return a reader that has seen a dim display under a light for some seconds."""
    reader = FieldReader(pictures.reader().box, shows)
    for k in range(24):
        text = TAUGHT[k % len(TAUGHT)]
        picture = taken(pictures, " " + text[1:] if k % 2 else text, shows, over, seed=k)
        reader.look(picture, np.eye(3), 0.31 * k)
    return reader


@pytest.mark.parametrize(
    ("shows", "at"),
    [
        ("light", 1.0),
        ("dark", 0.3),
        pytest.param("light", 0.3, marks=pytest.mark.night),
        pytest.param("dark", 1.0, marks=pytest.mark.night),
    ],
)
def test_dim_digits_under_a_gleam_that_is_no_wider_than_they_are_read(shows, at):
    """Also where the first place is dark, and the gleam lies across it."""
    pictures = Pictures()
    over = glare(pictures, at)
    reader = taught(pictures, shows, over)
    for k, text in enumerate(["6543", " 109", "8765", " 888", "  71"]):
        assert reader.look(taken(pictures, text, shows, over, seed=50 + k), np.eye(3), 10 + 0.31 * k).glyphs == text


def test_what_comes_before_a_digit_under_a_gleam_is_seen():
    """A strip of the ground's own colour over the first digit leaves it in doubt, as without the gleam."""
    pictures = Pictures()
    over = glare(pictures, 1.0)
    picture = taken(pictures, "6543", "dark", over)
    picture[:, : round(pictures.place(0)[1])] = 200
    assert taught(pictures, "dark", over).look(picture, np.eye(3), 10.0).glyphs[0] == DOUBT


def test_segments_that_are_always_lit_are_no_part_of_what_rests():
    """A display that shows one figure all the time keeps it; the gleam is taken off to a tenth of a segment."""
    pictures = Pictures()
    reader = taught(pictures, "light", 0.0)
    still = StillLight(reader.model, reader.box.shape)
    pictures_seen = [taken(pictures, "8888", "light", over).astype(np.float32) for over in (0.0, glare(pictures, 1.0))]
    plain, under = (straightened(one.astype(np.uint8), reader.box, np.eye(3)).mean(axis=2) for one in pictures_seen)
    for _ in range(3):
        still.add(under)
    amounts = reader.model.amounts(under - still.picture)
    lit = amounts.lit[:, :7]
    assert lit.min() > 0.8 * lit.max() > 0
    ground = np.median(plain)
    about = slice(16, -16), slice(reader.box.margin_x, -reader.box.margin_x)
    assert np.abs(still.picture - (under - plain) - ground)[about].mean() < 0.1 * 150


def test_flattening_leaves_strokes_and_takes_what_is_wider():
    """The edge of the glass, which is a step, leaves no line."""
    patch = np.full((64, 200), 50.0, np.float32)
    patch[:, 150:] = 180
    patch += np.linspace(0, 40, 64, dtype=np.float32)[:, None]
    patch[20:50, 60:66] += 30
    flat = flattened(patch)
    assert flat[30, 62] == pytest.approx(30, abs=2)
    flat[20:50, 60:66] = 0
    assert np.abs(flat[:50]).max() < 3


def test_dark_digits_in_a_shadow_stand_out_as_much_less_as_their_ground_is_darker():
    """Four tenths of the light are left on the last digit; those at the edge of the shadow are read or in doubt."""
    pictures = Pictures()
    reader = FieldReader(pictures.reader().box, "dark")
    light = np.ones(pictures.size)[..., None]
    light[:, round(pictures.place(2)[0]) :] = 0.4
    for k in range(24 + len(TAUGHT)):
        text = TAUGHT[k % len(TAUGHT)]
        picture = (200 - 0.5 * (pictures.picture(pictures.lit(text), seed=k).astype(float) - GROUND)) * light
        glyphs = reader.look(picture.astype(np.uint8), np.eye(3), 0.31 * k).glyphs
        assert k < 24 or all(glyph in {true, DOUBT} for glyph, true in zip(glyphs, text, strict=True))
        assert k < 24 or (glyphs[0], glyphs[3]) == (text[0], text[3])


def test_what_stands_across_a_dark_segment_for_good_counts_once_it_was_seen_lit():
    """Not of one that was never lit: it may stand beside its place."""
    edges, lit, across = StillEdges(), np.zeros((1, 7)), np.full((1, 7), 0.05)
    across[0, 4] = across[0, 5] = 0.4
    for k in range(9):
        lit[0, 4] = float(k % 3 == 0)
        edges.add(lit.copy(), np.where(lit > 0, 1.0, across))
    assert edges.across()[0].round(2).tolist() == [0, 0, 0, 0, 0.4, 0, 0]


def test_where_the_room_grows_dark_as_much_less_is_taken_off():
    """A third of the light is left: of what rests on the display, too."""
    pictures = Pictures()
    reader = taught(pictures, "dark", 0.0)
    still = StillLight(reader.model, reader.box.shape)
    bright = -straightened(taken(pictures, " 123", "dark", glare(pictures, 1.0, peak=30.0)), reader.box, np.eye(3))
    for _ in range(3):
        still.add(bright.mean(axis=2))
    dark = still.taken_off(bright.mean(axis=2) / 3)
    assert dark == pytest.approx(still.taken_off(bright.mean(axis=2)) / 3, abs=0.2)
