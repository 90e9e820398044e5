"""A film of a demo from end to end: its log, the pump's Ah and runs, the page, captions in step with the display."""

import json
import re
from itertools import pairwise, takewhile

import numpy as np
import pyarrow.parquet as pq
import pytest
from film_drawing import display_toml, write_film
from film_plans import DEMO_RUNS_S, demo_plan

from shuntbook.cli.main import run
from shuntbook.ingest.film import frames

#: When the film's first frame was taken, and the same told by a moment of the film.
START, LATER = "2026-06-13T10:30:05", "2026-06-13T10:31:28@1:23"


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """Hold the plan of a film, and the folder where its film, its profile and its log lie."""
    folder, plan = tmp_path_factory.mktemp("demo"), demo_plan()
    write_film(plan, folder).rename(folder / "demo.mp4")
    (folder / "display.toml").write_text(display_toml(plan), encoding="utf-8")
    assert convert(folder, folder / "demo.parquet", "--start", LATER) == 0
    return plan, folder


def convert(folder, out, *more):
    """Return the status of a conversion of the film."""
    words = ["convert", str(folder / "demo.mp4"), "--display", str(folder / "display.toml"), "--zone", "UTC"]
    return run([*words, *more, "--out", str(out)])


def cues_of(path):
    """Return the seconds of captions, each by its first moment in the film [s], and what stands in it."""
    blocks = re.findall(r"(\d+):(\d+):(\d+)\.(\d+) --> \S+\n(.+)\n", path.read_text(encoding="utf-8"))
    return {int(h) * 3600 + int(m) * 60 + int(s) + int(ms) / 1000: text for h, m, s, ms, text in blocks}


def ends_s(path):
    """Return when the last caption of readings ends. [s]"""
    ends = re.findall(r"--> (\d+):(\d+):([\d.]+)\n", path.read_text(encoding="utf-8"))
    return max(int(h) * 3600 + int(m) * 60 + float(s) for h, m, s in ends)


