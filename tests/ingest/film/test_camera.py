"""A camera before a display, played by frames that are drawn one by one."""

import cv2
import numpy as np
import pytest
from film_drawing import Painter, display_toml
from film_plans import plan_of

from shuntbook.cli.main import run
from shuntbook.ingest.events import HOLDS, MISREAD, Reading, Refused, Remark
from shuntbook.ingest.live.address import make_source
from shuntbook.ingest.live.source import Clock, SourceLost

START_US = 1_781_000_000_000_000


class FilmClock(Clock):
    """Stands still but for the frames that are taken."""

    def __init__(self):
        self.us = START_US

    def now_us(self):
        return self.us

    def sleep(self, length_s):
        self.us += round(length_s * 1e6)


class DrawnCamera:
    """Gives the frames of a plan from when it was opened, dark ones where it is told so, and then none."""

    def __init__(self, plan, clock, *, dark=False):
        self._painter, self._plan, self._clock = Painter(plan), plan, clock
        self._k, self._dark, self._from_us = 0, dark, clock.us

    def isOpened(self):
        return True

    def grab(self):
        if self._k >= self._plan.length_s * self._plan.fps:
            return False
        self._k += 1
        self._clock.us = self._from_us + round(self._k / self._plan.fps * 1e6)
        return True

    def retrieve(self):
        picture = self._painter.frame(self._k - 1)  # only those that are looked at: to draw one takes long
        if self._dark:
            picture[:] = 0
        return True, picture

    def release(self):
        self._painter = None


@pytest.fixture
def profile(tmp_path):
    """Write the display profile of a plan; return the plan and the file."""
    plan = plan_of(5, length_s=9.0)
    path = tmp_path / "display.toml"
    path.write_text(display_toml(plan), encoding="utf-8")
    return plan, path


def test_a_camera_gives_readings_with_the_times_of_its_frames(profile, monkeypatch):
    """What it showed, no sooner than it was sure; a camera that gives nothing more is lost."""
    plan, path = profile
    clock = FilmClock()
    monkeypatch.setattr(cv2, "VideoCapture", lambda place: DrawnCamera(plan, clock) if place == 0 else None)
    source = make_source(f"camera:0?display={path}", None, clock)
    assert source.quantities == ("current_A", "voltage_V")
    assert (source.meta.display_delay_s, source.meta.noted) == (1.0, False)
    assert source.meta.gap_limit_s == 3.0
    source.open()
    events = []
    with pytest.raises(SourceLost, match="no pictures"):
        while True:
            events += source.read(0.2)
    events += source.ending()
    source.close()
    readings = [event for event in events if isinstance(event, Reading)]
    shown = {float(text) for text in plan.shown[0].texts}
    assert len(readings) > 20
    assert {reading.values["current_A"] for reading in readings if "current_A" in reading.values} <= shown
    times = [reading.time_us for reading in readings]
    assert times == sorted(set(times)) and START_US < times[0] < times[-1] <= clock.us
    assert all(event.reason for event in events if isinstance(event, Refused))
    shares = [float(event.text) for event in events if isinstance(event, Remark) and event.kind == MISREAD]
    assert len(shares) >= 2 and 0 < shares[-1] <= shares[0] and shares[-1] < 0.2
    holds_s = [float(event.text) for event in events if isinstance(event, Remark) and event.kind == HOLDS]
    every_s = np.diff(plan.shown[0].from_s)[0]
    assert len(holds_s) == len(shares) and holds_s[-1] == pytest.approx(every_s, abs=0.15)


def read_until_lost(source):
    """Return what a source tells until its camera gives nothing more."""
    events = []
    with pytest.raises(SourceLost):
        while True:
            events += source.read(0.2)
    return events


def test_a_camera_that_is_lost_and_found_leaves_a_gap(profile, monkeypatch):
    """What it showed before is judged by what was seen, and after it reading goes on; nothing is told between."""
    plan, path = profile
    plan.length_s = 6.0
    clock = FilmClock()
    monkeypatch.setattr(cv2, "VideoCapture", lambda _: DrawnCamera(plan, clock))
    source = make_source(f"camera:0?display={path}", None, clock)
    source.open()
    events = read_until_lost(source)
    source.close()
    with pytest.raises(SourceLost, match="is not open"):
        source.read(0.2)
    lost_us = clock.us
    clock.sleep(20.0)
    back_us = clock.us
    source.open()
    events += [*read_until_lost(source), *source.ending()]
    times = [event.time_us for event in events if isinstance(event, Reading)]
    assert times == sorted(set(times))
    assert [at for at in times if lost_us + 0.2e6 < at < back_us] == []
    assert sum(at <= lost_us for at in times) > 15 < sum(at >= back_us for at in times)


def test_a_camera_that_opens_and_gives_nothing_is_not_back(profile, monkeypatch):
    """Else a capture would say time and again that it is."""
    plan, path = profile
    plan.length_s = 0.0
    clock = FilmClock()
    monkeypatch.setattr(cv2, "VideoCapture", lambda _: DrawnCamera(plan, clock))
    with pytest.raises(SourceLost, match="opens, but gives no pictures"):
        make_source(f"camera:0?display={path}", None, clock).open()


def test_a_dark_camera_gives_no_reading(profile, monkeypatch):
    """Each look at it has its reason."""
    plan, path = profile
    plan.length_s = 4.0
    clock = FilmClock()
    monkeypatch.setattr(cv2, "VideoCapture", lambda _: DrawnCamera(plan, clock, dark=True))
    source = make_source(f"camera:0?display={path}", None, clock)
    source.open()
    events = [*read_until_lost(source), *source.ending()]
    assert {type(event) for event in events} == {Refused} and len(events) > 10
    nothing = {"the digits' places are not yet known", "no digits are to be seen", "nothing is lit"}
    assert {event.reason for event in events} <= nothing


def test_a_profile_that_does_not_go_with_the_camera_is_told_before_a_capture(profile, tmp_path, monkeypatch, capsys):
    """With both sizes; no log is begun."""
    plan, path = profile
    path.write_text("picture = [640, 480]\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.setattr(cv2, "VideoCapture", lambda _: DrawnCamera(plan, FilmClock()))
    assert run(["capture", "camera:0", "--display", str(path), "--out", str(tmp_path / "a.parquet")]) == 2
    assert "are 640 by 360 pixels, and the display profile was drawn on 640 by 480" in " ".join(
        capsys.readouterr().err.split()
    )
    assert list(tmp_path.glob("*.parquet*")) == []


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["camera:0"], "--display"),
        (["hand:", "--display", "PROFILE"], "is for a camera"),
        (["camera:0?speed=2", "--display", "PROFILE"], "no setting"),
    ],
)
def test_a_mistake_is_one_sentence(profile, tmp_path, capsys, words, told):
    """What to add, or to leave out."""
    _, path = profile
    words = [str(path) if word == "PROFILE" else word for word in words]
    assert run(["capture", *words, "--out", str(tmp_path / "a.parquet")]) == 2
    assert told in " ".join(capsys.readouterr().err.split())


def test_a_camera_that_is_not_there_is_told(profile, tmp_path, capsys):
    """With the status of a device that failed."""
    _, path = profile
    place = tmp_path / "no-camera"
    assert run(["capture", f"camera:{place}", "--display", str(path), "--out", str(tmp_path / "a.parquet")]) == 3
    assert "is it there" in " ".join(capsys.readouterr().err.split())
