"""A display's box straightened: of a large picture only what the box shows is touched."""

import cv2
import numpy as np
import pytest

from shuntbook.ingest.film.digit_places.straighten import Box, straightened

STILL = np.eye(3)


@pytest.mark.parametrize("away", [(0, 0), (-330, -200), (700, 420)])
def test_a_part_of_the_picture_gives_what_the_whole_gave(away):
    """Also where the box lies at an edge, or has left the picture."""
    picture = np.random.default_rng(4).integers(0, 255, (720, 1280, 3)).astype(np.uint8)
    box = Box(np.array([[400, 250], [900, 290], [880, 470], [390, 420]]) + np.array(away, dtype=float), 4)
    assert box.scale() > 1.5
    rows, columns = box.shape
    wide = round(box.scale())
    whole = cv2.warpPerspective(
        cv2.blur(picture, (wide, wide)), box.matrix(), (columns, rows), borderMode=cv2.BORDER_REPLICATE
    )
    assert np.abs(straightened(picture, box, STILL) - whole).max() <= 1


def test_a_box_far_outside_the_picture_is_no_fault():
    """A camera that was turned away shows nothing of it."""
    picture = np.zeros((360, 640, 3), np.uint8)
    box = Box(np.array([[5000, 5000], [5400, 5000], [5400, 5200], [5000, 5200]], dtype=float), 4)
    assert straightened(picture, box, STILL).shape == (*box.shape, 3)


def test_a_box_is_straightened_by_hand():
    """80 pixels wide and 20 high: 160 by 40, a margin of 1.3 of its four digits at each side and of 12 above."""
    box = Box(np.array([[10, 20], [90, 20], [90, 40], [10, 40]], dtype=float), 4)
    assert (box.wide, box.margin_x, box.shape, box.scale()) == (160, 52, (40 + 24, 160 + 104), 0.5)
    ends = np.array([[10, 20, 1], [90, 20, 1], [90, 40, 1], [10, 40, 1]]) @ box.matrix().T
    np.testing.assert_allclose(ends[:, :2] / ends[:, 2:], [[52, 12], [212, 12], [212, 52], [52, 52]], atol=1e-4)
    # A slanted one by the means of its sides: 100 and 60 across, 30 and 50 down.
    slanted = Box(np.array([[0, 0], [100, 0], [60, 30], [0, 50]], dtype=float), 4)
    across, down = 100 + np.hypot(60, 20), 50 + np.hypot(40, 30)
    assert slanted.wide == round(40 * across / down)
    assert slanted.scale() == pytest.approx(down / 2 / 40)


@pytest.mark.parametrize(("wide", "straight"), [(4000.0, 480), (1.0, 8)])
def test_a_box_is_no_longer_than_digits_are(wide, straight):
    """Twelve times its height, whatever was drawn; nor narrower than 8 pixels, nor is its margin."""
    box = Box(np.array([[0, 0], [wide, 0], [wide, 20], [0, 20]]), 9)
    assert (box.wide, box.margin_x) == (straight, max(round(1.3 * straight / 9), 8))


@pytest.mark.parametrize(("high", "is_averaged"), [(60, False), (61, True)])
def test_a_small_display_is_taken_as_it_is(high, is_averaged):
    """One and a half pixels of the picture a pixel of the patch; more of them are averaged first."""
    picture = np.random.default_rng(5).integers(0, 255, (200, 400, 3)).astype(np.uint8)
    box = Box(np.array([[100, 50], [250, 50], [250, 50 + high], [100, 50 + high]], dtype=float), 4)
    rows, columns = box.shape
    plain = cv2.warpPerspective(picture, box.matrix(), (columns, rows), borderMode=cv2.BORDER_REPLICATE)
    assert np.allclose(straightened(picture, box, STILL), plain) is not is_averaged
