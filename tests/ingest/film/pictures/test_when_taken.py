"""When stills were taken: by their names, by what their camera wrote into them, and in which order that puts them."""

from datetime import UTC, datetime, timedelta, timezone

import cv2
import numpy as np
import pytest
from PIL import Image

from shuntbook.cli.main import run
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.film.frames import frames_between, open_film
from shuntbook.ingest.film.pictures.when_taken import time_in_file, time_in_name

#: 5 November 2026, 14:30, in Berlin (13:30 in London). [us since 1970]
HALF_PAST_US = 1_793_885_400_000_000


def still(folder, name, grey=90, **exif):
    """Write a small still, with what its camera says of it: taken, offset and parts of the second."""
    picture = Image.fromarray(np.full((8, 12, 3), grey, np.uint8))
    tags = Image.Exif()
    part = tags.get_ifd(0x8769)
    part |= {{"taken": 36867, "offset": 36881, "fraction": 37521}[key]: value for key, value in exif.items()}
    picture.save(folder / name, exif=tags)


@pytest.mark.parametrize(
    ("name", "taken"),
    [
        ("2026-11-05T14.30.00", datetime(2026, 11, 5, 14, 30)),
        ("IMG_20261105_143000", datetime(2026, 11, 5, 14, 30)),
        ("20261105T143000Z", datetime(2026, 11, 5, 14, 30, tzinfo=UTC)),
        ("2026-11-05 14-30-07", datetime(2026, 11, 5, 14, 30, 7)),
        ("20261105_143007250", datetime(2026, 11, 5, 14, 30, 7, 250_000)),
        ("2026-11-05T14.30.07.5", datetime(2026, 11, 5, 14, 30, 7, 500_000)),
        ("20261105_143000_2", datetime(2026, 11, 5, 14, 30)),
        ("20261305_143000", None),
        ("IMG_0042", None),
        ("120261105143000", None),
    ],
)
def test_a_name_may_tell_a_time(name, taken):
    """ISO 8601 in either form, among other letters; a month 13 is none."""
    assert time_in_name(name) == taken


def test_a_camera_writes_when_it_took_a_still(tmp_path):
    """Parts of the second and the offset go with it; what is no EXIF tells nothing."""
    still(tmp_path, "a.jpg", taken="2026:11:05 14:30:07", offset="+01:00", fraction="25")
    assert time_in_file(tmp_path / "a.jpg") == datetime(2026, 11, 5, 14, 30, 7, 250_000, timezone(timedelta(hours=1)))
    still(tmp_path, "b.jpg", taken="2026:11:05 14:30:07", offset="   :  ", fraction="  ")
    assert time_in_file(tmp_path / "b.jpg") == datetime(2026, 11, 5, 14, 30, 7)
    for name, raw in (("c.jpg", b""), ("d.jpg", (tmp_path / "a.jpg").read_bytes()[:60]), ("e.png", b"\x89PNG\r\n")):
        (tmp_path / name).write_bytes(raw)
        assert time_in_file(tmp_path / name) is None
    still(tmp_path, "g.jpg", taken="2026:11:05 14:30:07", fraction="1234567")
    assert time_in_file(tmp_path / "g.jpg") == datetime(2026, 11, 5, 14, 30, 7, 123_456)
    still(tmp_path, "f.jpg", taken="0000:00:00 00:00:00")
    assert time_in_file(tmp_path / "f.jpg") is None


def test_stills_have_their_cameras_times(tmp_path):
    """Before those in their names, in the order in which they were taken, by the clocks of the zone."""
    for k, (name, seconds) in enumerate([("20200101_000000.jpg", 20), ("20200101_000001.jpg", 0), ("x.jpg", 7)]):
        still(tmp_path, name, 10 * k, taken=f"2026:11:05 14:30:{seconds:02}")
    film = open_film(str(tmp_path), None, "Europe/Berlin")
    assert (film.start_us, film.by_zone, film.apart_s) == (HALF_PAST_US, True, 7.0)
    assert [(frame.number, frame.time_s) for frame in film.frames()] == [(1, 0.0), (2, 7.0), (3, 20.0)]
    assert [int(frame.picture[0, 0, 0]) for frame in film.frames()] == pytest.approx([10, 20, 0], abs=2)
    assert [frame.time_s for frame in frames_between(film, 5.0, 10.0)] == [7.0]
    assert film.lasts_s == 20.0 and "camera" in film.whose


