"""Captions of a film: their form, their times, and what a real player makes of them."""

from __future__ import annotations

import json
import re
import wave

import pytest
from browsers import browser, opened, until
from telling import told, unwrapped

from shuntbook.cli.main import run

CUE = re.compile(r"(\d+):(\d\d):(\d\d\.\d{3}) --> (\d+):(\d\d):(\d\d\.\d{3})(.*)")
NOTE = "crates washed for the visitors"


def cues_of(text):
    """Start and end of each cue [s], its settings and its text."""
    cues = []
    for block in text.split("\n\n")[2:]:
        first, *lines = block.strip().split("\n")
        h0, m0, s0, h1, m1, s1, settings = CUE.fullmatch(first).groups()
        start_s, stop_s = (int(h) * 3600 + int(m) * 60 + float(s) for h, m, s in ((h0, m0, s0), (h1, m1, s1)))
        cues.append((start_s, stop_s, settings, "\n".join(lines)))
    return cues


def captions(capsys, log, out, start, *more):
    """Write captions; return their cues."""
    status, _, err = told(capsys, "report", log, "--captions", out, "--film-start", start, *more)
    assert (status, err) == (0, "")
    return cues_of(out.read_text(encoding="utf-8"))


def test_a_turned_sign_is_told(demo, capsys, tmp_path):
    """Each second of them says the wrong way: whoever makes them hears of it."""
    turned, out = tmp_path / "turned.parquet", tmp_path / "a.vtt"
    assert run(["convert", str(demo / "week_later.parquet"), "--reverse-sign", "--out", str(turned)]) == 0
    capsys.readouterr()
    for log, is_told in ((turned, True), (demo / "week_later.parquet", False)):
        words = ("report", log, "--captions", out, "--film-start", "10:00:05", "--film-length", "9s", "--force")
        said = unwrapped(told(capsys, *words)[1])
        assert ("WARNING: draw and return seem to be swapped" in said) is is_told


@pytest.fixture
def log_of(tmp_path):
    """A function that makes a log of rows ``10:00:00Z,75.0`` and returns it."""

    def make(*rows, header="time,current [A],voltage [V]", options=()):
        export, log = tmp_path / "a.csv", tmp_path / "pump & co <1>.parquet"
        export.write_text("\n".join([header, *(f"2026-06-13T{row}" for row in rows), ""]), encoding="utf-8")
        assert run(["convert", str(export), "--out", str(log), *options]) == 0
        return log

    return make


def test_every_second_says_what_stood_at_its_first_moment(demo, capsys, tmp_path):
    """Whole seconds of the film, in order, whatever the log's beat, each with what `charge` says up to it."""
    cues = captions(capsys, demo / "open_day.parquet", tmp_path / "a.vtt", "10:24:59.5", "--film-length", "3m")
    seconds = [cue for cue in cues if cue[3].count("\n") == 1]
    assert [cue[0] for cue in seconds] == list(range(180))
    assert [cue[0] for cue in cues] == sorted(cue[0] for cue in cues)
    for start_s, clock in ((60, "10:25:59.5"), (179, "10:27:58.5")):
        span = ("--from", "10:24:59.5", "--to", clock)
        document = json.loads(told(capsys, "charge", demo / "open_day.parquet", "--json", *span)[1])
        assert f"{document['charge']['drawn_Ah']:.2f} Ah out of the bank" in seconds[start_s][3]


def test_a_film_may_begin_with_a_note(demo, capsys, tmp_path):
    """Its text is its time, as for ``--from``; the note has a cue of its own, out of the figures' way."""
    cues = captions(capsys, demo / "open_day.parquet", tmp_path / "a.vtt", NOTE, "--film-length", "10s")
    assert [cue for cue in cues if cue[2]] == [(0.0, 5.0, " line:0", f"note: {NOTE}")]
    assert [cue[0] for cue in cues if not cue[2]] == list(range(10))


