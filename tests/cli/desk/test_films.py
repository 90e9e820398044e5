"""A film at the desk: boxes typed as numbers, what is read in them, the profile that is written, the log of it."""

import json
import re
import time
from pathlib import Path

import cv2
import pyarrow.parquet as pq
import pytest
from desk_film import desk_film
from desks import address, desk, fields_of, text_of
from film_drawing import Painter, corners_of

from shuntbook.cli.film_form.boxes import TypedBox, TypedDisplay, checked, typed_display
from shuntbook.cli.film_form.boxes import corners_of as typed_corners
from shuntbook.cli.film_form.profile_text import display_text
from shuntbook.cli.main import run
from shuntbook.ingest.film.display import load_display

pytestmark = [pytest.mark.xdist_group("films"), pytest.mark.timeout(300)]

BOX, BELOW = "10,10 90,12 88,40 8,38", "10,60 90,62 88,90 8,88"


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    """Hold a film's plan, where it lies, and its boxes as they would be typed."""
    plan, path = desk_film(tmp_path_factory)
    return plan, path, [" ".join(f"{x:.0f},{y:.0f}" for x, y in corners_of(plan, shown)) for shown in plan.shown]


@pytest.fixture(scope="module")
def seated(plan, tmp_path_factory):
    """Someone at a desk over a folder with a film."""
    plan, path, boxes = plan
    folder = tmp_path_factory.mktemp("desk")
    (folder / "pump.mp4").write_bytes(path.read_bytes())
    with desk(folder) as client:
        client.folder = folder
        yield client, plan, boxes


def form(plan, boxes, **more):
    """What is sent of two displays."""
    decimals = [str(shown.decimals) for shown in plan.shown]
    each = {"corners": boxes, "unit": ["A", "V"], "digits": [str(shown.digits) for shown in plan.shown]}
    each |= {"decimals": decimals, "signed": ["", ""], "shows": ["", ""], "in_turn": ["", ""]}
    return {"file": "pump.mp4", "at": "0:01", "sampling": "mean", "side": "dc", **each, **more}


def read_to_its_end(client, answer):
    """Look again until the film has been read."""
    end = time.monotonic() + 120
    while "is being read" in answer.text:
        assert time.monotonic() < end
        time.sleep(0.3)
        answer = client.again(answer)
    return answer


def test_what_is_read_stands_beside_each_box(seated):
    """The same as `look` reads at that moment; a box beside the digits has the reason, and none is no mistake."""
    client, plan, boxes = seated
    said = text_of(client.send("/film", **form(plan, boxes)))
    for shown, unit in zip(plan.shown, "AV", strict=True):
        assert f"{shown.text_at(1.0).strip()} {unit}" in said
    first = text_of(client.get("/film?file=pump.mp4"))
    assert "Its box is still to be drawn" in first and "Look again" not in first
    beyond = text_of(client.send("/film", **form(plan, ["1,1 9000,1 9000,50 1,50", boxes[1]])))
    assert "Not read: its pictures are 640 by 360 pixels, and the box reaches beyond" in beyond


