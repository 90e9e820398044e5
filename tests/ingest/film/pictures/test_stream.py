"""Pictures that come one after another are parted where each of them ends."""

import io

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.film.pictures.stream import pictures_of


class Dripping(io.BytesIO):
    """A pipe that gives some bytes at a time."""

    def __init__(self, raw, at_once):
        super().__init__(raw)
        self._at_once = at_once

    def read(self, size=-1):
        return super().read(min(size, self._at_once))


def picture(k, ending):
    """Return a picture's file, full of noise so that its bytes take every value."""
    noise = np.random.default_rng(k).integers(0, 256, (24, 32, 3), dtype=np.uint8)
    return cv2.imencode(ending, noise)[1].tobytes()


#: A JPEG with a smaller one in it, as cameras write, that ends at once after its first mark.
WITH_SMALL = (small := picture(9, ".jpg"))[:2] + b"\xff\xe1" + (len(small) + 2).to_bytes(2) + small + small[2:]
#: Bytes of 255 may fill up before each mark; one that means nothing stands between two of them.
FILLED = (plain := picture(4, ".jpg"))[:2] + b"\xff\xff\xff" + plain[2:]
ODD = plain[:2] + b"\xff\xe2\x00\x02\x00\x00\x00" + plain[2:]
ALL = [picture(1, ".jpg"), picture(2, ".png"), WITH_SMALL, FILLED, ODD, picture(3, ".jpg")]


@given(st.integers(1, 3000))
def test_they_are_parted_however_they_drip(at_once):
    """JPEG and PNG among each other, one with a smaller one in it."""
    assert list(pictures_of(Dripping(b"".join(ALL), at_once))) == ALL


def test_the_shortest_that_there_can_be_is_one():
    """A beginning, a mark without a length, and the end: six bytes; and one with nothing between."""
    for raw in (b"\xff\xd8\xff\x01\xff\xd9", b"\xff\xd8\xff\xd9"):
        assert list(pictures_of(io.BytesIO(raw))) == [raw]
        assert list(pictures_of(io.BytesIO(raw + ALL[0]))) == [raw, ALL[0]]


def test_one_that_is_not_whole_at_the_end_is_none():
    """As when whoever writes them is stopped."""
    assert list(pictures_of(io.BytesIO(b"".join(ALL)[:-5]))) == ALL[:-1]


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        (b"", "holds no pictures"),
        (b"\x00" * 100, "holds no pictures"),
        (ALL[0] + b"--boundary--" + ALL[0], "what follows picture 1 is none"),
        (ALL[0][:-5], "holds no pictures"),
    ],
)
def test_what_is_none_is_told(raw, told):
    """Raw frames, nothing at all, lines between them."""
    with pytest.raises(InputError, match=told):
        list(pictures_of(io.BytesIO(raw)))