def test_a_gap_has_no_readings(log_of, capsys, tmp_path):
    """One cue stands for all of it, and what was taken before it still shows."""
    rows = [f"10:00:{s:02d}Z,36.0,25.0" for s in (*range(11), *range(40, 45))]
    cues = captions(capsys, log_of(*rows), tmp_path / "a.vtt", "2026-06-13T10:00:00Z")
    gap = [cue for cue in cues if cue[3].startswith("no readings\n")]
    assert [cue[:2] for cue in gap] == [(11, 40)]
    assert gap[0][3].endswith("0.10 Ah out of the bank")
    assert cues[-1][0] == 44


def test_a_run_tells_what_it_took_so_far_and_at_its_end_how_sure_that_is(demo, capsys, tmp_path):
    """It rises to the figure that `cycles` has; the interval stands once, when the run is over."""
    log, site = demo / "open_day.parquet", ("--site", demo / "site.toml")
    cues = captions(capsys, log, tmp_path / "a.vtt", "10:24:00", "--film-length", "30m", *site)
    runs = json.loads(told(capsys, "cycles", log, *site, "--json")[1])["cycles"]
    film = [run for run in runs if "2026-06-13T09:24:00" <= run["start"] < "2026-06-13T09:53:00"]
    ends = [cue for cue in cues if cue[3].endswith(" in this run")]
    assert len(film) == len(ends) == 2
    for each, (at_s, until_s, settings, text) in zip(film, ends, strict=True):
        assert (until_s - at_s, settings) == (pytest.approx(5.0), " line:0")
        assert text.startswith(f"The well pump took {each['charge_Ah']:.3f} Ah ± ")
        begun_s = at_s - each["run_s"]
        lines = [cue[3].split("\n")[1] for cue in cues if begun_s - 2 < cue[0] < at_s and not cue[2]]
        so_far = [float(line.split()[4]) for line in lines if line.startswith("this run so far: ")]
        assert len(so_far) == pytest.approx(each["run_s"], abs=2)
        assert so_far == sorted(so_far)
        assert so_far[0] < 0.05
        assert so_far[-1] == pytest.approx(each["charge_Ah"], abs=0.015)
        assert max(map(len, lines)) <= 64
    assert sum("±" in cue[3] for cue in cues) == 2


def test_of_a_run_that_the_film_has_not_whole_only_its_end_is_told(demo, capsys, tmp_path):
    """What it had taken before the film began nobody has seen in it."""
    words = ("10:29:30", "--film-length", "90s", "--site", demo / "site.toml")
    cues = captions(capsys, demo / "open_day.parquet", tmp_path / "a.vtt", *words)
    assert [cue[3] for cue in cues if "so far" in cue[3]] == []
    assert sum(cue[3].endswith(" in this run") for cue in cues) == 1


def test_texts_are_escaped(log_of, capsys, tmp_path):
    """A log's name, and a note of it, are shown as they are and mean nothing to a player."""
    log = log_of("10:00:00Z,1.0,25.0", "10:00:01Z,1.0,25.0")
    captions(capsys, log, tmp_path / "a.vtt", "2026-06-13T10:00:00Z")
    head = (tmp_path / "a.vtt").read_text(encoding="utf-8").split("\n\n")[1]
    assert "pump &amp; co &lt;1&gt;.parquet" in head
    assert "-->" not in head