def test_a_film_becomes_a_log_by_the_profile_that_is_written(seated, capsys, monkeypatch):
    """From the boxes to the answer, by a command that is shown; what is there already is never written over."""
    client, plan, boxes = seated
    monkeypatch.chdir(client.folder)
    sent = form(plan, boxes, start="2026-06-13T10:30:05", zone="UTC", out="pump", profile_name="mine", do="read")
    answer = client.send("/film", **sent)
    assert "shuntbook convert pump.mp4 --display mine.toml --start 2026-06-13T10:30:05 --zone UTC" in text_of(answer)
    done = read_to_its_end(client, answer)
    assert address("/answer", file="pump.parquet") in done.text
    table = pq.read_table(client.folder / "pump.parquet")
    assert table.column("time")[0].as_py().isoformat().startswith("2026-06-13T10:30:05")
    amps = set(table.column("current_A").drop_null().to_pylist())
    assert amps and amps <= {float(text) for text in plan.shown[0].texts}
    corners = [field.corners for field in load_display(client.folder / "mine.toml").fields]
    assert corners == [typed_corners(box) for box in boxes]
    assert "has been read" in text_of(client.get("/"))
    # The command line reads the same by it, at the same moment, in the same boxes.
    for at in ("0:01", "0:04"):
        assert run(["look", "pump.mp4", "--display", "mine.toml", "--at", at, "--out", f"{at[-1]}.png", "--json"]) == 0
        seen = [field["read"] for field in json.loads(capsys.readouterr().out)["fields"]]
        said = text_of(client.send("/film", **form(plan, boxes) | {"at": at}))
        assert all(text in said for text in seen), at
    again = client.send("/film", **sent)
    assert again.status == 400 and "already pump.parquet" in text_of(again)
    # By the same boxes that profile is taken, whatever a new one would be called; by others it stays as it was.
    same = client.send("/film", **sent | {"out": "other", "moment": "0:01", "profile_name": "new"})
    assert "--display mine.toml --start 2026-06-13T10:30:05@0:01 --zone UTC --out other.parquet" in text_of(same)
    before = (client.folder / "mine.toml").read_bytes()
    moved = client.send("/film", **sent | {"out": "third", "corners": [boxes[0], boxes[1].replace(",", ".5,", 1)]})
    assert "--display mine-2.toml" in text_of(moved)
    assert (client.folder / "mine.toml").read_bytes() == before
    for begun in (same, moved):
        assert "has been read" in read_to_its_end(client, begun).text
    assert (client.folder / "mine-2.toml").exists() and not (client.folder / "new.toml").exists()


def test_a_profile_of_the_folder_fills_the_form(seated):
    """And is offered; what only a profile by hand can say stays in it."""
    client, _, boxes = seated
    typed = TypedDisplay(
        [TypedBox(boxes[0], in_turn=json.dumps([{"unit": "A", "letter": "A"}]), unit=""), TypedBox(boxes[1], "V")]
    )
    (client.folder / "turns.toml").write_text(display_text(checked(typed).display), encoding="utf-8")
    assert "/film?file=pump.mp4&amp;display=turns.toml" in client.get("/film?file=pump.mp4").text
    assert "/film?file=pump.mp4&amp;display=turns.toml" in client.get("/film?file=turns.toml").text
    sent = fields_of(client.get("/film?file=pump.mp4&display=turns.toml"))
    assert sent["corners"] == boxes
    assert json.loads(sent["in_turn"][0])[0]["letter"] == "A"


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({}, "Say when that was"),
        ({"start": "yesterday"}, "is no date and time"),
        ({"start": "2026-06-13T10:30", "moment": "soon"}, "is no time of a film"),
        ({"start": "2026-06-13T10:30", "zone": "Nowhere"}, "Nowhere"),
        ({"start": "2026-06-13T10:30", "corners": ["", ""]}, "Its box is still to be drawn"),
        ({"start": "2026-06-13T10:30", "unit": ["A", "A"]}, "show current_A twice"),
        ({"start": "2026-06-13T10:30", "digits": ["x", "4"]}, "Count the places"),
        ({"start": "2026-06-13T10:30", "decimals": ["4", "1"]}, "cannot stand behind the point"),
        ({"start": "2026-06-13T10:30", "delay_s": "soon"}, "Write the seconds"),
    ],
)
def test_a_mistake_stands_at_its_field(seated, more, told):
    """And nothing is written."""
    client, plan, boxes = seated
    before = sorted(client.folder.iterdir())
    answer = client.send("/film", **{**form(plan, boxes), **more, "do": "read"})
    assert answer.status == 400
    assert sorted(client.folder.iterdir()) == before
    assert told in text_of(answer)


def test_what_is_no_moment_is_told_at_its_field(seated):
    """The film is shown from its beginning."""
    client, plan, boxes = seated
    assert "'9' is no time of a film" in text_of(client.send("/film", **form(plan, boxes) | {"at": "9"}))


