"""Films of displays with known truth, rendered by a program that shares nothing with the reader."""

import json
import re
import shlex
import subprocess
import sys

import cv2
import numpy as np
import pyarrow.parquet as pq
import pytest
from desk_film import desk_film
from film_drawing import Painter, corners_of, display_toml
from film_files import slower_from, write_small
from film_plans import plan_of
from film_reading import filmed, measure, total
from ready_python import ready_python

from shuntbook.cli.main import run
from shuntbook.ingest.film.display import load_display
from shuntbook.ingest.film.film_export import FilmExport, judged_frames
from shuntbook.ingest.film.frames import open_film

#: LCD and LED, flickering or not, slow and fast cameras, a hand and a glare among them; by day two of them.
SEEDS = (2, *(pytest.param(seed, marks=pytest.mark.night) for seed in (4, 7, 11)))


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    """Hold a folder for what is made of a short film of an LED display, and the film's plan, itself and its profile."""
    folder, (plan, path) = tmp_path_factory.mktemp("film"), desk_film(tmp_path_factory)
    (folder / "display.toml").write_text(display_toml(plan), encoding="utf-8")
    return folder, plan, path, folder / "display.toml"


@pytest.mark.parametrize("seed", SEEDS)
def test_films_are_read_and_nothing_is_read_wrong(tmp_path, seed):
    """Nearly all clear seconds, and no wrong value."""
    outcome = measure(*filmed(seed, tmp_path, length_s=7.0))
    assert outcome.wrong == []
    assert outcome.read >= 0.85 * outcome.clear > 0
    assert outcome.accepted > 30
    assert "0 wrong of" in total([outcome])


@pytest.mark.parametrize(
    ("seed", "how"),
    [
        (5, "letter"),
        pytest.param(5, "range", marks=pytest.mark.night),
        pytest.param(4, "letter", marks=pytest.mark.night),
        (4, "range"),
    ],
)
def test_a_display_that_shows_amps_and_volts_in_turn_is_read(tmp_path, seed, how):
    """Each is told by the letter beside it, or by its range, and none is taken for the other."""
    plan, path, profile = filmed(seed, tmp_path, length_s=7.0, in_turn=how)
    outcome = measure(plan, path, profile)
    assert outcome.wrong == []
    assert outcome.read >= 0.85 * outcome.clear > 0
    log = pq.read_table(path.with_suffix(".parquet"))
    each = [set(log.column(name).drop_null().to_pylist()) for name in ("current_A", "voltage_V")]
    assert all(each) and max(each[0]) < 20 < min(each[1])


def test_a_film_that_gives_no_charge_is_counted_as_failed(film, tmp_path):
    """The measure goes on; its seconds count as not read, and its interval as not holding."""
    _, plan, path, _ = film
    film, profile = tmp_path / path.name, tmp_path / "display.toml"
    film.write_bytes(path.read_bytes())
    high, wide = plan.size[1], plan.size[0]
    nowhere = f"[[0, 0], [{wide // 8}, 0], [{wide // 8}, {high // 12}], [0, {high // 12}]]"
    profile.write_text(re.sub(r"corners = .*", f"corners = {nowhere}", display_toml(plan)), encoding="utf-8")
    outcome = measure(plan, film, profile)
    assert outcome.failed and not outcome.holds and outcome.read == 0 < outcome.clear
    assert total([outcome]).endswith("; 1 failed")