def test_current_into_the_bank_is_said_to_be(log_of, capsys, tmp_path):
    """The way is in words, and both amounts stand where both are something."""
    log = log_of(*(f"10:{m:02d}:00Z,{x},26.0" for m, x in enumerate([60, 60, -60, -60, -60])), options=["--gap", "2m"])
    cues = captions(capsys, log, tmp_path / "a.vtt", "2026-06-13T10:00:00Z")
    assert cues[0][3].startswith("60.0 A · 26.0 V · 1,560 W out of the bank\n")
    assert cues[-1][3] == (
        "60.0 A · 26.0 V · 1,560 W into the bank\nsince the film began: 1.25 Ah out of the bank, 2.25 Ah into it"
    )


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--captions", "a.vtt"], "--captions: say when the film's first frame was taken"),
        (["--film-start", "10:00", "--json"], "--film-start and --film-length go with --captions"),
        (["--captions", "a.vtt", "--film-start", "23:00"], "outside the log, which goes from 13 Jun 2026 09:30:00"),
        (["--captions", "a.vtt", "--film-start", "10:00", "--film-length", "30h"], "a film is at most 24 h long"),
        (["--captions", "a.vtt", "--film-start", "lunch"], "--film-start: 'lunch' is no time such as 10:30"),
        (["--captions", "a.vtt", "--out", "a.vtt", "--film-start", "10:00"], "is where another result goes"),
        (["--captions", "there.vtt", "--film-start", "10:00"], "--captions: there.vtt exists already"),
    ],
)
def test_what_cannot_be_is_one_sentence(demo, capsys, tmp_path, monkeypatch, words, sentence):
    """Nothing is written, and what stands there stays."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "there.vtt").write_text("mine", encoding="utf-8")
    status, _, err = told(capsys, "report", demo / "open_day.parquet", *words)
    assert status == 2
    assert sentence in err
    assert [path.name for path in tmp_path.iterdir()] == ["there.vtt"]
    assert (tmp_path / "there.vtt").read_text(encoding="utf-8") == "mine"


def test_a_film_has_one_log(demo, capsys, tmp_path):
    """Two logs would tell two things at once."""
    logs = demo / "open_day.parquet", demo / "week_later.parquet"
    status, _, err = told(capsys, "report", *logs, "--captions", tmp_path / "a.vtt", "--film-start", "10:00")
    assert (status, "the captions of one log" in err) == (2, True)


PLAYER = """<!doctype html><title>film</title><video src="film.wav" preload="auto"></video><script>
const track = document.createElement("track");
track.kind = "captions"; track.default = true;
track.onload = () => { window.loaded = true; };
track.src = URL.createObjectURL(new Blob([CAPTIONS], {type: "text/vtt"}));
document.querySelector("video").append(track); track.track.mode = "showing";
window.activeAt = (time, done) => {
  const video = document.querySelector("video");
  video.addEventListener("seeked", () => setTimeout(() =>
    done([...track.track.activeCues].map((cue) => cue.text)), 300), {once: true});
  video.currentTime = time;
};</script>"""


def test_a_browser_plays_them(demo, capsys, tmp_path):
    """At each moment of a film the cue on show holds what `charge` says was drawn up to that second of it."""
    log = demo / "open_day.parquet"
    # The pump starts in the film's fourth minute.
    captions(capsys, log, tmp_path / "a.vtt", NOTE, "--film-length", "6m")
    # Six minutes of silence are as good as a picture: what counts is the player's clock.
    with wave.open(str(tmp_path / "film.wav"), "wb") as film:
        film.setnchannels(1)
        film.setsampwidth(1)
        film.setframerate(4000)
        film.writeframes(b"\x80" * 4000 * 360)
    text = json.dumps((tmp_path / "a.vtt").read_text(encoding="utf-8"))
    (tmp_path / "film.html").write_text(PLAYER.replace("CAPTIONS", text), encoding="utf-8")
    with browser() as driven:
        opened(driven, tmp_path / "film.html")
        until(lambda: driven.execute_script("return window.loaded && document.querySelector('video').readyState >= 2"))
        for at_s in (2.5, 45.2, 238.2, 251.9, 359.5):
            shown = driven.execute_async_script("activeAt(arguments[0], arguments[1])", at_s)
            figures = [cue for cue in shown if not cue.startswith("note: ")]
            assert [cue for cue in shown if cue.startswith("note: ")] == ([f"note: {NOTE}"] if at_s < 5 else [])
            second = int(at_s)
            span = ("--from", NOTE, "--to", f"10:{25 + second // 60}:{second % 60:02d}")
            document = json.loads(told(capsys, "charge", log, "--json", *span)[1])
            assert len(figures) == 1
            drawn_Ah = document["charge"]["drawn_Ah"]
            assert f"since the film began: {drawn_Ah:.2f} Ah" in figures[0]
