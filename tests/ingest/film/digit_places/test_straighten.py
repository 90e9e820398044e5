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
