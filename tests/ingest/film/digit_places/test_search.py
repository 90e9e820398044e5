"""Digits of known build are found where they stand, in boxes drawn well and badly."""

import cv2
import numpy as np
import pytest
from examples import examples
from film_shapes import Build, outline, slanted
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.ingest.film.digit_places.beside import is_crossed
from shuntbook.ingest.film.digit_places.geometry import Geometry
from shuntbook.ingest.film.digit_places.search import find_geometries, refined_geometry
from shuntbook.ingest.film.digit_places.straighten import Box, straightened

HIGH, TEXT = 60, "8036"
STILL = np.eye(3)


def picture_of(build, text=TEXT, *, noise=3.0):
    """Return a picture of digits 60 pixels high, and the corners round all of them."""
    wide = (build.pitch * (len(text) - 1) + build.width + build.slant) * HIGH
    fine, at = np.zeros((8 * HIGH, round(wide + 3 * HIGH) * 4), np.uint8), np.array([1.5 * HIGH, 0.5 * HIGH])
    for k, glyph in enumerate(text):
        for stroke in build.strokes(glyph):
            points = (slanted(build, outline(build, stroke)) + np.array([k * build.pitch, 0])) * HIGH + at
            cv2.fillPoly(fine, [np.round((points + 0.5) * 64 - 8).astype(np.int32)], 180, cv2.LINE_AA, 4)
    light = cv2.GaussianBlur(cv2.resize(fine, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    grain = np.random.default_rng(1).normal(30, noise, light.shape)
    picture = np.repeat(np.clip(light + grain, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    return picture, np.array([[0, 0], [wide, 0], [wide, HIGH], [0, HIGH]]) + at


def patch_of(picture, box):
    """Return the straightened box in grey."""
    return straightened(picture, box, STILL).mean(axis=2)


def misplaced(geometry, build, box, corners):
    """Return how far at most a corner of a digit is from where it was drawn, in heights."""
    digits = range(box.digits)
    ends = [(k, x, y) for k in digits for x, y in ((0, 0), (1, 0), (0, 1), (1, 1))]
    drawn = [[k * build.pitch + x * build.width + build.slant * (1 - y), y] for k, x, y in ends]
    true = cv2.perspectiveTransform((np.array(drawn) * HIGH + corners[0])[None], box.matrix())[0]
    places = [geometry.at(k, x * geometry.width, y * geometry.height) for k, x, y in ends]
    return float(np.abs(np.array(places) - true).max() / geometry.height)


builds = st.builds(
    lambda width, stroke, apart, degrees, ends: Build(
        width, min(stroke, 0.36 * width), 0.02, ends, float(np.tan(np.radians(degrees))), width * apart
    ),
    st.floats(0.45, 0.68),
    st.floats(0.08, 0.2),
    st.floats(1.1, 1.7),
    st.floats(0, 15),
    st.sampled_from(["pointed", "mitred", "round"]),
)


@examples(by_day=8, by_night=200)
@given(builds)
def test_digits_of_any_usual_build_are_placed(build):
    """Narrow and wide, thick and thin, near and far from each other, leant or not: within 3 % of their height."""
    picture, corners = picture_of(build)
    box = Box(corners, len(TEXT))
    best, *_ = find_geometries(patch_of(picture, box), box)
    assert misplaced(best, build, box, corners) < 0.03
    assert best.width / best.height == pytest.approx(build.width, abs=0.03)
    assert best.pitch / best.height == pytest.approx(build.pitch, abs=0.03)
    assert best.slant == pytest.approx(build.slant, abs=0.03)


@pytest.mark.parametrize("sides", [(0.25, 0.25, 0.25, 0.25), (0.25, -0.08, 0, 0.2), (-0.08, -0.08, -0.08, -0.08)])
def test_a_box_may_be_too_large_or_a_little_too_small(sides):
    """By a quarter of its digits' height at any side, or a twelfth; told by a low contrast, too."""
    build = Build(width=0.62, stroke=0.1, pitch=0.9)
    picture, corners = picture_of(build, noise=12.0)
    left, right, top, foot = np.array(sides) * HIGH
    drawn = corners + np.array([[-left, -top], [right, -top], [right, foot], [-left, foot]])
    box = Box(drawn, len(TEXT))
    assert misplaced(find_geometries(patch_of(picture, box), box)[0], build, box, corners) < 0.04


def test_a_digit_that_stands_aside_is_followed():
    """Two modules side by side: the third and the fourth digit are a little further right."""
    build = Build()
    picture, corners = picture_of(build)
    right = picture.copy()
    half = round(corners[0, 0] + (2 * build.pitch - 0.1) * HIGH)
    right[:, half + 2 :] = picture[:, half:-2]
    box = Box(corners, len(TEXT))
    best, *_ = find_geometries(patch_of(right, box), box)
    assert misplaced(best, build, box, corners) < 0.05
    first, second, third, last = (best.at(k, 0, best.height)[0] for k in range(4))
    assert third - second > max(second - first, last - third) + 0.8 * 2 * 40 / HIGH


def test_known_places_are_refined():
    """From a little beside, to where they are."""
    build = Build()
    picture, corners = picture_of(build)
    box = Box(corners, len(TEXT))
    best, *others = find_geometries(patch_of(picture, box), box)
    known = type(best)(best.left + 1.5, best.pitch, best.width - 1, best.top - 1, best.height, best.stroke, 0.05, 0.0)
    refined = refined_geometry(patch_of(picture, box), box, known)
    assert misplaced(refined, build, box, corners) < 0.03
    assert all(other.score < best.score for other in others)


@pytest.mark.parametrize("glare", [0, 100])
def test_what_goes_on_beyond_digits_is_a_larger_one_and_no_glare(glare):
    """Light that falls on a display is wider than a stroke."""
    build = Build(0.55, 0.13, 0.02, "mitred", 0.1, 0.75)
    picture, corners = picture_of(build)
    y, x = np.mgrid[: picture.shape[0], : picture.shape[1]] - corners[0][::-1, None, None] - [[[0.0]], [[2 * HIGH]]]
    light = 80 + 0.25 * picture + glare * np.exp(-(x**2 + y**2) / HIGH**2)[..., None]
    picture = light.astype(np.uint8)
    box = Box(corners, len(TEXT))
    patch = patch_of(picture, box)
    (geometry, *_) = find_geometries(patch, box)
    assert not is_crossed(patch, geometry, len(TEXT))
    cv2.rectangle(picture, np.array(corners[0] - [0, 25]).astype(int).tolist(),
                  np.array(corners[0] + [8, HIGH]).astype(int).tolist(), (230, 230, 230), -1)  # fmt: skip
    assert is_crossed(patch_of(picture, box), geometry, len(TEXT))


@pytest.mark.parametrize("taper", [-0.12, 0.0, 0.05, 0.12])
def test_what_grows_to_one_side_stands_further_apart_there(taper):
    """As in any picture of a plane: held against one that is seen from aside, its ends where they were."""
    g = Geometry(10.0, 34.0, 22.0, 8.0, 40.0, 6.0, 0.1, 1.0, taper=taper, long=128.0)
    # Nearer things are larger: by how much at each end, and both ends of the middle line stay.
    left, right = 1 - taper / 2, 1 + taper / 2
    flat = np.array([[0, -20], [128, -20], [128, 20], [0, 20]], np.float32)
    seen = np.array([[10, 28 - 20 * left], [138, 28 - 20 * right], [138, 28 + 20 * right], [10, 28 + 20 * left]])
    matrix = cv2.getPerspectiveTransform(flat, seen.astype(np.float32))
    for digit, x, y in ((0, 0.0, 40.0), (1, 11.0, 20.0), (2, 22.0, 0.0), (3, 11.0, 20.0)):
        plane = [digit * 34.0 + x + 0.1 * (40 - y), y - 20]
        true = cv2.perspectiveTransform(np.array([[plane]], np.float64), matrix)[0, 0]
        assert g.at(digit, x, y) == pytest.approx(tuple(true), abs=0.35)
        across, down = g.upright(*map(np.float64, g.at(digit, x, y)))
        assert (float(across), float(down)) == pytest.approx((digit * 34.0 + x, y), abs=0.1)