def test_displays_are_added_and_left_out(seated):
    """Each with all that was typed of the others."""
    client, plan, boxes = seated
    three = client.send("/film", **form(plan, boxes, do="add"))
    assert fields_of(three)["corners"] == [*boxes, ""]
    assert re.findall(r'value="(\w+)" selected>(?:amps|volts|watts)', three.text) == ["A", "V", "W"]
    one = client.send("/film", **form(plan, boxes, remove="1"))
    assert fields_of(one)["corners"] == boxes[1:]
    assert re.findall(r'value="(\w+)" selected>(?:amps|volts|watts)', one.text) == ["V"]


@pytest.mark.night
def test_stills_say_how_far_apart_they_are(seated):
    """A folder of them is a film too; without that they are looked at, and not read."""
    client, plan, boxes = seated
    (client.folder / "stills").mkdir()
    painter = Painter(plan)
    for k in range(0, round(3 * plan.fps), 6):
        cv2.imwrite(str(client.folder / "stills" / f"{k:04d}.png"), painter.frame(k))
    assert "stills" in text_of(client.get("/"))
    typed = form(plan, boxes, start="2026-06-13T10:30", do="read") | {"file": "stills", "at": "0:00"}
    assert "Say how far apart" in text_of(client.send("/film", **typed))
    answer = client.send("/film", **typed, every=f"{6 / plan.fps:.3f}s")
    done = read_to_its_end(client, answer)
    assert "has been read" in done.text
    assert pq.read_table(client.folder / "stills.parquet").num_rows > 5


def test_a_film_that_cannot_be_read_is_told_of(seated):
    """By the command's own sentence, with the way back to the boxes."""
    client, *_ = seated
    (client.folder / "cut.mp4").write_bytes((client.folder / "pump.mp4").read_bytes()[:3000])
    for path in ("/film", "/film/picture"):
        answer = client.get(address(path, file="cut.mp4"), Accept="text/html")
        assert answer.status == 400 and "cut off before its camera had finished it" in text_of(answer)
    gone = client.get(address("/film/read", file="pump.mp4", log="gone.parquet"), Accept="text/html")
    assert gone.status == 400 and "no longer in the folder" in text_of(gone)


def test_a_damaged_film_prints_nothing_on_the_terminal(tmp_path):
    """Neither what a decoder says of it, nor its bytes."""
    (tmp_path / "noise.avi").write_bytes(b"RIFF\x10\x00\x00\x00AVI LIST" + bytes(range(128, 256)) * 3)
    (tmp_path / "stills").mkdir()
    (tmp_path / "stills" / "1.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(128, 256)) * 3)
    with desk(tmp_path, from_scratch=True) as client:
        for path in ("/film/picture", "/film"):
            for name in ("noise.avi", "stills"):
                assert client.get(address(path, file=name)).status == 400
        client.process.terminate()
        said = client.process.stderr.read()
    # The link, what it opens, and that it was opened.
    assert len(said.splitlines()) <= 4 and "WARN" not in said and "Unexpected" not in said


def test_a_moment_is_seen_as_the_camera_stood_first(seated):
    """So that a box that is drawn at any moment is one of the first frame, as a profile has it."""
    client, plan, boxes = seated
    for at in ("0:00", "0:04"):
        said = text_of(client.send("/film", **form(plan, boxes) | {"at": at}))
        shown = {float(one.text_at(s)) for one in plan.shown for s in (float(at[-1]), float(at[-1]) + 0.1)}
        values = {float(value) for value in re.findall(r"([\d.]+) [AV] Draw", said)}
        assert values and values <= shown, at


def test_opencv_is_loaded_for_films_alone(plan, tmp_path):
    """No other page of the desk needs it."""
    (tmp_path / "pump.mp4").write_bytes(plan[1].read_bytes())
    with desk(tmp_path, from_scratch=True) as client:
        maps = Path(f"/proc/{client.process.pid}/maps")
        if not maps.exists():
            pytest.skip("this system does not tell what a process has loaded")
        for path in ("/", "/film", "/meter", "/system", "/capture", "/answer", "/forecast", "/compare"):
            client.get(path)
        assert "cv2" not in maps.read_text()
        client.get("/film?file=pump.mp4")
        assert "cv2" in maps.read_text()


def test_without_opencv_one_sentence_says_what_to_install(tmp_path, monkeypatch):
    """On the film's page; all others are as ever."""
    without = tmp_path / "without"
    without.mkdir()
    (without / "cv2.py").write_text("raise ImportError('not here')\n", encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(without))
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "pump.mp4").write_bytes(b"x")
    (folder / "display.toml").write_text("[[fields]]\ncorners = []\nunit = 'A'\n", encoding="utf-8")
    with desk(folder, from_scratch=True) as client:
        assert "pump.mp4" in text_of(client.get("/"))
        for path in ("/film?file=pump.mp4", "/film?file=pump.mp4&display=display.toml", "/film/picture?file=pump.mp4"):
            answer = client.get(path, Accept="text/html")
            assert answer.status == 400
            assert "shuntbook[film]" in text_of(answer)
        assert client.drop("other.mp4", b"x").text == json.dumps({"leads_to": "/film?file=other.mp4"})


