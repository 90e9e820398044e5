"""Which frames of a film are looked at, with which number and time, and where a film is entered."""

import io
import sys

import cv2
import numpy as np
import pytest
from film_files import brighter_and_brighter, write_small

from shuntbook.ingest.film.frames import first_picture, frames_between, open_film


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    """Hold a film of two seconds at thirty frames a second, each brighter than the one before."""
    return open_film(str(write_small(tmp_path_factory.mktemp("film") / "a.mp4", brighter_and_brighter(40))), None)


def test_every_other_frame_is_looked_at(film):
    """Fifteen a second, each by its number in the film, counted from 1."""
    frames = list(film.frames())
    assert film.apart_s == pytest.approx(1 / 15) and film.lasts_s == pytest.approx(40 / 30)
    assert [frame.number for frame in frames] == list(range(1, 41, 2))
    assert [frame.time_s for frame in frames] == pytest.approx([k / 15 for k in range(20)], abs=1e-3)
    light = [frame.picture[:, 30:].mean() for frame in frames]
    assert light == pytest.approx([40 + 8 * k for k in range(20)], abs=4)
    assert (first_picture(film) == frames[0].picture).all()


def test_a_slow_film_is_looked_at_frame_by_frame(tmp_path):
    """None of ten a second is passed over."""
    slow = open_film(str(write_small(tmp_path / "a.avi", brighter_and_brighter(8), 10.0, "MJPG")), None)
    assert [frame.time_s for frame in slow.frames()] == pytest.approx([k / 10 for k in range(8)])


def test_a_rate_that_no_camera_has_is_none(tmp_path):
    """A thousand frames a second and more are a file's mistake: it is looked at as often as any, and how long it lasts
    is not known."""
    odd = open_film(str(write_small(tmp_path / "a.mp4", brighter_and_brighter(8), 1200.0)), None)
    assert (odd.apart_s, odd.lasts_s) == (1 / 15, None)
    quick = open_film(str(write_small(tmp_path / "b.mp4", brighter_and_brighter(8), 240.0)), None)
    assert (quick.apart_s, quick.lasts_s) == (pytest.approx(1 / 15), pytest.approx(8 / 240))


def test_a_film_is_entered_in_its_middle(film):
    """Both ends count, and numbers are those of the whole film; from before its beginning is from there."""
    middle = list(frames_between(film, 0.6, 0.8))
    whole = {frame.number: frame for frame in film.frames()}
    assert middle[0].time_s == pytest.approx(0.6, abs=0.04) and middle[-1].time_s == pytest.approx(0.8, abs=0.07)
    assert all(0.6 <= frame.time_s <= 0.8 for frame in middle)
    for frame in middle:
        assert frame.time_s == pytest.approx((frame.number - 1) / 30, abs=0.04)
    assert middle[0].picture[:, 30:].mean() == pytest.approx(40 + 4 * 30 * middle[0].time_s, abs=6)
    assert [frame.number for frame in frames_between(film, -1.0, 0.1)] == [1, 3]
    assert max(whole) == 39


def test_pictures_of_a_pipe_are_numbered_and_timed(monkeypatch):
    """By the interval that is said; they can be had once."""
    raw = b"".join(cv2.imencode(".png", np.full((4, 4, 3), k, np.uint8))[1].tobytes() for k in range(4))
    monkeypatch.setattr(sys, "stdin", type("In", (), {"buffer": io.BytesIO(raw)}))
    film = open_film("-", 2.5)
    assert (film.again, film.lasts_s, film.apart_s) == (False, None, 2.5)
    told = [(frame.number, frame.time_s, int(frame.picture[0, 0, 0])) for frame in film.frames(2.5)]
    assert told == [(2, 2.5, 1), (3, 5.0, 2), (4, 7.5, 3)]
    with pytest.raises(Exception, match="picture"):
        first_picture(film)


def test_the_ends_of_a_span_count(tmp_path):
    """A still at either end is one of it."""
    for k in range(4):
        cv2.imwrite(str(tmp_path / f"{k}.png"), np.zeros((4, 4, 3), np.uint8))
    film = open_film(str(tmp_path), 2.0)
    assert [frame.time_s for frame in frames_between(film, 2.0, 4.0)] == [2.0, 4.0]
