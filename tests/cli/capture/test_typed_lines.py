"""What is typed while a capture runs: readings, notes, and what is asked where a line could be either."""

from __future__ import annotations

import os
import subprocess
import time

import pytest
from ready_python import ready_python

from shuntbook.cli.capture.typed_lines import TypedLines
from shuntbook.cli.main import run
from shuntbook.ingest.events import Reading, Remark
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.live.address import make_source
from shuntbook.ingest.live.source import SteadyClock

pytestmark = pytest.mark.xdist_group("captures")  # one at a time: they have clocks to keep


def typed(*lines, asks=True, step_us=1_000_000):
    """Amps of the readings, the notes, and the remarks that come of lines typed a second apart."""
    source = make_source("hand:", None, SteadyClock())
    notes = []
    start_us = SteadyClock().now_us()
    shown = TypedLines([source], lambda text, at_us: notes.append((text, (at_us - start_us) // step_us)), asks=asks)
    for k, line in enumerate(lines):
        shown.take(line, start_us + k * step_us)
    shown.give_up()
    events = source.read(0.0)
    readings = [event for event in events if isinstance(event, Reading)]
    amps = [(reading.values["current_A"], (reading.time_us - start_us) // step_us) for reading in readings]
    return amps, notes, [event.text for event in events if isinstance(event, Remark)]


@pytest.mark.parametrize("answer", ["r", "R", "reading"])
def test_what_is_answered_as_a_reading_is_one_of_its_own_moment(answer):
    """It is no note as well."""
    assert typed("about 71 amps", answer) == ([(71.0, 0)], [], [])


@pytest.mark.parametrize("answer", [["n"], ["Note"], []])
def test_what_is_answered_as_a_note_or_not_at_all_is_one(answer):
    """Of the moment at which it was typed."""
    assert typed("about 71 amps", *answer) == ([], [("about 71 amps", 0)], [])


def test_another_line_in_place_of_an_answer_loses_neither():
    """The line that was asked about is a note, and the next is what it is; it may be asked about as well."""
    assert typed("about 71 amps", "60 A", "crates") == ([(60.0, 1)], [("about 71 amps", 0), ("crates", 2)], [])
    assert typed("about 71 amps", "or 72 A?", "r") == ([(72.0, 1)], [("about 71 amps", 0)], [])


def test_r_and_n_are_notes_where_nothing_was_asked():
    """Nobody's words are taken away."""
    assert typed("r", "n") == ([], [("r", 0), ("n", 1)], [])


def test_a_question_that_nobody_answers_is_a_note_after_a_while():
    """And an answer that comes later is a note of its own."""
    notes = []
    shown = TypedLines([make_source("hand:", None, SteadyClock())], lambda text, at_us: notes.append(text), asks=True)
    shown.take("about 71 amps", 0)
    assert shown.question == "'about 71 amps': a reading of 71.0 A (r) or a note (n)? No answer: a note"
    shown.give_up(5_000_000)
    assert (notes, shown.question is None) == ([], False)
    shown.give_up(60_000_000)
    assert (notes, shown.question) == (["about 71 amps"], None)


def test_a_pipe_is_not_asked_and_told_what_became_of_it():
    """The note is kept, with a remark that stays in the log."""
    assert typed("about 71 amps", "r", asks=False) == (
        [],
        [("about 71 amps", 0), ("r", 1)],
        ["'about 71 amps' was kept as a note"],
    )


def _command(tmp_path, *words):
    code = "import sys; from shuntbook.cli.main import main; main(sys.argv[1:])"
    return [ready_python(), "-c", code, "capture", "hand:", "--out", str(tmp_path / "a.parquet"), *words]


def _piped(tmp_path, typed, *words):
    return subprocess.run(_command(tmp_path, *words), input=typed, capture_output=True, text=True, check=False)


def _until_shown(controller, words, seen=b""):
    """Read what the terminal is sent until these words have come."""
    end = time.monotonic() + 60
    while words not in seen:
        assert time.monotonic() < end, seen[-2000:]
        seen += os.read(controller, 65536)
    return seen


def test_the_prompt_says_what_may_be_typed_and_asks_where_it_is_in_doubt(tmp_path):
    """On a terminal, from the prompt to the log."""
    controller, terminal = os.openpty()
    child = subprocess.Popen(_command(tmp_path), stdin=terminal, stdout=terminal, stderr=terminal)
    os.close(terminal)
    _until_shown(controller, b"900 W, 74.5 A 11.9 V, off; end when you are done")
    os.write(controller, b"60 A\r900\r")
    _until_shown(controller, b"not taken: '900' has no unit")
    os.write(controller, b"about 71 amps\r")
    _until_shown(controller, b"a reading of 71.0 A (r) or a note (n)?")
    os.write(controller, b"r\rpump at 40 psi 80 A?\r")
    _until_shown(controller, b"a reading of 80.0 A (r) or a note (n)?")
    os.write(controller, b"n\rend\r")
    _until_shown(controller, b"shuntbook charge")
    assert child.wait(60) == 0
    os.close(controller)
    log = open_log(tmp_path / "a.parquet")
    (part,) = log.scan()
    assert list(part.quantities["current_A"]) == [60.0, 71.0, 71.0]
    assert [text for _, text in log.meta.markers] == ["pump at 40 psi 80 A?"]


def test_a_pipe_s_doubtful_line_is_a_note_in_the_log(tmp_path):
    """With a remark, and without a word on what may be typed."""
    told = _piped(tmp_path, "60 A\nabout 71 amps\nend\n")
    assert told.returncode == 0 and "type what" not in told.stderr
    meta = open_log(tmp_path / "a.parquet").meta
    assert [text for _, text in meta.markers] == ["about 71 amps"]
    assert any("a note that may be a reading" in remark and "'about 71 amps'" in remark for remark in meta.remarks)


def test_the_zone_of_the_clock_times_is_kept_with_the_log(tmp_path, capsys):
    """Of a meter and of a recording, before the site's; notes beforehand are of its clock, too."""
    log = tmp_path / "a.parquet"
    told = _piped(tmp_path, "60 A\nend\n", "--zone", "Asia/Tokyo")
    assert told.returncode == 0, told.stderr
    assert (open_log(log).meta.zone, open_log(log).meta.zone_assumed) == ("Asia/Tokyo", False)
    again = tmp_path / "b.parquet"
    source = f"replay:{log}?speed=max"
    assert run(["capture", source, "--out", str(again), "--quiet", "--zone", "America/Lima"]) == 0
    assert open_log(again).meta.zone == "America/Lima"
    assert run(["capture", "hand:", "--out", str(tmp_path / "c.parquet"), "--zone", "Mars/Olympus"]) == 2
    assert "--zone: no time zone is called 'Mars/Olympus'" in capsys.readouterr().err