def test_a_film_becomes_a_log_with_its_rejects_beside_it(film, capsys):
    """By its wall clock; said at which moment, it is the same."""
    folder, plan, path, profile = film
    words = ["convert", str(path), "--display", str(profile), "--zone", "UTC"]
    assert run([*words, "--start", "2026-06-13T10:30:00", "--explain", "--out", str(folder / "a.parquet")]) == 0
    assert run([*words, "--start", "2026-06-13T10:30:03@0:03", "--out", str(folder / "b.parquet"), "--json"]) == 0
    first, second = (pq.read_table(folder / name) for name in ("a.parquet", "b.parquet"))
    assert first.equals(second)
    assert first.column("time")[0].as_py().isoformat().startswith("2026-06-13T10:30:00")
    shown = {float(text) for text in plan.shown[0].texts}
    assert set(first.column("current_A").drop_null().to_pylist()) <= shown
    rejects = folder / "a.parquet.rejects.csv"
    assert not rejects.exists() or "digit" in rejects.read_text(encoding="utf-8")
    told, document = capsys.readouterr().out.split("\n{", 1)
    assert "though its file" not in told  # it is whole
    assert "values read wrong, by this film itself: likely 1 in " in " ".join(told.split())
    said = " ".join(told.split())
    assert re.match(r"read \d+ readings, from 13 Jun 2026 10:30:00 to 10:30:0\d \(UTC\), one every 0.2 s", said)
    left = json.loads("{" + document)["left_out"]
    assert left["looks"] >= 2 * first.num_rows
    if left["times"]:
        assert f"left out {left['times']} of {left['looks']} looks at its displays" in said and left["reason"] in said
    misread = json.loads("{" + document)["misread"]
    told = " ".join(told.split())
    assert f"in {misread['seconds']:,} seconds of values" in told and "no figure stood never" in told
    assert misread["no_figures"] == 0 and "The ± of Ah and Wh has a share for it" in told
    assert 0 < misread["share"] < misread["at_most"] < 0.2 and misread["seconds"] > 5
    assert _charge(folder / "a.parquet", capsys)["charge"]["net_Ah"] > 0