def test_a_profile_is_written_in_the_keys_of_one_by_hand(tmp_path):
    """And read back is the same; what need not be said is left out."""
    boxes = [TypedBox(BOX, "A", "4", "seen", "yes", "light"), TypedBox(BELOW, "V", "3", "0")]
    state = checked(TypedDisplay(boxes, "held", "ac", "0,5", 'the "pump"'))
    assert state.wrong == {}
    place = tmp_path / "display.toml"
    place.write_text(display_text(state.display), encoding="utf-8")
    assert load_display(place) == state.display
    assert typed_display(state.display).boxes == tuple(boxes)
    assert "signed = true" in place.read_text() and place.read_text().count("signed") == 1


@pytest.mark.parametrize(
    "text",
    ["", "1,2", "1,2 3,4 5,6 7", "1,2 3,4 5,6 7,8 9,9", "a,b 3,4 5,6 7,8", "1e3,2 3,4 5,6 7,8", "9" * 400],
)
def test_corners_are_eight_numbers(text):
    """However they are parted; anything else is none."""
    assert typed_corners(text) is None
    assert typed_corners("[[1, 2], [3.5, 4], [5, 6], [7, 8]]") == [[1, 2], [3.5, 4], [5, 6], [7, 8]]


def test_what_a_model_refuses_stands_at_its_box():
    """Corners that go round the wrong way, of the second box."""
    state = checked(TypedDisplay([TypedBox(BOX), TypedBox("10,10 8,38 88,40 90,12", "V")]))
    assert list(state.wrong) == ["corners-2"]
    assert "clockwise" in state.wrong["corners-2"]
    assert state.entries[0] is not None and state.entries[1] is None
    twice = checked(TypedDisplay([TypedBox(BOX), TypedBox(BOX, "V")]))
    assert twice.wrong[""].startswith("Display 1 and display 2 have corners round the same place")


def test_stills_that_say_when_they_were_taken_are_asked_for_nothing(seated):
    """Neither when they begin nor how far apart they are: the names tell both."""
    client, plan, boxes = seated
    (client.folder / "dated").mkdir()
    painter = Painter(plan)
    for k in range(3):
        cv2.imwrite(str(client.folder / "dated" / f"20260613_10300{k}.png"), painter.frame(6 * k))
    assert "They say it themselves." in text_of(client.get(address("/film", file="dated"), Accept="text/html"))
    answer = client.send("/film", **form(plan, boxes, do="read", zone="UTC") | {"file": "dated", "at": "0:00"})
    assert "has been read" in read_to_its_end(client, answer).text
    first = pq.read_table(client.folder / "dated.parquet")["time"][0].as_py()
    assert first.isoformat().startswith("2026-06-13T10:30:0")