def test_stills_have_the_times_in_their_names(tmp_path):
    """Those of one second stand evenly in it; an offset needs no zone."""
    for name in ("20261105_133000Z_1", "20261105_133000Z_2", "20261105_133002Z"):
        cv2.imwrite(str(tmp_path / f"{name}.png"), np.zeros((4, 4, 3), np.uint8))
    film = open_film(str(tmp_path), None, "Europe/Berlin")
    assert (film.start_us, film.by_zone) == (HALF_PAST_US, False)
    assert [frame.time_s for frame in film.frames()] == [0.0, 0.5, 2.0]


def test_parts_of_a_second_count(tmp_path):
    """A quarter past seven seconds and half past eight."""
    for part in ("07250", "08500"):
        cv2.imwrite(str(tmp_path / f"20261105_1430{part}.png"), np.zeros((4, 4, 3), np.uint8))
    film = open_film(str(tmp_path), None, "Europe/Berlin")
    assert film.start_us == HALF_PAST_US + 7_250_000
    assert [frame.time_s for frame in film.frames()] == [0.0, 1.25]


def test_most_stills_say_how_far_apart_they_are(tmp_path):
    """A pause among them changes nothing; where one tells its time by a local clock a zone is needed."""
    for seconds in ("00", "05Z", "10", "15", "55"):
        cv2.imwrite(str(tmp_path / f"20261105_1430{seconds}.png"), np.zeros((4, 4, 3), np.uint8))
    film = open_film(str(tmp_path), None, "UTC")
    assert (film.apart_s, film.by_zone, film.lasts_s) == (5.0, True, 55.0)


def test_an_hour_that_comes_twice_comes_twice_in_stills(tmp_path):
    """As clocks are put back: half past two, by summer and then by winter."""
    for k, name in enumerate(["20261025_014500", "20261025_023000", "20261025_030000"]):
        cv2.imwrite(str(tmp_path / f"{name}_{k}.png"), np.zeros((4, 4, 3), np.uint8))
    film = open_film(str(tmp_path), None, "Europe/Berlin")
    assert [frame.time_s / 60 for frame in film.frames()] == [0.0, 45.0, 135.0]
    cv2.imwrite(str(tmp_path / "20260329_023000.png"), np.zeros((4, 4, 3), np.uint8))
    with pytest.raises(InputError, match="which never was in Europe/Berlin"):
        open_film(str(tmp_path), None, "Europe/Berlin")


def test_an_interval_that_is_said_goes_before_all(tmp_path):
    """By number, as people count: 10 comes after 9."""
    for k in (9, 10, 100):
        still(tmp_path, f"still{k}.jpg", k, taken="2026:11:05 14:30:00")
    film = open_film(str(tmp_path), 2.0, "Europe/Berlin")
    assert film.start_us is None
    assert [int(frame.picture[0, 0, 0]) for frame in film.frames()] == pytest.approx([9, 10, 100], abs=2)
    assert [frame.time_s for frame in film.frames()] == [0.0, 2.0, 4.0]


def test_stills_of_which_one_tells_no_time_are_refused(tmp_path, capsys):
    """With its name, and what to add."""
    still(tmp_path, "20261105_143000.jpg", taken="2026:11:05 14:30:00")
    still(tmp_path, "cover.jpg")
    (tmp_path / "display.toml").write_text(
        '[[fields]]\nunit = "A"\ndigits = 2\ncorners = [[1, 1], [9, 1], [9, 7], [1, 7]]\n', encoding="utf-8"
    )
    words = ["convert", str(tmp_path), "--display", str(tmp_path / "display.toml"), "--out", str(tmp_path / "a")]
    assert run(words) == 2
    told = " ".join(capsys.readouterr().err.split())
    assert "cover.jpg holds no time of its camera, cover.jpg none in its name" in told and "--every 5s" in told
