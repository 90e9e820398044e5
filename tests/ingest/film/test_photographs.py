"""A photograph of real displays in a lit room, whose dark segments are grey plastic; see the licence beside it."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from shuntbook.cli.main import run
from shuntbook.ingest.film.digit_light.segments import SegmentLight
from shuntbook.ingest.film.display import load_display
from shuntbook.ingest.film.film_export import judged_frames
from shuntbook.ingest.film.frames import open_film

PHOTOGRAPH = Path(__file__).parent / "photographs" / "three_led_displays.jpg"
CORNERS = (
    "[[52, 29], [324, 33], [324, 74], [50, 69]]",
    "[[45, 114], [323, 119], [324, 160], [43, 154]]",
    "[[43, 205], [325, 210], [324, 251], [42, 246]]",
)


def profile_of(folder, *, decimals, shows=""):
    """Write a display profile of the three displays; return its path."""
    units = ("A", "V", "W")
    fields = [
        f'[[fields]]\nunit = "{unit}"\ncorners = {corners}\ndigits = 8\ndecimals = {decimals}\n{shows}\n'
        for unit, corners in zip(units, CORNERS, strict=True)
    ]
    path = folder / "display.toml"
    path.write_text("\n".join(fields), encoding="utf-8")
    return path


@pytest.mark.parametrize("shows", ["", pytest.param('shows = "light"', marks=pytest.mark.night)])
def test_a_photograph_is_read(tmp_path, shows):
    """Lit and dark segments are told apart though the dark ones are half as bright."""
    display = load_display(profile_of(tmp_path, decimals=3, shows=shows))
    (moment,) = judged_frames(open_film(str(PHOTOGRAPH), None), display)
    assert [seen.figure and seen.figure.value for seen in moment] == [15594.305, 0.746, 2663.964]


def test_its_points_are_seen(tmp_path, capsys):
    """One display has none: it gives no reading, and says so."""
    profile = profile_of(tmp_path, decimals='"seen"')
    words = ["look", str(PHOTOGRAPH), "--display", str(profile), "--out", str(tmp_path / "boxes.png")]
    assert run(words) == 0
    told = capsys.readouterr().out
    assert "15594.305 A" in told and "2663.964 W" in told
    assert "decimal point is not to be seen" in told


def test_a_poor_photograph_is_read_or_refused_and_never_read_wrong(tmp_path):
    """Compressed hard, darker and out of focus: what is read is what stands there."""
    picture = cv2.imread(str(PHOTOGRAPH))
    poor = cv2.GaussianBlur((picture * 0.6).astype(np.uint8), (0, 0), 1.2)
    place = tmp_path / "dim.jpg"
    cv2.imwrite(str(place), poor, [cv2.IMWRITE_JPEG_QUALITY, 40])
    (moment,) = judged_frames(open_film(str(place), None), load_display(profile_of(tmp_path, decimals=3)))
    shown = [15594.305, 0.746, 2663.964]
    assert all(seen.figure is None or seen.figure.value == true for seen, true in zip(moment, shown, strict=True))
    assert any(seen.figure for seen in moment)


def light_of(segments):
    """Return what a patch of two digits is made of, by how bright their segments and points are."""
    return SegmentLight(np.array(segments, dtype=float), np.zeros(2), np.zeros(2), 0.0, 1.0)


def test_a_glow_is_taken_away_only_where_it_is_clear():
    """Of dark segments that glow alike; not of a display in change, whose segments are anything between."""
    clear = light_of([[100, 100, 45, 47, 46, 98, 44, 45], [99, 97, 101, 45, 46, 45, 96, 45]]).without_glow()
    assert clear.lit.min() < 3 and 50 < clear.lit.max() < 60
    between = light_of([[100, 100, 20, 65, 46, 98, 0, 0], [99, 97, 101, 45, 30, 10, 96, 0]])
    assert between.without_glow() is between
    two = light_of([[100, 100, 98, 99, 46, 98, 97, 0], [99, 97, 101, 98, 99, 45, 96, 0]])
    assert two.without_glow() is two