def test_the_pump_is_found_with_its_ah(demo, capsys):
    """Three runs where they were, to within what a display is late, and what they took within its interval."""
    plan, folder = demo
    assert run(["cycles", str(folder / "demo.parquet"), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    runs = document["cycles"]
    assert len(runs) == len(DEMO_RUNS_S)
    for one, (start_s, stop_s) in zip(runs, DEMO_RUNS_S, strict=True):
        assert one["run_s"] == pytest.approx(stop_s - start_s, abs=1.2)
        assert one["start"].startswith("2026-06-13T10:30" if start_s < 55 else "2026-06-13T10:31")
        true_Ah = plan.true_Ah(stop_s) - plan.true_Ah(start_s) - 2.1 * (stop_s - start_s) / 3600
        assert abs(one["charge_Ah"] - true_Ah) < one["charge_u95_Ah"] < 0.15 * true_Ah
    assert run(["charge", str(folder / "demo.parquet"), "--json"]) == 0
    net = json.loads(capsys.readouterr().out)["charge"]
    assert net["net_low_Ah"] < plan.true_Ah(plan.length_s) < net["net_high_Ah"]
    assert net["net_high_Ah"] - net["net_low_Ah"] < 0.12 * net["net_Ah"]


@pytest.mark.parametrize("film_start", ["10:30:05", LATER, "10:31:28@1:23"])
def test_captions_are_in_step_with_the_display(demo, tmp_path, film_start):
    """At every tenth of a second they tell what the display shows within 0.3 s; where that jumps, so do they."""
    plan, folder = demo
    out = tmp_path / "demo.vtt"
    assert run(["report", str(folder / "demo.parquet"), "--captions", str(out), "--film-start", film_start]) == 0
    cues = {at: text for at, text in cues_of(out).items() if " V" in text}
    amps = {at: float(text.split(" A")[0]) for at, text in cues.items()}
    begun_s = np.array(sorted(amps))
    assert begun_s[0] < 2.0 and ends_s(out) > plan.length_s - 1
    for at in np.arange(begun_s[0] + 0.5, begun_s[-1], 0.1):
        told = amps[begun_s[np.searchsorted(begun_s, at, side="right") - 1]]
        shown = {float(plan.shown[0].text_at(at + late_s)) for late_s in np.arange(-0.3, 0.31, 0.1)}
        assert min(abs(told - value) for value in shown) <= (0.5 if told > 100 else 0.05), at
    # What a display shows for a while is told in a second's steps, however the sums rise.
    lasts_s = np.diff(begun_s)
    same = [amps[a] == amps[b] for a, b in pairwise(begun_s)]
    assert np.mean(lasts_s[np.array(same)] > 0.95) > 0.8
    jumps = [
        from_s
        for (before, value), from_s in zip(pairwise(plan.shown[0].texts), plan.shown[0].from_s[1:], strict=True)
        if abs(float(value) - float(before)) > 40 and min(float(before), float(value)) < 40
    ]
    told_s = [b for a, b in pairwise(sorted(amps)) if abs(amps[b] - amps[a]) > 40 and min(amps[a], amps[b]) < 40]
    assert told_s == pytest.approx(jumps, abs=0.3) and len(jumps) == 2 * len(DEMO_RUNS_S)


def test_captions_of_a_film_without_a_date_begin_with_its_first_frame(demo, tmp_path):
    """Also where that could not be read: the display is covered for the film's first seconds."""
    _, folder = demo
    undated, out = tmp_path / "undated.parquet", tmp_path / "demo.vtt"
    of_video = frames._of_video
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(frames, "_of_video", lambda *words: _begun_late(of_video(*words)))
        assert convert(folder, undated) == 0
    assert pq.read_table(undated).column(0)[0].as_py().timestamp() >= 4
    assert run(["report", str(undated), "--captions", str(out), "--film-start", "0"]) == 0
    amps = {at: float(text.split(" A")[0]) for at, text in cues_of(out).items() if " A ·" in text}
    assert amps[max(at for at in amps if at <= 15.0)] > 60
    assert amps[max(at for at in amps if at <= 28.0)] < 10


def test_what_is_hidden_for_long_is_a_gap_and_not_what_stood_before_it(demo, tmp_path, capsys):
    """The display is covered for a whole run, of which nothing is known; a second is no gap."""
    plan, folder = demo
    hidden, of_video = tmp_path / "hidden.parquet", frames._of_video
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(frames, "_of_video", lambda *words: _covered(of_video(*words)))
        assert convert(folder, hidden) == 0
    capsys.readouterr()
    assert run(["charge", str(hidden)]) == 0
    assert "in 1 gap; nothing is counted for it" in capsys.readouterr().out
    assert run(["charge", str(hidden), "--json"]) == 0
    charge = json.loads(capsys.readouterr().out)["charge"]
    idle_Ah = 2.1 * (32.0 - 17.0) / 3600
    assert idle_Ah == pytest.approx(charge["net_Ah"], rel=0.1)
    assert plan.true_Ah(24.0) - plan.true_Ah(7.0) > 10 * charge["net_high_Ah"]


def _covered(film):
    """Yield the first half minute of a film, covered for a run and for a second."""
    for frame in takewhile(lambda frame: frame.time_s < 32, film):
        if 7 < frame.time_s < 24 or 28 < frame.time_s < 29:
            frame.picture[:] = 90
        yield frame


def _begun_late(film):
    """Yield the first half minute of a film, the first four of them covered."""
    for frame in takewhile(lambda frame: frame.time_s < 32, film):
        if frame.time_s < 4:
            frame.picture[:] = 90
        yield frame


def test_the_page_is_made_of_it(demo, tmp_path):
    """As of any log."""
    _, folder = demo
    page = tmp_path / "page.html"
    assert run(["report", str(folder / "demo.parquet"), "--out", str(page)]) == 0
    assert "in 3 runs" in page.read_text(encoding="utf-8")


def test_ctrl_c_leaves_nothing_half_written(demo, tmp_path, monkeypatch):
    """In the middle of the film."""
    _, folder = demo
    of_video = frames._of_video

    def broken_off(*words):
        for frame in of_video(*words):
            if frame.time_s > 30:
                raise KeyboardInterrupt
            yield frame

    monkeypatch.setattr(frames, "_of_video", broken_off)
    assert convert(folder, tmp_path / "log.parquet") == 130
    assert list(tmp_path.iterdir()) == []


def test_what_follows_the_at_is_a_time_of_the_film(demo, tmp_path, capsys):
    """Else that is said, and nothing is written."""
    _, folder = demo
    words = ["report", str(folder / "demo.parquet"), "--captions", str(tmp_path / "a.vtt"), "--film-start"]
    assert run([*words, "10:30:05@soon"]) == 2
    assert "--film-start: 'soon' is no time of a film" in " ".join(capsys.readouterr().err.split())