def _charge(log, capsys):
    assert run(["charge", str(log), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_camera_may_be_moved(film):
    """By three in a hundred of the picture, which is most of a digit."""
    _, plan, *_ = film
    assert plan.moved == 0.03
    first, last = (Painter(plan).picture(at_s) for at_s in (0.0, 5.0))
    assert np.abs(first.astype(int) - last.astype(int)).max() > 50


@pytest.mark.parametrize("way", ["folder", "stream"])
def test_stills_are_films_too(film, tmp_path, monkeypatch, way):
    """In a folder in the order of their names, or one after another from standard input."""
    _, plan, _, profile = film
    painter, raw = Painter(plan), b""
    for k in range(0, round(6 * plan.fps), 6):
        cv2.imwrite(str(tmp_path / f"{k:04d}.png"), painter.frame(k))
        raw += (tmp_path / f"{k:04d}.png").read_bytes()
    name = str(tmp_path)
    if way == "stream":
        (tmp_path / "all").write_bytes(raw)
        with (tmp_path / "all").open("rb") as stream:
            monkeypatch.setattr(sys, "stdin", type("In", (), {"buffer": stream}))
            values = _values(open_film("-", 6 / plan.fps), profile)
    else:
        values = _values(open_film(name, 6 / plan.fps), profile)
    shown = {float(text) for text in plan.shown[0].texts}
    assert len(values) > 10 and set(values) <= shown


def test_pictures_come_through_a_pipe(film, tmp_path):
    """As the README says it; what is cut off at the end is no picture, and there is no looking at a pipe."""
    _, plan, _, profile = film
    painter = Painter(plan)
    raw = b"".join(cv2.imencode(".jpg", painter.frame(k))[1].tobytes() for k in range(0, 12))
    (tmp_path / "all").write_bytes(raw[:-100])
    code = "import sys; from shuntbook.cli.main import run; sys.exit(run(sys.argv[1:]))"
    words = ["-", "--every", "5s", "--display", str(profile), "--start", "2026-06-13T10:30:00Z"]
    done = subprocess.run(
        f"cat all | {ready_python()} -c '{code}' convert {shlex.join(words)} --out log.parquet",
        shell=True,
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    times = pq.read_table(tmp_path / "log.parquet")["time"].to_pylist()
    assert [(at - times[0]).total_seconds() for at in times] == [5.0 * k for k in range(11)]
    looked = [ready_python(), "-c", code, "look", "-", "--every", "5s", "--display", str(profile), "--out", "a.png"]
    refused = subprocess.run(
        looked, cwd=tmp_path, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    assert refused.returncode == 2 and "can be had only once" in " ".join(refused.stderr.split())


def test_a_point_may_be_seen_in_the_picture(film, tmp_path):
    """Then its place decides what a value is, and where it is not clear there is none."""
    _, plan, path, profile = film
    seen = tmp_path / "seen.toml"
    seen.write_text(
        re.sub(r"decimals = \d", 'decimals = "seen"', profile.read_text(encoding="utf-8")), encoding="utf-8"
    )
    values = _values(open_film(str(path), None), seen)
    assert len(values) > 20 and set(values) <= {float(text) for text in plan.shown[0].texts}


def test_what_was_left_out_is_counted_with_its_reason_and_the_way_to_see_it(film, tmp_path, capsys):
    """The display is covered for a second: that is told in the answer, as are films of which nothing can be read."""
    _, plan, _, profile = film
    painter, out = Painter(plan), tmp_path / "log.parquet"
    stills = tmp_path / "stills it is"
    stills.mkdir()
    for k in range(12):
        picture = painter.frame(k)
        if 4 <= k < 6:
            picture[:] = 90
        cv2.imwrite(str(stills / f"20260613_1030{k:02}.png"), picture)
    words = ["convert", str(stills), "--display", str(profile), "--zone", "UTC", "--out", str(out)]
    assert run(words) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert said.startswith("read 10 readings, from 13 Jun 2026 10:30:00 to 10:30:11 (UTC), one every 1 s")
    assert "left out 4 of 24 looks at its displays (17 %)" in said
    assert "mostly since something bright or dark stands beside the digits (0:04.0)" in said
    assert run([*words, "--explain", "--force"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"shuntbook look '{stills}' --display {profile} --at 0:04.0 --out boxes.png" in said
    assert "note: times by the names of the stills (--start says another)" in said
    for file in stills.iterdir():
        cv2.imwrite(str(file), np.full((plan.size[1], plan.size[0], 3), 90, np.uint8))
    assert run([*words[:-1], str(tmp_path / "none.parquet")]) == 2
    assert "looks at its displays gave none, mostly since" in " ".join(capsys.readouterr().err.split())


def _values(film, profile):
    export = FilmExport(film, load_display(profile), zone="UTC", start=None)
    values = np.concatenate([batch.readings.quantities["current_A"] for batch in export.batches()])
    return values[~np.isnan(values)].tolist()


def test_a_box_beside_the_digits_reads_nothing(film, tmp_path):
    """What is not there is not read: each frame has its reason."""
    _, plan, path, _ = film
    exact = corners_of(plan, plan.shown[0])
    away = exact + np.array([0, 0.55 * (exact[3, 1] - exact[0, 1])])
    text = display_toml(plan).split("[[fields]]")[1]
    line = next(line for line in text.splitlines() if line.startswith("corners"))
    moved = "corners = [" + ", ".join(f"[{x:.0f}, {y:.0f}]" for x, y in away) + "]"
    profile = tmp_path / "display.toml"
    profile.write_text("[[fields]]" + text.replace(line, moved), encoding="utf-8")
    seen = [moment[0] for moment in judged_frames(open_film(str(path), None), load_display(profile))]
    shown = {float(text) for text in plan.shown[0].texts}
    assert {s.figure.value for s in seen if s.figure} <= shown
    assert all(s.reason for s in seen if s.figure is None)


def test_the_times_are_those_of_the_frames(film, tmp_path):
    """Of a film whose second half has a third of the frames a second, and not by counting them."""
    _, _, path, profile = film
    slow = tmp_path / "slow.mp4"
    slow.write_bytes(slower_from(path.read_bytes(), 60))
    times_s = [frame.time_s for frame in open_film(str(slow), None).frames()]
    assert np.diff([at for at in times_s if at < 1.9]).max() < 0.08
    assert np.diff([at for at in times_s if at > 2.1]).min() == pytest.approx(0.1, abs=0.01)
    seen = [moment[0].time_s for moment in judged_frames(open_film(str(slow), None), load_display(profile))]
    assert seen == pytest.approx(times_s)


def test_a_film_that_is_not_whole_is_said_to_be(film, tmp_path):
    """It is read as far as it goes; what the decoder says of it does not reach the terminal."""
    _, _, path, profile = film
    half, out = tmp_path / "half.avi", tmp_path / "half.parquet"
    pictures = [frame.picture for frame in open_film(str(path), None).frames()]
    whole = write_small(tmp_path / "whole.avi", pictures, rate=len(pictures) / 7, codec="MJPG")
    half.write_bytes(whole.read_bytes()[: whole.stat().st_size * 6 // 10])
    words = [ready_python(), "-c", "import sys; from shuntbook.cli.main import run; sys.exit(run(sys.argv[1:]))"]
    words += ["convert", str(half), "--display", str(profile), "--out", str(out)]
    told = subprocess.run(words, capture_output=True, text=True, check=True)
    assert "only, though its file says that it lasts 0:07" in " ".join(told.stdout.split())
    assert told.stderr == ""


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["nowhere.mp4", "--display", "PROFILE"], "there is no such film"),
        (["PROFILE", "--display", "PROFILE"], "is no film"),
        (["FOLDER", "--display", "PROFILE"], "holds no pictures"),
        (["-", "--display", "PROFILE"], "pictures do not say how far apart"),
        (["FILM", "--display", "PROFILE", "--every", "5s"], "has its own times"),
        (["FILM", "--display", "PROFILE", "--dates", "d/m/y"], "--dates is not for films"),
        (["FILM", "--display", "PROFILE", "--start", "2026-06-13T10:00@soon"], "no time of a film"),
        (["FILM", "--every", "5s"], "--display"),
        (["FILM", "FILM", "--display", "PROFILE"], "one at a time"),
    ],
)
def test_a_mistake_is_one_sentence(film, tmp_path, capsys, words, told):
    """What, where, and what to do; no log is left."""
    _, _, path, profile = film
    names = {"PROFILE": str(profile), "FILM": str(path), "FOLDER": str(tmp_path)}
    out = tmp_path / "log.parquet"
    assert run(["convert", *(names.get(word, word) for word in words), "--out", str(out)]) == 2
    assert told in " ".join(capsys.readouterr().err.split())
    assert not out.exists()


def test_a_picture_shows_the_boxes_and_what_is_read(film, tmp_path, capsys):
    """Of a film at a moment, and of one picture alone."""
    _, plan, path, profile = film
    out, still = tmp_path / "boxes.png", tmp_path / "still.png"
    assert run(["look", str(path), "--display", str(profile), "--out", str(out), "--at", "0:03", "--json"]) == 0
    fields = json.loads(capsys.readouterr().out)["fields"]
    shown = {float(shown.text_at(t)) for shown in plan.shown for t in np.arange(2.9, 3.3, 0.05)}
    assert {float(field["read"].split()[0]) for field in fields if field["read"]} <= shown
    boxes = cv2.imread(str(out))
    assert (boxes == (60, 200, 60)).all(axis=2).sum() > 200
    cv2.imwrite(str(still), Painter(plan).frame(0))
    assert run(["look", str(still), "--display", str(profile), "--out", str(tmp_path / "b.png")]) == 0
    told = capsys.readouterr().out
    assert all(f"{shown.text_at(0.0).strip()} " in told or "not read" in told for shown in plan.shown)
    assert run(["look", str(path), "--display", str(profile), "--out", str(out)]) == 2
    assert run(["look", str(path), "--out", str(out)]) == 2


def test_without_the_library_it_is_named(film, tmp_path, capsys, monkeypatch):
    """With what to install."""
    _, _, path, profile = film
    monkeypatch.setitem(sys.modules, "cv2", None)
    assert run(["convert", str(path), "--display", str(profile), "--out", str(tmp_path / "a.parquet")]) == 2
    assert "shuntbook[film]" in capsys.readouterr().err


def test_a_plan_is_the_same_each_time():
    """Films are made by seeds alone."""
    assert plan_of(3).shown == plan_of(3).shown
