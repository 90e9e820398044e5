"""Films as cameras and accidents make them: each is read with its own times and turned as it was held, or refused."""

from datetime import UTC, datetime, timedelta

import cv2
import numpy as np
import pytest
from film_files import brighter_and_brighter, made_in, slower_from, sound_alone, turned, without_table, write_small

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.film.display import Display
from shuntbook.ingest.film.film_export import FilmExport, fitted
from shuntbook.ingest.film.frames import frames_between, open_film
from shuntbook.ingest.film.library import require_opencv
from shuntbook.ingest.film.pictures.film_file import made_at, was_cut_off

FIELD = {"unit": "A", "digits": 2, "corners": [[20, 10], [60, 10], [60, 40], [20, 40]]}


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Hold a film of forty pictures that grow brighter."""
    require_opencv()
    path = write_small(tmp_path_factory.mktemp("small") / "a.mp4", brighter_and_brighter(40))
    return path.read_bytes()


def film_of(tmp_path, raw, name="b.mp4"):
    """Return a film of these bytes, opened."""
    (tmp_path / name).write_bytes(raw)
    return open_film(str(tmp_path / name), None)


def test_a_film_is_shown_as_it_was_held(tmp_path, small):
    """The dark edge on the left comes to lie above or below, and what is wide becomes high."""
    plain, held = next(film_of(tmp_path, small).frames()), next(film_of(tmp_path, turned(small)).frames())
    assert (plain.picture.shape, held.picture.shape) == ((48, 64, 3), (64, 48, 3))
    assert plain.picture[:, :8].mean() < 20 < plain.picture[:, 30:].mean()
    edges = held.picture[:8].mean(), held.picture[-8:].mean()
    assert min(edges) < 20 < max(edges)


def test_frames_have_the_times_of_the_file(tmp_path, small):
    """Also from the middle on, where they last three times as long."""
    film = film_of(tmp_path, slower_from(small, 20))
    times_s = [frame.time_s for frame in film.frames()]
    assert times_s[-1] == pytest.approx(20 / 30 + 19 / 10, abs=0.11)
    assert np.diff([at for at in times_s if at > 0.7]) == pytest.approx(0.1)
    assert [frame.time_s for frame in frames_between(film, 1.0, 1.5)] == [at for at in times_s if 1.0 <= at <= 1.5]


@pytest.mark.parametrize(
    ("made_s", "made"), [(3_864_184_205, datetime(2026, 6, 13, 8, 30, 5, tzinfo=UTC)), (0, None), (2_082_844_800, None)]
)
def test_when_a_film_was_made_by_its_own_file_is_a_hint(tmp_path, small, made_s, made):
    """Told where nobody says when it began; a clock that was never set tells nothing."""
    film = film_of(tmp_path, made_in(small, made_s))
    assert film.made == made
    for start, is_told in ((None, made is not None), (datetime(2026, 6, 13, 10, 30), False)):
        export = FilmExport(film, Display.model_validate({"fields": [FIELD]}), zone="UTC", start=start)
        list(export.batches())
        assert any("made at 2026-06-13T08:30:05" in one for one in export.layouts[0].remarks) is is_told


def box(name, inside=b"", length=None):
    """A box of an MP4 film: its length, by default that of all of it, and its name before what is inside."""
    return (8 + len(inside) if length is None else length).to_bytes(4) + name + inside


def long_box(name, inside):
    """The same with its length in eight bytes behind its name."""
    return (1).to_bytes(4) + name + (16 + len(inside)).to_bytes(8) + inside


@pytest.mark.parametrize("after_2005_s", [-86_400 * 40, 0, 1, 86_400 * 10, 86_400 * 40])
@pytest.mark.parametrize("version", [0, 1])
def test_boxes_of_a_film_tell_when_it_was_made(tmp_path, after_2005_s, version):
    """By hand: a long box of pictures, and the head behind another box in a table that goes on to the end.

    What was made before 2005 is of a clock that was never set.
    """
    began = datetime(2005, 1, 1, tzinfo=UTC)
    since_1904_s = int((began - datetime(1904, 1, 1, tzinfo=UTC)).total_seconds()) + after_2005_s
    head = box(b"mvhd", bytes([version, 0, 0, 0]) + since_1904_s.to_bytes(8 if version else 4) + bytes(8))
    path = tmp_path / "a.mp4"
    path.write_bytes(
        box(b"ftyp", b"isom") + long_box(b"mdat", bytes(300)) + box(b"moov", box(b"free", b"..") + head, 0)
    )
    made = began + timedelta(seconds=after_2005_s)
    assert made_at(path) == (made if after_2005_s > 0 else None)
    assert not was_cut_off(path)
    path.write_bytes(box(b"ftyp", b"isom") + long_box(b"mdat", bytes(300)))
    assert was_cut_off(path) and made_at(path) is None


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        (lambda _: b"", "is empty"),
        (without_table, "cut off before its camera had finished it"),
        (lambda _: sound_alone(), "is no film that can be opened"),
        (lambda _: np.random.default_rng(0).bytes(200_000), "is no film that can be opened"),
        (lambda film: b"\x00\x00\x00\x04ftyp" * 10 + film[:50], "is no film that can be opened"),
    ],
)
def test_what_is_no_film_is_refused_in_a_sentence(tmp_path, small, raw, told):
    """Which is told apart by what it is."""
    with pytest.raises(InputError, match=told):
        film_of(tmp_path, raw(small))


def test_a_film_without_a_frame_is_refused(tmp_path):
    """It opens, and holds nothing."""
    path = write_small(tmp_path / "none.avi", [], codec="MJPG")
    with pytest.raises(InputError, match=r"none\.avi: (no picture of this film can be read|is no film)"):
        open_film(str(path), None)


def test_a_heap_of_junk_is_refused_at_once(tmp_path):
    """A gigabyte that is nothing, and takes no room on the disk."""
    with (tmp_path / "junk.mp4").open("wb") as file:
        file.write(np.random.default_rng(1).bytes(100_000))
        file.truncate(1 << 30)
    with pytest.raises(InputError, match="is no film"):
        open_film(str(tmp_path / "junk.mp4"), None)
    assert made_at(tmp_path / "junk.mp4") is None


def test_a_picture_called_a_film_is_one_frame(tmp_path):
    """It opens; what is read in it never stood long enough to be believed."""
    raw = cv2.imencode(".jpg", brighter_and_brighter(1)[0])[1].tobytes()
    assert len(list(film_of(tmp_path, raw).frames())) == 1


def test_a_profile_goes_with_films_of_its_shape(tmp_path, small):
    """Drawn on a film twice as large it is halved; on one of another shape it is refused, and so is a box beyond."""
    film = film_of(tmp_path, small)
    large = {**FIELD, "corners": [[2 * x, 2 * y] for x, y in FIELD["corners"]]}
    display = Display.model_validate({"fields": [large], "picture": [128, 96]})
    assert fitted(film, display)[1].fields[0].corners == FIELD["corners"]
    wide = Display.model_validate({"fields": [FIELD], "picture": [64, 36]})
    with pytest.raises(InputError, match="64 by 48 pixels, and the display profile was drawn on 64 by 36"):
        fitted(film, wide)
    alone = Display.model_validate({"fields": [large]})
    assert fitted(film, alone)[1] is alone
    with pytest.raises(
        InputError,
        match=r"b\.mp4: its pictures are 64 by 48 pixels, .* fields\[1\]\.corners reach",
    ):
        list(FilmExport(film, alone, zone="UTC", start=None).batches())
